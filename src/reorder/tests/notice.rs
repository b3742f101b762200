//! What the books say of notice: planned demand of poured casts, refused bookings, and what is left to forecast.

use super::*;
use crate::db::schema::{refused_bookings, refused_demand};
use crate::reorder::batches::batches;
use crate::reorder::demand::DailyDemand;
use crate::reorder::facts::ReorderFacts;
use crate::reorder::{load, store};

const TODAY: &str = "2026-03-02";

fn facts(db: &Db, id: i64) -> ReorderFacts {
    db.read(|conn| {
        let links = store::kit_links(conn)?;
        let batch = batches(&std::collections::BTreeSet::from([id]), &links, 1).remove(0);
        let books = load::books(conn, &batch, &links, day(TODAY))?;
        Ok(books.materials[&id].facts(day(TODAY)))
    })
    .unwrap()
}

/// A cast booked on one day and poured on another, that had planned so many grams.
fn poured(db: &Db, code: &str, (booked_on, poured_on): (&str, &str), needs: &[(i64, i32)]) -> i64 {
    let id = book(db, code, poured_on, needs);
    on(db, TODAY, |tx| {
        diesel::update(casts::table.find(id))
            .set((
                casts::state.eq("poured"),
                casts::poured_on.eq(Some(day(poured_on))),
                casts::pour.eq(Some("{}")),
                casts::booked_at.eq(day(booked_on).and_hms_opt(23, 0, 0).unwrap()),
            ))
            .execute(tx.conn)?;
        Ok(())
    });
    id
}

/// A booking of a recipe that was refused on one day for another.
fn refused(db: &Db, recipe_id: i64, (on_day, cast_on): (&str, &str), needs: &[(i64, i32)]) {
    on(db, TODAY, |tx| {
        let id: i64 = diesel::insert_into(refused_bookings::table)
            .values((
                refused_bookings::recipe_id.eq(recipe_id),
                refused_bookings::cast_on.eq(day(cast_on)),
                refused_bookings::refused_at.eq(day(on_day).and_hms_opt(9, 0, 0).unwrap()),
                refused_bookings::actor.eq("tester"),
                refused_bookings::detail.eq("short"),
            ))
            .returning(refused_bookings::id)
            .get_result(tx.conn)?;
        for (material_id, grams) in needs {
            diesel::insert_into(refused_demand::table)
                .values((
                    refused_demand::refused_booking_id.eq(id),
                    refused_demand::material_id.eq(*material_id),
                    refused_demand::quantity_micro.eq(i64::from(*grams) * 1_000_000),
                ))
                .execute(tx.conn)?;
        }
        Ok(())
    });
}

fn daily(days: &[(&str, i64)]) -> Option<Vec<DailyDemand>> {
    let entry = |&(on, grams): &(&str, i64)| DailyDemand {
        on: day(on),
        quantity_micro: grams * 1_000_000,
    };
    Some(days.iter().map(entry).collect())
}

fn stocked(db: &Db) -> (i64, i64) {
    // The lead time of 10 days, exceeded one time in twenty by 5, and the daily review make 16 days of notice early enough.
    let id = material(db, "m", json!({}));
    let lot = Lot {
        code: "L1",
        received_on: "2025-05-01",
        packs: &[1000],
        cost: 10,
        ..Lot::default()
    };
    (id, receive(db, id, lot)[0])
}

#[test]
fn what_was_booked_in_time_is_not_forecast_again() {
    on_database(|db| {
        let (id, pack) = stocked(&db);
        use_up(&db, pack, 120, "2026-02-02");
        use_up(&db, pack, 30, "2026-02-05");
        // 16 days of notice: in time; 20 more were used than planned.
        poured(&db, "C-1", ("2026-01-17", "2026-02-02"), &[(id, 100)]);
        // 15 days: too late.
        poured(&db, "C-2", ("2026-01-21", "2026-02-05"), &[(id, 30)]);
        let found = facts(&db, id);
        assert_eq!(
            found.daily,
            daily(&[("2026-02-02", 120), ("2026-02-05", 30)]).unwrap()
        );
        assert_eq!(
            found.unbooked_daily,
            daily(&[("2026-02-02", 20), ("2026-02-05", 30)])
        );
        // Of 50 g, the 30 that are booked 15 days before are no longer to come on the days up to 14 ahead.
        assert_eq!(found.notice_share.len(), 16);
        assert!((found.notice_share[14] - 0.4).abs() < 1e-12);
        assert!((found.notice_share[15] - 1.0).abs() < 1e-12);
    });
}

#[test]
fn a_refused_booking_is_demand_once_and_only_if_it_was_not_booked_after_all() {
    on_database(|db| {
        let (id, pack) = stocked(&db);
        use_up(&db, pack, 5, "2026-02-02");
        let asked = ("2026-02-01", "2026-02-04");
        refused(&db, id, asked, &[(id, 40)]);
        refused(&db, id, asked, &[(id, 60)]);
        assert_eq!(
            facts(&db, id).unbooked_daily,
            daily(&[("2026-02-02", 5), ("2026-02-04", 60)])
        );
        // A day to come may still be booked.
        refused(&db, id, ("2026-03-01", "2026-03-20"), &[(id, 90)]);
        assert_eq!(
            facts(&db, id).unbooked_daily,
            daily(&[("2026-02-02", 5), ("2026-02-04", 60)])
        );
        // The same recipe was booked for a day near it after the refusals, and nothing of it used here.
        poured(&db, "C-1", ("2026-02-01", "2026-02-09"), &[(id, 60)]);
        assert_eq!(facts(&db, id).unbooked_daily, daily(&[("2026-02-02", 5)]));
    });
}

#[test]
fn a_refused_booking_makes_its_materials_be_judged_anew() {
    on_database(|db| {
        let (id, _) = stocked(&db);
        refreshed(&db, TODAY);
        assert!(dirty(&db).is_empty());
        refused(&db, id, ("2026-03-02", "2026-03-04"), &[(id, 40)]);
        assert_eq!(dirty(&db), [id]);
    });
}

#[test]
fn a_budget_caps_every_order_and_its_change_makes_all_be_judged_anew() {
    use crate::base::Money;
    use crate::purchasing::ops::{BudgetIn, budget_set, budget_withdraw};
    on_database(|db| {
        let (_, pack) = stocked(&db);
        weekly_use(&db, pack, 20);
        let asked = || {
            refreshed(&db, TODAY);
            let found = kept(&db, "m").unwrap();
            (
                found["order_quantity"].as_str().unwrap().to_owned(),
                found["order_capped_by"].clone(),
            )
        };
        let (free, capped_by) = asked();
        assert!(free.parse::<f64>().unwrap() > 30.0, "{free}");
        assert_eq!(capped_by, json!(null));
        let budget = on(&db, TODAY, |tx| {
            budget_set(
                tx,
                &BudgetIn {
                    first_day: day("2026-03-01"),
                    last_day: day("2026-03-31"),
                    // 10 cost 1000 g: 30 g can be had for 0.3.
                    amount: Money::parse("0.3").unwrap(),
                },
            )
        });
        assert_eq!(asked(), ("30".to_owned(), json!("budget")));
        on(&db, TODAY, |tx| budget_withdraw(tx, budget.id));
        assert_eq!(asked(), (free.clone(), json!(null)));
    });
}
