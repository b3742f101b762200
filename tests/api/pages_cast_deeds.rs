//! What is done to a cast from its page: it is moved to another day, cancelled, and taken back a step.

use heeltap::http::Role;
use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::browser::{Browser, Seen, form_key};
use crate::support::lab::{stocked, verified};

const PAGE: &str = "/casts/C-00001";

fn booked(app: &TestApp, containers: u32, cast_on: &str) -> Value {
    let asked = json!({"recipe": "chip", "containers": containers, "cast_on": cast_on});
    app.post("/v1/casts", asked).expect(201).json()
}

fn cast(app: &TestApp) -> Value {
    app.get("/v1/casts/C-00001").expect(200).json()
}

fn pour(app: &TestApp, cast: &Value) {
    let planned = cast["plan"]["batches"].as_array().expect("batches").iter();
    let batches: Vec<Value> = planned
        .map(|batch| json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"]}))
        .collect();
    let body = json!({"poured_on": "2026-03-02", "batches": batches});
    app.post("/v1/casts/C-00001/pour", body).expect(200);
}

/// The hidden value of a name.
fn hidden<'a>(page: &'a str, name: &str) -> &'a str {
    let (_, rest) = page
        .split_once(&format!("name=\"{name}\" value=\""))
        .unwrap_or_else(|| panic!("no {name}: {page}"));
    rest.split('"').next().unwrap_or_default()
}

fn send(browser: &Browser<'_>, page: &str, deed: &str, typed: &[(&str, &str)]) -> Seen {
    let mut form = vec![
        ("form_key", form_key(page)),
        ("once", hidden(page, "once")),
        ("known", hidden(page, "known")),
    ];
    form.extend(typed);
    browser.send(&format!("{PAGE}/{deed}"), &form)
}

#[test]
fn a_booked_cast_is_moved_once_and_planned_again() {
    let app = TestApp::start();
    stocked(&app);
    booked(&app, 2, "2026-03-10");
    let browser = Browser::as_role(&app, Role::Bench);
    let page = browser.get(PAGE).text;
    assert!(
        page.contains("name=\"cast_on\" type=\"date\" required value=\"2026-03-10\""),
        "{page}"
    );
    let moved = send(&browser, &page, "move", &[("cast_on", "2026-03-20")]);
    assert_eq!((moved.status, moved.location.as_str()), (303, PAGE));
    let now = cast(&app);
    assert_eq!(
        (&now["cast_on"], &now["plan"]["cast_on"]),
        (&json!("2026-03-20"), &json!("2026-03-20"))
    );
    // Sent twice it is answered from the books; from a page that is old, it is not taken.
    let again = send(&browser, &page, "move", &[("cast_on", "2026-03-20")]);
    assert_eq!(again.status, 303);
    let fresh = browser.get("/casts/C-00001").text;
    let old = [
        ("form_key", form_key(&fresh)),
        ("once", "another"),
        ("known", hidden(&page, "known")),
        ("cast_on", "2026-03-22"),
    ];
    let stale = browser.send("/casts/C-00001/move", &old);
    assert_eq!(stale.status, 412);
    assert!(
        stale.text.contains("it is now at version 2"),
        "{}",
        stale.text
    );
    assert!(
        stale.text.contains("value=\"2026-03-22\""),
        "{}",
        stale.text
    );
    assert_eq!(cast(&app)["cast_on"], "2026-03-20");
    verified(&app);
}

#[test]
fn what_stands_against_a_move_is_said_at_its_place() {
    let app = TestApp::start();
    stocked(&app);
    booked(&app, 2, "2026-03-10");
    let browser = Browser::as_role(&app, Role::Bench);
    let page = browser.get(PAGE).text;
    let wrong = send(&browser, &page, "move", &[("cast_on", "soon")]);
    assert_eq!(wrong.status, 422);
    for text in [
        "value=\"soon\" aria-invalid=\"true\"",
        "id=\"cast_on-fault\">\"soon\": ",
        "<details class=\"card\" open>",
    ] {
        assert!(
            wrong.text.replace("&#34;", "\"").contains(text),
            "{text}: {}",
            wrong.text
        );
    }
    // All that is in stock is good until the end of January.
    let short = send(&browser, &wrong.text, "move", &[("cast_on", "2027-02-10")]);
    assert_eq!(short.status, 409);
    assert!(
        short.text.contains("not enough for 2 trays on 2027-02-10"),
        "{}",
        short.text
    );
    assert_eq!(cast(&app)["cast_on"], "2026-03-10");
    let typed = [("cast_on", "2027-02-10"), ("allow_short", "true")];
    assert_eq!(send(&browser, &short.text, "move", &typed).status, 303);
    assert_eq!(
        (&cast(&app)["cast_on"], &cast(&app)["short"]),
        (&json!("2027-02-10"), &json!(true))
    );
    verified(&app);
}

