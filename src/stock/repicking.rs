//! Re-picking: what becomes of booked casts when the stock they count on changes.
//!
//! One pure function, run by every operation that lowers or raises availability, in that operation's transaction.
//! Invariants: a promise that still holds is left alone; casts that lack something are served by their day, then by when
//! they were booked; what cannot be served marks the cast short. Deliberately absent: the change itself (the caller
//! applies it to the shelf first, and to the books after the releases).

use std::collections::BTreeSet;

use super::needs::{Need, Purpose};
use super::picking::{PickRules, pick};
use super::shelf::PackFacts;
use crate::base::Quantity;

/// A promise that a booked cast holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Held {
    /// The reservation.
    pub reservation_id: i64,
    /// The pack.
    pub pack_id: i64,
    /// What for.
    pub purpose: Purpose,
    /// The batch.
    pub batch_no: i32,
    /// How much.
    pub quantity: Quantity,
}

/// A booked cast as re-picking sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BookedCast {
    /// The cast; ids grow in the order of booking.
    pub cast_id: i64,
    /// Whether it is marked short now.
    pub short: bool,
    /// Its day, its grants and its leaves.
    pub rules: PickRules,
    /// What it needs of the materials at hand.
    pub needs: Vec<Need>,
    /// What it holds of them.
    pub held: Vec<Held>,
}

/// A promise to be made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Promise {
    /// The cast.
    pub cast_id: i64,
    /// The pack.
    pub pack_id: i64,
    /// What for.
    pub purpose: Purpose,
    /// The batch.
    pub batch_no: i32,
    /// How much.
    pub quantity: Quantity,
}

/// What re-picking decided.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Repicked {
    /// Reservations to release, before the change is booked.
    pub release: Vec<i64>,
    /// Promises to make, after it.
    pub promises: Vec<Promise>,
    /// Casts that lack something of the materials at hand, in the order in which they were tried.
    pub lacking: Vec<i64>,
}

/// Decides which promises fall and which are made.
///
/// `shelf` holds every pack of the materials at hand as it will be after the change, with the promises of all booked
/// casts counted in `reserved`; `casts` every booked cast that needs one of these materials.
#[must_use]
pub fn repick(shelf: &mut [PackFacts], casts: &[BookedCast]) -> Repicked {
    let mut queue: Vec<&BookedCast> = casts.iter().collect();
    queue.sort_by_key(|cast| (cast.rules.day, cast.cast_id));
    let mut fallen: BTreeSet<i64> = BTreeSet::new();
    drop_barred(shelf, &queue, &mut fallen);
    drop_overcommitted(shelf, &queue, &mut fallen);
    let mut outcome = Repicked::default();
    for cast in queue {
        serve(shelf, cast, &mut fallen, &mut outcome);
    }
    outcome.release = fallen.into_iter().collect();
    outcome
}

fn pack_index(shelf: &[PackFacts], pack_id: i64) -> Option<usize> {
    shelf.iter().position(|pack| pack.pack_id == pack_id)
}

fn give_back(shelf: &mut [PackFacts], held: &Held, fallen: &mut BTreeSet<i64>) {
    if let Some(index) =
        pack_index(shelf, held.pack_id).filter(|_| fallen.insert(held.reservation_id))
    {
        let reserved = &mut shelf[index].reserved;
        *reserved = Quantity::from_micro(reserved.micro().saturating_sub(held.quantity.micro()));
    }
}

/// Promises of packs that cannot serve the cast's day any more.
fn drop_barred(shelf: &mut [PackFacts], queue: &[&BookedCast], fallen: &mut BTreeSet<i64>) {
    for cast in queue {
        for held in &cast.held {
            let barred = pack_index(shelf, held.pack_id)
                .is_some_and(|index| shelf[index].barred(cast.rules.day).is_some());
            if barred {
                give_back(shelf, held, fallen);
            }
        }
    }
}

/// Promises beyond what can be had of a pack: the latest cast gives way first.
fn drop_overcommitted(shelf: &mut [PackFacts], queue: &[&BookedCast], fallen: &mut BTreeSet<i64>) {
    for cast in queue.iter().rev() {
        for held in cast.held.iter().rev() {
            let over = pack_index(shelf, held.pack_id)
                .is_some_and(|index| shelf[index].reserved > shelf[index].pourable());
            if over && !fallen.contains(&held.reservation_id) {
                give_back(shelf, held, fallen);
            }
        }
    }
}

