//! By what a report is grouped, and which row a part of a cast belongs to.
//!
//! Invariant: each part of a cast has exactly one row. Deliberately absent: sums (tally).

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::base::{Code, Micro, Money};
use crate::casting::cost::Components;

/// A share of all, in millionths of a per cent.
pub const WHOLE_SHARE: Micro = Micro::from_int(100);

/// By what a report is grouped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum GroupBy {
    /// By who pays.
    #[default]
    Grant,
    /// By the month of the demould.
    Month,
    /// By recipe.
    Recipe,
    /// By material: what of the cost is for what. A cast counts whole, chips and all, in the row of each material it
    /// used, so that a row's cost per good chip is the material's part of it.
    Material,
    /// Cast by cast.
    Cast,
}

impl GroupBy {
    /// Every way of grouping.
    pub const ALL: [Self; 5] = [
        Self::Grant,
        Self::Month,
        Self::Recipe,
        Self::Material,
        Self::Cast,
    ];

    /// Its word.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Grant => "grant",
            Self::Month => "month",
            Self::Recipe => "recipe",
            Self::Material => "material",
            Self::Cast => "cast",
        }
    }

    /// The way of a word; none when the word is unknown.
    ///
    /// ```
    /// use heeltap::costing::replica_cost::grouping::GroupBy;
    /// assert_eq!(GroupBy::from_word("month"), Some(GroupBy::Month));
    /// assert_eq!(GroupBy::from_word("Month"), None);
    /// ```
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|by| by.as_str() == word)
    }
}

/// A demoulded cast as the books hold it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CastFacts {
    /// Its id.
    pub id: i64,
    /// Its code, where it was asked for.
    pub code: Option<Code>,
    /// Its recipe's id.
    pub recipe_id: i64,
    /// The day of its demould.
    pub demolded_on: NaiveDate,
    /// Good chips, 0 or more.
    pub good: i64,
    /// Rejected chips, 0 or more.
    pub rejected: i64,
}

/// One payer's, or one material's, part of a cast.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// The grant; none when nobody is charged.
    pub grant_id: Option<i64>,
    /// The material, in a report by material; none for moulds and coats.
    pub material_id: Option<i64>,
    /// Its share, in per cent, 0 to 100.
    pub share: Micro,
    /// What it bears of the cast's cost.
    pub amounts: Components,
}

/// What a row is about. The order is that of the report; what nobody is charged for comes last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RowKey {
    /// A grant, by its id.
    Grant(i64),
    /// A month: year, month.
    Month(i32, u32),
    /// A recipe, by its id.
    Recipe(i64),
    /// A material, by its id.
    Material(i64),
    /// A cast, by its id.
    Cast(i64),
    /// What nobody is charged for.
    Unassigned,
}

impl RowKey {
    /// The row of a day's month.
    ///
    /// ```
    /// use heeltap::costing::replica_cost::grouping::RowKey;
    /// assert_eq!(RowKey::month("2026-03-04".parse().unwrap()), RowKey::Month(2026, 3));
    /// ```
    #[must_use]
    pub fn month(day: NaiveDate) -> Self {
        Self::Month(day.year(), day.month())
    }

    /// The row of a part of a cast.
    ///
    /// ```
    /// use heeltap::costing::replica_cost::grouping::{CastFacts, GroupBy, Part, RowKey, WHOLE_SHARE};
    /// let cast = CastFacts {
    ///     id: 7,
    ///     code: None,
    ///     recipe_id: 3,
    ///     demolded_on: "2026-03-04".parse().map_err(|_| "a day")?,
    ///     good: 10,
    ///     rejected: 2,
    /// };
    /// let part = Part { grant_id: None, material_id: None, share: WHOLE_SHARE, amounts: Default::default() };
    /// assert_eq!(RowKey::of(GroupBy::Month, &cast, &part), RowKey::Month(2026, 3));
    /// assert_eq!(RowKey::of(GroupBy::Grant, &cast, &part), RowKey::Unassigned);
    /// # Ok::<(), String>(())
    /// ```
    #[must_use]
    pub fn of(by: GroupBy, cast: &CastFacts, part: &Part) -> Self {
        match by {
            GroupBy::Grant => part.grant_id.map_or(Self::Unassigned, Self::Grant),
            GroupBy::Month => Self::month(cast.demolded_on),
            GroupBy::Recipe => Self::Recipe(cast.recipe_id),
            GroupBy::Material => part.material_id.map_or(Self::Unassigned, Self::Material),
            GroupBy::Cast => Self::Cast(cast.id),
        }
    }
}

