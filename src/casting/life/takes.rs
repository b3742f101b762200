//! From which packs a pour takes what was really used. Pure.
//!
//! First the pack that was named, else the packs promised; then what is free elsewhere, in the order of picking; and when
//! the books do not hold so much and the bench says so (`recount`), what is missing is counted into a pack first.

use std::collections::BTreeSet;

use crate::base::Quantity;
use crate::stock::needs::{Need, Purpose};
use crate::stock::picking::{PickRules, pick};
use crate::stock::repicking::Held;
use crate::stock::shelf::PackFacts;

/// Something that was used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// What and how much.
    pub need: Need,
    /// The pack it came from, when that was said.
    pub pack_id: Option<i64>,
}

/// A quantity to take from a pack.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Take {
    /// What for.
    pub purpose: Purpose,
    /// The batch.
    pub batch_no: i32,
    /// The pack.
    pub pack_id: i64,
    /// Its lot.
    pub lot_id: i64,
    /// How much.
    pub quantity: Quantity,
}

/// What is to be taken, what is counted in before, and what is missing.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Takes {
    /// In the order of use.
    pub takes: Vec<Take>,
    /// Packs into which the bench's truth is counted first: pack, lot, how much.
    pub found: Vec<(i64, i64, Quantity)>,
    /// Material, what was used, and what the books hold of it.
    pub missing: Vec<(i64, Quantity, Quantity)>,
    /// Packs that were counted since the day of the pour: they hold the same afterwards.
    pub evened_out: BTreeSet<i64>,
}

impl Takes {
    /// Lowers what packs hold by what is used up of them; what `comes_back` after its use stays, and so does what a later
    /// count evens out.
    pub(super) fn lower(&self, shelf: &mut [PackFacts], comes_back: impl Fn(Purpose) -> bool) {
        let lowers =
            |take: &&Take| !comes_back(take.purpose) && !self.evened_out.contains(&take.pack_id);
        for take in self.takes.iter().filter(lowers) {
            if let Some(pack) = shelf.iter_mut().find(|pack| pack.pack_id == take.pack_id) {
                let left = pack.on_hand.micro() - take.quantity.micro();
                pack.on_hand = Quantity::from_micro(left.max(0));
            }
        }
    }
}

/// Decides the takes. `shelf` stands as if this cast's own promises were given back; it is lowered by what is taken.
///
/// ```
/// use heeltap::base::Quantity;
/// use heeltap::casting::life::takes::{Wanted, decide};
/// use heeltap::stock::needs::{Need, Purpose};
/// use heeltap::stock::picking::PickRules;
/// let need = Need {
///     material_id: 1, purpose: Purpose::Base, batch_no: 1, quantity: Quantity::from_int(40), piece: Quantity::from_micro(1),
/// };
/// let rules = PickRules {
///     day: "2026-03-02".parse().unwrap(), grants: vec![], allow_mixed_kits: false, allow_cross_charge: false,
/// };
/// let wanted = [Wanted { need, pack_id: None }];
/// let takes = decide(&mut [], &wanted, &[], &rules, false);
/// assert_eq!(takes.missing, [(1, Quantity::from_int(40), Quantity::ZERO)]);
/// ```
pub fn decide(
    shelf: &mut [PackFacts],
    wanted: &[Wanted],
    held: &[Held],
    rules: &PickRules,
    recount: bool,
) -> Takes {
    let mut takes = Takes::default();
    for wanted in wanted {
        serve(shelf, wanted, held, rules, recount, &mut takes);
    }
    takes
}

fn serve(
    shelf: &mut [PackFacts],
    wanted: &Wanted,
    held: &[Held],
    rules: &PickRules,
    recount: bool,
    takes: &mut Takes,
) {
    let need = &wanted.need;
    let promised: Vec<i64> = match wanted.pack_id {
        Some(pack_id) => vec![pack_id],
        None => held
            .iter()
            .filter(|h| h.purpose == need.purpose && h.batch_no == need.batch_no)
            .map(|h| h.pack_id)
            .collect(),
    };
    let mut left = need.quantity.micro();
    for pack_id in &promised {
        let Some(pack) = shelf
            .iter_mut()
            .find(|pack| pack.pack_id == *pack_id && pack.material_id == need.material_id)
        else {
            continue;
        };
        // A named pack is what happened; a promised one gives no more than others have not been promised.
        let most = match wanted.pack_id {
            Some(_) => pack.on_hand.micro(),
            None => pack.on_hand.micro().saturating_sub(pack.reserved.micro()),
        };
        let part = most.clamp(0, left);
        take(pack, need, part, takes);
        left -= part;
    }
    if left > 0 && wanted.pack_id.is_none() {
        left = elsewhere(shelf, need, left, rules, takes);
    }
    if left == 0 {
        return;
    }
    let home = promised.first().and_then(|id| {
        shelf
            .iter()
            .position(|pack| pack.pack_id == *id && pack.material_id == need.material_id)
    });
    let home = home.or_else(|| {
        shelf
            .iter()
            .rposition(|pack| pack.material_id == need.material_id)
    });
    match home.filter(|_| recount) {
        Some(index) => {
            let pack = &mut shelf[index];
            takes
                .found
                .push((pack.pack_id, pack.lot_id, Quantity::from_micro(left)));
            pack.on_hand = Quantity::from_micro(pack.on_hand.micro() + left);
            take(pack, need, left, takes);
        }
        None => {
            let in_books = need.quantity.micro() - left;
            takes.missing.push((
                need.material_id,
                need.quantity,
                Quantity::from_micro(in_books),
            ));
        }
    }
}

