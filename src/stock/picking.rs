//! Picking: which packs serve a cast's needs on its day.
//!
//! The order of preference is: the grant's own or common stock; base and curing agent of a batch from one kit lot; one
//! pack able to hold the whole need; already opened; earliest effective expiry; earliest received; lot code; pack number.
//! Invariants: never more than is free, never a pack that is barred on the day, only whole pieces from a pack (a strip of
//! tape is never made of two rolls); equal facts give equal picks. Every pick says why; every pack passed over says why.
//! Deliberately absent: what a cast needs (see `casting`), and the writing of reservations.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::needs::Need;
use super::shelf::{PackFacts, Unusable, give_back};
use super::why::{self, Preference};
use crate::base::Quantity;

/// The circumstances that decide which packs may be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PickRules {
    /// The day of the cast.
    pub day: NaiveDate,
    /// The grants the cast is charged to.
    pub grants: Vec<i64>,
    /// Whether base and curing agent may come from different kit lots.
    pub allow_mixed_kits: bool,
    /// Whether another grant's stock may be used.
    pub allow_cross_charge: bool,
}

/// A quantity of a pack chosen for a need.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pick {
    /// The need served, as an index into the needs given.
    pub need: usize,
    /// The pack, as an index into the shelf given.
    pub pack: usize,
    /// How much.
    pub quantity: Quantity,
    /// Why this pack, in words.
    pub why: String,
}

/// A material of which there is not enough.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shortfall {
    /// The material.
    pub material_id: i64,
    /// What all needs together ask of it.
    pub needed: Quantity,
    /// What of it is free on the day, under the rules.
    pub available: Quantity,
    /// What would help besides buying, in words.
    pub hint: Option<String>,
}

/// What picking decided.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PickList {
    /// What to promise.
    pub picks: Vec<Pick>,
    /// What is missing.
    pub shortfalls: Vec<Shortfall>,
    /// Needs (by index) that could not be served in full; nothing is picked for them.
    pub unserved: BTreeSet<usize>,
    /// Whether base and curing agent of a batch come from different kit lots.
    pub mixed_kits: bool,
    /// Packs passed over, as indices into the shelf, with the reason.
    pub passed_over: Vec<(usize, String)>,
}

/// Chooses packs for `needs` from `shelf`, whose `reserved` it raises by what it picks.
///
/// A need is served in full or not at all, so that a cast booked short holds nothing that is of no use alone.
pub fn pick(shelf: &mut [PackFacts], needs: &[Need], rules: &PickRules) -> PickList {
    let mut picker = Picker {
        shelf,
        needs,
        rules,
        list: PickList::default(),
        hints: BTreeMap::new(),
    };
    let mut done = BTreeSet::new();
    for (index, need) in needs.iter().enumerate() {
        if done.contains(&index) {
            continue;
        }
        let partner = need.purpose.partner().and_then(|purpose| {
            needs
                .iter()
                .position(|other| other.purpose == purpose && other.batch_no == need.batch_no)
        });
        match partner {
            Some(partner) => {
                done.insert(partner);
                picker.pick_pair(index, partner);
            }
            None => picker.pick_single(index),
        }
    }
    picker.finish()
}

struct Picker<'a> {
    shelf: &'a mut [PackFacts],
    needs: &'a [Need],
    rules: &'a PickRules,
    list: PickList,
    hints: BTreeMap<i64, String>,
}

