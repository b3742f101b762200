//! Entries for earlier days: what they may be, and that a count stays true.

use super::events::{found, lost, mistake, spill};
use super::{Bench, at_bench, day, q};
use crate::base::Quantity;
use crate::stock::as_of::{AsOf, lot_then};
use crate::stock::counting::{CountIn, pack_count};
use crate::stock::ledger::MovementKind;
use crate::stock::losing::LossIn;
use crate::stock::post::{Occasion, Poster};
use crate::stock::promises::pack_most_on;
use crate::stock::reversing::movement_reverse;
use crate::stock::store::fixture;

fn lost_on(quantity: &str, on: &str) -> LossIn {
    LossIn {
        on: Some(day(on)),
        ..lost(quantity)
    }
}

fn found_on(quantity: &str, on: &str) -> CountIn {
    CountIn {
        counted_on: Some(day(on)),
        ..found(quantity)
    }
}

/// A lot of one pack: 10 at 10.
fn ten(bench: &Bench) -> (i64, i64) {
    let lot = bench.receive(bench.base("base", "0"), &["10"], "10");
    (lot, bench.pack(lot, 1))
}

/// `on hand @ value` at the end of a day.
#[track_caller]
fn stood(bench: &Bench, lot: i64, on: &str) -> String {
    let moment = AsOf {
        day: Some(day(on)),
        known_at: None,
    };
    let then = bench.run(|tx| lot_then(tx.conn, lot, moment));
    format!("{} @ {}", then.on_hand, then.remaining_value)
}

#[test]
fn never_before_the_receipt_nor_so_that_a_later_day_falls_below_0() {
    at_bench(|bench| {
        let (lot, pack) = ten(bench);
        assert_eq!(
            bench.refusal(spill(pack, lost_on("1", "2026-01-31"))),
            "invalid /on"
        );
        bench.run(spill(pack, lost_on("7", "2026-02-20")));
        assert_eq!(
            bench.refusal(spill(pack, lost_on("4", "2026-02-10"))),
            "invalid /quantity"
        );
        bench.run(spill(pack, lost_on("3", "2026-02-10")));
        assert_eq!(bench.stands(lot), "0 @ 0");
        assert_eq!(stood(bench, lot, "2026-02-05"), "10 @ 10");
        assert_eq!(stood(bench, lot, "2026-02-15"), "7 @ 7");
        bench.sound();
    });
}

#[test]
fn never_into_a_closed_period() {
    at_bench(|bench| {
        let (lot, pack) = ten(bench);
        bench.run(spill(pack, lost_on("2", "2026-02-10")));
        let spilled = bench.movements(lot)[1].id;
        bench.run(|tx| {
            fixture::raw(
                tx.conn,
                "UPDATE period_guard SET closed_through = '2026-02-28'",
            )
        });
        assert_eq!(
            bench.refusal(spill(pack, lost_on("1", "2026-02-28"))),
            "period-closed"
        );
        assert_eq!(
            bench.refusal(|tx| pack_count(tx, pack, &found_on("1", "2026-02-28"))),
            "period-closed"
        );
        bench.run(spill(pack, lost_on("1", "2026-03-01")));
        // What stands in the closed period is taken back in the open one.
        bench.run(|tx| movement_reverse(tx, spilled, &mistake()));
        let reversal = bench.movements(lot).pop().unwrap();
        assert_eq!(reversal.effective_on, day("2026-03-04"));
        assert_eq!(bench.stands(lot), "9 @ 9");
        bench.sound();
    });
}

#[test]
fn a_loss_before_a_count_explains_what_the_count_missed() {
    at_bench(|bench| {
        let (lot, pack) = ten(bench);
        bench.run(|tx| pack_count(tx, pack, &found_on("2", "2026-02-20")));
        assert_eq!(bench.stands(lot), "2 @ 2");
        // Of the 8 that were missing, 5 had been spilled: what was counted stays, the loss has a name now.
        bench.run(spill(pack, lost_on("5", "2026-02-10")));
        assert_eq!(bench.stands(lot), "2 @ 2");
        assert_eq!(stood(bench, lot, "2026-02-10"), "5 @ 5");
        assert_eq!(stood(bench, lot, "2026-02-20"), "2 @ 2");
        let all = bench.movements(lot);
        let offset = &all[2];
        assert_eq!((offset.kind.as_str(), offset.quantity), ("count", q("5")));
        assert_eq!(offset.purpose, Some(format!("offset:{}", all[1].id)));
        assert_eq!(
            (all[3].kind.as_str(), all[3].value.to_string()),
            ("spill", "-5".to_owned())
        );
        bench.sound();
        // Neither the count nor what evens it out can be taken back alone; the spill can.
        let reverse = |id: i64| bench.refusal(|tx| movement_reverse(tx, id, &mistake()));
        assert_eq!(reverse(all[1].id), "history-conflict");
        assert_eq!(reverse(all[2].id), "wrong-state");
        bench.run(|tx| movement_reverse(tx, all[3].id, &mistake()));
        assert_eq!(bench.stands(lot), "2 @ 2");
        assert_eq!(stood(bench, lot, "2026-02-10"), "10 @ 10");
        bench.sound();
    });
}

