//! What longer draining and larger casts would change for one recipe.
//!
//! Invariants: what stays in a cup is what the residue report says, and what a cast costs is what its plan says; the recipe's
//! own drain time is marked. A cast that the stock does not serve has no point, since what is short costs nothing in a plan.
//! Deliberately absent: which drain time or size is best, as bench time has no price here.

use super::figures::{NONE, chip_money, money, per_cent};
use super::plot::{Chart, drawn, round_places};
use crate::base::{Currency, Error, Micro, Money, Quantity};
use crate::casting::planning::what_if_view::{Outcome, PlanLine};
use crate::costing::residue::drain::DrainTime;
use crate::pages::words::amount;

/// A drain time in the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct DrainLine {
    pub(super) time: String,
    /// Whether it is the recipe's own.
    pub(super) own: bool,
    pub(super) residue: String,
    pub(super) saved: String,
    pub(super) worth: String,
}

/// What stays in a cup against how long it drains.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct DrainCurve {
    /// What it is computed for, in a sentence.
    pub(super) basis: String,
    /// What to know of it.
    pub(super) note: Option<String>,
    /// The drawing; none when the cup cannot give what is needed.
    pub(super) drawing: Option<String>,
    pub(super) lines: Vec<DrainLine>,
}

/// A size of a cast in the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct SizeLine {
    pub(super) trays: u32,
    pub(super) cups: String,
    pub(super) per_chip: String,
    pub(super) residue: String,
    /// Why there is no figure.
    pub(super) why: Option<String>,
}

/// Cost and residue against the trays of a cast.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct SizeCurve {
    /// The residue's share, and the cost of one good chip; none when the stock serves no cast.
    pub(super) drawings: Vec<String>,
    pub(super) lines: Vec<SizeLine>,
}

/// The curve of a recipe's drain time; `sooner` are the times below its own.
///
/// # Errors
/// [`Error::Internal`] when it cannot be drawn.
pub(super) fn drain_curve(
    drain: &DrainTime,
    sooner: &[(Micro, Quantity)],
    currency: Currency,
) -> Result<DrainCurve, Error> {
    let line = |time: Micro, residue: Quantity| DrainLine {
        time: format!("{time} s"),
        own: false,
        residue: amount(residue, "g"),
        saved: NONE.to_owned(),
        worth: NONE.to_owned(),
    };
    let mut points: Vec<(i64, i64)> = Vec::new();
    let mut lines = Vec::new();
    let own = drain.residue_g.map(|residue| (drain.drain_time_s, residue));
    for (time, residue) in sooner.iter().copied().chain(own) {
        points.push((time.micro(), residue.micro()));
        lines.push(line(time, residue));
    }
    if let (Some(last), true) = (lines.last_mut(), own.is_some()) {
        last.own = true;
    }
    for row in &drain.rows {
        points.push((row.drain_time_s.micro(), row.residue_g.micro()));
        let worth = row.saved_value_in_all;
        lines.push(DrainLine {
            saved: amount(row.saved_in_all_g, "g"),
            worth: worth.map_or(Ok(NONE.to_owned()), |worth| in_money(worth, currency))?,
            ..line(row.drain_time_s, row.residue_g)
        });
    }
    let longest = points.last().map_or(0, |point| point.0);
    let most = points.iter().map(|point| point.1).max().unwrap_or(0);
    let named = |places: Vec<i64>, unit: &str| {
        let name = |at: i64| (at, format!("{}{unit}", Micro::from_micro(at)));
        places.into_iter().map(name).collect()
    };
    let chart = Chart {
        label: format!(
            "What is expected to stay in a cup against how long it drains, recipe {}",
            drain.recipe.as_str()
        ),
        across: (0, longest.saturating_add(longest / 20)),
        names: named(round_places(longest), " s"),
        unit: "g in a cup".to_owned(),
        amounts: named(round_places(most), ""),
        lines: vec![points],
        whiskers: Vec::new(),
        mark: Some((
            drain.drain_time_s.micro(),
            format!("the recipe: {} s", drain.drain_time_s),
        )),
    };
    let drawing = own.map(|_| drawn(&chart)).transpose()?;
    Ok(DrainCurve {
        basis: basis(drain),
        note: drain.note.clone(),
        drawing,
        lines,
    })
}

fn in_money(worth: Money, currency: Currency) -> Result<String, Error> {
    Ok(format!("{} {currency}", chip_money(worth, currency)?))
}

fn basis(drain: &DrainTime) -> String {
    let needed = amount(Quantity::from_micro(drain.needed_g.micro()), "g");
    let of = match drain.casts {
        0 => "one tray with its allowance, as no cast of the recipe was poured on these days"
            .to_owned(),
        1 => "the mean over the cups of its one cast poured on these days".to_owned(),
        casts => format!("the mean over the cups of its {casts} casts poured on these days"),
    };
    format!(
        "For a cup ({}) that has to give {needed}, {of}. The factor on the film, as learned so far, is {}.",
        drain.cup.as_str(),
        drain.k_mean
    )
}

