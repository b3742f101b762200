//! What this process is receiving just now: each draft on a thread of its own, and how far it is.
//!
//! Invariants: a draft is received by one thread at a time, and only some at once; what is known here is for show alone, as the
//! import is one transaction that ends with the draft's own row. A process that ends midway leaves the draft waiting, with
//! nothing written, and whoever sends it again begins anew; another process on the same database knows nothing of it, and what
//! it then receives makes no line twice. Deliberately absent: waiting for the threads when the process ends (they are cut off,
//! as by a loss of power).

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::time::{Duration, Instant};

use parking_lot::{Condvar, Mutex};

use super::drafts::draft_commit;
use super::imports::Progress;
use super::limits::csv_limits;
use crate::base::{Error, RefusalKind};
use crate::http::{Problem, Service};

/// The most that are received at once (*assumption*): one is written at a time, the others wait for their turn.
const AT_ONCE_MAX: usize = 4;
/// How many refusals are remembered.
const REFUSALS_KEPT: usize = 64;

/// How the receiving of a draft stands.
#[derive(Debug, Clone)]
pub enum Standing {
    /// It is under way. Before the first lot, the file is read and decided on.
    UnderWay(Progress),
    /// The last try failed, and nothing was written.
    Refused(Problem),
}

/// What is being received: a part of the service.
#[derive(Clone, Default)]
pub struct Commits(Arc<State>);

#[derive(Default)]
struct State {
    drafts: Mutex<BTreeMap<i64, Standing>>,
    ended: Condvar,
}

impl Commits {
    /// Begins to receive a draft in the name of `actor`. One that is under way goes on.
    ///
    /// # Errors
    /// [`Error::Refused`] when too many are under way; [`Error::Unavailable`] when the operating system gives no thread.
    pub fn begin(&self, service: &Service, actor: &str, draft_id: i64) -> Result<(), Error> {
        {
            let mut drafts = self.0.drafts.lock();
            let under_way = |standing: &Standing| matches!(standing, Standing::UnderWay(_));
            if drafts.get(&draft_id).is_some_and(under_way) {
                return Ok(());
            }
            if drafts.values().filter(|one| under_way(one)).count() >= AT_ONCE_MAX {
                let detail = format!(
                    "{AT_ONCE_MAX} files are being received just now: try again when one of them is done"
                );
                return Err(Error::refused(RefusalKind::WrongState, detail));
            }
            drafts.insert(draft_id, Standing::UnderWay(Progress { done: 0, all: 0 }));
        }
        let (commits, service, actor) = (self.clone(), service.clone(), actor.to_owned());
        let thread = std::thread::Builder::new().name(format!("receive {draft_id}"));
        let begun = thread.spawn(move || commits.receive(&service, &actor, draft_id));
        if let Err(error) = begun {
            self.0.drafts.lock().remove(&draft_id);
            let detail = format!("no thread to receive with: {error}");
            return Err(Error::Unavailable { detail });
        }
        Ok(())
    }

    fn receive(&self, service: &Service, actor: &str, draft_id: i64) {
        let limits = csv_limits(service);
        let outcome = catch_unwind(AssertUnwindSafe(|| {
            service.as_actor(actor, |tx| {
                draft_commit(tx, draft_id, limits, &mut |progress| {
                    let standing = Standing::UnderWay(progress);
                    self.0.drafts.lock().insert(draft_id, standing);
                })
            })
        }));
        let outcome = outcome.unwrap_or_else(|_| Err(Error::internal("receiving panicked")));
        let mut drafts = self.0.drafts.lock();
        match outcome {
            Ok(()) => drop(drafts.remove(&draft_id)),
            Err(error) => drop(drafts.insert(draft_id, Standing::Refused(Problem::from(error)))),
        }
        let refused = |(id, standing): (&i64, &Standing)| match standing {
            Standing::Refused(_) => Some(*id),
            Standing::UnderWay(_) => None,
        };
        let refusals: Vec<i64> = drafts.iter().filter_map(refused).collect();
        let over = refusals.len().saturating_sub(REFUSALS_KEPT);
        for oldest in refusals.into_iter().take(over) {
            drafts.remove(&oldest);
        }
        self.0.ended.notify_all();
    }

    /// How a draft stands; none when nothing of it is under way or was refused.
    #[must_use]
    pub fn standing(&self, draft_id: i64) -> Option<Standing> {
        self.0.drafts.lock().get(&draft_id).cloned()
    }

    /// Forgets what was refused of a draft, since it is another now.
    pub fn forgive(&self, draft_id: i64) {
        let mut drafts = self.0.drafts.lock();
        if let Some(Standing::Refused(_)) = drafts.get(&draft_id) {
            drafts.remove(&draft_id);
        }
    }

    /// As [`Self::standing`], once it is no longer under way or `longest` has passed. It blocks its thread.
    #[must_use]
    pub fn settled(&self, draft_id: i64, longest: Duration) -> Option<Standing> {
        let until = Instant::now() + longest;
        let mut drafts = self.0.drafts.lock();
        loop {
            match drafts.get(&draft_id) {
                Some(Standing::UnderWay(_)) => {}
                other => return other.cloned(),
            }
            if self.0.ended.wait_until(&mut drafts, until).timed_out() {
                return drafts.get(&draft_id).cloned();
            }
        }
    }
}
