//! A booked cast is rescheduled: another day, other trays, other payers; planned again, or left as it was.

use serde_json::{Value, json};

use crate::support::lab::{catalogue, micro, receive, stocked, verified};
use crate::support::{Answer, TestApp};

fn book(app: &TestApp, containers: u32, day: &str) -> String {
    let request = json!({"recipe": "chip", "containers": containers, "cast_on": day,
        "charges": [{"grant": "grant-a", "share": "100"}]});
    let booked = app.post("/v1/casts", request).expect(201).json();
    booked["code"].as_str().expect("a code").to_owned()
}

fn patch(app: &TestApp, code: &str, body: Value) -> Answer {
    let path = format!("/v1/casts/{code}");
    let etag = app.get(&path).expect(200).header("etag").to_owned();
    app.patch(&path, &etag, body)
}

/// What of a material is promised.
fn promised(app: &TestApp, material: &str) -> i64 {
    let lots = app
        .get(&format!("/v1/lots?material={material}"))
        .expect(200)
        .json();
    let lots = lots["items"].as_array().expect("lots").clone();
    lots.iter().map(|lot| micro(&lot["reserved"])).sum()
}

fn short(app: &TestApp, code: &str) -> Value {
    app.get(&format!("/v1/casts/{code}")).expect(200).json()["short"].clone()
}

#[test]
fn another_day_and_other_trays_are_planned_again() {
    let app = TestApp::start();
    stocked(&app);
    let code = book(&app, 2, "2026-03-10");
    let (before, base) = (
        app.get(&format!("/v1/casts/{code}")).expect(200),
        promised(&app, "base"),
    );
    let changed = patch(&app, &code, json!({"cast_on": "2026-03-20"}))
        .expect(200)
        .json();
    assert_eq!(changed["cast_on"], "2026-03-20");
    assert_eq!(changed["plan"]["cast_on"], "2026-03-20");
    assert_eq!(promised(&app, "base"), base);
    verified(&app);

    let charges = json!([{"grant": "grant-a", "share": "50"}, {"grant": "grant-b", "share": "50"}]);
    let grown = patch(&app, &code, json!({"containers": 4, "charges": charges})).expect(200);
    assert_ne!(grown.header("etag"), before.header("etag"));
    let grown = grown.json();
    assert_eq!(grown["charges"], charges);
    assert_eq!(
        promised(&app, "base"),
        micro(&grown["plan"]["mix"]["base_g"])
    );
    assert_eq!(promised(&app, "tray"), 4_000_000);
    verified(&app);

    // By good chips wanted instead of trays: what was said before is taken away.
    let wished = json!({"containers": null, "good_chips_wanted": 3});
    let wished = patch(&app, &code, wished).expect(200).json();
    assert_eq!(wished["request"]["good_chips_wanted"], 3);
    assert_eq!(
        promised(&app, "tray"),
        micro(&json!(wished["plan"]["containers"].to_string()))
    );
    verified(&app);
}

#[test]
fn a_changed_catalogue_counts_once_it_is_planned_again() {
    let app = TestApp::start();
    stocked(&app);
    let code = book(&app, 1, "2026-03-10");
    let recipe = app.get("/v1/recipes/chip").expect(200);
    app.patch(
        "/v1/recipes/chip",
        recipe.header("etag"),
        json!({"chip_thickness_mm": "6"}),
    )
    .expect(200);
    let plan =
        |code: &str| app.get(&format!("/v1/casts/{code}")).expect(200).json()["plan"].clone();
    assert_eq!(
        plan(&code)["fill"]["level_mm"],
        "5.1",
        "a booked cast keeps its values"
    );
    patch(&app, &code, json!({})).expect(200);
    assert_eq!(
        plan(&code)["fill"]["level_mm"],
        "7.1",
        "planned again, it takes those of today"
    );
    verified(&app);
}

#[test]
fn a_shortage_leaves_the_cast_as_it_was() {
    let app = TestApp::start();
    stocked(&app);
    let code = book(&app, 2, "2026-03-10");
    let before = app.get(&format!("/v1/casts/{code}")).expect(200);
    let refused = patch(&app, &code, json!({"containers": 90})).expect(409);
    assert_eq!(refused.problem(), "shortage");
    // What the cast held counts for what could be booked: all 40 trays.
    assert_eq!(refused.json()["largest_bookable"], 40);
    let after = app.get(&format!("/v1/casts/{code}")).expect(200);
    assert_eq!(after.text, before.text);
    assert_eq!(after.header("etag"), before.header("etag"));
    let booked = patch(&app, &code, json!({"containers": 90, "allow_short": true}))
        .expect(200)
        .json();
    assert_eq!(booked["short"], true);
    let warnings = app.get("/v1/warnings").expect(200).text;
    assert!(warnings.contains("was booked short"), "{warnings}");
    verified(&app);
    let again = patch(&app, &code, json!({"containers": 2}))
        .expect(200)
        .json();
    assert_eq!(again["short"], false);
    let open = app.get("/v1/warnings?state=open").expect(200).text;
    assert!(!open.contains("cast_short"), "{open}");
    verified(&app);
}

