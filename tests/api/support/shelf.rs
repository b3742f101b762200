//! Stock to test with, put in place through the library: materials and lots as purchases would make them.

use heeltap::base::{Error, Money, Quantity};
use heeltap::catalogue::{MaterialBody, entry_create};
use heeltap::db::Tx;
use heeltap::http::Service;
use heeltap::stock::receive::{Receipt, lots_receive};
use serde_json::json;

/// A lot of a base in grams, received on 2026-02-01, with a pack of each of the quantities. Makes the material when it is
/// not there. Returns the lot's id.
pub(crate) fn receive(service: &Service, material: &str, packs: &[&str], cost: &str) -> i64 {
    let packs: Vec<Quantity> = packs
        .iter()
        .map(|text| Quantity::parse(text).expect("a quantity"))
        .collect();
    let received = service.as_actor("test", |tx| {
        let receipt = Receipt {
            material_id: material_id(tx, material)?,
            lot_code: "L-1",
            kit_lot: None,
            kit_id: None,
            supplier_id: None,
            order_line_id: None,
            funded_by_id: None,
            received_on: "2026-02-01".parse().expect("a day"),
            expires_on: None,
            packs: &packs,
            landed_cost: Money::parse(cost)?,
        };
        Ok(lots_receive(tx, &[receipt])?[0])
    });
    received.expect("a receipt")
}

fn material_id(tx: &mut Tx<'_>, code: &str) -> Result<i64, Error> {
    if let Ok(found) = heeltap::catalogue::material_by_code(tx.conn, code) {
        return Ok(found.id);
    }
    let body = json!({"code": code, "name": code, "kind": "elastomer_base", "unit": "g", "open_life_days": 30});
    let body: MaterialBody = serde_json::from_value(body).expect("a material");
    Ok(entry_create(tx, body)?.id)
}
