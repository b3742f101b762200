//! What one good chip cost, month by month, with how well that is known.
//!
//! Invariants: points and whiskers are those of the report by month; a month without a good chip has no point, and the line is
//! broken where a month is missing. Deliberately absent: a trend.

use super::figures::{NONE, chip_money, money, per_cent};
use super::plot::{Chart, drawn, round_places};
use super::table::ends;
use crate::base::{Error, Money};
use crate::costing::replica_cost::report::{CostRow, ReplicaCost};

/// How many months are named at most.
const NAMES_MOST: i64 = 6;

/// A month in the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct MonthRow {
    pub(super) month: String,
    pub(super) casts: usize,
    pub(super) good: String,
    pub(super) per_chip: String,
    pub(super) interval: String,
    pub(super) residue: String,
}

/// The months.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Months {
    /// The drawing; none without a good chip.
    pub(super) drawing: Option<String>,
    /// Whether any month has a whisker.
    pub(super) whiskers: bool,
    pub(super) rows: Vec<MonthRow>,
}

/// A month's number, counted from year 0, of a key such as `2026-03`.
fn number(key: &str) -> Result<i64, Error> {
    let wrong = || Error::internal(format!("`{key}` is no month"));
    let (year, month) = key.split_once('-').ok_or_else(wrong)?;
    let whole = |text: &str| text.parse::<i64>().map_err(|_| wrong());
    Ok(whole(year)? * 12 + whole(month)? - 1)
}

/// A month's name, such as `Mar 2026`.
fn name(number: i64) -> String {
    const MONTHS: [&str; 12] = [
        "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
    ];
    let month = usize::try_from(number.rem_euclid(12)).unwrap_or_default();
    format!("{} {}", MONTHS[month], number.div_euclid(12))
}

/// Draws a report by month.
///
/// # Errors
/// [`Error::Internal`] when it cannot be drawn or is no report by month.
pub(super) fn months(report: &ReplicaCost) -> Result<Months, Error> {
    let currency = report.currency;
    let mut rows = Vec::with_capacity(report.rows.len());
    let mut lines: Vec<Vec<(i64, i64)>> = Vec::new();
    let mut whiskers = Vec::new();
    for row in &report.rows {
        let at = number(&row.key)?;
        rows.push(month_row(row, at, report)?);
        let Some(cost) = row.per_good_chip else {
            continue;
        };
        // Places across are half months, so that the first and the last have room beside them.
        let point = (2 * at, cost.micro());
        match lines.last_mut() {
            Some(line) if line.last().is_some_and(|(before, _)| before + 2 == 2 * at) => {
                line.push(point);
            }
            _ => lines.push(vec![point]),
        }
        if let Some(found) = &row.planning_interval {
            whiskers.push((2 * at, found.low.micro(), found.high.micro()));
        }
    }
    let ends = lines.first().and_then(|line| line.first()).copied();
    let ends = ends.zip(lines.last().and_then(|line| line.last()).copied());
    let drawing = ends.map(|((first, _), (last, _))| {
        let points = lines.iter().flatten().map(|(_, amount)| *amount);
        let most = points.chain(whiskers.iter().map(|whisker| whisker.2)).max();
        let step = (last - first) / 2 / NAMES_MOST + 1;
        let named = (first / 2..=last / 2).step_by(usize::try_from(step).unwrap_or(1));
        let amounts = round_places(most.unwrap_or_default());
        drawn(&Chart {
            label: format!(
                "Cost of one good chip by month, {} to {}",
                name(first / 2),
                name(last / 2)
            ),
            across: (first - 1, last + 1),
            names: named.map(|at| (2 * at, name(at))).collect(),
            unit: format!("{currency} per good chip"),
            amounts: amounts
                .into_iter()
                .map(|at| (at, money(Money::from_micro(at), currency)))
                .collect(),
            lines: lines.clone(),
            whiskers: whiskers.clone(),
            mark: None,
        })
    });
    Ok(Months {
        drawing: drawing.transpose()?,
        whiskers: !whiskers.is_empty(),
        rows,
    })
}

fn month_row(row: &CostRow, at: i64, report: &ReplicaCost) -> Result<MonthRow, Error> {
    let currency = report.currency;
    let none = || Ok(NONE.to_owned());
    Ok(MonthRow {
        month: name(at),
        casts: row.casts,
        good: row.good_chips.to_string(),
        per_chip: row
            .per_good_chip
            .map_or_else(none, |cost| chip_money(cost, currency))?,
        interval: row
            .planning_interval
            .as_ref()
            .map_or_else(none, |found| ends(found, currency))?,
        residue: per_cent(row.residue_share),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Currency;
    use crate::casting::cost::Components;
    use crate::costing::period::Period;
    use crate::costing::replica_cost::grouping::{CastFacts, GroupBy, Part, WHOLE_SHARE};
    use crate::costing::replica_cost::report::{Gathering, Names};

    /// A report by month of casts: the day of the demould, good chips, cost.
    fn report(casts: &[(&str, i64, i32)]) -> ReplicaCost {
        let mut gathering = Gathering::new(GroupBy::Month);
        for (id, (on, good, cost)) in (1..).zip(casts) {
            let facts = CastFacts {
                id,
                code: None,
                recipe_id: 1,
                demolded_on: on.parse().unwrap(),
                good: *good,
                rejected: 0,
            };
            let mut amounts = Components::default();
            let chip = crate::casting::cost::Component::Chip;
            amounts.add(chip, Money::from_int(*cost)).unwrap();
            let part = Part {
                grant_id: None,
                material_id: None,
                share: WHOLE_SHARE,
                amounts,
            };
            gathering.add(&facts, &[part]).unwrap();
        }
        let euro = Currency::parse("EUR").unwrap();
        let none = (0, Components::default());
        gathering
            .report(Period::default(), euro, &Names::new(), none, &[])
            .unwrap()
    }

    #[test]
    fn each_month_with_a_good_chip_is_a_point_and_a_gap_breaks_the_line() {
        let mut casts = vec![("2025-12-05", 4, 8), ("2026-01-09", 4, 10)];
        casts.extend([("2026-03-02", 0, 3), ("2026-04-02", 2, 3)]);
        casts.extend([("2026-05-02", 3, 6); 5]);
        let found = months(&report(&casts)).unwrap();
        let drawing = found.drawing.unwrap();
        assert_eq!(drawing.matches("<circle").count(), 4);
        assert_eq!(found.rows.len(), 5);
        let shown = |at: usize| {
            let row: &MonthRow = &found.rows[at];
            (
                row.month.as_str(),
                row.per_chip.as_str(),
                row.interval.as_str(),
            )
        };
        assert_eq!(shown(0), ("Dec 2025", "2.0000", NONE));
        assert_eq!(shown(2), ("Mar 2026", NONE, NONE));
        assert_eq!(shown(4), ("May 2026", "2.0000", "2.0000 to 2.0000"));
        assert!(found.whiskers && drawing.contains("Dec 2025"));
        // Two lines: December to January, and April to May.
        assert_eq!(
            drawing
                .matches("<polyline fill=\"none\" stroke=\"currentColor\"")
                .count(),
            2
        );
    }

    #[test]
    fn without_a_good_chip_nothing_is_drawn() {
        let found = months(&report(&[("2026-03-02", 0, 3)])).unwrap();
        assert_eq!((found.drawing, found.rows.len()), (None, 1));
    }
}
