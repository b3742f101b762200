//! Webhooks in the database.

use chrono::NaiveDateTime;
use diesel::prelude::*;

use crate::base::Error;
use crate::db::schema::webhooks;
use crate::db::{AnyConnection, Tx};

/// A webhook as it is shown.
#[derive(Queryable, Selectable)]
#[diesel(table_name = webhooks)]
pub(super) struct WebhookRow {
    pub(super) id: i64,
    pub(super) url: String,
    pub(super) topics: String,
    pub(super) created_at: NaiveDateTime,
    pub(super) created_by: String,
    pub(super) removed_at: Option<NaiveDateTime>,
}

/// Makes a webhook.
pub(super) fn webhook_insert(
    tx: &mut Tx<'_>,
    url: &str,
    topics: &str,
    secret: &str,
) -> Result<i64, Error> {
    let row = (
        webhooks::url.eq(url),
        webhooks::topics.eq(topics),
        webhooks::secret.eq(secret),
        webhooks::created_at.eq(tx.stored_now()),
        webhooks::created_by.eq(tx.actor),
    );
    Ok(diesel::insert_into(webhooks::table)
        .values(row)
        .returning(webhooks::id)
        .get_result(tx.conn)?)
}

pub(super) fn webhook_fetch(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<WebhookRow>, Error> {
    Ok(webhooks::table
        .find(id)
        .select(WebhookRow::as_select())
        .first(conn)
        .optional()?)
}

/// Where to send, and what to sign with; none when it was removed.
pub(super) fn webhook_sending(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<(String, String)>, Error> {
    Ok(webhooks::table
        .find(id)
        .filter(webhooks::removed_at.is_null())
        .select((webhooks::url, webhooks::secret))
        .first(conn)
        .optional()?)
}

/// A page of webhooks and one row more.
pub(super) fn webhooks_after(
    conn: &mut AnyConnection,
    after: i64,
    limit: i64,
) -> Result<Vec<WebhookRow>, Error> {
    Ok(webhooks::table
        .filter(webhooks::id.gt(after))
        .order(webhooks::id)
        .limit(limit)
        .select(WebhookRow::as_select())
        .load(conn)?)
}

/// Removes a webhook; one that was removed before stays as it is.
pub(super) fn webhook_remove(
    conn: &mut AnyConnection,
    id: i64,
    now: NaiveDateTime,
) -> Result<(), Error> {
    diesel::update(webhooks::table.find(id))
        .filter(webhooks::removed_at.is_null())
        .set(webhooks::removed_at.eq(Some(now)))
        .execute(conn)?;
    Ok(())
}
