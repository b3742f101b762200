//! What is read for a batch, held against what was written.

use std::collections::BTreeSet;

use serde_json::json;

use super::*;
use crate::catalogue::SupplierBody;
use crate::reorder::batches::batches;
use crate::reorder::facts::ReorderFacts;
use crate::reorder::walk::{Arrival, Booking, UsablePack};
use crate::reorder::{load, store};
use crate::stock::events::{HoldIn, OpenIn, pack_hold, pack_open};

const TODAY: &str = "2026-03-02";

/// The facts of a material as of 2026-03-02.
fn facts(db: &Db, id: i64) -> ReorderFacts {
    db.read(|conn| {
        let links = store::kit_links(conn)?;
        let batch = batches(&BTreeSet::from([id]), &links, 1).remove(0);
        let books = load::books(conn, &batch, &links, day(TODAY))?;
        Ok(books.materials[&id].facts(day(TODAY)))
    })
    .unwrap()
}

fn grams(quantity: i64) -> i64 {
    quantity * 1_000_000
}

#[test]
fn held_expired_and_heel_are_not_usable() {
    on_database(|db| {
        let id = material(&db, "m", json!({"heel": "5", "open_life_days": 30}));
        let lot = |code, expires_on, packs| Lot {
            code,
            received_on: "2026-01-05",
            expires_on,
            packs,
            cost: 10,
            ..Lot::default()
        };
        let good = receive(&db, id, lot("good", Some("2026-12-31"), &[100, 100, 100]));
        receive(&db, id, lot("expired", Some("2026-03-01"), &[70]));
        receive(&db, id, lot("heel", None, &[5]));
        let held = HoldIn {
            reason: "cloudy".into(),
        };
        on(&db, TODAY, |tx| pack_hold(tx, good[0], &held));
        let opened = OpenIn {
            opened_on: Some(day("2026-02-20")),
        };
        on(&db, TODAY, |tx| pack_open(tx, good[1], &opened));
        let found = facts(&db, id);
        assert_eq!(found.on_hand_micro, grams(375));
        let pack = |expires: &str| UsablePack {
            quantity_micro: grams(95),
            expires_on: Some(day(expires)),
        };
        assert_eq!(found.packs, [pack("2026-03-22"), pack("2026-12-31")]);
        // The last lot cost 10 for 5 g.
        assert_eq!(found.unit_value_micro, Some(2_000_000));
    });
}

#[test]
fn demand_is_read_by_day_and_reversals_are_taken_back() {
    on_database(|db| {
        let id = material(&db, "m", json!({}));
        let pack = receive(
            &db,
            id,
            Lot {
                code: "1",
                received_on: "2026-01-05",
                packs: &[100],
                ..Lot::default()
            },
        )[0];
        use_up(&db, pack, 3, "2026-01-06");
        use_up(&db, pack, 4, "2026-01-06");
        use_up(&db, pack, 5, "2026-02-01");
        let found = facts(&db, id).daily;
        let seen: Vec<_> = found
            .iter()
            .map(|entry| (entry.on.to_string(), entry.quantity_micro))
            .collect();
        assert_eq!(
            seen,
            [
                ("2026-01-06".to_owned(), grams(7)),
                ("2026-02-01".to_owned(), grams(5))
            ]
        );
    });
}

#[test]
fn what_short_casts_need_is_known_demand() {
    on_database(|db| {
        let (id, other) = (material(&db, "m", json!({})), material(&db, "n", json!({})));
        book(&db, "C-1", "2026-03-10", &[(id, 30), (other, 1)]);
        book(&db, "C-2", "2026-03-10", &[(id, 12)]);
        let poured = book(&db, "C-3", "2026-03-11", &[(id, 99)]);
        on(&db, TODAY, |tx| {
            diesel::update(casts::table.find(poured))
                .set((
                    casts::state.eq("cancelled"),
                    casts::cancelled_at.eq(Some(tx.stored_now())),
                ))
                .execute(tx.conn)?;
            Ok(())
        });
        let booked = Booking {
            on: day("2026-03-10"),
            quantity_micro: grams(42),
        };
        assert_eq!(facts(&db, id).bookings, [booked]);
    });
}

