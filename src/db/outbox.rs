//! The outbox: what is to be told to the outside, written in the transaction in which it happened.
//!
//! Invariants: a message is written once, with one id that every repeat of it carries; it has one delivery for each that
//! had asked for its topic by then, so that one receiver's trouble is not another's. Deliberately absent: the sending (the
//! notify room claims deliveries and sends them).

use chrono::{DateTime, Utc};
use diesel::prelude::*;
use serde::Serialize;

use super::schema::{deliveries, outbox, webhooks};
use super::transaction::Tx;
use crate::base::Error;

/// A warning was raised, or raised again.
pub const WARNING_RAISED: &str = "warning.raised";
/// Somebody acknowledged a warning.
pub const WARNING_ACKNOWLEDGED: &str = "warning.acknowledged";
/// A warning cleared itself.
pub const WARNING_CLEARED: &str = "warning.cleared";
/// Somebody tries whether a webhook arrives.
pub const WEBHOOK_TEST: &str = "webhook.test";
/// Every topic that a webhook may ask for.
pub const TOPICS: [&str; 3] = [WARNING_RAISED, WARNING_ACKNOWLEDGED, WARNING_CLEARED];

/// A message as it is sent: what happened, when, and all that is known of it.
#[derive(Serialize)]
struct Payload<'a, T> {
    r#type: &'a str,
    timestamp: DateTime<Utc>,
    data: &'a T,
}

/// Puts a message out for every webhook that asks for its topic. Without one, nothing is written.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer; [`Error::Internal`] when the operating system gives no random
/// bytes.
pub fn outbox_put<T: Serialize>(tx: &mut Tx<'_>, topic: &str, data: &T) -> Result<(), Error> {
    let standing: Vec<(i64, String)> = webhooks::table
        .filter(webhooks::removed_at.is_null())
        .order(webhooks::id)
        .select((webhooks::id, webhooks::topics))
        .load(tx.conn)?;
    let asked = |topics: &str| topics.split(' ').any(|one| one == topic);
    let receivers: Vec<i64> = standing
        .into_iter()
        .filter(|(_, topics)| asked(topics))
        .map(|(id, _)| id)
        .collect();
    if receivers.is_empty() {
        return Ok(());
    }
    let outbox_id = message_put(tx, topic, data)?;
    for webhook in receivers {
        delivery_put(tx, outbox_id, "webhook", Some(webhook))?;
    }
    Ok(())
}

/// Puts a message out for one webhook, whatever it asks for, and returns its delivery's id.
///
/// # Errors
/// As [`outbox_put`].
pub fn outbox_put_to<T: Serialize>(
    tx: &mut Tx<'_>,
    topic: &str,
    data: &T,
    webhook_id: i64,
) -> Result<i64, Error> {
    let outbox_id = message_put(tx, topic, data)?;
    delivery_put(tx, outbox_id, "webhook", Some(webhook_id))
}

/// Puts a message out to be mailed, whatever webhooks there are.
///
/// # Errors
/// As [`outbox_put`].
pub fn outbox_put_mail<T: Serialize>(tx: &mut Tx<'_>, topic: &str, data: &T) -> Result<(), Error> {
    let outbox_id = message_put(tx, topic, data)?;
    delivery_put(tx, outbox_id, "mail", None).map(|_| ())
}

fn message_put<T: Serialize>(tx: &mut Tx<'_>, topic: &str, data: &T) -> Result<i64, Error> {
    let mut bytes = [0; 16];
    tx.entropy.fill(&mut bytes).map_err(Error::internal)?;
    let payload = Payload {
        r#type: topic,
        timestamp: tx.now,
        data,
    };
    let values = (
        outbox::message_id.eq(format!("msg_{}", hex::encode(bytes))),
        outbox::topic.eq(topic),
        outbox::payload.eq(serde_json::to_string(&payload).map_err(Error::internal)?),
        outbox::created_at.eq(tx.stored_now()),
    );
    Ok(diesel::insert_into(outbox::table)
        .values(values)
        .returning(outbox::id)
        .get_result(tx.conn)?)
}

fn delivery_put(
    tx: &mut Tx<'_>,
    outbox_id: i64,
    channel: &str,
    webhook_id: Option<i64>,
) -> Result<i64, Error> {
    let at = tx.stored_now();
    Ok(diesel::insert_into(deliveries::table)
        .values((
            deliveries::outbox_id.eq(outbox_id),
            deliveries::channel.eq(channel),
            deliveries::webhook_id.eq(webhook_id),
            deliveries::state.eq("waiting"),
            deliveries::next_attempt_at.eq(at),
        ))
        .returning(deliveries::id)
        .get_result(tx.conn)?)
}
