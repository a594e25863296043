//! `glebe demo`: the invented garden, in a folder that is thrown away, ready to look at.

use super::{Result, serve};
use crate::{
    app::{
        App,
        demo::{LOGIN, PASSWORD, REMARK, SITE},
    },
    clock::Clock,
    settings::Settings,
};
use std::{env, fs, path::PathBuf, process};

/// Makes the garden and serves it. Where no folder was named, it lives in a fresh one, which
/// is removed when the server stops.
pub async fn run(settings: Settings) -> Result<()> {
    if settings.data_is_named() {
        return garden(&settings).await;
    }
    let folder = Folder::fresh()?;
    garden(&Settings { data: folder.0.clone(), ..settings }).await
}

async fn garden(settings: &Settings) -> Result<()> {
    let app = App::open(settings, Clock::System).await?;
    app.invent_garden().await?;
    println!("{SITE}: everything in it is made up.");
    println!("Sign in as {LOGIN} with the password: {PASSWORD}");
    serve::run(app, settings, Some(REMARK)).await
}

/// A folder of this process alone, gone when it is dropped.
struct Folder(PathBuf);

impl Folder {
    fn fresh() -> Result<Folder> {
        let path = env::temp_dir().join(format!("glebe-demo-{}", process::id()));
        if path.exists() {
            fs::remove_dir_all(&path)?; // left behind by a process of the same number
        }
        let mut builder = fs::DirBuilder::new();
        #[cfg(unix)]
        std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
        builder.create(&path)?; // fails where somebody has put something in the way
        Ok(Folder(path))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}
