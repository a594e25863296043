//! Signing in and out.

use crate::{
    app,
    web::{
        error::Result,
        form::Form,
        guard::{Visitor, safe_return, with_known_browser, with_session},
        view::{Frame, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::RawQuery,
    http::{StatusCode, header},
    response::{IntoResponse, Response},
};

/// The form to sign in with.
#[derive(Template, WebTemplate)]
#[template(path = "pages/sign_in.html")]
pub struct SignInPage {
    frame: Frame,
    form: Form,
    /// Whether the password would travel in the clear.
    insecure: bool,
}

/// `GET /sign-in?next=/the/page/wanted`
pub async fn show(visitor: Visitor, RawQuery(query): RawQuery) -> Response {
    let query = query.unwrap_or_default();
    let wanted = query.split('&').find_map(|pair| pair.strip_prefix("next=")).unwrap_or("/");
    let wanted = crate::web::view::from_address(wanted);
    if visitor.actor.is_some() {
        return see(safe_return(&wanted)).into_response();
    }
    let form = Form::filled([("next", safe_return(&wanted))]);
    SignInPage { frame: visitor.frame("Sign in"), form, insecure: !visitor.https }.into_response()
}

/// `POST /sign-in`
pub async fn enter(visitor: Visitor, form: Form) -> Result<Response> {
    match visitor.app.sign_in_from(form.value("login"), form.verbatim("password"), &visitor.browser).await {
        Ok(signed_in) => {
            if let Some(old) = &visitor.token {
                visitor.app.sign_out(old).await?;
            }
            let to = see(safe_return(form.value("next")));
            let response = with_session(to, signed_in.session.secret(), visitor.https);
            Ok(with_known_browser(response, signed_in.browser.secret(), visitor.https))
        }
        Err(error) => {
            let wait = match &error {
                app::Error::TooManyTries(wait) => Some(wait.as_secs().max(1)),
                _ => None,
            };
            let form = form.refused(error)?;
            let page = SignInPage { frame: visitor.frame("Sign in"), form, insecure: !visitor.https };
            Ok(match wait {
                Some(seconds) => {
                    (StatusCode::TOO_MANY_REQUESTS, [(header::RETRY_AFTER, seconds.to_string())], page).into_response()
                }
                None => (StatusCode::UNPROCESSABLE_ENTITY, page).into_response(),
            })
        }
    }
}

/// `POST /sign-out`
pub async fn leave(visitor: Visitor) -> Result<Response> {
    if let Some(token) = &visitor.token {
        visitor.app.sign_out(token).await?;
    }
    Ok(with_session(see("/sign-in").say("You are signed out."), "", visitor.https))
}
