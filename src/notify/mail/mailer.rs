//! The turns of the worker that mails.
//!
//! Invariants: a turn never waits for the network: a message is handed over by a thread of its own, and a later turn settles
//! what became of it, so that the service ends at once even while a server hangs; there is at most one such thread; an
//! outcome that could not be settled is settled by a later turn. Deliberately absent: what is mailed (`ops`), how often it is
//! tried (what all channels have in common says).

use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::time::Duration;

use chrono::NaiveDate;
use parking_lot::Mutex;

use super::compose::composed;
use super::digest::DigestMessage;
use super::ops::{DIGEST_DAILY, digest_queue};
use super::render::rendered;
use super::send::send;
use super::settings::MailSettings;
use crate::base::{Error, kept_read};
use crate::http::Service;
use crate::notify::deliveries::attempt::{AttemptEnd, Retries, Settlement};
use crate::notify::deliveries::view::Channel;
use crate::notify::deliveries::{Claimed, claim, due, settle};

/// What a lease holds beyond the time limits of a conversation.
const LEASE_SLACK: Duration = Duration::from_secs(60);

/// Answers that a conversation waits for, besides one for each receiver.
const ANSWERS: u32 = 12;

/// What mails: its settings and how far it is. A part of the service, where mail is configured.
pub struct Mailer {
    settings: MailSettings,
    retries: Retries,
    state: Mutex<State>,
}

#[derive(Default)]
struct State {
    /// The last day whose digest this process knows to be taken care of.
    queued_on: Option<NaiveDate>,
    under_way: Option<UnderWay>,
}

/// A delivery that this process has claimed.
struct UnderWay {
    claimed: Claimed,
    /// Where the outcome arrives.
    answer: Receiver<AttemptEnd>,
    /// The outcome, until it is settled.
    end: Option<AttemptEnd>,
}

impl Mailer {
    /// A mailer that has not sent anything yet.
    #[must_use]
    pub fn new(settings: MailSettings) -> Self {
        Self {
            settings,
            retries: Retries::default(),
            state: Mutex::default(),
        }
    }

    fn turn(&self, service: &Service) -> Result<(), Error> {
        let mut state = self.state.lock();
        // The one does not keep the other from being done.
        let queued = self.queue(service, &mut state);
        let sent = self.send(service, &mut state);
        queued.and(sent)
    }

    /// Queues today's digest once its time has come.
    fn queue(&self, service: &Service, state: &mut State) -> Result<(), Error> {
        let local = service.now().with_timezone(&service.time_zone());
        if local.time() < self.settings.at || state.queued_on >= Some(local.date_naive()) {
            return Ok(());
        }
        digest_queue(service)?;
        state.queued_on = Some(local.date_naive());
        Ok(())
    }

    /// Settles what was sent, or begins to send what is due.
    fn send(&self, service: &Service, state: &mut State) -> Result<(), Error> {
        if let Some(mut one) = state.under_way.take() {
            let end = match one.end.take() {
                Some(end) => end,
                None => match one.answer.try_recv() {
                    Err(TryRecvError::Empty) => {
                        state.under_way = Some(one);
                        return Ok(());
                    }
                    Err(TryRecvError::Disconnected) => AttemptEnd::Failed {
                        said: "its thread ended before it answered".to_owned(),
                        retry_after: None,
                    },
                    Ok(end) => end,
                },
            };
            match settle(service, &one.claimed, &end, &self.retries) {
                Ok(settlement) => self.tell(&one.claimed, &end, settlement),
                Err(error) => {
                    one.end = Some(end);
                    state.under_way = Some(one);
                    return Err(error);
                }
            }
        }
        if due(service, Channel::Mail)?.receivers.is_empty() {
            return Ok(());
        }
        let claimed = claim(service, (Channel::Mail, None), self.lease(), 1)?;
        for claimed in claimed {
            state.under_way = Some(self.begin(claimed)?);
        }
        Ok(())
    }

    /// Longer than a conversation whose every answer comes just in time.
    fn lease(&self) -> Duration {
        let receivers = u32::try_from(self.settings.to.len()).unwrap_or(u32::MAX);
        let answers = receivers.saturating_add(ANSWERS);
        self.settings
            .timeout
            .saturating_mul(answers)
            .saturating_add(LEASE_SLACK)
    }

    /// Begins to hand a message over. The thread is left to itself: it only sends, and ends with the time limits or the
    /// process.
    fn begin(&self, claimed: Claimed) -> Result<UnderWay, Error> {
        let (told, answer) = channel();
        let (settings, message) = (self.settings.clone(), claimed.clone());
        std::thread::Builder::new()
            .name("mail".to_owned())
            .spawn(move || {
                // Nobody listens any more when the service has ended.
                let _ = told.send(hand_over(&settings, &message));
            })
            .map_err(|e| Error::Unavailable {
                detail: format!("no thread to mail: {e}"),
            })?;
        Ok(UnderWay {
            claimed,
            answer,
            end: None,
        })
    }

    fn tell(&self, claimed: &Claimed, end: &AttemptEnd, settlement: Option<Settlement>) {
        let (host, attempt) = (self.settings.address.host(), claimed.attempt);
        let (message_id, said) = (&claimed.message_id, end.said());
        match settlement {
            Some(Settlement::Delivered) => {
                tracing::info!(host, message_id, attempt, said, "mail delivered");
            }
            Some(Settlement::Again(pause)) => {
                tracing::warn!(
                    host,
                    message_id,
                    attempt,
                    said,
                    pause_s = pause.as_secs(),
                    "mail was not delivered"
                );
            }
            Some(Settlement::Dead) => {
                tracing::error!(
                    host,
                    message_id,
                    attempt,
                    said,
                    "mail is given up, until somebody resends it"
                );
            }
            None => {}
        }
    }
}

/// Makes the words and the message, and sends it.
fn hand_over(settings: &MailSettings, claimed: &Claimed) -> AttemptEnd {
    let refused = |said: String| AttemptEnd::Refused { said };
    if claimed.topic != DIGEST_DAILY {
        return refused(format!("`{}` is not mailed", claimed.topic));
    }
    let message: DigestMessage = match kept_read(&claimed.payload) {
        Ok(message) => message,
        Err(error) => return refused(format!("the message cannot be read: {error}")),
    };
    let words = rendered(&message.data);
    match composed(settings, &claimed.message_id, message.timestamp, &words) {
        Ok(mail) => send(settings, &mail),
        Err(error) => refused(format!("the mail cannot be written: {error}")),
    }
}

/// A turn of the worker: queues the day's digest once it is time, hands over what is due, and settles what was. Where mail is
/// not configured it does nothing.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer, or the operating system gives no thread. Mail that does not get
/// there is logged and tried again, and is no error of the turn.
pub fn mail_turn(service: &Service) -> Result<(), Error> {
    match service.part::<Mailer>() {
        Some(mailer) => mailer.turn(service),
        None => Ok(()),
    }
}
