//! Tokens and idempotency keys in the database: the only user of diesel in this room.

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::prelude::*;

use super::caller::{Caller, Roles};
use super::reply::Reply;
use crate::base::Error;
use crate::db::schema::{idempotency_keys, sessions, tokens};
use crate::db::{AnyConnection, stored_instant};

/// What identifies a request that may be repeated.
#[derive(Debug, Clone)]
pub(super) struct Once {
    pub(super) token_id: i64,
    pub(super) method: String,
    pub(super) path: String,
    pub(super) key: String,
    pub(super) body_hash: String,
}

/// A token as it is kept; the secret itself never is.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = tokens)]
pub(super) struct TokenRow {
    pub(super) id: i64,
    pub(super) name: String,
    pub(super) roles: String,
    pub(super) created_at: NaiveDateTime,
    pub(super) expires_at: Option<NaiveDateTime>,
    pub(super) revoked_at: Option<NaiveDateTime>,
}

pub(super) fn token_by_hash(
    conn: &mut AnyConnection,
    hash: &str,
    now: DateTime<Utc>,
) -> Result<Option<Caller>, Error> {
    let row: Option<TokenRow> = tokens::table
        .filter(tokens::hash.eq(hash))
        .select(TokenRow::as_select())
        .first(conn)
        .optional()?;
    row.map_or(Ok(None), |token| live(token, stored_instant(now)))
}

/// Who a token stands for, as long as it does.
fn live(token: TokenRow, now: NaiveDateTime) -> Result<Option<Caller>, Error> {
    if token.revoked_at.is_some() || token.expires_at.is_some_and(|at| at <= now) {
        return Ok(None);
    }
    let roles: Roles = token.roles.parse().map_err(Error::Internal)?;
    Ok(Some(Caller {
        token_id: token.id,
        name: token.name,
        roles,
    }))
}

/// Who an open session is of.
pub(super) fn session_by_hash(
    conn: &mut AnyConnection,
    hash: &str,
    now: DateTime<Utc>,
) -> Result<Option<Caller>, Error> {
    let now = stored_instant(now);
    let row: Option<TokenRow> = sessions::table
        .inner_join(tokens::table)
        .filter(sessions::hash.eq(hash))
        .filter(sessions::ended_at.is_null())
        .filter(sessions::expires_at.gt(now))
        .select(TokenRow::as_select())
        .first(conn)
        .optional()?;
    row.map_or(Ok(None), |token| live(token, now))
}

pub(super) fn session_insert(
    conn: &mut AnyConnection,
    token_id: i64,
    hash: &str,
    now: NaiveDateTime,
    expires_at: NaiveDateTime,
) -> Result<(), Error> {
    diesel::insert_into(sessions::table)
        .values((
            sessions::token_id.eq(token_id),
            sessions::hash.eq(hash),
            sessions::created_at.eq(now),
            sessions::expires_at.eq(expires_at),
        ))
        .execute(conn)?;
    Ok(())
}

pub(super) fn sessions_forget(conn: &mut AnyConnection, now: NaiveDateTime) -> Result<(), Error> {
    let over = sessions::ended_at
        .is_not_null()
        .or(sessions::expires_at.le(now));
    diesel::delete(sessions::table.filter(over)).execute(conn)?;
    Ok(())
}

pub(super) fn session_end(
    conn: &mut AnyConnection,
    hash: &str,
    now: NaiveDateTime,
) -> Result<(), Error> {
    diesel::update(sessions::table.filter(sessions::hash.eq(hash)))
        .set(sessions::ended_at.eq(Some(now)))
        .execute(conn)?;
    Ok(())
}

