//! The lots that a cast drew on, or counts on, in words.
//!
//! Invariant: in the order of the work, batch by batch. Deliberately absent: where else a lot went (its own trace says so).

use std::collections::HashMap;

use chrono::NaiveDate;

use crate::casting::trace::view::{CastTrace, MaterialTrace};
use crate::pages::words::{amount, day, money};
use crate::stock::needs::Purpose;

/// Name and unit of each material, by its code.
pub(super) type Names = HashMap<String, (String, &'static str)>;

/// A lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Origin {
    /// The material's name.
    pub(super) name: String,
    /// The lot's id.
    pub(super) lot_id: i64,
    /// The lot, with its kit lot.
    pub(super) lot: String,
    /// What for, such as `batch 1`.
    pub(super) purpose: String,
    /// How much.
    pub(super) quantity: String,
    /// What it was worth, once taken.
    pub(super) worth: Option<String>,
    /// Where it came from.
    pub(super) came: String,
}

/// The lots of a trace.
pub(super) fn origins(
    trace: &CastTrace,
    names: &Names,
    currency: &str,
    today: NaiveDate,
) -> Vec<Origin> {
    let mut materials: Vec<&MaterialTrace> = trace.materials.iter().collect();
    let place = |of: &MaterialTrace| {
        let purpose = Purpose::from_word(&of.purpose);
        Purpose::ALL
            .iter()
            .position(|known| Some(*known) == purpose)
    };
    materials.sort_by_key(|of| (place(of), of.batch_no));
    materials
        .into_iter()
        .map(|of| origin(of, names, currency, today))
        .collect()
}

fn origin(of: &MaterialTrace, names: &Names, currency: &str, today: NaiveDate) -> Origin {
    let code = &of.lot.material;
    let (name, unit) = names
        .get(code)
        .map_or((code.clone(), ""), |(name, unit)| (name.clone(), *unit));
    let mut came = format!("received {}", day(of.lot.received_on, today));
    if let Some(supplier) = &of.lot.supplier {
        came.push_str(&format!(" from {supplier}"));
    }
    if let Some(by) = of.lot.expires_on {
        came.push_str(&format!(", use by {}", day(by, today)));
    }
    Origin {
        name,
        lot_id: of.lot.id,
        lot: match &of.lot.kit_lot {
            Some(kit) if *kit != of.lot.lot => format!("{} of kit {kit}", of.lot.lot),
            _ => of.lot.lot.clone(),
        },
        purpose: match of.batch_no {
            Some(batch) => format!("batch {batch}"),
            None => "the whole cast".to_owned(),
        },
        // What is used again is worn, not used up.
        quantity: match (of.pack_id, of.quantity.is_zero()) {
            (None, true) => "wear".to_owned(),
            _ => amount(of.quantity, unit),
        },
        worth: of.value.map(|value| money(value, currency)),
        came,
    }
}