#[test]
fn what_a_cast_gives_up_serves_those_that_were_short() {
    let app = TestApp::start();
    catalogue(&app);
    receive(&app, "base", "B1", Some("K1"), &["120"], "12");
    receive(&app, "agent", "A1", Some("K1"), &["30"], "12");
    for (material, packs) in [
        ("vial", &["1", "1", "1", "1"][..]),
        ("tray", &["40"]),
        ("cup", &["40"]),
        ("tape", &["33"]),
        ("stirrer", &["100"]),
    ] {
        receive(&app, material, "X", None, packs, "12");
    }
    let first = book(&app, 4, "2026-03-10");
    let request =
        json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-12", "allow_short": true});
    let second = app.post("/v1/casts", request).expect(201).json();
    let second = second["code"].as_str().expect("a code");
    assert_eq!(short(&app, second), true);
    patch(&app, &first, json!({"containers": 1})).expect(200);
    assert_eq!(short(&app, second), false);
    verified(&app);
    // And back: it takes them from the later cast only when it may.
    let refused = patch(&app, &first, json!({"containers": 4})).expect(409);
    assert_eq!(
        refused.json()["shortages"][0]["held_by_later"],
        json!([second])
    );
    patch(
        &app,
        &first,
        json!({"containers": 4, "take_from_later": true}),
    )
    .expect(200);
    assert_eq!(short(&app, second), true);
    let warnings = app.get("/v1/warnings").expect(200).text;
    assert!(warnings.contains(second), "{warnings}");
    verified(&app);
}

/// The coat that one cast counted on goes to the cast that now comes before it.
#[test]
fn coats_follow_the_order_of_the_days() {
    let app = TestApp::start();
    stocked(&app);
    // Coats of both copies last five casts each: the first four casts of two trays need vials of the first alone.
    let casts: Vec<String> = (10..15)
        .map(|day| book(&app, 2, &format!("2026-03-{day}")))
        .collect();
    let vials = |code: &str| -> i64 {
        let trace = app
            .get(&format!("/v1/casts/{code}/trace"))
            .expect(200)
            .json();
        let rows = trace["materials"].as_array().expect("materials").clone();
        rows.iter()
            .filter(|row| row["purpose"] == "release")
            .map(|row| micro(&row["quantity"]))
            .sum()
    };
    let all = |casts: &[String]| casts.iter().map(|code| vials(code)).collect::<Vec<i64>>();
    assert_eq!(all(&casts), [1_000_000, 0, 0, 0, 0]);
    patch(&app, &casts[0], json!({"cast_on": "2026-03-20"})).expect(200);
    assert_eq!(all(&casts), [0, 1_000_000, 0, 0, 0]);
    verified(&app);
}

#[test]
fn what_is_refused() {
    let app = TestApp::start();
    stocked(&app);
    let code = book(&app, 2, "2026-03-10");
    let path = format!("/v1/casts/{code}");
    let pointer = |body: Value| {
        let answer = patch(&app, &code, body).expect(422);
        answer.pointers()
    };
    assert_eq!(pointer(json!({"recipe": "other"})), ["/recipe"]);
    assert_eq!(pointer(json!({"containers": 0})), ["/containers"]);
    assert_eq!(pointer(json!({"good_chips_wanted": 3})), ["/containers"]);
    assert_eq!(pointer(json!({"cast_on": "soon"})), ["/cast_on"]);
    assert_eq!(pointer(json!({"cast_on": null})), ["/cast_on"]);
    assert_eq!(pointer(json!({"colour": "blue"})), ["/colour"]);
    assert_eq!(
        pointer(json!({"charges": [{"grant": "nobody", "share": "100"}]})),
        ["/charges/0/grant"]
    );
    let body = json!({"cast_on": "2026-03-11"});
    let bare = crate::support::send(app.request("PATCH", &path).json(&body));
    assert_eq!(bare.expect(428).problem(), "precondition-required");
    let stale = app.patch(&path, "\"77\"", body.clone()).expect(412);
    assert_eq!(stale.problem(), "version-mismatch");
    app.patch("/v1/casts/C-99999", "\"1\"", body.clone())
        .expect(404);
    app.post(&format!("{path}/cancel"), json!({})).expect(200);
    let late = patch(&app, &code, body).expect(409);
    assert_eq!(late.problem(), "wrong-state");
}
