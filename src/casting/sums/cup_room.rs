//! Whether a mix has room in a cup: below the rim, and below the share of it that leaves room for foam.
//!
//! Absent: what stays in the cup (`residue`) and how trays are divided into cups (`batches`).

use serde::{Deserialize, Serialize};

use super::bounds::{OutOfRange, between, positive};

/// Relative excess that is only floating point.
const ROUNDING_SLACK: f64 = 1e-9;

/// A mix in a cup.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CupRoom {
    /// What the cup holds to the rim.
    pub capacity_ml: f64,
    /// What of it may be filled, so that the foam of de-gassing does not run over.
    pub usable_ml: f64,
    /// Volume of the mix.
    pub mix_ml: f64,
    /// Whether the mix is within what may be filled.
    pub fits: bool,
    /// Whether it is at least below the rim.
    pub below_rim: bool,
    /// Cups of this kind among which it would have to be divided evenly, so that each is within what may be filled.
    pub cups: u32,
}

/// The room that a mix of `mix_g` and `density_g_per_ml` has in a cup of `capacity_ml`, of which the share `fill_limit`
/// (above 0, up to 1) may be filled.
///
/// # Errors
/// [`OutOfRange`] for a mass, density or capacity of 0 or less, or a fill limit outside its range.
///
/// ```
/// use heeltap::casting::sums::cup_room::cup_room;
/// let room = cup_room(103.0, 1.03, 150.0, 0.5).unwrap();
/// assert!(!room.fits && room.below_rim);
/// assert_eq!((room.usable_ml, room.cups), (75.0, 2));
/// ```
pub fn cup_room(
    mix_g: f64,
    density_g_per_ml: f64,
    capacity_ml: f64,
    fill_limit: f64,
) -> Result<CupRoom, OutOfRange> {
    positive("mix_g", mix_g)?;
    positive("density_g_per_ml", density_g_per_ml)?;
    positive("capacity_ml", capacity_ml)?;
    positive("fill_limit", fill_limit)?;
    between("fill_limit", fill_limit, 0.0, 1.0)?;
    let mix_ml = mix_g / density_g_per_ml;
    let usable_ml = capacity_ml * fill_limit;
    let cups = (mix_ml / usable_ml * (1.0 - ROUNDING_SLACK)).ceil();
    Ok(CupRoom {
        capacity_ml,
        usable_ml,
        mix_ml,
        fits: cups <= 1.0,
        below_rim: mix_ml <= capacity_ml * (1.0 + ROUNDING_SLACK),
        cups: cups.clamp(1.0, f64::from(u32::MAX)) as u32,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Input: mass, capacity, fill limit at 1 g/mL. Expected: fits, below the rim, cups.
    #[track_caller]
    fn check(input: (f64, f64, f64), expected: (bool, bool, u32)) {
        let room = cup_room(input.0, 1.0, input.1, input.2).unwrap();
        assert_eq!((room.fits, room.below_rim, room.cups), expected);
    }

    #[test]
    fn the_rim_and_the_room_for_foam() {
        check((50.0, 150.0, 1.0 / 3.0), (true, true, 1));
        check((50.1, 150.0, 1.0 / 3.0), (false, true, 2));
        check((150.0, 150.0, 1.0 / 3.0), (false, true, 3));
        check((151.0, 150.0, 1.0 / 3.0), (false, false, 4));
        check((150.0, 150.0, 1.0), (true, true, 1));
        assert_eq!(
            cup_room(1.0, 1.0, 1.0, 0.0).unwrap_err().parameter,
            "fill_limit"
        );
        assert!(cup_room(1.0, 1.0, 1.0, 1.1).is_err());
        assert_eq!(cup_room(0.0, 1.0, 1.0, 0.5).unwrap_err().parameter, "mix_g");
    }
}
