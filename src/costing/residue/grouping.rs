//! By what the report is grouped, and which rows a cast belongs to, with which share. Pure.
//!
//! Invariant: the shares of a cast add up to all of it, so that rows add up to the total.

use chrono::Datelike;
use serde::Serialize;
use utoipa::ToSchema;

use super::facts::{Observation, PouredCast};
use crate::base::{Micro, Money};
use crate::casting::cost::Component;
use crate::costing::replica_cost::grouping::{Part, WHOLE_SHARE};

/// By what the report is grouped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ResidueBy {
    /// By cup and elastomer: what is learned together.
    #[default]
    Cup,
    /// By recipe.
    Recipe,
    /// By the month of the pour.
    Month,
    /// By who pays: a cast belongs to each of its grants by its share.
    Grant,
    /// Cast by cast.
    Cast,
}

impl ResidueBy {
    /// Every way of grouping.
    pub const ALL: [Self; 5] = [
        Self::Cup,
        Self::Recipe,
        Self::Month,
        Self::Grant,
        Self::Cast,
    ];

    /// Its word.
    ///
    /// ```
    /// assert_eq!(heeltap::costing::residue::grouping::ResidueBy::default().as_str(), "cup");
    /// ```
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Cup => "cup",
            Self::Recipe => "recipe",
            Self::Month => "month",
            Self::Grant => "grant",
            Self::Cast => "cast",
        }
    }

    /// The way of a word; none when the word is unknown.
    ///
    /// ```
    /// use heeltap::costing::residue::grouping::ResidueBy;
    /// assert_eq!(ResidueBy::from_word("cast"), Some(ResidueBy::Cast));
    /// assert_eq!(ResidueBy::from_word("elastomer"), None);
    /// ```
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|by| by.as_str() == word)
    }
}

/// What a row is about; what nobody is charged for comes last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum ResidueKey {
    /// A cup with an elastomer.
    Cup(i64, i64),
    /// A recipe.
    Recipe(i64),
    /// A month: year, month.
    Month(i32, u32),
    /// A grant.
    Grant(i64),
    /// A cast.
    Cast(i64),
    /// What nobody is charged for.
    Unassigned,
}

/// A cast's part in a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RowPart {
    /// The row.
    pub key: ResidueKey,
    /// Its share of the cast's masses, in per cent.
    pub share: Micro,
    /// What it bears of the cast's residue.
    pub value: Money,
}

/// The rows that a cast belongs to. `payers` are its parts by who pays; `first` is its first weighed cup.
///
/// ```
/// use heeltap::base::{Code, Micro};
/// use heeltap::costing::replica_cost::grouping::{Part, WHOLE_SHARE};
/// use heeltap::costing::residue::facts::{Observation, PouredCast};
/// use heeltap::costing::residue::grouping::{ResidueBy, ResidueKey, row_parts};
/// let on = "2026-03-02".parse().unwrap();
/// let cast = PouredCast::read((7, Code::parse("C-00007").unwrap(), 3), on, "{}", "{}")?;
/// let first = Observation {
///     cast_id: 7, batch_no: 1, cup_id: 2, elastomer_id: 5, film: Default::default(), weighed: Default::default(), on,
/// };
/// let payer = |grant, share| Part { grant_id: Some(grant), material_id: None, share: Micro::from_int(share), amounts: Default::default() };
/// let parts = row_parts(ResidueBy::Grant, &cast, &first, &[payer(1, 60), payer(2, 40)])?;
/// assert_eq!((parts[1].key, parts[1].share), (ResidueKey::Grant(2), Micro::from_int(40)));
/// let parts = row_parts(ResidueBy::Cup, &cast, &first, &[])?;
/// assert_eq!((parts[0].key, parts[0].share), (ResidueKey::Cup(2, 5), WHOLE_SHARE));
/// # Ok::<(), heeltap::base::Error>(())
/// ```
///
/// # Errors
/// [`Error::Invalid`](crate::base::Error::Invalid) when a sum leaves the range of money.
pub fn row_parts(
    by: ResidueBy,
    cast: &PouredCast,
    first: &Observation,
    payers: &[Part],
) -> Result<Vec<RowPart>, crate::base::Error> {
    let key = match by {
        ResidueBy::Grant => {
            let of = |part: &Part| RowPart {
                key: part
                    .grant_id
                    .map_or(ResidueKey::Unassigned, ResidueKey::Grant),
                share: part.share,
                value: part.amounts.get(Component::Residue),
            };
            return Ok(payers.iter().map(of).collect());
        }
        ResidueBy::Cup => ResidueKey::Cup(first.cup_id, first.elastomer_id),
        ResidueBy::Recipe => ResidueKey::Recipe(cast.recipe_id),
        ResidueBy::Month => ResidueKey::Month(cast.poured_on.year(), cast.poured_on.month()),
        ResidueBy::Cast => ResidueKey::Cast(cast.id),
    };
    Ok(vec![RowPart {
        key,
        share: WHOLE_SHARE,
        value: residue_value(payers)?,
    }])
}

/// What a cast's residue cost all its payers together.
///
/// ```
/// assert_eq!(heeltap::costing::residue::grouping::residue_value(&[])?, heeltap::base::Money::ZERO);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
///
/// # Errors
/// [`Error::Invalid`](crate::base::Error::Invalid) when the sum leaves the range of money.
pub fn residue_value(payers: &[Part]) -> Result<Money, crate::base::Error> {
    let values = payers
        .iter()
        .map(|part| part.amounts.get(Component::Residue));
    Ok(Money::checked_sum(values)?)
}
