//! Deliveries and their messages in the database.

use chrono::NaiveDateTime;
use diesel::prelude::*;

use crate::base::Error;
use crate::db::AnyConnection;
use crate::db::schema::{deliveries, outbox, webhooks};

/// A delivery as it is kept, with its message's id, topic and payload.
pub(super) type DeliveryRow = (DeliveryColumns, String, String, String);

/// The columns of a delivery.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = deliveries)]
pub(super) struct DeliveryColumns {
    pub(super) id: i64,
    pub(super) channel: String,
    pub(super) webhook_id: Option<i64>,
    pub(super) state: String,
    pub(super) attempts: i32,
    pub(super) next_attempt_at: NaiveDateTime,
    pub(super) settled_at: Option<NaiveDateTime>,
    pub(super) last_outcome: Option<String>,
}

/// How many of a channel's deliveries wait, due or not.
pub(super) fn waiting_count(conn: &mut AnyConnection, channel: &str) -> Result<i64, Error> {
    Ok(deliveries::table
        .filter(deliveries::state.eq("waiting"))
        .filter(deliveries::channel.eq(channel))
        .count()
        .get_result(conn)?)
}

/// How many deliveries are in each state that is not settled well, of all channels.
pub(super) fn left_counts(conn: &mut AnyConnection) -> Result<Vec<(String, i64)>, Error> {
    Ok(deliveries::table
        .filter(deliveries::state.eq_any(["waiting", "dead"]))
        .group_by(deliveries::state)
        .select((deliveries::state, diesel::dsl::count_star()))
        .load(conn)?)
}

/// The receivers that something is due for, whoever has waited longest first.
pub(super) fn receivers_due(
    conn: &mut AnyConnection,
    channel: &str,
    now: NaiveDateTime,
) -> Result<Vec<Option<i64>>, Error> {
    let free = deliveries::leased_until
        .is_null()
        .or(deliveries::leased_until.le(now));
    Ok(deliveries::table
        .filter(deliveries::state.eq("waiting"))
        .filter(deliveries::channel.eq(channel))
        .filter(deliveries::next_attempt_at.le(now))
        .filter(free)
        .group_by(deliveries::webhook_id)
        .order(diesel::dsl::min(deliveries::next_attempt_at))
        .select(deliveries::webhook_id)
        .load(conn)?)
}

/// Takes a lease on due deliveries to one receiver, oldest first, and counts an attempt of each. On PostgreSQL those that
/// another process is just taking are passed over; SQLite's one writer needs no more.
pub(super) fn deliveries_claim(
    conn: &mut AnyConnection,
    (channel, receiver): (&str, Option<i64>),
    (now, leased_until): (NaiveDateTime, NaiveDateTime),
    count: i64,
) -> Result<Vec<DeliveryRow>, Error> {
    let free = deliveries::leased_until
        .is_null()
        .or(deliveries::leased_until.le(now));
    // Mail has no webhook, and whatever goes by webhook has one.
    let theirs = deliveries::webhook_id
        .is_null()
        .or(deliveries::webhook_id.eq(receiver));
    let due = deliveries::table
        .filter(deliveries::state.eq("waiting"))
        .filter(deliveries::channel.eq(channel))
        .filter(theirs)
        .filter(deliveries::next_attempt_at.le(now))
        .filter(free)
        .order((deliveries::next_attempt_at, deliveries::id))
        .limit(count)
        .select(deliveries::id);
    let ids: Vec<i64> = match conn {
        AnyConnection::Sqlite(conn) => due.load(conn)?,
        AnyConnection::Postgres(conn) => due.for_update().skip_locked().load(conn)?,
    };
    for id in &ids {
        diesel::update(deliveries::table.find(id))
            .set((
                deliveries::leased_until.eq(Some(leased_until)),
                deliveries::attempts.eq(deliveries::attempts + 1),
            ))
            .execute(conn)?;
    }
    ids.into_iter()
        .map(|id| delivery_fetch(conn, id)?.ok_or_else(|| Error::not_found("delivery", id)))
        .collect()
}

/// What is kept of an attempt.
#[derive(Debug, Clone, Copy)]
pub(super) struct Kept<'a> {
    /// The state from now on.
    pub(super) state: &'a str,
    /// When it was settled, unless it waits again.
    pub(super) settled_at: Option<NaiveDateTime>,
    /// When it is attempted next, if it waits again.
    pub(super) next_attempt_at: Option<NaiveDateTime>,
    /// How the attempt ended.
    pub(super) said: &'a str,
}

/// Settles an attempt of a delivery that still waits; with a `lease`, only if nobody else has claimed it since. `false` when
/// there was nothing to settle.
pub(super) fn delivery_settle(
    conn: &mut AnyConnection,
    id: i64,
    lease: Option<NaiveDateTime>,
    kept: Kept<'_>,
) -> Result<bool, Error> {
    let none: Option<NaiveDateTime> = None;
    let again_at = kept.next_attempt_at;
    let change = (
        deliveries::state.eq(kept.state),
        deliveries::settled_at.eq(kept.settled_at),
        again_at.map(|at| deliveries::next_attempt_at.eq(at)),
        deliveries::leased_until.eq(none),
        deliveries::last_outcome.eq(Some(kept.said)),
    );
    let waits = deliveries::id.eq(id).and(deliveries::state.eq("waiting"));
    let settled = match lease {
        None => diesel::update(deliveries::table.filter(waits))
            .set(change)
            .execute(conn)?,
        Some(lease) => diesel::update(deliveries::table.filter(waits))
            .filter(deliveries::leased_until.eq(lease))
            .set(change)
            .execute(conn)?,
    };
    Ok(settled == 1)
}

