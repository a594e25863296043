//! Why a page cannot be shown, in words for the person who asked. It must never show
//! them what only whoever runs the server should read; that goes to the log.

use super::view::Frame;
use crate::app;
use askama::Template;
use axum::{
    http::StatusCode,
    response::{IntoResponse, Response},
};

/// A page that cannot be shown. As a response it is bare; [`super::layers`] gives it its page.
#[derive(Clone, Debug)]
pub struct Error {
    pub status: StatusCode,
    pub message: String,
    /// Each thing that is wrong, where they were not shown by their fields.
    pub problems: Vec<String>,
    /// For the log only.
    pub cause: Option<String>,
}

/// What page handlers answer with.
pub type Result<T, E = Error> = std::result::Result<T, E>;

impl Error {
    /// An error with the words that fit its status.
    pub fn from_status(status: StatusCode) -> Error {
        Error { status, message: words(status).1.to_owned(), problems: vec![], cause: None }
    }

    /// There is no such page or thing.
    pub fn not_found() -> Error {
        Error::from_status(StatusCode::NOT_FOUND)
    }

    /// This person may not.
    pub fn forbidden() -> Error {
        Error::from_status(StatusCode::FORBIDDEN)
    }
}

impl From<app::Error> for Error {
    fn from(error: app::Error) -> Error {
        match error {
            app::Error::Invalid(problems) => {
                let mut page = Error::from_status(StatusCode::UNPROCESSABLE_ENTITY);
                page.problems = problems.0.into_iter().map(|problem| problem.message).collect();
                page
            }
            app::Error::NotFound(what) => {
                let mut page = Error::not_found();
                page.message = format!("There is no such {what}. The address may have been mistyped.");
                page
            }
            app::Error::Denied => Error::forbidden(),
            app::Error::Conflict(_) => Error::from_status(StatusCode::CONFLICT),
            error @ app::Error::TooManyTries(_) => {
                let mut page = Error::from_status(StatusCode::TOO_MANY_REQUESTS);
                page.message = error.to_string();
                page
            }
            app::Error::Busy => Error::from_status(StatusCode::SERVICE_UNAVAILABLE),
            app::Error::Internal(cause) => {
                let mut page = Error::from_status(StatusCode::INTERNAL_SERVER_ERROR);
                page.cause = Some(cause);
                page
            }
        }
    }
}

impl IntoResponse for Error {
    fn into_response(self) -> Response {
        let mut response = self.status.into_response();
        response.extensions_mut().insert(self);
        response
    }
}

/// The page itself.
#[derive(Template)]
#[template(path = "pages/failure.html")]
pub(super) struct FailurePage {
    frame: Frame,
    message: String,
    problems: Vec<String>,
    /// Whether signing in is the way on.
    signed_out: bool,
    request_id: String,
}

impl FailurePage {
    pub(super) fn new(error: Error, mut frame: Frame, request_id: String) -> FailurePage {
        frame.title = words(error.status).0.into();
        FailurePage {
            frame,
            message: error.message,
            problems: error.problems,
            signed_out: error.status == StatusCode::UNAUTHORIZED,
            request_id,
        }
    }
}

/// Title and sentence for a status.
fn words(status: StatusCode) -> (&'static str, &'static str) {
    match status.as_u16() {
        401 => (
            "Signed out",
            "You are not signed in any more, so this was not saved yet. Sign in on a page of its own, come back to this \
             one and reload it: what you typed is then sent again.",
        ),
        403 => ("Not allowed", "Your role here does not include this, or the request came from another site."),
        404 => ("Not found", "There is nothing at this address. It may have been mistyped."),
        405 => ("Not possible here", "This address does not take that kind of request."),
        408 | 504 => ("Too slow", "This took longer than a page may take, and was stopped. Nothing was half saved."),
        409 => (
            "Changed meanwhile",
            "Somebody else changed this since you opened it. Nothing of yours was saved: go back, copy what you typed, \
             and open the page afresh.",
        ),
        413 => ("Too large", "This is larger than is taken here."),
        415 | 400 => ("Not understood", "The request could not be read."),
        422 => ("Needs another look", "This could not be saved as it stands."),
        429 => ("Too many tries", "Too many tries in a short time. Wait a minute."),
        503 => ("Busy", "The record is busy. Nothing was saved; try again in a moment."),
        400..=499 => ("Not possible", "This request cannot be answered."),
        _ => ("Something went wrong", "This is a fault of the program, not yours. What was saved before is safe."),
    }
}