#[test]
fn a_pack_that_was_counted_empty_may_have_been_spilled_before() {
    at_bench(|bench| {
        let (lot, pack) = ten(bench);
        bench.run(|tx| pack_count(tx, pack, &found_on("0", "2026-02-20")));
        let most = bench.run(|tx| pack_most_on(tx, pack, day("2026-02-10")));
        assert_eq!(most, q("10"));
        assert_eq!(
            bench.run(|tx| pack_most_on(tx, pack, tx.today)),
            Quantity::ZERO
        );
        bench.run(spill(pack, lost_on("10", "2026-02-10")));
        assert_eq!(bench.stands(lot), "0 @ 0");
        let all = bench.movements(lot);
        assert_eq!(all[3].value.to_string(), "-10");
        assert_eq!(
            bench.refusal(spill(pack, lost_on("1", "2026-02-10"))),
            "invalid /quantity"
        );
        bench.sound();
    });
}

#[test]
fn a_slip_that_a_count_had_put_right_is_taken_back_without_doing_it_twice() {
    at_bench(|bench| {
        let (lot, pack) = ten(bench);
        bench.run(spill(pack, lost("3")));
        let slip = bench.movements(lot)[1].id;
        // On the same day: the order of recording tells which came first.
        bench.run(|tx| pack_count(tx, pack, &found("10")));
        assert_eq!(bench.stands(lot), "10 @ 7");
        bench.run(|tx| movement_reverse(tx, slip, &mistake()));
        assert_eq!(bench.stands(lot), "10 @ 10");
        bench.sound();
    });
}

#[test]
fn a_count_for_a_day_before_another_changes_only_the_days_between() {
    at_bench(|bench| {
        let (lot, pack) = ten(bench);
        bench.run(|tx| pack_count(tx, pack, &found_on("6", "2026-02-20")));
        bench.run(|tx| pack_count(tx, pack, &found_on("9", "2026-02-10")));
        assert_eq!(bench.stands(lot), "6 @ 6");
        assert_eq!(stood(bench, lot, "2026-02-10"), "9 @ 9");
        assert_eq!(stood(bench, lot, "2026-02-20"), "6 @ 6");
        assert_eq!(bench.lot(lot).packs[0].counted_on, Some(day("2026-02-20")));
        bench.sound();
    });
}

#[test]
fn what_was_known_then() {
    at_bench(|bench| {
        let (lot, pack) = ten(bench);
        let later = bench.days_later(2);
        later.run(spill(pack, lost_on("4", "2026-02-10")));
        let then = |known_at: &str, on: Option<&str>| {
            let moment = AsOf {
                day: on.map(day),
                known_at: Some(known_at.parse().unwrap()),
            };
            bench
                .run(|tx| lot_then(tx.conn, lot, moment))
                .on_hand
                .to_string()
        };
        assert_eq!(then("2026-03-05T00:00:00Z", Some("2026-02-10")), "10");
        assert_eq!(then("2026-03-06T10:00:00Z", Some("2026-02-10")), "6");
        assert_eq!(then("2026-03-06T10:00:00Z", Some("2026-02-09")), "10");
        let before = AsOf {
            day: Some(day("2026-01-31")),
            known_at: None,
        };
        assert_eq!(bench.refusal(|tx| lot_then(tx.conn, lot, before)), "no lot");
    });
}

/// What a cast takes passes no check of the bench events: the ledger itself looks at the days.
#[test]
fn no_issue_whatever_its_source_leaves_a_past_day_below_0() {
    at_bench(|bench| {
        let (lot, pack) = ten(bench);
        bench.run(spill(pack, lost_on("10", "2026-02-10")));
        // Later 5 were found: they are there now, but nobody knows of any between the two days.
        bench.run(|tx| pack_count(tx, pack, &found_on("5", "2026-02-20")));
        let issue = |quantity: &str, on: &str| {
            let occasion = Occasion {
                effective_on: day(on),
                ..Occasion::default()
            };
            let quantity = q(quantity);
            let place = (lot, pack);
            bench.try_do(|tx| {
                let kind = MovementKind::Consumption;
                Poster::new().issue(tx, place, kind, quantity, &occasion)
            })
        };
        for (quantity, on) in [("1", "2026-02-15"), ("6", "2026-02-25")] {
            let refused = issue(quantity, on).expect_err("a refusal").to_string();
            assert!(refused.contains("were there then"), "{on}: {refused}");
        }
        issue("5", "2026-02-25").expect("it was there");
        // As the words say: a count of that day makes it possible.
        bench.run(|tx| pack_count(tx, pack, &found_on("2", "2026-02-15")));
        issue("2", "2026-02-15").expect("it was counted");
        assert_eq!(bench.lot(lot).on_hand, Quantity::ZERO);
        bench.sound();
    });
}
