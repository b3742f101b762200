//! Warnings: raised once, acknowledged with a note, cleared by themselves, raised again only when graver or when their
//! day moves by three days or more.
//!
//! Each of these is put out to the webhooks that ask for it, in the same transaction.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::store::{self, Said, WarningRow};
use crate::base::Error;
use crate::db::{
    AnyConnection, Tx, WARNING_ACKNOWLEDGED, WARNING_CLEARED, WARNING_RAISED, instant, outbox_put,
};
use crate::http::Page;

/// What a warning is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Subject<'a> {
    /// The kind of warning, such as `order_by` or `cast_short`.
    pub kind: &'a str,
    /// The noun of what it is about, such as `material`.
    pub noun: &'a str,
    /// The code of what it is about.
    pub code: &'a str,
}

/// A warning to be raised.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alarm {
    /// How grave, 1 (for information) to 3 (act today).
    pub severity: i32,
    /// The day by which to act.
    pub due_on: Option<NaiveDate>,
    /// One plain sentence.
    pub reason: String,
}

/// How a warning stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WarningState {
    /// Nobody has said what is being done about it.
    Open,
    /// Somebody has.
    Acknowledged,
    /// Its cause is gone.
    Cleared,
}

/// A warning as it is shown.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Warning {
    /// The warning's id.
    pub id: i64,
    /// The kind of warning.
    pub kind: String,
    /// The noun of what it is about.
    pub subject_noun: String,
    /// The code of what it is about.
    pub subject: String,
    /// How grave, 1 to 3.
    pub severity: i32,
    /// The day by which to act.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub due_on: Option<NaiveDate>,
    /// One plain sentence.
    pub reason: String,
    /// How it stands.
    pub state: WarningState,
    /// When it was raised.
    pub opened_at: DateTime<Utc>,
    /// When it was acknowledged.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub acknowledged_at: Option<DateTime<Utc>>,
    /// Who acknowledged it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub acknowledged_by: Option<String>,
    /// The note of the acknowledgement.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// When it cleared itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cleared_at: Option<DateTime<Utc>>,
}

/// An acknowledgement.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AcknowledgeIn {
    /// What is being done about it; up to 500 characters.
    #[serde(default)]
    #[schema(
        max_length = 500,
        pattern = r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*$"
    )]
    pub note: String,
}

impl From<WarningRow> for Warning {
    fn from(row: WarningRow) -> Self {
        let state = match (row.cleared_at, row.acknowledged_at) {
            (Some(_), _) => WarningState::Cleared,
            (None, Some(_)) => WarningState::Acknowledged,
            (None, None) => WarningState::Open,
        };
        Self {
            id: row.id,
            kind: row.kind,
            subject_noun: row.subject_noun,
            subject: row.subject,
            severity: row.severity,
            due_on: row.due_on,
            reason: row.reason,
            state,
            opened_at: instant(row.opened_at),
            acknowledged_at: row.acknowledged_at.map(instant),
            acknowledged_by: row.acknowledged_by,
            note: row.note,
            cleared_at: row.cleared_at.map(instant),
        }
    }
}

/// How many warnings stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WarningsStanding {
    /// Nobody has said what is being done about them.
    pub open: i64,
    /// Somebody has.
    pub acknowledged: i64,
}

/// Counts the warnings that stand.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn warnings_standing(conn: &mut AnyConnection) -> Result<WarningsStanding, Error> {
    let (all, acknowledged) = store::warnings_counts(conn)?;
    Ok(WarningsStanding {
        open: all - acknowledged,
        acknowledged,
    })
}

/// Days by which a warning's day must move before it is raised again.
const DAY_MOVES_BY: i64 = 3;

/// Whether a warning that stands open must be raised afresh: it became graver than it was, or its day moved from the one
/// it was last raised with (so that days that drift one by one are not missed).
#[must_use]
fn afresh(before: (i32, Option<NaiveDate>), now: (i32, Option<NaiveDate>)) -> bool {
    let moved = match (before.1, now.1) {
        (Some(one), Some(other)) => (other - one).num_days().abs() >= DAY_MOVES_BY,
        (one, other) => one != other,
    };
    now.0 > before.0 || moved
}

