//! The report of waste: rows from casts and losses, and a total.
//!
//! Invariants: amounts are printed at the currency's minor unit and add up along rows and columns; the exact sums stand
//! beside them. Deliberately absent: the layout of files (`sheet`).

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use super::category::{CATEGORIES, Category};
use super::grouping::{WasteBy, WasteKey};
use super::loss::Loss;
use super::stranded::StrandedPart;
use super::tally::{Amounts, WasteTally};
use crate::base::{Currency, Error, Micro, Money};
use crate::costing::period::Period;
use crate::costing::replica_cost::report::{Names, TOTAL};
use crate::costing::rounding::{PrintedRow, print_table};

/// What was paid for in a period and became no good chip.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct WasteReport {
    /// The first day; null when the period is open to the past.
    pub from: Option<NaiveDate>,
    /// The last day; null when the period is open to the future.
    pub to: Option<NaiveDate>,
    /// By what the rows are grouped.
    pub group_by: WasteBy,
    /// The base currency, in which every amount is.
    pub currency: Currency,
    /// How the amounts were rounded.
    pub rounding: String,
    /// The rows; what belongs to none of them comes last.
    pub rows: Vec<WasteRow>,
    /// All rows together. A cast with several rows counts once here.
    pub total: WasteRow,
    /// Parts of kits that stood on the shelf on the last day without their partner. No waste yet, and in no sum.
    pub stranded_on_the_shelf: Vec<StrandedPart>,
}

/// A row of the report.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct WasteRow {
    /// A code, a month (`YYYY-MM`), the word for what has no other row, or `total`.
    pub key: String,
    /// The name of the grant, material or recipe.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Casts that were demoulded in the period and have a part in the row.
    pub casts: usize,
    /// What those casts cost, the row's part, to the millionth.
    pub spent_on_casts: Money,
    /// Amounts by kind of waste, in their order, rounded so that rows and columns add up.
    pub amounts: Vec<WasteAmount>,
    /// Their sum.
    pub total: Money,
    /// The sum before rounding, to the millionth.
    pub exact_total: Money,
    /// The part of it within casts, to the millionth: what `spent_on_casts` holds beside good chips.
    pub exact_in_casts: Money,
    /// The part within casts over what was spent on them, 0 to 1; absent when nothing was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub waste_share: Option<Micro>,
}

/// An amount of one kind of waste.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct WasteAmount {
    /// The kind.
    pub category: Category,
    /// The amount, rounded so that rows and columns add up.
    pub amount: Money,
    /// Before rounding, to the millionth.
    pub exact: Money,
}

/// Gathers casts and losses into a report.
#[derive(Debug)]
pub struct WasteGathering {
    by: WasteBy,
    rows: BTreeMap<WasteKey, WasteTally>,
    total: WasteTally,
}

impl WasteGathering {
    /// An empty report.
    #[must_use]
    pub fn new(by: WasteBy) -> Self {
        Self {
            by,
            rows: BTreeMap::new(),
            total: WasteTally::default(),
        }
    }

    /// Adds a cast: for each of its rows what it cost and what of that was wasted; each cast once, each row once.
    ///
    /// # Errors
    /// [`Error::Invalid`] when a sum leaves the range of money.
    pub fn add_cast(&mut self, parts: &[(WasteKey, Money, Amounts)]) -> Result<(), Error> {
        let (mut spent, mut wasted) = (Money::ZERO, Amounts::default());
        for (key, part, amounts) in parts {
            self.rows
                .entry(*key)
                .or_default()
                .add_cast(*part, amounts)?;
            spent = spent.checked_add(*part)?;
            wasted.add_all(amounts)?;
        }
        self.total.add_cast(spent, &wasted)
    }

    /// Adds a loss.
    ///
    /// # Errors
    /// As [`WasteGathering::add_cast`].
    pub fn add_loss(&mut self, loss: &Loss) -> Result<(), Error> {
        let row = self.rows.entry(loss.key(self.by)).or_default();
        row.amounts.add(loss.category, loss.amount)?;
        self.total.amounts.add(loss.category, loss.amount)
    }

    /// The report.
    ///
    /// # Errors
    /// [`Error::Internal`] when a name is missing; [`Error::Invalid`] when a sum leaves the range of money.
    ///
    /// ```
    /// use heeltap::base::Currency;
    /// use heeltap::costing::period::Period;
    /// use heeltap::costing::waste::{grouping::WasteBy, report::WasteGathering};
    /// let euro = Currency::parse("EUR").map_err(heeltap::base::Error::internal)?;
    /// let empty = WasteGathering::new(WasteBy::Month);
    /// let report = empty.report(Period::default(), euro, &Default::default(), vec![])?;
    /// assert_eq!((report.rows.len(), report.total.waste_share), (0, None));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn report(
        self,
        period: Period,
        currency: Currency,
        names: &Names,
        stranded: Vec<StrandedPart>,
    ) -> Result<WasteReport, Error> {
        let mut named = Vec::with_capacity(self.rows.len());
        for (key, tally) in &self.rows {
            let (text, name) = label(self.by, *key, names)?;
            named.push((*key == WasteKey::Rest, text, name, tally));
        }
        named.sort_by(|a, b| (a.0, &a.1).cmp(&(b.0, &b.1)));
        let exact: Vec<_> = named.iter().map(|row| row.3.amounts.in_order()).collect();
        let table = print_table(&exact, currency)?;
        let mut rows = Vec::with_capacity(named.len());
        for ((_, text, name, tally), printed) in named.into_iter().zip(&table.rows) {
            rows.push(row(text, name, tally, printed)?);
        }
        Ok(WasteReport {
            from: period.from(),
            to: period.to(),
            group_by: self.by,
            currency,
            rounding: rounding_rule(currency),
            rows,
            total: row(TOTAL.to_owned(), None, &self.total, &table.total)?,
            stranded_on_the_shelf: stranded,
        })
    }
}

/// The rule by which amounts are rounded, in words.
fn rounding_rule(currency: Currency) -> String {
    let unit = currency.format(Money::from_micro(currency.minor_unit_micro()));
    format!(
        "amounts are rounded to {unit} {currency}: the grand total half to even, then the rows, then their kinds, by \
         largest remainder, so that rows and columns add up; spent_on_casts, exact sums and shares are given to the \
         millionth"
    )
}

fn label(by: WasteBy, key: WasteKey, names: &Names) -> Result<(String, Option<String>), Error> {
    match key {
        WasteKey::Rest => Ok((by.rest().to_owned(), None)),
        WasteKey::Month(year, month) => Ok((format!("{year:04}-{month:02}"), None)),
        WasteKey::Id(id) => names
            .get(&id)
            .map(|(code, name)| {
                let name = (!name.is_empty()).then(|| name.clone());
                (code.as_str().to_owned(), name)
            })
            .ok_or_else(|| Error::internal(format!("there is no name for {id}"))),
    }
}

fn row(
    key: String,
    name: Option<String>,
    tally: &WasteTally,
    printed: &PrintedRow<CATEGORIES>,
) -> Result<WasteRow, Error> {
    let exact = tally.amounts.in_order();
    let amounts = Category::ALL
        .into_iter()
        .zip(printed.cells.into_iter().zip(exact));
    Ok(WasteRow {
        key,
        name,
        casts: tally.casts,
        spent_on_casts: tally.spent,
        amounts: amounts
            .map(|(category, (amount, exact))| WasteAmount {
                category,
                amount,
                exact,
            })
            .collect(),
        total: printed.total,
        exact_total: tally.amounts.total()?,
        exact_in_casts: tally.amounts.in_casts()?,
        waste_share: tally.share()?,
    })
}
