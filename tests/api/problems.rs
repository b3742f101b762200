//! What a request that is not right is answered, and in which order.

use serde_json::json;

use crate::support::{Answer, TestApp, send};

#[track_caller]
fn check(answer: Answer, status: u16, kind: &str, pointers: &[&str]) {
    let answer = answer.expect(status);
    assert_eq!(answer.problem(), kind, "{}", answer.text);
    assert_eq!(answer.pointers(), pointers, "{}", answer.text);
}

#[test]
fn another_content_type_is_415() {
    let app = TestApp::start();
    check(
        app.post_text("/v1/tokens", "text/plain", "{}"),
        415,
        "unsupported-media-type",
        &[],
    );
    check(
        send(app.request("POST", "/v1/tokens")),
        415,
        "unsupported-media-type",
        &[],
    );
    let wrong = app.post_text("/v1/tokens", "Application/JSON; charset=utf-8", "{}");
    assert_eq!(
        wrong.status, 422,
        "the content type is right, the body is not"
    );
}

#[test]
fn a_long_body_is_413_whether_announced_or_not() {
    let app = TestApp::with(|settings| settings.limits.json_bytes = 1024);
    let long = json!({"name": "x".repeat(2000), "roles": ["reader"]}).to_string();
    check(
        app.post_text("/v1/tokens", "application/json", &long),
        413,
        "too-large",
        &[],
    );
    let reader = std::io::Cursor::new(long.into_bytes());
    let chunked = app
        .request("POST", "/v1/tokens")
        .header("Content-Type", "application/json")
        .body(reqwest::blocking::Body::new(reader));
    check(send(chunked), 413, "too-large", &[]);
}

#[test]
fn text_that_is_no_json_is_400() {
    let app = TestApp::start();
    for text in ["", "{", "{\"name\": \"a\",}", "{} {}", "nul", "\u{feff}{}"] {
        check(
            app.post_text("/v1/tokens", "application/json", text),
            400,
            "malformed",
            &[],
        );
    }
}

#[test]
fn a_wrong_value_is_422_and_names_its_place() {
    let app = TestApp::start();
    let post = |body| app.post("/v1/tokens", body);
    check(
        post(json!({"name": "a", "roles": ["reader", "king"]})),
        422,
        "invalid",
        &["/roles/1"],
    );
    check(
        post(json!({"name": 7, "roles": ["reader"]})),
        422,
        "invalid",
        &["/name"],
    );
    check(
        post(json!({"name": "a", "roles": []})),
        422,
        "invalid",
        &["/roles"],
    );
    check(
        post(json!({"name": " ", "roles": ["reader"]})),
        422,
        "invalid",
        &["/name"],
    );
    check(post(json!({"name": "a"})), 422, "invalid", &["/roles"]);
    check(post(json!(["a"])), 422, "invalid", &[""]);
    let more = post(json!({"name": "a", "roles": ["reader"], "rank": 1}));
    check(more, 422, "invalid", &["/rank"]);
    let past =
        post(json!({"name": "a", "roles": ["reader"], "expires_at": "2020-01-01T00:00:00Z"}));
    check(past, 422, "invalid", &["/expires_at"]);
}

#[test]
fn a_query_that_is_not_understood_is_400() {
    let app = TestApp::start();
    for query in [
        "limit=many",
        "limit=0",
        "limit=1001",
        "cursor=x",
        "cursor=-1",
    ] {
        check(
            app.get(&format!("/v1/tokens?{query}")),
            400,
            "bad-query",
            &[],
        );
    }
}

#[test]
fn a_thing_that_is_not_there_is_404() {
    let app = TestApp::start();
    check(app.get("/v1/tokens/77"), 404, "not-found", &[]);
    check(app.delete("/v1/tokens/77"), 404, "not-found", &[]);
    check(app.get("/v1/tokens/seven"), 404, "not-found", &[]);
}

#[test]
fn of_several_errors_the_first_in_the_published_order_is_answered() {
    let app = TestApp::with(|settings| settings.limits.json_bytes = 1024);
    let long = "x".repeat(2000);
    let nobody = app.nobody();
    check(
        nobody.post_text("/v1/nothing", "text/plain", &long),
        404,
        "no-such-route",
        &[],
    );
    check(
        nobody.patch("/v1/tokens", "x", json!({})),
        405,
        "method-not-allowed",
        &[],
    );
    check(
        nobody.post_text("/v1/tokens", "text/plain", &long),
        401,
        "unauthenticated",
        &[],
    );
    let reader = app.role(heeltap::http::Role::Reader);
    check(
        reader.post_text("/v1/tokens", "text/plain", &long),
        403,
        "forbidden",
        &[],
    );
    check(
        app.post_text("/v1/tokens", "text/plain", &long),
        415,
        "unsupported-media-type",
        &[],
    );
    check(
        app.post_text("/v1/tokens", "application/json", &long),
        413,
        "too-large",
        &[],
    );
}

#[test]
fn every_answer_has_a_request_id_of_its_own() {
    let app = TestApp::start();
    let ids = ["/healthz", "/nothing", "/v1/tokens", "/v1/tokens/77"]
        .map(|path| app.get(path).header("x-request-id").to_owned());
    let distinct: std::collections::BTreeSet<&String> = ids.iter().collect();
    assert!(ids.iter().all(|id| !id.is_empty()));
    assert_eq!(distinct.len(), ids.len());
}

#[test]
fn an_idempotency_key_that_is_none_is_400() {
    let app = TestApp::start();
    let body = || json!({"name": "a", "roles": ["reader"]});
    check(
        app.post_once("/v1/tokens", "", body()),
        400,
        "malformed",
        &[],
    );
    check(
        app.post_once("/v1/tokens", &"k".repeat(201), body()),
        400,
        "malformed",
        &[],
    );
    app.post_once("/v1/tokens", &"k".repeat(200), body())
        .expect(201);
}

#[test]
fn a_query_value_that_is_not_understood_is_named() {
    let app = TestApp::start();
    for (path, says) in [
        ("/v1/lots?limit=many", "limit `many`"),
        (
            "/v1/casts/C-00001/bench-sheet?mixed_at=yesterday",
            "mixed_at `yesterday`",
        ),
        ("/v1/casts?colour=red", "colour `red`"),
    ] {
        let answer = app.get(path).expect(400);
        assert!(answer.detail().starts_with(says), "{}", answer.detail());
    }
}

/// No text of PostgreSQL can hold U+0000, so that none may get as far as a statement; SQLite would take it.
#[test]
fn what_no_database_can_hold_is_refused_and_no_fault_of_ours() {
    let app = TestApp::start();
    for path in [
        "/v1/materials/%00",
        "/v1/orders/a%00b",
        "/v1/casts/%00",
        "/v1/reorder/%00",
    ] {
        app.get(path).expect(404);
        assert_eq!(
            app.nobody().get(path).expect(401).problem(),
            "unauthenticated"
        );
    }
    for path in [
        "/v1/lots?material=%00",
        "/v1/casts?recipe=a%00",
        "/v1/treatments?mold=%00",
    ] {
        assert_eq!(app.get(path).expect(400).problem(), "bad-query", "{path}");
    }
    // What only looks like it is nothing out of the ordinary.
    app.get("/v1/materials/%2500").expect(404);
    let correction =
        json!({"order_no": "a\u{0}b", "line_no": 1, "amount": "1", "reason": "rebate"});
    let refused = app.post("/v1/price-corrections", correction);
    assert!(matches!(refused.status, 404 | 422), "{}", refused.text);
}
