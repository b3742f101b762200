//! What the form of the page asks for: days, by what the rows are, and a recipe for the curves.
//!
//! Invariants: what is wrong is told at its field, in the words of the API, and what was typed stays; an empty field is one
//! that was not filled in. Deliberately absent: whether there is such a recipe.

use serde::Deserialize;

use crate::costing::period::{Period, PeriodError};
use crate::costing::replica_cost::grouping::GroupBy;
use crate::costing::reports::not_one_of;

/// By what the page groups its rows, with the words for it.
pub(super) const GROUPINGS: [(GroupBy, &str); 2] =
    [(GroupBy::Grant, "grant"), (GroupBy::Recipe, "recipe")];

/// The query of the page, as it was typed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
pub(super) struct CostQuery {
    #[serde(default)]
    pub(super) from: String,
    #[serde(default)]
    pub(super) to: String,
    #[serde(default)]
    pub(super) group_by: String,
    #[serde(default)]
    pub(super) recipe: String,
}

/// What is asked for, when nothing is wrong with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct CostAsked {
    /// The days.
    pub(super) period: Period,
    /// By what the rows are.
    pub(super) by: GroupBy,
    /// The recipe of the curves, if one was chosen.
    pub(super) recipe: Option<String>,
}

/// What is wrong, by field.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Faults {
    pub(super) from: Option<String>,
    pub(super) to: Option<String>,
    pub(super) group_by: Option<String>,
    pub(super) recipe: Option<String>,
}

/// A text, unless it is empty.
pub(super) fn filled(text: &str) -> Option<&str> {
    Some(text.trim()).filter(|text| !text.is_empty())
}

impl CostQuery {
    /// Reads the query.
    ///
    /// # Errors
    /// What is wrong, all of it.
    pub(super) fn parse(&self) -> Result<CostAsked, Faults> {
        let mut faults = Faults::default();
        let (from, to) = (filled(&self.from), filled(&self.to));
        let period = match (Period::parse(from, None), Period::parse(None, to)) {
            (Ok(_), Ok(_)) => Period::parse(from, to),
            (from, to) => {
                let word = |error: PeriodError| error.to_string();
                faults.from = from.err().map(word);
                faults.to = to.err().map(word);
                Ok(Period::default())
            }
        };
        let period = period.unwrap_or_else(|reversed| {
            faults.from = Some(reversed.to_string());
            Period::default()
        });
        let by = match filled(&self.group_by) {
            None => Some(GroupBy::default()),
            Some(word) => GROUPINGS
                .into_iter()
                .map(|(by, _)| by)
                .find(|by| by.as_str() == word),
        };
        if by.is_none() {
            let words = GROUPINGS.map(|(by, _)| by.as_str());
            faults.group_by = Some(not_one_of("group_by", &self.group_by, &words));
        }
        match (by, faults == Faults::default()) {
            (Some(by), true) => Ok(CostAsked {
                period,
                by,
                recipe: filled(&self.recipe).map(str::to_owned),
            }),
            _ => Err(faults),
        }
    }
}

impl CostAsked {
    /// The address of the report as a file; `ending` is `csv` or `xlsx`.
    pub(super) fn file(&self, ending: &str) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        for (name, day) in [("from", self.period.from()), ("to", self.period.to())] {
            if let Some(day) = day {
                query.append_pair(name, &day.to_string());
            }
        }
        query.append_pair("group_by", self.by.as_str());
        format!("/cost/report.{ending}?{}", query.finish())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn query(from: &str, to: &str, group_by: &str) -> CostQuery {
        CostQuery {
            from: from.to_owned(),
            to: to.to_owned(),
            group_by: group_by.to_owned(),
            recipe: String::new(),
        }
    }

    #[test]
    fn an_empty_form_asks_for_all_time_by_grant() {
        let asked = query("", " ", "").parse().unwrap();
        assert_eq!(
            (asked.period, asked.by),
            (Period::default(), GroupBy::Grant)
        );
        assert_eq!(asked.file("csv"), "/cost/report.csv?group_by=grant");
        let asked = query("2026-03-01", "2026-03-31", "recipe").parse().unwrap();
        assert_eq!(
            asked.file("xlsx"),
            "/cost/report.xlsx?from=2026-03-01&to=2026-03-31&group_by=recipe"
        );
    }

    #[test]
    fn every_fault_is_told_at_its_field() {
        let faults = query("1 March", "2026-02-30", "moon").parse().unwrap_err();
        assert_eq!(
            faults.from.unwrap(),
            "from `1 March` is not a day: write YYYY-MM-DD, such as 2026-03-31"
        );
        assert!(
            faults
                .to
                .unwrap()
                .starts_with("to `2026-02-30` is not a day")
        );
        assert_eq!(
            faults.group_by.unwrap(),
            "group_by `moon` is not one of grant, recipe"
        );
        let faults = query("2026-03-02", "2026-03-01", "").parse().unwrap_err();
        assert!(
            faults
                .from
                .unwrap()
                .starts_with("from 2026-03-02 is after to 2026-03-01")
        );
        assert_eq!(faults.to, None);
    }
}
