//! Levels that were seen: what they teach about the fill of a tray, and what teaches nothing.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{micro, stocked};

/// The volume of the lab's tray up to a level, in mm3, by the prismatoid formula: 90 x 60 mm at the floor, 2 degrees.
fn tray_mm3(level_mm: f64) -> f64 {
    let wider = 2.0 * level_mm * 2.0_f64.to_radians().tan();
    let half = wider / 2.0;
    let area = |w: f64| (90.0 + w) * (60.0 + w);
    level_mm / 6.0 * (area(0.0) + 4.0 * area(half) + area(wider))
}

fn surface_mm2(level_mm: f64) -> f64 {
    let wider = 2.0 * level_mm * 2.0_f64.to_radians().tan();
    (90.0 + wider) * (60.0 + wider)
}

fn poured(app: &TestApp, residue: Option<&str>, level_mm: Option<&str>) -> Value {
    let cast: Value = app
        .post(
            "/v1/casts",
            json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"}),
        )
        .expect(201)
        .json();
    let batch = &cast["plan"]["batches"][0];
    let mut weighed = json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"]});
    if let Some(residue) = residue {
        weighed["residue_g"] = json!(residue);
    }
    let mut body = json!({"poured_on": "2026-03-02", "batches": [weighed]});
    if let Some(level) = level_mm {
        body["level_mm"] = json!(level);
    }
    let path = format!("/v1/casts/{}/pour", cast["code"].as_str().expect("a code"));
    app.post(&path, body).expect(200).json()
}

fn plan(app: &TestApp) -> Value {
    app.post(
        "/v1/cast-plans",
        json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"}),
    )
    .expect(200)
    .json()
}

fn close(found: &Value, expected: f64) {
    let found = micro(found) as f64 / 1e6;
    assert!((found - expected).abs() < 2e-6, "{found} is not {expected}");
}

#[test]
fn a_level_seen_after_a_weighed_pour_teaches_the_fill() {
    let app = TestApp::start();
    stocked(&app);
    assert_eq!(plan(&app)["fill"]["basis"], "geometry");
    let cast = poured(&app, Some("4.2"), Some("5.3"));
    // By hand: mould 75 x 50 x 1 on 0.1 mm of tape, 4 mm of chip: 5.1 mm of level; 1.03 g/mL.
    let volume_ml = (tray_mm3(5.1) - 75.0 * 50.0 * 1.1) / 1000.0;
    let total_g = micro(&cast["pour"]["batches"][0]["total_g"]) as f64 / 1e6;
    let poured_ml = (total_g - 4.2) / 1.03 / 2.0;
    let factor = (poured_ml - surface_mm2(5.1) * (5.3 - 5.1) / 1000.0) / volume_ml;
    close(&cast["pour"]["fill_factor_taught"], factor);
    let fill = plan(&app)["fill"].clone();
    assert_eq!(fill["basis"], "learned");
    // One observation: prior N(1, 0.5^2), noise 0.05.
    let learned = (1.0 / 0.25 + factor / 0.0025) / (1.0 / 0.25 + 1.0 / 0.0025);
    close(&fill["factor"], learned);
    close(&fill["mass_g"], volume_ml * 1.03 * learned);

    // The chip measured at the demould counts instead of the level seen at the pour.
    let code = cast["code"].as_str().expect("a code");
    let demolded: Value = app
        .post(
            &format!("/v1/casts/{code}/demold"),
            json!({"demolded_on": "2026-03-02", "good": 8, "chip_thickness_mm": "4.05"}),
        )
        .expect(200)
        .json();
    let measured = (poured_ml - surface_mm2(5.1) * 0.05 / 1000.0) / volume_ml;
    close(&demolded["demold"]["fill_factor_taught"], measured);
    let learned = (1.0 / 0.25 + measured / 0.0025) / (1.0 / 0.25 + 1.0 / 0.0025);
    close(&plan(&app)["fill"]["factor"], learned);

    // Each step taken back takes back what it taught.
    app.post(&format!("/v1/casts/{code}/undo"), json!({}))
        .expect(200);
    let learned = (1.0 / 0.25 + factor / 0.0025) / (1.0 / 0.25 + 1.0 / 0.0025);
    close(&plan(&app)["fill"]["factor"], learned);
    app.post(&format!("/v1/casts/{code}/undo"), json!({}))
        .expect(200);
    assert_eq!(plan(&app)["fill"]["basis"], "geometry");
}

