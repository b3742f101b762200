//! The tape under a mold: whole strips, butted side by side.
//!
//! Invariants: the strips cover the mold; lengths are compared in whole micrometres, so that 75 mm over 25 mm
//! is three strips and never four; a strip is never pieced together across rolls. Absent: which roll is cut.

use serde::{Deserialize, Serialize};

use super::bounds::{OutOfRange, at_least_one, non_negative, positive};

/// Micrometres in a millimetre.
const UM_PER_MM: f64 = 1000.0;

/// Longest length that is believed, in millimetres: a kilometre.
const LENGTH_MM_MAX: f64 = 1e6;

/// The side of the mold along which the strips lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Along {
    /// Each strip is as long as the mold.
    Length,
    /// Each strip is as long as the mold is wide.
    Width,
}

/// The tape for one mold.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TapeCut {
    /// Strips.
    pub strips: u32,
    /// Length of each, trim allowance included.
    pub strip_length_mm: f64,
    /// Length of all strips.
    pub total_m: f64,
    /// How they lie.
    pub along: Along,
    /// Share of the tape's area that does not lie under the mold.
    pub offcut_share: f64,
}

/// Why tape cannot be cut.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TapeError {
    /// A parameter is impossible.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// One strip is longer than a roll.
    #[error(
        "roll_length_m is {roll_length_m}, but must be at least one strip of {strip_length_mm} mm"
    )]
    RollTooShort {
        /// Length of a roll.
        roll_length_m: f64,
        /// Length of a strip.
        strip_length_mm: f64,
    },
}

/// Cuts tape of `tape_width_mm` for a mold: strips = ceil(side / tape width), each as long as the other side
/// plus `trim_allowance_mm`, in the orientation that takes less tape (then fewer strips).
///
/// # Errors
/// [`TapeError::OutOfRange`] for sides or a width below a micrometre or above a kilometre, or a negative allowance.
///
/// ```
/// use heeltap::casting::sums::tape::{Along, cut_tape};
/// let cut = cut_tape(75.0, 50.0, 25.0, 10.0).unwrap();
/// assert_eq!((cut.strips, cut.strip_length_mm, cut.along), (2, 85.0, Along::Length));
/// assert!((cut.total_m - 0.17).abs() < 1e-12);
/// ```
pub fn cut_tape(
    mold_length_mm: f64,
    mold_width_mm: f64,
    tape_width_mm: f64,
    trim_allowance_mm: f64,
) -> Result<TapeCut, TapeError> {
    let length_um = side_um("mold length_mm", mold_length_mm)?;
    let width_um = side_um("mold width_mm", mold_width_mm)?;
    let tape_um = side_um("tape width_mm", tape_width_mm)?;
    non_negative("trim_allowance_mm", trim_allowance_mm)?;
    at_most("trim_allowance_mm", trim_allowance_mm)?;
    let allowance_um = (trim_allowance_mm * UM_PER_MM).round() as u64;

    let lay = |across_um: u64, along_um: u64, along: Along| {
        let strips = across_um.div_ceil(tape_um);
        let strip_um = along_um + allowance_um;
        (
            u128::from(strips) * u128::from(strip_um),
            strips,
            strip_um,
            along,
        )
    };
    let lengthwise = lay(width_um, length_um, Along::Length);
    let crosswise = lay(length_um, width_um, Along::Width);
    let (total_um, strips, strip_um, along) =
        if (crosswise.0, crosswise.1) < (lengthwise.0, lengthwise.1) {
            crosswise
        } else {
            lengthwise
        };
    let under_um2 = length_um as f64 * width_um as f64;
    let cut_um2 = total_um as f64 * tape_um as f64;
    Ok(TapeCut {
        strips: u32::try_from(strips).map_err(|_| too_narrow(tape_width_mm))?,
        strip_length_mm: strip_um as f64 / UM_PER_MM,
        total_m: total_um as f64 / 1e6,
        along,
        offcut_share: (1.0 - under_um2 / cut_um2).max(0.0),
    })
}

/// How many whole strips of `strip_length_mm` a piece of `available_m` gives.
///
/// # Errors
/// [`TapeError::OutOfRange`] for a strip of no length or a negative piece.
///
/// ```
/// use heeltap::casting::sums::tape::strips_from;
/// assert_eq!(strips_from(0.3, 100.0), Ok(3));
/// assert_eq!(strips_from(0.2999, 100.0), Ok(2));
/// ```
pub fn strips_from(available_m: f64, strip_length_mm: f64) -> Result<u64, TapeError> {
    let strip_um = side_um("strip_length_mm", strip_length_mm)?;
    non_negative("available_m", available_m)?;
    at_most("available_m", available_m)?;
    Ok((available_m * 1e6).round() as u64 / strip_um)
}

/// Rolls of `roll_length_m` that `strips` strips take, none pieced together across rolls.
///
/// # Errors
/// [`TapeError::RollTooShort`] when a roll gives no strip.
///
/// ```
/// use heeltap::casting::sums::tape::rolls_for;
/// assert_eq!(rolls_for(7, 300.0, 1.0), Ok(3));
/// assert!(rolls_for(1, 300.0, 0.2).is_err());
/// ```
pub fn rolls_for(strips: u32, strip_length_mm: f64, roll_length_m: f64) -> Result<u64, TapeError> {
    match strips_from(roll_length_m, strip_length_mm)? {
        0 => Err(TapeError::RollTooShort {
            roll_length_m,
            strip_length_mm,
        }),
        per_roll => Ok(u64::from(strips).div_ceil(per_roll)),
    }
}

