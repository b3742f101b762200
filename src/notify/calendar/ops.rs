//! Keys of the calendar, and what its events are made of.
//!
//! Invariants: a key is 256 random bits and only its SHA-256 is kept; what the events are made of is read at one moment of
//! the books.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::events::{CalendarFacts, first_day};
use super::store;
use crate::base::{Currency, Error};
use crate::casting::life::booked::casts_booked;
use crate::db::{AnyConnection, Tx, installation_fetch, instant};
use crate::http::Page;
use crate::http::tokens::{hash, name_checked, secret_make};
use crate::reorder::advice_kept;
use crate::stock::expiries::expiries;

/// How many characters of the hash of the first start tell installations apart.
const INSTALLATION_CHARACTERS: usize = 12;

/// A key to be made.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct CalendarKeyIn {
    /// Whose calendar it is for; 1 to 100 characters.
    #[schema(
        min_length = 1,
        max_length = 100,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub(super) name: String,
}

/// A key without its secret.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(super) struct CalendarKeyOut {
    /// The key's id.
    pub(super) id: i64,
    /// Whose calendar it is for.
    pub(super) name: String,
    /// When it was made.
    pub(super) created_at: DateTime<Utc>,
    /// Who made it.
    pub(super) created_by: String,
    /// When it was revoked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) revoked_at: Option<DateTime<Utc>>,
}

/// A key just made, with its secret: shown this once.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(super) struct CalendarKeyMade {
    /// The key's id.
    pub(super) id: i64,
    /// Whose calendar it is for.
    pub(super) name: String,
    /// The secret. It cannot be read again: the answer to a repeat under the same idempotency key is without it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) key: Option<String>,
    /// The calendar's address below this service's, with the secret in it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) path: Option<String>,
}

impl CalendarKeyMade {
    /// The same without the secret.
    pub(super) fn without_secret(&self) -> Self {
        Self {
            key: None,
            path: None,
            ..self.clone()
        }
    }
}

impl From<store::KeyRow> for CalendarKeyOut {
    fn from(row: store::KeyRow) -> Self {
        Self {
            id: row.id,
            name: row.name,
            created_at: instant(row.created_at),
            created_by: row.created_by,
            revoked_at: row.revoked_at.map(instant),
        }
    }
}

/// Makes a key.
pub(super) fn key_create(tx: &mut Tx<'_>, input: &CalendarKeyIn) -> Result<CalendarKeyMade, Error> {
    let name = name_checked(&input.name)?;
    let key = secret_make(tx.entropy, "hc_")?;
    let at = tx.stored_now();
    let id = store::key_insert(tx.conn, &name, &hash(&key), tx.actor, at)?;
    Ok(CalendarKeyMade {
        id,
        name,
        path: Some(format!("/v1/calendar.ics?key={key}")),
        key: Some(key),
    })
}

/// One page of the keys, with one more than asked for.
pub(super) fn key_list(conn: &mut AnyConnection, page: Page) -> Result<Vec<CalendarKeyOut>, Error> {
    let rows = store::keys_after(conn, page.after, page.limit + 1)?;
    Ok(rows.into_iter().map(CalendarKeyOut::from).collect())
}

/// One key.
pub(super) fn key_get(conn: &mut AnyConnection, id: i64) -> Result<CalendarKeyOut, Error> {
    let row = store::key_fetch(conn, id)?;
    row.map(CalendarKeyOut::from)
        .ok_or_else(|| Error::not_found("calendar key", id))
}

/// Revokes a key: it opens nothing from now on.
pub(super) fn key_revoke(tx: &mut Tx<'_>, id: i64) -> Result<(), Error> {
    let now = tx.stored_now();
    match store::key_revoke(tx.conn, id, now)? {
        true => Ok(()),
        false => Err(Error::not_found("calendar key", id)),
    }
}

/// Whether a secret opens the calendar.
pub(super) fn key_opens(conn: &mut AnyConnection, secret: &str) -> Result<bool, Error> {
    store::key_stands(conn, &hash(secret))
}

/// What the events of today are made of.
pub(super) fn calendar_facts(
    conn: &mut AnyConnection,
    today: NaiveDate,
    currency: Currency,
) -> Result<CalendarFacts, Error> {
    let first_start = installation_fetch(conn)?.map(|installation| installation.created_at);
    let mut installation = hash(&first_start.unwrap_or_default().to_rfc3339());
    installation.truncate(INSTALLATION_CHARACTERS);
    let from = first_day(today);
    Ok(CalendarFacts {
        installation,
        advice: advice_kept(conn)?,
        expiries: expiries(conn, from)?,
        casts: casts_booked(conn, from)?,
        currency,
    })
}
