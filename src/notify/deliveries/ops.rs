//! Deliveries claimed, settled, listed, resent and forgotten.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};

use super::attempt::{AttemptEnd, Retries, Settlement};
use super::store::{self, DeliveryColumns, DeliveryRow, Kept};
use super::view::{Channel, Delivery, DeliveryState, DeliveryWithPayload};
use crate::base::{Error, RefusalKind};
use crate::db::{AnyConnection, Tx, instant, stored_instant};
use crate::http::{Page, Service};

/// Who stands as the actor of what the workers write.
const ACTOR: &str = "deliveries";

/// How long what was delivered or dropped is kept, in days (*assumption*). What is dead is kept until it is resent.
const KEPT_DAYS: i64 = 30;

/// A delivery under a lease: to be attempted now, once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::notify) struct Claimed {
    /// The delivery's id.
    pub(in crate::notify) id: i64,
    /// The message's id.
    pub(in crate::notify) message_id: String,
    /// What the message is about.
    pub(in crate::notify) topic: String,
    /// The message, as it is to be sent.
    pub(in crate::notify) payload: String,
    /// The number of this attempt, which begins at 1.
    pub(in crate::notify) attempt: u32,
    /// Until when nobody else claims it.
    leased_until: DateTime<Utc>,
}

/// How many deliveries of all channels are left to do, or were given up.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct DeliveriesLeft {
    /// They wait, due or not.
    pub waiting: i64,
    /// They were attempted as often as is allowed.
    pub dead: i64,
}

/// Counts what is left.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn deliveries_left(conn: &mut AnyConnection) -> Result<DeliveriesLeft, Error> {
    let mut left = DeliveriesLeft::default();
    for (state, count) in store::left_counts(conn)? {
        match state.as_str() {
            "waiting" => left.waiting = count,
            _ => left.dead = count,
        }
    }
    Ok(left)
}

/// What a channel has to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::notify) struct Due {
    /// How many deliveries wait, due or not.
    pub(in crate::notify) waiting: i64,
    /// The receivers that something is due for, whoever has waited longest first: webhooks, or none for mail.
    pub(in crate::notify) receivers: Vec<Option<i64>>,
}

/// Looks what a channel has to do, without writing.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(in crate::notify) fn due(service: &Service, channel: Channel) -> Result<Due, Error> {
    let now = stored_instant(service.now());
    service.db().read(|conn| {
        let waiting = store::waiting_count(conn, channel.as_str())?;
        let receivers = match waiting {
            0 => Vec::new(),
            _ => store::receivers_due(conn, channel.as_str(), now)?,
        };
        Ok(Due { waiting, receivers })
    })
}

/// Claims what is due for one receiver, oldest first, `count` at most, in a short transaction. `lease` must be longer than
/// the attempts on all of them take: afterwards another process may claim them too.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(in crate::notify) fn claim(
    service: &Service,
    (channel, receiver): (Channel, Option<i64>),
    lease: Duration,
    count: u32,
) -> Result<Vec<Claimed>, Error> {
    service.as_actor(ACTOR, |tx| {
        let leased_until = later(tx.now, lease);
        let rows = store::deliveries_claim(
            tx.conn,
            (channel.as_str(), receiver),
            (stored_instant(tx.now), stored_instant(leased_until)),
            count.into(),
        )?;
        Ok(rows
            .into_iter()
            .map(|row| claimed(row, leased_until))
            .collect())
    })
}

fn claimed((row, message_id, topic, payload): DeliveryRow, leased_until: DateTime<Utc>) -> Claimed {
    Claimed {
        id: row.id,
        message_id,
        topic,
        payload,
        attempt: u32::try_from(row.attempts).unwrap_or(u32::MAX),
        leased_until,
    }
}

/// Settles an attempt in a short transaction, and says what became of the delivery; none when there was nothing to settle:
/// it was dropped meanwhile, or failed after its lease had run out and was claimed by another. (What got there after that is
/// delivered all the same.)
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer; [`Error::Internal`] when the operating system gives no random
/// bytes.
pub(in crate::notify) fn settle(
    service: &Service,
    claimed: &Claimed,
    end: &AttemptEnd,
    retries: &Retries,
) -> Result<Option<Settlement>, Error> {
    service.as_actor(ACTOR, |tx| {
        let mut chance = [0; 4];
        tx.entropy.fill(&mut chance).map_err(Error::internal)?;
        let settlement = retries.judge(claimed.attempt, end, u32::from_le_bytes(chance));
        let mine = Some(stored_instant(claimed.leased_until));
        let (state, again_at, lease) = match settlement {
            Settlement::Delivered => (DeliveryState::Delivered, None, None),
            Settlement::Dead => (DeliveryState::Dead, None, mine),
            Settlement::Again(pause) => (DeliveryState::Waiting, Some(later(tx.now, pause)), mine),
        };
        let now = tx.stored_now();
        let kept = Kept {
            state: state.as_str(),
            settled_at: again_at.is_none().then_some(now),
            next_attempt_at: again_at.map(stored_instant),
            said: end.said(),
        };
        let settled = store::delivery_settle(tx.conn, claimed.id, lease, kept)?;
        Ok(settled.then_some(settlement))
    })
}

