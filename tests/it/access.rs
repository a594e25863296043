//! Who may open what: the real router, every route of its table, asked by everybody,
//! from here and from another site.

use super::store::{NOW, PASSWORD, fresh};
use axum::{
    Router,
    body::Body,
    http::{Method, Request, Response, StatusCode, header},
};
use glebe::{
    app::{Actor, App, Error, people::PersonForm},
    clock::Clock,
    settings::{FORM_BYTES_MAX, SIGN_IN_TRIES, Settings},
    web::{
        Server, assets,
        routes::{Access, Route, routes},
    },
};
use http_body_util::BodyExt;
use tempfile::TempDir;
use tower::ServiceExt;

/// A server with somebody of every role.
struct World {
    router: Router,
    app: App,
    steward: Actor,
    _folder: TempDir,
}

/// Somebody who asks: nobody signed in, or a login.
const EVERYBODY: [(&str, Option<Access>); 4] =
    [("", None), ("rea", Some(Access::Reader)), ("rec", Some(Access::Recorder)), ("ada", Some(Access::Steward))];

impl World {
    async fn new(https: bool) -> World {
        let (folder, app, steward) = fresh().await;
        for (login, role) in [("rea", "reader"), ("rec", "recorder")] {
            let form = PersonForm {
                name: login.to_uppercase(),
                login: login.into(),
                password: PASSWORD.into(),
                role: role.into(),
            };
            app.add_person(&steward, &form).await.unwrap();
        }
        let settings = Settings { https, ..app.settings().clone() };
        let router = Server::new(app.clone(), &settings).router();
        World { router, app, steward, _folder: folder }
    }

    async fn token(&self, login: &str) -> Option<String> {
        if login.is_empty() {
            return None;
        }
        Some(self.app.sign_in(login, PASSWORD).await.unwrap().secret().to_owned())
    }

    async fn ask(&self, request: Request<Body>) -> Response<Body> {
        self.router.clone().oneshot(request).await.unwrap()
    }
}

/// A request as a browser on this very site sends it.
fn from_here(method: &Method, path: &str, token: Option<&str>) -> Request<Body> {
    let mut request = Request::builder().method(method).uri(path).header(header::HOST, "glebe.test");
    if *method != Method::GET {
        request = request.header("sec-fetch-site", "same-origin");
        request = request.header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
    }
    if let Some(token) = token {
        request = request.header(header::COOKIE, format!("sid={token}"));
    }
    request.body(Body::empty()).unwrap()
}

/// An address of a route, with numbers that nothing has in place of its parameters.
fn address(route: &Route) -> String {
    route.path.split('/').map(|part| if part.starts_with('{') { "999999" } else { part }).collect::<Vec<_>>().join("/")
}

fn location(response: &Response<Body>) -> &str {
    response.headers().get(header::LOCATION).map_or("", |value| value.to_str().unwrap())
}

async fn text(response: Response<Body>) -> String {
    String::from_utf8(response.into_body().collect().await.unwrap().to_bytes().to_vec()).unwrap()
}

fn assert_safe_headers(response: &Response<Body>, at: &str) {
    let policy = response.headers()[header::CONTENT_SECURITY_POLICY].to_str().unwrap();
    for part in
        ["default-src 'none'", "script-src 'self'", "style-src 'self'", "frame-ancestors 'none'", "form-action 'self'"]
    {
        assert!(policy.contains(part), "{at}: {policy}");
    }
    assert!(!policy.contains("unsafe"), "{at}: {policy}");
    for (name, value) in [
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("cross-origin-resource-policy", "same-origin"),
    ] {
        assert_eq!(response.headers()[name], value, "{at}");
    }
}

#[tokio::test]
async fn every_route_admits_those_of_its_class_and_nobody_else() {
    let world = World::new(false).await;
    for (login, class) in EVERYBODY {
        let mut token = world.token(login).await;
        for route in routes() {
            let at = format!("{} {} as {login:?}", route.method, route.path);
            let response = world.ask(from_here(&route.method, &address(&route), token.as_deref())).await;
            let status = response.status();
            assert_safe_headers(&response, &at);
            assert!(!status.is_server_error(), "{at}: {status}");
            let to_sign_in = status == StatusCode::SEE_OTHER && location(&response).starts_with("/sign-in?next=");
            match class {
                _ if route.access == Access::Public => assert!(!to_sign_in && status != 403, "{at}: {status}"),
                None if route.method == Method::GET => assert!(to_sign_in, "{at}: {status}"),
                None => assert_eq!(status, StatusCode::UNAUTHORIZED, "{at}"),
                Some(class) if class >= route.access => assert!(!to_sign_in && status != 403, "{at}: {status}"),
                Some(_) => assert_eq!(status, StatusCode::FORBIDDEN, "{at}"),
            }
            if class.is_some() && !route.path.starts_with("/static") {
                assert_eq!(response.headers()[header::CACHE_CONTROL], "no-store", "{at}");
            }
            if route.path == "/sign-out" {
                token = world.token(login).await;
            }
        }
    }
}