/// Serves what a cast lacks. Base and curing agent of a batch stand and fall together, so that they stay one kit lot.
fn serve(
    shelf: &mut [PackFacts],
    cast: &BookedCast,
    fallen: &mut BTreeSet<i64>,
    outcome: &mut Repicked,
) {
    // Several extras have one purpose and one batch: only the material tells them apart.
    let material = |shelf: &[PackFacts], held: &Held| {
        pack_index(shelf, held.pack_id).map(|index| shelf[index].material_id)
    };
    let serves = |shelf: &[PackFacts], held: &Held, need: &Need| {
        held.purpose == need.purpose
            && held.batch_no == need.batch_no
            && material(shelf, held) == Some(need.material_id)
    };
    let kept = |need: &Need, fallen: &BTreeSet<i64>| -> i64 {
        let live = cast
            .held
            .iter()
            .filter(|held| !fallen.contains(&held.reservation_id));
        live.filter(|held| serves(shelf, held, need))
            .map(|held| held.quantity.micro())
            .sum()
    };
    let lacking: Vec<&Need> = cast
        .needs
        .iter()
        .filter(|need| kept(need, fallen) < need.quantity.micro())
        .collect();
    if lacking.is_empty() {
        return;
    }
    let touched = |need: &Need| {
        lacking.iter().any(|other| {
            other.batch_no == need.batch_no
                && (other.purpose == need.purpose && other.material_id == need.material_id
                    || need.purpose.partner() == Some(other.purpose))
        })
    };
    let needs: Vec<Need> = cast
        .needs
        .iter()
        .filter(|need| touched(need))
        .cloned()
        .collect();
    for held in &cast.held {
        if needs.iter().any(|need| serves(shelf, held, need)) {
            give_back(shelf, held, fallen);
        }
    }
    let list = pick(shelf, &needs, &cast.rules);
    outcome
        .promises
        .extend(list.picks.iter().map(|picked| Promise {
            cast_id: cast.cast_id,
            pack_id: shelf[picked.pack].pack_id,
            purpose: needs[picked.need].purpose,
            batch_no: needs[picked.need].batch_no,
            quantity: picked.quantity,
        }));
    if !list.unserved.is_empty() {
        outcome.lacking.push(cast.cast_id);
    }
}

#[cfg(test)]
mod tests {
    use super::super::shelf::tests::{day, pack};
    use super::*;

    fn cast(cast_id: i64, on: &str, quantity: i32, held: Vec<(i64, i64, i32)>) -> BookedCast {
        BookedCast {
            cast_id,
            short: false,
            rules: PickRules {
                day: day(on),
                grants: vec![],
                allow_mixed_kits: false,
                allow_cross_charge: false,
            },
            needs: vec![Need {
                material_id: 1,
                purpose: Purpose::Sundry,
                batch_no: 1,
                quantity: Quantity::from_int(quantity),
                piece: Quantity::from_micro(1),
            }],
            held: held
                .into_iter()
                .map(|(reservation_id, pack_id, quantity)| Held {
                    reservation_id,
                    pack_id,
                    purpose: Purpose::Sundry,
                    batch_no: 1,
                    quantity: Quantity::from_int(quantity),
                })
                .collect(),
        }
    }

    fn reserved(pack_id: i64, on_hand: i32, reserved: i32) -> PackFacts {
        PackFacts {
            reserved: Quantity::from_int(reserved),
            ..pack(pack_id, on_hand)
        }
    }

    #[track_caller]
    fn check(
        mut shelf: Vec<PackFacts>,
        casts: &[BookedCast],
        release: &[i64],
        promises: &str,
        lacking: &[i64],
    ) {
        let outcome = repick(&mut shelf, casts);
        let made: Vec<String> = outcome
            .promises
            .iter()
            .map(|p| format!("{}<-{}:{}", p.cast_id, p.pack_id, p.quantity))
            .collect();
        assert_eq!(
            (
                outcome.release.as_slice(),
                made.join(" ").as_str(),
                outcome.lacking.as_slice()
            ),
            (release, promises, lacking)
        );
        assert!(shelf.iter().all(|p| p.reserved <= p.on_hand));
    }

    #[test]
    fn what_becomes_of_promises() {
        // Nothing changed: nothing moves.
        check(
            vec![reserved(1, 10, 4)],
            &[cast(1, "2026-02-01", 4, vec![(11, 1, 4)])],
            &[],
            "",
            &[],
        );
        // The pack was counted down to 3: the later cast gives way and finds another pack.
        let both = [
            cast(1, "2026-02-01", 3, vec![(11, 1, 3)]),
            cast(2, "2026-02-05", 3, vec![(12, 1, 3)]),
        ];
        check(
            vec![reserved(1, 3, 6), pack(2, 5)],
            &both,
            &[12],
            "2<-2:3",
            &[],
        );
        // … or does not.
        check(vec![reserved(1, 3, 6), pack(2, 2)], &both, &[12], "", &[2]);
        // The pack is held: both look for another, the earlier first.
        let held = PackFacts {
            held_reason: Some("cloudy".into()),
            ..reserved(1, 9, 6)
        };
        check(vec![held, pack(2, 4)], &both, &[11, 12], "1<-2:3", &[2]);
        // A receipt serves a cast that was short.
        check(
            vec![pack(1, 9)],
            &[cast(1, "2026-02-01", 4, vec![])],
            &[],
            "1<-1:4",
            &[],
        );
    }
}