/// Raises a warning, or keeps the open one up to date.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn warning_raise(tx: &mut Tx<'_>, subject: &Subject<'_>, alarm: &Alarm) -> Result<(), Error> {
    let open = store::warning_open(tx.conn, subject.kind, subject.noun, subject.code)?;
    let now = (alarm.severity, alarm.due_on);
    let again = open
        .as_ref()
        .is_some_and(|open| afresh((open.severity, open.raised_due_on), now));
    let said = Said {
        severity: alarm.severity,
        due_on: alarm.due_on,
        reason: &alarm.reason,
    };
    let at = tx.stored_now();
    let id = store::warning_raise(
        tx.conn,
        open.as_ref(),
        (subject.kind, subject.noun, subject.code),
        said,
        again,
        at,
    )?;
    match open.is_none() || again {
        true => tell(tx, WARNING_RAISED, id),
        false => Ok(()),
    }
}

/// Puts a warning as it stands now out to whoever asked for the topic.
fn tell(tx: &mut Tx<'_>, topic: &str, id: i64) -> Result<(), Error> {
    let warning = warning_fetch(tx.conn, id)?;
    outbox_put(tx, topic, &warning)
}

/// Clears the open warning of a subject, if there is one.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn warning_clear(tx: &mut Tx<'_>, subject: &Subject<'_>) -> Result<(), Error> {
    let at = tx.stored_now();
    match store::warning_open(tx.conn, subject.kind, subject.noun, subject.code)? {
        Some(open) => {
            store::warning_clear(tx.conn, open.id, at)?;
            tell(tx, WARNING_CLEARED, open.id)
        }
        None => Ok(()),
    }
}

/// Acknowledges a warning with a note. Acknowledging again replaces the note.
///
/// # Errors
/// [`Error::NotFound`] without such a warning, [`Error::Refused`] when it has cleared, [`Error::Invalid`] for a note too long
/// or with control characters.
pub fn warning_acknowledge(
    tx: &mut Tx<'_>,
    id: i64,
    input: &AcknowledgeIn,
) -> Result<Warning, Error> {
    let length = input.note.chars().count();
    let odd = |c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
    if length > 500 || input.note.contains(odd) {
        return Err(Error::invalid(
            "/note",
            format!(
                "the note has {length} characters: send at most 500, with no control characters but line ends and tabs"
            ),
        ));
    }
    let row = store::warning_fetch(tx.conn, id)?.ok_or_else(|| Error::not_found("warning", id))?;
    if row.cleared_at.is_some() {
        return Err(Error::refused(
            crate::base::RefusalKind::WrongState,
            "the warning has cleared itself already",
        ));
    }
    let at = tx.stored_now();
    store::warning_acknowledge(tx.conn, id, tx.actor, &input.note, at)?;
    tell(tx, WARNING_ACKNOWLEDGED, id)?;
    warning_fetch(tx.conn, id)
}

/// One warning.
///
/// # Errors
/// [`Error::NotFound`] without such a warning.
pub fn warning_fetch(conn: &mut AnyConnection, id: i64) -> Result<Warning, Error> {
    Ok(store::warning_fetch(conn, id)?
        .ok_or_else(|| Error::not_found("warning", id))?
        .into())
}

/// A page of warnings, the open ones or all, oldest first; and one more when there are more.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn warnings_list(
    conn: &mut AnyConnection,
    open_only: bool,
    page: Page,
) -> Result<Vec<Warning>, Error> {
    Ok(
        store::warnings_page(conn, open_only, page.after, page.limit + 1)?
            .into_iter()
            .map(Warning::from)
            .collect(),
    )
}

/// The warnings that stand and that nobody has acknowledged, at most so many, the gravest first, then by their day; and how
/// many there are in all.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn warnings_to_see(conn: &mut AnyConnection, limit: i64) -> Result<(Vec<Warning>, i64), Error> {
    let (rows, count) = store::warnings_to_see(conn, limit)?;
    Ok((rows.into_iter().map(Warning::from).collect(), count))
}

#[cfg(test)]
mod tests {
    use super::super::shelf::tests::day;
    use super::*;

    #[track_caller]
    fn check(before: (i32, Option<&str>), now: (i32, Option<&str>), expected: bool) {
        assert_eq!(
            afresh((before.0, before.1.map(day)), (now.0, now.1.map(day))),
            expected
        );
    }

    #[test]
    fn raised_again_when_graver_or_moved() {
        check((2, Some("2026-02-10")), (2, Some("2026-02-12")), false);
        check((2, Some("2026-02-10")), (2, Some("2026-02-13")), true);
        check((2, Some("2026-02-10")), (2, Some("2026-02-07")), true);
        check((2, Some("2026-02-10")), (3, Some("2026-02-10")), true);
        check((2, Some("2026-02-10")), (1, Some("2026-02-10")), false);
        check((2, None), (2, Some("2026-02-10")), true);
    }
}
