//! Who is asking, and whether they may: the session cookie, each route's access class,
//! and the two extractors that handlers take. Nothing else in `web` reads the cookie.

use super::{
    Server,
    error::Error,
    routes::Access,
    view::{Frame, SAID, from_address, in_address, see},
};
use crate::app::{Actor, App};
use axum::{
    extract::{FromRef, FromRequestParts, Request, State},
    http::{HeaderMap, HeaderValue, Method, StatusCode, header, request::Parts},
    middleware::Next,
    response::{IntoResponse, Response},
};

/// A gate before one route.
#[derive(Clone)]
pub(super) struct Gate {
    pub server: Server,
    pub access: Access,
}

/// Lets a request through to its handler when its route's access class admits whoever asks.
pub(super) async fn pass(State(gate): State<Gate>, mut request: Request, next: Next) -> Response {
    let token = session_token(request.headers(), gate.server.https);
    if token.is_some() && writes(request.method()) && !says_where_from(request.headers()) {
        return Error::forbidden().into_response();
    }
    let actor = match token {
        Some(token) => match gate.server.app.session(&token).await {
            Ok(actor) => actor,
            Err(error) => return Error::from(error).into_response(),
        },
        None => None,
    };
    if !gate.access.admits(actor.as_ref()) {
        let mut refusal = match &actor {
            Some(_) => Error::forbidden().into_response(),
            None => to_sign_in(&request),
        };
        if let Some(actor) = actor {
            refusal.extensions_mut().insert(actor);
        }
        return refusal;
    }
    if let Some(actor) = actor.clone() {
        request.extensions_mut().insert(actor);
    }
    let mut response = next.run(request).await;
    if let Some(actor) = actor {
        response.extensions_mut().insert(actor);
    }
    response
}

/// Whether a method may change the record.
fn writes(method: &Method) -> bool {
    !matches!(*method, Method::GET | Method::HEAD | Method::OPTIONS)
}

/// A browser always sends one of the two with a form; a request with a cookie and neither is not one.
fn says_where_from(headers: &HeaderMap) -> bool {
    headers.contains_key(header::ORIGIN) || headers.contains_key("sec-fetch-site")
}

/// Sends a stranger to sign in, and afterwards back to the page they wanted. What they
/// typed into a form is not thrown away by sending them: they get a page to send it again from.
fn to_sign_in(request: &Request) -> Response {
    if writes(request.method()) {
        return Error::from_status(StatusCode::UNAUTHORIZED).into_response();
    }
    let wanted = request.uri().path_and_query().map_or("/", |path| path.as_str());
    see(format!("/sign-in?next={}", in_address(wanted))).into_response()
}

/// A path of this site to return to; anything else becomes the first page.
pub(super) fn safe_return(path: &str) -> &str {
    let local = path.starts_with('/') && !path.starts_with("//") && !path.contains(['\\', '\r', '\n', '\t']);
    if local { path } else { "/" }
}

/// Name of the session cookie: over HTTPS its prefix makes browsers refuse it from anywhere else.
const fn cookie_name(https: bool) -> &'static str {
    if https { "__Host-sid" } else { "sid" }
}

/// The value of a cookie of this name.
pub(super) fn cookie<'h>(headers: &'h HeaderMap, name: &str) -> Option<&'h str> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|line| line.to_str().ok())
        .flat_map(|line| line.split(';'))
        .find_map(|pair| pair.trim().strip_prefix(name)?.strip_prefix('='))
        .filter(|value| !value.is_empty())
}

/// The session token that came with a request.
pub(super) fn session_token(headers: &HeaderMap, https: bool) -> Option<String> {
    cookie(headers, cookie_name(https)).map(str::to_owned)
}

