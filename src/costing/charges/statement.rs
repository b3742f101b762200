//! The statement: a row for each grant, and what grants owe each other.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use crate::base::{Currency, Error, Money};
use crate::catalogue::UNASSIGNED;
use crate::costing::period::Period;
use crate::costing::replica_cost::report::{Names, TOTAL};
use crate::costing::rounding::{PrintedRow, print_table};

/// A line of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Line {
    /// Charged for casts, from stock that no grant had paid for, moulds and coats.
    CommonStock,
    /// Charged for casts, from lots that the grant had paid for itself.
    OwnStock,
    /// Charged for casts, from lots that other grants had paid for.
    OthersStock,
    /// Charged for price corrections posted in the period.
    PriceVariance,
    /// Taken off: paid when the lots were bought or corrected; 0 or less, unless a credit outweighs it.
    PaidAlready,
    /// Taken off: what others used of the grant's lots, which is theirs to pay.
    OwedByOthers,
}

/// How many lines there are.
pub const LINES: usize = 6;

impl Line {
    /// Every line, in the order in which they are shown.
    pub const ALL: [Self; LINES] = [
        Self::CommonStock,
        Self::OwnStock,
        Self::OthersStock,
        Self::PriceVariance,
        Self::PaidAlready,
        Self::OwedByOthers,
    ];

    /// The line's word.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::CommonStock => "common_stock",
            Self::OwnStock => "own_stock",
            Self::OthersStock => "others_stock",
            Self::PriceVariance => "price_variance",
            Self::PaidAlready => "paid_already",
            Self::OwedByOthers => "owed_by_others",
        }
    }
}

/// What grants are charged over a period.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ChargeStatement {
    /// The first day, by the day of the demould; null when the period is open to the past.
    pub from: Option<NaiveDate>,
    /// The last day; null when the period is open to the future.
    pub to: Option<NaiveDate>,
    /// `grant`.
    pub group_by: String,
    /// The base currency, in which every amount is.
    pub currency: Currency,
    /// How the amounts were rounded.
    pub rounding: String,
    /// A row for each grant; what nobody is charged for comes last.
    pub rows: Vec<ChargeRow>,
    /// All rows together.
    pub total: ChargeRow,
    /// What grants used of each other's lots.
    pub cross_charges: Vec<CrossCharge>,
}

/// What a grant is charged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ChargeRow {
    /// The grant's code, `unassigned`, or `total`.
    pub key: String,
    /// Its name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Casts charged to it at all; in the total, each cast once.
    pub casts: usize,
    /// Its lines, rounded so that rows and columns add up.
    pub lines: Vec<LineAmount>,
    /// What is to be paid: the sum of the lines. Below 0, it is to be received.
    pub to_pay: Money,
    /// The same before rounding, to the millionth.
    pub exact_to_pay: Money,
    /// What is charged, the first four lines, to the millionth.
    pub exact_charged: Money,
}

/// A line with its amount.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct LineAmount {
    /// Which.
    pub line: Line,
    /// The amount.
    pub amount: Money,
    /// Before rounding, to the millionth.
    pub exact: Money,
}

/// What one grant owes another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct CrossCharge {
    /// Who used it: a grant's code, or `unassigned`.
    pub from: String,
    /// The grant that had paid for it.
    pub to: String,
    /// How much, rounded so that all of them add up.
    pub amount: Money,
    /// Before rounding, to the millionth.
    pub exact: Money,
}

/// Who is charged: a grant's id, or nobody.
type Payer = Option<i64>;

/// Gathers charges into a statement.
#[derive(Debug, Default)]
pub struct Charging {
    casts: usize,
    rows: BTreeMap<Payer, (usize, [i64; LINES])>,
    crossed: BTreeMap<(Payer, i64), i64>,
}

impl Charging {
    /// Counts a cast for everyone who is charged for it; each cast once.
    pub fn count(&mut self, payers: impl IntoIterator<Item = Payer>) {
        self.casts += 1;
        for payer in payers {
            self.rows.entry(payer).or_default().0 += 1;
        }
    }

