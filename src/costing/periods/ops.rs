//! Closing a period, and showing those that are closed.

use chrono::NaiveDate;

use super::view::{ClosedPeriod, PeriodIn};
use crate::base::{Error, RefusalKind};
use crate::costing::export::csv_file::csv_whole;
use crate::costing::export::xlsx_file::xlsx_whole;
use crate::costing::ops::report_make;
use crate::costing::period::Period;
use crate::costing::reports::{Asked, Format, Report, ReportBy};
use crate::costing::store::{self, NewPeriod};
use crate::db::{AnyConnection, Tx, instant};
use crate::http::Page;
use crate::stock::verify::heads;

/// Closes the days through `last_day`: nothing is written under them any more, and their reports are kept as they are.
///
/// # Errors
/// [`Error::Invalid`] for days that are not over, that leave a gap, or that leave entries before the first period;
/// [`Error::Refused`] when the days are closed already.
pub fn period_close(tx: &mut Tx<'_>, input: &PeriodIn) -> Result<ClosedPeriod, Error> {
    let closed = store::guard_take(tx.conn)?;
    let period = days(tx, input, closed)?;
    let heads = heads(tx.conn)?;
    let (file, digest) = (heads.to_csv(), heads.digest());
    let id = store::period_insert(
        tx.conn,
        &NewPeriod {
            first_day: period.from(),
            last_day: input.last_day,
            closed_at: tx.stored_now(),
            closed_by: tx.actor,
            heads: &file,
            heads_digest: &digest,
        },
    )?;
    for report in ReportBy::all() {
        let asked = Asked { report, period };
        let made = report_make(tx.conn, asked, tx.base_currency)?;
        for format in Format::ALL {
            let body = kept_body(tx, &*made, format)?;
            store::period_report_insert(tx.conn, id, (report, format), &body)?;
        }
    }
    store::guard_advance(tx.conn, input.last_day)?;
    period_get(tx.conn, id)
}

/// The days of the period, after those that are closed.
fn days(tx: &mut Tx<'_>, input: &PeriodIn, closed: Option<NaiveDate>) -> Result<Period, Error> {
    let last = input.last_day;
    if last >= tx.today {
        let detail = format!("{last} is not over: send a day before today, {}", tx.today);
        return Err(Error::invalid("/last_day", detail));
    }
    let first = match closed {
        Some(closed) if last <= closed => {
            let detail = format!("the books are closed through {closed} already");
            return Err(Error::refused(RefusalKind::PeriodClosed, detail)
                .with("closed_through", closed.to_string()));
        }
        Some(closed) => {
            let next = closed.succ_opt();
            if input.first_day.is_some() && input.first_day != next {
                let detail = format!(
                    "the books are closed through {closed}: the next period begins on the day after; leave it out"
                );
                return Err(Error::invalid("/first_day", detail));
            }
            next
        }
        None => first_of_all(tx, input)?,
    };
    Ok(Period::between(first, Some(last)))
}

/// The first day of the first period, before which nothing may stand in the books.
fn first_of_all(tx: &mut Tx<'_>, input: &PeriodIn) -> Result<Option<NaiveDate>, Error> {
    let Some(first) = input.first_day else {
        return Ok(None);
    };
    if first > input.last_day {
        let detail = format!("{first} is after the last day, {}", input.last_day);
        return Err(Error::invalid("/first_day", detail));
    }
    match store::first_entry(tx.conn)? {
        Some(entry) if entry < first => {
            let detail = format!(
                "the books have entries of {entry}: begin on it or before, or leave it out for all that is past"
            );
            Err(Error::invalid("/first_day", detail))
        }
        _ => Ok(Some(first)),
    }
}

fn kept_body(tx: &Tx<'_>, report: &dyn Report, format: Format) -> Result<String, Error> {
    Ok(match format {
        Format::Json => report.json()?,
        Format::Csv => csv_whole(report),
        Format::Xlsx => hex::encode(xlsx_whole(report, tx.now, &mut |_| {})?),
    })
}

/// A report as it was kept with a closed period of exactly these days.
///
/// # Errors
/// [`Error::Internal`] when it does not read back.
pub fn report_kept(
    conn: &mut AnyConnection,
    asked: Asked,
    format: Format,
) -> Result<Option<Vec<u8>>, Error> {
    let Some(body) = store::report_kept(conn, asked.period, (asked.report, format))? else {
        return Ok(None);
    };
    Ok(Some(match format {
        Format::Json | Format::Csv => body.into_bytes(),
        Format::Xlsx => hex::decode(body).map_err(Error::internal)?,
    }))
}

/// A closed period.
///
/// # Errors
/// [`Error::NotFound`] without such a period.
pub fn period_get(conn: &mut AnyConnection, id: i64) -> Result<ClosedPeriod, Error> {
    let page = Page {
        after: id.saturating_sub(1),
        limit: 0,
    };
    let found = period_list(conn, page)?.into_iter().next();
    found
        .filter(|period| period.id == id)
        .ok_or_else(|| Error::not_found("period", id))
}

/// The heads of all lots as they stood when a period was closed, as a file.
///
/// # Errors
/// [`Error::NotFound`] without such a period.
pub fn period_heads(conn: &mut AnyConnection, id: i64) -> Result<String, Error> {
    store::period_heads(conn, id)?.ok_or_else(|| Error::not_found("period", id))
}

/// A page of closed periods and one more, oldest first.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn period_list(conn: &mut AnyConnection, page: Page) -> Result<Vec<ClosedPeriod>, Error> {
    let rows = store::periods_after(conn, (page.after, page.limit + 1))?;
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let mut reports = store::reports_kept(conn, &ids)?;
    Ok(rows
        .into_iter()
        .map(|row| ClosedPeriod {
            id: row.id,
            first_day: row.first_day,
            last_day: row.last_day,
            closed_at: instant(row.closed_at),
            closed_by: row.closed_by,
            heads_digest: row.heads_digest,
            reports: reports.remove(&row.id).unwrap_or_default(),
        })
        .collect())
}
