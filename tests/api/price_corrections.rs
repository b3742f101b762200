//! Prices corrected after the delivery: who bears them, to the millionth, and where they show.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{catalogue, micro, receive, stocked, verified};

const PATH: &str = "/v1/price-corrections";

/// A cast of one tray, shared 60 : 40, poured of 1,000 g of base that had cost 100.
fn poured(app: &TestApp) -> Value {
    let charges = json!([{"grant": "grant-a", "share": "60"}, {"grant": "grant-b", "share": "40"}]);
    let booking =
        json!({"recipe": "chip", "containers": 1, "cast_on": "2026-03-02", "charges": charges});
    let cast = app.post("/v1/casts", booking).expect(201).json();
    let batch = &cast["plan"]["batches"][0];
    let pour = json!({"poured_on": "2026-03-02", "batches": [
        {"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"], "residue_g": "2"}]});
    let code = cast["code"].as_str().expect("a code");
    app.post(&format!("/v1/casts/{code}/pour"), pour)
        .expect(200)
        .json()
}

fn lot(app: &TestApp, material: &str) -> Value {
    let lots = app
        .get(&format!("/v1/lots?material={material}"))
        .expect(200)
        .json();
    lots["items"][0].clone()
}

/// The shares of a correction under a kind, in millionths.
fn shares(correction: &Value, kind: &str) -> Vec<i64> {
    let shares = correction["shares"].as_array().expect("shares");
    let of_kind = shares.iter().filter(|share| share["kind"] == kind);
    of_kind.map(|share| micro(&share["amount"])).collect()
}

#[test]
fn the_used_share_goes_to_the_grants_and_the_rest_onto_the_lot() {
    let app = TestApp::start();
    stocked(&app);
    let cast = poured(&app);
    let code = cast["code"].as_str().expect("a code");
    let before = lot(&app, "base");
    let used = 100_000_000 - micro(&before["remaining_value"]);
    assert!(used > 0);
    let report = || app.get("/v1/reports/replica-cost").expect(200).json();
    let cost_before = app
        .get(&format!("/v1/casts/{code}/cost"))
        .expect(200)
        .json();

    let body = json!({"lot": before["id"], "amount": "10", "reason": "surcharge of the supplier"});
    let correction = app.post(PATH, body).expect(201).json();
    // 10 over what is left and what the cast took: a tenth of each, by largest remainder.
    let stock = shares(&correction, "stock");
    let variance = shares(&correction, "price_variance");
    assert_eq!(
        (
            stock.len(),
            variance.len(),
            shares(&correction, "waste").len()
        ),
        (1, 2, 0)
    );
    assert_eq!(stock[0] + variance.iter().sum::<i64>(), 10_000_000);
    let exact = used * 10_000_000 / 100_000_000;
    let to_casts: i64 = variance.iter().sum();
    assert!((to_casts - exact).abs() <= 1, "{to_casts} {exact}");
    assert!(
        (variance[0] - to_casts * 60 / 100).abs() <= 1,
        "{variance:?}"
    );
    let after = lot(&app, "base");
    assert_eq!(
        micro(&after["remaining_value"]),
        micro(&before["remaining_value"]) + stock[0]
    );
    assert_eq!(
        micro(&after["landed_cost"]),
        micro(&before["landed_cost"]) + stock[0]
    );

    // The cast costs what it did; the correction is a line of its own.
    assert_eq!(
        app.get(&format!("/v1/casts/{code}/cost"))
            .expect(200)
            .json(),
        cost_before
    );
    let found = report();
    assert_eq!(micro(&found["price_variance"]["exact_total"]), to_casts);
    let keys: Vec<&Value> = found["price_variance"]["rows"]
        .as_array()
        .expect("rows")
        .iter()
        .map(|row| &row["key"])
        .collect();
    assert_eq!(keys, ["grant-a", "grant-b"]);
    let by_cast = app
        .get("/v1/reports/replica-cost?group_by=cast&format=csv")
        .expect(200)
        .text;
    assert!(
        by_cast.contains(&format!("\"price_variance\",\"{code}\"")),
        "{by_cast}"
    );
    verified(&app);

    // What is taken back goes into the lot at what it costs now.
    app.post(&format!("/v1/casts/{code}/undo"), json!({}))
        .expect(200);
    let back = lot(&app, "base");
    assert_eq!(back["remaining_value"], "110");
    assert_eq!(micro(&report()["price_variance"]["exact_total"]), 0);
    verified(&app);
    let id = &correction["id"];
    let shown = app.get(&format!("{PATH}/{id}")).expect(200).json();
    let all = shown["shares"].as_array().expect("shares");
    assert_eq!(
        all.iter().map(|share| micro(&share["amount"])).sum::<i64>(),
        10_000_000
    );
    assert_eq!(
        all.len(),
        3 + 2 * 2,
        "each grant's share went and came back"
    );
}

