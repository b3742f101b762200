//! Traces both ways: which chips, for whom, came from a lot; and which lots went into a cast.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{catalogue, receive, stocked, verified};

/// Books a cast, pours it as planned, and, with a count, demoulds it. Returns its code.
fn cast(app: &TestApp, more: Value, good: Option<u32>) -> String {
    let mut request = json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"});
    for (name, value) in more.as_object().expect("an object") {
        request[name] = value.clone();
    }
    let booked = app.post("/v1/casts", request).expect(201).json();
    let code = booked["code"].as_str().expect("a code").to_owned();
    let weighed = |batch: &Value| json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"], "residue_g": "4"});
    let batches = booked["plan"]["batches"].as_array().expect("batches");
    let batches: Vec<Value> = batches.iter().map(weighed).collect();
    let pour = json!({"poured_on": "2026-03-02", "batches": batches});
    app.post(&format!("/v1/casts/{code}/pour"), pour)
        .expect(200);
    if let Some(good) = good {
        let body = json!({"demolded_on": "2026-03-02", "good": good, "rejects": [{"reason": "bubbles", "count": 8 - good}]});
        app.post(&format!("/v1/casts/{code}/demold"), body)
            .expect(200);
    }
    code
}

fn lot_id(app: &TestApp, material: &str) -> i64 {
    let lots = app
        .get(&format!("/v1/lots?material={material}"))
        .expect(200)
        .json();
    lots["items"][0]["id"].as_i64().expect("a lot")
}

fn trace(app: &TestApp, material: &str) -> Value {
    let id = lot_id(app, material);
    app.get(&format!("/v1/lots/{id}/trace")).expect(200).json()
}

fn words(list: &Value, field: &str) -> Vec<String> {
    let list = list.as_array().expect("a list");
    list.iter()
        .map(|row| row[field].as_str().unwrap_or_default().to_owned())
        .collect()
}

#[test]
fn which_chips_for_whom_came_from_a_lot() {
    let app = TestApp::start();
    stocked(&app);
    let shared = json!({"charges": [{"grant": "grant-a", "share": "60"}, {"grant": "grant-b", "share": "40"}]});
    let first = cast(&app, shared, Some(7));
    let second = cast(&app, json!({}), Some(6));
    let third = cast(&app, json!({}), None);
    let undone = cast(&app, json!({}), None);
    app.post(&format!("/v1/casts/{undone}/undo"), json!({}))
        .expect(200);
    let pack = trace(&app, "base")["casts"][0]["uses"][0]["pack_id"].clone();
    app.post(
        &format!("/v1/packs/{pack}/spill"),
        json!({"quantity": "2.5", "reason": "tipped over"}),
    )
    .expect(200);

    let found = trace(&app, "base");
    assert_eq!(found["lot"]["lot"], "B1");
    assert_eq!(found["lot"]["kit_lot"], "K1");
    assert_eq!(words(&found["casts"], "cast"), [&*first, &second, &third]);
    assert_eq!(
        found["total"],
        json!({"casts": 3, "not_demolded": 1, "good_chips": 13, "rejected_chips": 3})
    );
    // 7 and 1 chips at 60:40; 6 and 2 are nobody's. The cast that is not demoulded yet has none, but it is there.
    assert_eq!(
        found["grants"],
        json!([
            {"grant": "grant-a", "casts": 1, "good_chips": "4.2", "rejected_chips": "0.6"},
            {"grant": "grant-b", "casts": 1, "good_chips": "2.8", "rejected_chips": "0.4"},
            {"grant": "unassigned", "casts": 2, "good_chips": "6", "rejected_chips": "2"},
        ])
    );
    assert_eq!(
        found["casts"][0]["rejects"],
        json!([{"reason": "bubbles", "count": 1}])
    );
    // The cast that was undone counts on the lot again.
    assert_eq!(words(&found["outstanding"], "cast"), [&*undone]);
    assert_eq!(found["losses"][0]["kind"], "spill");
    assert_eq!(found["losses"][0]["quantity"], "2.5");
    assert_eq!(found["losses"][0]["reason"], "tipped over");
    // Consumption and residue of a batch are one use.
    let uses = found["casts"][0]["uses"].as_array().expect("uses");
    assert_eq!(uses.len(), 1);
    assert_eq!(
        (&uses[0]["purpose"], &uses[0]["batch_no"]),
        (&json!("base"), &json!(1))
    );
    let cast = app.get(&format!("/v1/casts/{first}")).expect(200).json();
    assert_eq!(uses[0]["quantity"], cast["pour"]["batches"][0]["base_g"]);
    // Everything together is what the lot has lost.
    let micro = |value: &Value| crate::support::lab::micro(value);
    let used: i64 = found["casts"]
        .as_array()
        .expect("casts")
        .iter()
        .map(|cast| micro(&cast["uses"][0]["quantity"]))
        .sum();
    let lot = app
        .get(&format!("/v1/lots/{}", lot_id(&app, "base")))
        .expect(200)
        .json();
    assert_eq!(micro(&lot["on_hand"]), 1_000_000_000 - used - 2_500_000);
}

