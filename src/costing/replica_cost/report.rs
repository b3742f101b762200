//! The report of what replicas cost: rows from casts, a total, and the work in progress.
//!
//! Invariants: amounts are printed at the currency's minor unit and add up along rows and columns; `exact_total`, the
//! cost per good chip and the shares come from the sums before rounding, so that the report can be held against the
//! books; the rows of one report are in a fixed order. Deliberately absent: charge statements (an interval never stands
//! on one), the layout of files (`sheet`).

use std::collections::{BTreeMap, HashMap};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::grouping::{CastFacts, GroupBy, Part, RowKey, WHOLE_SHARE, in_order};
use super::interval::{PlanningInterval, planning_interval};
use super::tally::{CHIP_PARTS, Tally};
use super::variance::{Posted, PriceVariances, price_variances};
use crate::base::{Code, Currency, Error, MICRO_PER_UNIT, Micro, Money};
use crate::casting::cost::{Component, ComponentAmount, Components};
use crate::catalogue::UNASSIGNED;
use crate::costing::period::Period;
use crate::costing::rounding::{PrintedRow, parts_adding_up, print_table};

/// The key of what no material stands behind.
pub const WITHOUT_MATERIAL: &str = "moulds_and_coats";

/// The key of the report's total.
pub const TOTAL: &str = "total";

/// What replicas cost in a period.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReplicaCost {
    /// The first day, by the day of the demould; null when the period is open to the past.
    pub from: Option<NaiveDate>,
    /// The last day, by the day of the demould; null when the period is open to the future.
    pub to: Option<NaiveDate>,
    /// By what the rows are grouped.
    pub group_by: GroupBy,
    /// The base currency, in which every amount is.
    pub currency: Currency,
    /// How the amounts were rounded.
    pub rounding: String,
    /// The rows, by key; what nobody is charged for comes last.
    pub rows: Vec<CostRow>,
    /// All rows together. A cast charged to several grants counts once here, and once in the row of each.
    pub total: CostRow,
    /// What was poured by the last day of the period and not demoulded by then. It is in no row.
    pub work_in_progress: WorkInProgress,
    /// What price corrections posted in the period laid on casts, whenever those were demoulded. It is in no row.
    pub price_variance: PriceVariances,
}

/// A row of the report.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CostRow {
    /// A grant's, recipe's, material's or cast's code, a month (`YYYY-MM`), `unassigned`, `moulds_and_coats`, or `total`.
    pub key: String,
    /// The name of the grant, recipe or material.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Casts; by grant, the casts charged to it at all; by material, those that used it.
    pub casts: usize,
    /// Of those, casts without a good chip. Their cost is in every amount here.
    pub scrapped_casts: usize,
    /// Chips, good and rejected. By grant, each cast's chips by the grant's share of it: a decimal, so that cost per
    /// good chip means the same in every row.
    pub chips: Micro,
    /// Good chips; by grant, by its share.
    pub good_chips: Micro,
    /// Good chips over chips, 0 to 1; absent without a chip.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub r#yield: Option<Micro>,
    /// Amounts by component, in their order, rounded so that rows and columns add up.
    pub components: Vec<ComponentAmount>,
    /// Their sum.
    pub total: Money,
    /// The sum before rounding, to the millionth: equal to what the books hold.
    pub exact_total: Money,
    /// The exact total over good chips, to the millionth; absent without a good chip.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub per_good_chip: Option<Money>,
    /// How well the cost per good chip is known, for planning; absent below five casts or without a good chip.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub planning_interval: Option<PlanningInterval>,
    /// Elastomer left in the cups, as a share of the cost, 0 to 1; absent when nothing was spent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub residue_share: Option<Micro>,
    /// Elastomer cut away beside the moulds, as a share of the cost, 0 to 1; absent when nothing was spent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trim_share: Option<Micro>,
}

/// What has been poured and not demoulded.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WorkInProgress {
    /// Casts.
    pub casts: usize,
    /// Amounts by component, in their order, rounded so that they add up.
    pub components: Vec<ComponentAmount>,
    /// Their sum.
    pub total: Money,
    /// The sum before rounding, to the millionth.
    pub exact_total: Money,
}

