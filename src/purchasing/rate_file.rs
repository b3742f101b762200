//! A file of exchange rates, read row by row, and what becomes of each row.
//!
//! Invariants: every bad cell of every row is reported, not the first; a currency has one rate on a day in one file; with
//! one row in error nothing is done. Deliberately absent: the database, and rates that are fetched.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::cell::{CellWarning, Reader};
use super::csv_file::{CellError, Column, FileError, FileFormat, Row, read_table};
use super::number::DecimalMark;
use super::quoted::QuotedRate;
use super::rate_report::{RateOutcome, RateRowReport};
use super::rate_source::{SOURCE_MAX_CHARS, source_fault};
use crate::base::Currency;

const fn column(name: &'static str, required: bool) -> Column {
    Column { name, required }
}

/// The columns of a file of rates.
pub const RATE_COLUMNS: &[Column] = &[
    column("currency", true),
    column("rate_on", true),
    column("rate", true),
    column("quote", false),
    column("source", false),
];

/// What reading a row depends on besides the row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RateContext {
    /// The decimal mark of the file, as its sender says.
    pub decimal: DecimalMark,
    /// Today's date at the installation: no rate is of a later day.
    pub today: NaiveDate,
    /// The currency of the books, which has no rate.
    pub base_currency: Currency,
}

/// A rate that is to be kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RateLine {
    /// The foreign currency.
    pub currency: Currency,
    /// The day.
    pub rate_on: NaiveDate,
    /// The rate, in the direction it was quoted.
    pub quoted: QuotedRate,
    /// Where it comes from.
    pub source: String,
}

/// What reading one row gave.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RateReading {
    /// The physical line of the file, from 1.
    pub line: u64,
    /// The currency and the day, where they could be read.
    pub named: (Option<Currency>, Option<NaiveDate>),
    /// The rate, or every error in the row.
    pub row: Result<RateLine, Vec<CellError>>,
    /// What was accepted but should be looked at.
    pub warnings: Vec<CellWarning>,
}

/// Reads a file of rates: every row, good or bad.
///
/// # Errors
/// [`FileError`] if the file as a whole cannot be used.
///
/// ```
/// use heeltap::base::Currency;
/// use heeltap::purchasing::csv_file::FileFormat;
/// use heeltap::purchasing::number::DecimalMark;
/// use heeltap::purchasing::rate_file::{RateContext, read_rates};
/// let file = b"Rate,currency,rate_on,quote\n1.0835,USD,2026-02-03,foreign_per_base\n0.09,NOK,2026-02-30,\n";
/// let context = RateContext {
///     decimal: DecimalMark::Point,
///     today: "2026-03-02".parse()?,
///     base_currency: Currency::parse("EUR")?,
/// };
/// let rows = read_rates(file, &FileFormat::default(), &context)?;
/// assert_eq!(rows[0].row.as_ref().map(|row| row.quoted.text()), Ok("1/1.0835".to_owned()));
/// assert_eq!(rows[1].row.as_ref().map_err(|errors| errors[0].column.as_str()), Err("rate_on"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn read_rates(
    bytes: &[u8],
    format: &FileFormat,
    context: &RateContext,
) -> Result<Vec<RateReading>, FileError> {
    let table = read_table(bytes, RATE_COLUMNS, format)?;
    let mut readings: Vec<RateReading> = table.rows().map(|row| read_row(row, context)).collect();
    refuse_repeats(&mut readings);
    Ok(readings)
}

