//! What every request passes on its way in and every response on its way out: limits,
//! refusal of writes from other sites, pages for failures, safe headers, a log line.
//! Log lines carry route, status and time; they must never carry a name, an address,
//! a query or a cookie.

use super::{
    Server,
    error::{Error, FailurePage},
    guard::cookie,
    view::{Frame, SAID},
};
use crate::{app::Actor, settings};
use askama::Template;
use axum::{
    Router,
    extract::{DefaultBodyLimit, MatchedPath, Request, State},
    http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header},
    middleware::{Next, from_fn, from_fn_with_state},
    response::{Html, IntoResponse, Response},
};
use std::{
    any::Any,
    time::{Duration, Instant},
};
use tower::limit::GlobalConcurrencyLimitLayer;
use tower_http::{catch_panic::CatchPanicLayer, compression::CompressionLayer, csrf::CsrfLayer, timeout::TimeoutLayer};

/// Each directive allows what the pages use and no more: our own stylesheet, script, pictures and forms.
const CONTENT_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; \
     font-src 'self'; connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'";

/// Headers of every response, whatever its status.
const HEADERS: [(HeaderName, &str); 5] = [
    (header::CONTENT_SECURITY_POLICY, CONTENT_POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
];

/// Puts the layers round the routes; the last added is met first.
pub(super) fn around(router: Router, server: Server) -> Router {
    let time = Duration::from_secs(settings::REQUEST_SECONDS_MAX);
    router
        .layer(GlobalConcurrencyLimitLayer::new(settings::REQUESTS_AT_ONCE))
        .layer(DefaultBodyLimit::max(settings::FORM_BYTES_MAX))
        .layer(CsrfLayer::new())
        .layer(CatchPanicLayer::custom(panicked))
        .layer(TimeoutLayer::with_status_code(StatusCode::GATEWAY_TIMEOUT, time))
        .layer(from_fn_with_state(server.clone(), give_failures_a_page))
        .layer(CompressionLayer::new())
        .layer(from_fn_with_state(server, safe_headers))
        .layer(from_fn(log))
}

/// A name for this request, shown on failure pages and in the log.
#[derive(Clone, Debug)]
struct RequestId(String);

async fn log(mut request: Request, next: Next) -> Response {
    let mut bytes = [0; 6];
    let id = match getrandom::fill(&mut bytes) {
        Ok(()) => bytes.iter().map(|byte| format!("{byte:02x}")).collect(),
        Err(_) => String::from("unnamed"),
    };
    let id = RequestId(id);
    let method = request.method().clone();
    let route = request.extensions().get::<MatchedPath>().map_or("(none)".to_owned(), |path| path.as_str().to_owned());
    request.extensions_mut().insert(id.clone());
    let start = Instant::now();
    let response = next.run(request).await;
    let (status, ms) = (response.status().as_u16(), start.elapsed().as_millis());
    let cause = response.extensions().get::<Error>().and_then(|error| error.cause.clone());
    if status >= 500 {
        tracing::error!(%method, route, status, ms, id = id.0, cause = cause.unwrap_or_default(), "failed");
    } else {
        tracing::info!(%method, route, status, ms, "answered");
    }
    response
}

async fn safe_headers(State(server): State<Server>, request: Request, next: Next) -> Response {
    let signed_in = |response: &Response| response.extensions().get::<Actor>().is_some();
    let mut response = next.run(request).await;
    for (name, value) in HEADERS {
        response.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    if server.https {
        let year = HeaderValue::from_static("max-age=31536000");
        response.headers_mut().insert(header::STRICT_TRANSPORT_SECURITY, year);
    }
    if signed_in(&response) || !response.headers().contains_key(header::CACHE_CONTROL) {
        response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
    response
}

/// Gives a bare failure, wherever it came from, a page with a way back; and takes away
/// the sentence that the page has just shown.
async fn give_failures_a_page(State(server): State<Server>, request: Request, next: Next) -> Response {
    let id = request.extensions().get::<RequestId>().map_or(String::new(), |id| id.0.clone());
    let path = request.uri().path().to_owned();
    let said = cookie(request.headers(), SAID).is_some();
    let mut response = next.run(request).await;
    let status = response.status();
    if (status.is_client_error() || status.is_server_error()) && !is_page(response.headers()) {
        let error = match response.extensions_mut().get::<Error>() {
            Some(error) => error.clone(),
            None => Error::from_status(status),
        };
        let me = response.extensions().get::<Actor>().cloned();
        let frame = Frame { me, path, remark: server.remark, ..Frame::default() };
        let page = FailurePage::new(error, frame, id).render().unwrap_or_default();
        let (parts, _) = response.into_parts();
        let mut dressed = (status, Html(page)).into_response();
        *dressed.extensions_mut() = parts.extensions;
        for name in [header::ALLOW, header::SET_COOKIE, header::RETRY_AFTER] {
            if let Some(value) = parts.headers.get(&name) {
                dressed.headers_mut().insert(name, value.clone());
            }
        }
        response = dressed;
    }
    if said && is_page(response.headers()) {
        let gone = HeaderValue::from_static("said=; Path=/; Max-Age=0; HttpOnly; SameSite=Lax");
        response.headers_mut().append(header::SET_COOKIE, gone);
    }
    response
}

fn is_page(headers: &HeaderMap) -> bool {
    headers.get(header::CONTENT_TYPE).is_some_and(|kind| kind.as_bytes().starts_with(b"text/html"))
}

/// A bug: the page says so, the log has the words, the next request works.
fn panicked(panic: Box<dyn Any + Send>) -> Response {
    let words = panic.downcast_ref::<String>().cloned();
    let words = words.or_else(|| panic.downcast_ref::<&str>().map(|words| (*words).to_owned()));
    let mut error = Error::from_status(StatusCode::INTERNAL_SERVER_ERROR);
    error.cause = Some(words.unwrap_or_else(|| "a panic without words".into()));
    error.into_response()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{app::App, clock::Clock, settings::Settings};
    use axum::{body::Body, routing::get};
    use tower::ServiceExt;

    async fn broken() -> Result<&'static str, Error> {
        let mut error = Error::from_status(StatusCode::INTERNAL_SERVER_ERROR);
        error.cause = Some("no such table: plots".into());
        Err(error)
    }

    #[tokio::test]
    async fn a_fault_gets_a_page_with_an_id_and_nothing_of_the_inside() {
        let folder = tempfile::tempdir().unwrap();
        let settings = Settings { data: folder.path().into(), listen: "127.0.0.1:0".parse().unwrap(), https: true };
        let app = App::open(&settings, Clock::System).await.unwrap();
        let burst = async || -> &'static str { panic!("index 7 out of bounds") };
        let routes = Router::new().route("/panic", get(burst)).route("/broken", get(broken));
        let router = around(routes, Server::new(app, &settings));
        for path in ["/panic", "/broken"] {
            let request = Request::get(path).body(Body::empty()).unwrap();
            let response = router.clone().oneshot(request).await.unwrap();
            assert_eq!(response.status(), StatusCode::INTERNAL_SERVER_ERROR);
            for (name, value) in HEADERS {
                assert_eq!(response.headers()[&name], value, "{path}");
            }
            assert!(response.headers().contains_key(header::STRICT_TRANSPORT_SECURITY));
            let body = axum::body::to_bytes(response.into_body(), 1 << 20).await.unwrap();
            let page = String::from_utf8(body.to_vec()).unwrap();
            let id = page.split_once("<code>").unwrap().1.split_once("</code>").unwrap().0;
            assert_eq!(id.len(), 12, "{page}");
            assert!(!page.contains("index 7") && !page.contains("no such table"), "{page}");
        }
    }
}
