//! What holds of the plan of any cast that the API may be asked for, by any recipe that the catalogue takes and on any shelf.
//!
//! Invariants: nothing panics and nothing is our fault; batches and components add up; no mass is below zero; no more is
//! picked of a pack than can be had of it; equal facts give equal plans; what is shown can be kept and read back.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use heeltap::base::{Code, Currency, Error, Micro, Money, Quantity, kept_read};
use heeltap::casting::planning::charging::ChargedGrant;
use heeltap::casting::planning::plan::{PlanFacts, Planned, plan};
use heeltap::casting::planning::plan_view::CastPlan;
use heeltap::casting::planning::request::PlanRequest;
use heeltap::casting::planning::what_if_request::WhatIfIn;
use heeltap::casting::planning::what_ifs::what_ifs;
use heeltap::casting::sums::learned::Noise;
use heeltap::casting::sums::pool::PoolState;
use heeltap::casting::sums::yields::{ChipCount, YieldPosterior};
use heeltap::catalogue::{CatalogueBody, Entry, GrantBody, RecipeFacts};
use heeltap::http::{document_read, merge_patch};
use heeltap::stock::shelf::PackFacts;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value, json};

/// The recipe that is planned by, before what the input changes of it.
const SAMPLE: &str = include_str!("../../src/casting/samples/recipe.json");

/// Most lines of a list of what ifs: each is a plan, and one is as good as twenty here.
const LINES_MAX: usize = 3;

/// What is planned, and what the books know.
#[derive(Deserialize)]
struct Input {
    /// The body of a request for a plan.
    request: Value,
    /// What is varied of it, beside the plan itself.
    #[serde(default)]
    what_if: Map<String, Value>,
    /// Merge patches of the sample's documents, by `recipe`, `elastomer`, `mold`, `container`, `cup`, `tape`, ….
    #[serde(default)]
    catalogue: BTreeMap<String, Value>,
    /// The shelf.
    #[serde(default)]
    packs: Vec<Pack>,
    /// Good and rejected chips of the recipe so far.
    #[serde(default)]
    chips: (u32, u32),
    /// Cups weighed so far: the film and what was found, in g.
    #[serde(default)]
    weighed: Vec<(Micro, Micro)>,
    /// The rest of the mould's pool: value and uses.
    #[serde(default)]
    pool: (Micro, u16),
    /// The rest of the coat of each copy.
    #[serde(default)]
    coats: Vec<Option<(Micro, u16)>>,
}

#[derive(Deserialize)]
struct Pack {
    material: Code,
    on_hand: Micro,
    #[serde(default)]
    reserved: Micro,
    #[serde(default)]
    heel: Micro,
    #[serde(default)]
    value: Micro,
    kit_lot: Option<String>,
    received_on: Option<NaiveDate>,
    expires_on: Option<NaiveDate>,
    opened_on: Option<NaiveDate>,
    open_life_days: Option<u32>,
    grant: Option<u8>,
    held: Option<String>,
}

/// The plan that the bytes ask for, if they do.
#[allow(dead_code)] // Read by the tests of the corpus, which see whether it is reached; a fuzz target has no use for it.
pub(crate) fn planned(bytes: &[u8]) -> Option<CastPlan> {
    let input: Input = serde_json::from_slice(bytes).ok()?;
    let request = document_read(input.request.clone()).ok()?;
    let facts = facts(&input, &request)?;
    plan(&facts, &request).ok().map(|planned| planned.view)
}

/// Reads the bytes as a request with its facts, plans, and holds the plan against what must hold.
pub(crate) fn check(bytes: &[u8]) {
    let Ok(input) = serde_json::from_slice::<Input>(bytes) else {
        return;
    };
    let request = match document_read::<PlanRequest>(input.request.clone()) {
        Ok(request) => request,
        Err(error) => return is_theirs(&error),
    };
    let Some(facts) = facts(&input, &request) else {
        return;
    };
    match plan(&facts, &request) {
        Err(error) => is_theirs(&error),
        Ok(planned) => {
            let again = plan(&facts, &request).map(|planned| planned.view);
            assert_eq!(again.ok().as_ref(), Some(&planned.view));
            adds_up(&planned.view, &facts);
            picks_what_is_there(&planned, &facts, &request);
            reads_back(&planned.view);
        }
    }
    varied(input, &facts);
}

