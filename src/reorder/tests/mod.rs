//! The reorder room on both databases: what it reads, what it keeps, what it warns of.

mod kits;
mod notice;
mod reading;
mod refreshing;

use chrono::{DateTime, NaiveDate, Utc};
use diesel::prelude::*;
use serde_json::{Value, json};

use super::ops::advice_refresh;
use crate::base::{Error, Money, Quantity};
use crate::catalogue::{CatalogueBody, MaterialBody, entry_create};
use crate::db::fixture::{on_database, write_at};
use crate::db::schema::{
    cast_needs, casts, dirty_materials, order_lines, orders, reorder_advice, warnings,
};
use crate::db::{AnyConnection, Db, Tx};
use crate::http::Page;
use crate::stock::losing::{Loss, LossIn, pack_lose};
use crate::stock::receive::{Receipt, lots_receive};
use crate::stock::views::lots_list;

pub(super) fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// Noon of a day, in UTC, which is the lab's time.
fn noon(on: &str) -> DateTime<Utc> {
    format!("{on}T12:00:00Z").parse().unwrap()
}

/// A write on a day.
pub(super) fn on<T>(db: &Db, day: &str, work: impl FnOnce(&mut Tx<'_>) -> Result<T, Error>) -> T {
    write_at(db, noon(day), work).unwrap()
}

pub(super) fn create<B: CatalogueBody>(db: &Db, document: Value) -> i64 {
    let body: B = serde_json::from_value(document).unwrap();
    on(db, "2025-01-02", |tx| Ok(entry_create(tx, body)?.id))
}

/// A sundry counted in grams, with changes; its lead time is 10 days.
pub(super) fn material(db: &Db, code: &str, more: Value) -> i64 {
    let mut document =
        json!({"code": code, "name": code, "kind": "sundry", "unit": "g", "lead_time_days": 10});
    let more = more.as_object().cloned().unwrap_or_default();
    document.as_object_mut().unwrap().extend(more);
    create::<MaterialBody>(db, document)
}

/// What a lot is to be, besides its material.
#[derive(Clone, Copy, Default)]
pub(super) struct Lot<'a> {
    pub(super) code: &'a str,
    pub(super) kit: Option<(&'a str, i64)>,
    pub(super) received_on: &'a str,
    pub(super) expires_on: Option<&'a str>,
    pub(super) packs: &'a [i32],
    pub(super) cost: i32,
}

/// Receives a lot on its day; gives the ids of its packs.
pub(super) fn receive(db: &Db, material_id: i64, lot: Lot<'_>) -> Vec<i64> {
    let packs: Vec<Quantity> = lot.packs.iter().map(|g| Quantity::from_int(*g)).collect();
    on(db, lot.received_on, |tx| {
        let receipt = Receipt {
            material_id,
            lot_code: lot.code,
            kit_lot: lot.kit.map(|kit| kit.0),
            kit_id: lot.kit.map(|kit| kit.1),
            supplier_id: None,
            order_line_id: None,
            funded_by_id: None,
            received_on: day(lot.received_on),
            expires_on: lot.expires_on.map(day),
            packs: &packs,
            landed_cost: Money::from_int(lot.cost),
        };
        let id = lots_receive(tx, &[receipt])?[0];
        let lots = lots_list(
            tx.conn,
            Some(material_id),
            None,
            Page {
                after: 0,
                limit: 1000,
            },
            day(lot.received_on),
        )?;
        let made = lots.into_iter().find(|made| made.id == id).unwrap();
        Ok(made.packs.iter().map(|pack| pack.id).collect())
    })
}

/// Uses grams of a pack on a day, as a spill.
pub(super) fn use_up(db: &Db, pack_id: i64, grams: i32, when: &str) {
    let loss = LossIn {
        quantity: Some(Quantity::from_int(grams)),
        reason: "used".into(),
        on: Some(day(when)),
    };
    on(db, when, |tx| pack_lose(tx, pack_id, Loss::Spill, &loss));
}

/// 40 weeks of the same use on Mondays, the last on 2026-02-23.
pub(super) fn weekly_use(db: &Db, pack_id: i64, grams: i32) {
    let last = day("2026-02-23");
    for week in 0..40 {
        let monday = last - chrono::Days::new(7 * (39 - week));
        use_up(db, pack_id, grams, &monday.to_string());
    }
}

/// A booked cast that needs grams of some materials; nothing is promised to it.
pub(super) fn book(db: &Db, code: &str, cast_on: &str, needs: &[(i64, i32)]) -> i64 {
    on(db, "2026-03-01", |tx| {
        // The recipe and the mould matter to no reader here; any entry serves.
        let some = needs[0].0;
        let id: i64 = diesel::insert_into(casts::table)
            .values((
                casts::code.eq(code),
                casts::state.eq("booked"),
                casts::short.eq(true),
                casts::recipe_id.eq(some),
                casts::mold_id.eq(some),
                casts::containers.eq(1),
                casts::cast_on.eq(day(cast_on)),
                casts::allow_mixed_kits.eq(false),
                casts::allow_cross_charge.eq(false),
                casts::request.eq("{}"),
                casts::facts.eq("{}"),
                casts::plan.eq("{}"),
                casts::booked_at.eq(tx.stored_now()),
                casts::booked_by.eq("tester"),
            ))
            .returning(casts::id)
            .get_result(tx.conn)?;
        for (material_id, grams) in needs {
            diesel::insert_into(cast_needs::table)
                .values((
                    cast_needs::cast_id.eq(id),
                    cast_needs::material_id.eq(*material_id),
                    cast_needs::purpose.eq("base"),
                    cast_needs::batch_no.eq(1),
                    cast_needs::quantity_micro.eq(i64::from(*grams) * 1_000_000),
                    cast_needs::piece_micro.eq(1),
                ))
                .execute(tx.conn)?;
        }
        Ok(id)
    })
}

/// An order of one line, `ordered` or `received`.
pub(super) struct Order<'a> {
    pub(super) code: &'a str,
    pub(super) supplier_id: i64,
    pub(super) item_id: i64,
    pub(super) packs: i64,
    pub(super) pack_grams: Option<i64>,
    pub(super) ordered_on: &'a str,
    pub(super) expected_on: Option<&'a str>,
    pub(super) received_on: Option<&'a str>,
}

