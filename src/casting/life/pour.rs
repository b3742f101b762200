//! Pouring: what was really weighed leaves the stock, the rest is given back, and the cast's cost is known.

use serde::{Deserialize, Serialize};
use serde_json::json;
use utoipa::ToSchema;

use super::pool_ops::{coat_use, mold_use};
use super::pour_input::{PourIn, Poured, PouredBatch, settle_pour};
use super::standing::{Standing, standing};
use super::takes::{Take, Takes, Wanted, decide};
use super::view::{CastView, cast_show};
use crate::base::{Error, Micro, Money, Quantity, RefusalKind, apportion};
use crate::casting::cost::{Component, Components};
use crate::casting::planning::load::posterior;
use crate::casting::planning::plan_view::CastPlan;
use crate::casting::store::{self, NewObservation};
use crate::casting::sums::split::split_mix;
use crate::catalogue::{RecipeFacts, VesselBody};
use crate::db::Tx;
use crate::stock::ledger::MovementKind;
use crate::stock::load::{day_open, shelf};
use crate::stock::needs::{Need, Purpose};
use crate::stock::picking::PickRules;
use crate::stock::post::{Occasion, Poster};
use crate::stock::promises::{
    cast_holds, cast_needs, pack_place, pack_used, promises_consume, promises_release,
};
use crate::stock::repicking::Held;
use crate::stock::settle::{release_before, repick_after};

/// A pour as it is kept and shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PourRecord {
    /// The batches with their residue.
    pub batches: Vec<PouredBatch>,
    /// Trays poured.
    pub containers_poured: u32,
    /// The level observed, in mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level_mm: Option<Micro>,
    /// What was counted in because the bench had more than the books: pack, how much.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub counted_in: Vec<CountedIn>,
    /// Uses taken from durables, so that an undo can give them back.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub durable_uses: Vec<DurableUse>,
}

/// A quantity counted in at the pour.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CountedIn {
    /// The pack.
    pub pack_id: i64,
    /// How much.
    pub quantity: Quantity,
}

/// Uses taken from a pack of durables.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct DurableUse {
    /// The pack.
    pub pack_id: i64,
    /// How many uses.
    pub uses: i64,
}

/// Records a pour.
///
/// # Errors
/// [`Error::NotFound`] without such a cast; [`Error::Invalid`] for what cannot have happened; [`Error::Refused`] when the
/// cast is not booked, the period is closed, or the books do not hold what was used and `recount` is not set.
pub fn cast_pour(tx: &mut Tx<'_>, code: &str, input: &PourIn) -> Result<CastView, Error> {
    let cast = standing(tx, code)?;
    cast.must_be("booked", "poured")?;
    day_open(tx, "/poured_on", input.poured_on)?;
    let posterior = posterior(tx.conn, &cast.facts)?;
    let poured = settle_pour(input, &cast.plan, &cast.facts, &posterior)?;
    let held = cast_holds(tx.conn, cast.id)?;
    let takes = takes(tx, &cast, input, &poured, &held)?;
    // The cast leaves `booked` first, so that settling others' promises leaves it alone.
    let record = PourRecord {
        batches: poured.batches.clone(),
        containers_poured: poured.containers,
        level_mm: input.level_mm,
        counted_in: takes
            .found
            .iter()
            .map(|(pack_id, _, quantity)| CountedIn {
                pack_id: *pack_id,
                quantity: *quantity,
            })
            .collect(),
        durable_uses: takes
            .takes
            .iter()
            .filter(|take| cast.is_durable(take.purpose))
            .map(|take| DurableUse {
                pack_id: take.pack_id,
                uses: pieces(take),
            })
            .collect(),
    };
    store::cast_pour(
        tx.conn,
        cast.id,
        input.poured_on,
        tx.actor,
        &super::book::kept(&record)?,
    )?;
    give_up_promises(tx, &cast, &held, poured.containers)?;
    release_before(tx, &cast.materials, |shelf| {
        for take in takes
            .takes
            .iter()
            .filter(|take| !cast.is_durable(take.purpose))
        {
            if let Some(pack) = shelf.iter_mut().find(|pack| pack.pack_id == take.pack_id) {
                pack.on_hand =
                    Quantity::from_micro((pack.on_hand.micro() - take.quantity.micro()).max(0));
            }
        }
    })?;
    let mut posting = Posting {
        tx,
        cast: &cast,
        poster: Poster::new(),
        components: Components::default(),
        on: input.poured_on,
    };
    posting.count_in(&takes)?;
    posting.elastomer(&poured, &takes)?;
    posting.rest(&poured, &takes)?;
    let components = posting.components;
    learn(tx, &cast, input, &poured)?;
    keep_costs(tx, cast.id, &components)?;
    let subject = crate::stock::warnings::Subject {
        kind: "cast_short",
        noun: "cast",
        code,
    };
    crate::stock::warnings::warning_clear(tx, &subject)?;
    repick_after(tx, &cast.materials)?;
    cast_show(tx.conn, code, tx.base_currency)
}

