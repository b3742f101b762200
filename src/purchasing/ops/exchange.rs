//! Exchange rates as they are entered and shown.
//!
//! Invariants: one rate for a currency and a day, never one of the base currency; a rate that is entered again replaces
//! the first, and what was received meanwhile keeps its cost. Deliberately absent: files of rates, and fetching.

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::load::rate_read;
use crate::base::{Currency, Error, FieldError};
use crate::db::{AnyConnection, Tx};
use crate::http::Page;
use crate::purchasing::quoted::QuotedRate;
use crate::purchasing::rate::{Quote, Rate};
use crate::purchasing::rate_source::source_fault;
use crate::purchasing::store::{self, RateRow};

/// An exchange rate of a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ExchangeRate {
    /// The foreign currency, as an ISO 4217 code.
    pub currency: Currency,
    /// The day.
    pub rate_on: NaiveDate,
    /// The rate, above zero, with at most 10 significant digits.
    #[schema(value_type = String, pattern = r"^[0-9]+(\.[0-9]+)?$", example = "0.9235")]
    pub rate: Rate,
    /// Which way it is quoted: units of the base currency for one of the foreign one unless said.
    #[serde(default = "base_per_foreign")]
    pub quote: Quote,
    /// Where it comes from, at most 200 characters. `fetched:` at the beginning marks rates that were fetched.
    #[serde(default)]
    #[schema(max_length = 200, pattern = r"^[^\x00-\x1f\x7f-\x9f]*$")]
    pub source: String,
}

fn base_per_foreign() -> Quote {
    Quote::BasePerForeign
}

impl ExchangeRate {
    fn check(&self, today: NaiveDate, base: Currency) -> Vec<FieldError> {
        let mut errors = Vec::new();
        if self.currency == base {
            let detail = format!(
                "{base} is the currency of the books and has no rate: send another currency"
            );
            errors.push(FieldError::new("/currency", detail));
        }
        if self.rate_on > today || self.rate_on.year() < 1970 {
            let detail = format!(
                "{} is out of range: send a day from 1970-01-01 to today, {today}",
                self.rate_on
            );
            errors.push(FieldError::new("/rate_on", detail));
        }
        if let Some(fault) = source_fault(&self.source) {
            errors.push(FieldError::new("/source", fault));
        }
        errors
    }
}

/// Enters a rate. `true` when there was none for the currency and the day.
///
/// # Errors
/// [`Error::Invalid`] for the base currency, a day in the future, or a source that is too long.
pub fn rate_enter(tx: &mut Tx<'_>, rate: &ExchangeRate) -> Result<bool, Error> {
    let errors = rate.check(tx.today, tx.base_currency);
    if !errors.is_empty() {
        return Err(Error::Invalid(errors));
    }
    let quoted = QuotedRate {
        rate: rate.rate,
        quote: rate.quote,
    };
    let is_new = store::rate_fetch(tx.conn, rate.currency, rate.rate_on)?.is_none();
    let row = RateRow {
        currency: rate.currency,
        rate_on: rate.rate_on,
        rate: quoted.text(),
        source: rate.source.clone(),
    };
    store::rate_put(tx.conn, &row)?;
    Ok(is_new)
}

/// A page of the rates and one more, oldest first, of one currency or of all.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn rate_list(
    conn: &mut AnyConnection,
    currency: Option<Currency>,
    page: Page,
) -> Result<Vec<ExchangeRate>, Error> {
    let (day, code) = place_of(page.after);
    let after = (day, code.as_str());
    store::rates_after(conn, currency, after, page.limit + 1)?
        .into_iter()
        .map(|row| {
            let quoted = rate_read(&row)?;
            Ok(ExchangeRate {
                currency: row.currency,
                rate_on: row.rate_on,
                rate: quoted.rate,
                quote: quoted.quote,
                source: row.source,
            })
        })
        .collect()
}

const LETTERS: i64 = 26;
const CODES: i64 = LETTERS * LETTERS * LETTERS;

