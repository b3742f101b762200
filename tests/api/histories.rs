//! Any history keeps the books whole: random receipts, bookings, changes of them and of who is charged, pours, demoulds, undos, cancellations,
//! counts, losses, price corrections, holds, reversals, release coats and looks at them, in any order. After every history all seven invariants
//! are proved from the books, and the reports are held against them.

use chrono::{Days, NaiveDate};
use heeltap::base::{Error, Money, Quantity};
use heeltap::casting::life::book::{Booking, cast_book};
use heeltap::casting::life::demold::cast_demold;
use heeltap::casting::life::inspect::treatment_inspect;
use heeltap::casting::life::pour::cast_pour;
use heeltap::casting::life::recharge::cast_recharge;
use heeltap::casting::life::reschedule::cast_reschedule;
use heeltap::casting::life::treat::{treatment_apply, treatment_undo};
use heeltap::casting::life::undo::{UndoIn, cast_cancel, cast_undo};
use heeltap::costing::corrections::ops::price_correct;
use heeltap::db::Tx;
use heeltap::http::IfMatch;
use heeltap::stock::counting::{CountIn, pack_count};
use heeltap::stock::events::{HoldIn, OpenIn, pack_hold, pack_open, pack_release};
use heeltap::stock::losing::{Loss, LossIn, pack_lose};
use heeltap::stock::reversing::{ReverseIn, movement_reverse};
use heeltap::stock::verify::verify;
use proptest::prelude::*;
use serde_json::json;

use crate::support::TestApp;
use crate::support::lab::{receive, stocked};
use crate::support::reconcile::reconciled;

/// One step of a history. Packs, movements and casts are named by number; one that does not exist is refused, which is fine.
#[derive(Debug, Clone)]
enum Step {
    Receive {
        base: u16,
        kit: u8,
    },
    Book {
        trays: u8,
        day: u8,
        short: bool,
        mixed: bool,
        later: bool,
    },
    Pour {
        cast: u8,
        grams: u16,
        discard: bool,
        recount: bool,
        ago: u8,
    },
    Demold {
        cast: u8,
        good: u8,
    },
    Reschedule {
        cast: u8,
        trays: u8,
        day: u8,
        short: bool,
    },
    Charge {
        cast: u8,
        share: u8,
    },
    Cancel {
        cast: u8,
    },
    Undo {
        cast: u8,
    },
    Open {
        pack: u8,
    },
    Hold {
        pack: u8,
    },
    Release {
        pack: u8,
    },
    Count {
        pack: u8,
        found: u16,
        ago: u8,
    },
    Lose {
        pack: u8,
        some: u16,
        spill: bool,
        ago: u8,
    },
    Reverse {
        movement: u8,
    },
    Treat {
        copies: u8,
        vials: u8,
        cast: Option<u8>,
        recount: bool,
        ago: u8,
    },
    Inspect {
        treatment: u8,
        seen: bool,
    },
    Untreat {
        treatment: u8,
    },
    Correct {
        lot: u8,
        cents: i16,
    },
}

fn step() -> impl Strategy<Value = Step> {
    // Most is written down on the day, some only later.
    let ago = || prop_oneof![3 => Just(0_u8), 1 => 1_u8..12];
    prop_oneof![
        2 => (1_u16..400, 0_u8..4).prop_map(|(base, kit)| Step::Receive { base, kit }),
        4 => (1_u8..4, 0_u8..20, any::<bool>(), any::<bool>(), any::<bool>())
            .prop_map(|(trays, day, short, mixed, later)| Step::Book { trays, day, short, mixed, later }),
        4 => (1_u8..8, 20_u16..90, prop::bool::weighted(0.1), any::<bool>(), ago())
            .prop_map(|(cast, grams, discard, recount, ago)| Step::Pour { cast, grams, discard, recount, ago }),
        2 => (1_u8..8, 0_u8..6).prop_map(|(cast, good)| Step::Demold { cast, good }),
        2 => (1_u8..8, 1_u8..4, 0_u8..20, any::<bool>())
            .prop_map(|(cast, trays, day, short)| Step::Reschedule { cast, trays, day, short }),
        2 => (1_u8..8, 0_u8..101).prop_map(|(cast, share)| Step::Charge { cast, share }),
        1 => (1_u8..8).prop_map(|cast| Step::Cancel { cast }),
        2 => (1_u8..8).prop_map(|cast| Step::Undo { cast }),
        1 => (1_u8..14).prop_map(|pack| Step::Open { pack }),
        1 => (1_u8..14).prop_map(|pack| Step::Hold { pack }),
        1 => (1_u8..14).prop_map(|pack| Step::Release { pack }),
        1 => (1_u8..14, -900_i16..900).prop_map(|(lot, cents)| Step::Correct { lot, cents }),
        2 => (1_u8..14, 0_u16..300, ago()).prop_map(|(pack, found, ago)| Step::Count { pack, found, ago }),
        2 => (1_u8..14, 1_u16..200, any::<bool>(), ago())
            .prop_map(|(pack, some, spill, ago)| Step::Lose { pack, some, spill, ago }),
        1 => (1_u8..60).prop_map(|movement| Step::Reverse { movement }),
        2 => (1_u8..4, 1_u8..3, prop::option::weighted(0.3, 1_u8..8), any::<bool>(), ago())
            .prop_map(|(copies, vials, cast, recount, ago)| Step::Treat { copies, vials, cast, recount, ago }),
        1 => (1_u8..6, any::<bool>()).prop_map(|(treatment, seen)| Step::Inspect { treatment, seen }),
        1 => (1_u8..6).prop_map(|treatment| Step::Untreat { treatment }),
    ]
}

