//! A lab for tests: a catalogue over HTTP, and stock by the library. Its codes are neutral; invented figures.

use chrono::NaiveDate;
use heeltap::base::{Money, Quantity};
use heeltap::catalogue::material_by_code;
use heeltap::stock::receive::{Receipt, lots_receive};
use serde_json::{Value, json};

use super::{Client, TestApp};

/// A day.
pub(crate) fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

/// Creates what one recipe, `chip`, needs: elastomer 10:1, a mould of 4 chips with 2 copies, trays, cups, tape, vials.
pub(crate) fn catalogue(app: &Client) {
    let material = |body: Value| drop(app.post("/v1/materials", body).expect(201));
    material(
        json!({"code": "base", "name": "Base", "kind": "elastomer_base", "unit": "g", "density_g_per_ml": "1.03", "lead_time_days": 14}),
    );
    material(
        json!({"code": "agent", "name": "Curing agent", "kind": "curing_agent", "unit": "g", "hazard_statements": ["H317"]}),
    );
    material(
        json!({"code": "vial", "name": "Release agent", "kind": "release_agent", "unit": "each", "open_life_days": 1,
        "molds_per_vial": 2, "hazard_statements": ["H225"]}),
    );
    material(
        json!({"code": "tray", "name": "Tray", "kind": "container", "unit": "each",
        "container": {"shape": "rectangular", "length_mm": "90", "width_mm": "60", "depth_mm": "15", "draft_deg": "2"}}),
    );
    material(
        json!({"code": "cup", "name": "Cup", "kind": "mixing_cup", "unit": "each", "tare_g": "8",
        "container": {"shape": "round", "diameter_mm": "70", "depth_mm": "90", "fill_limit": "0.5"}}),
    );
    material(
        json!({"code": "tape", "name": "Tape", "kind": "tape", "unit": "m", "tape": {"width_mm": "25", "thickness_mm": "0.1"}}),
    );
    material(json!({"code": "stirrer", "name": "Stirrer", "kind": "sundry", "unit": "each"}));
    app.post("/v1/elastomers", json!({"code": "el", "name": "Elastomer", "base": "base", "curing_agent": "agent",
        "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.02", "density_g_per_ml": "1.03",
        "viscosity_pa_s": "3.5", "pot_life_min": "90", "cure": [{"temperature_c": "25", "minutes": "2880"},
        {"temperature_c": "85", "minutes": "45"}]})).expect(201);
    app.post("/v1/molds", json!({"code": "mold", "name": "Mould", "length_mm": "75", "width_mm": "50", "thickness_mm": "1",
        "chips": 4, "copies": 2, "coat_life_casts": 5, "cost": "120", "rated_casts": 50})).expect(201);
    app.post("/v1/recipes", json!({"code": "chip", "name": "Chip", "elastomer": "el", "mold": "mold", "container": "tray",
        "cup": "cup", "tape": "tape", "release_agent": "vial", "chip_thickness_mm": "4", "drain_time_s": "60",
        "extras": [{"material": "stirrer", "quantity": "1", "per": "batch"}]})).expect(201);
    for grant in ["grant-a", "grant-b"] {
        app.post("/v1/grants", json!({"code": grant, "name": grant}))
            .expect(201);
    }
}

/// Receives one lot of packs of equal size for `cost` in all; returns its id.
pub(crate) fn receive(
    app: &TestApp,
    material: &str,
    lot: &str,
    kit_lot: Option<&str>,
    packs: &[&str],
    cost: &str,
) -> i64 {
    let quantities: Vec<Quantity> = packs
        .iter()
        .map(|pack| Quantity::parse(pack).expect("a quantity"))
        .collect();
    let lots = app.service.as_actor("test", |tx| {
        let receipt = Receipt {
            material_id: material_by_code(tx.conn, material)?.id,
            lot_code: lot,
            kit_lot,
            kit_id: None,
            supplier_id: None,
            order_line_id: None,
            funded_by_id: None,
            received_on: day("2026-02-01"),
            expires_on: Some(day("2027-01-31")),
            packs: &quantities,
            landed_cost: Money::parse(cost).expect("an amount"),
        };
        lots_receive(tx, &[receipt])
    });
    lots.expect("the delivery must be taken in")[0]
}

/// The catalogue, and stock for some casts.
pub(crate) fn stocked(app: &TestApp) {
    catalogue(app);
    receive(app, "base", "B1", Some("K1"), &["1000"], "100");
    receive(app, "agent", "A1", Some("K1"), &["100"], "20");
    receive(app, "vial", "V1", None, &["1", "1", "1", "1"], "12");
    receive(app, "tray", "T1", None, &["40"], "20");
    receive(app, "cup", "C1", None, &["40"], "10");
    receive(app, "tape", "P1", None, &["33"], "9.90");
    receive(app, "stirrer", "S1", None, &["100"], "5");
}

/// A decimal of an answer in millionths.
pub(crate) fn micro(value: &Value) -> i64 {
    let text = value
        .as_str()
        .unwrap_or_else(|| panic!("{value} is no decimal string"));
    Quantity::parse(text).expect("a decimal").micro()
}

/// Proves the books, and the reports against them.
pub(crate) fn verified(app: &TestApp) {
    let found = app
        .service
        .db()
        .read(heeltap::stock::verify::verify)
        .expect("the books must be read");
    assert!(found.ok, "{:?}", found.breaches);
    super::reconcile::reconciled(app);
}
