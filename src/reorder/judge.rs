//! The judgement on materials and kits that belong together: what is shown of each, and which warnings should stand.
//!
//! Invariants: a part of a kit is judged like any material, but the kit's warning counts; a kit is never said to last
//! longer than either of its parts; of several kits of one elastomer, one is watched, since they share their stock.
//! Absent: reading the books, and keeping what was found.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::alarms::{Wanted, expiry_alarms, overdue_alarms, stranded_alarms};
use super::assess::{AssessError, assess};
use super::batches::KitLink;
use super::facts::{ReorderAdvice, ReorderFacts};
use super::kit_facts::KitBooks;
use super::kits::{KitPart, MixRatio, RatioWork, UsableMix};
use super::material_facts::{MaterialBooks, usual_lead_time_days};
use super::order_lines::{LineState, OrderLine};
use super::order_quantity::{PACK_MICRO_DEFAULT, QuantityCap};
use super::reason::shown;
use super::settings::Circumstances;
use super::view::{About, ReorderView, reorder_view};
use crate::catalogue::{Entry, KitBody};

/// What of a part is not worth a word: this share of what one kit holds, in hundredths (assumption).
const REST_PERCENT: i64 = 2;

/// The books of materials and kits that belong together.
#[derive(Debug, Clone, Default)]
pub struct Books {
    /// The materials by id, retired ones too.
    pub materials: BTreeMap<i64, MaterialBooks>,
    /// The kits, retired ones too, with the ratio of their elastomers.
    pub kits: Vec<(KitLink, Entry<KitBody>, MixRatio)>,
    /// Recipes in use that mix at a ratio of their own, with their codes, by elastomer.
    pub ratio_recipes: BTreeMap<i64, Vec<(String, MixRatio)>>,
}

/// What was found of one material or kit.
#[derive(Debug, Clone)]
pub struct Judgement {
    /// Its id.
    pub item_id: i64,
    /// Its noun.
    pub noun: &'static str,
    /// What the advice was made from.
    pub facts: ReorderFacts,
    /// The advice.
    pub advice: ReorderAdvice,
    /// The advice as it is shown.
    pub view: ReorderView,
    /// Whether its day to order is worth a warning of its own.
    pub watched: bool,
    /// The other warnings that should stand.
    pub alarms: Vec<Wanted>,
}

/// A material or kit that could not be judged.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("no advice on {code}: {error}")]
pub struct Failure {
    /// Its code.
    pub code: String,
    /// Why.
    pub error: AssessError,
}

/// Of each elastomer's kits that are in use, the one that is watched: that of the latest order, else the oldest.
#[must_use]
pub fn watched_kits(kits: &[(KitLink, Entry<KitBody>, MixRatio)], lines: &[OrderLine]) -> Vec<i64> {
    let last_ordered = |kit_id: i64| {
        let standing = lines
            .iter()
            .filter(|line| line.item_id == kit_id && line.state != LineState::Cancelled);
        standing.map(|line| line.ordered_on).max()
    };
    let mut watched: BTreeMap<i64, (Option<NaiveDate>, i64)> = BTreeMap::new();
    for (link, entry, _) in kits.iter().filter(|(_, entry, _)| !entry.retired) {
        let one = (last_ordered(entry.id), entry.id);
        let best = watched.entry(link.elastomer_id).or_insert(one);
        if one.0 > best.0 {
            *best = one;
        }
    }
    watched.into_values().map(|(_, kit_id)| kit_id).collect()
}

/// Judges all materials and kits of `books` that are in use. One that cannot be judged does not keep the others from it.
#[must_use]
pub fn judge(books: &Books, circumstances: &Circumstances) -> (Vec<Judgement>, Vec<Failure>) {
    let today = circumstances.today;
    let mut failures = Vec::new();
    let mut found: BTreeMap<i64, Judgement> = BTreeMap::new();
    for (id, material) in books.materials.iter().filter(|(_, m)| !m.entry.retired) {
        match judge_material(material, circumstances) {
            Ok(judgement) => {
                found.insert(*id, judgement);
            }
            Err(failure) => failures.push(failure),
        }
    }
    let lines: Vec<OrderLine> = books
        .materials
        .values()
        .flat_map(|material| material.lines.iter().cloned())
        .collect();
    let watched = watched_kits(&books.kits, &lines);
    let mut kits = Vec::new();
    for (link, entry, ratio) in &books.kits {
        let parts = (link.base_id, link.curing_agent_id);
        let (Some(base), Some(curing_agent)) =
            (books.materials.get(&parts.0), books.materials.get(&parts.1))
        else {
            continue;
        };
        let kit = KitBooks {
            kit: entry,
            ratio: *ratio,
            ratio_recipes: books
                .ratio_recipes
                .get(&link.elastomer_id)
                .map_or(&[], Vec::as_slice),
            base,
            curing_agent,
        };
        if let Some(judgement) = found.get_mut(&parts.0) {
            add_once(&mut judgement.alarms, stranded(&kit, today));
        }
        if entry.retired {
            continue;
        }
        let advice_of = |id: i64| found.get(&id).map(|part| &part.advice);
        let parts = [
            (KitPart::Base, advice_of(parts.0)),
            (KitPart::CuringAgent, advice_of(parts.1)),
        ];
        match judge_kit(&kit, parts, watched.contains(&entry.id), circumstances) {
            Ok(judgement) => kits.push(judgement),
            Err(failure) => failures.push(failure),
        }
    }
    for judgement in found.values_mut() {
        say_kit(judgement);
    }
    (found.into_values().chain(kits).collect(), failures)
}

