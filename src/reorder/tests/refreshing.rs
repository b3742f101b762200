//! Refreshing: what is judged, kept, raised, cleared and raised again.

use serde_json::json;

use super::*;
use crate::catalogue::{SupplierBody, entry_retire};
use crate::http::Page;
use crate::stock::events::{HoldIn, pack_hold};
use crate::stock::warnings::{AcknowledgeIn, Warning, warning_acknowledge, warnings_list};

const TODAY: &str = "2026-03-02";

/// A material with 40 weeks of 70 g a week and so much left; gives it and its pack.
fn used_weekly(db: &Db, left_grams: i32) -> (i64, i64) {
    let id = material(db, "m", json!({}));
    let pack = receive(
        db,
        id,
        Lot {
            code: "L1",
            received_on: "2025-05-01",
            packs: &[2800 + left_grams],
            cost: 350,
            ..Lot::default()
        },
    )[0];
    weekly_use(db, pack, 70);
    (id, pack)
}

fn all(db: &Db) -> Vec<Warning> {
    db.read(|conn| {
        warnings_list(
            conn,
            false,
            Page {
                after: 0,
                limit: 1000,
            },
        )
    })
    .unwrap()
}

#[test]
fn steady_use_runs_out_on_the_day_it_must() {
    on_database(|db| {
        used_weekly(&db, 700);
        assert_eq!(refreshed(&db, TODAY), 1);
        let advice = kept(&db, "m").unwrap();
        assert_eq!(advice["class"], "smooth");
        assert_eq!(advice["method"], "exponential_smoothing");
        // 70 g a week is 10 g a day; 700 g last 70 days.
        assert_eq!(
            (&advice["daily_demand"], &advice["usable"]),
            (&json!("10"), &json!("700"))
        );
        assert_eq!(advice["runs_out_on"], "2026-05-11");
        assert_eq!(advice["lead_time_days"], "10");
        assert_eq!(
            (&advice["due"], &advice["late"]),
            (&json!(false), &json!(false))
        );
        // Nothing wobbles but the lead time, 10 days with a deviation of 3: 95 of 100 orders take at most 15 or 16.
        let by: NaiveDate = advice["order_by"].as_str().unwrap().parse().unwrap();
        assert!(
            (day("2026-04-22")..=day("2026-04-27")).contains(&by),
            "{by}"
        );
        assert_eq!(open(&db), []);
    });
}

#[test]
fn a_warning_is_raised_once_and_clears_itself() {
    on_database(|db| {
        let (id, _) = used_weekly(&db, 100);
        // 100 g last ten days, and one order in two takes longer.
        refreshed(&db, TODAY);
        let raised = all(&db);
        assert_eq!(raised.len(), 1);
        let warning = &raised[0];
        assert_eq!(
            (warning.kind.as_str(), warning.subject_noun.as_str()),
            ("order_by", "material")
        );
        assert_eq!((warning.subject.as_str(), warning.severity), ("m", 3));
        assert_eq!(warning.due_on, Some(day(TODAY)));
        assert!(warning.reason.contains("order today"), "{}", warning.reason);
        let note = AcknowledgeIn {
            note: "ordered by telephone".into(),
        };
        on(&db, TODAY, |tx| warning_acknowledge(tx, warning.id, &note));
        // Another day, and days later: the same warning, still acknowledged, with the day it had.
        for later in ["2026-03-03", "2026-03-07"] {
            assert_eq!(refreshed(&db, later), 1);
            let after = all(&db);
            assert_eq!(after.len(), 1);
            assert!(after[0].acknowledged_at.is_some());
            assert_eq!(after[0].due_on, Some(day(TODAY)));
        }
        receive(
            &db,
            id,
            Lot {
                code: "L2",
                received_on: "2026-03-07",
                packs: &[3500],
                ..Lot::default()
            },
        );
        assert_eq!(dirty(&db), [id]);
        assert_eq!(refreshed(&db, "2026-03-07"), 1);
        assert!(dirty(&db).is_empty() && open(&db).is_empty());
        assert!(all(&db)[0].cleared_at.is_some());
    });
}