pub(super) fn token_insert(
    conn: &mut AnyConnection,
    name: &str,
    hash: &str,
    roles: &Roles,
    now: NaiveDateTime,
    expires_at: Option<NaiveDateTime>,
) -> Result<i64, Error> {
    let row = (
        tokens::name.eq(name),
        tokens::hash.eq(hash),
        tokens::roles.eq(roles.to_string()),
        tokens::created_at.eq(now),
        tokens::expires_at.eq(expires_at),
    );
    Ok(diesel::insert_into(tokens::table)
        .values(row)
        .returning(tokens::id)
        .get_result(conn)?)
}

pub(super) fn token_count(conn: &mut AnyConnection) -> Result<i64, Error> {
    Ok(tokens::table.count().get_result(conn)?)
}

pub(super) fn tokens_after(
    conn: &mut AnyConnection,
    after: i64,
    limit: i64,
) -> Result<Vec<TokenRow>, Error> {
    Ok(tokens::table
        .filter(tokens::id.gt(after))
        .order(tokens::id)
        .limit(limit)
        .select(TokenRow::as_select())
        .load(conn)?)
}

pub(super) fn token_fetch(conn: &mut AnyConnection, id: i64) -> Result<Option<TokenRow>, Error> {
    Ok(tokens::table
        .find(id)
        .select(TokenRow::as_select())
        .first(conn)
        .optional()?)
}

/// Revokes a token; `false` when there is none with this id. Revoking twice keeps the first instant.
pub(super) fn token_revoke(
    conn: &mut AnyConnection,
    id: i64,
    now: NaiveDateTime,
) -> Result<bool, Error> {
    if tokens::table.find(id).count().get_result::<i64>(conn)? == 0 {
        return Ok(false);
    }
    diesel::update(
        tokens::table
            .filter(tokens::id.eq(id))
            .filter(tokens::revoked_at.is_null()),
    )
    .set(tokens::revoked_at.eq(Some(now)))
    .execute(conn)?;
    Ok(true)
}

/// The answer kept for a request, with the hash of the body it was given to.
pub(super) fn answer_fetch(
    conn: &mut AnyConnection,
    once: &Once,
) -> Result<Option<(String, Reply)>, Error> {
    type Row = (String, i32, Option<String>, Option<String>, String);
    let row: Option<Row> = idempotency_keys::table
        .find((once.token_id, &once.method, &once.path, &once.key))
        .select((
            idempotency_keys::body_hash,
            idempotency_keys::status,
            idempotency_keys::location,
            idempotency_keys::etag,
            idempotency_keys::body,
        ))
        .first(conn)
        .optional()?;
    Ok(row.map(|(hash, status, location, etag, body)| {
        (
            hash,
            Reply {
                status: u16::try_from(status).unwrap_or(200),
                location,
                etag,
                body,
                kept_body: None,
                refusal: None,
            },
        )
    }))
}

pub(super) fn answer_keep(
    conn: &mut AnyConnection,
    once: &Once,
    reply: &Reply,
    now: NaiveDateTime,
) -> Result<(), Error> {
    let row = (
        idempotency_keys::token_id.eq(once.token_id),
        idempotency_keys::method.eq(&once.method),
        idempotency_keys::path.eq(&once.path),
        idempotency_keys::key.eq(&once.key),
        idempotency_keys::body_hash.eq(&once.body_hash),
        idempotency_keys::status.eq(i32::from(reply.status)),
        idempotency_keys::location.eq(&reply.location),
        idempotency_keys::etag.eq(&reply.etag),
        idempotency_keys::body.eq(reply.kept_body.as_ref().unwrap_or(&reply.body)),
        idempotency_keys::created_at.eq(now),
    );
    diesel::insert_into(idempotency_keys::table)
        .values(row)
        .execute(conn)?;
    Ok(())
}

/// Forgets answers older than `before`.
pub(super) fn answers_forget(
    conn: &mut AnyConnection,
    before: NaiveDateTime,
) -> Result<usize, Error> {
    Ok(
        diesel::delete(idempotency_keys::table.filter(idempotency_keys::created_at.lt(before)))
            .execute(conn)?,
    )
}
