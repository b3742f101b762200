//! Counting at the demould, tray by tray, and what it teaches of the yield.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::stocked;

/// Books and pours a cast of so many trays; returns its address.
fn poured(app: &TestApp, containers: u32) -> String {
    let request = json!({"recipe": "chip", "containers": containers, "cast_on": "2026-03-10"});
    let cast = app.post("/v1/casts", request).expect(201).json();
    let weighed = |batch: &Value| json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"]});
    let batches: Vec<Value> = cast["plan"]["batches"]
        .as_array()
        .expect("batches")
        .iter()
        .map(weighed)
        .collect();
    let path = format!("/v1/casts/{}", cast["code"].as_str().expect("a code"));
    let pour = json!({"poured_on": "2026-03-02", "batches": batches});
    app.post(&format!("{path}/pour"), pour).expect(200);
    path
}

fn demold(counts: Value) -> Value {
    json!({"demolded_on": "2026-03-02", "containers": counts})
}

fn rejects(reason: &str, count: u32) -> Value {
    json!([{"reason": reason, "count": count}])
}

#[test]
fn trays_are_added_up_and_their_reasons_joined() {
    let app = TestApp::start();
    stocked(&app);
    let path = poured(&app, 3);
    let counts = json!([{"good": 4}, {"good": 1, "rejects": rejects("bubbles", 3)},
        {"good": 1, "rejects": [{"reason": " bubbles ", "count": 1}, {"reason": "torn", "count": 2}]}]);
    let done = app
        .post(&format!("{path}/demold"), demold(counts.clone()))
        .expect(200)
        .json();
    let found = &done["demold"];
    assert_eq!((&found["good"], &found["rejected"]), (&json!(6), &json!(6)));
    assert_eq!(
        found["rejects"],
        json!([{"reason": "bubbles", "count": 4}, {"reason": "torn", "count": 2}])
    );
    assert_eq!(found["containers"].as_array().unwrap().len(), 3);
    assert_eq!(found["containers"][0]["good"], 4);
    let cost = app.get(&format!("{path}/cost")).expect(200).json();
    assert_eq!(cost["good_chips"], "6");
    // Beta(9, 1) and 6 good of 12: 15 of 22 chips; 8 x 15/22 of two trays.
    let plan = app
        .post(
            "/v1/cast-plans",
            json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-10"}),
        )
        .expect(200)
        .json();
    assert_eq!(plan["expected_good_chips"], "5.454545");
    // Undone, it has taught nothing.
    app.post(&format!("{path}/undo"), json!({"reason": "miscounted"}))
        .expect(200);
    let plan = app
        .post(
            "/v1/cast-plans",
            json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-10"}),
        )
        .expect(200)
        .json();
    assert_eq!(plan["expected_good_chips"], "7.2");
}

#[test]
fn fewer_good_chips_ask_for_more_trays() {
    let app = TestApp::start();
    stocked(&app);
    let wanted = || {
        let request = json!({"recipe": "chip", "good_chips_wanted": 4, "cast_on": "2026-03-10"});
        app.post("/v1/cast-plans", request).expect(200).json()["containers"].clone()
    };
    // Of a tray of 4 from Beta(9, 1) all are good with 9/13, which is less than 0.90: two trays.
    assert_eq!(wanted(), 2);
    let path = poured(&app, 6);
    let counts: Vec<Value> = vec![json!({"good": 1, "rejects": rejects("bubbles", 3)}); 6];
    app.post(&format!("{path}/demold"), demold(json!(counts)))
        .expect(200);
    // Now Beta(15, 19): by convolution of its beta-binomial, three trays give 4 good chips with 0.84 and four with 0.96.
    let trays = wanted().as_u64().unwrap();
    assert_eq!(trays, 4);
}

#[test]
fn what_cannot_be_counted_is_pointed_at() {
    let app = TestApp::start();
    stocked(&app);
    let path = poured(&app, 2);
    let check = |body: Value, pointers: &[&str]| {
        let refused = app.post(&format!("{path}/demold"), body).expect(422);
        assert_eq!(refused.pointers(), pointers, "{}", refused.text);
    };
    check(
        demold(json!([{"good": 1}, {"good": 1}, {"good": 1}])),
        &["/containers"],
    );
    check(
        demold(json!([{"good": 4}, {"good": 3, "rejects": rejects("torn", 2)}])),
        &["/containers/1/good"],
    );
    check(
        demold(json!([{"good": 3, "rejects": rejects(" ", 1)}])),
        &["/containers/0/rejects/0/reason"],
    );
    let mut both = demold(json!([{"good": 4}]));
    both["good"] = json!(4);
    check(both, &["/good"]);
    let mut both = demold(json!([{"good": 3}]));
    both["rejects"] = rejects("torn", 1);
    check(both, &["/good"]);
    check(json!({"demolded_on": "2026-03-02"}), &["/good"]);
    app.post(
        &format!("{path}/demold"),
        demold(json!([{"good": 4}, {"good": 4}])),
    )
    .expect(200);
}