#[test]
fn a_warning_that_becomes_graver_is_raised_again() {
    on_database(|db| {
        let (_, pack) = used_weekly(&db, 190);
        refreshed(&db, TODAY);
        // At the reorder point, and the last day to order is still to come.
        let warning = all(&db).remove(0);
        assert_eq!(warning.severity, 2);
        assert!(warning.due_on > Some(day(TODAY)), "{:?}", warning.due_on);
        let note = AcknowledgeIn {
            note: "soon".into(),
        };
        on(&db, TODAY, |tx| warning_acknowledge(tx, warning.id, &note));
        use_up(&db, pack, 110, TODAY);
        refreshed(&db, TODAY);
        let graver = all(&db);
        assert_eq!(graver.len(), 1);
        assert_eq!((graver[0].id, graver[0].severity), (warning.id, 3));
        assert_eq!(graver[0].acknowledged_at, None);
    });
}

#[test]
fn what_is_not_known_to_be_used_raises_nothing() {
    on_database(|db| {
        let id = material(&db, "m", json!({}));
        assert_eq!(refreshed(&db, TODAY), 1);
        let advice = kept(&db, "m").unwrap();
        assert_eq!(advice["method"], "bookings_and_stated_use");
        assert_eq!(
            (&advice["class"], &advice["order_by"]),
            (&json!(null), &json!(null))
        );
        assert_eq!(
            (&advice["due"], &advice["order_quantity"]),
            (&json!(false), &json!("0"))
        );
        assert_eq!(
            advice["reason"],
            "There is too little history for a forecast, no use per month is stated and nothing is booked, so nothing \
             needs to be ordered."
        );
        // Stock that nobody uses expires one day, but not soon.
        receive(
            &db,
            id,
            Lot {
                code: "1",
                received_on: "2026-03-01",
                expires_on: Some("2026-09-01"),
                packs: &[10],
                ..Lot::default()
            },
        );
        refreshed(&db, TODAY);
        assert_eq!(open(&db), []);
        // A booking that nothing meets is late at once.
        book(&db, "C-1", "2026-03-05", &[(id, 20)]);
        refreshed(&db, TODAY);
        assert_eq!(
            open(&db),
            [("order_by".into(), "m".into(), 3, Some(day(TODAY)))]
        );
    });
}

#[test]
fn bookings_holds_and_openings_mark_the_material() {
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
        let marked = |what: &str| {
            assert_eq!(dirty(&db), [id], "{what}");
            assert_eq!(refreshed(&db, TODAY), 1);
            assert!(dirty(&db).is_empty(), "{what}");
            assert_eq!(refreshed(&db, TODAY), 0, "{what}");
        };
        marked("a receipt");
        let cast = book(&db, "C-1", "2026-03-10", &[(id, 30)]);
        marked("a need");
        let held = HoldIn {
            reason: "cloudy".into(),
        };
        on(&db, TODAY, |tx| pack_hold(tx, pack, &held));
        marked("a hold");
        assert_eq!(kept(&db, "m").unwrap()["usable"], "0");
        on(&db, TODAY, |tx| {
            diesel::update(casts::table.find(cast))
                .set(casts::cast_on.eq(day("2026-03-20")))
                .execute(tx.conn)?;
            Ok(())
        });
        marked("another day");
        on(&db, TODAY, |tx| {
            diesel::delete(cast_needs::table.filter(cast_needs::cast_id.eq(cast)))
                .execute(tx.conn)?;
            Ok(())
        });
        marked("a need taken back");
        assert_eq!(kept(&db, "m").unwrap()["known_demand"], "0");
    });
}

#[test]
fn a_new_day_is_a_reason_to_look_again() {
    on_database(|db| {
        material(&db, "m", json!({}));
        material(&db, "n", json!({}));
        assert_eq!(refreshed(&db, TODAY), 2);
        assert_eq!(refreshed(&db, TODAY), 0);
        assert_eq!(refreshed(&db, "2026-03-03"), 2);
        assert_eq!(kept(&db, "n").unwrap()["computed_on"], "2026-03-03");
    });
}