#[test]
fn a_release_agent_reaches_casts_through_its_treatments() {
    let app = TestApp::start();
    stocked(&app);
    // The first cast coats both copies at its pour; the second draws on the same coats.
    let first = cast(&app, json!({}), Some(8));
    let second = cast(&app, json!({}), Some(8));
    let found = trace(&app, "vial");
    assert_eq!(words(&found["casts"], "cast"), [&*first, &second]);
    let treatment = found["treatments"][0]["id"].as_i64().expect("a treatment");
    for cast in found["casts"].as_array().expect("casts") {
        assert_eq!(cast["through_treatments"], json!([treatment]));
        assert_eq!(cast["uses"], json!([]));
    }
    assert_eq!(
        found["treatments"][0]["coats"],
        json!([{"mold": "mold", "copy": 1, "casts": [first, second]}, {"mold": "mold", "copy": 2, "casts": [first, second]}])
    );
    assert_eq!(found["losses"], json!([]));
    let back = app
        .get(&format!("/v1/casts/{second}/trace"))
        .expect(200)
        .json();
    assert_eq!(back["coats"].as_array().map(Vec::len), Some(2));
    assert_eq!(back["coats"][0]["treatment"], treatment);
    assert_eq!(back["coats"][0]["vials"][0]["lot"]["lot"], "V1");
    // A treatment that is undone with its pour went nowhere.
    app.post(&format!("/v1/casts/{second}/undo"), json!({}))
        .expect(200);
    app.post(&format!("/v1/casts/{second}/undo"), json!({}))
        .expect(200);
    assert_eq!(words(&trace(&app, "vial")["casts"], "cast"), [&*first]);
    verified(&app);
}

#[test]
fn what_went_into_a_cast_before_and_after_its_pour() {
    let app = TestApp::start();
    catalogue(&app);
    receive(&app, "base", "B1", Some("K1"), &["1000"], "100");
    receive(&app, "agent", "A2", Some("K2"), &["100"], "20");
    for (material, lot, packs) in [
        ("vial", "V1", &["1", "1"][..]),
        ("tray", "T1", &["40"]),
        ("cup", "C1", &["40"]),
        ("tape", "P1", &["33"]),
        ("stirrer", "S1", &["100"]),
    ] {
        receive(&app, material, lot, None, packs, "12");
    }
    let request = json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-02", "allow_mixed_kits": true});
    let booked = app.post("/v1/casts", request).expect(201).json();
    let code = booked["code"].as_str().expect("a code");
    let path = format!("/v1/casts/{code}/trace");
    let promised = app.get(&path).expect(200).json();
    assert_eq!(
        (&promised["basis"], &promised["mixed_kits"]),
        (&json!("promised"), &json!(true))
    );
    let by_purpose = |trace: &Value| {
        let rows = trace["materials"].as_array().expect("materials").clone();
        let mut named: Vec<(String, String, String)> = rows
            .iter()
            .map(|row| {
                let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
                (
                    text(&row["purpose"]),
                    text(&row["lot"]["lot"]),
                    text(&row["quantity"]),
                )
            })
            .collect();
        named.sort();
        named
    };
    let before = by_purpose(&promised);
    let lots: Vec<&str> = before.iter().map(|row| row.1.as_str()).collect();
    assert_eq!(lots, ["B1", "T1", "C1", "A2", "V1", "S1", "P1"]);
    assert!(promised["materials"][0].get("value").is_none());

    let batch = &booked["plan"]["batches"][0];
    let pour = json!({"poured_on": "2026-03-02", "batches": [{"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"]}]});
    app.post(&format!("/v1/casts/{code}/pour"), pour)
        .expect(200);
    let taken = app.get(&path).expect(200).json();
    assert_eq!(
        (&taken["basis"], &taken["mixed_kits"]),
        (&json!("taken"), &json!(true))
    );
    // What was promised was taken; the vial went into the coats.
    let after = by_purpose(&taken);
    let without_vial: Vec<_> = before
        .into_iter()
        .filter(|row| row.0 != "release")
        .collect();
    assert_eq!(after, without_vial);
    let value: i64 = taken["materials"]
        .as_array()
        .expect("materials")
        .iter()
        .chain(taken["coats"].as_array().expect("coats"))
        .map(|row| crate::support::lab::micro(&row["value"]))
        .sum();
    let cost = app
        .get(&format!("/v1/casts/{code}/cost"))
        .expect(200)
        .json();
    let mold = cost["components"]
        .as_array()
        .expect("components")
        .iter()
        .find(|c| c["component"] == "mold")
        .map(|c| crate::support::lab::micro(&c["amount"]));
    let total = crate::support::lab::micro(&cost["total"]);
    assert_eq!(
        Some(total - value),
        mold,
        "all but the mould's own share came from lots"
    );
}

