//! What price corrections laid on casts: lines of their own beside what the casts cost.
//!
//! Invariant: each amount stands under the day on which it was posted, whatever period its cast belongs to, and under the
//! grant to which it was posted. Deliberately absent: any change of the rows of casts.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::grouping::{GroupBy, RowKey};
use super::report::Names;
use crate::base::{Code, Currency, Error, Money};
use crate::catalogue::UNASSIGNED;
use crate::costing::rounding::print_table;

/// A price variance, as it was posted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Posted {
    /// The cast with its code and recipe; none for coats that were still on moulds.
    pub cast: Option<(i64, Code, i64)>,
    /// The material whose price was corrected.
    pub material_id: i64,
    /// The grant that was charged; none when none was.
    pub grant_id: Option<i64>,
    /// The day under which it was posted.
    pub on: NaiveDate,
    /// How much; below 0 for a credit.
    pub amount: Money,
}

/// What price corrections posted in the period laid on casts, whenever those were demoulded.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PriceVariances {
    /// The lines, by key; what nobody is charged for, or no cast stands behind, comes last.
    pub rows: Vec<VarianceRow>,
    /// All of them, rounded.
    pub total: Money,
    /// All of them before rounding, to the millionth.
    pub exact_total: Money,
}

/// A line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct VarianceRow {
    /// A grant's, recipe's, material's or cast's code, a month (`YYYY-MM`), or `unassigned`.
    pub key: String,
    /// The name of the grant, recipe or material.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The amount, rounded so that the lines add up.
    pub total: Money,
    /// Before rounding, to the millionth.
    pub exact_total: Money,
}

/// The lines of what was posted.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of money; [`Error::Internal`] when a name is missing.
///
/// ```
/// use heeltap::base::{Currency, Money};
/// use heeltap::costing::replica_cost::{grouping::GroupBy, variance::{Posted, price_variances}};
/// let posted = |amount| Posted { cast: None, material_id: 1, grant_id: None, on: "2026-03-04".parse().unwrap(), amount };
/// let euro = Currency::parse("EUR").map_err(heeltap::base::Error::internal)?;
/// let posted = [posted(Money::parse("1.005")?), posted(Money::parse("-0.5")?)];
/// let lines = price_variances(GroupBy::Month, &posted, &Default::default(), euro)?;
/// assert_eq!((lines.rows[0].key.as_str(), lines.exact_total.to_string()), ("2026-03", "0.505".into()));
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn price_variances(
    by: GroupBy,
    posted: &[Posted],
    names: &Names,
    currency: Currency,
) -> Result<PriceVariances, Error> {
    let mut sums: BTreeMap<RowKey, (Option<&Code>, Money)> = BTreeMap::new();
    for posted in posted {
        let cast = posted.cast.as_ref();
        let key = match by {
            GroupBy::Grant => posted.grant_id.map(RowKey::Grant),
            GroupBy::Month => Some(RowKey::month(posted.on)),
            GroupBy::Recipe => cast.map(|(_, _, recipe_id)| RowKey::Recipe(*recipe_id)),
            GroupBy::Material => Some(RowKey::Material(posted.material_id)),
            GroupBy::Cast => cast.map(|(id, _, _)| RowKey::Cast(*id)),
        };
        let code = cast.map(|(_, code, _)| code);
        let sum = sums
            .entry(key.unwrap_or(RowKey::Unassigned))
            .or_insert((code, Money::ZERO));
        sum.1 = sum.1.checked_add(posted.amount)?;
    }
    let mut labelled = Vec::with_capacity(sums.len());
    for (key, (code, sum)) in sums {
        let (text, name) = label(key, code, names)?;
        labelled.push((key == RowKey::Unassigned, text, name, sum));
    }
    labelled.sort_by(|a, b| (a.0, &a.1).cmp(&(b.0, &b.1)));
    let exact: Vec<[Money; 1]> = labelled.iter().map(|row| [row.3]).collect();
    let table = print_table(&exact, currency)?;
    let exact_total = Money::checked_sum(exact.iter().map(|[sum]| *sum))?;
    let rows = labelled
        .into_iter()
        .zip(table.rows)
        .map(|((_, key, name, exact_total), printed)| VarianceRow {
            key,
            name,
            total: printed.total,
            exact_total,
        })
        .collect();
    Ok(PriceVariances {
        rows,
        total: table.total.total,
        exact_total,
    })
}

fn label(
    key: RowKey,
    code: Option<&Code>,
    names: &Names,
) -> Result<(String, Option<String>), Error> {
    match key {
        RowKey::Unassigned => Ok((UNASSIGNED.to_owned(), None)),
        RowKey::Month(year, month) => Ok((format!("{year:04}-{month:02}"), None)),
        RowKey::Cast(_) => Ok((code.map(ToString::to_string).unwrap_or_default(), None)),
        RowKey::Grant(id) | RowKey::Recipe(id) | RowKey::Material(id) => names
            .get(&id)
            .map(|(code, name)| (code.to_string(), Some(name.clone())))
            .ok_or_else(|| Error::internal(format!("the catalogue has no name for {id}"))),
    }
}
