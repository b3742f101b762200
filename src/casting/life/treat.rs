//! Treatments: moulds vapour-coated together, recorded when it is done, and taken back when it was recorded wrong.
//!
//! A treatment made for a booked cast uses the vials promised to it; the cast then needs fewer at its pour. One that is
//! never recorded is recorded by the pour itself, for the copies that were due. Deliberately absent: the state of coats in
//! between (`coating` keeps it).

use super::coat_needs::{coat_needs_renew, coat_reach, treatment_reach};
use super::coating::{MadeFor, Vials, coat_make, treatment_take_back, vials_spend};
use super::standing::standing;
use super::takes::{Takes, Wanted, decide};
use super::treatment_input::{Load, TreatmentIn, VialPack};
use super::treatment_view::{TreatmentView, treatment_show};
use super::undo::UndoIn;
use crate::base::{Error, Money, RefusalKind, apportion, short_words};
use crate::casting::planning::coating::agent_need;
use crate::casting::planning::load::unknown;
use crate::casting::store;
use crate::casting::sums::pool::PoolState;
use crate::catalogue::{Entry, MaterialBody, MaterialKind, material_by_code, mold_by_code};
use crate::db::Tx;
use crate::stock::load::{day_open, shelf_on};
use crate::stock::needs::Purpose;
use crate::stock::picking::PickRules;
use crate::stock::post::Poster;
use crate::stock::promises::cast_holds;
use crate::stock::repicking::Held;
use crate::stock::settle::{lock_reach, release_before, repick_after};
use crate::stock::shelf::give_back;

/// The cast a treatment is made for.
struct ForCast {
    id: i64,
    code: String,
    grants: Vec<i64>,
    held: Vec<Held>,
    rules: (bool, bool),
    agent: Option<Entry<MaterialBody>>,
    materials: Vec<i64>,
}

/// Records a treatment.
///
/// # Errors
/// [`Error::Invalid`] for what the input names or says wrong; [`Error::Refused`] when the cast is not booked, the period is
/// closed, or the books do not hold the vials and `recount` is not set.
pub fn treatment_apply(tx: &mut Tx<'_>, input: &TreatmentIn) -> Result<TreatmentView, Error> {
    input.check()?;
    day_open(tx, "/treated_on", input.treated_on)?;
    let made_for = made_for(tx, input)?;
    let agent = agent(tx, input, made_for.as_ref())?;
    let loads = loads(tx, input)?;
    let mut own = vec![agent.id];
    own.extend(made_for.iter().flat_map(|cast| &cast.materials));
    let molds: Vec<i64> = loads.iter().map(|load| load.mold_id).collect();
    let materials = coat_reach(tx.conn, &molds, &own)?;
    lock_reach(tx, &materials)?;
    let takes = takes(tx, input, &agent, made_for.as_ref(), &materials)?;
    release_before(tx, &materials, |shelf| takes.lower(shelf, |_| false))?;
    let id = post(tx, input, &agent, made_for.as_ref(), (&takes, &loads))?;
    for load in &loads {
        coat_needs_renew(tx, load.mold_id, &materials)?;
    }
    repick_after(tx, &materials)?;
    treatment_show(tx.conn, id)
}

fn made_for(tx: &mut Tx<'_>, input: &TreatmentIn) -> Result<Option<ForCast>, Error> {
    let Some(code) = &input.cast else {
        return Ok(None);
    };
    let cast = standing(tx, code).map_err(|error| unknown("/cast", error))?;
    cast.must_be("booked", "treated for")?;
    let held = cast_holds(tx.conn, cast.id)?
        .into_iter()
        .filter(|held| held.purpose == Purpose::Release)
        .collect();
    Ok(Some(ForCast {
        id: cast.id,
        code: cast.code.clone(),
        held,
        rules: (
            cast.request.allow_mixed_kits,
            cast.request.allow_cross_charge,
        ),
        grants: cast.grants,
        agent: cast.facts.release_agent,
        materials: cast.materials,
    }))
}

/// The release agent: as said, else that of the cast's recipe.
fn agent(
    tx: &mut Tx<'_>,
    input: &TreatmentIn,
    made_for: Option<&ForCast>,
) -> Result<Entry<MaterialBody>, Error> {
    let wrong = |detail: String| Error::invalid("/release_agent", detail);
    let agent = match (&input.release_agent, made_for) {
        (Some(code), _) => material_by_code(tx.conn, code.as_str())
            .map_err(|error| unknown("/release_agent", error))?,
        (None, Some(cast)) => cast
            .agent
            .clone()
            .ok_or_else(|| wrong(format!("the recipe of cast {} uses none", cast.code)))?,
        (None, None) => {
            return Err(wrong(
                "it is missing: name the release agent, or the cast whose recipe uses one"
                    .to_owned(),
            ));
        }
    };
    if agent.body.kind != MaterialKind::ReleaseAgent {
        return Err(wrong(format!(
            "material `{}` is no release agent",
            agent.code
        )));
    }
    if let Some(cast) = made_for.filter(|cast| !cast.materials.contains(&agent.id)) {
        return Err(wrong(format!(
            "cast {} does not use material `{}`",
            cast.code, agent.code
        )));
    }
    Ok(agent)
}

/// The copies to coat, by mould.
fn loads(tx: &mut Tx<'_>, input: &TreatmentIn) -> Result<Vec<Load>, Error> {
    let mut loads = Vec::new();
    for (index, treated) in input.molds.iter().enumerate() {
        let pointer = format!("/molds/{index}/mold");
        let mold = mold_by_code(tx.conn, treated.mold.as_str())
            .map_err(|error| unknown(&pointer, error))?;
        if mold.retired {
            let detail = format!("mold `{}` is retired", treated.mold);
            return Err(Error::refused(RefusalKind::Retired, detail));
        }
        loads.push(treated.load(mold.id, &mold.body, index)?);
    }
    Ok(loads)
}