/// Decides from which packs what was used is taken.
fn takes(
    tx: &mut Tx<'_>,
    cast: &Standing,
    input: &PourIn,
    poured: &Poured,
    held: &[Held],
) -> Result<Takes, Error> {
    let mut shelf = shelf(tx.conn, &cast.materials)?;
    for own in held {
        if let Some(pack) = shelf.iter_mut().find(|pack| pack.pack_id == own.pack_id) {
            pack.reserved =
                Quantity::from_micro(pack.reserved.micro().saturating_sub(own.quantity.micro()));
        }
    }
    let needs = cast_needs(tx.conn, cast.id)?;
    let wanted = wanted(&cast.facts, &needs, poured)?;
    let rules = PickRules {
        day: input.poured_on,
        grants: cast.grants.clone(),
        allow_mixed_kits: cast.request.allow_mixed_kits,
        allow_cross_charge: cast.request.allow_cross_charge,
    };
    let takes = decide(&mut shelf, &wanted, held, &rules, input.recount);
    if takes.missing.is_empty() {
        return Ok(takes);
    }
    let mut words = Vec::new();
    for (material_id, used, in_books) in &takes.missing {
        let codes = crate::catalogue::codes_by_ids(tx.conn, &[*material_id])?;
        let material = codes
            .get(material_id)
            .map(|(code, _)| code.to_string())
            .unwrap_or_default();
        words.push((material, *used, *in_books));
    }
    let detail = words
        .iter()
        .map(|(m, used, books)| format!("{used} of {m} were used, the books hold {books}"))
        .collect::<Vec<_>>()
        .join("; ");
    let detail = format!(
        "{detail}: if the bench is right, send `recount: true`; a material without any pack in the books must be received first"
    );
    let missing: Vec<_> = words
        .iter()
        .map(|(m, used, books)| json!({"material": m, "needed": used, "available": books}))
        .collect();
    Err(Error::refused(RefusalKind::Shortage, detail).with("shortages", json!(missing)))
}

/// What was used: elastomer as weighed, cups and trays as many as there were, the rest as planned.
fn wanted(facts: &RecipeFacts, needs: &[Need], poured: &Poured) -> Result<Vec<Wanted>, Error> {
    let mut wanted = Vec::new();
    let drop = Quantity::from_micro(1);
    for batch in &poured.batches {
        let parts = [
            (
                facts.base.id,
                Purpose::Base,
                batch.base_g,
                batch.base_pack_id,
            ),
            (
                facts.curing_agent.id,
                Purpose::CuringAgent,
                batch.curing_agent_g,
                batch.curing_agent_pack_id,
            ),
        ];
        for (material_id, purpose, mass, pack_id) in parts {
            let need = Need {
                material_id,
                purpose,
                batch_no: batch.no,
                quantity: Quantity::new(mass),
                piece: drop,
            };
            wanted.push(Wanted { need, pack_id });
        }
    }
    let count = |count: usize| {
        i32::try_from(count)
            .map(Quantity::from_int)
            .map_err(Error::internal)
    };
    for need in needs {
        let quantity = match need.purpose {
            Purpose::Base | Purpose::CuringAgent => continue,
            Purpose::Cup => count(poured.batches.len())?,
            Purpose::Container => count(poured.containers as usize)?,
            Purpose::Release | Purpose::Tape | Purpose::Sundry => need.quantity,
        };
        wanted.push(Wanted {
            need: Need {
                quantity,
                ..need.clone()
            },
            pack_id: None,
        });
    }
    Ok(wanted)
}

/// Resolves the cast's promises: consumed, but for the durables, which stay reserved while they are in use.
fn give_up_promises(
    tx: &mut Tx<'_>,
    cast: &Standing,
    held: &[Held],
    containers: u32,
) -> Result<(), Error> {
    let consumed: Vec<i64> = held
        .iter()
        .filter(|h| !cast.is_durable(h.purpose))
        .map(|h| h.reservation_id)
        .collect();
    promises_consume(tx, &consumed)?;
    // Trays that were not poured are free at once; what is reserved of one pack cannot be split, so only whole promises.
    let mut in_use = i64::from(containers) * crate::base::MICRO_PER_UNIT;
    let mut spare = Vec::new();
    for held in held
        .iter()
        .filter(|h| h.purpose == Purpose::Container && cast.is_durable(h.purpose))
    {
        if in_use <= 0 {
            spare.push(held.reservation_id);
        }
        in_use -= held.quantity.micro();
    }
    promises_release(tx, &spare)
}

