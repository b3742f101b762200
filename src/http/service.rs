//! What every handler is given: the database, the clock, the source of randomness, and the two ways to run an operation.

use std::any::Any;
use std::sync::Arc;

use actix_web::web;
use chrono::{DateTime, Duration, NaiveDate, Utc};
use chrono_tz::Tz;

use super::body::NoBody;
use super::limits::Limits;
use super::parts::Parts;
use super::problem::{Answer, Problem};
use super::reply::Reply;
use super::store;
use crate::base::Currency;
use crate::base::Entropy;
use crate::base::{Clock, local_date};
use crate::base::{Error, RefusalKind};
use crate::db::{AnyConnection, Db, House, Tx, stored_instant};

/// How long an answer to an `Idempotency-Key` is kept, in days.
const ANSWERS_KEPT_DAYS: i64 = 7;

/// The service behind the handlers. Cloning shares it.
#[derive(Clone)]
pub struct Service {
    db: Db,
    clock: Arc<dyn Clock>,
    entropy: Arc<dyn Entropy>,
    house: House,
    time_zone: Tz,
    limits: Limits,
    parts: Parts,
}

impl Service {
    /// Puts the parts together.
    #[must_use]
    pub fn new(
        db: Db,
        clock: Arc<dyn Clock>,
        entropy: Arc<dyn Entropy>,
        house: House,
        time_zone: Tz,
        limits: Limits,
    ) -> Self {
        Self {
            db,
            clock,
            entropy,
            house,
            time_zone,
            limits,
            parts: Parts::default(),
        }
    }

    /// The same with something that a room keeps in this process: one of each type.
    #[must_use]
    pub fn with_part<T: Any + Send + Sync>(mut self, part: T) -> Self {
        self.parts.put(part);
        self
    }

    /// The same with a part that is there only when it was asked for.
    #[must_use]
    pub fn with_part_if<T: Any + Send + Sync>(self, part: Option<T>) -> Self {
        match part {
            Some(part) => self.with_part(part),
            None => self,
        }
    }

    /// What a room keeps in this process, if it was put in.
    #[must_use]
    pub fn part<T: Any + Send + Sync>(&self) -> Option<&T> {
        self.parts.get()
    }

    /// The database.
    #[must_use]
    pub fn db(&self) -> &Db {
        &self.db
    }

    /// The source of randomness.
    #[must_use]
    pub fn entropy(&self) -> &dyn Entropy {
        &*self.entropy
    }

    /// The installation's base currency.
    #[must_use]
    pub fn base_currency(&self) -> Currency {
        self.house.base_currency
    }

    /// What holds for the whole installation.
    #[must_use]
    pub fn house(&self) -> House {
        self.house
    }

    /// The installation's time zone.
    #[must_use]
    pub fn time_zone(&self) -> Tz {
        self.time_zone
    }

    /// The limits in force.
    #[must_use]
    pub fn limits(&self) -> Limits {
        self.limits
    }

    /// The instant now.
    #[must_use]
    pub fn now(&self) -> DateTime<Utc> {
        self.clock.now()
    }

    /// The local day now, in the installation's time zone.
    #[must_use]
    pub fn today(&self) -> NaiveDate {
        local_date(self.clock.now(), self.time_zone)
    }

    /// Runs a read on a thread where waiting is allowed.
    ///
    /// # Errors
    /// The operation's error as a problem.
    pub async fn read<T, F>(&self, work: F) -> Result<T, Problem>
    where
        T: Send + 'static,
        F: FnOnce(&mut AnyConnection) -> Result<T, Error> + Send + 'static,
    {
        let db = self.db.clone();
        aside(move || db.read(work)).await?.map_err(Problem::from)
    }

