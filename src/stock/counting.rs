//! Counting a pack, by hand or by weighing: what was found is true, and the difference to the books is posted.
//!
//! Invariant: every count leaves a movement, also when nothing differs, since it fixes what the pack held that day.

use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::backdate::balance_on;
use super::grasp::{Grasp, bench_day, grasp, leeway, settle, whole, words_or_none};
use super::post::{Occasion, Poster};
use super::store;
use crate::base::{Error, FieldError, Quantity, RefusalKind, Unit};
use crate::catalogue::material_by_id;
use crate::db::Tx;

/// By how much of what a pack should hold a weighing may find more, in tenths: makers fill generously (*assumption*).
const OVERFILL_TENTHS: i64 = 1;

/// A count: what is there, by counting or by weighing.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CountIn {
    /// What is there, in the material's unit.
    pub on_hand: Option<Quantity>,
    /// Or: what the pack weighs with what is in it, in grams.
    pub gross_g: Option<Quantity>,
    /// With `gross_g`: what the empty pack weighs, in grams; kept for the next time.
    pub tare_g: Option<Quantity>,
    /// With `gross_g`: what the full pack weighed when it came, in grams; kept for the next time.
    pub gross_at_receipt_g: Option<Quantity>,
    /// The day; today unless said.
    pub counted_on: Option<NaiveDate>,
    /// Why, in words.
    #[serde(default)]
    #[schema(max_length = 200, pattern = r"^[^\x00-\x1f\x7f-\x9f]*$")]
    pub reason: String,
}

impl CountIn {
    /// What is wrong with the values by themselves.
    fn check(&self) -> Result<(), Error> {
        let mut faults = Vec::new();
        if self.on_hand.is_some() == self.gross_g.is_some() {
            let detail = "give either `on_hand` (counted) or `gross_g` (weighed)";
            faults.push(FieldError::new("", detail));
        }
        let weights = [
            ("/on_hand", self.on_hand),
            ("/gross_g", self.gross_g),
            ("/tare_g", self.tare_g),
            ("/gross_at_receipt_g", self.gross_at_receipt_g),
        ];
        for (pointer, value) in weights {
            if let Some(value) = value.filter(|value| value.is_negative()) {
                faults.push(FieldError::new(pointer, format!("{value} is below 0")));
            }
        }
        for (pointer, value) in &weights[2..] {
            if value.is_some() && self.gross_g.is_none() {
                let detail = "it serves a weighing only: give `gross_g` with it";
                faults.push(FieldError::new(*pointer, detail));
            }
        }
        if faults.is_empty() {
            Ok(())
        } else {
            Err(Error::Invalid(faults))
        }
    }
}

/// Counts a pack: the difference to the books is posted. Returns the lot.
///
/// # Errors
/// [`Error::Invalid`] when neither or both of a count and a weighing are given, or they make no sense;
/// [`Error::Refused`] when later entries stand against it, or more would be missing than is not in use.
pub fn pack_count(tx: &mut Tx<'_>, pack_id: i64, input: &CountIn) -> Result<i64, Error> {
    input.check()?;
    let reason = words_or_none(&input.reason)?;
    let grasp = grasp(tx, pack_id)?;
    let day = input.counted_on.unwrap_or(tx.today);
    bench_day(tx, "/counted_on", day, &grasp.lot)?;
    let found = counted(tx, &grasp, input)?;
    let books = balance_on(&store::movements_by_day(tx.conn, pack_id)?, day);
    let difference = Quantity::from_micro(found.micro() - books);
    let leeway = leeway(tx, &grasp.pack, (day, None), day)?;
    // What is in use is told of by `settle`; here only what later entries took counts.
    if difference.checked_neg()? > leeway.history {
        let detail =
            format!("{found} on {day} would leave a later day below 0: count as of today instead");
        return Err(Error::refused(RefusalKind::HistoryConflict, detail));
    }
    let change = if leeway.evened_out {
        0
    } else {
        difference.micro()
    };
    settle(tx, &grasp, change, |tx| {
        let occasion = Occasion {
            effective_on: day,
            reason,
            ..Occasion::default()
        };
        Poster::new().count(tx, (grasp.lot.id, pack_id), difference, &occasion)?;
        let mut row = store::pack_fetch(tx.conn, pack_id)?
            .ok_or_else(|| Error::not_found("pack", pack_id))?;
        row.counted_on = Some(row.counted_on.map_or(day, |before| before.max(day)));
        row.tare = input.tare_g.or(row.tare);
        row.gross_at_receipt = input.gross_at_receipt_g.or(row.gross_at_receipt);
        store::pack_touch(tx.conn, &row)
    })?;
    Ok(grasp.lot.id)
}

/// What a count or a weighing says is there.
fn counted(tx: &mut Tx<'_>, grasp: &Grasp, input: &CountIn) -> Result<Quantity, Error> {
    match (input.on_hand, input.gross_g) {
        (Some(found), _) => {
            whole(tx, grasp, "/on_hand", found)?;
            Ok(found)
        }
        (None, Some(gross)) => weighed(tx, grasp, input, gross),
        (None, None) => Err(Error::internal("a count without a figure passed its check")),
    }
}

/// Weighing: gross - tare where the tare is known, else net at receipt - (gross at receipt - gross now).
fn weighed(
    tx: &mut Tx<'_>,
    grasp: &Grasp,
    input: &CountIn,
    gross: Quantity,
) -> Result<Quantity, Error> {
    if material_by_id(tx.conn, grasp.lot.material_id)?.body.unit != Unit::G {
        return Err(Error::invalid(
            "/gross_g",
            "only a material kept in grams can be counted by weighing; give `on_hand`",
        ));
    }
    let received = grasp.pack.received;
    let net = match (
        input.tare_g.or(grasp.pack.tare),
        input.gross_at_receipt_g.or(grasp.pack.gross_at_receipt),
    ) {
        (Some(tare), _) => gross.checked_sub(tare)?,
        (None, Some(at_receipt)) => received.checked_sub(at_receipt.checked_sub(gross)?)?,
        (None, None) => {
            let detail = "weighing needs the empty pack's `tare_g`, or what it weighed full, `gross_at_receipt_g`";
            return Err(Error::invalid("/gross_g", detail));
        }
    };
    let most = received.checked_add(received.mul_div_half_even(OVERFILL_TENTHS, 10)?)?;
    if net < Quantity::ZERO || net > most {
        let detail = format!(
            "{gross} g gross would mean {net} g in a pack of {received} g: check gross and tare"
        );
        return Err(Error::invalid("/gross_g", detail));
    }
    Ok(net)
}