fn judge_material(
    books: &MaterialBooks,
    circumstances: &Circumstances,
) -> Result<Judgement, Failure> {
    let (today, currency) = (circumstances.today, circumstances.currency);
    let mut facts = books.facts(today);
    circumstances.enter(&mut facts);
    let mut advice = assess(&facts).map_err(|error| Failure {
        code: books.entry.code.to_string(),
        error,
    })?;
    say_budget(&mut advice, "pack");
    let kit = books.ordered_as.as_ref().map(|kit| kit.kit.code.as_str());
    let about = About {
        name: &books.entry.name,
        unit: books.entry.body.unit.as_str(),
        lent_micro: books.lent_micro(),
        kit,
        parts: None,
        ratio_work: &[],
        watched: kit.is_none(),
    };
    let view = reorder_view(&advice, about, today);
    let used = advice.daily_demand_micro > 0;
    let mut alarms = expiry_alarms(books, &advice.expiring, used, today, currency);
    let own: Vec<OrderLine> = books
        .lines
        .iter()
        .filter(|line| line.item_id == books.entry.id)
        .cloned()
        .collect();
    let code = books.entry.code.as_str();
    alarms.extend(overdue_alarms(code, &own, books.lead_time_days(), today));
    Ok(Judgement {
        item_id: books.entry.id,
        noun: "material",
        watched: kit.is_none(),
        facts,
        advice,
        view,
        alarms,
    })
}

fn judge_kit(
    kit: &KitBooks<'_>,
    parts: [(KitPart, Option<&ReorderAdvice>); 2],
    watched: bool,
    circumstances: &Circumstances,
) -> Result<Judgement, Failure> {
    let today = circumstances.today;
    let mut facts = kit.facts(today);
    circumstances.enter(&mut facts);
    let mut advice = assess(&facts).map_err(|error| Failure {
        code: kit.kit.code.to_string(),
        error,
    })?;
    let (mix, work) = (kit.usable_mix(today), kit.ratio_work(today));
    match earliest(&advice, parts) {
        Some((part, earlier)) => {
            bound_by(&mut advice, part, earlier);
            // The part was sized by what it costs alone.
            let pack = facts.pack_quantity_micro.unwrap_or(PACK_MICRO_DEFAULT);
            advice.order_quantity.keep_within(
                facts.budget_micro,
                facts.unit_value_micro,
                (pack, facts.min_packs),
            );
        }
        None => {
            if let Some(clause) = rest_clause(kit, &mix, &work) {
                advice.reason = with_clause(&advice.reason, &clause);
            }
        }
    }
    say_budget(&mut advice, "kit");
    let about = About {
        name: &kit.kit.name,
        unit: "g",
        lent_micro: 0,
        kit: None,
        parts: Some(&mix),
        ratio_work: &work,
        watched,
    };
    let view = reorder_view(&advice, about, today);
    let code = kit.kit.code.as_str();
    let own: Vec<OrderLine> = kit
        .base
        .lines
        .iter()
        .filter(|line| line.item_id == kit.kit.id)
        .cloned()
        .collect();
    let usual_days = usual_lead_time_days(&own, &kit.terms());
    let alarms = overdue_alarms(code, &own, usual_days, today);
    Ok(Judgement {
        item_id: kit.kit.id,
        noun: "kit",
        watched,
        facts,
        advice,
        view,
        alarms,
    })
}