#[test]
fn one_pack_alone_and_what_is_not_there() {
    let app = TestApp::start();
    catalogue(&app);
    receive(&app, "base", "B1", Some("K1"), &["60", "60", "60"], "100");
    receive(&app, "agent", "A1", Some("K1"), &["100"], "20");
    for (material, packs) in [
        ("vial", &["1", "1"][..]),
        ("tray", &["40"]),
        ("cup", &["40"]),
        ("tape", &["33"]),
        ("stirrer", &["100"]),
    ] {
        receive(&app, material, "X", None, packs, "12");
    }
    let first = cast(&app, json!({"containers": 1}), None);
    let second = cast(&app, json!({"containers": 2}), None);
    let id = lot_id(&app, "base");
    let of_pack = |pack: &Value| {
        let path = format!("/v1/lots/{id}/trace?pack={pack}");
        words(&app.get(&path).expect(200).json()["casts"], "cast")
    };
    let lot = app.get(&format!("/v1/lots/{id}")).expect(200).json();
    let pack = |no: usize| &lot["packs"][no - 1]["id"];
    // 1 is opened by the first cast, holds too little for the second, and 3 is not touched.
    assert_eq!(of_pack(pack(1)), [&*first]);
    assert_eq!(of_pack(pack(2)), [&*second]);
    assert_eq!(of_pack(pack(3)), [""; 0]);
    let other = lot_id(&app, "tray");
    let strange = app.get(&format!("/v1/lots/{other}/trace?pack={}", pack(1)));
    assert_eq!(strange.expect(404).problem(), "not-found");
    assert_eq!(
        app.get("/v1/lots/999/trace").expect(404).problem(),
        "not-found"
    );
    assert_eq!(
        app.get("/v1/casts/C-99999/trace").expect(404).problem(),
        "not-found"
    );
    app.get(&format!("/v1/lots/{id}/trace?pack=x")).expect(400);
}

/// Trays that are used again wear: they are traced by their lot, and are in use until the demould.
#[test]
fn trays_in_use_are_outstanding() {
    let app = TestApp::start();
    stocked(&app);
    app.post(
        "/v1/materials",
        json!({"code": "dish", "name": "Dish", "kind": "container", "unit": "each", "container":
        {"shape": "rectangular", "length_mm": "90", "width_mm": "60", "depth_mm": "15", "rated_uses": 10}}),
    )
    .expect(201);
    receive(&app, "dish", "D1", None, &["4"], "40");
    app.post(
        "/v1/recipes",
        json!({"code": "dished", "name": "In dishes", "elastomer": "el", "mold": "mold", "container": "dish",
        "cup": "cup", "chip_thickness_mm": "4", "drain_time_s": "60"}),
    )
    .expect(201);
    let code = cast(&app, json!({"recipe": "dished"}), None);
    let found = trace(&app, "dish");
    assert_eq!(found["outstanding"][0]["state"], "poured");
    assert_eq!(found["outstanding"][0]["quantity"], "2");
    // Two uses of 10 x 4 that 40 EUR are spread over.
    let used = &found["casts"][0]["uses"][0];
    assert_eq!(
        (&used["purpose"], &used["value"]),
        (&json!("container"), &json!("2"))
    );
    let body = json!({"demolded_on": "2026-03-02", "good": 8});
    app.post(&format!("/v1/casts/{code}/demold"), body)
        .expect(200);
    let found = trace(&app, "dish");
    assert_eq!(found["outstanding"], json!([]));
    assert_eq!(found["total"]["good_chips"], 8);
}