fn read_row(row: Row<'_>, context: &RateContext) -> RateReading {
    let line = row.line();
    if let Err(error) = row.check_width() {
        return RateReading {
            line,
            named: (None, None),
            row: Err(vec![error]),
            warnings: Vec::new(),
        };
    }
    let mut reader = Reader::new(row, context.decimal);
    let currency = read_currency(&mut reader, context.base_currency);
    let rate_on = read_day(&mut reader, context.today);
    if reader.is_blank("rate") {
        reader.fail(
            "rate",
            "must not be blank: write a decimal above zero, such as 1.0835",
        );
    }
    let rate = reader.rate("rate");
    let quote = reader.quote("quote");
    let source = reader.text("source", SOURCE_MAX_CHARS).unwrap_or_default();
    if let Some(fault) = source_fault(&source) {
        reader.fail("source", fault);
    }
    let (errors, warnings) = reader.finish();
    let row = match (currency, rate_on, rate, quote) {
        (Some(currency), Some(rate_on), Some(rate), Some(quote)) if errors.is_empty() => {
            Ok(RateLine {
                currency,
                rate_on,
                quoted: QuotedRate { rate, quote },
                source,
            })
        }
        _ => Err(errors),
    };
    RateReading {
        line,
        named: (currency, rate_on),
        row,
        warnings,
    }
}

fn read_currency(reader: &mut Reader<'_>, base: Currency) -> Option<Currency> {
    let currency = reader.currency("currency")?;
    if currency == base {
        reader.fail(
            "currency",
            format!("{base} is the currency of the books and has no rate: write another currency"),
        );
    }
    Some(currency)
}

fn read_day(reader: &mut Reader<'_>, today: NaiveDate) -> Option<NaiveDate> {
    if reader.is_blank("rate_on") {
        reader.fail("rate_on", "must not be blank: write the day as YYYY-MM-DD");
    }
    let day = reader.date("rate_on")?;
    if day > today {
        reader.fail(
            "rate_on",
            format!("{day} is in the future: write a day up to today, {today}"),
        );
    }
    Some(day)
}

/// A currency and a day that stand twice are an error, whatever the two rates are: which is meant cannot be known.
fn refuse_repeats(readings: &mut [RateReading]) {
    let mut first: HashMap<(Currency, NaiveDate), u64> = HashMap::new();
    for reading in readings {
        let (Some(currency), Some(day)) = reading.named else {
            continue;
        };
        let line = reading.line;
        let earlier = *first.entry((currency, day)).or_insert(line);
        if earlier == line {
            continue;
        }
        let detail = format!(
            "the rate of {currency} on {day} stands on line {earlier} and on line {line}: keep one of them"
        );
        let error = CellError::new("rate_on", &day.to_string(), detail);
        match &mut reading.row {
            Ok(_) => reading.row = Err(vec![error]),
            Err(errors) => errors.push(error),
        }
    }
}

/// A rate that is kept: its text and its source.
pub type KeptRate = (String, String);

/// What is to be done with a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RatePlan {
    /// What becomes of each row.
    pub rows: Vec<RateRowReport>,
    /// The rates to keep, by day and currency; none when a row is in error.
    pub puts: Vec<RateLine>,
}

impl RatePlan {
    /// Whether a row is in error.
    ///
    /// ```
    /// use heeltap::purchasing::rate_file::RatePlan;
    /// assert!(!RatePlan { rows: Vec::new(), puts: Vec::new() }.has_errors());
    /// ```
    #[must_use]
    pub fn has_errors(&self) -> bool {
        self.rows
            .iter()
            .any(|row| row.outcome == RateOutcome::Error)
    }
}