/// An error that names what was asked for wrongly, or the recipe, and never one of ours.
fn is_theirs(error: &Error) {
    assert!(!matches!(error, Error::Internal(_)), "{error:?}");
    if let Error::Invalid(faults) = error {
        assert!(!faults.is_empty() && faults.iter().all(|fault| !fault.detail.is_empty()));
    }
}

fn varied(input: Input, facts: &PlanFacts) {
    let mut asked = input.what_if;
    let long = |value: &Value| {
        value
            .as_array()
            .is_some_and(|lines| lines.len() > LINES_MAX)
    };
    if asked.is_empty() || asked.values().any(long) {
        return;
    }
    asked.insert("plan".to_owned(), input.request);
    match document_read::<WhatIfIn>(Value::Object(asked)) {
        Err(error) => is_theirs(&error),
        Ok(asked) => match asked.check().and_then(|()| what_ifs(facts, &asked, &[])) {
            Err(error) => is_theirs(&error),
            Ok(found) => adds_up(&found.plan, facts),
        },
    }
}

fn not_negative(what: &str, values: &[Micro]) {
    assert!(
        values.iter().all(|value| !value.is_negative()),
        "{what}: {values:?}"
    );
}

/// Rounded parts are off by at most a millionth each.
fn near(sum: impl Iterator<Item = Micro>, whole: Micro) {
    let parts: Vec<i64> = sum.map(Micro::micro).collect();
    let off = parts.iter().sum::<i64>() - whole.micro();
    assert!(
        off.unsigned_abs() as usize <= parts.len() + 1,
        "{parts:?} and {whole}"
    );
}

fn adds_up(view: &CastPlan, facts: &PlanFacts) {
    let body = &facts.recipe.mold.body;
    assert!(view.containers >= 1 && view.rounds >= 1 && view.rounds <= view.containers);
    assert_eq!(view.chips, view.containers * body.chips);
    assert!(view.expected_good_chips <= Micro::from_int(view.chips as i32));
    let (fill, residue, mix) = (&view.fill, &view.residue, &view.mix);
    not_negative(
        "fill",
        &[
            fill.level_mm,
            fill.volume_ml,
            fill.mass_g,
            fill.chip_g,
            fill.factor,
        ],
    );
    assert!(fill.chip_g <= fill.mass_g, "{fill:?}");
    not_negative(
        "residue",
        &[
            residue.expected_g,
            residue.planned_g,
            residue.k_mean,
            residue.k_sd,
        ],
    );
    not_negative(
        "mix",
        &[
            mix.total_g,
            mix.base_g,
            mix.curing_agent_g,
            mix.ratio_uncertainty,
        ],
    );
    for batch in &view.batches {
        not_negative(
            "batch",
            &[
                batch.base_g,
                batch.curing_agent_g,
                batch.needed_g,
                batch.film_g,
                batch.residue_g,
            ],
        );
        near(
            [batch.base_g, batch.curing_agent_g].into_iter(),
            batch.total_g,
        );
        assert!(
            batch.containers >= 1 && batch.total_g.micro() + 1 >= batch.needed_g.micro(),
            "{batch:?}"
        );
    }
    assert_eq!(
        view.batches
            .iter()
            .map(|batch| batch.containers)
            .sum::<u32>(),
        view.containers
    );
    near(view.batches.iter().map(|batch| batch.total_g), mix.total_g);
    near([mix.base_g, mix.curing_agent_g].into_iter(), mix.total_g);
    if let Some(tape) = &view.tape {
        not_negative(
            "tape",
            &[tape.strip_length_mm, tape.total_m, tape.offcut_share],
        );
    }
    let amounts = view
        .cost
        .components
        .iter()
        .map(|component| component.amount);
    assert!(
        amounts.clone().all(|amount| !amount.is_negative()),
        "{:?}",
        view.cost
    );
    assert_eq!(Money::checked_sum(amounts), Ok(view.cost.total));
}