fn code(cast: u8) -> String {
    format!("C-{cast:05}")
}

/// So many days before the day on which it is written down.
fn day(ago: u8) -> NaiveDate {
    let today: NaiveDate = "2026-03-02".parse().expect("a day");
    today - Days::new(u64::from(ago))
}

fn quantity(units: u16) -> Quantity {
    Quantity::from_int(i32::from(units))
}

fn book(tx: &mut Tx<'_>, step: &Step) -> Result<(), Error> {
    let Step::Book {
        trays,
        day,
        short,
        mixed,
        later,
    } = step
    else {
        return Ok(());
    };
    let request = json!({"recipe": "chip", "containers": trays, "cast_on": format!("2026-03-{:02}", 2 + day), "allow_short": short,
        "allow_mixed_kits": mixed, "take_from_later": later, "charges": [{"grant": "grant-a", "share": "33.333333"},
        {"grant": "grant-b", "share": "66.666667"}]});
    let request = serde_json::from_value(request).map_err(Error::internal)?;
    match cast_book(tx, &request)? {
        Booking::Booked(_) => Ok(()),
        Booking::Refused(error) => Err(error),
    }
}

fn pour(tx: &mut Tx<'_>, step: &Step) -> Result<(), Error> {
    let Step::Pour {
        cast,
        grams,
        discard,
        recount,
        ago,
    } = step
    else {
        return Ok(());
    };
    let mut batches = vec![
        json!({"base_g": grams.to_string(), "curing_agent_g": (grams / 10).to_string(), "residue_g": "2.5"}),
    ];
    if *discard {
        batches.push(json!({"base_g": "20", "curing_agent_g": "2", "discarded": "lumps"}));
    }
    let input = json!({"poured_on": day(*ago), "batches": batches, "recount": recount});
    cast_pour(
        tx,
        &code(*cast),
        &serde_json::from_value(input).map_err(Error::internal)?,
    )
    .map(drop)
}

fn reschedule(tx: &mut Tx<'_>, step: &Step) -> Result<(), Error> {
    let Step::Reschedule {
        cast,
        trays,
        day,
        short,
    } = step
    else {
        return Ok(());
    };
    let patch = json!({"containers": trays, "cast_on": format!("2026-03-{:02}", 2 + day), "allow_short": short});
    let patch = serde_json::from_value(patch).map_err(Error::internal)?;
    cast_reschedule(tx, &code(*cast), &patch, &IfMatch::any()).map(drop)
}

/// So many per cent for one grant and the rest for the other; none at all for 0.
fn charge(tx: &mut Tx<'_>, cast: u8, share: u8) -> Result<(), Error> {
    let charges = match share {
        0 => json!([]),
        100 => json!([{"grant": "grant-b", "share": "100"}]),
        some => json!([{"grant": "grant-a", "share": some.to_string()},
            {"grant": "grant-b", "share": (100 - some).to_string()}]),
    };
    let body =
        json!({"charges": charges, "reason": "any", "allow_cross_charge": share.is_multiple_of(2)});
    let input = serde_json::from_value(body).map_err(Error::internal)?;
    cast_recharge(tx, &code(cast), &input, &IfMatch::any()).map(drop)
}

fn treat(tx: &mut Tx<'_>, step: &Step) -> Result<(), Error> {
    let Step::Treat {
        copies,
        vials,
        cast,
        recount,
        ago,
    } = step
    else {
        return Ok(());
    };
    let copies = match copies {
        1 => vec![1],
        2 => vec![2],
        _ => vec![1, 2],
    };
    let input = json!({"treated_on": day(*ago), "release_agent": "vial", "vials": vials, "recount": recount,
        "cast": cast.map(code), "molds": [{"mold": "mold", "copies": copies}]});
    treatment_apply(tx, &serde_json::from_value(input).map_err(Error::internal)?).map(drop)
}

