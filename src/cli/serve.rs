//! `glebe serve`: opens the record, prints where to look, serves until told to stop.

use super::{Error, Result};
use crate::{
    app::App,
    settings::{SETUP_LINK_MINUTES, Settings},
    web::{Server, pages::setup},
};
use tokio::{
    net::TcpListener,
    signal::unix::{SignalKind, signal},
};

/// Serves this record; `remark` stands at the foot of every page.
pub async fn run(app: App, settings: &Settings, remark: Option<&'static str>) -> Result<()> {
    let listener = TcpListener::bind(settings.listen).await.map_err(|error| Error::Listen(settings.listen, error))?;
    let here = format!("http://{}", listener.local_addr()?);
    if let Some(token) = app.setup_link().await? {
        println!("This record is new. Make its first steward here, within {SETUP_LINK_MINUTES} minutes:");
        println!("{here}{}", setup::link(token.secret()));
    }
    println!("Serving on {here}");
    let mut terminate = signal(SignalKind::terminate())?;
    let stop = async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = tokio::signal::ctrl_c() => {}
        }
    };
    let mut server = Server::new(app.clone(), settings);
    server.remark = remark;
    server.serve(listener, stop).await?;
    app.close().await;
    Ok(())
}