/// Decides on a file, given what is kept for the currencies and days that it names.
///
/// ```
/// use std::collections::HashMap;
/// use heeltap::purchasing::rate_file::decide_rates;
/// assert!(decide_rates(Vec::new(), &HashMap::new()).puts.is_empty());
/// ```
#[must_use]
pub fn decide_rates(
    readings: Vec<RateReading>,
    kept: &HashMap<(Currency, NaiveDate), KeptRate>,
) -> RatePlan {
    let mut rows = Vec::with_capacity(readings.len());
    let mut puts = Vec::new();
    for reading in readings {
        let (outcome, errors) = match reading.row {
            Err(errors) => (RateOutcome::Error, errors),
            Ok(row) => {
                let outcome = match kept.get(&(row.currency, row.rate_on)) {
                    None => RateOutcome::Entered,
                    Some((rate, source)) if *rate == row.quoted.text() && *source == row.source => {
                        RateOutcome::Unchanged
                    }
                    Some(_) => RateOutcome::Replaced,
                };
                if outcome != RateOutcome::Unchanged {
                    puts.push(row);
                }
                (outcome, Vec::new())
            }
        };
        rows.push(RateRowReport {
            line: reading.line,
            outcome,
            currency: reading.named.0,
            rate_on: reading.named.1,
            warnings: reading.warnings,
            errors,
        });
    }
    puts.sort_by_key(|put| (put.rate_on, put.currency));
    let mut plan = RatePlan { rows, puts };
    if plan.has_errors() {
        plan.puts.clear();
    }
    plan
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(file: &str) -> Vec<RateReading> {
        let context = RateContext {
            decimal: DecimalMark::Point,
            today: "2026-03-02".parse().expect("a day"),
            base_currency: Currency::parse("EUR").expect("a currency"),
        };
        read_rates(file.as_bytes(), &FileFormat::default(), &context).expect("a file")
    }

    /// Expected: the texts of the rate and source, or column and a part of the detail of the only error.
    #[track_caller]
    fn check(row: &str, expected: Result<(&str, &str), (&str, &str)>) {
        let readings = read(&format!("currency,rate_on,rate,quote,source\n{row}\n"));
        match (&readings[0].row, expected) {
            (Ok(row), Ok((rate, source))) => {
                assert_eq!(
                    (row.quoted.text().as_str(), row.source.as_str()),
                    (rate, source)
                );
            }
            (Err(errors), Err((column, part))) => {
                assert_eq!(errors.len(), 1, "{errors:?}");
                assert_eq!(errors[0].column, column);
                assert!(errors[0].detail.contains(part), "{}", errors[0].detail);
            }
            (found, expected) => panic!("{found:?} instead of {expected:?}"),
        }
    }

    #[test]
    fn a_row_is_read_or_says_what_is_wrong() {
        check("USD,2026-02-03,0.92,,", Ok(("0.92", "")));
        check(
            "usd,2026-02-03,1.0835,Foreign_Per_Base,a table",
            Ok(("1/1.0835", "a table")),
        );
        check("USD,2026-02-03,0.920,base_per_foreign,", Ok(("0.92", "")));
        check(
            "EUR,2026-02-03,1,,",
            Err(("currency", "the currency of the books")),
        );
        check(
            "USB,2026-02-03,1,,",
            Err(("currency", "\"USB\" is not a currency")),
        );
        check(
            "USD,2026-03-03,1,,",
            Err(("rate_on", "up to today, 2026-03-02")),
        );
        check("USD,1969-12-31,1,,", Err(("rate_on", "from 1970")));
        check("USD,,1,,", Err(("rate_on", "YYYY-MM-DD")));
        check("USD,2026-02-03,,,", Err(("rate", "must not be blank")));
        check("USD,2026-02-03,0,,", Err(("rate", "above zero")));
        check("USD,2026-02-03,\"1,5\",,", Err(("rate", "decimal=comma")));
        check(
            "USD,2026-02-03,1,inverse,",
            Err(("quote", "foreign_per_base")),
        );
        check(
            "USD,2026-02-03,1,,fetched: by me",
            Err(("source", "another source")),
        );
        check("USD,2026-02-03", Err(("row", "2 of 5 cells")));
    }

    #[test]
    fn a_day_that_stands_twice_names_both_lines() {
        let rows = read(
            "currency,rate_on,rate\nUSD,2026-02-03,1\n\nNOK,2026-02-03,1\nUSD,2026-02-03,1\nUSD,2026-02-03,x\n",
        );
        assert!(rows[0].row.is_ok() && rows[1].row.is_ok());
        let details = |at: usize| -> Vec<&str> {
            let errors = rows[at].row.as_ref().expect_err("an error");
            errors.iter().map(|error| error.detail.as_str()).collect()
        };
        assert_eq!(
            details(2),
            ["the rate of USD on 2026-02-03 stands on line 2 and on line 5: keep one of them"]
        );
        assert_eq!(details(3).len(), 2);
        let plan = decide_rates(rows, &HashMap::new());
        assert!(plan.has_errors() && plan.puts.is_empty());
    }

    #[test]
    fn what_is_kept_already_is_left_alone() {
        let rows = read(
            "currency,rate_on,rate\nUSD,2026-02-03,0.92\nNOK,2026-02-03,0.09\nUSD,2026-02-02,0.92\nSEK,2026-02-03,0.09\n",
        );
        let key = |row: &RateReading| {
            (
                row.named.0.expect("a currency"),
                row.named.1.expect("a day"),
            )
        };
        let kept = HashMap::from([
            (key(&rows[0]), ("0.92".to_owned(), String::new())),
            (key(&rows[1]), ("1/0.09".to_owned(), String::new())),
            (key(&rows[3]), ("0.09".to_owned(), "fetched: x".to_owned())),
        ]);
        let plan = decide_rates(rows, &kept);
        let outcomes: Vec<&str> = plan.rows.iter().map(|row| row.outcome.as_str()).collect();
        assert_eq!(outcomes, ["unchanged", "replaced", "entered", "replaced"]);
        let puts: Vec<String> = plan
            .puts
            .iter()
            .map(|put| format!("{} {}", put.rate_on, put.currency))
            .collect();
        assert_eq!(puts, ["2026-02-02 USD", "2026-02-03 NOK", "2026-02-03 SEK"]);
    }

    proptest! {
        #[test]
        fn any_cells_are_read_or_refused(cells in "[A-Z0-9a-z_.,:\" -]{0,60}") {
            let context = RateContext {
                decimal: DecimalMark::Comma,
                today: NaiveDate::MAX,
                base_currency: Currency::parse("EUR").expect("a currency"),
            };
            let file = format!("currency,rate_on,rate,quote,source\n{cells}\n");
            let _ = read_rates(file.as_bytes(), &FileFormat::default(), &context);
        }
    }

    proptest! {
        #[test]
        fn rates_that_were_written_are_read(
            rates in prop::collection::btree_map((0_usize..3, 1_u32..=28), (1_i64..10_000_000_000, any::<bool>()), 0..12),
            backwards in any::<bool>(),
        ) {
            let mut file = String::from(if backwards { "source,quote,rate,rate_on,currency\n" } else { "currency,rate_on,rate,quote,source\n" });
            let mut expected = Vec::new();
            for ((currency, day), (digits, over)) in &rates {
                let (currency, day) = (["USD", "NOK", "JPY"][*currency], format!("2026-02-{day:02}"));
                let rate = format!("{}.{:06}", digits / 1_000_000, digits % 1_000_000);
                let quote = if *over { "foreign_per_base" } else { "" };
                let mut cells = [currency, &day, &rate, quote, "\"a, table\""];
                if backwards {
                    cells.reverse();
                }
                file += &format!("{}\n", cells.join(","));
                let kept = QuotedRate::parse(&format!("{}{rate}", if *over { "1/" } else { "" }));
                expected.push((currency.to_owned(), day, kept.expect("a rate"), "a, table".to_owned()));
            }
            let found = read(&file).into_iter().map(|reading| reading.row.map(|row| {
                (row.currency.to_string(), row.rate_on.to_string(), row.quoted, row.source)
            }));
            prop_assert_eq!(found.collect::<Result<Vec<_>, _>>(), Ok(expected));
        }

        #[test]
        fn a_wrong_cell_is_named_and_no_other(column in 0_usize..4, wrong in "[xyz?]{1,6}") {
            let mut cells = ["USD", "2026-02-03", "0.92", "base_per_foreign", "a table"].map(str::to_owned);
            cells[column].clone_from(&wrong);
            let readings = read(&format!("currency,rate_on,rate,quote,source\n{}\n", cells.join(",")));
            let errors = readings[0].row.as_ref().expect_err("a wrong cell");
            prop_assert_eq!(errors.len(), 1);
            prop_assert_eq!((errors[0].column.as_str(), &errors[0].value), (RATE_COLUMNS[column].name, &wrong));
        }
    }
}
