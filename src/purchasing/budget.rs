//! What may be ordered in a stretch of days, and what of it has been.
//!
//! Invariants: an order counts in the days in which it was placed; what has arrived counts with its landed cost, what is on
//! order with what it was ordered for, and what was cancelled not at all; no day lies in two budgets. Deliberately absent:
//! reading the books; what the rest is used for (the reorder room caps what it advises by it).

use chrono::NaiveDate;

use super::identity::RowContent;
use super::quoted::QuotedRate;
use crate::base::{Currency, FieldError, Money};

/// The days of a budget, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BudgetDays {
    /// The first.
    pub first: NaiveDate,
    /// The last.
    pub last: NaiveDate,
}

impl BudgetDays {
    /// Whether the two have a day in common.
    ///
    /// ```
    /// use chrono::NaiveDate;
    /// use heeltap::purchasing::budget::BudgetDays;
    /// let days = |first, last| BudgetDays {
    ///     first: NaiveDate::from_ymd_opt(2031, first, 1).unwrap(),
    ///     last: NaiveDate::from_ymd_opt(2031, last, 28).unwrap(),
    /// };
    /// assert!(days(1, 6).overlaps(days(6, 12)));
    /// assert!(!days(1, 6).overlaps(days(7, 12)));
    /// ```
    #[must_use]
    pub fn overlaps(self, other: BudgetDays) -> bool {
        self.first <= other.last && other.first <= self.last
    }
}

/// What is wrong with a budget, each with its pointer. `standing` are the other budgets by id.
#[must_use]
pub fn faults(days: BudgetDays, amount: Money, standing: &[(i64, BudgetDays)]) -> Vec<FieldError> {
    let mut found = Vec::new();
    if days.last < days.first {
        let detail = format!(
            "{} is before the first day {}: send that day or a later one",
            days.last, days.first
        );
        found.push(FieldError::new("/last_day", detail));
    }
    if amount.micro() < 0 {
        let detail = format!("{amount} is below 0: send 0 or more");
        found.push(FieldError::new("/amount", detail));
    }
    if let Some((id, other)) = standing.iter().find(|(_, other)| other.overlaps(days)) {
        let detail = format!(
            "the days from {} to {} are those of budget {id} in part: withdraw it first, or send other days",
            other.first, other.last
        );
        found.push(FieldError::new("/first_day", detail));
    }
    found
}

/// A line of an order as far as a budget goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Spending {
    /// It has arrived, and cost this in the base currency.
    Landed(Money),
    /// It was ordered for an amount in a currency, at a rate if one was agreed on.
    Ordered {
        /// The currency.
        currency: Currency,
        /// What the goods cost with freight, duty, fees, and tax that is not recovered.
        amount: Money,
        /// The rate to the base currency: its own, or that of the day of the order.
        rate: Option<QuotedRate>,
    },
}

impl Spending {
    /// What a line on order was ordered for.
    ///
    /// # Errors
    /// The column whose text is no value.
    pub fn ordered(content: &RowContent) -> Result<Spending, String> {
        let unreadable = |column: &str| format!("{column} `{}`", content.get(column));
        let money = |column: &str| match content.get(column) {
            "" => Ok(0),
            text => Money::parse(text)
                .map(|money| money.micro())
                .map_err(|_| unreadable(column)),
        };
        let tax = match content.get("tax_recoverable") {
            "true" => 0,
            _ => money("tax")?,
        };
        let parts = [
            money("line_price")?,
            money("freight")?,
            money("duty")?,
            money("fees")?,
            tax,
        ];
        let rate = match content.get("rate") {
            "" => None,
            text => Some(QuotedRate::parse(text).map_err(|_| unreadable("rate"))?),
        };
        Ok(Spending::Ordered {
            currency: Currency::parse(content.get("currency"))
                .map_err(|_| unreadable("currency"))?,
            amount: Money::from_micro(parts.into_iter().fold(0, i64::saturating_add)),
            rate,
        })
    }
}

/// What was spent of a budget.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Spent {
    /// What has arrived and what is on order, in the base currency.
    pub amount: Money,
    /// Lines on order in a currency for which no rate is known: they are not in the amount.
    pub lines_without_rate: u64,
}

/// Adds up what was spent.
#[must_use]
pub fn spent(lines: &[Spending], base: Currency) -> Spent {
    let mut found = Spent::default();
    for line in lines {
        let value = match line {
            Spending::Landed(value) => Some(*value),
            Spending::Ordered {
                currency, amount, ..
            } if *currency == base => Some(*amount),
            Spending::Ordered { amount, rate, .. } => {
                rate.and_then(|rate| rate.to_base(*amount).ok())
            }
        };
        match value {
            Some(value) => {
                let sum = found.amount.micro().saturating_add(value.micro());
                found.amount = Money::from_micro(sum);
            }
            None => found.lines_without_rate += 1,
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn money(text: &str) -> Money {
        Money::parse(text).unwrap()
    }

    fn currency(code: &str) -> Currency {
        Currency::parse(code).unwrap()
    }

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn days(first: &str, last: &str) -> BudgetDays {
        BudgetDays {
            first: day(first),
            last: day(last),
        }
    }

    #[track_caller]
    fn check(lines: &[Spending], expected: &str, without_rate: u64) {
        let found = spent(lines, currency("EUR"));
        assert_eq!(
            (found.amount, found.lines_without_rate),
            (money(expected), without_rate)
        );
    }

    fn ordered(code: &str, amount: &str, rate: Option<&str>) -> Spending {
        Spending::Ordered {
            currency: currency(code),
            amount: money(amount),
            rate: rate.map(|text| QuotedRate::parse(text).unwrap()),
        }
    }

    #[test]
    fn what_arrived_and_what_is_on_order_is_spent() {
        check(&[], "0", 0);
        check(&[Spending::Landed(money("12.5"))], "12.5", 0);
        check(&[ordered("EUR", "10", None)], "10", 0);
        check(&[ordered("USD", "10", Some("0.9"))], "9", 0);
        check(&[ordered("USD", "10", Some("1/1.25"))], "8", 0);
        check(
            &[ordered("NOK", "10", None), ordered("EUR", "1", None)],
            "1",
            1,
        );
    }

    #[test]
    fn a_budget_has_its_own_days_and_no_debts() {
        let standing = [(3, days("2031-01-01", "2031-06-30"))];
        let check = |first: &str, last: &str, amount: &str, pointers: &[&str]| {
            let found = faults(days(first, last), money(amount), &standing);
            let found: Vec<&str> = found.iter().map(|fault| fault.pointer.as_str()).collect();
            assert_eq!(found, pointers);
        };
        check("2031-07-01", "2031-12-31", "0", &[]);
        check("2031-07-01", "2031-06-30", "5", &["/last_day"]);
        check("2031-06-30", "2031-12-31", "-1", &["/amount", "/first_day"]);
    }
}
