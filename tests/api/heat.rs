//! The cure of a plan: whose it is, what is advised on its time, and what tray and mould bear.

use serde_json::{Value, json};

use crate::support::lab::{micro, stocked};
use crate::support::{Answer, TestApp};

/// Creates a recipe that differs from `chip` in some fields.
fn recipe(app: &TestApp, code: &str, changes: Value) {
    let mut body = json!({"code": code, "name": code, "elastomer": "el", "mold": "mold", "container": "tray", "cup": "cup",
        "tape": "tape", "release_agent": "vial", "chip_thickness_mm": "4", "drain_time_s": "60"});
    for (name, value) in changes.as_object().expect("fields") {
        body[name] = value.clone();
    }
    app.post("/v1/recipes", body).expect(201);
}

fn plan(app: &TestApp, recipe: &str) -> Value {
    app.post(
        "/v1/cast-plans",
        json!({"recipe": recipe, "containers": 1, "cast_on": "2026-03-10"}),
    )
    .expect(200)
    .json()
}

fn cautions(plan: &Value) -> String {
    plan["cautions"].to_string()
}

#[test]
fn a_recipe_without_a_cure_is_cured_at_the_elastomers_first_point() {
    let app = TestApp::start();
    stocked(&app);
    let found = plan(&app, "chip");
    assert_eq!(
        found["cure"],
        json!({"temperature_c": "25", "minutes": "2880", "basis": "elastomer", "advised_minutes": "2880", "extrapolated": false})
    );
    assert!(!cautions(&found).contains("hot (25"));
}

#[test]
fn advice_lies_on_the_line_through_the_elastomers_points() {
    let app = TestApp::start();
    stocked(&app);
    // ln(2880/45) / (1/298.15 - 1/358.15) = 7401.6 K; at 70 C 45 exp(7401.6 (1/343.15 - 1/358.15)) = 111.06 min.
    recipe(
        &app,
        "slow",
        json!({"cure": {"temperature_c": "70", "minutes": "111"}}),
    );
    let slow = plan(&app, "slow");
    assert_eq!(slow["cure"]["basis"], "recipe");
    assert!(
        (micro(&slow["cure"]["advised_minutes"]) - 111_056_199).abs() <= 1,
        "{slow}"
    );
    assert_eq!(slow["cure"]["extrapolated"], false);
    assert!(slow["cure"].get("note").is_none());
    assert!(!cautions(&slow).contains("shorter"));
    // 99 min are more than a tenth less than 111.06 min.
    recipe(
        &app,
        "hasty",
        json!({"cure": {"temperature_c": "70", "minutes": "99"}}),
    );
    let hasty = plan(&app, "hasty");
    assert!(
        cautions(&hasty).contains(
            "cure of 99 min at 70 C is more than 10 % shorter than the 111 min that the elastomer's cure points advise"
        ),
        "{hasty}"
    );
    // At 100 C 45 exp(7401.6 (1/373.15 - 1/358.15)) = 19.6 min, outside the points.
    recipe(
        &app,
        "hot",
        json!({"cure": {"temperature_c": "100", "minutes": "20"}}),
    );
    let hot = plan(&app, "hot");
    assert_eq!(hot["cure"]["extrapolated"], true);
    assert!(
        (micro(&hot["cure"]["advised_minutes"]) - 19_607_592).abs() <= 1,
        "{hot}"
    );
    assert!(cautions(&hot).contains("100 C lies outside the elastomer's cure points (25 to 85 C)"));
}

#[test]
fn one_cure_point_gives_no_advice_and_says_why() {
    let app = TestApp::start();
    stocked(&app);
    app.post("/v1/elastomers", json!({"code": "el-1", "name": "Elastomer 1", "base": "base", "curing_agent": "agent",
        "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.02", "density_g_per_ml": "1.03",
        "viscosity_pa_s": "3.5", "pot_life_min": "90", "cure": [{"temperature_c": "85", "minutes": "45"}]})).expect(201);
    recipe(&app, "one", json!({"elastomer": "el-1"}));
    let found = plan(&app, "one");
    assert_eq!(found["cure"]["temperature_c"], "85");
    assert!(found["cure"].get("advised_minutes").is_none());
    assert_eq!(
        found["cure"]["note"],
        "There is no advice on the time: cure has points at 1 temperature(s), but must have them at 2 or more."
    );
}

/// A tray that bears `limit_c`, and a recipe in it without a cure of its own, on an elastomer cured at 85 C.
fn with_limit(app: &TestApp, limit_c: &str, changes: Value) -> Answer {
    app.post("/v1/materials", json!({"code": "soft", "name": "Soft tray", "kind": "container", "unit": "each",
        "container": {"shape": "rectangular", "length_mm": "90", "width_mm": "60", "depth_mm": "15", "max_temperature_c": limit_c}}))
        .expect(201);
    app.post("/v1/elastomers", json!({"code": "el-hot", "name": "Elastomer H", "base": "base", "curing_agent": "agent",
        "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.02", "density_g_per_ml": "1.03",
        "viscosity_pa_s": "3.5", "pot_life_min": "90", "cure": [{"temperature_c": "85", "minutes": "45"}]})).expect(201);
    recipe(
        app,
        "soft",
        json!({"container": "soft", "elastomer": "el-hot"}),
    );
    let mut body =
        json!({"recipe": "soft", "containers": 1, "cast_on": "2026-03-10", "allow_short": true});
    for (name, value) in changes.as_object().expect("fields") {
        body[name] = value.clone();
    }
    app.post("/v1/casts", body)
}

#[test]
fn the_elastomers_own_cure_is_held_against_the_tray() {
    let app = TestApp::start();
    stocked(&app);
    let refused = with_limit(&app, "84", json!({})).expect(422).json();
    assert_eq!(refused["errors"][0]["pointer"], "/heat_override_reason");
    assert!(
        refused["errors"][0]["detail"]
            .as_str()
            .unwrap()
            .contains("cure at 85 C is above what the tray bears, 84 C")
    );
}

#[test]
fn a_reason_overrides_the_limit_and_is_seen_on_the_cast() {
    let app = TestApp::start();
    stocked(&app);
    let booked = with_limit(
        &app,
        "84",
        json!({"heat_override_reason": "tried on a spare tray"}),
    )
    .expect(201)
    .json();
    let path = format!("/v1/casts/{}", booked["code"].as_str().unwrap());
    let cast = app.get(&path).expect(200).json();
    assert_eq!(
        cast["request"]["heat_override_reason"],
        "tried on a spare tray"
    );
    assert!(cautions(&cast["plan"]).contains("overridden: tried on a spare tray"));
}

#[test]
fn within_ten_kelvin_of_the_limit_there_is_a_warning() {
    let app = TestApp::start();
    stocked(&app);
    let booked = with_limit(&app, "95", json!({})).expect(201).json();
    assert!(
        cautions(&booked["plan"]).contains("cure at 85 C is within 10 K of what the tray bears")
    );
}