    /// Runs an operation that writes, once: in one transaction, with the answer kept under the request's idempotency
    /// key when it has one. An answer that is not a success is never kept.
    ///
    /// # Errors
    /// The operation's error as a problem; 422 when the key was used with another body.
    pub async fn write<F>(&self, request: NoBody, work: F) -> Answer
    where
        F: FnOnce(&mut Tx<'_>) -> Result<Reply, Error> + Send + 'static,
    {
        self.reply(request, work).await.map(Reply::into_response)
    }

    /// As [`Service::write`], with the answer before it becomes a response: for a page, which shows it its own way.
    ///
    /// # Errors
    /// As [`Service::write`].
    pub async fn reply<F>(&self, request: NoBody, work: F) -> Result<Reply, Problem>
    where
        F: FnOnce(&mut Tx<'_>) -> Result<Reply, Error> + Send + 'static,
    {
        let service = self.clone();
        let reply = aside(move || service.write_blocking(&request, work)).await?;
        reply.map_err(Problem::from)
    }

    /// Runs an operation that writes in the name of `actor`, on a thread where waiting is allowed; nothing is kept for a
    /// repeat.
    ///
    /// # Errors
    /// The operation's error as a problem.
    pub async fn run<T, F>(&self, actor: impl Into<String>, work: F) -> Result<T, Problem>
    where
        T: Send + 'static,
        F: FnOnce(&mut Tx<'_>) -> Result<T, Error> + Send + 'static,
    {
        let (service, actor) = (self.clone(), actor.into());
        let done = aside(move || service.as_actor(&actor, work)).await?;
        done.map_err(Problem::from)
    }

    fn write_blocking<F>(&self, request: &NoBody, work: F) -> Result<Reply, Error>
    where
        F: FnOnce(&mut Tx<'_>) -> Result<Reply, Error>,
    {
        self.as_actor(&request.caller.name, |tx| {
            let Some(once) = &request.once else {
                return work(tx);
            };
            if let Some((body_hash, reply)) = store::answer_fetch(tx.conn, once)? {
                if body_hash == once.body_hash {
                    return Ok(reply);
                }
                let detail = format!(
                    "Idempotency-Key `{}` was used here with another body: take a new key",
                    once.key
                );
                return Err(Error::refused(RefusalKind::KeyReused, detail));
            }
            let reply = work(tx)?;
            if (200..300).contains(&reply.status) {
                store::answer_keep(tx.conn, once, &reply, tx.stored_now())?;
            }
            Ok(reply)
        })
    }

    /// Runs an operation that writes in the name of `actor`, outside any request (a command, a daily job).
    ///
    /// # Errors
    /// What the operation returns.
    pub fn as_actor<T>(
        &self,
        actor: &str,
        work: impl FnOnce(&mut Tx<'_>) -> Result<T, Error>,
    ) -> Result<T, Error> {
        self.db.write(|conn| {
            // The instant is taken inside the transaction: on SQLite, after the wait for the turn, so that
            // recorded instants grow in the order in which entries are written.
            let now = self.clock.now();
            let today = local_date(now, self.time_zone);
            work(&mut Tx {
                conn,
                now,
                today,
                actor,
                entropy: &*self.entropy,
                base_currency: self.house.base_currency,
                working_day_min: self.house.working_day_min,
            })
        })
    }

    /// Forgets idempotent answers that have served their time.
    ///
    /// # Errors
    /// [`Error::Unavailable`] when the database does not answer.
    pub fn forget_old_answers(&self) -> Result<usize, Error> {
        let before = stored_instant(self.clock.now() - Duration::days(ANSWERS_KEPT_DAYS));
        self.db.write(|conn| store::answers_forget(conn, before))
    }
}

/// Runs `work` on a thread where waiting is allowed; what it logs stands under the request that it is done for.
async fn aside<T, F>(work: F) -> Result<T, Problem>
where
    T: Send + 'static,
    F: FnOnce() -> T + Send + 'static,
{
    let request = tracing::Span::current();
    let done = web::block(move || request.in_scope(work)).await;
    done.map_err(|_| {
        Problem::from(Error::Internal(
            "an operation's thread ended before it answered".into(),
        ))
    })
}
