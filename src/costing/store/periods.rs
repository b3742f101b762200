//! Closed periods and the reports kept with them.

use std::collections::HashMap;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;

use crate::base::Error;
use crate::costing::period::Period;
use crate::costing::periods::view::KeptReport;
use crate::costing::reports::{Format, ReportBy};
use crate::db::AnyConnection;
use crate::db::schema::{movements, period_guard, period_reports, periods};

/// Reads the last closed day and keeps everybody else from writing to the books until the transaction ends. SQLite's one
/// writer needs no more.
pub(in crate::costing) fn guard_take(conn: &mut AnyConnection) -> Result<Option<NaiveDate>, Error> {
    let query = period_guard::table.select(period_guard::closed_through);
    Ok(match conn {
        AnyConnection::Sqlite(conn) => query.first(conn)?,
        AnyConnection::Postgres(conn) => query.for_update().first(conn)?,
    })
}

pub(in crate::costing) fn guard_advance(
    conn: &mut AnyConnection,
    day: NaiveDate,
) -> Result<(), Error> {
    diesel::update(period_guard::table)
        .set(period_guard::closed_through.eq(day))
        .execute(conn)?;
    Ok(())
}

/// The day of the first entry in the ledger.
pub(in crate::costing) fn first_entry(
    conn: &mut AnyConnection,
) -> Result<Option<NaiveDate>, Error> {
    Ok(movements::table
        .select(diesel::dsl::min(movements::effective_on))
        .first(conn)?)
}

/// A period to be kept.
#[derive(Debug, Clone, Insertable)]
#[diesel(table_name = periods)]
pub(in crate::costing) struct NewPeriod<'a> {
    pub(in crate::costing) first_day: Option<NaiveDate>,
    pub(in crate::costing) last_day: NaiveDate,
    pub(in crate::costing) closed_at: NaiveDateTime,
    pub(in crate::costing) closed_by: &'a str,
    pub(in crate::costing) heads: &'a str,
    pub(in crate::costing) heads_digest: &'a str,
}

pub(in crate::costing) fn period_insert(
    conn: &mut AnyConnection,
    period: &NewPeriod<'_>,
) -> Result<i64, Error> {
    Ok(diesel::insert_into(periods::table)
        .values(period)
        .returning(periods::id)
        .get_result(conn)?)
}

pub(in crate::costing) fn period_report_insert(
    conn: &mut AnyConnection,
    period_id: i64,
    (report, format): (ReportBy, Format),
    body: &str,
) -> Result<(), Error> {
    diesel::insert_into(period_reports::table)
        .values((
            period_reports::period_id.eq(period_id),
            period_reports::report.eq(report.name()),
            period_reports::grouped_by.eq(report.group_by()),
            period_reports::format.eq(format.as_str()),
            period_reports::body.eq(body),
        ))
        .execute(conn)?;
    Ok(())
}

/// A report as it was kept with a closed period of exactly these days; none when there is no such period.
pub(in crate::costing) fn report_kept(
    conn: &mut AnyConnection,
    period: Period,
    (report, format): (ReportBy, Format),
) -> Result<Option<String>, Error> {
    let Some(last_day) = period.to() else {
        return Ok(None);
    };
    let kept: Option<(Option<NaiveDate>, String)> = period_reports::table
        .inner_join(periods::table)
        .filter(periods::last_day.eq(last_day))
        .filter(period_reports::report.eq(report.name()))
        .filter(period_reports::grouped_by.eq(report.group_by()))
        .filter(period_reports::format.eq(format.as_str()))
        .select((periods::first_day, period_reports::body))
        .first(conn)
        .optional()?;
    Ok(kept
        .filter(|kept| kept.0 == period.from())
        .map(|kept| kept.1))
}

/// A period as it is kept, without its heads.
#[derive(Debug, Clone, Queryable)]
pub(in crate::costing) struct PeriodRow {
    pub(in crate::costing) id: i64,
    pub(in crate::costing) first_day: Option<NaiveDate>,
    pub(in crate::costing) last_day: NaiveDate,
    pub(in crate::costing) closed_at: NaiveDateTime,
    pub(in crate::costing) closed_by: String,
    pub(in crate::costing) heads_digest: String,
}

/// Periods with ids above `after`, oldest first.
pub(in crate::costing) fn periods_after(
    conn: &mut AnyConnection,
    (after, limit): (i64, i64),
) -> Result<Vec<PeriodRow>, Error> {
    Ok(periods::table
        .filter(periods::id.gt(after))
        .order(periods::id)
        .limit(limit)
        .select((
            periods::id,
            periods::first_day,
            periods::last_day,
            periods::closed_at,
            periods::closed_by,
            periods::heads_digest,
        ))
        .load(conn)?)
}

/// The file of heads of a period.
pub(in crate::costing) fn period_heads(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<String>, Error> {
    Ok(periods::table
        .find(id)
        .select(periods::heads)
        .first(conn)
        .optional()?)
}

/// Which reports are kept with periods.
pub(in crate::costing) fn reports_kept(
    conn: &mut AnyConnection,
    period_ids: &[i64],
) -> Result<HashMap<i64, Vec<KeptReport>>, Error> {
    let rows: Vec<(i64, String, String, String)> = period_reports::table
        .filter(period_reports::period_id.eq_any(period_ids))
        .order((
            period_reports::period_id,
            period_reports::report,
            period_reports::grouped_by,
            period_reports::format,
        ))
        .select((
            period_reports::period_id,
            period_reports::report,
            period_reports::grouped_by,
            period_reports::format,
        ))
        .load(conn)?;
    let mut kept: HashMap<i64, Vec<KeptReport>> = HashMap::new();
    for (period_id, report, group_by, format) in rows {
        let of_period = kept.entry(period_id).or_default();
        match of_period.last_mut() {
            Some(last) if last.report == report && last.group_by == group_by => {
                last.formats.push(format);
            }
            _ => of_period.push(KeptReport {
                report,
                group_by,
                formats: vec![format],
            }),
        }
    }
    Ok(kept)
}
