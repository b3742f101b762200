//! The statement of charges: what was paid when a lot was bought is not paid again, and what others use is theirs to pay.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{catalogue, micro, receive, verified};

/// Stock of which grant B had paid for the base, grant A for the curing agent, and nobody for the rest.
fn funded(app: &TestApp) {
    catalogue(app);
    let header = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on,kit_lot,funded_by";
    let rows = [
        "F-1,1,North,2026-02-01,2026-02-01,base,B1,1,1000,g,100,EUR,,2027-01-31,K1,grant-b",
        "F-1,2,North,2026-02-01,2026-02-01,agent,A1,1,100,g,20,EUR,,2027-01-31,K1,grant-a",
    ];
    let file = format!("{header}\n{}\n", rows.join("\n"));
    app.post_text("/v1/purchase-imports", "text/csv", &file)
        .expect(201);
    receive(app, "vial", "V1", None, &["1", "1"], "6");
    receive(app, "tray", "T1", None, &["40"], "20");
    receive(app, "cup", "C1", None, &["40"], "10");
    receive(app, "tape", "P1", None, &["33"], "9.90");
    receive(app, "stirrer", "S1", None, &["100"], "5");
}

fn cast(app: &TestApp, charges: Value) {
    let booking = json!({"recipe": "chip", "containers": 1, "cast_on": "2026-03-02", "charges": charges, "allow_cross_charge": true});
    let cast = app.post("/v1/casts", booking).expect(201).json();
    let batch = &cast["plan"]["batches"][0];
    let pour = json!({"poured_on": "2026-03-02", "batches": [{"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"]}]});
    let code = cast["code"].as_str().expect("a code");
    app.post(&format!("/v1/casts/{code}/pour"), pour)
        .expect(200);
    let demold = json!({"demolded_on": "2026-03-02", "good": 4, "rejects": []});
    app.post(&format!("/v1/casts/{code}/demold"), demold)
        .expect(200);
}

fn row(statement: &Value, key: &str) -> Value {
    let rows = statement["rows"].as_array().expect("rows");
    let found = rows.iter().find(|row| row["key"] == key);
    found
        .unwrap_or_else(|| panic!("no row {key}: {statement}"))
        .clone()
}

fn line(row: &Value, name: &str) -> i64 {
    let lines = row["lines"].as_array().expect("lines");
    let found = lines.iter().find(|line| line["line"] == name);
    micro(&found.expect("the line")["exact"])
}

/// What left a lot, in millionths.
fn used(app: &TestApp, material: &str, landed: i64) -> i64 {
    let lots = app
        .get(&format!("/v1/lots?material={material}"))
        .expect(200)
        .json();
    landed - micro(&lots["items"][0]["remaining_value"])
}

#[test]
fn what_a_grant_paid_for_is_not_charged_to_it_again() {
    let app = TestApp::start();
    funded(&app);
    cast(&app, json!([{"grant": "grant-a", "share": "100"}]));
    let (base, agent) = (
        used(&app, "base", 100_000_000),
        used(&app, "agent", 20_000_000),
    );
    assert!(base > 0 && agent > 0);
    let statement = app.get("/v1/reports/charges").expect(200).json();
    let (a, b) = (row(&statement, "grant-a"), row(&statement, "grant-b"));
    // Grant A used its own agent, grant B's base, and common stock.
    assert_eq!(
        (line(&a, "own_stock"), line(&a, "others_stock")),
        (agent, base)
    );
    assert_eq!(
        (line(&a, "paid_already"), line(&a, "owed_by_others")),
        (-agent, 0)
    );
    assert_eq!(
        (line(&b, "owed_by_others"), micro(&b["exact_to_pay"])),
        (-base, -base)
    );
    assert_eq!((&a["casts"], &b["casts"]), (&json!(1), &json!(0)));
    let report = app.get("/v1/reports/replica-cost").expect(200).json();
    assert_eq!(a["exact_charged"], report["rows"][0]["exact_total"]);
    assert_eq!(
        micro(&a["exact_to_pay"]),
        micro(&a["exact_charged"]) - agent
    );
    assert_eq!(statement["total"]["exact_to_pay"].clone(), {
        let common = line(&a, "common_stock");
        json!(heeltap::base::Money::from_micro(common).to_string())
    });
    let crossed = &statement["cross_charges"];
    assert_eq!(
        (&crossed[0]["from"], &crossed[0]["to"]),
        (&json!("grant-a"), &json!("grant-b"))
    );
    assert_eq!(micro(&crossed[0]["exact"]), base);
    assert!(statement["rows"][0].get("planning_interval").is_none());
    verified(&app);
}

#[test]
fn a_shared_cast_and_a_corrected_price_follow_who_paid_for_the_lot() {
    let app = TestApp::start();
    funded(&app);
    cast(
        &app,
        json!([{"grant": "grant-a", "share": "60"}, {"grant": "grant-b", "share": "40"}]),
    );
    cast(&app, json!([]));
    let base = app.get("/v1/lots?material=base").expect(200).json()["items"][0].clone();
    let credit = json!({"lot": base["id"], "amount": "-10", "reason": "credit note"});
    app.post("/v1/price-corrections", credit).expect(201);
    let statement = app.get("/v1/reports/charges").expect(200).json();
    let (a, b, none) = (
        row(&statement, "grant-a"),
        row(&statement, "grant-b"),
        row(&statement, "unassigned"),
    );
    // The credit on what grant B itself used stays with it; on what others used of its lot, they owe it less.
    assert!(line(&b, "price_variance") < 0 && line(&b, "own_stock") > 0);
    assert_eq!(
        line(&b, "paid_already"),
        -line(&b, "own_stock") - line(&b, "price_variance")
    );
    let owed = |from: &str, to: &str| {
        let crossed = statement["cross_charges"]
            .as_array()
            .expect("cross-charges");
        let found = crossed
            .iter()
            .find(|cross| cross["from"] == from && cross["to"] == to);
        found.map_or(0, |cross| micro(&cross["exact"]))
    };
    assert_eq!(
        owed("grant-a", "grant-b"),
        line(&a, "others_stock") + line(&a, "price_variance")
    );
    assert_eq!(
        owed("unassigned", "grant-b") + owed("grant-a", "grant-b"),
        -line(&b, "owed_by_others")
    );
    assert_eq!(
        owed("unassigned", "grant-a") + owed("grant-b", "grant-a"),
        -line(&a, "owed_by_others")
    );
    assert!(line(&none, "others_stock") > 0);
    assert_eq!(
        (&a["casts"], &none["casts"], &statement["total"]["casts"]),
        (&json!(1), &json!(1), &json!(2))
    );
    let csv = app.get("/v1/reports/charges?format=csv").expect(200).text;
    assert!(
        csv.contains("\"cross_charge\",\"grant-a\",\"grant-b\""),
        "{csv}"
    );
    app.get("/v1/reports/charges?group_by=month").expect(400);
    verified(&app);
}
