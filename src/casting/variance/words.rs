//! Why a component came to another amount than planned, in one sentence with its figures. Pure.

use super::split::{Split, Used};
use super::used::CastDone;
use crate::base::{Micro, Money, Quantity, Unit, round_half_even_div};
use crate::casting::cost::Component;
use crate::stock::needs::Purpose;

/// A component to be explained.
#[derive(Debug, Clone, Copy)]
pub struct Explained<'a> {
    /// The component.
    pub component: Component,
    /// Its planned and its actual cost.
    pub costs: (Money, Money),
    /// The quantity behind it.
    pub used: Option<Used>,
    /// The difference.
    pub split: Split,
    /// The base currency.
    pub currency: &'a str,
}

/// The sentence. Masses are rounded to 0.01 g in it, unless they would look the same; money is as in the figures.
///
/// ```
/// # use heeltap::casting::planning::plan::{PlanFacts, plan};
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// # let request = r#"{"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"}"#;
/// # let plan = plan(&facts, &serde_json::from_str(request).unwrap())?.view;
/// use heeltap::base::{Money, Quantity, Unit};
/// use heeltap::casting::cost::Component;
/// use heeltap::casting::variance::split::{Used, split};
/// use heeltap::casting::variance::used::CastDone;
/// use heeltap::casting::variance::words::{Explained, why};
/// let done = CastDone { plan: &plan, batches: &[], containers: 2, vials: 0, tape: Quantity::ZERO, lots: vec![] };
/// let used = Used { unit: Unit::G, planned: Quantity::from_int(18), actual: Quantity::parse("21.2")?, priced: true };
/// let costs = (Money::parse("1.8")?, Money::parse("2.12")?);
/// let split = split(costs.0, costs.1, Some(&used))?;
/// let residue = Explained { component: Component::Residue, costs, used: Some(used), split, currency: "EUR" };
/// assert_eq!(
///     why(&done, &residue),
///     "3.2 g more stayed in the cups than planned (21.2 g for 18 g), which makes 0.32 EUR more"
/// );
/// # Ok::<(), heeltap::base::Error>(())
/// ```
#[must_use]
pub fn why(done: &CastDone<'_>, of: &Explained<'_>) -> String {
    let mut sentence = match &of.used {
        None => return without_quantity(of),
        Some(used) => quantities(of.component, used),
    };
    for note in notes(done, of.component) {
        sentence.push_str("; ");
        sentence.push_str(&note);
    }
    sentence.push_str(&amounts(done, of));
    sentence
}

fn without_quantity(of: &Explained<'_>) -> String {
    let (planned, actual) = of.costs;
    let (what, currency) = (of.component.as_str(), of.currency);
    if of.split.difference.is_zero() {
        return match actual.is_zero() {
            true => "nothing of it was planned, and nothing was used".to_owned(),
            false => format!("{what} came to {actual} {currency}, as planned"),
        };
    }
    let (more, word) = more(of.split.difference);
    format!(
        "{what} came to {actual} {currency} for {planned} {currency} planned, {more} {currency} {word}"
    )
}

/// A difference without its sign, and which way it is.
fn more(difference: Money) -> (Money, &'static str) {
    match difference.is_negative() {
        true => (difference.checked_neg().unwrap_or(difference), "less"),
        false => (difference, "more"),
    }
}

/// What happened to elastomer or tape, or what was counted.
const fn happened(component: Component) -> &'static str {
    match component {
        Component::Chip => "became chips",
        Component::Trim => "went beside the mould",
        Component::Overfill => "went beyond what the trays need",
        Component::Residue => "stayed in the cups",
        Component::Tape => "was cut from the roll",
        Component::Container => "poured",
        Component::Cup => "used",
        Component::Release => "cast on the coats",
        Component::Mold => "cast from the mould",
        Component::Sundries => "taken",
    }
}

fn quantities(component: Component, used: &Used) -> String {
    match used.unit {
        Unit::Each => counted(component, used),
        unit => measured(component, used, unit),
    }
}

/// To 0.01, half to even.
fn hundredths(quantity: Quantity) -> Quantity {
    round_half_even_div(i128::from(quantity.micro()), 10_000)
        .and_then(|rounded| i64::try_from(rounded * 10_000).ok())
        .map_or(quantity, Quantity::from_micro)
}

fn measured(component: Component, used: &Used, unit: Unit) -> String {
    let verb = happened(component);
    let (planned, actual) = (hundredths(used.planned), hundredths(used.actual));
    if used.planned == used.actual {
        return format!("{planned} {unit} {verb}, as planned");
    }
    let (planned, actual) = match planned == actual {
        true => (used.planned, used.actual),
        false => (planned, actual),
    };
    let off = Micro::from_micro(actual.micro().abs_diff(planned.micro()).cast_signed());
    let word = if actual > planned { "more" } else { "less" };
    format!("{off} {unit} {word} {verb} than planned ({actual} {unit} for {planned} {unit})")
}