/// Codes and names of grants and recipes, by id.
pub type Names = HashMap<i64, (Code, String)>;

/// Gathers casts into a report.
#[derive(Debug)]
pub struct Gathering {
    by: GroupBy,
    rows: BTreeMap<RowKey, (Tally, Option<Code>)>,
    total: Tally,
}

impl Gathering {
    /// An empty report.
    #[must_use]
    pub fn new(by: GroupBy) -> Self {
        Self {
            by,
            rows: BTreeMap::new(),
            total: Tally::default(),
        }
    }

    /// Adds a cast with its parts, one for each payer; each cast once.
    ///
    /// # Errors
    /// [`Error::Invalid`] when a sum leaves the range of money.
    pub fn add(&mut self, cast: &CastFacts, parts: &[Part]) -> Result<(), Error> {
        let counts = (cast.good, cast.rejected);
        let mut whole = Part {
            grant_id: None,
            material_id: None,
            share: WHOLE_SHARE,
            amounts: Components::default(),
        };
        for part in parts {
            let key = RowKey::of(self.by, cast, part);
            let (tally, _) = self
                .rows
                .entry(key)
                .or_insert_with(|| (Tally::default(), cast.code.clone()));
            tally.add(counts, part)?;
            for (component, amount) in part.amounts.iter() {
                whole.amounts.add(component, amount)?;
            }
        }
        self.total.add(counts, &whole)
    }

    /// The report, with what is in progress (its casts and its amounts) and the price variances posted.
    ///
    /// # Errors
    /// [`Error::Internal`] when a name is missing; [`Error::Invalid`] when a sum leaves the range of money.
    ///
    /// ```
    /// use heeltap::base::Currency;
    /// use heeltap::costing::replica_cost::grouping::GroupBy;
    /// use heeltap::costing::period::Period;
    /// use heeltap::costing::replica_cost::report::{Gathering, Names};
    /// let euro = Currency::parse("EUR").map_err(heeltap::base::Error::internal)?;
    /// let report = Gathering::new(GroupBy::Month).report(
    ///     Period::default(), euro, &Names::new(), (0, Default::default()), &[],
    /// )?;
    /// assert_eq!((report.rows.len(), report.total.per_good_chip), (0, None));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn report(
        self,
        period: Period,
        currency: Currency,
        names: &Names,
        (in_progress, amounts): (usize, Components),
        posted: &[Posted],
    ) -> Result<ReplicaCost, Error> {
        let mut named = Vec::with_capacity(self.rows.len());
        for (key, (tally, code)) in self.rows {
            let (text, name) = label(self.by, key, code, names)?;
            named.push((key, text, name, tally));
        }
        if matches!(
            self.by,
            GroupBy::Grant | GroupBy::Recipe | GroupBy::Material
        ) {
            named.sort_by(|a, b| {
                let last = |key: RowKey| key == RowKey::Unassigned;
                (last(a.0), &a.1).cmp(&(last(b.0), &b.1))
            });
        }
        let exact: Vec<_> = named.iter().map(|row| in_order(&row.3.amounts)).collect();
        let table = print_table(&exact, currency)?;
        let chips = Chips::printed(named.iter().map(|row| &row.3))?;
        let whole = Chips::printed([&self.total])?;
        let mut rows = Vec::with_capacity(named.len());
        for (at, (_, text, name, tally)) in named.into_iter().enumerate() {
            let counts = (chips.all[at], chips.good[at]);
            rows.push(row(text, name, &tally, &table.rows[at], counts)?);
        }
        let counts = (whole.all[0], whole.good[0]);
        let total = row(TOTAL.to_owned(), None, &self.total, &table.total, counts)?;
        Ok(ReplicaCost {
            from: period.from(),
            to: period.to(),
            group_by: self.by,
            currency,
            rounding: rounding_rule(currency),
            rows,
            total,
            work_in_progress: work_in_progress(in_progress, &amounts, currency)?,
            price_variance: price_variances(self.by, posted, names, currency)?,
        })
    }
}

