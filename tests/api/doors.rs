//! The door: the table of operations against the document, and who gets in.

use std::collections::BTreeSet;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use heeltap::app::DOORS;
use heeltap::http::{Door, Role};

use crate::support::{Client, TestApp, filled, send};

/// Pages for people, which the API's document leaves out.
const PAGES: [&str; 3] = ["/docs", "/docs/", "/docs/{file}"];

const METHODS: [&str; 6] = ["GET", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"];

fn guarded() -> impl Iterator<Item = (&'static Door, &'static [Role])> {
    DOORS.iter().filter_map(|door| Some((door, door.roles?)))
}

#[test]
fn the_table_and_the_document_list_the_same_operations() {
    let document = serde_json::to_value(heeltap::app::document()).unwrap();
    let mut documented = BTreeSet::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for method in item
            .as_object()
            .unwrap()
            .keys()
            .filter(|key| METHODS.contains(&key.to_ascii_uppercase().as_str()))
        {
            documented.insert(format!("{} {path}", method.to_ascii_uppercase()));
        }
    }
    let listed: BTreeSet<String> = DOORS
        .iter()
        .filter(|door| !PAGES.contains(&door.path))
        .map(|door| format!("{} {}", door.method, door.path))
        .collect();
    assert_eq!(documented, listed);
    assert_eq!(
        DOORS.len(),
        listed.len() + PAGES.len(),
        "an entry stands twice"
    );
}

/// Announces a body that never comes: only a door that answers before reading it answers at all.
fn ask_without_body(app: &TestApp, method: &str, path: &str, token: Option<&str>) -> String {
    let mut stream = TcpStream::connect(app.address).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(10)))
        .unwrap();
    let authorization =
        token.map_or_else(String::new, |t| format!("Authorization: Bearer {t}\r\n"));
    write!(
        stream,
        "{method} {path} HTTP/1.1\r\nHost: test\r\n{authorization}Content-Type: application/json\r\nContent-Length: 1000\r\n\r\n"
    )
    .unwrap();
    let mut start = [0; 12];
    stream.read_exact(&mut start).unwrap();
    String::from_utf8_lossy(&start[9..]).into_owned()
}

#[test]
fn without_a_valid_token_nothing_is_read() {
    let app = TestApp::start();
    for (door, _) in guarded() {
        let path = filled(door.path);
        for token in [None, Some("ht_0000")] {
            let status = ask_without_body(&app, door.method, &path, token);
            assert_eq!(status, "401", "{} {path} with {token:?}", door.method);
        }
    }
}

#[test]
fn a_role_that_is_not_listed_is_turned_away_before_anything_is_read() {
    let app = TestApp::start();
    for role in Role::ALL
        .into_iter()
        .filter(|role| *role != Role::Administrator)
    {
        let client = app.role(role);
        for (door, _) in guarded().filter(|(_, roles)| !roles.contains(&role)) {
            let path = filled(door.path);
            let status = ask_without_body(&app, door.method, &path, Some(client.token()));
            assert_eq!(status, "403", "{} {path} as {}", door.method, role.as_str());
        }
    }
}

/// An empty request gets past the door, and no further than the operation's own checks.
#[track_caller]
fn passes(client: &Client, door: &Door, role: Role) {
    let path = filled(door.path);
    let answer = send(client.request(door.method, &path));
    let told = format!(
        "{} {path} as {}: {}",
        door.method,
        role.as_str(),
        answer.text
    );
    assert!(!matches!(answer.status, 401 | 403 | 405 | 500..), "{told}");
    assert!(!answer.text.contains("no-such-route"), "{told}");
}

#[test]
fn every_listed_role_and_the_administrator_get_in() {
    let app = TestApp::start();
    for role in Role::ALL {
        let client = app.role(role);
        for (door, roles) in guarded() {
            if role == Role::Administrator || roles.contains(&role) {
                passes(&client, door, role);
            }
        }
    }
}

#[test]
fn open_operations_need_no_token() {
    let app = TestApp::start();
    let open: BTreeSet<&str> = DOORS
        .iter()
        .filter(|door| door.roles.is_none())
        .map(|door| door.path)
        .collect();
    assert_eq!(
        open,
        BTreeSet::from([
            "/docs",
            "/docs/",
            "/docs/{file}",
            "/healthz",
            "/openapi.json",
            "/readyz",
            // It asks for a key of its own.
            "/v1/calendar.ics",
        ])
    );
    for path in ["/docs", "/healthz", "/openapi.json", "/readyz"] {
        app.nobody().get(path).expect(200);
    }
    app.nobody().get("/v1/calendar.ics").expect(401);
    app.get("/v1/calendar.ics").expect(401);
}

#[test]
fn another_method_is_405_and_says_which_are_possible() {
    let app = TestApp::start();
    let paths: BTreeSet<&str> = DOORS.iter().map(|door| door.path).collect();
    for path in paths {
        let allowed: BTreeSet<&str> = DOORS
            .iter()
            .filter(|door| door.path == path)
            .map(|door| door.method)
            .collect();
        for method in METHODS
            .into_iter()
            .filter(|method| !allowed.contains(method))
        {
            let answer = send(app.nobody().request(method, &filled(path))).expect(405);
            assert_eq!(answer.problem(), "method-not-allowed");
            let said: BTreeSet<&str> = answer.header("allow").split(", ").collect();
            assert_eq!(said, allowed, "{method} {path}");
        }
    }
}

#[test]
fn an_unknown_address_is_a_404_problem_with_or_without_a_token() {
    let app = TestApp::start();
    for path in [
        "/shelf",
        "/v1",
        "/v1/nothing",
        "/v1/tokens/",
        "/v1//tokens",
        "/V1/tokens",
        "/%2e%2e/nothing",
    ] {
        assert_eq!(
            app.get(path).expect(404).problem(),
            "no-such-route",
            "{path}"
        );
        assert_eq!(
            app.nobody().get(path).expect(404).problem(),
            "no-such-route",
            "{path}"
        );
    }
}

#[test]
fn a_head_is_a_get_without_its_body() {
    let app = TestApp::start();
    let get = app.get("/v1/tokens").expect(200);
    let head = send(app.request("HEAD", "/v1/tokens")).expect(200);
    assert_eq!(
        (head.text.as_str(), head.header("content-type")),
        ("", "application/json")
    );
    assert_eq!(head.header("content-length"), get.text.len().to_string());
}