#[test]
fn what_is_retired_is_not_advised() {
    on_database(|db| {
        material(&db, "m", json!({"stated_use_per_month": "100"}));
        refreshed(&db, TODAY);
        assert_eq!(open(&db).len(), 1);
        on(&db, TODAY, |tx| {
            entry_retire::<MaterialBody>(tx, "m").map(drop)
        });
        refreshed(&db, TODAY);
        assert_eq!((kept(&db, "m"), open(&db)), (None, vec![]));
        assert_eq!(refreshed(&db, "2026-03-03"), 0);
    });
}

#[test]
fn lots_that_expire_are_told_while_they_can_be_used() {
    on_database(|db| {
        let (id, _) = used_weekly(&db, 700);
        let lot = |code, expires_on| Lot {
            code,
            received_on: "2026-02-24",
            expires_on: Some(expires_on),
            packs: &[500],
            cost: 100,
            ..Lot::default()
        };
        // 10 g a day: the first four days from what expires on the fifth of March, the 37 days to the eleventh of April
        // from the other.
        receive(&db, id, lot("late", "2026-04-11"));
        let soon = receive(&db, id, lot("soon", "2026-03-05"))[0];
        refreshed(&db, TODAY);
        let found = all(&db);
        let said: Vec<_> = found
            .iter()
            .map(|warning| (warning.severity, warning.reason.as_str()))
            .collect();
        assert_eq!(
            said,
            [
                (
                    1,
                    "Lot late of m is good until 2026-04-11, and at the present use 130 g (worth 26 EUR) of it will be \
                     left then, so use it first."
                ),
                (
                    2,
                    "Lot soon of m is good until 2026-03-05 and holds 500 g (worth 100 EUR), so use it first."
                ),
            ]
        );
        assert!(found.iter().all(|warning| warning.subject_noun == "lot"));
        // Used up: nothing is left to warn of.
        use_up(&db, soon, 500, TODAY);
        refreshed(&db, TODAY);
        assert_eq!(open(&db).len(), 1);
        refreshed(&db, "2026-04-13");
        let gone = open(&db);
        assert_eq!((gone.len(), gone[0].0.as_str()), (1, "expiring"));
        assert_eq!((gone[0].2, gone[0].3), (2, Some(day("2026-04-11"))));
    });
}

#[test]
fn an_order_that_does_not_come_is_warned_of_until_it_does() {
    on_database(|db| {
        let id = material(&db, "m", json!({}));
        let supplier_id = create::<SupplierBody>(&db, json!({"code": "s", "name": "S"}));
        order(
            &db,
            &Order {
                code: "PO-1",
                supplier_id,
                item_id: id,
                packs: 2,
                pack_grams: Some(50),
                ordered_on: "2026-02-01",
                expected_on: Some("2026-03-04"),
                received_on: None,
            },
        );
        refreshed(&db, "2026-03-04");
        assert_eq!(open(&db), []);
        refreshed(&db, "2026-03-05");
        assert_eq!(
            open(&db),
            [(
                "overdue_order".into(),
                "PO-1/1".into(),
                2,
                Some(day("2026-03-04"))
            )]
        );
        on(&db, "2026-03-06", |tx| {
            diesel::update(order_lines::table)
                .set((
                    order_lines::state.eq("received"),
                    order_lines::received_on.eq(Some(day("2026-03-06"))),
                ))
                .execute(tx.conn)?;
            Ok(())
        });
        refreshed(&db, "2026-03-06");
        assert_eq!(open(&db), []);
    });
}

#[test]
fn those_who_refresh_at_once_judge_and_warn_once() {
    on_database(|db| {
        for code in ["m", "n", "o"] {
            material(&db, code, json!({"stated_use_per_month": "100"}));
        }
        let judged: usize = std::thread::scope(|scope| {
            let turns: Vec<_> = (0..4)
                .map(|_| scope.spawn(|| refreshed(&db, TODAY)))
                .collect();
            turns.into_iter().map(|turn| turn.join().unwrap()).sum()
        });
        assert_eq!((judged, all(&db).len()), (3, 3));
    });
}