#[test]
fn a_cast_is_cancelled_and_what_it_held_is_free() {
    let app = TestApp::start();
    stocked(&app);
    booked(&app, 2, "2026-03-10");
    let browser = Browser::as_role(&app, Role::Bench);
    let page = browser.get(PAGE).text;
    for _ in 0..2 {
        let cancelled = send(&browser, &page, "cancel", &[]);
        assert_eq!((cancelled.status, cancelled.location.as_str()), (303, PAGE));
    }
    assert_eq!(cast(&app)["state"], "cancelled");
    let after = browser.get(PAGE).text;
    assert!(!after.contains("/casts/C-00001/cancel") && !after.contains("/casts/C-00001/move"));
    // From a page that another had open, it is refused in the words of the API, above what now stands there.
    let late = [
        ("form_key", form_key(&page)),
        ("once", "another"),
        ("known", "1"),
    ];
    let late = browser.send("/casts/C-00001/cancel", &late);
    assert_eq!(late.status, 409);
    assert!(
        late.text
            .contains("cast C-00001 is cancelled; only a cast that is booked can be cancelled"),
        "{}",
        late.text
    );
    verified(&app);
}

#[test]
fn a_step_is_taken_back_only_by_whoever_saw_it() {
    let app = TestApp::start();
    stocked(&app);
    let planned = booked(&app, 2, "2026-03-02");
    pour(&app, &planned);
    let browser = Browser::as_role(&app, Role::Bench);
    let poured = browser.get(PAGE).text;
    assert!(poured.contains("Take back the pour"), "{poured}");
    let counted = json!({"demolded_on": "2026-03-02", "good": 8, "rejects": []});
    app.post("/v1/casts/C-00001/demold", counted).expect(200);
    // The page still shows the pour: the demould is not taken back by it.
    let stale = send(&browser, &poured, "undo", &[("reason", "spilled")]);
    assert_eq!(stale.status, 412);
    assert!(
        stale.text.contains("value=\"spilled\"") && stale.text.contains("Take back the demould"),
        "{}",
        stale.text
    );
    assert_eq!(cast(&app)["state"], "demolded");

    // Sent twice, one step is taken back.
    let page = browser.get(PAGE).text;
    for _ in 0..2 {
        assert_eq!(send(&browser, &page, "undo", &[("reason", "")]).status, 303);
        assert_eq!(cast(&app)["state"], "poured");
    }
    let page = browser.get(PAGE).text;
    let long = "x".repeat(201);
    let wrong = send(&browser, &page, "undo", &[("reason", &long)]);
    assert_eq!(wrong.status, 422);
    assert!(wrong.text.contains("id=\"reason-fault\""), "{}", wrong.text);
    assert_eq!(
        send(&browser, &wrong.text, "undo", &[("reason", "a wrong cup")]).status,
        303
    );
    assert_eq!(cast(&app)["state"], "booked");
    let lot = app.get("/v1/lots/1/movements").expect(200).text;
    assert!(lot.contains("a wrong cup"), "{lot}");
    verified(&app);
}

#[test]
fn only_whoever_works_at_the_bench_is_offered_any_of_it() {
    let app = TestApp::start();
    stocked(&app);
    booked(&app, 2, "2026-03-10");
    let bench = Browser::as_role(&app, Role::Bench).get(PAGE).text;
    assert!(
        bench.contains("Cancel C-00001") && bench.contains("Plan another like it"),
        "{bench}"
    );
    for (role, plans) in [(Role::Reader, false), (Role::Buyer, true)] {
        let browser = Browser::as_role(&app, role);
        let page = browser.get(PAGE).text;
        assert!(
            !page.contains("Cancel C-00001") && !page.contains("Move it"),
            "{page}"
        );
        assert_eq!(page.contains("Plan another like it"), plans);
        let form = [("form_key", form_key(&page)), ("once", "x"), ("known", "1")];
        for deed in ["move", "cancel", "undo"] {
            assert_eq!(browser.send(&format!("{PAGE}/{deed}"), &form).status, 403);
        }
    }
    assert_eq!(cast(&app)["state"], "booked");
}
