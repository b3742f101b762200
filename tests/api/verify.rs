//! The proof of the books, over HTTP and on the command line.

use std::sync::Arc;

use diesel::connection::SimpleConnection;
use heeltap::app::{Outside, open};
use heeltap::base::{ManualClock, SeededEntropy};
use serde_json::json;

use crate::support::{TestApp, TestDatabase, heeltap, receive};

const BREAK: &str = "UPDATE lots SET on_hand_micro = on_hand_micro + 1";

#[test]
fn sound_books_and_broken_ones() {
    let app = TestApp::start();
    let empty = app.get("/v1/verify").expect(200).json();
    assert_eq!(
        empty,
        json!({"ok": true, "lots": 0, "movements": 0, "breaches": []})
    );
    let lot = receive(&app.service, "base", &["10", "5"], "4");
    let sound = app.get("/v1/verify").expect(200).json();
    assert_eq!(
        sound,
        json!({"ok": true, "lots": 1, "movements": 2, "breaches": []})
    );
    app.service
        .db()
        .write(|conn| Ok(conn.batch_execute(BREAK)?))
        .expect("altered");
    let broken = app.get("/v1/verify").expect(200).json();
    assert_eq!(broken["ok"], false);
    let detail =
        "on hand is 15000001 millionths in the books, but its movements add up to 15000000";
    let expected = json!([{"invariant": 2, "subject": format!("lot {lot}"), "detail": detail}]);
    assert_eq!(broken["breaches"], expected);
}

#[test]
fn the_command_prints_what_it_checked_and_ends_with_1_when_something_is_broken() {
    let database = TestDatabase::new();
    let outside = Outside {
        clock: Arc::new(ManualClock::new(
            "2026-03-02T09:00:00Z".parse().expect("an instant"),
        )),
        entropy: Arc::new(SeededEntropy::new(1)),
    };
    let service = open(&TestApp::settings(&database), outside).expect("a service");
    receive(&service, "base", &["10"], "4");
    let run = || {
        let output = heeltap(Some(&database), &["verify"]);
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (
            output.status.code(),
            text(&output.stdout),
            text(&output.stderr),
        )
    };
    let (code, out, err) = run();
    assert_eq!((code, err.as_str()), (Some(0), ""));
    let lines: Vec<&str> = out.lines().collect();
    assert_eq!(lines[0], "lots read: 1, movements read: 1");
    assert_eq!(lines.len(), 8);
    assert!(
        lines[1..].iter().all(|line| line.ends_with(": holds")),
        "{out}"
    );

    service
        .db()
        .write(|conn| Ok(conn.batch_execute(BREAK)?))
        .expect("altered");
    let (code, out, err) = run();
    assert_eq!(code, Some(1));
    assert!(
        out.contains("sums of their movements: BROKEN 1 times\n"),
        "{out}"
    );
    assert!(
        out.contains("broken (2) lot 1: on hand is 10000001 millionths"),
        "{out}"
    );
    assert_eq!(err, "heeltap: 1 thing in the books is broken\n");
}