fn act(tx: &mut Tx<'_>, step: &Step) -> Result<(), Error> {
    let reason = || "test".to_owned();
    match step {
        Step::Receive { .. } => Ok(()),
        Step::Book { .. } => book(tx, step),
        Step::Pour { .. } => pour(tx, step),
        Step::Demold { cast, good } => {
            let input = json!({"demolded_on": "2026-03-02", "good": good});
            cast_demold(
                tx,
                &code(*cast),
                &serde_json::from_value(input).map_err(Error::internal)?,
            )
            .map(drop)
        }
        Step::Reschedule { .. } => reschedule(tx, step),
        Step::Charge { cast, share } => charge(tx, *cast, *share),
        Step::Cancel { cast } => cast_cancel(tx, &code(*cast)).map(drop),
        Step::Undo { cast } => cast_undo(tx, &code(*cast), &UndoIn::default()).map(drop),
        Step::Open { pack } => pack_open(tx, i64::from(*pack), &OpenIn::default()).map(drop),
        Step::Hold { pack } => {
            pack_hold(tx, i64::from(*pack), &HoldIn { reason: reason() }).map(drop)
        }
        Step::Release { pack } => pack_release(tx, i64::from(*pack)).map(drop),
        Step::Count { pack, found, ago } => {
            let input = CountIn {
                on_hand: Some(quantity(*found)),
                counted_on: Some(day(*ago)),
                ..CountIn::default()
            };
            pack_count(tx, i64::from(*pack), &input).map(drop)
        }
        Step::Lose {
            pack,
            some,
            spill,
            ago,
        } => {
            let kind = if *spill { Loss::Spill } else { Loss::WriteOff };
            let input = LossIn {
                quantity: Some(quantity(*some)),
                reason: reason(),
                on: Some(day(*ago)),
            };
            pack_lose(tx, i64::from(*pack), kind, &input).map(drop)
        }
        Step::Treat { .. } => treat(tx, step),
        Step::Inspect { treatment, seen } => {
            let input = json!({"inspected_on": "2026-03-02", "seen": seen});
            let input = serde_json::from_value(input).map_err(Error::internal)?;
            treatment_inspect(tx, i64::from(*treatment), &input).map(drop)
        }
        Step::Untreat { treatment } => {
            treatment_undo(tx, i64::from(*treatment), &UndoIn::default()).map(drop)
        }
        Step::Correct { lot, cents } => {
            let amount = Money::from_micro(i64::from(*cents) * 10_001);
            let input = json!({"lot": lot, "amount": amount, "reason": "corrected"});
            let input = serde_json::from_value(input).map_err(Error::internal)?;
            price_correct(tx, &input).map(drop)
        }
        Step::Reverse { movement } => {
            movement_reverse(tx, i64::from(*movement), &ReverseIn { reason: reason() }).map(drop)
        }
    }
}

/// Plays a history; a step may be refused, but never fail inside.
fn play(history: &[Step]) -> Result<(), TestCaseError> {
    let app = TestApp::start();
    stocked(&app);
    for (index, step) in history.iter().enumerate() {
        if let Step::Receive { base, kit } = step {
            let kit_lot = format!("K{kit}");
            receive(
                &app,
                "base",
                &format!("B-{index}"),
                Some(&kit_lot),
                &[&base.to_string()],
                "31.4159",
            );
            receive(
                &app,
                "agent",
                &format!("A-{index}"),
                Some(&kit_lot),
                &[&(base / 8 + 1).to_string()],
                "2.71828",
            );
            continue;
        }
        if let Err(error) = app.service.as_actor("history", |tx| act(tx, step)) {
            let refused = matches!(
                error,
                Error::Refused(_) | Error::Invalid(_) | Error::NotFound { .. }
            );
            prop_assert!(refused, "step {}: {:?}: {}", index, step, error);
        }
        let found = app
            .service
            .db()
            .read(verify)
            .expect("the books must be read");
        prop_assert!(
            found.ok,
            "after step {}: {:?}: {:?}",
            index,
            step,
            found.breaches
        );
    }
    reconciled(&app);
    Ok(())
}

/// Histories per run: each is a database of its own.
fn cases() -> u32 {
    if std::env::var("HEELTAP_TEST_DATABASE").as_deref() == Ok("postgres") {
        12
    } else {
        32
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), failure_persistence: None, max_shrink_iters: 200, ..ProptestConfig::default() })]

    #[test]
    fn any_history_keeps_the_books_whole(history in prop::collection::vec(step(), 1..40)) {
        play(&history)?;
    }
}
