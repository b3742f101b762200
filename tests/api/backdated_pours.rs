//! A pour that is written down days later takes what was there on its day, and what was counted since stays true.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{catalogue, micro, receive, stocked, verified};

fn book(app: &TestApp) -> String {
    let request = json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"});
    let booked = app.post("/v1/casts", request).expect(201).json();
    booked["code"].as_str().expect("a code").to_owned()
}

fn pour(day: &str, more: Value) -> Value {
    let mut batch = json!({"base_g": "50", "curing_agent_g": "5", "residue_g": "4"});
    for (name, value) in more.as_object().expect("an object") {
        batch[name] = value.clone();
    }
    json!({"poured_on": day, "batches": [batch]})
}

fn lot(app: &TestApp, id: i64) -> Value {
    app.get(&format!("/v1/lots/{id}")).expect(200).json()
}

fn count(app: &TestApp, pack: &Value, on_hand: &str, day: &str) {
    let body = json!({"on_hand": on_hand, "counted_on": day});
    app.post(&format!("/v1/packs/{pack}/count"), body)
        .expect(200);
}

#[test]
fn a_count_since_stays_true_and_the_loss_it_charged_is_explained() {
    let app = TestApp::start();
    stocked(&app);
    let code = book(&app);
    // 700 g are missing, worth 70.
    count(&app, &json!(1), "300", "2026-03-01");
    assert_eq!(lot(&app, 1)["remaining_value"], "30");
    let poured = app
        .post(
            &format!("/v1/casts/{code}/pour"),
            pour("2026-02-27", json!({})),
        )
        .expect(200)
        .json();
    let after = lot(&app, 1);
    assert_eq!(
        (&after["on_hand"], &after["remaining_value"]),
        (&json!("300"), &json!("30"))
    );
    // 50 g of the 700 that were missed went into the cast: their 5 are its cost now, and the loss is 65.
    let movements = app.get("/v1/lots/1/movements").expect(200).json();
    let movements = movements["items"].as_array().expect("movements").clone();
    let value = |kind: &str| -> i64 {
        let of_kind = movements.iter().filter(|m| m["kind"] == kind);
        of_kind.map(|m| micro(&m["value"])).sum()
    };
    assert_eq!(value("consumption") + value("residue"), -5_000_000);
    assert_eq!(value("count"), -65_000_000);
    assert_eq!(poured["poured_on"], "2026-02-27");
    verified(&app);
    let undone = app.post(&format!("/v1/casts/{code}/undo"), json!({}));
    undone.expect(200);
    assert_eq!(lot(&app, 1)["on_hand"], "300");
    assert_eq!(lot(&app, 1)["remaining_value"], "30");
    verified(&app);
}

#[test]
fn a_pack_that_is_empty_now_gives_what_it_held_then() {
    let app = TestApp::start();
    catalogue(&app);
    let base = receive(&app, "base", "B1", Some("K1"), &["200", "200"], "40");
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
    let code = book(&app);
    let packs = lot(&app, base)["packs"].clone();
    let (first, second) = (&packs[0]["id"], &packs[1]["id"]);
    count(&app, first, "0", "2026-03-01");
    // Its promise went to the other pack.
    assert_ne!(lot(&app, base)["packs"][1]["reserved"], "0");
    let path = format!("/v1/casts/{code}/pour");
    let named = |day: &str| pour(day, json!({"base_pack_id": first}));
    let today = app.post(&path, named("2026-03-02")).expect(409);
    assert_eq!(today.problem(), "shortage");
    app.post(&path, named("2026-02-27")).expect(200);
    let after = lot(&app, base);
    assert_eq!(after["packs"][0]["on_hand"], "0");
    assert_eq!(
        after["packs"][1],
        json!({"id": second, "no": 2, "on_hand": "200", "reserved": "0", "state": "usable"})
    );
    let trace = app
        .get(&format!("/v1/casts/{code}/trace"))
        .expect(200)
        .json();
    let materials = trace["materials"].as_array().expect("materials").clone();
    let base_used: Vec<&Value> = materials
        .iter()
        .filter(|row| row["purpose"] == "base")
        .collect();
    assert_eq!(base_used.len(), 1);
    assert_eq!(
        (&base_used[0]["pack_id"], &base_used[0]["quantity"]),
        (first, &json!("50"))
    );
    verified(&app);
}

#[test]
fn what_was_not_there_on_the_day_is_refused() {
    let app = TestApp::start();
    stocked(&app);
    let code = book(&app);
    let path = format!("/v1/casts/{code}/pour");
    // All but 20 g were spilled before that day; more was found only later, and nobody knows of it then.
    let spill = json!({"quantity": "980", "reason": "tipped over", "on": "2026-02-10"});
    app.post("/v1/packs/1/spill", spill).expect(200);
    receive(&app, "base", "B2", Some("K1"), &["500"], "50");
    let open = json!({"recipe": "chip", "containers": 1, "cast_on": "2026-03-02"});
    app.post("/v1/casts", open).expect(201);
    let refused = app.post(&path, pour("2026-01-20", json!({}))).expect(409);
    assert!(
        refused.detail().contains("for 2026-01-20"),
        "{}",
        refused.detail()
    );
    let mut counted_in = pour("2026-01-20", json!({}));
    counted_in["recount"] = json!(true);
    let early = app.post(&path, counted_in).expect(422);
    assert_eq!(early.pointers(), ["/poured_on"]);
    app.post(&path, pour("2026-02-20", json!({}))).expect(200);
    verified(&app);
}
