//! Weighed cups: what cannot be is refused, what is far off is kept and flagged where people see it.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::stocked;

fn book(app: &TestApp, containers: u32) -> String {
    let cast = app
        .post(
            "/v1/casts",
            json!({"recipe": "chip", "containers": containers, "cast_on": "2026-03-10"}),
        )
        .expect(201)
        .json();
    format!("/v1/casts/{}/pour", cast["code"].as_str().unwrap())
}

fn batch(residue_g: Option<&str>) -> Value {
    let mut batch = json!({"base_g": "45", "curing_agent_g": "4.5"});
    if let Some(residue_g) = residue_g {
        batch["residue_g"] = json!(residue_g);
    }
    batch
}

fn number(value: &Value) -> f64 {
    value.as_str().unwrap().parse().unwrap()
}

#[test]
fn a_residue_below_nothing_or_above_the_mix_is_refused() {
    let app = TestApp::start();
    stocked(&app);
    let path = book(&app, 1);
    for (residue_g, told) in [
        ("-0.01", "must be 0 or greater"),
        ("49.51", "only 49.5 g were mixed"),
    ] {
        let pour = json!({"poured_on": "2026-03-02", "batches": [batch(Some(residue_g))]});
        let refused = app.post(&path, pour).expect(422);
        assert_eq!(refused.pointers(), ["/batches/0/residue_g"]);
        assert!(refused.text.contains(told), "{}", refused.text);
    }
    let pour = json!({"poured_on": "2026-03-02", "batches": [batch(Some("0"))]});
    app.post(&path, pour).expect(200);
}

#[test]
fn an_outlier_is_kept_and_flagged_and_pulls_little() {
    let app = TestApp::start();
    stocked(&app);
    let path = book(&app, 3);
    let pour = json!({"poured_on": "2026-03-02",
        "batches": [batch(Some("4.6")), batch(Some("4.4")), batch(None), batch(Some("30"))]});
    let poured = app.post(&path, pour).expect(200).json();
    let batches = poured["pour"]["batches"].as_array().unwrap().clone();
    // The conjugate update by hand: prior 1 +- 0.5, noise 0.15 of the film.
    let film = number(&batches[0]["film_g"]);
    let (mut mean, mut variance) = (1.0_f64, 0.25_f64);
    let noise = 0.15_f64 * 0.15;
    let (mut flagged, mut before) = (Vec::new(), mean);
    for (at, weighed) in [(0, 4.6), (1, 4.4), (3, 30.0)] {
        let ratio: f64 = weighed / film;
        let z = (ratio - mean) / (variance + noise).sqrt();
        let counted = if z.abs() > 3.5 {
            noise * (z / 3.5).powi(2)
        } else {
            noise
        };
        before = mean;
        let precision = 1.0 / variance + 1.0 / counted;
        mean = (mean / variance + ratio / counted) / precision;
        variance = 1.0 / precision;
        assert!(
            (number(&batches[at]["z"]) - z).abs() < 1e-5,
            "{z}: {}",
            batches[at]
        );
        flagged.push(batches[at]["outlier"].clone());
    }
    assert_eq!(flagged, [json!(false), json!(false), json!(true)]);
    assert!(
        batches[2].get("z").is_none(),
        "what was not weighed is not judged"
    );
    assert_eq!(batches[2]["outlier"], false);
    let shown = app.get(path.strip_suffix("/pour").unwrap()).expect(200);
    assert_eq!(shown.json()["pour"]["batches"][3]["outlier"], true);
    // All three teach, the wild one little: the next plan knows what was computed here.
    let plan = app
        .post(
            "/v1/cast-plans",
            json!({"recipe": "chip", "containers": 1, "cast_on": "2026-03-10"}),
        )
        .expect(200)
        .json();
    assert_eq!(plan["residue"]["observations"], 3);
    assert!((number(&plan["residue"]["k_mean"]) - mean).abs() < 1e-5);
    assert!((number(&plan["residue"]["k_sd"]) - variance.sqrt()).abs() < 1e-5);
    // At its full weight the wild one would have pulled a third of the way to itself.
    assert!(
        mean - before < 0.02 * (30.0 / film - before),
        "{before} to {mean}"
    );
}
