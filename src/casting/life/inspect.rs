//! The look at a coat before a cast: is the whitening seen, or must the mould be coated again?

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::coat_needs::{coat_needs_renew, treatment_reach};
use super::coating::coat_end;
use super::treatment_input::TreatedMold;
use super::treatment_view::{TreatmentView, treatment_show};
use crate::base::{Error, RefusalKind, short_words};
use crate::casting::store::{self, CoatRow, Inspection};
use crate::db::Tx;
use crate::stock::load::day_open;
use crate::stock::settle::{lock_reach, repick_after};

/// A look at the coats of a treatment.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct InspectIn {
    /// The day.
    pub inspected_on: NaiveDate,
    /// Whether the whitening was seen: true, the coat holds; false, coat again before the next cast.
    pub seen: bool,
    /// The moulds and copies looked at; all that still carry the treatment's coat unless said.
    #[serde(default)]
    #[schema(max_items = 100)]
    pub molds: Option<Vec<TreatedMold>>,
    /// A note, at most 200 characters.
    #[serde(default)]
    #[schema(max_length = 200, pattern = r"^[^\x00-\x1f\x7f-\x9f]*$")]
    pub note: String,
}

/// A treatment after a look, with the booked casts that now need other vials than before.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Inspected {
    /// The treatment.
    #[serde(flatten)]
    pub treatment: TreatmentView,
    /// Booked casts whose need of vials has changed by it.
    pub casts_changed: Vec<String>,
}

/// Records a look at coats. A coat that is not seen ends there: what it has left is wasted, its copy counts as bare, and
/// the booked casts of the mould need the vials for coating it again.
///
/// # Errors
/// [`Error::NotFound`] without such a treatment; [`Error::Invalid`] for a mould or copy that it did not coat;
/// [`Error::Refused`] when none of those looked at carries its coat any more.
pub fn treatment_inspect(tx: &mut Tx<'_>, id: i64, input: &InspectIn) -> Result<Inspected, Error> {
    let note = short_words("/note", "a note", &input.note)?;
    day_open(tx, "/inspected_on", input.inspected_on)?;
    let missing = || Error::not_found("treatment", id);
    let agent_id = store::treatment_fetch(tx.conn, id)?
        .ok_or_else(missing)?
        .release_agent_id;
    let materials = treatment_reach(tx.conn, id, agent_id)?;
    lock_reach(tx, &materials)?;
    let treatment = store::treatment_fetch(tx.conn, id)?.ok_or_else(missing)?;
    if input.inspected_on < treatment.treated_on {
        let detail = format!(
            "{} is before the treatment on {}",
            input.inspected_on, treatment.treated_on
        );
        return Err(Error::invalid("/inspected_on", detail));
    }
    let coats = looked_at(tx, id, input)?;
    let mut casts_changed = Vec::new();
    for coat in &coats {
        let look = Inspection {
            pool_id: coat.id,
            inspected_on: input.inspected_on,
            seen: input.seen,
            note: note.clone(),
            actor: tx.actor.to_owned(),
            recorded_at: tx.stored_now(),
        };
        store::inspection_insert(tx.conn, &look)?;
        if !input.seen {
            coat_end(tx, coat, "the coat was not seen", input.inspected_on)?;
        }
    }
    if !input.seen {
        let mut molds: Vec<i64> = coats.iter().map(|coat| coat.mold_id).collect();
        molds.dedup();
        for mold_id in molds {
            casts_changed.extend(coat_needs_renew(tx, mold_id, &materials)?);
        }
        repick_after(tx, &materials)?;
    }
    Ok(Inspected {
        treatment: treatment_show(tx.conn, id)?,
        casts_changed,
    })
}

/// The coats that were looked at and are still there.
fn looked_at(tx: &mut Tx<'_>, id: i64, input: &InspectIn) -> Result<Vec<CoatRow>, Error> {
    let coats = store::coats_of_treatments(tx.conn, &[id])?;
    if let Some(molds) = &input.molds {
        for (index, asked) in molds.iter().enumerate() {
            let of_mold = || coats.iter().filter(|(_, code)| code == asked.mold.as_str());
            if of_mold().next().is_none() {
                let detail = format!("treatment {id} did not coat mould `{}`", asked.mold);
                return Err(Error::invalid(format!("/molds/{index}/mold"), detail));
            }
            for copy in asked.copies.iter().flatten() {
                if !of_mold().any(|(coat, _)| is_copy(coat, *copy)) {
                    let detail = format!("treatment {id} did not coat copy {copy}");
                    return Err(Error::invalid(format!("/molds/{index}/copies"), detail));
                }
            }
        }
    }
    let meant = |coat: &CoatRow, code: &str| match &input.molds {
        None => true,
        Some(molds) => molds.iter().any(|asked| {
            asked.mold.as_str() == code
                && asked
                    .copies
                    .as_ref()
                    .is_none_or(|copies| copies.iter().any(|copy| is_copy(coat, *copy)))
        }),
    };
    let found: Vec<CoatRow> = coats
        .into_iter()
        .filter(|(coat, code)| coat.closed_on.is_none() && meant(coat, code))
        .map(|(coat, _)| coat)
        .collect();
    if found.is_empty() {
        let detail = format!("no mould carries the coat of treatment {id} any more");
        return Err(Error::refused(RefusalKind::WrongState, detail));
    }
    Ok(found)
}

fn is_copy(coat: &CoatRow, copy: u32) -> bool {
    coat.copy_no.and_then(|no| u32::try_from(no).ok()) == Some(copy)
}