/// Takes what is still needed from what is free, as picking would. Returns what is still left then.
fn elsewhere(
    shelf: &mut [PackFacts],
    need: &Need,
    left: i64,
    rules: &PickRules,
    takes: &mut Takes,
) -> i64 {
    let picked = |quantity: Quantity| {
        let rest = Need {
            quantity,
            ..need.clone()
        };
        pick(&mut shelf.to_vec(), std::slice::from_ref(&rest), rules)
    };
    let mut list = picked(Quantity::from_micro(left));
    // Picking serves a need in full or not at all; what was used is taken as far as it is there.
    let free = list.shortfalls.first().map(|short| short.available);
    if let Some(free) = free.filter(|free| *free > Quantity::ZERO) {
        list = picked(free);
    }
    let mut left = left;
    for found in list.picks {
        take(&mut shelf[found.pack], need, found.quantity.micro(), takes);
        left -= found.quantity.micro();
    }
    left
}

fn take(pack: &mut PackFacts, need: &Need, micro: i64, takes: &mut Takes) {
    if micro <= 0 {
        return;
    }
    let quantity = Quantity::from_micro(micro);
    pack.on_hand = Quantity::from_micro(pack.on_hand.micro() - micro);
    takes.takes.push(Take {
        purpose: need.purpose,
        batch_no: need.batch_no,
        pack_id: pack.pack_id,
        lot_id: pack.lot_id,
        quantity,
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pack(pack_id: i64, on_hand: i32, reserved: i32) -> PackFacts {
        PackFacts {
            pack_id,
            no: 1,
            lot_id: 10 * pack_id,
            lot_code: format!("L{pack_id}"),
            kit_lot: None,
            material_id: 1,
            funded_by_id: None,
            received_on: "2026-01-01".parse().unwrap(),
            expires_on: None,
            opened_on: None,
            open_life_days: None,
            held_reason: None,
            on_hand: Quantity::from_int(on_hand),
            reserved: Quantity::from_int(reserved),
            heel: Quantity::ZERO,
            lot_on_hand: Quantity::from_int(on_hand),
            lot_value: crate::base::Money::from_int(on_hand),
        }
    }

    #[track_caller]
    fn check(
        mut shelf: Vec<PackFacts>,
        used: i32,
        named: Option<i64>,
        recount: bool,
        expected: &str,
    ) {
        let need = Need {
            material_id: 1,
            purpose: Purpose::Base,
            batch_no: 1,
            quantity: Quantity::from_int(used),
            piece: Quantity::from_micro(1),
        };
        let held = [Held {
            reservation_id: 1,
            pack_id: 1,
            purpose: Purpose::Base,
            batch_no: 1,
            quantity: Quantity::from_int(10),
        }];
        let rules = PickRules {
            day: "2026-02-01".parse().unwrap(),
            grants: vec![],
            allow_mixed_kits: false,
            allow_cross_charge: false,
        };
        let found = decide(
            &mut shelf,
            &[Wanted {
                need,
                pack_id: named,
            }],
            &held,
            &rules,
            recount,
        );
        let mut words: Vec<String> = found
            .takes
            .iter()
            .map(|t| format!("{}:{}", t.pack_id, t.quantity))
            .collect();
        words.extend(
            found
                .found
                .iter()
                .map(|(pack, _, q)| format!("found {pack}:{q}")),
        );
        words.extend(
            found
                .missing
                .iter()
                .map(|(_, used, books)| format!("missing {books}/{used}")),
        );
        assert_eq!(words.join(" "), expected);
    }

    #[test]
    fn where_a_pour_takes_from() {
        check(vec![pack(1, 20, 0)], 9, None, false, "1:9");
        check(vec![pack(1, 20, 0)], 12, None, false, "1:12");
        // Others' promises are kept: the rest comes from another pack.
        check(
            vec![pack(1, 20, 10), pack(2, 5, 0)],
            12,
            None,
            false,
            "1:10 2:2",
        );
        check(vec![pack(1, 20, 10)], 12, None, false, "1:10 missing 10/12");
        check(vec![pack(1, 10, 0)], 12, None, true, "1:10 1:2 found 1:2");
        // What other packs hold is used before anything is counted in.
        check(
            vec![pack(1, 6, 0), pack(2, 3, 0)],
            12,
            None,
            true,
            "1:6 2:3 1:3 found 1:3",
        );
        // A named pack is what happened, promised or not.
        check(
            vec![pack(1, 20, 0), pack(2, 12, 12)],
            12,
            Some(2),
            false,
            "2:12",
        );
        check(
            vec![pack(1, 20, 0), pack(2, 5, 0)],
            12,
            Some(2),
            false,
            "2:5 missing 5/12",
        );
    }
}
