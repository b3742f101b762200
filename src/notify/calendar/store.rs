//! Calendar keys in the database.

use chrono::NaiveDateTime;
use diesel::prelude::*;

use crate::base::Error;
use crate::db::AnyConnection;
use crate::db::schema::calendar_keys;

/// A key as it is kept; the secret itself never is.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = calendar_keys)]
pub(super) struct KeyRow {
    pub(super) id: i64,
    pub(super) name: String,
    pub(super) created_at: NaiveDateTime,
    pub(super) created_by: String,
    pub(super) revoked_at: Option<NaiveDateTime>,
}

pub(super) fn key_insert(
    conn: &mut AnyConnection,
    name: &str,
    hash: &str,
    actor: &str,
    now: NaiveDateTime,
) -> Result<i64, Error> {
    let row = (
        calendar_keys::name.eq(name),
        calendar_keys::hash.eq(hash),
        calendar_keys::created_at.eq(now),
        calendar_keys::created_by.eq(actor),
    );
    Ok(diesel::insert_into(calendar_keys::table)
        .values(row)
        .returning(calendar_keys::id)
        .get_result(conn)?)
}

pub(super) fn keys_after(
    conn: &mut AnyConnection,
    after: i64,
    limit: i64,
) -> Result<Vec<KeyRow>, Error> {
    Ok(calendar_keys::table
        .filter(calendar_keys::id.gt(after))
        .order(calendar_keys::id)
        .limit(limit)
        .select(KeyRow::as_select())
        .load(conn)?)
}

pub(super) fn key_fetch(conn: &mut AnyConnection, id: i64) -> Result<Option<KeyRow>, Error> {
    Ok(calendar_keys::table
        .find(id)
        .select(KeyRow::as_select())
        .first(conn)
        .optional()?)
}

/// Whether a key with this hash stands. The look-up is by the hash, so that no comparison of the secret itself can leak how
/// far it agrees.
pub(super) fn key_stands(conn: &mut AnyConnection, hash: &str) -> Result<bool, Error> {
    let standing: i64 = calendar_keys::table
        .filter(calendar_keys::hash.eq(hash))
        .filter(calendar_keys::revoked_at.is_null())
        .count()
        .get_result(conn)?;
    Ok(standing == 1)
}

/// Revokes a key; `false` when there is none with this id. Revoking twice keeps the first instant.
pub(super) fn key_revoke(
    conn: &mut AnyConnection,
    id: i64,
    now: NaiveDateTime,
) -> Result<bool, Error> {
    if key_fetch(conn, id)?.is_none() {
        return Ok(false);
    }
    diesel::update(
        calendar_keys::table
            .filter(calendar_keys::id.eq(id))
            .filter(calendar_keys::revoked_at.is_null()),
    )
    .set(calendar_keys::revoked_at.eq(Some(now)))
    .execute(conn)?;
    Ok(true)
}