#[test]
fn what_was_lost_is_waste_and_a_whole_credit_leaves_nothing() {
    let app = TestApp::start();
    catalogue(&app);
    let lot_id = receive(&app, "base", "B1", None, &["1000"], "100");
    let pack = app.get(&format!("/v1/lots/{lot_id}")).expect(200).json()["packs"][0]["id"].clone();
    let spill = json!({"quantity": "250", "reason": "knocked over"});
    app.post(&format!("/v1/packs/{pack}/spill"), spill)
        .expect(200);
    let credit = |amount: &str| json!({"lot": lot_id, "amount": amount, "reason": "credit note"});
    let first = app.post(PATH, credit("-20")).expect(201).json();
    assert_eq!(
        (shares(&first, "stock"), shares(&first, "waste")),
        (vec![-15_000_000], vec![-5_000_000])
    );
    let waste = app.get("/v1/reports/waste").expect(200).json();
    assert_eq!(waste["total"]["total"], "20", "25 spilled less 5");
    let refused = app.post(PATH, credit("-80.000001")).expect(422);
    assert_eq!(refused.pointers(), ["/amount"]);
    assert!(
        refused.detail().contains("more than the 80 that it cost"),
        "{}",
        refused.detail()
    );
    app.post(PATH, credit("-80")).expect(201);
    assert_eq!(lot(&app, "base")["remaining_value"], "0");
    verified(&app);
    // Free now: what it costs after all goes by quantity.
    let again = app.post(PATH, credit("8")).expect(201).json();
    assert_eq!(
        (shares(&again, "stock"), shares(&again, "waste")),
        (vec![6_000_000], vec![2_000_000])
    );
    verified(&app);
    let list = app.get(&format!("{PATH}?limit=2")).expect(200).json();
    assert_eq!(list["items"].as_array().map(Vec::len), Some(2));
    assert!(list["next"].is_string());
}

#[test]
fn a_line_of_an_order_is_corrected_with_all_its_lots_in_its_currency() {
    let app = TestApp::start();
    catalogue(&app);
    app.post("/v1/kits", json!({"code": "kit", "name": "Kit", "elastomer": "el", "base_g": "1000", "curing_agent_g": "100"})).expect(201);
    let line =
        json!({"line_no": 1, "item": "kit", "packs": 2, "line_price": "220", "currency": "EUR"});
    let order = json!({"order_no": "O-1", "supplier": "Supplier", "ordered_on": "2026-02-01", "lines": [line]});
    app.post("/v1/orders", order).expect(201);
    let credit = |extra: Value| {
        let body =
            json!({"order_no": "O-1", "line_no": 1, "amount": "-11", "reason": "credit note"});
        heeltap::http::merge_patch(body, extra)
    };
    app.post(PATH, credit(json!({}))).expect(409);
    let arrival = json!({"received_on": "2026-02-10", "lines": [{"line_no": 1, "lot": "K1"}]});
    app.post("/v1/orders/O-1/receive", arrival).expect(200);
    let correction = app.post(PATH, credit(json!({}))).expect(201).json();
    assert_eq!(shares(&correction, "stock"), [-10_000_000, -1_000_000]);
    assert_eq!(correction["order_no"], "O-1");
    let missing = app
        .post(PATH, credit(json!({"currency": "USD"})))
        .expect(422);
    assert_eq!(missing.pointers(), ["/rate"]);
    assert!(
        missing.detail().contains("USD on 2026-03-02"),
        "{}",
        missing.detail()
    );
    // 27 February 2026 is a Friday, and no rate was entered since.
    let rate = json!({"currency": "USD", "rate_on": "2026-02-27", "rate": "1.1", "quote": "foreign_per_base", "source": "a table"});
    app.post("/v1/exchange-rates", rate).expect(201);
    let correction = app
        .post(PATH, credit(json!({"currency": "USD"})))
        .expect(201)
        .json();
    assert_eq!(
        (&correction["value"], &correction["rate"]),
        (&json!("-10"), &json!("1/1.1"))
    );
    let correction = app
        .post(PATH, credit(json!({"currency": "USD", "rate": "0.5"})))
        .expect(201)
        .json();
    assert_eq!(correction["value"], "-5.5");
    verified(&app);
    app.post(PATH, credit(json!({"line_no": 2}))).expect(404);
    app.post(PATH, credit(json!({"corrected_on": "2026-02-09"})))
        .expect(422);
    app.post(PATH, credit(json!({"reason": " "}))).expect(422);
}
