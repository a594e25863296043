//! The first start: whoever has the link from the terminal becomes the first steward.

use crate::web::{
    error::{Error, Result},
    form::Form,
    guard::{Visitor, with_session},
    view::{Frame, see},
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::Query,
    http::StatusCode,
    response::{IntoResponse, Response},
};
use serde::Deserialize;

/// The form that makes the first steward.
#[derive(Template, WebTemplate)]
#[template(path = "pages/setup.html")]
pub struct SetupPage {
    frame: Frame,
    form: Form,
}

/// The token of the link.
#[derive(Deserialize)]
pub struct Link {
    #[serde(default)]
    key: String,
}

/// The link that `serve` prints at the first start, below the server's own address.
pub fn link(key: &str) -> String {
    format!("/setup?key={key}")
}

/// `GET /setup?key=…`; there is no such page once the link is used or old.
pub async fn show(visitor: Visitor, Query(link): Query<Link>) -> Result<SetupPage> {
    if !visitor.app.setup_is_open(&link.key).await? {
        return Err(Error::not_found());
    }
    Ok(SetupPage { frame: visitor.frame("Start a record"), form: Form::filled([("key", link.key)]) })
}

/// `POST /setup`
pub async fn start(visitor: Visitor, form: Form) -> Result<Response> {
    let key = form.value("key");
    match visitor.app.set_up(key, form.value("name"), form.value("login"), form.verbatim("password")).await {
        Ok(token) => {
            let next = see("/").say("The record is yours. You are signed in.");
            Ok(with_session(next, token.secret(), visitor.https))
        }
        Err(error) => {
            let page = SetupPage { frame: visitor.frame("Start a record"), form: form.refused(error)? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}