/// The postings of one pour.
struct Posting<'a, 'b> {
    tx: &'a mut Tx<'b>,
    cast: &'a Standing,
    poster: Poster,
    components: Components,
    on: chrono::NaiveDate,
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
    fn count_in(&mut self, takes: &Takes) -> Result<(), Error> {
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

    /// A pack that is used is open from that day at the latest.
    fn opened(&mut self, take: &Take) -> Result<(), Error> {
        let place = pack_place(self.tx.conn, take.pack_id)?;
        if self.on < place.received_on {
            let detail = format!(
                "{} is before lot {} was received on {}",
                self.on, take.lot_id, place.received_on
            );
            return Err(Error::invalid("/poured_on", detail));
        }
        if place.opened_on.is_none() {
            pack_used(self.tx, take.pack_id, Some(self.on), 0)
        } else {
            Ok(())
        }
    }

    fn elastomer(&mut self, poured: &Poured, takes: &Takes) -> Result<(), Error> {
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
    fn rest(&mut self, poured: &Poured, takes: &Takes) -> Result<(), Error> {
        let mut vials = Money::ZERO;
        let others = takes
            .takes
            .iter()
            .filter(|t| !matches!(t.purpose, Purpose::Base | Purpose::CuringAgent));
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
                Purpose::Release => {
                    vials = vials.checked_add(value)?;
                    continue;
                }
                Purpose::Tape => Component::Tape,
                Purpose::Container => Component::Container,
                Purpose::Cup => Component::Cup,
                Purpose::Base | Purpose::CuringAgent | Purpose::Sundry => Component::Sundries,
            };
            self.components.add(component, value)?;
        }
        let casts = i64::from(poured.containers);
        let coatings = self
            .cast
            .plan
            .release
            .as_ref()
            .map_or(0, |release| i64::from(release.coatings));
        if self.cast.facts.release_agent.is_some() {
            let coats = coat_use(self.tx, self.cast, vials, coatings, casts, self.on)?;
            self.components.add(Component::Release, coats)?;
        }
        let mold = mold_use(self.tx, self.cast, casts, self.on)?;
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
fn pieces(take: &Take) -> i64 {
    take.quantity.micro() / crate::base::MICRO_PER_UNIT
}

/// Keeps what weighed cups teach about the residue.
fn learn(tx: &mut Tx<'_>, cast: &Standing, input: &PourIn, poured: &Poured) -> Result<(), Error> {
    let weighed = poured
        .batches
        .iter()
        .filter(|batch| batch.residue_basis == "weighed" && batch.film_g > Micro::ZERO);
    let rows: Vec<NewObservation> = weighed
        .map(|batch| NewObservation {
            cast_id: cast.id,
            batch_no: batch.no,
            cup_id: cast.facts.cup.id,
            elastomer_id: cast.facts.elastomer.id,
            film: Quantity::new(batch.film_g),
            weighed: Quantity::new(batch.residue_g),
            observed_on: input.poured_on,
        })
        .collect();
    store::observations_insert(tx.conn, &rows)
}

/// Keeps the cost by grant and component: each component is split over the grants by largest remainder.
pub(in crate::casting) fn keep_costs(
    tx: &mut Tx<'_>,
    cast_id: i64,
    components: &Components,
) -> Result<(), Error> {
    let charges = store::charges_fetch(tx.conn, cast_id)?;
    let weights: Vec<i64> = charges.iter().map(|(_, _, share)| share.micro()).collect();
    let mut rows = Vec::new();
    for (component, amount) in components
        .iter()
        .filter(|(_, amount)| *amount != Money::ZERO)
    {
        if charges.is_empty() {
            rows.push((None, component.as_str(), amount));
            continue;
        }
        for ((grant_id, _, _), part) in charges.iter().zip(apportion(amount.micro(), &weights)?) {
            rows.push((Some(*grant_id), component.as_str(), Money::from_micro(part)));
        }
    }
    store::cast_costs_insert(tx.conn, cast_id, &rows)
}

/// The plan of a cast, from the document kept on it.
pub(in crate::casting) fn plan_of(document: &str) -> Result<CastPlan, Error> {
    serde_json::from_str(document).map_err(Error::internal)
}
