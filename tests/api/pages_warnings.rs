//! The page of the warnings: told as the shelf tells them, seen to with a note.

use heeltap::http::Role;
use heeltap::stock::warnings::{Alarm, Subject, warning_raise};

use crate::support::TestApp;
use crate::support::browser::{Browser, form_key};

fn raise(app: &TestApp, code: &str, severity: i32) {
    let subject = Subject {
        kind: "order_overdue",
        noun: "order_line",
        code,
    };
    let alarm = Alarm {
        severity,
        due_on: "2026-03-10".parse().ok(),
        reason: format!("Order {code} is late."),
    };
    app.service
        .as_actor("worker", |tx| warning_raise(tx, &subject, &alarm))
        .expect("a warning");
}

#[test]
fn a_warning_is_seen_to_with_a_note_and_leaves_what_is_to_do() {
    let app = TestApp::start();
    let browser = Browser::as_role(&app, Role::Buyer);
    assert!(browser.get("/warnings").text.contains("No warning stands."));
    raise(&app, "PO-1/1", 2);
    raise(&app, "PO-2/1", 3);
    let page = browser.get("/warnings").text;
    let place = |what: &str| {
        page.find(what)
            .unwrap_or_else(|| panic!("no {what}: {page}"))
    };
    assert!(place("Order PO-2/1 is late.") < place("Order PO-1/1 is late."));
    assert!(page.contains(r#"<a href="/receive">What is on order</a>"#));
    assert!(browser.get("/").text.contains("Order PO-1/1 is late."));
    let key = form_key(&page).to_owned();
    let note = "asked <them> by telephone";
    let seen = browser.send(
        "/warnings/1/acknowledge",
        &[("form_key", &key), ("note", note)],
    );
    assert_eq!(
        (seen.status, seen.location.as_str()),
        (303, "/warnings#warning-1")
    );
    let kept = app.get("/v1/warnings").expect(200).json();
    assert_eq!(kept["items"][0]["note"], note);
    assert_eq!(kept["items"][0]["acknowledged_by"], "buyer");
    let page = browser.get("/warnings").text;
    let said = "buyer sees to it since Mon 2 Mar: asked &#60;them&#62; by telephone";
    assert!(page.contains(said), "{page}");
    assert!(!browser.get("/").text.contains("Order PO-1/1 is late."));
}

#[test]
fn a_note_that_is_too_long_stays_in_its_field_and_a_reader_has_none() {
    let app = TestApp::start();
    raise(&app, "PO-1/1", 2);
    let browser = Browser::as_role(&app, Role::Bench);
    let key = form_key(&browser.get("/warnings").text).to_owned();
    let long = "x".repeat(501);
    let form = [("form_key", key.as_str()), ("note", &long)];
    let refused = browser.send("/warnings/1/acknowledge", &form);
    assert_eq!(refused.status, 422);
    let says = "the note has 501 characters: send at most 500,";
    assert!(refused.text.contains(says) && refused.text.contains(&long));
    assert_eq!(
        browser.send("/warnings/9/acknowledge", &form[..1]).status,
        404
    );
    assert_eq!(
        browser.send("/warnings/x/acknowledge", &form[..1]).status,
        404
    );
    let stranger = [("form_key", "no"), ("note", "seen")];
    assert_eq!(
        browser.send("/warnings/1/acknowledge", &stranger).status,
        403
    );
    assert_eq!(app.get("/v1/warnings").json()["items"][0]["state"], "open");
    let reader = Browser::as_role(&app, Role::Reader);
    let page = reader.get("/warnings").text;
    assert!(page.contains("Order PO-1/1 is late.") && !page.contains("I see to it"));
    assert_eq!(reader.send("/warnings/1/acknowledge", &form).status, 403);
}
