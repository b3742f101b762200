//! A price correction as it is sent.

use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::ToSchema;

use crate::base::{Currency, FieldError, Money};
use crate::purchasing::rate::Rate;

/// A price correction: of a line of an order with all its lots, or of one lot.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PriceCorrectionIn {
    /// The order's number; with `line_no`.
    pub order_no: Option<String>,
    /// The line's number within the order.
    pub line_no: Option<u32>,
    /// The lot's id, in place of an order's line.
    pub lot: Option<i64>,
    /// What it costs more; below 0 for a credit.
    pub amount: Money,
    /// The currency of the amount, as an ISO 4217 code; the base currency unless said.
    pub currency: Option<Currency>,
    /// Units of the base currency for one unit of the amount's; unless said, the rate of the day as it was entered.
    #[schema(value_type = Option<String>, pattern = r"^[0-9]+(\.[0-9]+)?$")]
    pub rate: Option<Rate>,
    /// The day under which it is posted, in an open period; today unless said.
    pub corrected_on: Option<NaiveDate>,
    /// Why; 1 to 200 characters.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub reason: String,
}

/// What a correction is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CorrectionOf<'a> {
    /// A line of an order.
    Line(&'a str, u32),
    /// A lot.
    Lot(i64),
}

impl PriceCorrectionIn {
    /// What is corrected, or all that is wrong with the values alone.
    ///
    /// # Errors
    /// Every fault with its pointer.
    ///
    /// ```
    /// use heeltap::base::Currency;
    /// use heeltap::costing::corrections::input::{CorrectionOf, PriceCorrectionIn};
    /// let input: PriceCorrectionIn = serde_json::from_value(serde_json::json!(
    ///     {"lot": 3, "amount": "-12.50", "reason": "credit note"}
    /// )).unwrap();
    /// assert_eq!(input.check(Currency::parse("EUR").unwrap()), Ok(CorrectionOf::Lot(3)));
    /// ```
    pub fn check(&self, base: Currency) -> Result<CorrectionOf<'_>, Vec<FieldError>> {
        let mut errors = Vec::new();
        let mut wrong = |pointer: &str, detail: &str| errors.push(FieldError::new(pointer, detail));
        let of = match (&self.order_no, self.line_no, self.lot) {
            (Some(order_no), Some(line_no), None) => Some(CorrectionOf::Line(order_no, line_no)),
            (None, None, Some(lot)) => Some(CorrectionOf::Lot(lot)),
            _ => {
                let detail = "name either order_no and line_no, or lot";
                wrong("/order_no", detail);
                None
            }
        };
        if self.amount.is_zero() {
            wrong(
                "/amount",
                "0 corrects nothing: send more than 0, or less for a credit",
            );
        }
        if self.rate.is_some() && self.currency.is_none_or(|currency| currency == base) {
            wrong(
                "/rate",
                "an amount in the base currency has no rate: leave it out, or say another currency",
            );
        }
        match of {
            Some(of) if errors.is_empty() => Ok(of),
            _ => Err(errors),
        }
    }

    /// The amount's currency.
    #[must_use]
    pub fn currency(&self, base: Currency) -> Currency {
        self.currency.unwrap_or(base)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::{Value, json};

    #[track_caller]
    fn check(input: Value, expected: &[&str]) {
        let input: PriceCorrectionIn = serde_json::from_value(input).unwrap();
        let base = Currency::parse("EUR").unwrap();
        let found: Vec<String> = input
            .check(base)
            .err()
            .unwrap_or_default()
            .into_iter()
            .map(|error| error.pointer)
            .collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn faults_are_named() {
        let ok = json!({"order_no": "O-1", "line_no": 1, "amount": "1", "reason": "x"});
        check(ok.clone(), &[]);
        let with = |extra: Value| crate::http::merge_patch(ok.clone(), extra);
        check(with(json!({"lot": 1})), &["/order_no"]);
        check(with(json!({"line_no": null})), &["/order_no"]);
        check(with(json!({"amount": "0"})), &["/amount"]);
        check(with(json!({"rate": "0.9"})), &["/rate"]);
        check(with(json!({"rate": "0.9", "currency": "EUR"})), &["/rate"]);
        check(with(json!({"rate": "0.9", "currency": "USD"})), &[]);
    }
}
