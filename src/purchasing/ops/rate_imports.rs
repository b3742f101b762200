//! Files of exchange rates: read, decided on, and written whole or not at all; a dry run stops before writing.
//!
//! Invariant: nobody else writes rates between the decision and what is written. Deliberately absent: the decision, and
//! single rates.

use std::collections::{BTreeSet, HashMap};

use chrono::NaiveDate;

use super::imports::{file_refused, rows_refused};
use crate::base::{Currency, Error};
use crate::db::{AnyConnection, Tx};
use crate::purchasing::csv_file::FileFormat;
use crate::purchasing::number::DecimalMark;
use crate::purchasing::rate_file::{
    KeptRate, RateContext, RateLine, RatePlan, RateReading, decide_rates, read_rates,
};
use crate::purchasing::rate_report::{RateImportReport, RateOutcome};
use crate::purchasing::store::{self, RateRow};

/// How a file of rates is to be read.
#[derive(Clone, Copy, Debug, Default)]
pub struct RateImportSettings {
    /// How the file is written.
    pub format: FileFormat,
    /// Its decimal mark.
    pub decimal: DecimalMark,
}

/// What an import of the file would do. Rows in error are part of the answer.
///
/// # Errors
/// [`Error::Refused`] when the file as a whole cannot be used.
pub fn rate_import_preview(
    conn: &mut AnyConnection,
    bytes: &[u8],
    settings: &RateImportSettings,
    circumstances: (NaiveDate, Currency),
) -> Result<RateImportReport, Error> {
    let plan = plan(conn, bytes, settings, circumstances)?;
    Ok(RateImportReport {
        dry_run: true,
        rows: plan.rows,
    })
}

/// Imports the file.
///
/// # Errors
/// [`Error::Refused`] ([`crate::base::RefusalKind::ImportRejected`]) when the file cannot be used or a row is in error; its
/// member `rows` has every such row.
pub fn rate_import_commit(
    tx: &mut Tx<'_>,
    bytes: &[u8],
    settings: &RateImportSettings,
) -> Result<RateImportReport, Error> {
    store::rates_lock(tx.conn)?;
    let plan = plan(tx.conn, bytes, settings, (tx.today, tx.base_currency))?;
    if plan.has_errors() {
        let mut bad = plan.rows;
        let all = bad.len();
        bad.retain(|row| row.outcome == RateOutcome::Error);
        return Err(rows_refused(&bad, all));
    }
    let rows: Vec<RateRow> = plan.puts.into_iter().map(row_of).collect();
    store::rates_put(tx.conn, &rows)?;
    Ok(RateImportReport {
        dry_run: false,
        rows: plan.rows,
    })
}

fn plan(
    conn: &mut AnyConnection,
    bytes: &[u8],
    settings: &RateImportSettings,
    (today, base_currency): (NaiveDate, Currency),
) -> Result<RatePlan, Error> {
    let context = RateContext {
        decimal: settings.decimal,
        today,
        base_currency,
    };
    let readings =
        read_rates(bytes, &settings.format, &context).map_err(|error| file_refused(&error))?;
    let named = readings.iter().filter_map(named);
    let kept = kept_load(conn, named)?;
    Ok(decide_rates(readings, &kept))
}

fn named(reading: &RateReading) -> Option<(Currency, NaiveDate)> {
    let row = reading.row.as_ref().ok()?;
    Some((row.currency, row.rate_on))
}

/// The rates that are kept of some currencies, from the first of some days to the last.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(in crate::purchasing) fn kept_load(
    conn: &mut AnyConnection,
    named: impl Iterator<Item = (Currency, NaiveDate)> + Clone,
) -> Result<HashMap<(Currency, NaiveDate), KeptRate>, Error> {
    let days = || named.clone().map(|(_, day)| day);
    let Some(span) = days().min().zip(days().max()) else {
        return Ok(HashMap::new());
    };
    let currencies: BTreeSet<Currency> = named.clone().map(|(currency, _)| currency).collect();
    let currencies: Vec<Currency> = currencies.into_iter().collect();
    let rows = store::rates_between(conn, &currencies, span)?;
    Ok(rows
        .into_iter()
        .map(|row| ((row.currency, row.rate_on), (row.rate, row.source)))
        .collect())
}

/// The row that keeps a rate.
pub(in crate::purchasing) fn row_of(line: RateLine) -> RateRow {
    RateRow {
        currency: line.currency,
        rate_on: line.rate_on,
        rate: line.quoted.text(),
        source: line.source,
    }
}