    /// Charges someone for what a cast used of lots that `funder` had paid for, or of common stock.
    ///
    /// # Errors
    /// [`Error::Invalid`] when a sum leaves the range of money.
    ///
    /// ```
    /// use heeltap::base::{Currency, Money};
    /// use heeltap::costing::charges::statement::Charging;
    /// use heeltap::costing::period::Period;
    /// let mut charging = Charging::default();
    /// charging.charge(None, Some(7), Money::from_int(5))?; // Nobody is charged; grant 7 had paid.
    /// charging.charge(Some(7), Some(7), Money::from_int(3))?;
    /// let names = [(7, (heeltap::base::Code::parse("G-7").unwrap(), String::new()))].into();
    /// let euro = Currency::parse("EUR").map_err(heeltap::base::Error::internal)?;
    /// let statement = charging.statement(Period::default(), euro, &names)?;
    /// assert_eq!(statement.rows[0].exact_to_pay, Money::from_int(-5));
    /// assert_eq!(statement.total.exact_to_pay, Money::ZERO);
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn charge(&mut self, payer: Payer, funder: Payer, amount: Money) -> Result<(), Error> {
        let line = match funder {
            None => Line::CommonStock,
            Some(_) if funder == payer => Line::OwnStock,
            Some(_) => Line::OthersStock,
        };
        self.add(payer, line, amount)?;
        self.settle(payer, funder, amount)
    }

    /// Charges someone for a price correction of a lot that `funder` had paid for, or of common stock.
    ///
    /// # Errors
    /// As [`Charging::charge`].
    pub fn correct(&mut self, payer: Payer, funder: Payer, amount: Money) -> Result<(), Error> {
        self.add(payer, Line::PriceVariance, amount)?;
        self.settle(payer, funder, amount)
    }

    /// Takes off what is paid already, and notes what is owed to another.
    fn settle(&mut self, payer: Payer, funder: Payer, amount: Money) -> Result<(), Error> {
        let off = amount.checked_neg()?;
        match funder {
            None => Ok(()),
            Some(_) if funder == payer => self.add(payer, Line::PaidAlready, off),
            Some(owner) => {
                let owed = self.crossed.entry((payer, owner)).or_default();
                *owed = Money::from_micro(*owed).checked_add(amount)?.micro();
                self.add(funder, Line::OwedByOthers, off)
            }
        }
    }

    fn add(&mut self, payer: Payer, line: Line, amount: Money) -> Result<(), Error> {
        let row = self.rows.entry(payer).or_default();
        let place = &mut row.1[line as usize];
        *place = Money::from_micro(*place).checked_add(amount)?.micro();
        Ok(())
    }

    /// The statement.
    ///
    /// # Errors
    /// [`Error::Internal`] when a name is missing; [`Error::Invalid`] when a sum leaves the range of money.
    pub fn statement(
        self,
        period: Period,
        currency: Currency,
        names: &Names,
    ) -> Result<ChargeStatement, Error> {
        let mut named = Vec::with_capacity(self.rows.len());
        for (payer, (casts, lines)) in self.rows {
            let (key, name) = label(payer, names)?;
            named.push((
                payer.is_none(),
                key,
                name,
                casts,
                lines.map(Money::from_micro),
            ));
        }
        named.sort_by(|a, b| (a.0, &a.1).cmp(&(b.0, &b.1)));
        let exact: Vec<[Money; LINES]> = named.iter().map(|row| row.4).collect();
        let table = print_table(&exact, currency)?;
        let mut sums = [Money::ZERO; LINES];
        let mut rows = Vec::with_capacity(named.len());
        for ((_, key, name, of_row, lines), printed) in named.into_iter().zip(&table.rows) {
            for (sum, amount) in sums.iter_mut().zip(lines) {
                *sum = sum.checked_add(amount)?;
            }
            rows.push(row((key, name), of_row, &lines, printed)?);
        }
        Ok(ChargeStatement {
            from: period.from(),
            to: period.to(),
            group_by: "grant".to_owned(),
            currency,
            rounding: rounding_rule(currency),
            rows,
            total: row((TOTAL.to_owned(), None), self.casts, &sums, &table.total)?,
            cross_charges: crossed(&self.crossed, currency, names)?,
        })
    }
}