fn picks_what_is_there(planned: &Planned, facts: &PlanFacts, request: &PlanRequest) {
    let view = &planned.view;
    let mut taken: BTreeMap<i64, i128> = BTreeMap::new();
    for pick in &view.picks {
        assert!(
            pick.quantity.is_positive() && !pick.why.is_empty(),
            "{pick:?}"
        );
        *taken.entry(pick.pack_id).or_default() += i128::from(pick.quantity.micro());
    }
    for (pack_id, quantity) in taken {
        let pack = facts.shelf.iter().find(|pack| pack.pack_id == pack_id);
        let pack = pack.expect("a pack of the shelf");
        assert!(
            quantity <= i128::from(pack.free().micro()),
            "{pack:?} gives {quantity}"
        );
        assert_eq!(pack.unusable(view.cast_on), None, "{pack:?}");
        let charged = |id| facts.grants.iter().any(|grant| grant.id == id);
        let own = pack.funded_by_id.is_none_or(charged);
        assert!(own || request.allow_cross_charge, "{pack:?}");
    }
    assert!(view.largest_bookable <= view.containers);
    let served = planned.list.unserved.is_empty();
    assert_eq!(
        served,
        view.largest_bookable == view.containers,
        "{:?}",
        view.shortages
    );
    assert_eq!(served, view.shortages.is_empty(), "{:?}", view.shortages);
}

/// A plan is kept on the cast that is booked from it.
fn reads_back(view: &CastPlan) {
    let kept = serde_json::to_string(view).expect("a plan as JSON");
    let read: CastPlan = kept_read(&kept).expect("a plan that was kept");
    assert_eq!(&read, view);
}

/// What the books would know; nothing when the books could not hold it.
fn facts(input: &Input, request: &PlanRequest) -> Option<PlanFacts> {
    let euro = Currency::parse("EUR").expect("a currency");
    let mut facts = PlanFacts::bare(recipe(&input.catalogue)?, euro);
    let chips = |(good, rejected): (u32, u32)| ChipCount {
        good: good.into(),
        rejected: rejected.into(),
    };
    facts.yields = YieldPosterior::from_history(chips(input.chips), ChipCount::default());
    for (film, found) in &input.weighed {
        let posterior = &facts.experience.residue;
        let learned = posterior.learn(film.to_f64(), found.to_f64(), &Noise::default());
        facts.experience.residue = learned.ok()?.posterior;
    }
    facts.mold_pool = pool(input.pool)?;
    let coats = input
        .coats
        .iter()
        .map(|coat| coat.map_or(Some(None), |rest| pool(rest).map(Some)));
    facts.experience.coats = coats.collect::<Option<_>>()?;
    if facts.experience.coats.len() > facts.recipe.mold.body.copies() as usize {
        return None;
    }
    for (pack, id) in input.packs.iter().zip(1..) {
        facts.shelf.push(on_shelf(pack, id, &facts.recipe)?);
    }
    for (charge, id) in request.charges.iter().zip(1..) {
        let body = json!({"code": charge.grant, "name": "A grant", "materials_budget": "100"});
        facts.grants.push(ChargedGrant {
            id,
            body: serde_json::from_value::<GrantBody>(body).expect("a grant"),
            share: charge.share,
            spent: Money::ZERO,
            booked: Money::ZERO,
        });
    }
    Some(facts)
}

fn pool((value, uses): (Micro, u16)) -> Option<PoolState> {
    let holds = if uses == 0 {
        value.is_zero()
    } else {
        !value.is_negative()
    };
    holds.then_some(PoolState {
        value: Money::new(value),
        uses: uses.into(),
    })
}