#[test]
fn a_level_far_from_the_dimensions_raises_a_doubt_about_them() {
    let app = TestApp::start();
    stocked(&app);
    poured(&app, Some("4.2"), Some("4.2"));
    let plan = plan(&app);
    let cautions = plan["cautions"].as_array().expect("cautions");
    let doubt = |c: &&Value| {
        c.as_str()
            .is_some_and(|text| text.contains("check the dimensions of tray and mould"))
    };
    assert!(cautions.iter().any(|c| doubt(&c)), "{cautions:?}");
}

#[test]
fn a_level_without_weighed_cups_teaches_nothing_and_says_so() {
    let app = TestApp::start();
    stocked(&app);
    let cast = poured(&app, None, Some("5.3"));
    assert!(
        cast["pour"]["level_note"]
            .as_str()
            .expect("a note")
            .contains("not every cup was weighed")
    );
    assert_eq!(cast["pour"].get("fill_factor_taught"), None);
    assert_eq!(plan(&app)["fill"]["basis"], "geometry");
}

#[test]
fn a_level_outside_the_tray_is_refused() {
    let app = TestApp::start();
    stocked(&app);
    let cast: Value = app
        .post(
            "/v1/casts",
            json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"}),
        )
        .expect(201)
        .json();
    let path = format!("/v1/casts/{}/pour", cast["code"].as_str().expect("a code"));
    for level in ["1.1", "15.000001"] {
        let body = json!({"poured_on": "2026-03-02", "batches": [{"base_g": "50", "curing_agent_g": "5", "residue_g": "3"}], "level_mm": level});
        let answer = app.post(&path, body).expect(422);
        assert_eq!(answer.pointers(), ["/level_mm"]);
        assert!(
            answer.detail().contains("1.1 mm, and up to the rim, 15 mm"),
            "{}",
            answer.detail()
        );
    }
}

#[test]
fn the_stirrers_loss_is_residue_that_the_film_did_not_leave() {
    let app = TestApp::start();
    stocked(&app);
    let recipe = app.get("/v1/recipes/chip").expect(200);
    app.patch(
        "/v1/recipes/chip",
        recipe.header("etag"),
        json!({"stirrer_loss_g": "0.5"}),
    )
    .expect(200);
    let cast: Value = app
        .post(
            "/v1/casts",
            json!({"recipe": "chip", "containers": 1, "cast_on": "2026-03-02"}),
        )
        .expect(201)
        .json();
    let path = format!("/v1/casts/{}/pour", cast["code"].as_str().expect("a code"));
    let pour = |held: bool| {
        let batch = json!({"base_g": "40", "curing_agent_g": "4", "residue_g": "3", "stirrer_in_weighing": held});
        let cast: Value = app
            .post(
                &path,
                json!({"poured_on": "2026-03-02", "batches": [batch]}),
            )
            .expect(200)
            .json();
        cast["pour"]["batches"][0].clone()
    };
    // Weighed without the stirrer: 3 g of film and 0.5 g on the stirrer were not poured.
    let beside = pour(false);
    assert_eq!(
        (&beside["residue_g"], &beside["stirrer_loss_g"]),
        (&json!("3.5"), &json!("0.5"))
    );
    let code = cast["code"].as_str().expect("a code");
    app.post(&format!("/v1/casts/{code}/undo"), json!({}))
        .expect(200);
    // Weighed with it: 3 g in all, of which the film left 2.5.
    let within = pour(true);
    assert_eq!(
        (&within["residue_g"], &within["stirrer_loss_g"]),
        (&json!("3"), &json!("0.5"))
    );
}
