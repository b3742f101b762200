//! What becomes of promises when the stock changes under them.

use super::events::{found, lost, mistake, spill};
use super::{at_bench, day, need, q};
use crate::http::Page;
use crate::stock::counting::pack_count;
use crate::stock::events::{HoldIn, OpenIn, lot_hold, pack_hold, pack_open, pack_release};
use crate::stock::losing::{Loss, LossIn, pack_lose};
use crate::stock::needs::{Need, Purpose};
use crate::stock::reversing::movement_reverse;
use crate::stock::settle::repick_after;
use crate::stock::store::fixture::{cast_state, raw};
use crate::stock::warnings::{WarningState, warnings_list};

const HOLD: fn() -> HoldIn = || HoldIn {
    reason: "cloudy".into(),
};

#[test]
fn a_held_pack_gives_its_promises_to_another_and_the_rest_come_short() {
    at_bench(|bench| {
        let base = bench.base("base", "0");
        let lot = bench.receive(base, &["100", "60"], "16");
        let (one, two) = (bench.pack(lot, 1), bench.pack(lot, 2));
        let first = bench
            .book("C1", "2026-03-10", &[need(base, "50")], false)
            .unwrap();
        let second = bench
            .book("C2", "2026-03-12", &[need(base, "50")], false)
            .unwrap();
        assert_eq!(bench.holds(first), format!("{one}:50"));
        assert_eq!(bench.holds(second), format!("{one}:50"));

        bench.run(|tx| pack_hold(tx, one, &HOLD()));
        assert_eq!(bench.holds(first), format!("{two}:50"));
        assert_eq!(bench.holds(second), "");
        bench.sound();
        let page = Page {
            after: 0,
            limit: 10,
        };
        let warnings = bench.run(|tx| warnings_list(tx.conn, true, page));
        assert_eq!(warnings.len(), 1);
        assert_eq!(
            (warnings[0].kind.as_str(), warnings[0].subject.as_str()),
            ("cast_short", "C2")
        );
        assert_eq!(warnings[0].due_on, Some(day("2026-03-12")));

        bench.run(|tx| pack_release(tx, one));
        assert_eq!(
            bench.holds(first),
            format!("{two}:50"),
            "a promise that holds is left alone"
        );
        assert_eq!(bench.holds(second), format!("{one}:50"));
        let warnings = bench.run(|tx| warnings_list(tx.conn, false, page));
        assert_eq!(warnings[0].state, WarningState::Cleared);
        bench.sound();
    });
}

#[test]
fn a_whole_lot_is_held_at_once() {
    at_bench(|bench| {
        let base = bench.base("base", "0");
        let lot = bench.receive(base, &["100", "100"], "20");
        let other = bench.receive(base, &["100"], "10");
        let cast = bench
            .book("C1", "2026-03-10", &[need(base, "80")], false)
            .unwrap();
        bench.run(|tx| lot_hold(tx, lot, &HOLD()));
        assert_eq!(bench.holds(cast), format!("{}:80", bench.pack(other, 1)));
        // One promise fell and one was made: none went through the lot's other pack.
        let reservations: i64 = bench.run(|tx| {
            use diesel::prelude::*;
            Ok(crate::db::schema::reservations::table
                .count()
                .get_result(tx.conn)?)
        });
        assert_eq!(reservations, 2);
        bench.sound();
    });
}

#[test]
fn a_pack_counted_down_breaks_the_latest_promise_first() {
    at_bench(|bench| {
        let base = bench.base("base", "10");
        let lot = bench.receive(base, &["110"], "11");
        let pack = bench.pack(lot, 1);
        let first = bench
            .book("C1", "2026-03-10", &[need(base, "50")], false)
            .unwrap();
        let second = bench
            .book("C2", "2026-03-12", &[need(base, "50")], false)
            .unwrap();
        // 105 are there, but 10 of them will not pour.
        bench.run(|tx| pack_count(tx, pack, &found("105")));
        assert_eq!(
            (bench.holds(first), bench.holds(second)),
            (format!("{pack}:50"), String::new())
        );
        bench.sound();
        let count = bench.movements(lot).pop().unwrap().id;
        bench.run(|tx| movement_reverse(tx, count, &mistake()));
        assert_eq!(bench.holds(second), format!("{pack}:50"));
        bench.run(spill(pack, lost("110")));
        assert_eq!(
            (bench.holds(first), bench.holds(second)),
            (String::new(), String::new())
        );
        bench.sound();
        bench.receive(base, &["200"], "20");
        assert_ne!(bench.holds(first), "");
        assert_ne!(bench.holds(second), "");
        bench.sound();
    });
}