/// Gives the browser a session, or with an empty token takes it away.
pub(super) fn with_session(response: impl IntoResponse, token: &str, https: bool) -> Response {
    let mut response = response.into_response();
    let name = cookie_name(https);
    let secure = if https { "; Secure" } else { "" };
    let ends = if token.is_empty() { "; Max-Age=0" } else { "; Max-Age=7776000" };
    let cookie = format!("{name}={token}; Path=/; HttpOnly; SameSite=Lax{secure}{ends}");
    if let Ok(cookie) = HeaderValue::from_str(&cookie) {
        response.headers_mut().append(header::SET_COOKIE, cookie);
    }
    response
}

/// Name of the cookie that tells a browser that somebody signed in with from a stranger's.
const fn browser_name(https: bool) -> &'static str {
    if https { "__Host-known" } else { "known" }
}

/// Lets the browser be known for two years, to whoever signs in with it next.
pub(super) fn with_known_browser(mut response: Response, mark: &str, https: bool) -> Response {
    let secure = if https { "; Secure" } else { "" };
    let name = browser_name(https);
    let cookie = format!("{name}={mark}; Path=/; HttpOnly; SameSite=Lax{secure}; Max-Age=63072000");
    if let Ok(cookie) = HeaderValue::from_str(&cookie) {
        response.headers_mut().append(header::SET_COOKIE, cookie);
    }
    response
}

/// What a handler knows of a request by somebody signed in.
pub struct Cx {
    pub app: App,
    pub actor: Actor,
    frame: Frame,
}

impl Cx {
    /// The frame of a page with this title.
    pub fn frame(&self, title: impl Into<String>) -> Frame {
        Frame { title: title.into(), ..self.frame.clone() }
    }
}

/// What a handler knows of a request by anybody: for public routes.
pub struct Visitor {
    pub app: App,
    pub actor: Option<Actor>,
    pub https: bool,
    /// The session token that came with the request.
    pub token: Option<String>,
    /// What the browser was given when somebody last signed in with it; empty for a stranger's.
    pub browser: String,
    frame: Frame,
}

impl Visitor {
    /// The frame of a page with this title.
    pub fn frame(&self, title: impl Into<String>) -> Frame {
        Frame { title: title.into(), ..self.frame.clone() }
    }
}

impl<S: Send + Sync> FromRequestParts<S> for Visitor
where
    Server: FromRef<S>,
{
    type Rejection = Error;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Visitor, Error> {
        let server = Server::from_ref(state);
        let actor = parts.extensions.get::<Actor>().cloned();
        let frame = Frame {
            me: actor.clone(),
            said: cookie(&parts.headers, SAID).map(from_address),
            remark: server.remark,
            path: parts.uri.path().to_owned(),
            ..Frame::default()
        };
        let token = session_token(&parts.headers, server.https);
        let browser = cookie(&parts.headers, browser_name(server.https)).unwrap_or_default().to_owned();
        Ok(Visitor { app: server.app, actor, https: server.https, token, browser, frame })
    }
}

impl<S: Send + Sync> FromRequestParts<S> for Cx
where
    Server: FromRef<S>,
{
    type Rejection = Error;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Cx, Error> {
        let visitor = Visitor::from_request_parts(parts, state).await?;
        // Only a public route can come here with nobody signed in: its handler takes a Visitor.
        let actor = visitor.actor.ok_or_else(Error::forbidden)?;
        Ok(Cx { app: visitor.app, actor, frame: visitor.frame })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_paths_of_this_site_are_returned_to() {
        for (path, back) in [
            ("/plots/3?year=2024", "/plots/3?year=2024"),
            ("//elsewhere.test", "/"),
            ("/\\elsewhere.test", "/"),
            ("https://elsewhere.test", "/"),
            ("", "/"),
            ("/a\r\nb", "/"),
        ] {
            assert_eq!(safe_return(path), back, "{path:?}");
        }
    }

    #[test]
    fn cookies_are_found_by_their_whole_name() {
        let mut headers = HeaderMap::new();
        headers.insert(header::COOKIE, HeaderValue::from_static("xsid=1; sid=abc; sid2=3"));
        assert_eq!(session_token(&headers, false).as_deref(), Some("abc"));
        assert_eq!(session_token(&headers, true), None);
    }
}
