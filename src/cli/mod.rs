//! Terminal in, text out. To add a command: a variant of [`Command`] with its doc
//! comment as help text, an arm in [`Command::run`], and a module when it is more than
//! a few lines. A command calls the app's functions, as pages do.

mod demo;
mod import;
mod serve;

use crate::{
    app::{self, App},
    clock::Clock,
    settings::Settings,
};
use clap::{Parser, Subcommand};
use std::{io, process::ExitCode};
use tracing_subscriber::EnvFilter;

/// Keeps the soil record of many plots and computes what each needs.
#[derive(Parser, Debug)]
#[command(name = "glebe", version, arg_required_else_help = true)]
struct Glebe {
    #[command(flatten)]
    settings: Settings,
    #[command(subcommand)]
    command: Command,
}

/// What to do.
#[derive(Subcommand, Debug)]
enum Command {
    /// Serve the pages; at the first start, print a link that makes the first steward
    Serve,
    /// Serve an invented garden to look around in; without --data it is thrown away afterwards
    Demo,
    /// Take a set of CSV files into the record: plots, samplings, determinations, applications
    #[command(after_long_help = import::long_help())]
    Import(import::Import),
}

/// Why a command failed, for the terminal.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error("{0}")]
    App(#[from] app::Error),
    #[error("cannot listen on {0}: {1}")]
    Listen(std::net::SocketAddr, #[source] io::Error),
    #[error("{0}")]
    Io(#[from] io::Error),
    #[error("{}: {source}", file.display())]
    File { file: std::path::PathBuf, source: io::Error },
    #[error("{0} problem(s), listed above")]
    NotTakenIn(usize),
}

/// Results of commands.
pub type Result<T, E = Error> = std::result::Result<T, E>;

impl Command {
    async fn run(self, settings: Settings) -> Result<()> {
        match self {
            Command::Demo => demo::run(settings).await,
            Command::Import(args) => {
                let app = open(&settings).await?;
                let done = import::run(&app, args).await;
                app.close().await;
                done
            }
            Command::Serve => serve::run(open(&settings).await?, &settings, None).await,
        }
    }
}

/// The record in the settings' data folder.
async fn open(settings: &Settings) -> Result<App> {
    Ok(App::open(settings, Clock::System).await?)
}

/// Reads the command line, does what it says, and says on the terminal what went wrong.
pub fn main() -> ExitCode {
    let Glebe { settings, command } = Glebe::parse();
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("warn,glebe=info"));
    tracing_subscriber::fmt().with_env_filter(filter).with_writer(io::stderr).init();
    let done = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(Error::from)
        .and_then(|runtime| runtime.block_on(command.run(settings)));
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("glebe: {error}");
            ExitCode::FAILURE
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_well_formed() {
        Glebe::command().debug_assert();
    }
}
