//! Queues the digest of a day, once for all processes.

use chrono::DateTime;

use super::digest::{Acknowledged, DigestFacts, DigestWarning, digest};
use crate::base::Error;
use crate::casting::life::booked::casts_booked;
use crate::db::{Tx, job_claim, outbox_put_mail};
use crate::http::{Page, Service};
use crate::reorder::{advice_kept, refresh};
use crate::stock::expiries::expiries;
use crate::stock::warnings::{Warning, warnings_list};

/// The topic of the daily mail.
pub(super) const DIGEST_DAILY: &str = "digest.daily";

/// The name under which the day is taken.
const JOB: &str = "daily-mail";

/// Queues the digest of today unless it was queued before, by this process or another; the day is taken in the transaction
/// that queues it. Where there is nothing to say, the day is taken all the same.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer; then the day is not taken.
pub(super) fn digest_queue(service: &Service) -> Result<(), Error> {
    // What the advice rests on may have changed overnight.
    refresh(service)?;
    service.as_actor("daily mail", |tx| {
        if !job_claim(tx.conn, JOB, tx.today, tx.now)? {
            return Ok(());
        }
        let facts = facts(tx)?;
        match digest(facts, tx.today, tx.base_currency.as_str()) {
            Some(digest) => outbox_put_mail(tx, DIGEST_DAILY, &digest),
            None => Ok(()),
        }
    })
}

fn facts(tx: &mut Tx<'_>) -> Result<DigestFacts, Error> {
    let all = Page {
        after: 0,
        limit: i64::MAX - 1,
    };
    let warnings = warnings_list(tx.conn, true, all)?;
    // Before any books, and a day that both databases know.
    let beginning = DateTime::UNIX_EPOCH.date_naive();
    Ok(DigestFacts {
        warnings: warnings.into_iter().map(warning).collect(),
        advice: advice_kept(tx.conn)?,
        expiries: expiries(tx.conn, beginning)?,
        casts: casts_booked(tx.conn, beginning)?,
    })
}

fn warning(warning: Warning) -> DigestWarning {
    DigestWarning {
        kind: warning.kind,
        subject_noun: warning.subject_noun,
        subject: warning.subject,
        severity: warning.severity,
        due_on: warning.due_on,
        reason: warning.reason,
        acknowledged: warning.acknowledged_by.map(|by| Acknowledged {
            by,
            note: warning.note.unwrap_or_default(),
        }),
    }
}
