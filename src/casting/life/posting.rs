//! The postings of one pour: what was used leaves the stock, durables wear, coats and mould give up their shares.

use chrono::NaiveDate;

use super::coating::{Coating, coat_cast};
use super::pool_ops::mold_use;
use super::pour_input::{Poured, PouredBatch};
use super::standing::Standing;
use super::takes::{Take, Takes};
use crate::base::{Error, Money, Quantity};
use crate::casting::cost::{Component, Components};
use crate::casting::sums::release::ReleaseNeed;
use crate::casting::sums::split::split_mix;
use crate::catalogue::VesselBody;
use crate::db::Tx;
use crate::stock::ledger::MovementKind;
use crate::stock::needs::Purpose;
use crate::stock::post::{Occasion, Poster};
use crate::stock::promises::{pack_begin, pack_place, pack_used};

/// What a pour posts, and what it costs by component.
pub(super) struct Posting<'a, 'b> {
    pub(super) tx: &'a mut Tx<'b>,
    pub(super) cast: &'a Standing,
    pub(super) poster: Poster,
    pub(super) components: Components,
    pub(super) on: NaiveDate,
}

impl Posting<'_, '_> {
    fn occasion(&self, purpose: Purpose, batch_no: i32, reason: &str) -> Occasion {
        Occasion {
            effective_on: self.on,
            reason: reason.to_owned(),
            cast_id: Some(self.cast.id),
            batch_no: (batch_no > 0).then_some(batch_no),
            purpose: Some(purpose.as_str()),
        }
    }

    /// The bench had more than the books: it is counted in first, at no value.
    pub(super) fn count_in(&mut self, takes: &Takes) -> Result<(), Error> {
        for (pack_id, lot_id, quantity) in &takes.found {
            let occasion = Occasion {
                effective_on: self.on,
                reason: format!(
                    "more was used for cast {} than the books held",
                    self.cast.code
                ),
                cast_id: Some(self.cast.id),
                ..Occasion::default()
            };
            self.poster
                .count(self.tx, (*lot_id, *pack_id), *quantity, &occasion)?;
        }
        Ok(())
    }

    /// Takes a part of a batch from its packs: what was poured as consumption, what stayed in the cup as residue, the
    /// residue from the packs used last. Returns the value of each.
    fn part(
        &mut self,
        takes: &Takes,
        batch: &PouredBatch,
        purpose: Purpose,
        residue: Quantity,
    ) -> Result<(Money, Money), Error> {
        let of_part: Vec<Take> = takes
            .takes
            .iter()
            .filter(|t| t.purpose == purpose && t.batch_no == batch.no)
            .copied()
            .collect();
        let mut poured_left: i64 =
            of_part.iter().map(|t| t.quantity.micro()).sum::<i64>() - residue.micro();
        let (mut poured, mut left) = (Money::ZERO, Money::ZERO);
        let reason = batch
            .discarded
            .as_ref()
            .map(|why| format!("discarded: {why}"))
            .unwrap_or_default();
        for take in of_part {
            self.opened(&take)?;
            let consumed = take.quantity.micro().min(poured_left).max(0);
            poured_left -= consumed;
            let portions = [
                (MovementKind::Consumption, consumed),
                (MovementKind::Residue, take.quantity.micro() - consumed),
            ];
            for (kind, micro) in portions.into_iter().filter(|(_, micro)| *micro > 0) {
                let occasion = self.occasion(purpose, batch.no, &reason);
                let posted = self.poster.issue(
                    self.tx,
                    (take.lot_id, take.pack_id),
                    kind,
                    Quantity::from_micro(micro),
                    &occasion,
                )?;
                let sum = if kind == MovementKind::Consumption {
                    &mut poured
                } else {
                    &mut left
                };
                *sum = sum.checked_sub(posted.value)?;
            }
        }
        Ok((poured, left))
    }

    fn opened(&mut self, take: &Take) -> Result<(), Error> {
        pack_begin(self.tx, take.pack_id, self.on, "/poured_on")
    }

