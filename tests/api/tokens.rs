//! Tokens: made, shown once, listed, ended, revoked.

use chrono::TimeDelta;
use diesel::prelude::*;
use diesel::sql_types::BigInt;
use heeltap::http::Role;
use serde_json::{Value, json};

use crate::support::{Client, TestApp};

fn bench() -> Value {
    json!({"name": "balance", "roles": ["bench"]})
}

#[test]
fn a_token_is_made_opens_its_doors_and_is_listed_without_its_secret() {
    let app = TestApp::start();
    let made = app.post("/v1/tokens", bench()).expect(201);
    assert_eq!(made.header("location"), "/v1/tokens/2");
    let secret = made.json()["token"].as_str().unwrap().to_owned();
    assert!(
        secret.starts_with("ht_") && secret.len() == 67,
        "256 bits in hexadecimal"
    );

    let client = Client::new(app.address, Some(secret.clone()));
    client.get("/v1/tokens").expect(403);
    let shown = app.get("/v1/tokens/2").expect(200);
    let expected = json!({"id": 2, "name": "balance", "roles": ["bench"], "created_at": "2026-03-02T09:00:00Z"});
    assert_eq!(shown.json(), expected);
    let list = app.get("/v1/tokens").expect(200);
    assert_eq!(list.json()["items"][1], expected);
    assert!(!list.text.contains(&secret));
}

#[test]
fn a_revoked_token_and_one_that_has_ended_open_nothing() {
    let app = TestApp::start();
    let second = app.role(Role::Administrator);
    app.delete("/v1/tokens/2").expect(204);
    assert_eq!(
        second.get("/v1/tokens").expect(401).problem(),
        "unauthenticated"
    );
    let revoked_at = app.get("/v1/tokens/2").json()["revoked_at"].clone();
    app.clock.advance(TimeDelta::hours(1));
    app.delete("/v1/tokens/2").expect(204);
    assert_eq!(
        app.get("/v1/tokens/2").json()["revoked_at"],
        revoked_at,
        "the first instant stays"
    );

    let ends =
        json!({"name": "guest", "roles": ["administrator"], "expires_at": "2026-03-02T12:00:00Z"});
    let made = app.post("/v1/tokens", ends).expect(201).json();
    let guest = Client::new(app.address, made["token"].as_str().map(str::to_owned));
    guest.get("/v1/tokens").expect(200);
    app.clock.advance(TimeDelta::hours(2));
    guest.get("/v1/tokens").expect(401);
}

#[test]
fn a_repeat_makes_no_second_token_and_does_not_show_the_secret_again() {
    let app = TestApp::start();
    let first = app.post_once("/v1/tokens", "k1", bench()).expect(201);
    let again = app.post_once("/v1/tokens", "k1", bench()).expect(201);
    assert_eq!(again.header("location"), first.header("location"));
    assert_eq!(
        again.json(),
        json!({"id": 2, "name": "balance", "roles": ["bench"]})
    );
    assert_eq!(
        app.get("/v1/tokens").json()["items"]
            .as_array()
            .unwrap()
            .len(),
        2
    );

    let other = app.post_once(
        "/v1/tokens",
        "k1",
        json!({"name": "other", "roles": ["bench"]}),
    );
    assert_eq!(other.expect(422).problem(), "key-reused");
}

#[test]
fn a_key_serves_for_seven_days() {
    let app = TestApp::start();
    app.post_once("/v1/tokens", "k1", bench()).expect(201);
    app.clock.advance(TimeDelta::days(6));
    assert_eq!(app.service.forget_old_answers().unwrap(), 0);
    app.clock.advance(TimeDelta::days(2));
    assert_eq!(app.service.forget_old_answers().unwrap(), 1);
    assert_eq!(
        app.post_once("/v1/tokens", "k1", bench())
            .expect(201)
            .json()["id"],
        3
    );
}

/// How many rows of the database hold the text, in the two tables where it could be.
fn rows_with(app: &TestApp, text: &str) -> i64 {
    let count = format!(
        "(SELECT COUNT(*) FROM idempotency_keys WHERE body LIKE '%{text}%') + (SELECT COUNT(*) FROM tokens WHERE hash LIKE '%{text}%' OR name LIKE '%{text}%')"
    );
    app.service
        .db()
        .read(|conn| Ok(diesel::select(diesel::dsl::sql::<BigInt>(&count)).get_result(conn)?))
        .unwrap()
}

#[test]
fn no_secret_stands_in_the_database() {
    let app = TestApp::start();
    let made = app
        .post_once("/v1/tokens", "k1", bench())
        .expect(201)
        .json();
    let secret = made["token"].as_str().unwrap();
    assert_eq!(rows_with(&app, secret), 0);
    assert_eq!(rows_with(&app, &secret[3..]), 0, "nor without its prefix");
    assert_eq!(
        rows_with(&app, "balance"),
        2,
        "where the answer and the token are found"
    );
}

#[test]
fn a_list_comes_in_pages() {
    let app = TestApp::start();
    for _ in 0..4 {
        app.post("/v1/tokens", bench()).expect(201);
    }
    let first = app.get("/v1/tokens?limit=2").expect(200);
    assert_eq!(first.json()["next"], "2");
    assert_eq!(
        first.header("link"),
        "</v1/tokens?limit=2&cursor=2>; rel=\"next\""
    );
    let last = app.get("/v1/tokens?limit=2&cursor=4").expect(200);
    assert_eq!(last.json()["items"][0]["id"], 5);
    assert_eq!((last.json().get("next"), last.header("link")), (None, ""));
}
