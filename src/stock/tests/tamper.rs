//! Whoever gets behind the triggers is found out.

use super::events::{lost, spill};
use super::{Bench, at_bench};
use crate::db::instant;
use crate::stock::heads::Heads;
use crate::stock::ledger::chain_hash;
use crate::stock::store::{self, fixture};
use crate::stock::verify::{heads, verify_against};

/// A lot of one pack, 10 at 10, of which 1, 2 and 3 were spilled: movements 1 to 4.
fn books(bench: &Bench) -> i64 {
    let lot = bench.receive(bench.base("base", "0"), &["10"], "10");
    let pack = bench.pack(lot, 1);
    for quantity in ["1", "2", "3"] {
        bench.run(spill(pack, lost(quantity)));
    }
    bench.sound();
    bench.run(|tx| fixture::unguarded(tx.conn));
    bench.sound();
    lot
}

/// After the statements, verification names what is expected: the invariants, and words of the first breach.
#[track_caller]
fn check(sql: &str, invariants: &[u8], says: &str) {
    at_bench(|bench| {
        books(bench);
        bench.run(|tx| fixture::raw(tx.conn, sql));
        let found = bench.verified();
        let broken: Vec<u8> = found.breaches.iter().map(|b| b.invariant).collect();
        assert_eq!(broken, invariants, "{sql}: {:#?}", found.breaches);
        let first = &found.breaches[0];
        let words = format!("{}: {}", first.subject, first.detail);
        assert!(words.contains(says), "{sql}: {words}");
        assert!(!found.ok);
    });
}

#[test]
fn an_altered_row_is_named() {
    let altered = "lot 1: movement 3 (number 3) was altered";
    check(
        "UPDATE movements SET reason = 'x' WHERE id = 3",
        &[6],
        altered,
    );
    check(
        "UPDATE movements SET actor = 'x' WHERE id = 3",
        &[6],
        altered,
    );
    check(
        "UPDATE movements SET purpose = 'x' WHERE id = 3",
        &[6],
        altered,
    );
    check(
        "UPDATE movements SET recorded_at = '2026-03-04 10:00:01' WHERE id = 3",
        &[6],
        altered,
    );
    check(
        "UPDATE movements SET hash = 'x' WHERE id = 3",
        &[6],
        altered,
    );
    // The day counts for demand too.
    check(
        "UPDATE movements SET effective_on = '2026-03-03' WHERE id = 3",
        &[6, 7, 7],
        altered,
    );
    // Two quantities exchanged: every sum is right, the chain is not.
    check(
        "UPDATE movements SET quantity_micro = -3000000, value_micro = -3000000 WHERE id = 3; \
         UPDATE movements SET quantity_micro = -2000000, value_micro = -2000000 WHERE id = 4",
        &[6],
        altered,
    );
    // The first broken entry is named, not the last.
    check(
        "UPDATE movements SET reason = 'x' WHERE id IN (2, 4)",
        &[6],
        "movement 2 (number 2) was altered",
    );
}

#[test]
fn a_dropped_row_is_named() {
    check(
        "DELETE FROM movements WHERE id = 3",
        &[6, 2, 2, 2, 7],
        "movement 4 has number 4 where 3 should follow",
    );
    check(
        "DELETE FROM movements WHERE id = 4",
        &[6, 2, 2, 2, 7],
        "the head of the chain is number 4, but the movements end at 3",
    );
}

#[test]
fn an_altered_balance_is_named() {
    check(
        "UPDATE packs SET on_hand_micro = 5000000",
        &[2],
        "on hand of pack 1",
    );
    check(
        "UPDATE lots SET on_hand_micro = 5000000",
        &[2],
        "on hand is 5000000",
    );
    check(
        "UPDATE lots SET remaining_value_micro = 5000000",
        &[2],
        "remaining value is 5000000",
    );
    check(
        "UPDATE lots SET landed_cost_micro = 5000000",
        &[4],
        "landed cost is 5000000",
    );
    check(
        "UPDATE lots SET head_hash = 'x'",
        &[6],
        "the head of the chain",
    );
    check(
        "UPDATE daily_demand SET quantity_micro = 1",
        &[7],
        "demand on 2026-03-04 is kept as 1",
    );
    check(
        "DELETE FROM daily_demand",
        &[7],
        "demand on 2026-03-04 is kept as 0",
    );
}

