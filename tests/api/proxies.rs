//! Whose word about those behind them is taken.

use heeltap::http::TrustedProxies;

use crate::support::browser::Browser;
use crate::support::{TestApp, send};

fn app(trusted: &'static str) -> TestApp {
    TestApp::with(|settings| {
        settings.proxies = TrustedProxies::parse(trusted).expect("a list");
        settings.limits.sign_ins_per_min = 2;
    })
}

/// The cookie that a form to sign in is answered with, and the status.
fn sign_in(app: &TestApp, token: &str, from: &str) -> (u16, String) {
    let browser = Browser::open(app);
    let answer = browser
        .http
        .post(browser.address("/sign-in"))
        .header("X-Forwarded-For", from)
        .header("X-Forwarded-Proto", "https")
        .form(&[("token", token), ("next", "/")])
        .send()
        .expect("an answer");
    let cookie = answer.headers().get("set-cookie");
    let cookie = cookie.map_or("", |cookie| cookie.to_str().unwrap_or_default());
    (answer.status().as_u16(), cookie.to_owned())
}

#[test]
fn a_listed_proxy_is_believed() {
    let app = app("127.0.0.1");
    let (status, cookie) = sign_in(&app, app.token(), "198.51.100.1");
    assert_eq!(status, 303);
    assert!(
        cookie.starts_with("__Host-") && cookie.contains("; Secure"),
        "{cookie}"
    );
    // Each of those behind it has attempts of their own.
    for from in ["198.51.100.2", "198.51.100.3"] {
        let tried = |_| sign_in(&app, "ht_0000", from).0;
        assert_eq!([1, 2, 3].map(tried), [422, 422, 429], "{from}");
    }
    // What somebody writes before what the proxy adds is not counted.
    assert_eq!(sign_in(&app, "ht_0000", "203.0.113.9, 198.51.100.2").0, 429);
    let secure = app
        .nobody()
        .request("GET", "/healthz")
        .header("X-Forwarded-Proto", "https");
    assert_eq!(
        send(secure).header("strict-transport-security"),
        "max-age=31536000"
    );
}

#[test]
fn nobody_else_is() {
    let app = app("192.0.2.0/24");
    let (status, cookie) = sign_in(&app, app.token(), "198.51.100.1");
    assert_eq!(status, 303);
    assert!(
        cookie.starts_with("heeltap_session=") && !cookie.contains("Secure"),
        "{cookie}"
    );
    assert_eq!(sign_in(&app, "ht_0000", "198.51.100.2").0, 422);
    assert_eq!(
        sign_in(&app, "ht_0000", "198.51.100.3").0,
        429,
        "they are one address"
    );
    let plain = app
        .nobody()
        .request("GET", "/healthz")
        .header("X-Forwarded-Proto", "https");
    assert_eq!(send(plain).header("strict-transport-security"), "");
}
