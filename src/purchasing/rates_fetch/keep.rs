//! Keeps fetched rates.
//!
//! Invariants: whoever enters rates at the same time is waited for, and what they entered stays; a transaction writes at
//! most [`LINES_MAX`] rates, so that a long history keeps nobody waiting; a file that brings nothing new writes nothing.

use chrono::NaiveDate;

use super::address::RatesSettings;
use super::failure::FetchFailure;
use crate::base::Error;
use crate::db::{AnyConnection, Tx};
use crate::http::Service;
use crate::purchasing::ops::{kept_load, row_of};
use crate::purchasing::rate_file::RateLine;
use crate::purchasing::reference_decision::{Merge, PassedOver, ReferenceContext, merge, offered};
use crate::purchasing::reference_rates::ReferenceRates;
use crate::purchasing::store;

/// Most rates of one transaction.
const LINES_MAX: usize = 1_000;

/// Who acts, in the books.
const ACTOR: &str = "rates fetch";

/// What a fetch did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FetchReport {
    /// Rates of days that had none.
    pub entered: Vec<RateLine>,
    /// Rates that replaced others that were fetched.
    pub replaced: Vec<RateLine>,
    /// Rates that were kept already.
    pub unchanged: u64,
    /// Rates of days for which somebody had entered one, which stays.
    pub left_alone: u64,
    /// What was passed over.
    pub passed_over: PassedOver,
    /// The last day of the file that has a rate here.
    pub last_day: Option<NaiveDate>,
}

/// Keeps what a file gives.
///
/// # Errors
/// [`FetchFailure`]: the file does not serve these books, or the database does not answer.
pub(super) fn keep(
    service: &Service,
    settings: &RatesSettings,
    rates: &ReferenceRates,
) -> Result<FetchReport, FetchFailure> {
    let context = ReferenceContext {
        own: settings.currency,
        base: service.base_currency(),
        today: service.today(),
        host: settings.address.host(),
    };
    let offered = offered(rates, &context)?;
    let mut report = FetchReport {
        passed_over: offered.passed_over,
        last_day: offered.lines.last().map(|line| line.rate_on),
        ..FetchReport::default()
    };
    // Most of a file is known: that is found out without waiting for anybody.
    let seen = service.db().read(|conn| judge(conn, offered.lines))?;
    report.unchanged = seen.unchanged;
    report.left_alone = seen.left_alone;
    let mut lines = [seen.entered, seen.replaced].concat();
    lines.sort_by_key(|line| (line.rate_on, line.currency));
    for some in lines.chunks(LINES_MAX) {
        let done = service.as_actor(ACTOR, |tx| write(tx, some.to_vec()))?;
        report.unchanged += done.unchanged;
        report.left_alone += done.left_alone;
        report.entered.extend(done.entered);
        report.replaced.extend(done.replaced);
    }
    Ok(report)
}

fn judge(conn: &mut AnyConnection, lines: Vec<RateLine>) -> Result<Merge, Error> {
    let named = lines.iter().map(|line| (line.currency, line.rate_on));
    let kept = kept_load(conn, named)?;
    Ok(merge(lines, &kept))
}

fn write(tx: &mut Tx<'_>, lines: Vec<RateLine>) -> Result<Merge, Error> {
    store::rates_lock(tx.conn)?;
    let merge = judge(tx.conn, lines)?;
    let puts = merge.entered.iter().chain(&merge.replaced).cloned();
    let rows: Vec<store::RateRow> = puts.map(row_of).collect();
    store::rates_put(tx.conn, &rows)?;
    Ok(merge)
}