fn later(now: DateTime<Utc>, pause: Duration) -> DateTime<Utc> {
    let pause = TimeDelta::from_std(pause).unwrap_or(TimeDelta::MAX);
    now.checked_add_signed(pause)
        .unwrap_or(DateTime::<Utc>::MAX_UTC)
}

/// Drops what waits for a webhook that was removed.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(in crate::notify) fn drop_waiting(tx: &mut Tx<'_>, webhook: i64) -> Result<usize, Error> {
    let now = tx.stored_now();
    store::deliveries_drop(tx.conn, webhook, now, "the webhook was removed")
}

/// One page of the deliveries, with one row more than asked for.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn deliveries_list(
    conn: &mut AnyConnection,
    (state, webhook): (Option<DeliveryState>, Option<i64>),
    page: Page,
) -> Result<Vec<Delivery>, Error> {
    let which = (state.map(DeliveryState::as_str), webhook);
    store::deliveries_page(conn, which, page.after, page.limit + 1)?
        .into_iter()
        .map(|(row, message_id, topic)| shown(row, message_id, topic))
        .collect()
}

/// A delivery with its message.
///
/// # Errors
/// [`Error::NotFound`] when there is no such delivery.
pub(in crate::notify) fn delivery_show(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<DeliveryWithPayload, Error> {
    let row = store::delivery_fetch(conn, id)?;
    let (row, message_id, topic, payload) = row.ok_or_else(|| Error::not_found("delivery", id))?;
    Ok(DeliveryWithPayload {
        delivery: shown(row, message_id, topic)?,
        payload,
    })
}

fn shown(row: DeliveryColumns, message_id: String, topic: String) -> Result<Delivery, Error> {
    let unknown = |word: &str| Error::internal(format!("delivery {}: `{word}`", row.id));
    let state = DeliveryState::of(&row.state).ok_or_else(|| unknown(&row.state))?;
    let waits = state == DeliveryState::Waiting;
    Ok(Delivery {
        id: row.id,
        message_id,
        topic,
        channel: Channel::of(&row.channel).ok_or_else(|| unknown(&row.channel))?,
        webhook: row.webhook_id,
        state,
        attempts: row.attempts,
        next_attempt_at: waits.then(|| instant(row.next_attempt_at)),
        settled_at: row.settled_at.map(instant),
        last_outcome: row.last_outcome,
    })
}

/// Puts a delivery that is dead or delivered back among those that wait: it is due at once, with all its attempts ahead, and
/// keeps its message's id.
///
/// # Errors
/// [`Error::NotFound`] when there is no such delivery; [`Error::Refused`] when it waits or was dropped, or its webhook was
/// removed.
pub(super) fn delivery_resend(tx: &mut Tx<'_>, id: i64) -> Result<Delivery, Error> {
    store::delivery_hold(tx.conn, id)?;
    let before = delivery_show(tx.conn, id)?.delivery;
    let removed = match before.webhook {
        Some(webhook) => !store::webhook_stands(tx.conn, webhook)?,
        None => false,
    };
    let refusal = match before.state {
        DeliveryState::Waiting => Some("waits already: it is attempted when its time comes"),
        DeliveryState::Dropped => Some("was dropped, since its webhook was removed"),
        _ if removed => Some("cannot be resent, since its webhook was removed"),
        DeliveryState::Delivered | DeliveryState::Dead => None,
    };
    if let Some(why) = refusal {
        let detail = format!("delivery {id} {why}");
        return Err(Error::refused(RefusalKind::WrongState, detail));
    }
    let now = tx.stored_now();
    store::delivery_resend(tx.conn, id, now)?;
    Ok(delivery_show(tx.conn, id)?.delivery)
}

/// A daily job: forgets what was delivered or dropped long ago, and messages that have no delivery left.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn deliveries_forget(service: &Service) -> Result<(), Error> {
    let (deliveries, messages) = service.as_actor(ACTOR, |tx| {
        let before = stored_instant(tx.now - TimeDelta::days(KEPT_DAYS));
        store::deliveries_forget(tx.conn, before)
    })?;
    if deliveries + messages > 0 {
        tracing::info!(deliveries, messages, "old deliveries forgotten");
    }
    Ok(())
}