/// Decides from which packs the vials are taken.
fn takes(
    tx: &mut Tx<'_>,
    input: &TreatmentIn,
    agent: &Entry<MaterialBody>,
    made_for: Option<&ForCast>,
    materials: &[i64],
) -> Result<Takes, Error> {
    let mut past = shelf_on(tx, materials, input.treated_on)?;
    let held: &[Held] = made_for.map_or(&[], |cast| &cast.held);
    give_back(
        &mut past.packs,
        held.iter().map(|own| (own.pack_id, own.quantity)),
    );
    let wanted = |vials: u32, pack_id: Option<i64>| -> Result<Wanted, Error> {
        let need = agent_need(agent, vials)?;
        Ok(Wanted { need, pack_id })
    };
    let wanted = match &input.packs {
        None => vec![wanted(input.vials, None)?],
        Some(packs) => packs
            .iter()
            .map(|VialPack { pack_id, vials }| wanted(*vials, Some(*pack_id)))
            .collect::<Result<_, _>>()?,
    };
    let (allow_mixed_kits, allow_cross_charge) = made_for.map_or((true, true), |cast| cast.rules);
    let rules = PickRules {
        day: input.treated_on,
        grants: made_for.map(|cast| cast.grants.clone()).unwrap_or_default(),
        allow_mixed_kits,
        allow_cross_charge,
    };
    let mut takes = decide(&mut past.packs, &wanted, held, &rules, input.recount);
    if takes.missing.is_empty() {
        takes.evened_out = past.evened_out;
        return Ok(takes);
    }
    let words: Vec<String> = takes
        .missing
        .iter()
        .map(|(_, used, books)| {
            format!(
                "{used} of {} were used, the books hold {books} free",
                agent.code
            )
        })
        .collect();
    let detail = format!(
        "{}: if the bench is right, send `recount: true`",
        words.join("; ")
    );
    Err(Error::refused(RefusalKind::Shortage, detail))
}

/// Posts the vials and makes the coats. Returns the treatment.
fn post(
    tx: &mut Tx<'_>,
    input: &TreatmentIn,
    agent: &Entry<MaterialBody>,
    made_for: Option<&ForCast>,
    (takes, loads): (&Takes, &[Load]),
) -> Result<i64, Error> {
    let mut poster = Poster::new();
    for (pack_id, lot_id, quantity) in &takes.found {
        let occasion = crate::stock::post::Occasion {
            effective_on: input.treated_on,
            reason: "more was used for a release coat than the books held".to_owned(),
            ..Default::default()
        };
        poster.count(tx, (*lot_id, *pack_id), *quantity, &occasion)?;
    }
    let vials = Vials {
        takes: &takes.takes,
        count: input.vials,
        agent_id: agent.id,
    };
    let made_for = MadeFor {
        cast_id: made_for.map(|cast| cast.id),
        at_pour: false,
        note: input.note.trim(),
        day_given: "/treated_on",
    };
    let (id, value) = vials_spend(tx, &mut poster, &vials, &made_for, input.treated_on)?;
    let copies: Vec<(i64, u32, u32)> = loads
        .iter()
        .flat_map(|load| {
            load.copies
                .iter()
                .map(|&copy| (load.mold_id, copy, load.coat_life_casts))
        })
        .collect();
    let shares = apportion(value.micro(), &vec![1; copies.len()])?;
    for ((mold_id, copy, life), share) in copies.into_iter().zip(shares) {
        let filled = PoolState {
            value: Money::from_micro(share),
            uses: i64::from(life),
        };
        coat_make(tx, (mold_id, copy, id), filled, input.treated_on)?;
    }
    Ok(id)
}

/// Takes a treatment back: its vials return to the stock, and each copy has the coat again that it had before.
///
/// # Errors
/// [`Error::NotFound`] without such a treatment; [`Error::Refused`] when it was taken back before, belongs to a pour, or one
/// of its coats was used, replaced or ended since.
pub fn treatment_undo(tx: &mut Tx<'_>, id: i64, input: &UndoIn) -> Result<TreatmentView, Error> {
    let reason = short_words("/reason", "a reason", &input.reason)?;
    let missing = || Error::not_found("treatment", id);
    let agent_id = store::treatment_fetch(tx.conn, id)?
        .ok_or_else(missing)?
        .release_agent_id;
    let materials = treatment_reach(tx.conn, id, agent_id)?;
    lock_reach(tx, &materials)?;
    let treatment = store::treatment_fetch(tx.conn, id)?.ok_or_else(missing)?;
    let wrong = |detail: String| Err(Error::refused(RefusalKind::WrongState, detail));
    if treatment.undone_at.is_some() {
        return wrong(format!("treatment {id} was taken back already"));
    }
    if treatment.at_pour {
        return wrong(format!(
            "treatment {id} was recorded by a pour: undo that cast's last step"
        ));
    }
    day_open(tx, "", treatment.treated_on)?;
    let reason = match reason.as_str() {
        "" => "undo of the treatment",
        reason => reason,
    };
    treatment_take_back(tx, &treatment, reason, treatment.treated_on)?;
    let mut molds: Vec<i64> = store::coats_of_treatments(tx.conn, &[id])?
        .into_iter()
        .map(|(coat, _)| coat.mold_id)
        .collect();
    molds.dedup();
    for mold_id in molds {
        coat_needs_renew(tx, mold_id, &materials)?;
    }
    repick_after(tx, &materials)?;
    treatment_show(tx.conn, id)
}
