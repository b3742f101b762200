//! Plans: how the mix is weighed and de-gassed, other ratios, other numbers of trays in a cup, and what a plan empties.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{catalogue, micro, receive, stocked};

fn patch(app: &TestApp, path: &str, body: Value) {
    let before = app.get(path).expect(200);
    app.patch(path, before.header("etag"), body).expect(200);
}

fn plan(app: &TestApp, query: &str, more: Value) -> Value {
    let mut body = json!({"recipe": "chip", "containers": 4, "cast_on": "2026-03-10"});
    for (name, value) in more.as_object().expect("an object") {
        body[name] = value.clone();
    }
    app.post(&format!("/v1/cast-plans{query}"), body)
        .expect(200)
        .json()
}

fn says(plan: &Value, words: &str) -> bool {
    let cautions = plan["cautions"].as_array().expect("cautions");
    cautions
        .iter()
        .any(|c| c.as_str().is_some_and(|text| text.contains(words)))
}

fn unit(value: &Value) -> f64 {
    micro(value) as f64 / 1e6
}

#[test]
fn the_balance_says_how_small_a_batch_may_be() {
    let app = TestApp::start();
    stocked(&app);
    // By hand, JCGM 100:2008 eq. (10): tare and gross, u = d sqrt(2/12), relative u of 10 : 1 in 1 g is
    // u sqrt((11/10)^2 + 11^2); k = 2; within 0.02.
    let spread = (1.1_f64.powi(2) + 11.0_f64.powi(2)).sqrt();
    let tared = 2.0 * 0.01 * (2.0_f64 / 12.0).sqrt() * spread / 0.02;
    let mix = plan(&app, "", json!({}))["mix"].clone();
    assert_eq!(mix["weighing"], "tare_and_gross");
    assert!((unit(&mix["smallest_batch_g"]) - tared).abs() < 2e-6);
    assert_eq!(
        (&mix["ratio"], &mix["nominal_ratio"]),
        (&json!("10"), &json!("10"))
    );
    // Weighed on top of each other: r = w1/(w2 - w1), dr/dw1 = w2/(w2-w1)^2, dr/dw2 = -w1/(w2-w1)^2.
    patch(&app, "/v1/recipes/chip", json!({"weighing": "cumulative"}));
    let (w1, w2): (f64, f64) = (10.0 / 11.0, 1.0);
    let square = (w2 - w1) * (w2 - w1);
    let cumulative = 2.0 * 0.01 / 12.0_f64.sqrt()
        * ((w2 / square).powi(2) + (w1 / square).powi(2)).sqrt()
        / 10.0
        / 0.02;
    let mix = plan(&app, "", json!({}))["mix"].clone();
    assert_eq!(mix["weighing"], "cumulative");
    assert!((unit(&mix["smallest_batch_g"]) - cumulative).abs() < 2e-6);
    patch(
        &app,
        "/v1/recipes/chip",
        json!({"balance_readability_g": "1"}),
    );
    assert!(says(
        &plan(&app, "", json!({"containers": 1})),
        "too small for the balance"
    ));
}

#[test]
fn foam_needs_room_where_the_mix_is_degassed() {
    let app = TestApp::start();
    stocked(&app);
    let in_cup = plan(&app, "", json!({}));
    assert_eq!(in_cup["head_room"]["degas_in"], "cup");
    assert_eq!(in_cup["head_room"]["enough"], true);
    // The fullest cup over its capacity, by hand: a straight cup of 70 mm x 90 mm.
    let capacity_ml = std::f64::consts::PI * 35.0 * 35.0 * 90.0 / 1000.0;
    let batches = in_cup["batches"].as_array().expect("batches");
    let fullest = batches
        .iter()
        .map(|b| unit(&b["total_g"]))
        .fold(0.0, f64::max);
    assert!(
        (unit(&in_cup["head_room"]["fraction_filled"]) - fullest / 1.03 / capacity_ml).abs() < 2e-6
    );
    // In the tray: filled to 5.1 of 15 mm, more than a third with the allowance.
    patch(&app, "/v1/recipes/chip", json!({"degas_in": "container"}));
    let in_tray = plan(&app, "", json!({}));
    assert_eq!(in_tray["head_room"]["degas_in"], "container");
    assert_eq!(in_tray["head_room"]["fill_limit"], "0.333333");
    patch(&app, "/v1/recipes/chip", json!({"chip_thickness_mm": "8"}));
    let thick = plan(&app, "", json!({"containers": 1}));
    assert_eq!(thick["head_room"]["enough"], false);
    assert!(says(&thick, "de-gassing: the tray is filled to"));
}