/// How often the molds are taped anew for `casts` casts when the tape holds for `casts_per_setup` of them and
/// `casts_on_setup` were already cast on the present tape (none: not taped).
///
/// # Errors
/// [`TapeError::OutOfRange`] for a setup of no casts.
///
/// ```
/// use heeltap::casting::sums::tape::tapings;
/// assert_eq!(tapings(None, 5, 1), Ok(5));
/// assert_eq!(tapings(Some(2), 5, 4), Ok(1));
/// ```
pub fn tapings(
    casts_on_setup: Option<u32>,
    casts: u32,
    casts_per_setup: u32,
) -> Result<u32, TapeError> {
    at_least_one("casts_per_setup", casts_per_setup)?;
    let still_good = casts_on_setup.map_or(0, |used| casts_per_setup.saturating_sub(used));
    Ok(casts.saturating_sub(still_good).div_ceil(casts_per_setup))
}

fn side_um(parameter: &'static str, value_mm: f64) -> Result<u64, OutOfRange> {
    positive(parameter, value_mm)?;
    at_most(parameter, value_mm)?;
    let um = (value_mm * UM_PER_MM).round() as u64;
    if um == 0 {
        return Err(OutOfRange {
            parameter,
            value: value_mm,
            bound: "at least 0.001".to_owned(),
        });
    }
    Ok(um)
}

fn at_most(parameter: &'static str, value: f64) -> Result<(), OutOfRange> {
    if value <= LENGTH_MM_MAX {
        return Ok(());
    }
    Err(OutOfRange {
        parameter,
        value,
        bound: format!("no more than {LENGTH_MM_MAX}"),
    })
}

fn too_narrow(tape_width_mm: f64) -> OutOfRange {
    OutOfRange {
        parameter: "tape width_mm",
        value: tape_width_mm,
        bound: "wide enough to cover the mold in fewer than 2^32 strips".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Input: length, width, tape width, allowance. Expected: strips, their length, orientation, total.
    #[track_caller]
    fn check(input: (f64, f64, f64, f64), expected: &str) {
        let shown = match cut_tape(input.0, input.1, input.2, input.3) {
            Ok(cut) => format!(
                "{} x {} {:?} {:.6} {:.4}",
                cut.strips, cut.strip_length_mm, cut.along, cut.total_m, cut.offcut_share
            ),
            Err(error) => error.to_string(),
        };
        assert_eq!(shown, expected);
    }

    #[test]
    fn cuts_whole_strips_in_the_better_orientation() {
        check((75.0, 25.0, 25.0, 0.0), "1 x 75 Length 0.075000 0.0000");
        check((75.0, 25.0, 25.0, 10.0), "1 x 85 Length 0.085000 0.1176");
        check((76.0, 26.0, 25.0, 5.0), "4 x 31 Width 0.124000 0.3626");
        check((0.3, 0.1, 0.1, 0.0), "1 x 0.3 Length 0.000300 0.0000");
        check((50.0, 50.0, 25.0, 10.0), "2 x 60 Length 0.120000 0.1667");
        check(
            (75.0, 25.0, 0.0, 10.0),
            "tape width_mm is 0, but must be greater than 0",
        );
        check(
            (75.0, 25.0, 0.0004, 10.0),
            "tape width_mm is 0.0004, but must be at least 0.001",
        );
    }

    #[test]
    fn tape_that_stays_in_is_not_cut_again() {
        assert_eq!(tapings(Some(9), 5, 4), Ok(2));
        assert_eq!(tapings(Some(0), 4, 4), Ok(0));
        assert_eq!(tapings(None, 0, 4), Ok(0));
        assert!(tapings(None, 1, 0).is_err());
    }

    proptest! {
        #[test]
        fn strips_always_cover_the_mold(
            length in 1.0..500.0f64, width in 1.0..500.0f64, tape in 1.0..200.0f64, allowance in 0.0..50.0f64,
        ) {
            let cut = cut_tape(length, width, tape, allowance).unwrap();
            let (across, along) = match cut.along {
                Along::Length => (width, length),
                Along::Width => (length, width),
            };
            prop_assert!(f64::from(cut.strips) * tape >= across - 0.001 * f64::from(cut.strips));
            prop_assert!(f64::from(cut.strips - 1) * tape < across + 0.001 * f64::from(cut.strips));
            prop_assert!(cut.strip_length_mm >= along - 0.001);
            prop_assert!(cut.offcut_share >= 0.0 && cut.offcut_share < 1.0);
        }

        #[test]
        fn rolls_hold_the_strips(strips in 1u32..500, strip in 10.0..500.0f64, roll in 0.6..60.0f64) {
            let rolls = rolls_for(strips, strip, roll).unwrap();
            let per_roll = strips_from(roll, strip).unwrap();
            prop_assert!(rolls * per_roll >= u64::from(strips) && (rolls - 1) * per_roll < u64::from(strips));
        }
    }
}