impl Picker<'_> {
    fn own(&self, pack: &PackFacts) -> bool {
        pack.funded_by_id
            .is_none_or(|grant| self.rules.grants.contains(&grant))
    }

    fn excluded(&self, pack: &PackFacts) -> Option<Unusable> {
        pack.unusable(self.rules.day).or_else(|| {
            (!self.rules.allow_cross_charge && !self.own(pack)).then_some(Unusable::OtherGrant)
        })
    }

    fn preference(&self, pack: &PackFacts, need: &Need) -> Preference {
        Preference {
            foreign: !self.own(pack),
            part: whole_pieces(pack.free(), need.piece) < need.quantity,
            sealed: pack.opened_on.is_none(),
            keeps_until: pack.effective_expiry().unwrap_or(NaiveDate::MAX),
            received_on: pack.received_on,
            label: (pack.lot_code.clone(), pack.no, pack.pack_id),
        }
    }

    /// The packs that may serve a need, the preferred first.
    fn candidates(&self, index: usize, admit: &dyn Fn(&PackFacts) -> bool) -> Vec<usize> {
        let need = &self.needs[index];
        let fits = |pack: &PackFacts| {
            pack.material_id == need.material_id && self.excluded(pack).is_none() && admit(pack)
        };
        let mut packs: Vec<usize> = (0..self.shelf.len())
            .filter(|i| fits(&self.shelf[*i]))
            .collect();
        packs.sort_by_cached_key(|i| self.preference(&self.shelf[*i], need));
        packs
    }

    /// What to take from each candidate to serve the need in full; none when they do not hold enough.
    fn portions(
        &self,
        index: usize,
        admit: &dyn Fn(&PackFacts) -> bool,
    ) -> Option<Vec<(usize, Quantity)>> {
        let need = &self.needs[index];
        let mut left = need.quantity.micro();
        let mut portions = Vec::new();
        for pack in self.candidates(index, admit) {
            if left == 0 {
                break;
            }
            let portion = whole_pieces(self.shelf[pack].free(), need.piece)
                .micro()
                .min(left);
            if portion > 0 {
                portions.push((pack, Quantity::from_micro(portion)));
                left -= portion;
            }
        }
        (left == 0).then_some(portions)
    }

    fn take(&mut self, index: usize, portions: Vec<(usize, Quantity)>, note: &str) {
        let whole = portions.len() == 1;
        for (pack, quantity) in portions {
            let own = self.own(&self.shelf[pack]);
            let why = why::picked(&self.shelf[pack], self.rules.day, own, whole, note);
            let reserved = &mut self.shelf[pack].reserved;
            *reserved = Quantity::from_micro(reserved.micro().saturating_add(quantity.micro()));
            self.list.picks.push(Pick {
                need: index,
                pack,
                quantity,
                why,
            });
        }
    }

    fn pick_single(&mut self, index: usize) {
        match self.portions(index, &|_| true) {
            Some(portions) => self.take(index, portions, ""),
            None => {
                self.list.unserved.insert(index);
            }
        }
    }

    /// Base and curing agent of one batch: from one kit lot, else from any if that is allowed.
    fn pick_pair(&mut self, one: usize, other: usize) {
        let mut kit_lots: Vec<String> = Vec::new();
        for pack in self.candidates(one, &|pack| pack.kit_lot.is_some()) {
            if let Some(kit_lot) = self.shelf[pack]
                .kit_lot
                .clone()
                .filter(|kit_lot| !kit_lots.contains(kit_lot))
            {
                kit_lots.push(kit_lot);
            }
        }
        // The order of packs already is the order of preference, but a kit lot must be judged by what it holds together.
        let of = |kit_lot: &str| {
            let kit_lot = kit_lot.to_owned();
            move |pack: &PackFacts| pack.kit_lot.as_deref() == Some(kit_lot.as_str())
        };
        let matched = kit_lots.into_iter().find_map(|kit_lot| {
            let admit = of(&kit_lot);
            Some((
                kit_lot,
                self.portions(one, &admit)?,
                self.portions(other, &admit)?,
            ))
        });
        if let Some((kit_lot, first, second)) = matched {
            let note = format!("kit lot {kit_lot} for both parts");
            self.take(one, first, &note);
            self.take(other, second, &note);
            return;
        }
        let separate = (
            self.portions(one, &|_| true),
            self.portions(other, &|_| true),
        );
        match separate {
            (Some(first), Some(second)) if self.rules.allow_mixed_kits => {
                self.list.mixed_kits = true;
                self.take(one, first, "parts of different kit lots");
                self.take(other, second, "parts of different kit lots");
            }
            (first, second) => {
                if first.is_some() && second.is_some() {
                    let hint = "no single kit lot holds both parts of a batch; allow_mixed_kits would use parts of different kit lots";
                    self.hints
                        .insert(self.needs[one].material_id, hint.to_owned());
                    self.hints
                        .insert(self.needs[other].material_id, hint.to_owned());
                }
                self.list.unserved.extend([one, other]);
            }
        }
    }

    /// What of a material is free on the day, under the rules, counting what was picked in this run as free.
    fn available(&self, material_id: i64, piece: Quantity) -> i64 {
        (0..self.shelf.len())
            .filter(|i| self.shelf[*i].material_id == material_id)
            .filter(|i| self.shelf[*i].barred(self.rules.day).is_none())
            .filter(|i| self.rules.allow_cross_charge || self.own(&self.shelf[*i]))
            .map(|i| {
                whole_pieces(
                    Quantity::from_micro(self.shelf[i].free().micro() + self.picked_of(i)),
                    piece,
                )
                .micro()
            })
            .sum()
    }

    /// Why a pack that may be used was not: as it stood before this run, against the first pack picked of its material.
    fn passed_over(&self, index: usize) -> String {
        let pack = &self.shelf[index];
        let of_material = |pick: &&Pick| self.needs[pick.need].material_id == pack.material_id;
        let Some(pick) = self.list.picks.iter().find(of_material) else {
            return "there is not enough of it in all".to_owned();
        };
        let need = &self.needs[pick.need];
        if whole_pieces(pack.free(), need.piece).micro() == 0 {
            return format!("holds no whole piece of {}", need.piece);
        }
        let mut chosen = self.shelf[pick.pack].clone();
        let back = Quantity::from_micro(self.picked_of(pick.pack));
        let pack_id = chosen.pack_id;
        give_back(std::slice::from_mut(&mut chosen), [(pack_id, back)]);
        let (this, that) = (self.preference(pack, need), self.preference(&chosen, need));
        let matched = need.purpose.partner().is_some() && !self.list.mixed_kits;
        if matched && this < that && pack.kit_lot != chosen.kit_lot {
            return why::unmatched(pack);
        }
        why::passed_over(&this, &that)
    }

    /// What was picked of a pack in this run.
    fn picked_of(&self, pack: usize) -> i64 {
        let of_pack = self.list.picks.iter().filter(|pick| pick.pack == pack);
        of_pack.map(|pick| pick.quantity.micro()).sum()
    }

    fn finish(mut self) -> PickList {
        let mut short: BTreeMap<i64, Quantity> = BTreeMap::new();
        for index in &self.list.unserved {
            let need = &self.needs[*index];
            short.entry(need.material_id).or_insert(need.piece);
        }
        for (material_id, piece) in short {
            let needed: i64 = self
                .needs
                .iter()
                .filter(|n| n.material_id == material_id)
                .map(|n| n.quantity.micro())
                .sum();
            let available = self.available(material_id, piece);
            let hint = self.hints.get(&material_id).cloned();
            // The other part of a kit is not short itself when there is enough of it.
            if available >= needed && hint.is_none() {
                continue;
            }
            self.list.shortfalls.push(Shortfall {
                material_id,
                needed: Quantity::from_micro(needed),
                available: Quantity::from_micro(available),
                hint,
            });
        }
        let used: BTreeSet<usize> = self.list.picks.iter().map(|pick| pick.pack).collect();
        let wanted: BTreeSet<i64> = self.needs.iter().map(|need| need.material_id).collect();
        for index in 0..self.shelf.len() {
            let pack = &self.shelf[index];
            if used.contains(&index) || !wanted.contains(&pack.material_id) {
                continue;
            }
            let why = match self.excluded(pack) {
                Some(why) => why.to_string(),
                None => self.passed_over(index),
            };
            self.list.passed_over.push((index, why));
        }
        self.list
    }
}

/// As much of `free` as makes whole pieces.
fn whole_pieces(free: Quantity, piece: Quantity) -> Quantity {
    let piece = piece.micro().max(1);
    Quantity::from_micro(free.micro() / piece * piece)
}

#[cfg(test)]
mod tests;
