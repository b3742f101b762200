//! Warnings: listed, acknowledged, cleared by themselves.

use heeltap::stock::warnings::{Alarm, Subject, warning_clear, warning_raise};
use serde_json::json;

use crate::support::TestApp;

const SUBJECT: Subject<'static> = Subject {
    kind: "order_by",
    noun: "material",
    code: "base",
};

fn raise(app: &TestApp, subject: &Subject<'_>, due_on: &str) {
    let alarm = Alarm {
        severity: 2,
        due_on: due_on.parse().ok(),
        reason: "Base runs out on 2026-03-20.".into(),
    };
    app.service
        .as_actor("worker", |tx| warning_raise(tx, subject, &alarm))
        .expect("a warning");
}

#[test]
fn a_warning_is_acknowledged_with_a_note_and_raised_again_when_its_day_moves() {
    let app = TestApp::start();
    raise(&app, &SUBJECT, "2026-03-10");
    let expected = json!({"id": 1, "kind": "order_by", "subject_noun": "material", "subject": "base", "severity": 2,
        "due_on": "2026-03-10", "reason": "Base runs out on 2026-03-20.", "state": "open", "opened_at": "2026-03-02T09:00:00Z"});
    let listed = app.get("/v1/warnings").expect(200).json();
    assert_eq!(listed, json!({"items": [expected]}));
    let note = json!({"note": "ordered by telephone"});
    let path = "/v1/warnings/1/acknowledge";
    let acknowledged = app.post(path, note).expect(200).json();
    assert_eq!(acknowledged["state"], "acknowledged");
    assert_eq!(acknowledged["acknowledged_by"], "administrator");
    assert_eq!(acknowledged["note"], "ordered by telephone");
    raise(&app, &SUBJECT, "2026-03-12");
    assert_eq!(
        app.get("/v1/warnings").json()["items"][0]["state"],
        "acknowledged"
    );
    // Two days and one make three: a day that drifts is not missed.
    raise(&app, &SUBJECT, "2026-03-13");
    let again = app.get("/v1/warnings").json();
    assert_eq!(
        (&again["items"][0]["state"], again["items"][0].get("note")),
        (&json!("open"), None)
    );
    app.service
        .as_actor("worker", |tx| warning_clear(tx, &SUBJECT))
        .expect("cleared");
    assert_eq!(
        app.post(path, json!({})).expect(409).problem(),
        "wrong-state"
    );
    assert_eq!(
        app.get("/v1/warnings?state=open").json(),
        json!({"items": []})
    );
    assert_eq!(
        app.get("/v1/warnings?state=all").json()["items"][0]["state"],
        "cleared"
    );
}

#[test]
fn warnings_come_in_pages_and_mistakes_are_named() {
    let app = TestApp::start();
    for code in ["a", "b", "c"] {
        raise(&app, &Subject { code, ..SUBJECT }, "2026-03-10");
    }
    let first = app.get("/v1/warnings?state=open&limit=2").expect(200);
    assert_eq!(
        first.header("link"),
        "</v1/warnings?state=open&limit=2&cursor=2>; rel=\"next\""
    );
    let last = app.get("/v1/warnings?state=open&limit=2&cursor=2").json();
    assert_eq!(
        (&last["items"][0]["subject"], last.get("next")),
        (&json!("c"), None)
    );
    assert_eq!(
        app.get("/v1/warnings?state=shut").expect(400).problem(),
        "bad-query"
    );
    let long = app.post(
        "/v1/warnings/1/acknowledge",
        json!({"note": "x".repeat(501)}),
    );
    assert_eq!(long.expect(422).pointers(), ["/note"]);
    let note = |text: &str| app.post("/v1/warnings/1/acknowledge", json!({ "note": text }));
    for odd in ["a\u{0}b", "\u{1b}[2J", "\u{84}"] {
        assert_eq!(note(odd).expect(422).pointers(), ["/note"], "{odd:?}");
    }
    note("first\n\tsecond").expect(200);
    let missing = app.post("/v1/warnings/77/acknowledge", json!({"note": ""}));
    assert_eq!(missing.expect(404).problem(), "not-found");
}