/// Rewrites the third movement of a lot, and every hash after it.
fn forge(bench: &Bench, lot: i64) {
    bench.run(|tx| {
        let mut previous = String::new();
        for row in store::movements_of_lot(tx.conn, lot, 0, i64::MAX)? {
            let mut posting = row.posting()?;
            if row.seq == 3 {
                posting.reason = "forged".into();
            }
            previous = chain_hash(&previous, row.seq, &posting, instant(row.recorded_at));
            let sql = format!(
                "UPDATE movements SET reason = '{}', hash = '{previous}' WHERE id = {}",
                posting.reason, row.id
            );
            fixture::raw(tx.conn, &sql)?;
        }
        fixture::raw(
            tx.conn,
            &format!("UPDATE lots SET head_hash = '{previous}'"),
        )
    });
}

/// What is broken when the books are held against heads that were kept: subject and words.
fn told_by(bench: &Bench, kept: &Heads) -> Vec<String> {
    let found = bench.db.read(|conn| verify_against(conn, kept));
    let found = found.expect("the books can be read");
    assert_eq!(found.ok, found.breaches.is_empty());
    assert!(found.breaches.iter().all(|breach| breach.invariant == 6));
    found
        .breaches
        .into_iter()
        .map(|breach| format!("{}: {}", breach.subject, breach.detail))
        .collect()
}

/// A chain that was forged as a whole is sound in itself: what gives it away is the head that was kept elsewhere.
#[test]
fn a_forged_chain_is_told_by_the_head_that_was_kept() {
    at_bench(|bench| {
        let lot = books(bench);
        let kept = bench.db.read(heads).expect("the heads");
        let expected = format!(
            "lot {lot}: movement number 4, which was its head, has another hash: its history was rewritten after the heads were kept"
        );
        assert_eq!(told_by(bench, &kept), [""; 0]);
        forge(bench, lot);
        bench.sound();
        assert_eq!(told_by(bench, &kept), [expected.as_str()]);
        // Growing on does not hide it.
        bench.run(spill(bench.pack(lot, 1), lost("1")));
        bench.sound();
        assert_eq!(told_by(bench, &kept), [expected.as_str()]);
    });
}

#[test]
fn honest_growth_agrees_with_every_head_kept_before() {
    at_bench(|bench| {
        let lot = books(bench);
        let early = bench.db.read(heads).expect("the heads");
        bench.run(spill(bench.pack(lot, 1), lost("1")));
        let other = bench.receive(bench.base("other", "0"), &["5"], "5");
        let late = bench.db.read(heads).expect("the heads");
        bench.run(spill(bench.pack(other, 1), lost("1")));
        assert_eq!((early.lots().len(), late.lots().len()), (1, 2));
        assert_eq!((early.movements(), late.movements()), (4, 6));
        for kept in [&early, &late] {
            assert_eq!(told_by(bench, kept), [""; 0]);
        }
        // A lot that was dropped as a whole, with all that is kept of it, is missed by its head alone.
        bench.run(|tx| {
            fixture::raw(
                tx.conn,
                &format!("DELETE FROM movements WHERE lot_id = {other}; DELETE FROM packs WHERE lot_id = {other}; DELETE FROM lots WHERE id = {other}; DELETE FROM daily_demand WHERE material_id NOT IN (SELECT material_id FROM lots)"),
            )
        });
        bench.sound();
        assert_eq!(told_by(bench, &early), [""; 0]);
        let expected = format!(
            "lot {other}: it is gone, but was L-1 of other with its head at number 1: its history was rewritten after the heads were kept"
        );
        assert_eq!(told_by(bench, &late), [expected]);
    });
}