/// Drops what waits for a webhook.
pub(in crate::notify) fn deliveries_drop(
    conn: &mut AnyConnection,
    webhook_id: i64,
    now: NaiveDateTime,
    said: &str,
) -> Result<usize, Error> {
    let none: Option<NaiveDateTime> = None;
    let waits = deliveries::webhook_id
        .eq(webhook_id)
        .and(deliveries::state.eq("waiting"));
    Ok(diesel::update(deliveries::table.filter(waits))
        .set((
            deliveries::state.eq("dropped"),
            deliveries::settled_at.eq(Some(now)),
            deliveries::leased_until.eq(none),
            deliveries::last_outcome.eq(Some(said)),
        ))
        .execute(conn)?)
}

/// A delivery with its message.
pub(super) fn delivery_fetch(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<DeliveryRow>, Error> {
    Ok(deliveries::table
        .inner_join(outbox::table)
        .filter(deliveries::id.eq(id))
        .select((
            DeliveryColumns::as_select(),
            outbox::message_id,
            outbox::topic,
            outbox::payload,
        ))
        .first(conn)
        .optional()?)
}

/// Holds a delivery until the transaction ends. SQLite's one writer needs no more.
pub(super) fn delivery_hold(conn: &mut AnyConnection, id: i64) -> Result<(), Error> {
    if let AnyConnection::Postgres(conn) = conn {
        deliveries::table
            .find(id)
            .select(deliveries::id)
            .for_update()
            .load::<i64>(conn)?;
    }
    Ok(())
}

/// Whether a webhook stands.
pub(super) fn webhook_stands(conn: &mut AnyConnection, id: i64) -> Result<bool, Error> {
    let standing: Option<i64> = webhooks::table
        .find(id)
        .filter(webhooks::removed_at.is_null())
        .select(webhooks::id)
        .first(conn)
        .optional()?;
    Ok(standing.is_some())
}

/// Puts a delivery back among those that wait, as if it had never been attempted; its last outcome stays readable.
pub(super) fn delivery_resend(
    conn: &mut AnyConnection,
    id: i64,
    now: NaiveDateTime,
) -> Result<(), Error> {
    let none: Option<NaiveDateTime> = None;
    diesel::update(deliveries::table.find(id))
        .set((
            deliveries::state.eq("waiting"),
            deliveries::attempts.eq(0),
            deliveries::next_attempt_at.eq(now),
            deliveries::leased_until.eq(none),
            deliveries::settled_at.eq(none),
        ))
        .execute(conn)?;
    Ok(())
}

/// One page of deliveries, in one state or in all, to one webhook or to all. The payloads are left out.
pub(super) fn deliveries_page(
    conn: &mut AnyConnection,
    (state, webhook_id): (Option<&str>, Option<i64>),
    after: i64,
    limit: i64,
) -> Result<Vec<(DeliveryColumns, String, String)>, Error> {
    let mut query = deliveries::table.inner_join(outbox::table).into_boxed();
    if let Some(state) = state {
        query = query.filter(deliveries::state.eq(state));
    }
    if let Some(webhook_id) = webhook_id {
        query = query.filter(deliveries::webhook_id.eq(webhook_id));
    }
    Ok(query
        .filter(deliveries::id.gt(after))
        .order(deliveries::id)
        .limit(limit)
        .select((
            DeliveryColumns::as_select(),
            outbox::message_id,
            outbox::topic,
        ))
        .load(conn)?)
}

/// Forgets what was delivered or dropped before an instant, and messages put out before it that have no delivery left.
pub(super) fn deliveries_forget(
    conn: &mut AnyConnection,
    before: NaiveDateTime,
) -> Result<(usize, usize), Error> {
    let done = deliveries::state
        .eq("delivered")
        .or(deliveries::state.eq("dropped"));
    let forgotten = diesel::delete(deliveries::table)
        .filter(done)
        .filter(deliveries::settled_at.lt(before))
        .execute(conn)?;
    let told = diesel::dsl::exists(
        deliveries::table
            .filter(deliveries::outbox_id.eq(outbox::id))
            .select(deliveries::id),
    );
    let messages = diesel::delete(outbox::table)
        .filter(outbox::created_at.lt(before))
        .filter(diesel::dsl::not(told))
        .execute(conn)?;
    Ok((forgotten, messages))
}

/// How many messages are kept.
#[cfg(test)]
pub(super) fn messages_count(service: &crate::http::Service) -> i64 {
    let count = |conn: &mut AnyConnection| Ok(outbox::table.count().get_result(conn)?);
    service.db().read(count).expect("the messages")
}
