//! The headers that every answer carries, and what no answer and no log ever holds.

use heeltap::app::{DOORS, PAGES};
use heeltap::http::Way;
use serde_json::json;

use crate::support::browser::{Browser, form_key};
use crate::support::{Client, Heeltap, TestApp, TestDatabase, filled};

/// What each answer must have, by its value or the beginning of it.
const HEADERS: [(&str, &str); 5] = [
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("content-security-policy", "default-src 'none'; "),
    ("cross-origin-opener-policy", "same-origin"),
    ("referrer-policy", ""),
];

#[track_caller]
fn check(what: &str, headers: &reqwest::header::HeaderMap) {
    let value = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    for (name, begins) in HEADERS {
        let found = value(name);
        assert!(
            found.is_some_and(|found| found.starts_with(begins)),
            "{what}: {name}: {found:?}"
        );
    }
    let policy = value("content-security-policy").unwrap_or_default();
    assert!(
        policy.contains("frame-ancestors 'none'"),
        "{what}: {policy}"
    );
    let scripts = policy
        .split(';')
        .find(|part| part.trim().starts_with("script-src"));
    assert!(
        !scripts.unwrap_or_default().contains("unsafe"),
        "{what}: {policy}"
    );
    let styles_inline = policy.contains("style-src 'self' 'unsafe-inline'");
    assert_eq!(
        styles_inline,
        what.starts_with("GET /docs") && !what.starts_with("GET /docs/"),
        "{what}: {policy}"
    );
    assert!(
        value("cache-control").is_some(),
        "{what} says nothing of caches"
    );
    assert!(value("x-request-id").is_some(), "{what}");
    assert!(
        value("server").is_none() && value("x-powered-by").is_none(),
        "{what}"
    );
}

#[test]
fn every_answer_carries_the_headers_that_keep_it_safe() {
    let app = TestApp::start();
    let browser = Browser::signed_in(&app);
    for door in DOORS
        .iter()
        .chain(PAGES)
        .filter(|door| door.method == "GET")
    {
        let path = filled(door.path);
        let what = format!("GET {}", door.path);
        match door.way {
            Way::Api => check(&what, &app.get(&path).headers),
            Way::Page => check(&what, &browser.get(&path).headers),
        }
        check(
            &format!("{what} of nobody"),
            &app.nobody().get(&path).headers,
        );
    }
    check("nothing", &app.get("/no/such/place").headers);
    check("a post", &app.post("/v1/grants", json!({})).headers);
}

/// Whoever serves in another process, signs in, and makes everything that has a secret; the secrets.
fn secrets_made(process: &Heeltap) -> Vec<String> {
    let token = process.token.clone().expect("the first token");
    let client = Client::new(process.address, Some(token.clone()));
    let text = |value: &serde_json::Value| value.as_str().expect("a secret").to_owned();
    let made = client.post("/v1/tokens", json!({"name": "t", "roles": ["reader"]}));
    let reader = text(&made.expect(201).json()["token"]);
    let hook = json!({"url": "https://hooks.example/heeltap"});
    let hook = text(&client.post("/v1/webhooks", hook).expect(201).json()["secret"]);
    let key = client
        .post("/v1/calendar-keys", json!({"name": "wall"}))
        .expect(201)
        .json();
    let calendar = key.to_string();
    let at = calendar.find("key=").expect("an address") + 4;
    let calendar = calendar[at..]
        .chars()
        .take_while(|c| c.is_ascii_alphanumeric() || "_-".contains(*c))
        .collect();
    client.get("/v1/grants").expect(200);
    Client::new(process.address, Some("ht_wrong_but_secret".to_owned()))
        .get("/v1/grants")
        .expect(401);
    Client::new(process.address, None)
        .get(&format!("/v1/calendar.ics?key={calendar}"))
        .expect(200);
    // Over a connection of one's own, since a browser of the tests is one of an app.
    heeltap::http::outbound::tls_ready();
    let http = reqwest::blocking::Client::builder()
        .tls_certs_only([])
        .cookie_store(true)
        .redirect(reqwest::redirect::Policy::none())
        .no_proxy()
        .build()
        .expect("a browser");
    let address = |path: &str| format!("http://{}{path}", process.address);
    let form = [("token", reader.as_str()), ("next", "/")];
    let answer = http
        .post(address("/sign-in"))
        .form(&form)
        .send()
        .expect("an answer");
    let cookie = answer.headers()["set-cookie"]
        .to_str()
        .expect("a cookie")
        .to_owned();
    let cookie = cookie.split(['=', ';']).nth(1).expect("a value").to_owned();
    let page = http
        .get(address("/"))
        .send()
        .and_then(|page| page.text())
        .expect("a page");
    let key = form_key(&page).to_owned();
    vec![
        token,
        reader,
        hook,
        calendar,
        cookie,
        key,
        "ht_wrong_but_secret".to_owned(),
    ]
}

#[test]
fn no_log_holds_a_secret_however_talkative_it_is() {
    let database = TestDatabase::new();
    let (process, log) = Heeltap::serve_logged(&database, &["--log", "trace"]);
    let secrets = secrets_made(&process);
    drop(process);
    let log = std::fs::read_to_string(log.path()).expect("the log");
    assert!(
        log.contains("/v1/webhooks") && log.contains("/sign-in"),
        "{log}"
    );
    for secret in secrets {
        assert!(secret.len() > 15, "{secret}");
        assert!(!log.contains(&secret), "{secret} stands in the log");
    }
}

#[test]
fn a_slow_statement_is_logged_under_its_request_and_without_its_values() {
    let database = TestDatabase::new();
    let flags = [
        "--log",
        "warn",
        "--log-format",
        "json",
        "--slow-query-ms",
        "1",
    ];
    let (process, log) = Heeltap::serve_logged(&database, &flags);
    let client = Client::new(process.address, process.token.clone());
    let name = "x".repeat(150);
    let mut slow = None;
    // A write to the disk takes a millisecond sooner or later.
    for round in 0..400 {
        let grant = json!({"code": format!("g-{round}"), "name": name});
        client.post("/v1/grants", grant).expect(201);
        let text = std::fs::read_to_string(log.path()).expect("the log");
        slow = text
            .lines()
            .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok())
            .find(|line| line["message"] == "a slow statement" && line["span"]["id"].is_string());
        if slow.is_some() {
            break;
        }
    }
    let slow = slow.expect("no statement took a millisecond");
    assert!(
        slow["took_ms"].as_u64().is_some_and(|took| took >= 1),
        "{slow}"
    );
    assert!(
        slow["statement"]
            .as_str()
            .is_some_and(|text| !text.is_empty()),
        "{slow}"
    );
    assert!(!slow.to_string().contains(&name), "{slow}");
}

#[test]
fn a_problem_names_the_request_under_which_the_log_has_it() {
    let app = TestApp::start();
    let answer = app.get("/v1/lots/7").expect(404);
    let id = answer.header("x-request-id").to_owned();
    assert_eq!(
        answer.json()["instance"],
        format!("urn:heeltap:request:{id}")
    );
    let other = app.nobody().get("/v1/lots/7").expect(401);
    assert_ne!(other.header("x-request-id"), id);
    assert_eq!(
        other.json()["instance"],
        format!("urn:heeltap:request:{}", other.header("x-request-id"))
    );
}
