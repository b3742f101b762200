//! Where everything that was mixed went: chip, trim, overfill, residue.
//!
//! All that is mixed is paid for. Invariants: no share is negative; chip + trim + overfill + residue +
//! discarded = mixed. Chip is footprint x chip thickness (with the engraved volume), trim the rest of the needed
//! fill, overfill whatever was poured beyond it. A pour that fell short shrinks chip and trim in proportion. A
//! discarded batch is neither: it is reported by itself. Absent: money.

use serde::{Deserialize, Serialize};

use super::bounds::{OutOfRange, non_negative};

/// Where the mixed mass of a cast went, in grams.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct MixShares {
    /// In the chips.
    pub chip_g: f64,
    /// Beside the molds.
    pub trim_g: f64,
    /// Poured beyond the needed fill, allowance included.
    pub overfill_g: f64,
    /// Left in cups and on stirrers.
    pub residue_g: f64,
    /// Mixed and thrown away.
    pub discarded_g: f64,
}

/// Why mixed mass cannot be divided.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SplitError {
    /// A parameter is impossible.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// More stayed than was mixed.
    #[error("residue_g is {residue_g}, but only {mixed_g} g were mixed")]
    MoreResidueThanMix {
        /// The residue.
        residue_g: f64,
        /// What was mixed.
        mixed_g: f64,
    },
}

/// Divides `mixed_g` of which `residue_g` stayed behind, for a fill that needed `chip_g` and `trim_g`.
///
/// The same rule serves the plan (planned mix and residue) and what was weighed. Overfill is taken as the
/// remainder, so that the shares add up. Of a cup that fills no tray of its own, one that tops up what another
/// left short, all that was poured is overfill.
///
/// # Errors
/// [`SplitError::MoreResidueThanMix`], [`SplitError::OutOfRange`] for negative masses.
///
/// ```
/// use heeltap::casting::sums::split::split_mix;
/// let shares = split_mix(30.0, 20.0, 60.0, 6.0).unwrap();
/// assert_eq!((shares.chip_g, shares.trim_g, shares.overfill_g, shares.residue_g), (30.0, 20.0, 4.0, 6.0));
/// let short = split_mix(30.0, 20.0, 46.0, 6.0).unwrap();
/// assert_eq!((short.chip_g, short.trim_g, short.overfill_g), (24.0, 16.0, 0.0));
/// ```
pub fn split_mix(
    chip_g: f64,
    trim_g: f64,
    mixed_g: f64,
    residue_g: f64,
) -> Result<MixShares, SplitError> {
    non_negative("chip_g", chip_g)?;
    non_negative("trim_g", trim_g)?;
    let needed_g = chip_g + trim_g;
    non_negative("mixed_g", mixed_g)?;
    non_negative("residue_g", residue_g)?;
    if residue_g > mixed_g {
        return Err(SplitError::MoreResidueThanMix { residue_g, mixed_g });
    }
    let poured_g = mixed_g - residue_g;
    if poured_g >= needed_g {
        return Ok(MixShares {
            chip_g,
            trim_g,
            overfill_g: poured_g - needed_g,
            residue_g,
            discarded_g: 0.0,
        });
    }
    let chip_poured_g = poured_g * (chip_g / needed_g);
    Ok(MixShares {
        chip_g: chip_poured_g,
        trim_g: (poured_g - chip_poured_g).max(0.0),
        overfill_g: 0.0,
        residue_g,
        discarded_g: 0.0,
    })
}

impl MixShares {
    /// A batch that was mixed and thrown away.
    ///
    /// # Errors
    /// [`OutOfRange`] for a negative mass.
    ///
    /// ```
    /// use heeltap::casting::sums::split::MixShares;
    /// assert_eq!(MixShares::discarded(40.0).unwrap().total_g(), 40.0);
    /// ```
    pub fn discarded(mixed_g: f64) -> Result<Self, OutOfRange> {
        Ok(Self {
            discarded_g: non_negative("mixed_g", mixed_g)?,
            ..Self::default()
        })
    }

    /// Both together, as for the batches of a cast.
    ///
    /// ```
    /// use heeltap::casting::sums::split::{MixShares, split_mix};
    /// let both = split_mix(30.0, 20.0, 60.0, 6.0).unwrap().plus(MixShares::discarded(60.0).unwrap());
    /// assert_eq!(both.total_g(), 120.0);
    /// ```
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self {
            chip_g: self.chip_g + other.chip_g,
            trim_g: self.trim_g + other.trim_g,
            overfill_g: self.overfill_g + other.overfill_g,
            residue_g: self.residue_g + other.residue_g,
            discarded_g: self.discarded_g + other.discarded_g,
        }
    }

    /// All that was mixed.
    ///
    /// ```
    /// use heeltap::casting::sums::split::split_mix;
    /// assert_eq!(split_mix(30.0, 20.0, 60.0, 6.0).unwrap().total_g(), 60.0);
    /// ```
    #[must_use]
    pub fn total_g(&self) -> f64 {
        self.chip_g + self.trim_g + self.overfill_g + self.residue_g + self.discarded_g
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Input: chip, trim, mixed, residue. Expected: chip, trim, overfill, residue, or the message.
    #[track_caller]
    fn check(input: (f64, f64, f64, f64), expected: &str) {
        let shown = match split_mix(input.0, input.1, input.2, input.3) {
            Ok(s) => format!("{} {} {} {}", s.chip_g, s.trim_g, s.overfill_g, s.residue_g),
            Err(error) => error.to_string(),
        };
        assert_eq!(shown, expected);
    }

    #[test]
    fn divides_what_was_mixed() {
        check((30.0, 20.0, 60.0, 6.0), "30 20 4 6");
        check((30.0, 20.0, 56.0, 6.0), "30 20 0 6");
        check((30.0, 20.0, 31.0, 6.0), "15 10 0 6");
        check((30.0, 20.0, 6.0, 6.0), "0 0 0 6");
        check((30.0, 20.0, 0.0, 0.0), "0 0 0 0");
        check(
            (30.0, 20.0, 5.0, 6.0),
            "residue_g is 6, but only 5 g were mixed",
        );
        check((0.0, 0.0, 5.0, 1.0), "0 0 4 1");
        check((0.0, 0.0, 0.0, 0.0), "0 0 0 0");
    }

    proptest! {
        #[test]
        fn shares_are_never_negative_and_add_up(
            chip in 0.01..500.0f64, trim in 0.0..500.0f64, mixed in 0.0..1500.0f64, left in 0.0..1.0f64,
        ) {
            let residue = mixed * left;
            let shares = split_mix(chip, trim, mixed, residue).unwrap();
            for share in [shares.chip_g, shares.trim_g, shares.overfill_g, shares.residue_g] {
                prop_assert!(share >= 0.0);
            }
            prop_assert!((shares.total_g() - mixed).abs() <= 1e-9 * mixed.max(1.0));
        }
    }
}
