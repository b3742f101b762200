//! What else a cast uses up, counted by cast, cup, tray or chip; and groups, each with cups of its own.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{receive, stocked};

/// A recipe with an extra of each kind of count.
fn with_extras(app: &TestApp) {
    for (code, unit) in [
        ("glove", "each"),
        ("wipe", "each"),
        ("solvent", "mL"),
        ("label", "each"),
    ] {
        app.post(
            "/v1/materials",
            json!({"code": code, "name": code, "kind": "sundry", "unit": unit}),
        )
        .expect(201);
        receive(app, code, "E1", None, &["100"], "10");
    }
    let extra = |material: &str, quantity: &str, per: &str| json!({"material": material, "quantity": quantity, "per": per});
    app.post("/v1/recipes", json!({"code": "full", "name": "Full", "elastomer": "el", "mold": "mold", "container": "tray",
        "cup": "cup", "chip_thickness_mm": "4", "drain_time_s": "60", "extras": [extra("glove", "2", "cast"),
        extra("glove", "2", "batch"), extra("wipe", "0.5", "container"), extra("solvent", "0.25", "chip"),
        extra("label", "1", "chip")]})).expect(201);
}

/// What the plan takes of the sundries, by material.
fn sundries(plan: &Value) -> Vec<(&str, &str)> {
    let picks = plan["picks"].as_array().expect("picks").iter();
    let mut taken: Vec<(&str, &str)> = picks
        .filter(|pick| pick["purpose"] == "sundry")
        .map(|pick| {
            (
                pick["material"].as_str().expect("a code"),
                pick["quantity"].as_str().expect("a quantity"),
            )
        })
        .collect();
    taken.sort_unstable();
    taken
}

#[test]
fn extras_are_counted_by_cast_cup_tray_and_chip() {
    let app = TestApp::start();
    stocked(&app);
    with_extras(&app);
    // 3 trays on 2 copies: 2 rounds, a cup each, 12 chips. 2 + 2 x 2 gloves; 1.5 wipes are 2 whole ones; 12 x 0.25 mL.
    let request = json!({"recipe": "full", "containers": 3, "cast_on": "2026-03-10"});
    let cast = app.post("/v1/casts", request).expect(201).json();
    let plan = &cast["plan"];
    assert_eq!(plan["batches"].as_array().unwrap().len(), 2);
    let expected = [
        ("glove", "6"),
        ("label", "12"),
        ("solvent", "3"),
        ("wipe", "2"),
    ];
    assert_eq!(sundries(plan), expected);
    // 6 + 12 + 3 + 2 of lots of 100 for 10.00 each, under a component of their own.
    let sundry = |cost: &Value| {
        let all = cost["components"].as_array().unwrap().iter();
        all.clone().find(|c| c["component"] == "sundries").unwrap()["amount"].clone()
    };
    assert_eq!(sundry(&plan["cost"]), "2.3");
    let path = format!("/v1/casts/{}", cast["code"].as_str().unwrap());
    let weighed = |batch: &Value| json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"]});
    let batches: Vec<Value> = plan["batches"]
        .as_array()
        .unwrap()
        .iter()
        .map(weighed)
        .collect();
    app.post(
        &format!("{path}/pour"),
        json!({"poured_on": "2026-03-02", "batches": batches}),
    )
    .expect(200);
    for (material, used) in expected {
        let lots = app
            .get(&format!("/v1/lots?material={material}"))
            .expect(200)
            .json();
        let left = 100 - used.parse::<i64>().unwrap();
        assert_eq!(lots["items"][0]["on_hand"], left.to_string(), "{material}");
    }
    let cost = app.get(&format!("{path}/cost")).expect(200).json();
    assert_eq!(sundry(&cost), "2.3");
}

#[test]
fn extras_stand_where_the_bench_sheet_lays_things_out() {
    let app = TestApp::start();
    stocked(&app);
    with_extras(&app);
    let request = json!({"recipe": "full", "containers": 1, "cast_on": "2026-03-10"});
    let cast = app.post("/v1/casts", request).expect(201).json();
    let path = format!("/v1/casts/{}/bench-sheet", cast["code"].as_str().unwrap());
    let sheet = app.get(&path).expect(200).json();
    let laid = sheet["steps"][0]["lots"].as_array().unwrap();
    let mut materials: Vec<&str> = laid
        .iter()
        .map(|lot| lot["material"].as_str().unwrap())
        .collect();
    materials.sort_unstable();
    assert_eq!(materials, ["glove", "label", "solvent", "wipe"]);
}

#[test]
fn groups_share_the_trays_evenly_and_no_cup() {
    let app = TestApp::start();
    stocked(&app);
    let plan = |containers: u32, groups: u32| {
        let request = json!({"recipe": "chip", "containers": containers, "groups": groups, "cast_on": "2026-03-10"});
        app.post("/v1/cast-plans", request)
    };
    // 5 trays in 3 rounds of 2, 2 and 1; groups of 3 and 2: the second round is shared by both.
    let found = plan(5, 2).expect(200).json();
    let shown: Vec<(u64, u64, u64)> = found["batches"]
        .as_array()
        .unwrap()
        .iter()
        .map(|batch| {
            let of = |name: &str| batch[name].as_u64().unwrap();
            (of("round"), of("group"), of("containers"))
        })
        .collect();
    assert_eq!(shown, [(1, 1, 2), (2, 1, 1), (2, 2, 1), (3, 2, 1)]);
    let cups = found["picks"].as_array().unwrap().iter();
    let cups: Vec<_> = cups.filter(|pick| pick["purpose"] == "cup").collect();
    assert_eq!(cups[0]["quantity"], "4");
    assert_eq!(plan(2, 3).expect(422).pointers(), ["/groups"]);
    assert_eq!(plan(2, 0).expect(422).pointers(), ["/groups"]);
}
