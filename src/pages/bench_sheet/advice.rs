//! What to do about a mix that was weighed, in a sentence.
//!
//! Invariant: every figure is the correction's own; what stands against an addition is said in the operation's words.

use super::needle::{Window, window};
use super::words::grams;
use crate::base::{Micro, Quantity};
use crate::casting::planning::correction_view::{AdditionOut, CorrectionOut};
use crate::pages::words::{amount, sentence};

/// An advice.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Advice {
    /// Whether something has to be added.
    pub(super) grave: bool,
    /// The verdict in a few words.
    pub(super) verdict: &'static str,
    /// What to do.
    pub(super) says: String,
    /// The ratio in its window.
    pub(super) window: Window,
}

/// The name of a part.
fn part(addition: &AdditionOut) -> &'static str {
    match addition.part {
        "base" => "base",
        _ => "curing agent",
    }
}

fn ratio_words(ratio: Micro) -> String {
    amount(Quantity::new(ratio), "each")
}

/// The advice on a correction; `ratio` is base over curing agent as wanted, `tolerance` how far it may be off, relative to it.
pub(super) fn advice(
    correction: &CorrectionOut,
    (ratio, tolerance): (Micro, Micro),
    places: usize,
) -> Advice {
    let within = correction.within_tolerance;
    let verdict = match (within, correction.ratio_before > ratio) {
        (true, _) => "Within the window.",
        (false, true) => "Too much base.",
        (false, false) => "Too much curing agent.",
    };
    let mut says = format!(
        "Base to curing agent is {} to 1, where {} to 1 is wanted.",
        ratio_words(correction.ratio_before),
        ratio_words(ratio)
    );
    let add = correction.add.as_ref().filter(|add| !add.weigh_g.is_zero());
    match (within, add) {
        (true, _) if correction.note.is_some() => {}
        (true, None) => says.push_str(" Nothing has to be added."),
        (true, Some(add)) => says.push_str(&format!(
            " Nothing has to be added; {} more {} would meet it exactly.",
            grams(add.weigh_g, places),
            part(add)
        )),
        (false, None) => says.push_str(" It is as near as the balance can show."),
        (false, Some(add)) => says.push_str(&what_to_add(correction, add, places)),
    }
    if let Some(note) = &correction.note {
        says.push(' ');
        says.push_str(&sentence(note));
    }
    let off = correction.ratio_before.to_f64() / ratio.to_f64() - 1.0;
    let tolerance = tolerance.to_f64();
    let per_cent = |sign: &str| format!("{sign}{} %", round(tolerance * 100.0));
    Advice {
        grave: !within,
        verdict,
        says,
        window: window(
            (-tolerance, 0.0, tolerance),
            Some(off),
            [
                per_cent("\u{2212}"),
                format!("{} to 1", ratio_words(ratio)),
                per_cent("+"),
            ],
        ),
    }
}

/// To a tenth, for a label.
fn round(number: f64) -> f64 {
    (number * 10.0).round() / 10.0
}

fn what_to_add(correction: &CorrectionOut, add: &AdditionOut, places: usize) -> String {
    let mut says = format!(
        " Add {} of {}: then the mix is {} at {} to 1.",
        grams(add.weigh_g, places),
        part(add),
        grams(add.total_g, places),
        ratio_words(add.weighed_ratio)
    );
    if let Some(least) = &correction.add_to_tolerance
        && least.weigh_g < add.weigh_g
    {
        says.push_str(&format!(
            " {} bring it into the window already.",
            grams(least.weigh_g, places)
        ));
    }
    if correction.note.is_none() {
        if add.cup.as_ref().is_some_and(|cup| cup.fits) {
            says.push_str(" The cup holds it.");
        }
        if let Some(lot) = add.stock.lots.last() {
            says.push_str(&format!(" It comes from lot {}.", lot.lot));
        }
    }
    says
}
