//! What one pack of a purchase line holds.
//!
//! Invariants: above zero, in a unit with exactly one reading, and small enough that the whole line fits; what
//! was written is kept, so that a later conversion rounds once and from the original. Deliberately absent:
//! which unit the material is kept in (the import plan knows).

use super::cell::Reader;
use super::csv_file::CellError;
use crate::base::{Micro, Quantity, Unit, convert, convert_by_density, factor};

/// Largest quantity of one line, in millionths of its unit.
const QUANTITY_MAX_MICRO: i64 = 1_000_000_000_000_000;

/// The content of one pack as it was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PackContent {
    /// The number that was written, above zero.
    pub written: Micro,
    /// The unit that was written; always one that has exactly one reading.
    pub label: String,
    /// The same in a unit of stock of the same dimension.
    pub quantity: Quantity,
    /// That unit.
    pub unit: Unit,
}

impl PackContent {
    /// What one pack holds in `to`; between mass and volume by the density, in grams per millilitre.
    ///
    /// # Errors
    /// [`CellError`] at `unit` if it cannot be turned into `to`, at `pack_quantity` if a pack would hold nothing or
    /// `packs` of them more than 10^9.
    pub fn quantity_in(
        &self,
        to: Unit,
        density_g_per_ml: Option<Micro>,
        packs: u32,
    ) -> Result<Quantity, CellError> {
        let converted = match density_g_per_ml {
            Some(density) => convert_by_density(self.written, &self.label, to, density),
            None => convert(self.written, &self.label, to),
        };
        let quantity = converted
            .map_err(|error| CellError::new("unit", &self.label, error.to_string()))?
            .quantity;
        check_size(self.written, &self.label, quantity, to, packs)
            .map_err(|detail| CellError::new("pack_quantity", &self.written.to_string(), detail))?;
        Ok(quantity)
    }
}

/// Whether a pack holds something, and the whole line not too much.
fn check_size(
    written: Micro,
    label: &str,
    quantity: Quantity,
    unit: Unit,
    packs: u32,
) -> Result<(), String> {
    let total = quantity.micro().checked_mul(i64::from(packs));
    if quantity.is_positive() && total.is_some_and(|total| total <= QUANTITY_MAX_MICRO) {
        return Ok(());
    }
    Err(format!(
        "{packs} x {written} {label} is {packs} x {quantity} {unit}; a line must hold more than zero and at most 1000000000 {unit}"
    ))
}

/// What one pack holds. Blank for kits, whose packs are counted; `kit` as a unit says the same.
pub(super) fn read_pack(reader: &mut Reader<'_>, packs: Option<u32>) -> Option<PackContent> {
    let written = reader.number("pack_quantity");
    let label = reader.text("unit", 32);
    if reader.is_blank("pack_quantity") {
        return None;
    }
    let (written, label) = match (written, label) {
        (Some(written), Some(label)) => (written, label),
        (Some(_), None) if reader.is_blank("unit") => {
            reader.fail(
                "unit",
                "a pack quantity needs its unit, such as g, kg, mL, L, m or each",
            );
            return None;
        }
        // The cell that could not be read has its error already.
        _ => return None,
    };
    if !written.is_positive() {
        reader.fail("pack_quantity", "must be above zero");
        return None;
    }
    if label.eq_ignore_ascii_case("kit") {
        if written != Micro::from_int(1) {
            reader.fail(
                "pack_quantity",
                "kits are counted in packs: leave pack_quantity blank and write the number of kits in packs",
            );
        }
        return None;
    }
    let converted = factor(&label)
        .and_then(|factor| convert(written, &label, factor.unit).map(|c| (c, factor.unit)));
    let (converted, unit) = match converted {
        Ok(converted) => converted,
        Err(error) => {
            reader.fail("unit", error.to_string());
            return None;
        }
    };
    let quantity = converted.quantity;
    if let Err(detail) = check_size(written, &label, quantity, unit, packs.unwrap_or(1)) {
        reader.fail("pack_quantity", detail);
        return None;
    }
    if converted.rounded {
        let detail = format!("{written} {label} was rounded to {quantity} {unit}");
        reader.warn("pack_quantity", detail);
    }
    Some(PackContent {
        written,
        label,
        quantity,
        unit,
    })
}