fn crossed(
    crossed: &BTreeMap<(Payer, i64), i64>,
    currency: Currency,
    names: &Names,
) -> Result<Vec<CrossCharge>, Error> {
    let mut named = Vec::with_capacity(crossed.len());
    for ((payer, owner), owed) in crossed {
        let (from, to) = (label(*payer, names)?.0, label(Some(*owner), names)?.0);
        named.push((from, to, Money::from_micro(*owed)));
    }
    named.sort();
    let exact: Vec<[Money; 1]> = named.iter().map(|row| [row.2]).collect();
    let table = print_table(&exact, currency)?;
    Ok(named
        .into_iter()
        .zip(table.rows)
        .map(|((from, to, exact), printed)| CrossCharge {
            from,
            to,
            amount: printed.total,
            exact,
        })
        .collect())
}

fn label(payer: Payer, names: &Names) -> Result<(String, Option<String>), Error> {
    let Some(id) = payer else {
        return Ok((UNASSIGNED.to_owned(), None));
    };
    names
        .get(&id)
        .map(|(code, name)| (code.to_string(), Some(name.clone())))
        .ok_or_else(|| Error::internal(format!("the catalogue has no grant {id}")))
}

fn row(
    (key, name): (String, Option<String>),
    casts: usize,
    exact: &[Money; LINES],
    printed: &PrintedRow<LINES>,
) -> Result<ChargeRow, Error> {
    let charged = &exact[..=Line::PriceVariance as usize];
    Ok(ChargeRow {
        key,
        name,
        casts,
        lines: Line::ALL
            .into_iter()
            .zip(printed.cells.into_iter().zip(*exact))
            .map(|(line, (amount, exact))| LineAmount {
                line,
                amount,
                exact,
            })
            .collect(),
        to_pay: printed.total,
        exact_to_pay: Money::checked_sum(*exact)?,
        exact_charged: Money::checked_sum(charged.iter().copied())?,
    })
}

/// The rule by which amounts are rounded, in words.
fn rounding_rule(currency: Currency) -> String {
    let unit = currency.format(Money::from_micro(currency.minor_unit_micro()));
    format!(
        "amounts are rounded to {unit} {currency}: what is to pay in all half to even, then the rows, then their lines, by \
         largest remainder, so that rows and columns add up; exact amounts are given to the millionth"
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Code;
    use proptest::prelude::*;

    fn names() -> Names {
        let name = |id: i64| {
            (
                id,
                (
                    Code::parse(&format!("G-{id}")).unwrap(),
                    format!("Grant {id}"),
                ),
            )
        };
        (1..5).map(name).collect()
    }

    proptest! {
        #[test]
        fn nothing_is_paid_for_twice(
            charges in prop::collection::vec((0_i64..5, 0_i64..5, -5_000_000_i64..50_000_000, any::<bool>()), 0..30),
        ) {
            let someone = |id: i64| (id > 0).then_some(id);
            let mut charging = Charging::default();
            let (mut common, mut all) = (0, 0);
            for (payer, funder, micro, corrects) in &charges {
                let (payer, funder, amount) = (someone(*payer), someone(*funder), Money::from_micro(*micro));
                let charged = if *corrects { charging.correct(payer, funder, amount) } else { charging.charge(payer, funder, amount) };
                charged.map_err(|e| TestCaseError::fail(e.to_string()))?;
                common += if funder.is_none() { *micro } else { 0 };
                all += micro;
            }
            let euro = Currency::parse("EUR").unwrap();
            let statement = charging.statement(Period::default(), euro, &names()).unwrap();
            prop_assert_eq!(statement.total.exact_to_pay.micro(), common);
            prop_assert_eq!(statement.total.exact_charged.micro(), all);
            let crossed: i64 = statement.cross_charges.iter().map(|cross| cross.exact.micro()).sum();
            let owed = statement.total.lines[Line::OwedByOthers as usize].exact.micro();
            prop_assert_eq!(crossed, -owed);
            for row in statement.rows.iter().chain([&statement.total]) {
                let printed: i64 = row.lines.iter().map(|line| line.amount.micro()).sum();
                prop_assert_eq!(printed, row.to_pay.micro());
            }
        }
    }
}