fn on_shelf(pack: &Pack, id: i64, recipe: &RecipeFacts) -> Option<PackFacts> {
    let zero = Micro::ZERO;
    let right = zero <= pack.reserved && pack.reserved <= pack.on_hand && zero <= pack.heel;
    let worth = pack.value.is_zero() || (pack.value > zero && pack.on_hand > zero);
    let extras = recipe.extras.iter().map(|(entry, _)| entry);
    let named = [
        &recipe.base,
        &recipe.curing_agent,
        &recipe.container,
        &recipe.cup,
    ];
    let all = named
        .into_iter()
        .chain(&recipe.tape)
        .chain(&recipe.release_agent);
    let material = all
        .chain(extras)
        .find(|entry| entry.code == pack.material)?;
    (right && worth).then(|| PackFacts {
        pack_id: id,
        no: 1,
        lot_id: id,
        lot_code: format!("L-{id}"),
        kit_lot: pack.kit_lot.clone(),
        material_id: material.id,
        funded_by_id: pack.grant.map(i64::from),
        received_on: pack.received_on.unwrap_or_default(),
        expires_on: pack.expires_on,
        opened_on: pack.opened_on,
        open_life_days: pack.open_life_days,
        held_reason: pack.held.clone(),
        on_hand: Quantity::new(pack.on_hand),
        reserved: Quantity::new(pack.reserved),
        heel: Quantity::new(pack.heel),
        lot_on_hand: Quantity::new(pack.on_hand),
        lot_value: Money::new(pack.value),
    })
}

/// The sample recipe with its documents patched; nothing when the catalogue would not take one of them.
fn recipe(patches: &BTreeMap<String, Value>) -> Option<RecipeFacts> {
    let mut facts: RecipeFacts = serde_json::from_str(SAMPLE).expect("the sample");
    patched(&mut facts.recipe, patches.get("recipe"))?;
    patched(&mut facts.elastomer, patches.get("elastomer"))?;
    patched(&mut facts.base, patches.get("base"))?;
    patched(&mut facts.curing_agent, patches.get("curing_agent"))?;
    patched(&mut facts.mold, patches.get("mold"))?;
    patched(&mut facts.container, patches.get("container"))?;
    patched(&mut facts.cup, patches.get("cup"))?;
    patched(facts.tape.as_mut()?, patches.get("tape"))?;
    patched(facts.release_agent.as_mut()?, patches.get("release_agent"))?;
    // What the recipe no longer names is no part of it.
    let body = &facts.recipe.body;
    facts.tape = facts.tape.filter(|_| body.tape.is_some());
    facts.release_agent = facts.release_agent.filter(|_| body.release_agent.is_some());
    let known = std::mem::take(&mut facts.extras);
    let entry = |code: &Code| {
        known
            .iter()
            .map(|(entry, _)| entry)
            .find(|entry| entry.code == *code)
    };
    let extras = body
        .extras
        .iter()
        .map(|extra| Some((entry(&extra.material)?.clone(), extra.clone())));
    facts.extras = extras.collect::<Option<_>>()?;
    // Whatever it names has to be there: the codes of the sample.
    let there = |code: &Code| {
        let materials = [&facts.container, &facts.cup]
            .into_iter()
            .chain(&facts.tape)
            .chain(&facts.release_agent);
        let extras = facts.extras.iter().map(|(entry, _)| entry);
        materials.chain(extras).any(|entry| entry.code == *code)
            || [&facts.elastomer.code, &facts.mold.code].contains(&code)
    };
    let links = facts.recipe.body.links();
    links.iter().all(|link| there(&link.code)).then_some(facts)
}

/// Changes an entry as `PATCH` does: what never changes stays, and the whole is checked.
fn patched<B>(entry: &mut Entry<B>, patch: Option<&Value>) -> Option<()>
where
    B: CatalogueBody + DeserializeOwned,
{
    let Some(patch) = patch else { return Some(()) };
    let before = serde_json::to_value(&entry.body).expect("a document as JSON");
    let after: B = document_read(merge_patch(before, patch.clone())).ok()?;
    let same = *after.code() == entry.code && after.fixed(&entry.body).is_empty();
    let right = same && CatalogueBody::check(&after).is_empty();
    right.then(|| entry.body = after)
}
