//! Whether a plan can be cast, in a sentence; and what is short of it, with what would help.
//!
//! Invariants: what would help is either a change of what was asked, which leads to the plan with just that changed, or is said
//! in the plan's own words; nothing is offered that is asked for already. Deliberately absent: any choice of its own.

use chrono::NaiveDate;

use super::asked::Asked;
use super::ops::{Names, Planned};
use super::takes::{named, of_material};
use crate::base::Quantity;
use crate::casting::planning::plan_view::{CastPlan, ShortageView};
use crate::casting::planning::what_if::CupLine;
use crate::catalogue::Beyond;
use crate::pages::parts::expected_good;
use crate::pages::words::{counted, day, money, sentence};

/// What comes first: whether it can be cast.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Verdict {
    /// In a word or two.
    pub(super) word: &'static str,
    /// In a sentence.
    pub(super) says: String,
    /// What comes of it and what that costs; none while something is short, which has no price.
    pub(super) comes_to: Option<String>,
    /// Whether nothing stands against booking it.
    pub(super) bookable: bool,
    /// Whether stock is short.
    pub(super) short: bool,
    /// What is short, a sentence each.
    pub(super) shortages: Vec<String>,
    /// What would help.
    pub(super) helps: Vec<Help>,
    /// The grants that do not pay for it, and why.
    pub(super) warnings: Vec<String>,
}

/// What would help.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Help {
    /// In words.
    pub(super) says: String,
    /// Where it leads.
    pub(super) address: String,
}

/// Judges a plan by what it says of itself.
pub(super) fn verdict(found: &Planned, asked: &Asked, today: NaiveDate) -> Verdict {
    let plan = &found.answer.plan;
    let short = !plan.shortages.is_empty();
    let warnings = plan.charge_warnings.iter();
    let refused = warnings
        .clone()
        .any(|warning| warning.beyond == Beyond::Refuse);
    let on = match plan.cast_on == today {
        true => "today".to_owned(),
        false => format!("on {}", day(plan.cast_on, today)),
    };
    let short_of = |short: &ShortageView| shortage(short, &found.materials, today);
    Verdict {
        word: match (short, refused) {
            (true, _) => "Short.",
            (false, true) => "It is not paid for.",
            (false, false) => "It can be cast.",
        },
        says: says(plan, found.request.good_chips_wanted, &on),
        comes_to: (!short).then(|| comes_to(plan)),
        bookable: (!short || found.request.allow_short) && !refused,
        short,
        shortages: plan.shortages.iter().map(short_of).collect(),
        helps: match short {
            true => helps(found, asked),
            false => Vec::new(),
        },
        warnings: warnings.map(|warning| sentence(&warning.detail)).collect(),
    }
}

/// What comes of a plan, and what a good chip of it costs.
fn comes_to(plan: &CastPlan) -> String {
    let good = expected_good(plan);
    match plan.cost.per_good_chip {
        Some(each) => format!("{good}, at {} each.", money(each, &plan.cost.currency)),
        None => format!("{good}."),
    }
}

fn says(plan: &CastPlan, wanted: Option<u32>, on: &str) -> String {
    let trays = counted(plan.containers, "tray", "trays");
    let for_chips = match wanted {
        Some(wanted) => format!(
            "For {} it takes {trays}. ",
            counted(wanted, "good chip", "good chips")
        ),
        None => String::new(),
    };
    match plan.shortages.is_empty() {
        true => format!("{for_chips}The stock serves {trays} {on}."),
        false => match plan.largest_bookable {
            0 => format!("{for_chips}The stock does not serve a single tray {on}."),
            some => format!("{for_chips}The stock serves {some} of {trays} {on}."),
        },
    }
}

/// What is short, how much of it, and what is known of more.
fn shortage(short: &ShortageView, names: &Names, today: NaiveDate) -> String {
    let of = |quantity| of_material(names, &short.material, quantity);
    let mut says = format!(
        "{}: {} needed, {} free.",
        named(names, &short.material),
        of(short.needed),
        of(short.available)
    );
    if short.on_order > Quantity::ZERO {
        says.push_str(&format!(" {} on order", of(short.on_order)));
        if let Some(on) = short.arrives_on {
            says.push_str(&format!(", the first of it expected {}", day(on, today)));
        }
        says.push('.');
    }
    if !short.held_by_later.is_empty() {
        says.push_str(&format!(
            " Later casts hold some of it: {}.",
            short.held_by_later.join(", ")
        ));
    }
    if let Some(hint) = &short.hint {
        says.push(' ');
        says.push_str(&sentence(hint));
    }
    says
}

fn helps(found: &Planned, asked: &Asked) -> Vec<Help> {
    let plan = &found.answer.plan;
    let mut helps = Vec::new();
    let mut help = |says: String, changes: &[(&str, &str)]| {
        helps.push(Help {
            says,
            address: asked.otherwise(changes),
        });
    };
    if plan.largest_bookable > 0 {
        let trays = plan.largest_bookable.to_string();
        let says = format!(
            "Cast {} instead",
            counted(plan.largest_bookable, "tray", "trays")
        );
        help(says, &[("containers", &trays)]);
    }
    if let Some(line) = in_stock(found) {
        let most = line.containers_per_batch.to_string();
        let says = format!(
            "Fill at most {} from a cup",
            counted(line.containers_per_batch, "tray", "trays")
        );
        help(says, &[("containers_per_batch", &most)]);
    }
    if let Some(on) = delivered(plan) {
        let says = format!(
            "Wait for what is on order: cast it {}",
            day(on, plan.cast_on)
        );
        help(says, &[("cast_on", &on.to_string())]);
    }
    for leave in asked.leaves.iter().filter(|leave| !leave.given) {
        let helps = match leave.name {
            "allow_short" => true,
            "take_from_later" => {
                let mut short = plan.shortages.iter();
                short.any(|short| !short.held_by_later.is_empty())
            }
            name => is_named(plan, name),
        };
        if helps {
            help(leave.says.to_owned(), &[(leave.name, "true")]);
        }
    }
    helps.push(Help {
        says: "Order what is missing".to_owned(),
        address: "/buy".to_owned(),
    });
    helps
}

/// The day by which the first of all that is short is expected, where it is all on order and comes after the day planned for.
fn delivered(plan: &CastPlan) -> Option<NaiveDate> {
    let arrives = plan.shortages.iter().map(|short| {
        let missing = short.needed.checked_sub(short.available).ok()?;
        short.arrives_on.filter(|_| short.on_order >= missing)
    });
    let days: Vec<NaiveDate> = arrives.collect::<Option<_>>()?;
    days.into_iter().max().filter(|on| *on > plan.cast_on)
}

/// Whether the plan itself says of something short that a leave would use it.
fn is_named(plan: &CastPlan, leave: &str) -> bool {
    let short = |material: &str| {
        plan.shortages
            .iter()
            .any(|short| short.material == material)
    };
    let hints = plan
        .shortages
        .iter()
        .filter_map(|short| short.hint.as_ref());
    let passed = plan.passed_over.iter();
    let over = passed
        .filter(|over| short(&over.material))
        .map(|over| &over.why);
    hints.chain(over).any(|words| words.contains(leave))
}

/// The first other division into cups that the stock serves.
fn in_stock(found: &Planned) -> Option<&CupLine> {
    let lines = found.answer.what_if.as_deref().unwrap_or_default();
    lines.iter().find(|line| line.in_stock && !line.chosen)
}