#[test]
fn fewer_trays_in_a_cup_cost_more_residue() {
    let app = TestApp::start();
    stocked(&app);
    assert_eq!(plan(&app, "", json!({})).get("what_if"), None);
    let asked = plan(&app, "?what_if=true", json!({}));
    let lines = asked["what_if"].as_array().expect("lines").clone();
    assert_eq!(lines.len(), 2, "{lines:?}");
    let (one, two) = (&lines[0], &lines[1]);
    assert_eq!((&one["batches"], &two["batches"]), (&json!(4), &json!(2)));
    assert_eq!(
        (&one["chosen"], &two["chosen"]),
        (&json!(false), &json!(true))
    );
    assert!(micro(&one["residue_g"]) > micro(&two["residue_g"]));
    assert!(micro(&one["total"]) > micro(&two["total"]));
    assert_eq!(two["total"], asked["cost"]["total"]);
    // The line is the plan that such a wish gives, and it can be booked.
    let wished = plan(&app, "", json!({"containers_per_batch": 1}));
    assert_eq!(wished["cost"]["total"], one["total"]);
    assert_eq!(wished["mix"]["total_g"], one["total_g"]);
    let body = json!({"recipe": "chip", "containers": 4, "cast_on": "2026-03-10", "containers_per_batch": 1});
    let cast: Value = app.post("/v1/casts", body).expect(201).json();
    assert_eq!(cast["plan"]["batches"].as_array().map(Vec::len), Some(4));
    let wrong = json!({"recipe": "chip", "containers": 4, "cast_on": "2026-03-10", "containers_per_batch": 0});
    assert_eq!(
        app.post("/v1/cast-plans", wrong).expect(422).pointers(),
        ["/containers_per_batch"]
    );
}

#[test]
fn another_ratio_drains_a_kit_unevenly() {
    let app = TestApp::start();
    stocked(&app);
    let nominal = plan(&app, "", json!({}));
    assert!(!says(&nominal, "unevenly"));
    // Softer: 20 : 1. What is left of K1 after the cast: 1000 - base, 100 - agent; the agent's surplus has no base.
    patch(
        &app,
        "/v1/recipes/chip",
        json!({"ratio": {"base": "20", "curing_agent": "1"}}),
    );
    let softer = plan(&app, "", json!({}));
    let kit = &softer["kits"][0];
    let base = 1000.0 - unit(&softer["mix"]["base_g"]);
    let agent = 100.0 - unit(&softer["mix"]["curing_agent_g"]);
    assert_eq!(kit["kit_lot"], "K1");
    assert!((unit(&kit["base_left_g"]) - base).abs() < 1e-9);
    assert!((unit(&kit["curing_agent_left_g"]) - agent).abs() < 1e-9);
    assert_eq!(kit["stranded_part"], "curing_agent");
    assert!((unit(&kit["stranded_g"]) - (agent - base / 10.0)).abs() < 2e-6);
    assert!((unit(&kit["usable_mix_g"]) - base * 1.1).abs() < 2e-6);
    assert!(
        says(&softer, "mixing at 20.000 : 1 drains kit lot K1 unevenly"),
        "{}",
        softer["cautions"]
    );
}

#[test]
fn a_plan_names_the_packs_it_empties() {
    let app = TestApp::start();
    catalogue(&app);
    receive(&app, "base", "B1", Some("K1"), &["1000"], "100");
    receive(&app, "agent", "A1", Some("K1"), &["100"], "20");
    receive(&app, "vial", "V1", None, &["1", "1"], "6");
    receive(&app, "tray", "T1", None, &["4"], "2");
    receive(&app, "cup", "C1", None, &["40"], "10");
    receive(&app, "tape", "P1", None, &["33"], "9.90");
    receive(&app, "stirrer", "S1", None, &["100"], "5");
    let plan = plan(&app, "", json!({}));
    let emptied: Vec<(&str, bool)> = plan["empties"]
        .as_array()
        .expect("packs")
        .iter()
        .map(|pack| {
            (
                pack["material"].as_str().expect("a code"),
                pack["whole_lot"].as_bool().expect("a truth"),
            )
        })
        .collect();
    // Both trays a round on two copies: one vial of two, all four trays.
    assert_eq!(emptied, [("vial", false), ("tray", true)]);
}
