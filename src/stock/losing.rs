//! Losses: what was spilled, and what was thrown away.

use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::grasp::{bench_day, grasp, leeway, settle, whole, words};
use super::ledger::MovementKind;
use super::post::{Occasion, Poster};
use crate::base::{Error, Quantity};
use crate::db::Tx;

/// A loss: spilled, or thrown away.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LossIn {
    /// How much, in the material's unit; all that is there and not in use unless said.
    pub quantity: Option<Quantity>,
    /// Why; 1 to 200 characters. For a write-off: expired, contaminated, lost, heel, or words of your own.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub reason: String,
    /// The day; today unless said.
    pub on: Option<NaiveDate>,
}

/// Which loss.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Loss {
    /// It was spilled: demand, since it must be bought again like what was used.
    Spill,
    /// It was thrown away.
    WriteOff,
}

impl Loss {
    const fn kind(self) -> MovementKind {
        match self {
            Self::Spill => MovementKind::Spill,
            Self::WriteOff => MovementKind::WriteOff,
        }
    }
}

/// Takes a loss from a pack. Returns the lot.
///
/// # Errors
/// [`Error::Invalid`] for a quantity that is not there on that day or a day that cannot be; [`Error::Refused`] for a
/// closed period.
pub fn pack_lose(tx: &mut Tx<'_>, pack_id: i64, loss: Loss, input: &LossIn) -> Result<i64, Error> {
    let reason = words(&input.reason)?;
    if let Some(quantity) = input.quantity.filter(|quantity| !quantity.is_positive()) {
        return Err(Error::invalid(
            "/quantity",
            format!("{quantity} is no loss: more than 0"),
        ));
    }
    let grasp = grasp(tx, pack_id)?;
    let day = input.on.unwrap_or(tx.today);
    bench_day(tx, "/on", day, &grasp.lot)?;
    let leeway = leeway(tx, &grasp.pack, (day, None), day)?;
    let quantity = input.quantity.unwrap_or(leeway.most);
    whole(tx, &grasp, "/quantity", quantity)?;
    if !quantity.is_positive() || quantity > leeway.most {
        let detail = format!(
            "{quantity} cannot be taken on {day}: more than 0 and at most {} are there and not in use",
            leeway.most
        );
        return Err(Error::invalid("/quantity", detail));
    }
    let change = if leeway.evened_out {
        0
    } else {
        -quantity.micro()
    };
    settle(tx, &grasp, change, |tx| {
        let occasion = Occasion {
            effective_on: day,
            reason,
            ..Occasion::default()
        };
        let place = (grasp.lot.id, pack_id);
        Poster::new()
            .issue(tx, place, loss.kind(), quantity, &occasion)
            .map(drop)
    })?;
    Ok(grasp.lot.id)
}