/// The part that must be ordered before the kit's own day, if there is one.
fn earliest<'a>(
    kit: &ReorderAdvice,
    parts: [(KitPart, Option<&'a ReorderAdvice>); 2],
) -> Option<(KitPart, &'a ReorderAdvice)> {
    // An order that is due comes before one that is not, then the earlier day.
    let urgency = |advice: &ReorderAdvice| {
        (
            !advice.due,
            !advice.late,
            advice.order_by.unwrap_or(NaiveDate::MAX),
        )
    };
    parts
        .into_iter()
        .filter_map(|(part, advice)| Some((part, advice?)))
        .filter(|(_, advice)| urgency(advice) < urgency(kit))
        .min_by_key(|(_, advice)| urgency(advice))
}

/// A kit is no better than the part of it that runs out first.
fn bound_by(kit: &mut ReorderAdvice, part: KitPart, earlier: &ReorderAdvice) {
    let sooner = |one: Option<NaiveDate>, other: Option<NaiveDate>| match (one, other) {
        (Some(one), Some(other)) => Some(one.min(other)),
        (one, other) => one.or(other),
    };
    kit.order_by = earlier.order_by;
    kit.late = earlier.late;
    kit.due = earlier.due;
    kit.runs_out_on = sooner(kit.runs_out_on, earlier.runs_out_on);
    kit.runs_out_early_on = sooner(kit.runs_out_early_on, earlier.runs_out_early_on);
    if earlier.order_quantity.packs > kit.order_quantity.packs {
        kit.order_quantity.packs = earlier.order_quantity.packs;
    }
    let mut letters = earlier.reason.chars();
    let first = letters.next().map(|letter| letter.to_ascii_lowercase());
    let rest: String = first.into_iter().chain(letters).collect();
    kit.reason = format!("Its {} binds: {rest}", part.words());
}

/// Says what a budget leaves of an order that is due.
fn say_budget(advice: &mut ReorderAdvice, noun: &str) {
    if !advice.due || advice.order_quantity.capped_by != Some(QuantityCap::Budget) {
        return;
    }
    let clause = match advice.order_quantity.packs {
        0 => "what is left of the budget does not pay for it".to_owned(),
        1 => format!("what is left of the budget pays for 1 {noun}"),
        packs => format!("what is left of the budget pays for {packs} {noun}s"),
    };
    advice.reason = with_clause(&advice.reason, &clause);
}

/// Which part binds, what would be left of the other when it is worth a word, and what work would use it up.
fn rest_clause(kit: &KitBooks<'_>, mix: &UsableMix, work: &[(&str, RatioWork)]) -> Option<String> {
    let binding = mix.binding?;
    let (left_micro, least_micro, of) = match binding {
        KitPart::Base => (
            mix.stranded_curing_agent_micro,
            least(kit.kit.body.curing_agent_g.micro()),
            KitPart::CuringAgent,
        ),
        KitPart::CuringAgent => (
            mix.stranded_base_micro,
            least(kit.kit.body.base_g.micro()),
            KitPart::Base,
        ),
    };
    (left_micro > least_micro).then(|| {
        let rest = format!(
            "its {} binds, and {} g of {} would be left over",
            binding.words(),
            shown(left_micro),
            of.words()
        );
        match work.iter().find(|(_, work)| work.uses_all) {
            Some((recipe, work)) => format!(
                "{rest}, which {} g of mix for recipe {recipe} would use up",
                shown(work.mix_micro)
            ),
            None => rest,
        }
    })
}

fn least(content_micro: i64) -> i64 {
    content_micro / 100 * REST_PERCENT
}

fn stranded(kit: &KitBooks<'_>, today: NaiveDate) -> Vec<Wanted> {
    let body = &kit.kit.body;
    let least_micro = (
        least(body.base_g.micro()),
        least(body.curing_agent_g.micro()),
    );
    stranded_alarms(kit.base, kit.curing_agent, least_micro, today)
}

/// Several kits of one elastomer strand the same parts.
fn add_once(alarms: &mut Vec<Wanted>, more: Vec<Wanted>) {
    for alarm in more {
        let same = |known: &Wanted| (known.kind, &known.subject) == (alarm.kind, &alarm.subject);
        if !alarms.iter().any(same) {
            alarms.push(alarm);
        }
    }
}

/// Says of a part that it is ordered as a kit.
fn say_kit(judgement: &mut Judgement) {
    if let Some(kit) = &judgement.view.kit {
        judgement.view.reason = with_clause(
            &judgement.view.reason,
            &format!("it is ordered as kit {kit}"),
        );
    }
}

/// A sentence with one thing more to say.
fn with_clause(sentence: &str, clause: &str) -> String {
    format!("{}; {clause}.", sentence.trim_end_matches('.'))
}