#[tokio::test]
async fn reading_pages_changes_nothing() {
    let world = World::new(false).await;
    let lines = async || world.app.latest_changes(&world.steward, None, 1000).await.unwrap().len();
    let before = lines().await;
    let token = world.token("ada").await;
    for route in routes().iter().filter(|route| route.method == Method::GET) {
        world.ask(from_here(&Method::GET, &address(route), token.as_deref())).await;
    }
    assert_eq!(lines().await, before);
}

#[tokio::test]
async fn writes_from_another_site_are_refused() {
    let world = World::new(false).await;
    let token = world.token("ada").await.unwrap();
    let site = "sec-fetch-site";
    let cases: [(&[(&str, &str)], bool); 8] = [
        (&[(site, "cross-site")], false),
        (&[(site, "same-site")], false),
        (&[(site, "cross-site"), ("origin", "http://glebe.test")], false),
        (&[("origin", "http://elsewhere.test")], false),
        (&[("origin", "null")], false),
        (&[], false), // a cookie, and nothing that says where the request comes from
        (&[("origin", "http://glebe.test")], true),
        (&[(site, "same-origin"), ("origin", "http://glebe.test")], true),
    ];
    for route in routes().iter().filter(|route| route.method != Method::GET && route.path != "/sign-out") {
        for (headers, allowed) in cases {
            let mut request = Request::builder()
                .method(&route.method)
                .uri(address(route))
                .header(header::HOST, "glebe.test")
                .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
                .header(header::COOKIE, format!("sid={token}"));
            for (name, value) in headers {
                request = request.header(*name, *value);
            }
            let response = world.ask(request.body(Body::empty()).unwrap()).await;
            let at = format!("{} {} with {headers:?}", route.method, route.path);
            assert_eq!(response.status() != StatusCode::FORBIDDEN, allowed, "{at}: {}", response.status());
            assert_safe_headers(&response, &at);
        }
    }
    assert!(world.app.session(&token).await.unwrap().is_some(), "a refused request ended the session");
}

#[tokio::test]
async fn failures_have_a_page_with_a_way_back() {
    let world = World::new(false).await;
    let token = world.token("rea").await;
    let steward = world.token("ada").await;
    let large = "x=".to_owned() + &"y".repeat(FORM_BYTES_MAX);
    let mut too_large = from_here(&Method::POST, "/sign-in", None);
    *too_large.body_mut() = Body::from(large);
    let cases = [
        (from_here(&Method::GET, "/no/such/page", None), StatusCode::NOT_FOUND),
        (from_here(&Method::GET, "/static/no-such.css", None), StatusCode::NOT_FOUND),
        (from_here(&Method::GET, "/setup?key=old", None), StatusCode::NOT_FOUND),
        (from_here(&Method::PUT, "/people", steward.as_deref()), StatusCode::METHOD_NOT_ALLOWED),
        (from_here(&Method::GET, "/people", token.as_deref()), StatusCode::FORBIDDEN),
        (from_here(&Method::POST, "/people", None), StatusCode::UNAUTHORIZED),
        (too_large, StatusCode::PAYLOAD_TOO_LARGE),
    ];
    for (request, status) in cases {
        let at = format!("{} {}", request.method(), request.uri());
        let response = world.ask(request).await;
        assert_eq!(response.status(), status, "{at}");
        assert_safe_headers(&response, &at);
        let page = text(response).await;
        assert!(page.contains("<h1>") && page.contains("href=\"/\">Go to the first page</a>"), "{at}: {page}");
    }
}

