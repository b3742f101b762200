//! Several writers at one pack.

use std::sync::mpsc::channel;
use std::thread;
use std::time::Duration;

use super::events::{lost, spill};
use super::{Bench, at_bench, cast_book, day, need};
use crate::base::Error;
use crate::stock::settle::lock_reach;
use crate::stock::store::fixture::raw;

#[test]
fn two_people_take_from_one_pack_at_once() {
    at_bench(|bench| {
        let base = bench.base("base", "0");
        let lot = bench.receive(base, &["10"], "10");
        let pack = bench.pack(lot, 1);
        thread::scope(|scope| {
            for _ in 0..4 {
                scope.spawn(|| {
                    for _ in 0..5 {
                        match bench.try_do(spill(pack, lost("0.7"))) {
                            Ok(_) | Err(Error::Invalid(_)) => {}
                            Err(error) => panic!("{error}"),
                        }
                    }
                });
            }
        });
        // 14 times 0.7 go into 10; the rest were told that it was not there.
        assert_eq!(bench.lot(lot).on_hand.to_string(), "0.2");
        assert_eq!(bench.movements(lot).len(), 15);
        bench.sound();
    });
}

#[test]
fn one_of_two_gets_the_last() {
    at_bench(|bench| {
        let base = bench.base("base", "0");
        bench.receive(base, &["10"], "10");
        let booked: Vec<Option<i64>> = thread::scope(|scope| {
            let book = |code: &'static str| {
                scope.spawn(move || bench.book(code, "2026-03-10", &[need(base, "6")], false))
            };
            let both = [book("C1"), book("C2")];
            both.into_iter()
                .map(|one| one.join().expect("an answer"))
                .collect()
        });
        assert_eq!(booked.iter().flatten().count(), 1);
        bench.sound();
    });
}

/// While one waits for a material, a cast is booked that needs it and another besides: both must be locked when the wait
/// is over, or re-picking would touch what others are writing. Only where rows are locked one by one.
#[test]
fn what_was_booked_while_waiting_is_locked_too() {
    at_bench(|bench| {
        if bench.db.url().is_sqlite() {
            // One writer at a time: `lock_reach` has nothing to do, and nothing can be booked meanwhile.
            bench.run(|tx| lock_reach(tx, &[]));
            return;
        }
        // The lower id is the one found late: taken after the other, it would break the order.
        let (late, asked) = (bench.base("late", "0"), bench.base("asked", "0"));
        for material in [late, asked] {
            bench.receive(material, &["10"], "10");
        }
        let (told, waiting) = channel();
        thread::scope(|scope| {
            let booking = scope.spawn(|| {
                bench.run(|tx| {
                    let needs = [need(asked, "1"), need(late, "1")];
                    let cast = cast_book(tx, "C1", day("2026-03-10"), &needs, false)?;
                    told.send(()).expect("the other waits");
                    thread::sleep(Duration::from_millis(300));
                    Ok(cast)
                })
            });
            waiting.recv().expect("it was booked");
            bench.run(|tx| {
                lock_reach(tx, &[asked])?;
                for material in [late, asked] {
                    let taken = not_free(bench, material);
                    assert!(taken, "material {material} is not locked");
                }
                Ok(())
            });
            booking.join().expect("an answer");
        });
    });
}

/// Whether somebody else holds a material.
fn not_free(bench: &Bench, material: i64) -> bool {
    let sql = format!("SELECT id FROM materials WHERE id = {material} FOR NO KEY UPDATE NOWAIT");
    bench.try_do(|tx| raw(tx.conn, &sql)).is_err()
}
