//! Webhooks made, shown, removed and tried.

use serde::Serialize;

use super::signature::{SECRET_BYTES, Secret};
use super::store::{self, WebhookRow};
use super::target::{Listed, Target};
use super::view::{Webhook, WebhookIn, WebhookMade};
use crate::base::{Error, FieldError, RefusalKind};
use crate::db::{AnyConnection, TOPICS, Tx, WEBHOOK_TEST, instant, outbox_put_to};
use crate::http::Page;
use crate::notify::deliveries::view::Delivery;
use crate::notify::deliveries::{delivery_show, drop_waiting};

/// What a message says that only tries a webhook.
#[derive(Serialize)]
struct Trial<'a> {
    webhook: i64,
    asked_by: &'a str,
}

/// Makes a webhook.
///
/// # Errors
/// [`Error::Invalid`] when the address may not be sent to, or a topic is not known.
pub(super) fn webhook_create(
    tx: &mut Tx<'_>,
    listed: &Listed,
    input: &WebhookIn,
) -> Result<WebhookMade, Error> {
    let mut faults = Vec::new();
    let target = Target::parse(&input.url).and_then(|target| {
        target.judge(listed)?;
        Ok(target)
    });
    if let Err(fault) = &target {
        faults.push(FieldError::new("/url", fault.to_string()));
    }
    let topics = topics_asked(input.topics.as_deref(), &mut faults);
    let target = match target {
        Ok(target) if faults.is_empty() => target,
        _ => return Err(Error::Invalid(faults)),
    };
    let mut bytes = [0; SECRET_BYTES];
    tx.entropy.fill(&mut bytes).map_err(Error::internal)?;
    let secret = Secret::of_bytes(&bytes).shown();
    let id = store::webhook_insert(tx, target.as_str(), &topics.join(" "), &secret)?;
    Ok(WebhookMade {
        webhook: webhook_show(tx.conn, id)?,
        secret: Some(secret),
    })
}

/// The topics asked for, each once and in the order in which they are known; all unless said.
fn topics_asked(asked: Option<&[String]>, faults: &mut Vec<FieldError>) -> Vec<&'static str> {
    let Some(asked) = asked else {
        return TOPICS.to_vec();
    };
    let known = TOPICS.join(", ");
    if asked.is_empty() {
        let detail =
            format!("no topic is given: name at least one of {known}, or leave the field out");
        faults.push(FieldError::new("/topics", detail));
    }
    for (at, topic) in asked.iter().enumerate() {
        if !TOPICS.contains(&topic.as_str()) {
            let detail = format!("`{topic}` is no topic: write one of {known}");
            faults.push(FieldError::new(format!("/topics/{at}"), detail));
        }
    }
    let is_asked = |topic: &&str| asked.iter().any(|one| one == topic);
    TOPICS.into_iter().filter(is_asked).collect()
}

/// One page of the webhooks, with one row more than asked for.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn webhooks_list(conn: &mut AnyConnection, page: Page) -> Result<Vec<Webhook>, Error> {
    let rows = store::webhooks_after(conn, page.after, page.limit + 1)?;
    Ok(rows.into_iter().map(shown).collect())
}

/// One webhook.
///
/// # Errors
/// [`Error::NotFound`] when there is no such webhook.
pub(super) fn webhook_show(conn: &mut AnyConnection, id: i64) -> Result<Webhook, Error> {
    let row = store::webhook_fetch(conn, id)?;
    row.map(shown)
        .ok_or_else(|| Error::not_found("webhook", id))
}

fn shown(row: WebhookRow) -> Webhook {
    Webhook {
        id: row.id,
        url: row.url,
        topics: row.topics.split(' ').map(str::to_owned).collect(),
        created_at: instant(row.created_at),
        created_by: row.created_by,
        removed_at: row.removed_at.map(instant),
    }
}

/// Removes a webhook, and drops what waits for it.
///
/// # Errors
/// [`Error::NotFound`] when there is no such webhook.
pub(super) fn webhook_remove(tx: &mut Tx<'_>, id: i64) -> Result<(), Error> {
    webhook_show(tx.conn, id)?;
    let now = tx.stored_now();
    store::webhook_remove(tx.conn, id, now)?;
    drop_waiting(tx, id)?;
    Ok(())
}

/// Puts a message out to one webhook, to try whether it arrives.
///
/// # Errors
/// [`Error::NotFound`] when there is no such webhook; [`Error::Refused`] when it was removed.
pub(super) fn webhook_try(tx: &mut Tx<'_>, id: i64) -> Result<Delivery, Error> {
    let webhook = webhook_show(tx.conn, id)?;
    if webhook.removed_at.is_some() {
        let detail = format!("webhook {id} was removed: make a new one");
        return Err(Error::refused(RefusalKind::WrongState, detail));
    }
    let trial = Trial {
        webhook: id,
        asked_by: tx.actor,
    };
    let delivery = outbox_put_to(tx, WEBHOOK_TEST, &trial, id)?;
    Ok(delivery_show(tx.conn, delivery)?.delivery)
}