#[test]
fn an_opened_pack_keeps_only_its_open_life() {
    at_bench(|bench| {
        let base = bench.base("base", "0");
        let lot = bench.receive(base, &["100", "100"], "20");
        let (one, two) = (bench.pack(lot, 1), bench.pack(lot, 2));
        let cast = bench
            .book("C1", "2026-04-20", &[need(base, "50")], false)
            .unwrap();
        assert_eq!(bench.holds(cast), format!("{one}:50"));
        bench.run(|tx| pack_open(tx, one, &OpenIn::default()));
        assert_eq!(
            bench.holds(cast),
            format!("{two}:50"),
            "30 days after 2026-03-04 are over by then"
        );
        bench.sound();
    });
}

/// Two extras have one purpose and one batch. When the one that is lacking arrives, the other must keep its promise.
#[test]
fn extras_are_told_apart_by_their_material() {
    at_bench(|bench| {
        let (gloves, wipes) = (bench.pieces("gloves"), bench.pieces("wipes"));
        let lot = bench.receive(wipes, &["10"], "5");
        let needs = [need(gloves, "2"), need(wipes, "3")];
        let cast = bench.book("C1", "2026-03-10", &needs, true).unwrap();
        let wiped = format!("{}:3", bench.pack(lot, 1));
        assert_eq!(bench.holds(cast), wiped);
        bench.run(|tx| repick_after(tx, &[gloves]));
        assert_eq!(bench.holds(cast), wiped);
        bench.sound();
        let arrived = bench.receive(gloves, &["10"], "5");
        assert_eq!(
            bench.holds(cast),
            format!("{wiped} {}:2", bench.pack(arrived, 1))
        );
        bench.sound();
    });
}

/// Trays of a poured cast stay promised to it until it is demoulded: no count can take them.
#[test]
fn what_is_in_use_is_not_counted_away() {
    at_bench(|bench| {
        let trays = bench.pieces("trays");
        let lot = bench.receive(trays, &["10"], "10");
        let pack = bench.pack(lot, 1);
        let tray = |quantity: &str| Need {
            purpose: Purpose::Container,
            ..need(trays, quantity)
        };
        let poured = bench.book("C1", "2026-03-04", &[tray("4")], false).unwrap();
        let booked = bench.book("C2", "2026-03-10", &[tray("5")], false).unwrap();
        bench.run(|tx| cast_state(tx, poured, "poured"));
        assert_eq!(
            bench.refusal(|tx| pack_count(tx, pack, &found("3"))),
            "wrong-state"
        );
        assert_eq!(bench.refusal(spill(pack, lost("7"))), "invalid /quantity");
        // The booked cast gives way, the poured one does not.
        bench.run(|tx| pack_count(tx, pack, &found("6")));
        assert_eq!(
            (bench.holds(poured), bench.holds(booked)),
            (format!("{pack}:4"), String::new())
        );
        bench.sound();
        bench.run(|tx| pack_hold(tx, pack, &HOLD()));
        assert_eq!(bench.holds(poured), format!("{pack}:4"));
        let all = LossIn {
            quantity: None,
            reason: "cracked".into(),
            on: None,
        };
        bench.run(|tx| pack_lose(tx, pack, Loss::WriteOff, &all));
        assert_eq!(bench.lot(lot).on_hand, q("4"));
        bench.sound();
        let receipt = bench.movements(lot)[0].id;
        assert_eq!(
            bench.refusal(|tx| movement_reverse(tx, receipt, &mistake())),
            "history-conflict"
        );
    });
}

#[test]
fn verify_names_promises_that_cannot_be() {
    at_bench(|bench| {
        let base = bench.base("base", "0");
        bench.receive(base, &["100"], "10");
        let cast = bench
            .book("C1", "2026-03-10", &[need(base, "50")], false)
            .unwrap();
        let invariants = || -> Vec<u8> {
            bench
                .verified()
                .breaches
                .iter()
                .map(|b| b.invariant)
                .collect()
        };
        bench.run(|tx| {
            raw(
                tx.conn,
                "UPDATE packs SET reserved_micro = reserved_micro + 1",
            )
        });
        assert_eq!(invariants(), [1]);
        bench.run(|tx| {
            raw(
                tx.conn,
                "UPDATE packs SET reserved_micro = reserved_micro - 1",
            )
        });
        bench.run(|tx| {
            raw(
                tx.conn,
                "UPDATE cast_needs SET quantity_micro = quantity_micro + 1",
            )
        });
        assert_eq!(invariants(), [5]);
        bench.run(|tx| {
            raw(
                tx.conn,
                "UPDATE cast_needs SET quantity_micro = quantity_micro - 1",
            )
        });
        bench.run(|tx| cast_state(tx, cast, "cancelled"));
        assert_eq!(invariants(), [5]);
    });
}
