//! A cast as it stands, locked with its materials, with the documents kept on it.

use super::coat_needs::coat_reach;
use super::pour::{PourRecord, plan_of};
use super::pour_input::Poured;
use crate::base::{Error, RefusalKind, kept_read};
use crate::casting::planning::geometry::durable;
use crate::casting::planning::plan_view::CastPlan;
use crate::casting::planning::request::PlanRequest;
use crate::casting::store::{self, CastRow};
use crate::catalogue::{RecipeFacts, VesselBody};
use crate::db::Tx;
use crate::stock::needs::Purpose;
use crate::stock::promises::cast_lock;

/// A cast about to take a step.
pub(in crate::casting) struct Standing {
    pub(in crate::casting) id: i64,
    pub(in crate::casting) code: String,
    pub(in crate::casting) state: String,
    pub(in crate::casting) row: CastRow,
    pub(in crate::casting) request: PlanRequest,
    pub(in crate::casting) facts: RecipeFacts,
    pub(in crate::casting) plan: CastPlan,
    pub(in crate::casting) grants: Vec<i64>,
    pub(in crate::casting) materials: Vec<i64>,
}

/// Locks a cast and its materials and reads it.
///
/// # Errors
/// [`Error::NotFound`] without such a cast.
pub(in crate::casting) fn standing(tx: &mut Tx<'_>, code: &str) -> Result<Standing, Error> {
    standing_besides(tx, code, &[])
}

/// Locks a cast, its materials and others besides, and reads it.
///
/// # Errors
/// [`Error::NotFound`] without such a cast.
pub(in crate::casting) fn standing_besides(
    tx: &mut Tx<'_>,
    code: &str,
    others: &[i64],
) -> Result<Standing, Error> {
    let missing = || Error::not_found("cast", code);
    let before = store::cast_by_code(tx.conn, code)?.ok_or_else(missing)?;
    let id = before.id;
    let kept: RecipeFacts = kept_read(&before.facts).map_err(Error::internal)?;
    // A step changes the coats of the mould, and with them what its other booked casts need. The release agent is locked
    // even when no vial is needed: coats may have gone since.
    let agent: Vec<i64> = kept.release_agent.iter().map(|agent| agent.id).collect();
    let mut besides = coat_reach(tx.conn, &[kept.mold.id], &agent)?;
    besides.extend(others);
    let materials = cast_lock(tx, id, &besides)?;
    store::casts_lock(tx.conn, &[id])?;
    let row = store::cast_by_code(tx.conn, code)?.ok_or_else(missing)?;
    let grants = store::charges_fetch(tx.conn, id)?
        .into_iter()
        .map(|(id, _, _)| id)
        .collect();
    Ok(Standing {
        id,
        code: row.code.clone(),
        state: row.state.clone(),
        request: kept_read(&row.request).map_err(Error::internal)?,
        facts: kept_read(&row.facts).map_err(Error::internal)?,
        plan: plan_of(&row.plan)?,
        grants,
        materials,
        row,
    })
}

impl Standing {
    /// Refuses a step from another state.
    ///
    /// # Errors
    /// [`Error::Refused`] naming the state.
    pub(in crate::casting) fn must_be(&self, state: &str, step: &str) -> Result<(), Error> {
        if self.state == state {
            return Ok(());
        }
        let detail = format!(
            "cast {} is {}; only a cast that is {state} can be {step}",
            self.code, self.state
        );
        Err(Error::refused(RefusalKind::WrongState, detail).with("state", self.state.clone()))
    }

    /// The pour, as it is kept.
    ///
    /// # Errors
    /// [`Error::Internal`] when the cast was not poured.
    pub(in crate::casting) fn pour(&self) -> Result<PourRecord, Error> {
        let text = self
            .row
            .pour
            .as_deref()
            .ok_or_else(|| Error::internal("a cast that was not poured has no pour"))?;
        kept_read(text).map_err(Error::internal)
    }

    /// What was poured, settled as it is kept.
    ///
    /// # Errors
    /// As [`Standing::pour`].
    pub(in crate::casting) fn poured(&self) -> Result<Poured, Error> {
        let record = self.pour()?;
        Ok(Poured {
            batches: record.batches,
            containers: record.containers_poured,
        })
    }

    /// Trays poured.
    ///
    /// # Errors
    /// As [`Standing::pour`].
    pub(in crate::casting) fn trays_poured(&self) -> Result<u32, Error> {
        Ok(self.pour()?.containers_poured)
    }

    /// The vessel behind a purpose when it is used more than once.
    pub(in crate::casting) fn durable(&self, purpose: Purpose) -> Option<&VesselBody> {
        durable(&self.facts, purpose)
    }

    /// Whether a purpose's material returns after use.
    pub(in crate::casting) fn is_durable(&self, purpose: Purpose) -> bool {
        self.durable(purpose).is_some()
    }
}
