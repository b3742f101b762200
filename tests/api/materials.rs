//! Materials, for all nouns of the catalogue: created, read, listed in pages, changed under an entity tag, retired.

use heeltap::http::Role;
use serde_json::{Value, json};

use crate::support::{Client, TestApp, send};

fn glove() -> Value {
    json!({"code": "glove", "name": "Glove", "kind": "sundry", "unit": "each", "heel": "1"})
}

/// A change, with an entity tag or without.
fn patch(client: &Client, tag: Option<&str>, body: Value) -> crate::support::Answer {
    let request = client.request("PATCH", "/v1/materials/glove").json(&body);
    send(match tag {
        Some(tag) => request.header("If-Match", tag),
        None => request,
    })
}

#[test]
fn a_material_is_created_once_and_read_back() {
    let app = TestApp::start();
    let (buyer, reader) = (app.role(Role::Buyer), app.role(Role::Reader));
    reader.post("/v1/materials", glove()).expect(403);
    let made = buyer.post("/v1/materials", glove()).expect(201);
    assert_eq!(
        (made.header("location"), made.header("etag")),
        ("/v1/materials/glove", "\"1\"")
    );
    let mut expected = glove();
    for (name, value) in [
        ("version", json!(1)),
        ("created_at", json!("2026-03-02T09:00:00Z")),
        ("updated_at", json!("2026-03-02T09:00:00Z")),
    ] {
        expected[name] = value;
    }
    assert_eq!(made.json(), expected);
    assert_eq!(
        reader.get("/v1/materials/glove").expect(200).json(),
        expected
    );
    assert_eq!(
        buyer.post("/v1/materials", glove()).expect(409).problem(),
        "already-exists"
    );
    let unknown = buyer
        .post("/v1/materials", json!({"code": "x", "colour": "red"}))
        .expect(422);
    assert_eq!(unknown.pointers(), ["/colour"]);
    reader.get("/v1/materials/none").expect(404);
}

#[test]
fn a_change_needs_the_version_it_is_based_on() {
    let app = TestApp::start();
    app.post("/v1/materials", glove()).expect(201);
    let change = json!({"heel": null});
    patch(&app, None, change.clone()).expect(428);
    patch(&app, Some("\"9\""), change.clone()).expect(412);
    patch(&app, None, json!([])).expect(422);
    let changed = patch(&app, Some("\"1\""), change).expect(200);
    assert_eq!(changed.header("etag"), "\"2\"");
    assert_eq!(changed.json().get("heel"), None);
    let fixed = patch(&app, Some("\"2\""), json!({"unit": "g"})).expect(422);
    assert_eq!(fixed.pointers(), ["/unit"]);
}

#[test]
fn lists_come_in_pages_and_by_state() {
    let app = TestApp::start();
    app.post("/v1/materials", glove()).expect(201);
    app.post(
        "/v1/materials",
        json!({"code": "wipe", "name": "Wipe", "kind": "sundry", "unit": "each"}),
    )
    .expect(201);
    let first = app.get("/v1/materials?limit=1&state=active").expect(200);
    let page = first.json();
    assert_eq!(page["items"][0]["code"], "glove");
    let next = page["next"].as_str().unwrap();
    assert_eq!(
        first.header("link"),
        format!("</v1/materials?limit=1&state=active&cursor={next}>; rel=\"next\"")
    );
    let second = app
        .get(&format!("/v1/materials?limit=1&cursor={next}"))
        .expect(200)
        .json();
    assert_eq!(second["items"][0]["code"], "wipe");
    assert_eq!(second.get("next"), None);
}

#[test]
fn what_is_retired_stays_readable() {
    let app = TestApp::start();
    app.post("/v1/materials", glove()).expect(201);
    app.role(Role::Reader)
        .post("/v1/materials/glove/retire", json!({}))
        .expect(403);
    let retired = app
        .post("/v1/materials/glove/retire", json!({}))
        .expect(200);
    assert_eq!(retired.header("etag"), "\"2\"");
    assert_eq!(retired.json()["retired_at"], "2026-03-02T09:00:00Z");
    assert_eq!(
        app.get("/v1/materials?state=retired").expect(200).json()["items"]
            .as_array()
            .unwrap()
            .len(),
        1
    );
    assert_eq!(
        app.get("/v1/materials?state=active").expect(200).json()["items"],
        json!([])
    );
    app.get("/v1/materials/glove").expect(200);
}
