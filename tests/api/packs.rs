//! Packs: what happens to them at the bench, and how it is taken back.

use serde_json::json;

use crate::support::{TestApp, receive, send};

#[test]
fn every_event_is_answered_with_the_lot_as_it_is_now() {
    let app = TestApp::start();
    receive(&app.service, "base", &["1000", "500"], "150");
    let opened = app.post("/v1/packs/1/open", json!({})).expect(200).json();
    assert_eq!(opened["packs"][0]["opened_on"], "2026-03-02");
    let count = json!({"gross_g": "950", "tare_g": "50", "reason": "monthly count"});
    let counted = app.post("/v1/packs/1/count", count).expect(200).json();
    assert_eq!(
        (&counted["on_hand"], &counted["remaining_value"]),
        (&json!("1400"), &json!("140"))
    );
    assert_eq!(counted["packs"][0]["counted_on"], "2026-03-02");
    let spill = json!({"quantity": 100, "reason": "dropped", "on": "2026-02-20"});
    let spilled = app.post("/v1/packs/2/spill", spill).expect(200).json();
    assert_eq!(spilled["on_hand"], "1300");
    let lost = json!({"reason": "expired"});
    let lot = app.post("/v1/packs/2/write-off", lost).expect(200).json();
    assert_eq!(
        (&lot["on_hand"], &lot["packs"][1]["state"]),
        (&json!("900"), &json!("spent"))
    );
    let held = app
        .post("/v1/packs/1/hold", json!({"reason": "cloudy"}))
        .expect(200)
        .json();
    assert_eq!(held["state"], "held");
    let let_go = send(app.request("POST", "/v1/packs/1/release"))
        .expect(200)
        .json();
    assert_eq!(let_go["state"], "usable");
    let reversed = app
        .post(
            "/v1/movements/5/reverse",
            json!({"reason": "it had not expired"}),
        )
        .expect(200)
        .json();
    assert_eq!(
        (&reversed["on_hand"], &reversed["landed_cost"]),
        (&json!("1300"), &json!("150"))
    );
    assert_eq!(app.get("/v1/verify").expect(200).json()["ok"], true);
}

#[test]
fn a_repeat_spills_nothing_twice() {
    let app = TestApp::start();
    receive(&app.service, "base", &["10"], "10");
    let spill = || json!({"quantity": "1", "reason": "dropped"});
    let first = app.post_once("/v1/packs/1/spill", "k", spill()).expect(200);
    let again = app.post_once("/v1/packs/1/spill", "k", spill()).expect(200);
    assert_eq!(first.text, again.text);
    assert_eq!(app.get("/v1/lots/1").json()["on_hand"], "9");
}

/// A post that is refused: status, kind of problem, fields in error.
#[track_caller]
fn refused(
    app: &TestApp,
    path: &str,
    body: serde_json::Value,
    status: u16,
    kind: &str,
    pointers: &[&str],
) {
    let answer = app.post(path, body).expect(status);
    let found = (answer.problem(), answer.pointers());
    assert_eq!(
        found,
        (
            kind.to_owned(),
            pointers.iter().map(|p| (*p).to_owned()).collect()
        ),
        "{path}"
    );
}

#[test]
fn what_is_wrong_is_named() {
    let app = TestApp::start();
    receive(&app.service, "base", &["10"], "10");
    let check =
        |path: &str, body, pointers: &[&str]| refused(&app, path, body, 422, "invalid", pointers);
    check("/v1/packs/1/count", json!({}), &[""]);
    check("/v1/packs/1/count", json!({"on_hand": "-1"}), &["/on_hand"]);
    check(
        "/v1/packs/1/count",
        json!({"on_hand": "1", "tare_g": "-1"}),
        &["/tare_g", "/tare_g"],
    );
    check("/v1/packs/1/count", json!({"gross_g": "5"}), &["/gross_g"]);
    check(
        "/v1/packs/1/spill",
        json!({"quantity": "11", "reason": "x"}),
        &["/quantity"],
    );
    check("/v1/packs/1/spill", json!({"quantity": "1"}), &["/reason"]);
    check(
        "/v1/packs/1/write-off",
        json!({"reason": "x", "on": "2026-03-03"}),
        &["/on"],
    );
    check(
        "/v1/packs/1/open",
        json!({"opened_on": "2026-01-31"}),
        &["/opened_on"],
    );
    check(
        "/v1/packs/1/open",
        json!({"opened": "2026-03-01"}),
        &["/opened"],
    );
    check(
        "/v1/packs/77/spill",
        json!({"quantity": "0", "reason": "x"}),
        &["/quantity"],
    );
}

#[test]
fn what_cannot_be_taken_back_says_why() {
    let app = TestApp::start();
    receive(&app.service, "base", &["10"], "10");
    let check = |path: &str, status: u16, kind: &str| {
        refused(&app, path, json!({"reason": "x"}), status, kind, &[]);
    };
    check("/v1/packs/77/spill", 404, "not-found");
    check("/v1/movements/77/reverse", 404, "not-found");
    app.post("/v1/packs/1/spill", json!({"quantity": "1", "reason": "x"}))
        .expect(200);
    check("/v1/movements/1/reverse", 409, "history-conflict");
    app.post("/v1/movements/2/reverse", json!({"reason": "x"}))
        .expect(200);
    check("/v1/movements/2/reverse", 409, "wrong-state");
}
