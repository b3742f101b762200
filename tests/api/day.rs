//! The load of a day: the rounds of all its casts against its moulds, its oven and its working time.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{receive, stocked};

/// Creates `warm`: as `chip`, cured at 85 C for 45 minutes, with some fields more.
fn warm(app: &TestApp, changes: Value) {
    let mut body = json!({"code": "warm", "name": "Warm", "elastomer": "el", "mold": "mold", "container": "tray", "cup": "cup",
        "tape": "tape", "release_agent": "vial", "chip_thickness_mm": "4", "drain_time_s": "60",
        "cure": {"temperature_c": "85", "minutes": "45"}});
    for (name, value) in changes.as_object().expect("fields") {
        body[name] = value.clone();
    }
    app.post("/v1/recipes", body).expect(201);
    receive(app, "base", "B2", Some("K2"), &["5000"], "100");
    receive(app, "agent", "A2", Some("K2"), &["500"], "20");
    receive(app, "vial", "V2", None, &["1"; 12], "12");
}

fn request(containers: u32) -> Value {
    json!({"recipe": "warm", "containers": containers, "cast_on": "2026-03-10"})
}

fn day(plan: &Value) -> Value {
    plan["day"].clone()
}

fn warned(plan: &Value) -> bool {
    plan["cautions"].to_string().contains("the day has")
}

#[test]
fn the_rounds_of_all_casts_on_a_mould_are_added_up() {
    let app = TestApp::start();
    stocked(&app);
    warm(&app, json!({}));
    // 8 trays on 2 copies: 4 rounds of 5 + 45 minutes and 8 x 2 minutes of pouring.
    let alone = app.post("/v1/cast-plans", request(8)).expect(200).json();
    assert_eq!(
        day(&alone),
        json!({"rounds": 4, "mold": "mold", "mold_minutes": "216", "oven_minutes": "0", "working_minutes": "480", "fits": true})
    );
    let booked = app.post("/v1/casts", request(8)).expect(201).json();
    let code = booked["code"].as_str().unwrap();
    // Another 10 trays: 5 x 50 + 10 x 2 = 270 minutes more make 486.
    let more = app.post("/v1/cast-plans", request(10)).expect(200).json();
    assert_eq!(
        day(&more),
        json!({"rounds": 9, "mold": "mold", "mold_minutes": "486", "oven_minutes": "0", "working_minutes": "480", "fits": false, "with": [code]})
    );
    let caution = "the day has 9 rounds with one other cast, more than fit into it: mould `mold` needs 486 min and the oven 0 min, the working day has 480 min";
    assert!(
        more["cautions"]
            .as_array()
            .unwrap()
            .contains(&json!(caution)),
        "{more}"
    );
    // It is a caution: the cast can be booked, and keeps it. Another day is free.
    let second = app.post("/v1/casts", request(10)).expect(201).json();
    assert!(warned(&second["plan"]));
    let mut other_day = request(8);
    other_day["cast_on"] = json!("2026-03-11");
    let other = app.post("/v1/cast-plans", other_day).expect(200).json();
    assert!(!warned(&other));
    // What is cancelled asks nothing of the day.
    app.post(&format!("/v1/casts/{code}/cancel"), json!({}))
        .expect(200);
    let after = app.post("/v1/cast-plans", request(2)).expect(200).json();
    assert_eq!(day(&after)["rounds"], 6);
    assert_eq!(day(&after)["mold_minutes"], "324");
}

#[test]
fn the_oven_takes_so_many_trays_at_once() {
    let app = TestApp::with(|settings| settings.working_day_min = 300);
    stocked(&app);
    warm(&app, json!({"oven_containers": 1}));
    // 7 trays one by one: 7 x 45 = 315 minutes; the mould needs 4 x 50 + 7 x 2 = 214.
    let plan = app.post("/v1/cast-plans", request(7)).expect(200).json();
    assert_eq!(
        day(&plan),
        json!({"rounds": 4, "mold": "mold", "mold_minutes": "214", "oven_minutes": "315", "working_minutes": "300", "fits": false})
    );
    assert!(warned(&plan));
}

#[test]
fn a_cure_over_night_holds_up_nothing_after_it() {
    let app = TestApp::start();
    stocked(&app);
    // `chip` cures for two days at 25 C: one round is possible on any day, two are not.
    let one = app
        .post(
            "/v1/cast-plans",
            json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-10"}),
        )
        .expect(200)
        .json();
    assert_eq!(
        (&one["day"]["mold_minutes"], &one["day"]["fits"]),
        (&json!("9"), &json!(true))
    );
    let two = app
        .post(
            "/v1/cast-plans",
            json!({"recipe": "chip", "containers": 4, "cast_on": "2026-03-10"}),
        )
        .expect(200)
        .json();
    // 2 x (5 + 2880) + 4 x 2 less the last cure.
    assert_eq!(
        (&two["day"]["mold_minutes"], &two["day"]["fits"]),
        (&json!("2898"), &json!(false))
    );
}

#[test]
fn a_recipe_names_a_possible_oven() {
    let app = TestApp::start();
    stocked(&app);
    let body = json!({"code": "none", "name": "None", "elastomer": "el", "mold": "mold", "container": "tray", "cup": "cup",
        "chip_thickness_mm": "4", "drain_time_s": "60", "oven_containers": 10_001});
    let refused = app.post("/v1/recipes", body).expect(422);
    assert_eq!(refused.pointers(), ["/oven_containers"]);
}