    pub(super) fn elastomer(&mut self, poured: &Poured, takes: &Takes) -> Result<(), Error> {
        let fill = &self.cast.plan.fill;
        let trim_g = fill.mass_g.to_f64() - fill.chip_g.to_f64();
        for batch in &poured.batches {
            let residue_base = Quantity::new(batch.residue_base_g);
            let residue_agent = Quantity::new(batch.residue_g.checked_sub(batch.residue_base_g)?);
            let base = self.part(takes, batch, Purpose::Base, residue_base)?;
            let agent = self.part(takes, batch, Purpose::CuringAgent, residue_agent)?;
            let value = base.0.checked_add(agent.0)?;
            let trays = f64::from(batch.containers);
            if batch.discarded.is_some() {
                self.components.add(Component::Overfill, value)?;
            } else {
                let shares = split_mix(
                    fill.chip_g.to_f64() * trays,
                    trim_g * trays,
                    batch.total_g.to_f64(),
                    batch.residue_g.to_f64(),
                )
                .map_err(Error::internal)?;
                self.components.add_elastomer(value, &shares, true)?;
            }
            self.components
                .add(Component::Residue, base.1.checked_add(agent.1)?)?;
        }
        Ok(())
    }

    /// Trays, cups, tape, coats and extras, and the mould's own share.
    pub(super) fn rest(
        &mut self,
        poured: &Poured,
        takes: &Takes,
        coats: Option<&ReleaseNeed>,
    ) -> Result<(), Error> {
        let others = takes.takes.iter().filter(|t| {
            !matches!(
                t.purpose,
                Purpose::Base | Purpose::CuringAgent | Purpose::Release
            )
        });
        for take in others {
            let value = match self.cast.durable(take.purpose) {
                Some(vessel) => self.wear(take, vessel)?,
                None => {
                    self.opened(take)?;
                    let occasion = self.occasion(take.purpose, take.batch_no, "");
                    self.poster
                        .issue(
                            self.tx,
                            (take.lot_id, take.pack_id),
                            MovementKind::Consumption,
                            take.quantity,
                            &occasion,
                        )?
                        .value
                        .checked_neg()?
                }
            };
            let component = match take.purpose {
                Purpose::Tape => Component::Tape,
                Purpose::Container => Component::Container,
                Purpose::Cup => Component::Cup,
                Purpose::Base | Purpose::CuringAgent | Purpose::Release | Purpose::Sundry => {
                    Component::Sundries
                }
            };
            self.components.add(component, value)?;
        }
        let vials: Vec<Take> = takes
            .takes
            .iter()
            .filter(|t| t.purpose == Purpose::Release)
            .copied()
            .collect();
        let coating = Coating {
            cast: self.cast,
            containers: poured.containers,
            need: coats,
            vials: &vials,
            on: self.on,
        };
        let coats = coat_cast(self.tx, &mut self.poster, &coating)?;
        self.components.add(Component::Release, coats)?;
        let mold = mold_use(self.tx, self.cast, i64::from(poured.containers), self.on)?;
        self.components.add(Component::Mold, mold)
    }

    /// A durable gives up remaining value / remaining uses for each use, the last use taking all.
    fn wear(&mut self, take: &Take, vessel: &VesselBody) -> Result<Money, Error> {
        let pieces = pieces(take);
        let place = pack_place(self.tx.conn, take.pack_id)?;
        let rated =
            place.on_hand.micro() / crate::base::MICRO_PER_UNIT * i64::from(vessel.rated_uses());
        let mut worn = Money::ZERO;
        for used in 0..pieces {
            let remaining = rated - place.uses - used;
            if remaining <= 0 {
                break;
            }
            let occasion = self.occasion(take.purpose, take.batch_no, "one use");
            let posted = self
                .poster
                .wear(self.tx, take.lot_id, remaining, &occasion)?;
            worn = worn.checked_sub(posted.value)?;
        }
        pack_used(self.tx, take.pack_id, None, pieces)?;
        Ok(worn)
    }
}

/// The pieces of a durable that were taken, each for one use.
pub(super) fn pieces(take: &Take) -> i64 {
    take.quantity.micro() / crate::base::MICRO_PER_UNIT
}