/// The curves of the sizes of a cast.
///
/// # Errors
/// [`Error::Internal`] when they cannot be drawn.
pub(super) fn size_curve(
    recipe: &str,
    sizes: &[(u32, Outcome)],
    currency: Currency,
) -> Result<SizeCurve, Error> {
    let (mut shares, mut costs, mut lines) = (Vec::new(), Vec::new(), Vec::new());
    for (trays, outcome) in sizes {
        let mut line = SizeLine {
            trays: *trays,
            cups: NONE.to_owned(),
            per_chip: NONE.to_owned(),
            residue: NONE.to_owned(),
            why: outcome.not_possible.clone(),
        };
        match outcome.line.as_ref() {
            Some(plan) if plan.in_stock => {
                filled(&mut line, plan, currency)?;
                let at = i64::from(*trays);
                shares.extend(plan.residue_share()?.map(|share| (at, share.micro())));
                costs.extend(plan.per_good_chip.map(|cost| (at, cost.micro())));
            }
            Some(_) => line.why = Some("the stock does not serve it".to_owned()),
            None => {}
        }
        lines.push(line);
    }
    let last = sizes.last().map_or(1, |(trays, _)| i64::from(*trays));
    let chart =
        |what: &str, unit: String, points: Vec<(i64, i64)>, name: &dyn Fn(i64) -> String| {
            let most = points.iter().map(|point| point.1).max().unwrap_or_default();
            let amounts = round_places(most).into_iter();
            drawn(&Chart {
                label: format!("{what} against the trays of one cast, recipe {recipe}"),
                across: (0, last + 1),
                names: (1..=last).map(|at| (at, at.to_string())).collect(),
                unit,
                amounts: amounts.map(|at| (at, name(at))).collect(),
                lines: vec![points],
                whiskers: Vec::new(),
                mark: None,
            })
        };
    let mut drawings = Vec::new();
    if !shares.is_empty() {
        let name = |at| per_cent(Some(Micro::from_micro(at)));
        let unit = "residue, share of the cost".to_owned();
        drawings.push(chart("Share of the residue", unit, shares, &name)?);
    }
    if !costs.is_empty() {
        let name = |at| money(Money::from_micro(at), currency);
        let unit = format!("{currency} per good chip");
        drawings.push(chart("Cost of one good chip", unit, costs, &name)?);
    }
    Ok(SizeCurve { drawings, lines })
}

fn filled(line: &mut SizeLine, plan: &PlanLine, currency: Currency) -> Result<(), Error> {
    line.cups = plan.batches.to_string();
    line.residue = per_cent(plan.residue_share()?);
    if let Some(cost) = plan.per_good_chip {
        line.per_chip = chip_money(cost, currency)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::casting::planning::plan::PlanFacts;
    use crate::casting::planning::what_ifs::by_trays;
    use crate::casting::sums::learned::FactorPosterior;
    use crate::catalogue::RecipeFacts;
    use crate::costing::residue::drain::{MixPrice, shorter, trade_off};

    fn recipe() -> RecipeFacts {
        serde_json::from_str(include_str!("../../casting/samples/recipe.json")).unwrap()
    }

    fn euro() -> Currency {
        Currency::parse("EUR").unwrap()
    }

    #[test]
    fn the_recipes_own_drain_time_is_marked_between_shorter_and_longer_ones() {
        let facts = recipe();
        let price = MixPrice {
            base: None,
            curing_agent: None,
            ratio: facts.elastomer.body.ratio,
        };
        let drain = trade_off(&facts, &[], &FactorPosterior::prior(), &price).unwrap();
        let sooner = shorter(&facts, &drain).unwrap();
        let curve = drain_curve(&drain, &sooner, euro()).unwrap();
        let own: Vec<bool> = curve.lines.iter().map(|line| line.own).collect();
        assert_eq!(own.iter().position(|own| *own), Some(3));
        assert_eq!((own.len(), own.iter().filter(|own| **own).count()), (14, 1));
        assert_eq!(curve.lines[3].time, format!("{} s", drain.drain_time_s));
        let drawing = curve.drawing.unwrap();
        assert_eq!(drawing.matches("<circle").count(), 14);
        assert!(drawing.contains(&format!("the recipe: {} s", drain.drain_time_s)));
        assert!(
            curve.basis.contains("that has to give 25.5 g, one tray"),
            "{}",
            curve.basis
        );
    }

    #[test]
    fn a_cast_that_the_stock_does_not_serve_has_no_point() {
        let facts = PlanFacts::bare(recipe(), euro());
        let asked = r#"{"recipe": "chip", "containers": 1, "cast_on": "2026-03-02"}"#;
        let sizes = by_trays(&facts, &serde_json::from_str(asked).unwrap(), 4).unwrap();
        let curve = size_curve("chip", &sizes, euro()).unwrap();
        assert_eq!((curve.drawings.len(), curve.lines.len()), (0, 4));
        assert_eq!(
            curve.lines[3].why.as_deref(),
            Some("the stock does not serve it")
        );
    }
}