pub(super) fn order(db: &Db, order: &Order<'_>) {
    on(db, "2026-03-01", |tx| {
        let id: i64 = diesel::insert_into(orders::table)
            .values((
                orders::code.eq(order.code),
                orders::supplier_id.eq(order.supplier_id),
                orders::ordered_on.eq(day(order.ordered_on)),
                orders::created_at.eq(tx.stored_now()),
                orders::created_by.eq("tester"),
            ))
            .returning(orders::id)
            .get_result(tx.conn)?;
        let state = order.received_on.map_or("ordered", |_| "received");
        diesel::insert_into(order_lines::table)
            .values((
                order_lines::order_id.eq(id),
                order_lines::line_no.eq("1"),
                order_lines::item_id.eq(order.item_id),
                order_lines::packs.eq(order.packs),
                order_lines::pack_quantity_micro.eq(order.pack_grams.map(|g| g * 1_000_000)),
                order_lines::value_micro.eq(0),
                order_lines::state.eq(state),
                order_lines::expected_on.eq(order.expected_on.map(day)),
                order_lines::received_on.eq(order.received_on.map(day)),
                order_lines::content.eq("{}"),
            ))
            .execute(tx.conn)?;
        Ok(())
    });
}

/// Refreshes on a day; gives how many were judged.
pub(super) fn refreshed(db: &Db, when: &str) -> usize {
    on(db, when, advice_refresh)
}

/// The advice that is kept on an item.
pub(super) fn kept(db: &Db, code: &str) -> Option<Value> {
    let bodies: Vec<String> = db
        .read(|conn| {
            Ok(reorder_advice::table
                .select(reorder_advice::body)
                .load(conn)?)
        })
        .unwrap();
    bodies
        .iter()
        .map(|body| serde_json::from_str::<Value>(body).unwrap())
        .find(|body| body["material"] == code)
}

/// The warnings that stand open: kind, subject, severity, day.
pub(super) fn open(db: &Db) -> Vec<(String, String, i32, Option<NaiveDate>)> {
    db.read(|conn| {
        Ok(warnings::table
            .filter(warnings::cleared_at.is_null())
            .order((warnings::kind, warnings::subject))
            .select((
                warnings::kind,
                warnings::subject,
                warnings::severity,
                warnings::due_on,
            ))
            .load(conn)?)
    })
    .unwrap()
}

pub(super) fn dirty(db: &Db) -> Vec<i64> {
    let load = |conn: &mut AnyConnection| {
        Ok(dirty_materials::table
            .order(dirty_materials::material_id)
            .select(dirty_materials::material_id)
            .load(conn)?)
    };
    db.read(load).unwrap()
}