/// The number of a rate in the order of days and, within a day, of currencies: a list's cursor.
pub(in crate::purchasing) fn place(rate: &ExchangeRate) -> i64 {
    let code = rate
        .currency
        .as_str()
        .bytes()
        .fold(0, |sum, byte| sum * LETTERS + i64::from(byte - b'A'));
    i64::from(rate.rate_on.num_days_from_ce()) * CODES + code
}

/// The day and currency of a place; the beginning for a place that is no rate's.
fn place_of(place: i64) -> (NaiveDate, String) {
    let day = i32::try_from(place / CODES)
        .ok()
        .and_then(NaiveDate::from_num_days_from_ce_opt);
    let rest = place % CODES;
    let letter = |value: i64| char::from(b'A' + u8::try_from(value % LETTERS).unwrap_or(0));
    let code = [
        letter(rest / (LETTERS * LETTERS)),
        letter(rest / LETTERS),
        letter(rest),
    ];
    // PostgreSQL and SQLite both know the year 1.
    let first = NaiveDate::from_num_days_from_ce_opt(1).unwrap_or_default();
    (day.unwrap_or(first).max(first), code.into_iter().collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::db::fixture::{on_database, write};

    fn rate(currency: &str, day: &str, rate: &str) -> ExchangeRate {
        ExchangeRate {
            currency: Currency::parse(currency).expect("a currency"),
            rate_on: day.parse().expect("a day"),
            rate: Rate::parse(rate).expect("a rate"),
            quote: Quote::BasePerForeign,
            source: String::new(),
        }
    }

    #[test]
    fn a_place_leads_back_to_its_rate() {
        for (currency, day) in [("AED", "1970-01-01"), ("ZWL", "2026-12-31")] {
            let rate = rate(currency, day, "2");
            let expected = (rate.rate_on, currency.to_owned());
            assert_eq!(place_of(place(&rate)), expected);
        }
        assert_eq!(place_of(0).0.to_string(), "0001-01-01");
        place_of(i64::MAX);
    }

    #[test]
    fn a_rate_is_entered_replaced_and_listed_in_pages() {
        on_database(|db| {
            let enter = |rate: ExchangeRate| write(&db, |tx| rate_enter(tx, &rate));
            assert!(enter(rate("USD", "2026-02-03", "0.92")).unwrap());
            assert!(!enter(rate("USD", "2026-02-03", "0.93")).unwrap());
            let other = ExchangeRate {
                quote: Quote::ForeignPerBase,
                source: "a table".to_owned(),
                ..rate("NOK", "2026-02-03", "11.5")
            };
            assert!(enter(other.clone()).unwrap());
            assert!(enter(rate("USD", "2026-02-01", "0.91")).unwrap());
            let page = |after| Page { after, limit: 2 };
            let usd = Currency::parse("USD").ok();
            let (first, second, one) = db
                .read(|conn| {
                    let first = rate_list(conn, None, page(0))?;
                    let second = rate_list(conn, None, page(place(&first[1])))?;
                    Ok((first, second, rate_list(conn, usd, page(0))?))
                })
                .unwrap();
            let expected = [
                rate("USD", "2026-02-01", "0.91"),
                other,
                rate("USD", "2026-02-03", "0.93"),
            ];
            assert_eq!(first, expected);
            assert_eq!(second, expected[2..]);
            assert_eq!(one, [expected[0].clone(), expected[2].clone()]);
        });
    }

    #[test]
    fn what_cannot_be_a_rate_is_refused() {
        on_database(|db| {
            for (wrong, pointer) in [
                (rate("EUR", "2026-02-03", "1"), "/currency"),
                (rate("USD", "2026-03-05", "1"), "/rate_on"),
                (
                    ExchangeRate {
                        source: "x".repeat(201),
                        ..rate("USD", "2026-02-03", "1")
                    },
                    "/source",
                ),
                (
                    ExchangeRate {
                        source: "fetched: by hand".to_owned(),
                        ..rate("USD", "2026-02-03", "1")
                    },
                    "/source",
                ),
            ] {
                match write(&db, |tx| rate_enter(tx, &wrong)) {
                    Err(Error::Invalid(errors)) => assert_eq!(errors[0].pointer, pointer),
                    other => panic!("{other:?}"),
                }
            }
        });
    }
}