/// Puts charges and costs of one cast together: grant and share, grant and amounts.
///
/// Without charges, all of it is nobody's. A cost whose grant is not among the charges keeps its grant and has no share
/// of the chips, so that no money is dropped.
///
/// ```
/// use heeltap::base::Micro;
/// use heeltap::costing::replica_cost::grouping::{WHOLE_SHARE, parts_of};
/// let parts = parts_of(&[], &[(None, Default::default())]);
/// assert_eq!((parts.len(), parts[0].share), (1, WHOLE_SHARE));
/// let parts = parts_of(&[(1, Micro::from_int(60)), (2, Micro::from_int(40))], &[]);
/// assert_eq!(parts.len(), 2);
/// ```
#[must_use]
pub fn parts_of(charges: &[(i64, Micro)], costs: &[(Option<i64>, Components)]) -> Vec<Part> {
    let part = |grant_id, share| Part {
        grant_id,
        material_id: None,
        share,
        amounts: Components::default(),
    };
    let mut parts: Vec<Part> = charges
        .iter()
        .map(|&(grant_id, share)| part(Some(grant_id), share))
        .collect();
    if parts.is_empty() {
        parts.push(part(None, WHOLE_SHARE));
    }
    for &(grant_id, amounts) in costs {
        match parts.iter_mut().find(|part| part.grant_id == grant_id) {
            Some(part) => part.amounts = amounts,
            None => parts.push(Part {
                grant_id,
                material_id: None,
                share: Micro::ZERO,
                amounts,
            }),
        }
    }
    parts
}

/// Amounts in the order of the components.
#[must_use]
pub fn in_order(components: &Components) -> [Money; 10] {
    crate::casting::cost::Component::ALL.map(|component| components.get(component))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::casting::cost::Component;

    fn tape(units: i32) -> Components {
        let mut components = Components::default();
        components
            .add(Component::Tape, Money::from_int(units))
            .unwrap();
        components
    }

    #[test]
    fn every_word_has_its_way() {
        for by in GroupBy::ALL {
            assert_eq!(GroupBy::from_word(by.as_str()), Some(by));
            assert_eq!(serde_json::to_value(by).unwrap(), by.as_str());
        }
        assert_eq!(GroupBy::from_word("day"), None);
    }

    #[test]
    fn costs_find_their_payers_and_none_is_dropped() {
        let charges = [(4, Micro::from_int(75)), (9, Micro::from_int(25))];
        let parts = parts_of(
            &charges,
            &[(Some(9), tape(1)), (Some(4), tape(3)), (None, tape(2))],
        );
        let found: Vec<_> = parts
            .iter()
            .map(|part| (part.grant_id, part.share, part.amounts.total().unwrap()))
            .collect();
        assert_eq!(
            found,
            [
                (Some(4), Micro::from_int(75), Money::from_int(3)),
                (Some(9), Micro::from_int(25), Money::from_int(1)),
                (None, Micro::ZERO, Money::from_int(2)),
            ]
        );
    }

    #[test]
    fn amounts_stand_in_the_order_of_the_components() {
        let ordered = in_order(&tape(5));
        assert_eq!(ordered[Component::Tape as usize], Money::from_int(5));
        assert_eq!(ordered.iter().filter(|amount| !amount.is_zero()).count(), 1);
    }
}
