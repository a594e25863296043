//! HTTP in, HTML out. A page is a struct, and the struct is the whole contract with its
//! template. Nothing here runs SQL or does arithmetic on measurements.
//!
//! To add a page:
//! 1. `src/web/pages/plots.rs`: a struct with the fields that the template shows, the
//!    first of them `frame: Frame`, deriving `Template` and `WebTemplate`:
//!    `#[derive(Template, WebTemplate)] #[template(path = "pages/plots/show.html")]`.
//! 2. `templates/pages/plots/show.html`: `{% extends "base.html" %}`, then
//!    `{% block content %}` with one `<section><h2>…</h2><div>…</div></section>` per
//!    question that the page answers. The base prints the title as `<h1>`.
//! 3. A handler: `async fn show(cx: Cx, Path(plot): Path<PlotId>) -> Result<PlotPage>`.
//!    `cx.app` and `cx.actor` go to the app's function; its errors leave by `?`;
//!    `cx.frame("Bed 3").under("/sites/1", "Home garden")` is title and way back.
//! 4. A row in [`routes::routes`] with its [`routes::Access`]; in [`view::NAV`] if the
//!    main menu should show it. `tests/it/access.rs` then tries it as everybody.
//!
//! A form: the handler takes [`form::Form`] last, calls the app, and on failure shows the
//! page again with `form.refused(error)?` and status 422; on success it answers
//! `see("/plots/3").say("Saved.")`. Fields are the macros of `templates/parts/form.html`,
//! tables and notices those of `parts/bits.html`. Figures are written by [`show`], as
//! functions or as filters; [`chart::Strip`], [`chart::Trend`] and [`view::Steps`] are
//! put in a template as `{{ strip }}`.

pub mod assets;
pub mod chart;
pub mod error;
pub mod form;
pub mod guard;
mod halves;
mod layers;
pub mod pages;
mod probes;
pub mod routes;
pub mod show;
pub mod view;

use crate::{
    app::App,
    settings::{STOP_SECONDS_MAX, Settings},
};
use axum::{Router, extract::FromRef};
use std::{future::Future, io, time::Duration};
use tokio::net::TcpListener;

/// What handlers share.
#[derive(Clone)]
pub struct Server {
    pub app: App,
    /// Whether pages reach people over HTTPS.
    pub https: bool,
    /// A sentence for the foot of every page.
    pub remark: Option<&'static str>,
}

impl FromRef<Server> for App {
    fn from_ref(server: &Server) -> App {
        server.app.clone()
    }
}

impl Server {
    /// A server of this record under these settings.
    pub fn new(app: App, settings: &Settings) -> Server {
        Server { app, https: settings.https, remark: None }
    }

    /// All pages, behind all layers.
    pub fn router(self) -> Router {
        let missing = async || error::Error::not_found();
        let router = routes::router(self.clone()).fallback(missing);
        layers::around(router, self)
    }

    /// Serves until `stop` is done, then gives requests in flight a short time to end.
    pub async fn serve(self, listener: TcpListener, stop: impl Future<Output = ()> + Send + 'static) -> io::Result<()> {
        let (told, mut hear) = tokio::sync::watch::channel(false);
        let stop = async move {
            stop.await;
            let _ = told.send(true);
        };
        let serving = axum::serve(listener, self.router()).with_graceful_shutdown(stop);
        let late = async move {
            let _ = hear.wait_for(|told| *told).await;
            tokio::time::sleep(Duration::from_secs(STOP_SECONDS_MAX)).await;
        };
        tokio::select! {
            done = serving.into_future() => done,
            () = late => {
                tracing::warn!("stopped with requests still in flight");
                Ok(())
            }
        }
    }
}
