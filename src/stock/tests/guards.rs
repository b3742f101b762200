//! What the database itself refuses, whatever program writes to it.

use super::events::{lost, spill};
use super::{Bench, at_bench, need};
use crate::stock::store::fixture::raw;

/// A bench with one lot of 10 at 10, of which 1 was spilled and 5 are promised.
fn books(bench: &Bench) {
    let base = bench.base("base", "0");
    let lot = bench.receive(base, &["10"], "10");
    bench.run(spill(bench.pack(lot, 1), lost("1")));
    bench
        .book("C1", "2026-03-10", &[need(base, "5")], false)
        .unwrap();
}

#[track_caller]
fn check(bench: &Bench, sql: &str, says: &str) {
    let error = bench
        .try_do(|tx| raw(tx.conn, sql))
        .expect_err(sql)
        .to_string();
    assert!(error.contains(says), "{sql}: {error}");
}

const COLUMNS: &str = "lot_id, seq, pack_id, kind, quantity_micro, value_micro, reason, actor, effective_on, recorded_at, hash, reverses_id";

/// An insertion into the ledger after the two movements there are.
fn insert(values: &str) -> String {
    format!("INSERT INTO movements ({COLUMNS}) VALUES ({values})")
}

#[test]
fn the_ledger_is_append_only() {
    at_bench(|bench| {
        books(bench);
        let append_only = "append-only: post a reversal";
        check(bench, "UPDATE movements SET reason = 'x'", append_only);
        check(
            bench,
            "UPDATE movements SET value_micro = 0 WHERE seq = 2",
            append_only,
        );
        check(bench, "DELETE FROM movements", append_only);
        check(bench, "DELETE FROM movements WHERE seq = 2", append_only);
        check(bench, "DELETE FROM reservations", "reservations are kept");
        bench.run(|tx| {
            raw(
                tx.conn,
                "UPDATE reservations SET state = 'released', resolved_at = created_at",
            )
        });
        let once = "resolved once";
        check(bench, "UPDATE reservations SET state = 'consumed'", once);
        check(bench, "UPDATE reservations SET quantity_micro = 1", once);
        if !bench.db.url().is_sqlite() {
            check(bench, "TRUNCATE movements CASCADE", append_only);
        }
    });
}

#[test]
fn what_no_movement_may_say() {
    at_bench(|bench| {
        books(bench);
        let at = "'r', 'a', '2026-03-04', '2026-03-04 10:00:00', 'h'";
        check(
            bench,
            &insert(&format!("1, 4, 1, 'spill', -1, 0, {at}, NULL")),
            "extend its lot's chain",
        );
        check(
            bench,
            &insert(&format!("1, 2, 1, 'spill', -1, 0, {at}, NULL")),
            "extend its lot's chain",
        );
        check(
            bench,
            &insert(&format!("1, 3, 1, 'gift', 1, 0, {at}, NULL")),
            "movements_kind",
        );
        check(
            bench,
            &insert(&format!("1, 3, 1, 'spill', 1, 0, {at}, NULL")),
            "movements_issue_takes",
        );
        check(
            bench,
            &insert(&format!("1, 3, 1, 'receipt', -1, 0, {at}, NULL")),
            "movements_receipt_adds",
        );
        check(
            bench,
            &insert(&format!("1, 3, NULL, 'wear', -1, 0, {at}, NULL")),
            "movements_",
        );
        check(
            bench,
            &insert(&format!("1, 3, NULL, 'count', -1, 0, {at}, NULL")),
            "movements_pack_named",
        );
        check(
            bench,
            &insert(&format!("1, 3, 1, 'reversal', 1, 0, {at}, NULL")),
            "movements_reversal_names_one",
        );
        check(
            bench,
            &insert(&format!("1, 3, 1, 'spill', -5000000, 0, {at}, NULL")),
            "packs_reserved_at_most_on_hand",
        );
        check(
            bench,
            &insert(&format!("1, 3, 1, 'spill', -1, -9000001, {at}, NULL")),
            "lots_value",
        );
        // A second lot of its own material: its movements name none of the first one's packs.
        let other = bench.receive(bench.base("other", "0"), &["10"], "10");
        check(
            bench,
            &insert(&format!("{other}, 2, 1, 'spill', -1, 0, {at}, NULL")),
            "belong to its lot",
        );
        let back = format!("1, 3, 1, 'reversal', 1000000, 1000000, {at}, 2");
        bench.run(|tx| raw(tx.conn, &insert(&back)));
        let twice = format!("1, 4, 1, 'reversal', 1000000, 1000000, {at}, 2");
        let unique = if bench.db.url().is_sqlite() {
            "UNIQUE constraint failed: movements.reverses_id"
        } else {
            "movements_reversed_once"
        };
        check(bench, &insert(&twice), unique);
    });
}

#[test]
fn a_closed_period_stays_closed() {
    at_bench(|bench| {
        books(bench);
        bench.run(|tx| {
            raw(
                tx.conn,
                "UPDATE period_guard SET closed_through = '2026-03-04'",
            )
        });
        let values =
            "1, 3, 1, 'spill', -1, 0, 'r', 'a', '2026-03-04', '2026-03-04 10:00:00', 'h', NULL";
        check(bench, &insert(values), "period of this movement is closed");
        let stays = "a closed period stays closed";
        check(
            bench,
            "UPDATE period_guard SET closed_through = '2026-03-03'",
            stays,
        );
        check(
            bench,
            "UPDATE period_guard SET closed_through = NULL",
            stays,
        );
        bench.run(|tx| {
            raw(
                tx.conn,
                "UPDATE period_guard SET closed_through = '2026-03-05'",
            )
        });
    });
}

#[test]
fn nothing_promised_beyond_what_is_there() {
    at_bench(|bench| {
        books(bench);
        let promise = |quantity: i64| {
            format!(
                "INSERT INTO reservations (cast_id, pack_id, purpose, batch_no, quantity_micro, state, created_at) \
                 VALUES (1, 1, 'sundry', 1, {quantity}, 'active', '2026-03-04 10:00:00')"
            )
        };
        check(bench, &promise(4_000_001), "packs_reserved_at_most_on_hand");
        check(bench, &promise(0), "reservations_quantity");
        bench.run(|tx| raw(tx.conn, &promise(4_000_000)));
        bench.run(|tx| {
            raw(
                tx.conn,
                "UPDATE reservations SET state = 'released', resolved_at = created_at",
            )
        });
        let lot = bench.lot(1);
        assert_eq!(lot.reserved.micro(), 0);
        assert_eq!(lot.available, lot.on_hand);
    });
}