#[tokio::test]
async fn signing_in_leads_back_to_the_page_wanted_and_out_again() {
    let world = World::new(true).await;
    let asked = world.ask(from_here(&Method::GET, "/people?x=1&y=2", None)).await;
    let sign_in = location(&asked).to_owned();
    assert_eq!(sign_in, "/sign-in?next=/people%3Fx%3D1%26y%3D2");
    let form = text(world.ask(from_here(&Method::GET, &sign_in, None)).await).await;
    assert!(form.contains("name=\"next\" value=\"/people?x=1&#38;y=2\""), "{form}");

    let send = |body: &str| {
        let mut request = from_here(&Method::POST, "/sign-in", None);
        *request.body_mut() = Body::from(body.to_owned());
        request
    };
    let wrong = world.ask(send("login=ada&password=not+the+password&next=/people")).await;
    assert_eq!(wrong.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(!wrong.headers().contains_key(header::SET_COOKIE));
    let wrong = text(wrong).await;
    assert!(wrong.contains("is not right") && wrong.contains("value=\"ada\"") && !wrong.contains("not the password"));

    let right = world.ask(send("login=ada&password=four+plain+garden+words&next=//elsewhere.test")).await;
    assert_eq!((right.status(), location(&right)), (StatusCode::SEE_OTHER, "/"));
    let cookie = right.headers()[header::SET_COOKIE].to_str().unwrap().to_owned();
    for part in ["__Host-sid=", "; Secure", "; HttpOnly", "; SameSite=Lax", "; Path=/"] {
        assert!(cookie.contains(part), "{cookie}");
    }
    let pair = cookie.split(';').next().unwrap();
    let with = |method: Method, path: &str| {
        let mut request = from_here(&method, path, None);
        request.headers_mut().insert(header::COOKIE, pair.parse().unwrap());
        request
    };
    assert_eq!(world.ask(with(Method::GET, "/people")).await.status(), StatusCode::OK);
    assert_eq!(world.ask(with(Method::POST, "/sign-out")).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(world.ask(with(Method::GET, "/people")).await.status(), StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn after_a_few_wrong_passwords_a_name_waits_and_a_known_browser_does_not() {
    let folder = tempfile::tempdir().unwrap();
    let settings = Settings { data: folder.path().into(), listen: "127.0.0.1:0".parse().unwrap(), https: false };
    let (clock, seconds) = Clock::by_hand(NOW.parse().unwrap());
    let app = App::open(&settings, clock).await.unwrap();
    let link = app.setup_link().await.unwrap().unwrap();
    app.set_up(link.secret(), "Ada Marsh", "ada", PASSWORD).await.unwrap();
    let router = Server::new(app.clone(), &settings).router();
    let send = async |login: &str, password: &str, cookies: &str| {
        let mut request = from_here(&Method::POST, "/sign-in", None);
        *request.body_mut() = Body::from(format!("login={login}&password={}", password.replace(' ', "+")));
        if !cookies.is_empty() {
            request.headers_mut().insert(header::COOKIE, cookies.parse().unwrap());
        }
        router.clone().oneshot(request).await.unwrap()
    };
    let right = send("ada", PASSWORD, "").await;
    assert_eq!(right.status(), StatusCode::SEE_OTHER);
    let mut cookies = right.headers().get_all(header::SET_COOKIE).iter().map(|cookie| cookie.to_str().unwrap());
    let known = cookies.find(|cookie| cookie.starts_with("known=")).unwrap();
    assert!(known.contains("; HttpOnly") && known.contains("; SameSite=Lax"), "{known}");
    let known = known.split(';').next().unwrap().to_owned();
    assert!(!known.contains(PASSWORD) && known.len() == "known=".len() + 64);

    // Somebody nobody knows is answered as Ada is, before and after.
    let mut pages = Vec::new();
    for login in ["Ada", "nobody"] {
        for _ in 0..SIGN_IN_TRIES {
            assert_eq!(send(login, "not the password", "").await.status(), StatusCode::UNPROCESSABLE_ENTITY, "{login}");
        }
        let refused = send(login, "not the password", "").await;
        assert_eq!(refused.status(), StatusCode::TOO_MANY_REQUESTS, "{login}");
        assert_eq!(refused.headers()[header::RETRY_AFTER], "60");
        let page = text(refused).await;
        assert!(
            page.contains("has to wait. Try again in a minute") && page.contains(&format!("value=\"{login}\"")),
            "{page}"
        );
        assert!(!page.contains("not the password"), "{page}");
        pages.push(page.replace(login, "somebody"));
    }
    let bare = |page: &str| page.split("request").next().unwrap().to_owned();
    assert_eq!(bare(&pages[0]), bare(&pages[1]));
    // The right password does not help a stranger's browser; the one that was known is let in.
    assert_eq!(send("ada", PASSWORD, "").await.status(), StatusCode::TOO_MANY_REQUESTS);
    assert_eq!(send("ada", PASSWORD, &known).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(send("ada", PASSWORD, "known=0123").await.status(), StatusCode::TOO_MANY_REQUESTS);
    // Being known is no way around: its own tries are counted as well.
    for _ in 0..SIGN_IN_TRIES {
        assert_eq!(send("ada", "not the password", &known).await.status(), StatusCode::UNPROCESSABLE_ENTITY);
    }
    assert_eq!(send("ada", PASSWORD, &known).await.status(), StatusCode::TOO_MANY_REQUESTS);
    // A minute later each is looked at again, and what is right ends the counting.
    seconds.fetch_add(60, std::sync::atomic::Ordering::Relaxed);
    for cookies in ["", &known] {
        assert_eq!(send("ada", PASSWORD, cookies).await.status(), StatusCode::SEE_OTHER);
        assert_eq!(send("ada", "not the password", cookies).await.status(), StatusCode::UNPROCESSABLE_ENTITY);
    }
    // A new password ends what browsers were known by.
    let ada = app.session(app.sign_in("ada", PASSWORD).await.unwrap().secret()).await.unwrap().unwrap();
    app.change_password(&ada, ada.person, PASSWORD, "another few plain words").await.unwrap();
    for _ in 0..SIGN_IN_TRIES {
        assert_eq!(send("ada", "not the password", "").await.status(), StatusCode::UNPROCESSABLE_ENTITY);
    }
    assert_eq!(send("ada", "another few plain words", &known).await.status(), StatusCode::TOO_MANY_REQUESTS);
}

#[tokio::test]
async fn the_present_password_cannot_be_guessed_from_a_browser_left_open() {
    let world = World::new(false).await;
    let ada = &world.steward;
    let guess = async || world.app.change_password(ada, ada.person, "a guess at it", "another few plain words").await;
    for _ in 0..SIGN_IN_TRIES {
        assert!(matches!(guess().await, Err(Error::Invalid(problems)) if problems.of("present").is_some()));
    }
    assert!(matches!(guess().await, Err(Error::TooManyTries(_))));
    // Signing in elsewhere is counted apart, and a steward sets anybody else's without the present one.
    assert!(world.app.sign_in("ada", PASSWORD).await.is_ok());
    let token = world.token("ada").await.unwrap();
    let mut change = from_here(&Method::POST, "/settings/password", Some(&token));
    *change.body_mut() = Body::from("present=x&password=another+few+plain+words&again=another+few+plain+words");
    let page = text(world.ask(change).await).await;
    assert!(page.contains("has to wait. Try again in a minute"), "{page}");
}

#[tokio::test]
async fn what_was_done_is_said_once() {
    let world = World::new(false).await;
    let token = world.token("ada").await.unwrap();
    let mut add = from_here(&Method::POST, "/people", Some(&token));
    *add.body_mut() = Body::from("name=Bo+%3Cb%3E&login=bo&password=another+few+plain+words&role=reader");
    let done = world.ask(add).await;
    assert_eq!((done.status(), location(&done)), (StatusCode::SEE_OTHER, "/people"));
    let said = done.headers()[header::SET_COOKIE].to_str().unwrap().split(';').next().unwrap().to_owned();
    let mut next = from_here(&Method::GET, "/people", None);
    next.headers_mut().insert(header::COOKIE, format!("sid={token}; {said}").parse().unwrap());
    let page = world.ask(next).await;
    assert!(page.headers()[header::SET_COOKIE].to_str().unwrap().starts_with("said=; "));
    let page = text(page).await;
    assert!(page.contains("Bo &#60;b&#62; may sign in.") && !page.contains("<b>"), "{page}");
}

#[tokio::test]
async fn a_form_that_is_wrong_keeps_what_was_typed_and_says_why_by_the_field() {
    let world = World::new(false).await;
    let token = world.token("ada").await.unwrap();
    let mut add = from_here(&Method::POST, "/people", Some(&token));
    *add.body_mut() = Body::from("name=Bo&login=ada&password=short&role=reader");
    let page = world.ask(add).await;
    assert_eq!(page.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let page = text(page).await;
    assert!(page.contains("id=\"password-problem\"") && page.contains("aria-invalid=\"true\""), "{page}");
    assert!(page.contains("value=\"Bo\"") && !page.contains("\"short\""), "{page}");
    assert!(page.contains("<option value=\"reader\" selected>"), "{page}");
}

#[tokio::test]
async fn assets_are_kept_for_ever_at_addresses_of_their_content() {
    let world = World::new(false).await;
    for name in ["glebe.css", "glebe.js", "glebe.svg"] {
        let response = world.ask(from_here(&Method::GET, &assets::address(name), None)).await;
        assert_eq!(response.status(), StatusCode::OK, "{name}");
        assert!(response.headers()[header::CACHE_CONTROL].to_str().unwrap().contains("immutable"));
    }
    let health = world.ask(from_here(&Method::GET, "/healthz", None)).await;
    assert_eq!((health.status(), text(health).await.as_str()), (StatusCode::OK, "ok\n"));
}