#[test]
fn what_comes_back_is_asked_for_only_as_far_as_it_lacks() {
    on_database(|db| {
        let dish = json!({"kind": "container", "unit": "each", "container":
            {"shape": "round", "diameter_mm": "88", "depth_mm": "14", "rated_uses": 20}});
        let id = material(&db, "dish", dish);
        let pack = receive(
            &db,
            id,
            Lot {
                code: "1",
                received_on: "2026-01-05",
                packs: &[10],
                ..Lot::default()
            },
        )[0];
        let cast = book(&db, "C-1", "2026-03-10", &[(id, 8)]);
        on(&db, TODAY, |tx| {
            diesel::insert_into(crate::db::schema::reservations::table)
                .values((
                    crate::db::schema::reservations::cast_id.eq(cast),
                    crate::db::schema::reservations::pack_id.eq(pack),
                    crate::db::schema::reservations::purpose.eq("base"),
                    crate::db::schema::reservations::batch_no.eq(1),
                    crate::db::schema::reservations::quantity_micro.eq(grams(6)),
                    crate::db::schema::reservations::state.eq("active"),
                    crate::db::schema::reservations::created_at.eq(tx.stored_now()),
                ))
                .execute(tx.conn)?;
            Ok(())
        });
        let found = facts(&db, id);
        assert_eq!(found.bookings.len(), 1);
        assert_eq!(found.bookings[0].quantity_micro, grams(2));
        assert_eq!(found.packs[0].quantity_micro, grams(4));
        refreshed(&db, TODAY);
        let shown = kept(&db, "dish").unwrap();
        assert_eq!(
            (&shown["on_hand"], &shown["reserved"], &shown["usable"]),
            (&json!("10"), &json!("6"), &json!("4"))
        );
        assert_eq!(shown["known_demand"], "2");
    });
}

#[test]
fn orders_arrive_and_teach_the_lead_time() {
    on_database(|db| {
        let id = material(&db, "m", json!({"shelf_life_days": 100}));
        let supplier =
            |code: &str| create::<SupplierBody>(&db, json!({"code": code, "name": code}));
        let (old, new) = (supplier("old"), supplier("new"));
        let line = |code, supplier_id, ordered_on, expected_on, received_on| {
            order(
                &db,
                &Order {
                    code,
                    supplier_id,
                    item_id: id,
                    packs: 3,
                    pack_grams: Some(50),
                    ordered_on,
                    expected_on,
                    received_on,
                },
            );
        };
        line("PO-1", old, "2025-10-01", None, Some("2025-10-31"));
        line("PO-2", new, "2025-11-01", None, Some("2025-11-08"));
        line("PO-3", new, "2025-12-01", None, Some("2025-12-10"));
        line("PO-4", new, "2026-02-27", Some("2026-03-20"), None);
        line("PO-5", new, "2026-02-28", None, None);
        let found = facts(&db, id);
        assert_eq!(found.past_lead_days, [7, 9]);
        let arrival = |on: &str, expires: &str| Arrival {
            on: day(on),
            quantity_micro: grams(150),
            expires_on: Some(day(expires)),
        };
        // Where no day is expected, the catalogue's ten days count from the order.
        assert_eq!(
            found.arrivals,
            [
                arrival("2026-03-20", "2026-06-28"),
                arrival("2026-03-10", "2026-06-18")
            ]
        );
        assert_eq!(found.pack_quantity_micro, Some(grams(50)));
    });
}

#[test]
fn the_terms_of_the_catalogue_are_taken_over() {
    on_database(|db| {
        let id = material(
            &db,
            "m",
            json!({"service_level": "0.99", "review_days": 7, "approval_days": 2, "min_packs": 4,
                "pack_quantity": "25", "order_cost": "30", "holding_rate": "0.2", "stated_use_per_month": "60"}),
        );
        let found = facts(&db, id);
        let expected = ReorderFacts {
            catalogue_lead_days: Some(10.0),
            service_level_micro: 990_000,
            review_days: 7,
            approval_days: 2,
            min_packs: 4,
            pack_quantity_micro: Some(grams(25)),
            order_cost_micro: Some(30_000_000),
            holding_rate_micro: Some(200_000),
            stated_use_per_month_micro: Some(grams(60)),
            // A material that does not come back is forecast for what bookings did not tell of in time.
            unbooked_daily: Some(Vec::new()),
            ..ReorderFacts::new("m", "g", day(TODAY))
        };
        assert_eq!(found, expected);
    });
}
