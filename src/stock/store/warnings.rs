//! Warnings: one open per kind and subject.

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;

use crate::base::Error;
use crate::db::AnyConnection;
use crate::db::schema::warnings;

/// A warning as it is kept.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = warnings)]
pub(in crate::stock) struct WarningRow {
    pub(in crate::stock) id: i64,
    pub(in crate::stock) kind: String,
    pub(in crate::stock) subject_noun: String,
    pub(in crate::stock) subject: String,
    pub(in crate::stock) severity: i32,
    pub(in crate::stock) due_on: Option<NaiveDate>,
    pub(in crate::stock) reason: String,
    pub(in crate::stock) opened_at: NaiveDateTime,
    pub(in crate::stock) acknowledged_at: Option<NaiveDateTime>,
    pub(in crate::stock) acknowledged_by: Option<String>,
    pub(in crate::stock) note: Option<String>,
    pub(in crate::stock) cleared_at: Option<NaiveDateTime>,
    /// Its day when it was last raised.
    pub(in crate::stock) raised_due_on: Option<NaiveDate>,
}

pub(in crate::stock) fn warning_open(
    conn: &mut AnyConnection,
    kind: &str,
    noun: &str,
    subject: &str,
) -> Result<Option<WarningRow>, Error> {
    Ok(warnings::table
        .filter(warnings::kind.eq(kind))
        .filter(warnings::subject_noun.eq(noun))
        .filter(warnings::subject.eq(subject))
        .filter(warnings::cleared_at.is_null())
        .select(WarningRow::as_select())
        .first(conn)
        .optional()?)
}

/// What a warning says.
#[derive(Debug, Clone, Copy)]
pub(in crate::stock) struct Said<'a> {
    pub(in crate::stock) severity: i32,
    pub(in crate::stock) due_on: Option<NaiveDate>,
    pub(in crate::stock) reason: &'a str,
}

/// Opens a warning, or rewrites the open one `open`; `afresh` takes an acknowledgement back. Returns its id.
pub(in crate::stock) fn warning_raise(
    conn: &mut AnyConnection,
    open: Option<&WarningRow>,
    subject: (&str, &str, &str),
    said: Said<'_>,
    afresh: bool,
    now: NaiveDateTime,
) -> Result<i64, Error> {
    let words = (
        warnings::severity.eq(said.severity),
        warnings::due_on.eq(said.due_on),
        warnings::reason.eq(said.reason),
    );
    match open {
        None => {
            let (kind, noun, code) = subject;
            let row = (
                warnings::kind.eq(kind),
                warnings::subject_noun.eq(noun),
                warnings::subject.eq(code),
                warnings::opened_at.eq(now),
                warnings::raised_due_on.eq(said.due_on),
                words,
            );
            Ok(diesel::insert_into(warnings::table)
                .values(row)
                .returning(warnings::id)
                .get_result(conn)?)
        }
        Some(open) => {
            diesel::update(warnings::table.find(open.id))
                .set((words, warnings::version.eq(warnings::version + 1)))
                .execute(conn)?;
            if afresh {
                diesel::update(warnings::table.find(open.id))
                    .set((
                        warnings::opened_at.eq(now),
                        warnings::raised_due_on.eq(said.due_on),
                        warnings::acknowledged_at.eq(None::<NaiveDateTime>),
                        warnings::acknowledged_by.eq(None::<String>),
                        warnings::note.eq(None::<String>),
                    ))
                    .execute(conn)?;
            }
            Ok(open.id)
        }
    }
}

pub(in crate::stock) fn warning_clear(
    conn: &mut AnyConnection,
    id: i64,
    now: NaiveDateTime,
) -> Result<(), Error> {
    diesel::update(warnings::table.find(id))
        .set((
            warnings::cleared_at.eq(Some(now)),
            warnings::version.eq(warnings::version + 1),
        ))
        .execute(conn)?;
    Ok(())
}

pub(in crate::stock) fn warning_acknowledge(
    conn: &mut AnyConnection,
    id: i64,
    actor: &str,
    note: &str,
    now: NaiveDateTime,
) -> Result<(), Error> {
    diesel::update(warnings::table.find(id))
        .set((
            warnings::acknowledged_at.eq(Some(now)),
            warnings::acknowledged_by.eq(Some(actor)),
            warnings::note.eq(Some(note)),
            warnings::version.eq(warnings::version + 1),
        ))
        .execute(conn)?;
    Ok(())
}

pub(in crate::stock) fn warning_fetch(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<WarningRow>, Error> {
    Ok(warnings::table
        .find(id)
        .select(WarningRow::as_select())
        .first(conn)
        .optional()?)
}

/// The warnings that stand and that nobody has acknowledged, the gravest first, then by their day; and how many there are.
pub(in crate::stock) fn warnings_to_see(
    conn: &mut AnyConnection,
    limit: i64,
) -> Result<(Vec<WarningRow>, i64), Error> {
    let standing = || {
        warnings::table
            .filter(warnings::cleared_at.is_null())
            .filter(warnings::acknowledged_at.is_null())
    };
    let rows = standing()
        .order((warnings::severity.desc(), warnings::due_on, warnings::id))
        .limit(limit)
        .select(WarningRow::as_select())
        .load(conn)?;
    Ok((rows, standing().count().get_result(conn)?))
}

/// How many warnings stand, and how many of them somebody has acknowledged.
pub(in crate::stock) fn warnings_counts(conn: &mut AnyConnection) -> Result<(i64, i64), Error> {
    let standing = || warnings::table.filter(warnings::cleared_at.is_null());
    let all = standing().count().get_result(conn)?;
    let acknowledged = standing()
        .filter(warnings::acknowledged_at.is_not_null())
        .count()
        .get_result(conn)?;
    Ok((all, acknowledged))
}

/// One page of warnings: the open ones, or all.
pub(in crate::stock) fn warnings_page(
    conn: &mut AnyConnection,
    open_only: bool,
    after: i64,
    limit: i64,
) -> Result<Vec<WarningRow>, Error> {
    let mut query = warnings::table.into_boxed();
    if open_only {
        query = query.filter(warnings::cleared_at.is_null());
    }
    Ok(query
        .filter(warnings::id.gt(after))
        .order(warnings::id)
        .limit(limit)
        .select(WarningRow::as_select())
        .load(conn)?)
}