/// The rule by which amounts are rounded, in words.
///
/// ```
/// let euro = heeltap::base::Currency::parse("EUR").map_err(|e| e.to_string())?;
/// assert!(heeltap::costing::replica_cost::report::rounding_rule(euro).starts_with("amounts are rounded to 0.01 EUR"));
/// # Ok::<(), String>(())
/// ```
#[must_use]
pub fn rounding_rule(currency: Currency) -> String {
    let unit = currency.format(Money::from_micro(currency.minor_unit_micro()));
    format!(
        "amounts are rounded to {unit} {currency}: the grand total half to even, then the rows, then their components, \
         by largest remainder, so that rows and columns add up; exact_total, per_good_chip and shares are computed \
         before rounding and given to the millionth"
    )
}

/// A row's key and name in words.
fn label(
    by: GroupBy,
    key: RowKey,
    code: Option<Code>,
    names: &Names,
) -> Result<(String, Option<String>), Error> {
    match key {
        RowKey::Unassigned if by == GroupBy::Material => Ok((WITHOUT_MATERIAL.to_owned(), None)),
        RowKey::Unassigned => Ok((UNASSIGNED.to_owned(), None)),
        RowKey::Month(year, month) => Ok((format!("{year:04}-{month:02}"), None)),
        RowKey::Cast(id) => code
            .map(|code| (code.into_string(), None))
            .ok_or_else(|| Error::internal(format!("the cast {id} came without its code"))),
        RowKey::Grant(id) | RowKey::Recipe(id) | RowKey::Material(id) => names
            .get(&id)
            .map(|(code, name)| (code.as_str().to_owned(), Some(name.clone())))
            .ok_or_else(|| Error::internal(format!("the catalogue has no name for {id}"))),
    }
}

/// Chips of rows as printed: to the millionth, adding up.
struct Chips {
    all: Vec<Micro>,
    good: Vec<Micro>,
}

impl Chips {
    fn printed<'a>(tallies: impl IntoIterator<Item = &'a Tally> + Clone) -> Result<Self, Error> {
        let print = |of: fn(&Tally) -> i128| -> Result<Vec<Micro>, Error> {
            let unit = CHIP_PARTS / i128::from(MICRO_PER_UNIT);
            let exact: Vec<i128> = tallies.clone().into_iter().map(of).collect();
            let total = crate::base::round_half_even_div(exact.iter().sum(), unit);
            parts_adding_up(&exact, total.unwrap_or_default(), unit)?
                .into_iter()
                .map(|micro| i64::try_from(micro).map(Micro::from_micro))
                .collect::<Result<_, _>>()
                .map_err(|_| crate::base::MicroError::Overflow.into())
        };
        Ok(Self {
            all: print(|tally| tally.chip_parts)?,
            good: print(|tally| tally.good_parts)?,
        })
    }
}

fn row(
    key: String,
    name: Option<String>,
    tally: &Tally,
    printed: &PrintedRow<10>,
    (chips, good_chips): (Micro, Micro),
) -> Result<CostRow, Error> {
    Ok(CostRow {
        key,
        name,
        casts: tally.casts,
        scrapped_casts: tally.scrapped_casts,
        chips,
        good_chips,
        r#yield: tally.chip_yield()?,
        components: components(printed),
        total: printed.total,
        exact_total: tally.amounts.total()?,
        per_good_chip: tally.per_good_chip()?,
        planning_interval: planning_interval(&tally.pairs)?,
        residue_share: tally.share_of_cost(tally.amounts.get(Component::Residue))?,
        trim_share: tally.share_of_cost(tally.amounts.get(Component::Trim))?,
    })
}

fn components(printed: &PrintedRow<10>) -> Vec<ComponentAmount> {
    Component::ALL
        .into_iter()
        .zip(printed.cells)
        .map(|(component, amount)| ComponentAmount { component, amount })
        .collect()
}

fn work_in_progress(
    casts: usize,
    amounts: &Components,
    currency: Currency,
) -> Result<WorkInProgress, Error> {
    let table = print_table(&[in_order(amounts)], currency)?;
    Ok(WorkInProgress {
        casts,
        components: components(&table.total),
        total: table.total.total,
        exact_total: amounts.total()?,
    })
}
