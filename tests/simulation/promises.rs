//! The promises: for each kind of material, the service that was asked for, and less stock than the rule holds where bookings
//! tell what comes.

use heeltap::reorder::facts::ServiceMeasure::{Cycle, FillRate};

use crate::advised::{Advised, Promise};
use crate::demand::{Stream, stream};
use crate::figures::{Mean, TABLE_HEAD, line, mean, reached};
use crate::kinds::{COURSES, Kind, LUMPY, PERISHABLE, SMOOTH};
use crate::min_max::tuned;
use crate::replications;
use crate::shelf::{Outcome, replay};

const SEED: u64 = 20_310_106;

fn streams(kind: &Kind, replications: u64) -> Vec<Stream> {
    (0..replications)
        .map(|place| stream(kind, SEED, place))
        .collect()
}

fn advised(kind: &Kind, streams: &[Stream], promise: Promise) -> Vec<Outcome> {
    let each = streams.iter().map(|stream| {
        let mut lab = Advised::new(kind, stream, promise);
        replay(kind, stream, |shelf| lab.packs(shelf))
    });
    each.collect()
}

/// Holds the advice to its promise; how much more than the rule it keeps in stock, replication by replication.
#[track_caller]
fn check(kind: &Kind, promise: Promise, replications: u64) -> Mean {
    let streams = streams(kind, replications);
    let found = advised(kind, &streams, promise);
    let service = reached(&found, promise.measure);
    let same = tuned(kind, &streams, &found, promise.measure);
    let pairs = found.iter().zip(&same);
    let more = mean(pairs.map(|(advice, rule)| advice.mean_stock_g - rule.mean_stock_g));
    println!(
        "\n{}, {promise}, {replications} replications: stock against the rule {:+.1} +- {:.1} g\n{TABLE_HEAD}\n{}\n{}",
        kind.name,
        more.mean,
        more.error,
        line("advice", &found),
        line("min-max", &same),
    );
    assert!(
        service.mean >= promise.level - 3.0 * service.error,
        "{}: {promise}, but {:.4} +- {:.4} was reached",
        kind.name,
        service.mean,
        service.error
    );
    more
}

#[track_caller]
fn check_less(kind: &Kind) {
    let promise = Promise {
        measure: Cycle,
        level: 0.95,
    };
    let more = check(kind, promise, replications());
    let less = more.mean < -3.0 * more.error;
    assert!(
        less,
        "{}: {:.1} +- {:.1} g more",
        kind.name, more.mean, more.error
    );
}

#[test]
fn smooth_demand_is_met_with_less_stock() {
    check_less(&SMOOTH);
}

#[test]
fn courses_are_met_with_less_stock() {
    check_less(&COURSES);
}

#[test]
fn what_expires_is_kept_for_its_time_with_less_stock() {
    check_less(&PERISHABLE);
}

#[test]
fn lumpy_demand_is_met() {
    // Hardly anything is booked: the advice, which has to learn, holds more than the rule that was told.
    check(
        &LUMPY,
        Promise {
            measure: Cycle,
            level: 0.95,
        },
        replications(),
    );
}

#[test]
fn other_levels_are_reached_too() {
    let some = replications() / 8;
    for (kind, level) in [(&SMOOTH, 0.90), (&SMOOTH, 0.98), (&PERISHABLE, 0.98)] {
        check(
            kind,
            Promise {
                measure: Cycle,
                level,
            },
            some,
        );
    }
}

#[test]
fn fill_rates_are_reached_too() {
    let some = replications() / 8;
    for (kind, level) in [
        (&SMOOTH, 0.98),
        (&LUMPY, 0.95),
        (&COURSES, 0.98),
        (&PERISHABLE, 0.95),
    ] {
        check(
            kind,
            Promise {
                measure: FillRate,
                level,
            },
            some,
        );
    }
}

#[test]
fn a_replay_can_be_made_again() {
    let promise = Promise {
        measure: Cycle,
        level: 0.95,
    };
    for kind in [&SMOOTH, &LUMPY, &COURSES, &PERISHABLE] {
        let (once, again) = (streams(kind, 2), streams(kind, 2));
        assert_eq!(once, again);
        assert_ne!(once[0].uses, once[1].uses);
        assert_eq!(
            advised(kind, &once, promise),
            advised(kind, &again, promise)
        );
    }
}
