//! A treatment as it is shown: its vials, and how each of its coats stands.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use crate::base::{Error, Money, Quantity};
use crate::casting::store::{self, CoatRow, Inspection, TreatmentRow};
use crate::catalogue::codes_by_ids;
use crate::db::{AnyConnection, instant};

/// A treatment.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct TreatmentView {
    /// Its id.
    pub id: i64,
    /// The day it was done.
    pub treated_on: NaiveDate,
    /// The release agent's code.
    pub release_agent: String,
    /// Vials used.
    pub vials: u32,
    /// What they were worth, in the base currency.
    pub value: Money,
    /// Where they came from.
    pub packs: Vec<VialView>,
    /// The coats it made.
    pub coats: Vec<CoatView>,
    /// The cast it was made for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cast: Option<String>,
    /// Whether that cast's pour recorded it.
    pub at_pour: bool,
    /// A note.
    pub note: String,
    /// Who recorded it.
    pub actor: String,
    /// When it was recorded.
    pub recorded_at: DateTime<Utc>,
    /// When it was taken back.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub undone_at: Option<DateTime<Utc>>,
    /// Who took it back.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub undone_by: Option<String>,
}

/// Vials of one pack.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct VialView {
    /// The lot code.
    pub lot: String,
    /// The lot's id.
    pub lot_id: i64,
    /// The pack's id.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pack_id: Option<i64>,
    /// How much.
    pub quantity: Quantity,
}

/// How a coat stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct CoatView {
    /// The mould's code.
    pub mold: String,
    /// The copy, from 1.
    pub copy: u32,
    /// `present`, `used_up` (recoat before the next cast) or `ended` (replaced, gone or taken back).
    pub state: &'static str,
    /// Casts it is still good for.
    pub casts_left: u32,
    /// What is left of its cost, in the base currency.
    pub value_left: Money,
    /// The day it ended.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ended_on: Option<NaiveDate>,
    /// The last look that was taken at it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_look: Option<LookView>,
}

/// A look at a coat.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct LookView {
    /// The day.
    pub inspected_on: NaiveDate,
    /// Whether the whitening was seen.
    pub seen: bool,
    /// A note.
    pub note: String,
    /// Who looked.
    pub actor: String,
}

/// One treatment.
///
/// # Errors
/// [`Error::NotFound`] without such a treatment.
pub fn treatment_show(conn: &mut AnyConnection, id: i64) -> Result<TreatmentView, Error> {
    let missing = || Error::not_found("treatment", id);
    let row = store::treatment_fetch(conn, id)?.ok_or_else(missing)?;
    all_shown(conn, vec![row])?.pop().ok_or_else(missing)
}

/// Treatments with ids above `after`, those of one mould if said; one more than `limit` when there are more.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn treatments_list(
    conn: &mut AnyConnection,
    mold_id: Option<i64>,
    (after, limit): (i64, i64),
) -> Result<Vec<TreatmentView>, Error> {
    let rows = store::treatments_page(conn, mold_id, (after, limit))?;
    all_shown(conn, rows)
}

fn all_shown(
    conn: &mut AnyConnection,
    rows: Vec<TreatmentRow>,
) -> Result<Vec<TreatmentView>, Error> {
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let agents: Vec<i64> = rows.iter().map(|row| row.release_agent_id).collect();
    let agents = codes_by_ids(conn, &agents)?;
    let casts: Vec<i64> = rows.iter().filter_map(|row| row.cast_id).collect();
    let casts = store::cast_codes(conn, &casts)?;
    let coats = store::coats_of_treatments(conn, &ids)?;
    let pool_ids: Vec<i64> = coats.iter().map(|(coat, _)| coat.id).collect();
    let looks: BTreeMap<i64, Inspection> = store::inspections_fetch(conn, &pool_ids)?
        .into_iter()
        .map(|look| (look.pool_id, look))
        .collect();
    let vials = store::vials_of_treatments(conn, &ids)?;
    rows.into_iter()
        .map(|row| {
            let of_it = || vials.iter().filter(|vial| vial.treatment_id == row.id);
            Ok(TreatmentView {
                release_agent: agents
                    .get(&row.release_agent_id)
                    .map(|(code, _)| code.to_string())
                    .unwrap_or_default(),
                value: Money::checked_sum(of_it().map(|vial| vial.value))?,
                packs: of_it()
                    .map(|vial| VialView {
                        lot: vial.lot.clone(),
                        lot_id: vial.lot_id,
                        pack_id: vial.pack_id,
                        quantity: vial.quantity,
                    })
                    .collect(),
                coats: coats
                    .iter()
                    .filter(|(coat, _)| coat.treatment_id == Some(row.id))
                    .map(|(coat, mold)| coat_view(coat, mold, looks.get(&coat.id)))
                    .collect(),
                vials: u32::try_from(row.vials).map_err(Error::internal)?,
                cast: row.cast_id.and_then(|id| casts.get(&id).cloned()),
                id: row.id,
                treated_on: row.treated_on,
                at_pour: row.at_pour,
                note: row.note,
                actor: row.actor,
                recorded_at: instant(row.recorded_at),
                undone_at: row.undone_at.map(instant),
                undone_by: row.undone_by,
            })
        })
        .collect()
}

fn coat_view(coat: &CoatRow, mold: &str, look: Option<&Inspection>) -> CoatView {
    CoatView {
        mold: mold.to_owned(),
        copy: coat
            .copy_no
            .and_then(|no| u32::try_from(no).ok())
            .unwrap_or(1),
        state: match (coat.closed_on, coat.uses) {
            (Some(_), _) => "ended",
            (None, 0) => "used_up",
            (None, _) => "present",
        },
        casts_left: u32::try_from(coat.uses).unwrap_or(0),
        value_left: coat.value,
        ended_on: coat.closed_on,
        last_look: look.map(|look| LookView {
            inspected_on: look.inspected_on,
            seen: look.seen,
            note: look.note.clone(),
            actor: look.actor.clone(),
        }),
    }
}
