//! Waste and the stock's value over HTTP, against figures done by hand.

use diesel::prelude::*;
use heeltap::db::schema::casts;
use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{catalogue, receive, stocked};

use crate::support::books::{Cast, cast, entry};

/// One cast of 20 chips, 5 of them rejected, shared 75 : 25; a fifth of its tape was cut off.
fn lab() -> TestApp {
    let app = TestApp::start();
    let wrote = app.service.db().write(|conn| {
        let recipe_id = entry(conn, "recipe", "R-1", "Chip");
        let first = entry(conn, "grant", "G-1", "First");
        let second = entry(conn, "grant", "G-2", "Second");
        let id = cast(
            conn,
            &Cast {
                code: "C-1",
                recipe_id,
                poured_on: "2026-02-27",
                demolded: Some(("2026-03-01", 15, 5)),
                charges: &[(first, 75_000_000), (second, 25_000_000)],
                costs: &[
                    (Some(first), "chip", 9_000_000),
                    (Some(second), "chip", 3_000_000),
                    (Some(first), "residue", 1_500_000),
                    (Some(second), "residue", 500_000),
                    (Some(first), "tape", 3_000_000),
                    (Some(second), "tape", 1_000_000),
                ],
            },
        );
        diesel::update(casts::table.find(id))
            .set(casts::plan.eq(r#"{"tape": {"offcut_share": "0.2"}}"#))
            .execute(conn)?;
        Ok(())
    });
    wrote.expect("the books must be written");
    app
}

/// The amounts of a row that are not 0.
fn amounts(row: &Value) -> Value {
    let kinds = row["amounts"].as_array().expect("amounts");
    let some = kinds.iter().filter(|kind| kind["amount"] != "0");
    some.map(|kind| {
        (
            kind["category"].as_str().expect("a kind").to_owned(),
            kind["amount"].clone(),
        )
    })
    .collect::<serde_json::Map<_, _>>()
    .into()
}

#[test]
fn the_waste_of_a_cast_is_borne_by_who_pays_for_it() {
    let app = lab();
    let report = app
        .get("/v1/reports/waste?from=2026-03-01&to=2026-03-31")
        .expect(200)
        .json();
    // Offcuts: 4 x 0.2. Rejects: a quarter of the rest, 12 + 3.2 = 15.2.
    let total = json!({"residue": "2", "offcuts": "0.8", "rejects": "3.8"});
    assert_eq!(amounts(&report["total"]), total);
    assert_eq!(report["total"]["total"], "6.6");
    assert_eq!(report["total"]["spent_on_casts"], "18");
    assert_eq!(report["total"]["waste_share"], "0.366667");
    let rows = report["rows"].as_array().expect("rows");
    assert_eq!(
        (&rows[0]["key"], &rows[1]["key"]),
        (&json!("G-1"), &json!("G-2"))
    );
    assert_eq!(
        amounts(&rows[0]),
        json!({"residue": "1.5", "offcuts": "0.6", "rejects": "2.85"})
    );
    assert_eq!(
        amounts(&rows[1]),
        json!({"residue": "0.5", "offcuts": "0.2", "rejects": "0.95"})
    );
    for (by, key) in [("recipe", "R-1"), ("month", "2026-03"), ("cast", "C-1")] {
        let report = app
            .get(&format!("/v1/reports/waste?group_by={by}"))
            .expect(200)
            .json();
        assert_eq!(report["rows"][0]["key"], key);
        assert_eq!(amounts(&report["rows"][0]), total, "by {by}");
    }
    let before = app
        .get("/v1/reports/waste?to=2026-02-28")
        .expect(200)
        .json();
    assert_eq!(
        before["rows"],
        json!([]),
        "its demould counts, not its pour"
    );
}

#[test]
fn losses_outside_of_casts_stand_under_their_day_and_payer() {
    let app = TestApp::start();
    catalogue(&app);
    let lot = receive(&app, "base", "B1", Some("K1"), &["1000"], "100");
    receive(&app, "agent", "A1", Some("K1"), &["40"], "20");
    let pack = app.get(&format!("/v1/lots/{lot}")).expect(200).json()["packs"][0]["id"].clone();
    let lose = |what: &str, quantity: &str, reason: &str| {
        let body = json!({"quantity": quantity, "reason": reason});
        app.post(&format!("/v1/packs/{pack}/{what}"), body)
            .expect(200);
    };
    lose("spill", "10", "knocked over");
    lose("write-off", "20", "Expired last week");
    lose("write-off", "30.5", "dust in it");
    app.post(
        &format!("/v1/packs/{pack}/count"),
        json!({"on_hand": "900"}),
    )
    .expect(200);
    let report = app.get("/v1/reports/waste").expect(200).json();
    let expected =
        json!({"spilled": "1", "expired": "2", "written_off": "3.05", "counted": "3.95"});
    assert_eq!(amounts(&report["total"]), expected);
    assert_eq!(report["rows"][0]["key"], "unassigned");
    assert_eq!(
        report["total"].get("waste_share"),
        None,
        "nothing was spent on casts"
    );
    // 40 g of curing agent go with 400 g of base; 500 g of the base are stranded, at 0.1 a gram.
    let stranded = json!([{"elastomer": "el", "kit_lot": "K1", "part": "base", "material": "base",
        "quantity": "500", "value": "50"}]);
    assert_eq!(report["stranded_on_the_shelf"], stranded);
    let by_material = app
        .get("/v1/reports/waste?group_by=material")
        .expect(200)
        .json();
    assert_eq!(by_material["rows"][0]["key"], "base");
    for by in ["recipe", "cast"] {
        let report = app
            .get(&format!("/v1/reports/waste?group_by={by}"))
            .expect(200)
            .json();
        assert_eq!(report["rows"][0]["key"], "outside_casts");
    }
    let stock = app.get("/v1/reports/stock-value").expect(200).json();
    let of = |key: &str| {
        let rows = stock["rows"].as_array().expect("rows");
        rows.iter()
            .find(|row| row["key"] == key)
            .unwrap_or_else(|| panic!("no row {key}"))
            .clone()
    };
    let base = of("base");
    let flows: Vec<&str> = base["flows"]
        .as_array()
        .expect("flows")
        .iter()
        .map(|flow| flow["exact"].as_str().expect("a decimal"))
        .collect();
    assert_eq!(flows, ["0", "100", "0", "0", "-10"]);
    assert_eq!(
        (&base["closing"], &base["quantity"], &base["unit"]),
        (&json!("90"), &json!("900"), &json!("g"))
    );
    assert_eq!(of("agent")["closing"], "20");
    assert_eq!(stock["total"]["closing"], "110");
    let before = app
        .get("/v1/reports/stock-value?to=2026-01-31")
        .expect(200)
        .json();
    assert_eq!(before["total"]["lots"], 0, "nothing had been received");
    app.get("/v1/reports/stock-value?group_by=cast").expect(400);
    app.get("/v1/reports/waste?format=pdf").expect(400);
}

#[test]
fn every_report_comes_as_a_file_in_every_format() {
    let app = TestApp::start();
    stocked(&app);
    for name in ["replica-cost", "waste", "stock-value", "residue"] {
        let csv = app
            .get(&format!("/v1/reports/{name}?format=csv"))
            .expect(200);
        let mut reader = csv::Reader::from_reader(csv.text.as_bytes());
        let columns = reader.headers().expect("a header").len();
        let records = reader
            .records()
            .map(|record| record.expect("a record").len());
        assert!(records.into_iter().all(|cells| cells == columns), "{name}");
        let sheet = app
            .get(&format!("/v1/reports/{name}?format=xlsx"))
            .expect(200);
        let disposition = sheet.header("content-disposition");
        assert!(disposition.contains(&format!("\"{name}-by-")) && disposition.contains(".xlsx\""));
        assert!(sheet.text.starts_with("PK\u{3}\u{4}"), "{name}");
    }
}