fn counted(component: Component, used: &Used) -> String {
    let noun = match component {
        Component::Cup => "cup",
        _ => "tray",
    };
    let many = |quantity: Quantity| match quantity == Quantity::from_int(1) {
        true => (format!("1 {noun}"), "was"),
        false => (format!("{quantity} {noun}s"), "were"),
    };
    let (planned, actual, verb) = (used.planned, used.actual, happened(component));
    if planned == actual {
        let (count, was) = many(actual);
        return format!("{count} {was} {verb}, as planned");
    }
    let off = Quantity::from_micro(actual.micro().abs_diff(planned.micro()).cast_signed());
    let word = if actual > planned { "more" } else { "fewer" };
    let (count, was) = many(off);
    format!("{count} {word} {was} {verb} than planned ({actual} for {planned})")
}

/// What one has to know besides: batches thrown away, cups not weighed, vials.
fn notes(done: &CastDone<'_>, component: Component) -> Vec<String> {
    match component {
        Component::Overfill => discarded(done),
        Component::Residue => residue_notes(done),
        Component::Release => {
            let planned = done.plan.release.as_ref().map_or(0, |coats| coats.vials);
            let differs = planned != done.vials;
            let note = || format!("{} of {planned} vials planned were used", done.vials);
            differs.then(note).into_iter().collect()
        }
        _ => Vec::new(),
    }
}

fn discarded(done: &CastDone<'_>) -> Vec<String> {
    let thrown = done.batches.iter().filter_map(|batch| {
        let reason = batch.discarded.as_deref()?.trim();
        let mass = hundredths(Quantity::new(batch.total_g));
        Some(format!("batch {} with {mass} g: {reason}", batch.no))
    });
    let thrown: Vec<String> = thrown.collect();
    match thrown.is_empty() {
        true => Vec::new(),
        false => vec![format!("discarded in it: {}", thrown.join(", "))],
    }
}

fn residue_notes(done: &CastDone<'_>) -> Vec<String> {
    let kept = || {
        done.batches
            .iter()
            .filter(|batch| batch.discarded.is_none())
    };
    let mut notes = Vec::new();
    let unweighed = kept()
        .filter(|batch| batch.residue_basis != "weighed")
        .count();
    if unweighed > 0 {
        notes.push(format!(
            "{unweighed} of {} cups not weighed but estimated",
            kept().count()
        ));
    }
    let stirrers = Micro::checked_sum(kept().map(|batch| batch.stirrer_loss_g));
    if let Some(stirrers) = stirrers.ok().filter(|grams| grams.is_positive()) {
        let stirrers = hundredths(Quantity::new(stirrers));
        notes.push(format!(
            "in it {stirrers} g on stirrers, which the plan counts as overfill"
        ));
    }
    notes
}

fn amounts(done: &CastDone<'_>, of: &Explained<'_>) -> String {
    let currency = of.currency;
    let Some((by_quantity, by_price)) = of.split.by_quantity.zip(of.split.by_price) else {
        return unsplit(of);
    };
    let mut words = String::new();
    if !by_quantity.is_zero() {
        let (amount, word) = more(by_quantity);
        words = format!(", which makes {amount} {currency} {word}");
    }
    if !by_price.is_zero() {
        let (amount, word) = more(by_price);
        let source = price_source(done, of.component);
        words.push_str(&format!("; {source} {amount} {currency} {word}"));
    }
    words
}

/// Where there is only a difference: why there is no more, and how much it is.
fn unsplit(of: &Explained<'_>) -> String {
    if of.split.difference.is_zero() {
        return String::new();
    }
    let (amount, word) = more(of.split.difference);
    let unpriced = of.used.is_some_and(|used| !used.priced);
    let reason = match unpriced {
        true => "the plan found too little stock to put a price on it",
        false => "none was planned, so that there is no price to compare with",
    };
    format!("; {reason}: {amount} {} {word}", of.currency)
}

/// What makes the difference by price; lots are named where others were used than planned.
fn price_source(done: &CastDone<'_>, component: Component) -> String {
    let purposes: &[Purpose] = match component {
        Component::Chip | Component::Trim | Component::Overfill | Component::Residue => {
            &[Purpose::Base, Purpose::CuringAgent]
        }
        Component::Tape => &[Purpose::Tape],
        Component::Container => &[Purpose::Container],
        Component::Cup => &[Purpose::Cup],
        Component::Sundries => &[Purpose::Sundry],
        Component::Release => return "what the coats were worth makes".to_owned(),
        Component::Mold => return "what a cast on the mould was worth makes".to_owned(),
    };
    let of_purposes = |purpose: &Purpose| purposes.contains(purpose);
    let picks = done.plan.picks.iter();
    let planned = named(
        picks
            .filter(|pick| of_purposes(&pick.purpose))
            .map(|pick| pick.lot.as_str()),
    );
    let taken = named(
        done.lots
            .iter()
            .filter(|(purpose, _)| of_purposes(purpose))
            .map(|(_, lot)| lot.as_str()),
    );
    if taken.is_empty() || planned == taken {
        return "what the lots were worth makes".to_owned();
    }
    format!(
        "taken from lots {} for {} planned makes",
        taken.join(", "),
        planned.join(", ")
    )
}

/// Lot codes in order, each once.
fn named<'a>(lots: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let lots: std::collections::BTreeSet<&str> = lots.collect();
    lots.into_iter().collect()
}
