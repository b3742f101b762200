//! Pouring: what was really weighed leaves the stock, the rest is given back, and the cast's cost is known.

use serde::{Deserialize, Serialize};
use serde_json::json;
use utoipa::ToSchema;

use super::coat_needs::coat_needs_renew;
use super::learning::{level_keep, residues_keep};
use super::posting::{Posting, pieces};
use super::pour_input::{PourIn, Poured, PouredBatch, settle_pour};
use super::standing::{Standing, standing};
use super::takes::{Takes, Wanted, decide};
use super::view::{CastView, cast_show};
use crate::base::{Error, Micro, Quantity, RefusalKind, kept_read};
use crate::casting::cost::Components;
use crate::casting::planning::charging::cost_shares;
use crate::casting::planning::coating::{coat_need, vials_need};
use crate::casting::planning::coats_ahead::coats_now;
use crate::casting::planning::load::posterior;
use crate::casting::planning::plan_view::{CastPlan, LoadView};
use crate::casting::store;
use crate::casting::sums::release::ReleaseNeed;
use crate::db::Tx;
use crate::stock::load::{day_open, shelf, shelf_on};
use crate::stock::needs::{Need, Purpose};
use crate::stock::picking::PickRules;
use crate::stock::post::Poster;
use crate::stock::promises::{cast_holds, cast_needs, promises_consume, promises_release};
use crate::stock::repicking::Held;
use crate::stock::settle::{release_before, repick_after};
use crate::stock::shelf::give_back;

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
    /// The fill factor that the level taught.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fill_factor_taught: Option<Micro>,
    /// Why the level taught nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level_note: Option<String>,
    /// The copies that were coated for this pour, with the vials used.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub coats_renewed: Vec<LoadView>,
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
    let coats = coats_due(tx, &cast, input, &poured)?;
    let wanted = wanted(tx, &cast, &poured, coats.as_ref())?;
    let takes = takes(tx, &cast, input, &wanted, &held)?;
    // The cast leaves `booked` first, so that settling others' promises leaves it alone.
    let (fill_factor_taught, level_note) = match input.level_mm {
        None => (None, None),
        Some(level_mm) => level_keep(tx, &cast, &poured, ("pour", level_mm, input.poured_on))?,
    };
    let record = PourRecord {
        batches: poured.batches.clone(),
        containers_poured: poured.containers,
        level_mm: input.level_mm,
        fill_factor_taught,
        level_note,
        coats_renewed: coats
            .iter()
            .flat_map(|need| &need.loads)
            .map(LoadView::of)
            .collect(),
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
        takes.lower(shelf, |purpose| cast.is_durable(purpose));
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
    posting.rest(&poured, &takes, coats.as_ref())?;
    let components = posting.components;
    residues_keep(tx, &cast, &poured, input.poured_on)?;
    keep_costs(tx, cast.id, &components)?;
    let subject = crate::stock::warnings::Subject {
        kind: "cast_short",
        noun: "cast",
        code,
    };
    crate::stock::warnings::warning_clear(tx, &subject)?;
    coat_needs_renew(tx, cast.facts.mold.id, &cast.materials)?;
    repick_after(tx, &cast.materials)?;
    cast_show(tx.conn, code, tx.base_currency)
}

/// Decides from which packs what was used is taken.
fn takes(
    tx: &mut Tx<'_>,
    cast: &Standing,
    input: &PourIn,
    wanted: &[Wanted],
    held: &[Held],
) -> Result<Takes, Error> {
    // What is used again stays where it is: only what is used up must have been there on the day.
    let durable: Vec<i64> = wanted
        .iter()
        .filter(|wanted| cast.is_durable(wanted.need.purpose))
        .map(|wanted| wanted.need.material_id)
        .collect();
    let (kept, used_up): (Vec<i64>, Vec<i64>) = cast
        .materials
        .iter()
        .partition(|material| durable.contains(material));
    let mut past = shelf_on(tx, &used_up, input.poured_on)?;
    past.packs.extend(shelf(tx.conn, &kept)?);
    give_back(
        &mut past.packs,
        held.iter().map(|own| (own.pack_id, own.quantity)),
    );
    let rules = PickRules {
        day: input.poured_on,
        grants: cast.grants.clone(),
        allow_mixed_kits: cast.request.allow_mixed_kits,
        allow_cross_charge: cast.request.allow_cross_charge,
    };
    let mut takes = decide(&mut past.packs, wanted, held, &rules, input.recount);
    if takes.missing.is_empty() {
        takes.evened_out = past.evened_out;
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
    let then = if input.poured_on < tx.today {
        format!(" for {}", input.poured_on)
    } else {
        String::new()
    };
    let detail = words
        .iter()
        .map(|(m, used, books)| format!("{used} of {m} were used, the books hold {books}{then}"))
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

/// The coatings that were due when the cast was poured, by the coats as the books have them then.
fn coats_due(
    tx: &mut Tx<'_>,
    cast: &Standing,
    input: &PourIn,
    poured: &Poured,
) -> Result<Option<ReleaseNeed>, Error> {
    if !input.coats_renewed {
        return Ok(None);
    }
    let mold = &cast.facts.mold;
    let coats = coats_now(tx.conn, mold.id, mold.body.copies())?;
    coat_need(&cast.facts, &coats, poured.containers)
}

/// What was used: elastomer as weighed, cups and trays as many as there were, vials as coats were due, the rest as planned.
fn wanted(
    tx: &mut Tx<'_>,
    cast: &Standing,
    poured: &Poured,
    coats: Option<&ReleaseNeed>,
) -> Result<Vec<Wanted>, Error> {
    let facts = &cast.facts;
    let needs = cast_needs(tx.conn, cast.id)?;
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
    for need in &needs {
        let quantity = match need.purpose {
            Purpose::Base | Purpose::CuringAgent | Purpose::Release => continue,
            Purpose::Cup => count(poured.batches.len())?,
            Purpose::Container => count(poured.containers as usize)?,
            Purpose::Tape | Purpose::Sundry => need.quantity,
        };
        wanted.push(Wanted {
            need: Need {
                quantity,
                ..need.clone()
            },
            pack_id: None,
        });
    }
    let vials = coats.map_or(0, |coats| coats.vials);
    wanted.extend(vials_need(facts, vials)?.map(|need| Wanted {
        need,
        pack_id: None,
    }));
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

/// Keeps the cost by grant and component: each component is split over the grants by largest remainder.
pub(in crate::casting) fn keep_costs(
    tx: &mut Tx<'_>,
    cast_id: i64,
    components: &Components,
) -> Result<(), Error> {
    let charges: Vec<(i64, Micro)> = store::charges_fetch(tx.conn, cast_id)?
        .into_iter()
        .map(|(grant_id, _, share)| (grant_id, share))
        .collect();
    store::cast_costs_insert(tx.conn, cast_id, &cost_shares(components, &charges)?)
}

/// The plan of a cast, from the document kept on it.
pub(in crate::casting) fn plan_of(document: &str) -> Result<CastPlan, Error> {
    kept_read(document).map_err(Error::internal)
}
