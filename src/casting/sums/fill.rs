//! How much elastomer one tray needs: level, chip, trim, head room, and what gauging and pouring teach.
//!
//! Invariants: chip + trim = fill; level = mold + tape + chip thickness and never above the rim; the tape
//! is counted under the mold's footprint only. A fill factor multiplies the geometry's volume and is never
//! learned from poured mass alone, which would only learn its own allowance. Absent: masses of base and
//! agent (`mix`) and what stays in the cup (`residue`).

use serde::{Deserialize, Serialize};

use super::bounds::{OutOfRange, between, non_negative, positive};
use super::learned::{FactorPosterior, Noise};
use super::vessel::{Block, MM3_PER_ML, Vessel, VesselError};

/// Share of a vessel that may be filled before de-gassing foam could leave it. Assumption, settable.
pub const FOAM_FILL_LIMIT: f64 = 1.0 / 3.0;

/// Density of water near 20 C in g/mL, for a gauge with water (from memory: 0.9982).
pub const WATER_DENSITY_G_PER_ML: f64 = 0.9982;

/// Distance of a fill factor from 1 beyond which the dimensions are doubted.
pub const DOUBTFUL_FACTOR_DISTANCE: f64 = 0.10;

/// Relative standard deviation of one observed fill about the true one. Assumption, settable.
pub const FILL_NOISE: f64 = 0.05;

/// The master that is replicated, as a block with a relief.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MoldBlock {
    /// Length of the footprint.
    pub length_mm: f64,
    /// Width of the footprint.
    pub width_mm: f64,
    /// Thickness of the block.
    pub thickness_mm: f64,
    /// Volume engraved into it, which the elastomer fills; negative for raised features.
    pub engraved_volume_mm3: f64,
}

impl MoldBlock {
    /// Area of the footprint in square millimetres.
    fn footprint_mm2(&self) -> f64 {
        self.length_mm * self.width_mm
    }

    /// Mold and tape as one block on the floor.
    fn on_tape(&self, tape_thickness_mm: f64) -> Block {
        Block {
            length_mm: self.length_mm,
            width_mm: self.width_mm,
            height_mm: self.thickness_mm + tape_thickness_mm,
        }
    }

    fn check(&self, tape_thickness_mm: f64) -> Result<(), OutOfRange> {
        positive("mold length_mm", self.length_mm)?;
        positive("mold width_mm", self.width_mm)?;
        positive("mold thickness_mm", self.thickness_mm)?;
        non_negative("tape_thickness_mm", tape_thickness_mm)?;
        let own_mm3 = self.footprint_mm2() * self.thickness_mm;
        between(
            "engraved_volume_mm3",
            self.engraved_volume_mm3,
            f64::MIN,
            own_mm3,
        )
        .map_err(|error| OutOfRange {
            bound: format!("no more than the mold's own volume, {own_mm3}"),
            ..error
        })?;
        Ok(())
    }
}

/// What one tray takes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Fill {
    /// Height of the surface above the floor.
    pub level_mm: f64,
    /// Elastomer in the tray.
    pub volume_ml: f64,
    /// The part above the mold: footprint x chip thickness + engraved volume.
    pub chip_volume_ml: f64,
    /// The part beside the mold, cut away from the chip.
    pub trim_volume_ml: f64,
    /// Free surface at the level.
    pub free_area_mm2: f64,
    /// What the empty tray holds to the rim.
    pub vessel_capacity_ml: f64,
}

/// Why a fill cannot be computed or made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FillError {
    /// A parameter is impossible.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// The tray cannot take the mold or the level.
    #[error(transparent)]
    Vessel(#[from] VesselError),
    /// The level does not reach the top of the mold.
    #[error(
        "the level of {level_mm:.3} mm does not cover mold and tape, which are {top_mm:.3} mm high"
    )]
    NotCovered {
        /// The level.
        level_mm: f64,
        /// Height of mold and tape.
        top_mm: f64,
    },
    /// Raised features are as large as the chip above the mold.
    #[error(
        "engraved_volume_mm3 is {engraved_volume_mm3}, but raised features must leave some of the {above_mm3} mm3 above the mold"
    )]
    NoChip {
        /// The (negative) engraved volume.
        engraved_volume_mm3: f64,
        /// Footprint x chip thickness.
        above_mm3: f64,
    },
}

/// The fill of one tray for a wanted chip thickness.
///
/// Level = mold + tape + chip thickness; volume = tray to the level (prismatoid or frustum) - mold and tape
/// + engraved volume. The mold must lie on the floor in either orientation.
///
/// # Errors
/// [`FillError::Vessel`] when the mold does not fit or the level is above the rim, [`FillError::NoChip`],
/// [`FillError::OutOfRange`].
///
/// ```
/// use heeltap::casting::sums::fill::{MoldBlock, fill};
/// use heeltap::casting::sums::vessel::{Vessel, VesselShape};
/// let shape = VesselShape::Rectangular { length_mm: 100.0, width_mm: 70.0, corner_radius_mm: 0.0 };
/// let tray = Vessel { shape, depth_mm: 20.0, draft_deg: 0.0 };
/// let mold = MoldBlock { length_mm: 75.0, width_mm: 25.0, thickness_mm: 1.0, engraved_volume_mm3: 0.0 };
/// let fill = fill(&tray, &mold, 0.0, 9.0).unwrap();
/// assert_eq!(fill.level_mm, 10.0);
/// assert!((fill.volume_ml - 68.125).abs() < 1e-9);
/// assert!((fill.chip_volume_ml + fill.trim_volume_ml - fill.volume_ml).abs() < 1e-9);
/// ```
pub fn fill(
    vessel: &Vessel,
    mold: &MoldBlock,
    tape_thickness_mm: f64,
    chip_thickness_mm: f64,
) -> Result<Fill, FillError> {
    mold.check(tape_thickness_mm)?;
    positive("chip_thickness_mm", chip_thickness_mm)?;
    let block = mold.on_tape(tape_thickness_mm);
    let level_mm = block.height_mm + chip_thickness_mm;
    let net_mm3 = vessel.net_volume(level_mm, &block)?.net_mm3 + mold.engraved_volume_mm3;
    let above_mm3 = mold.footprint_mm2() * chip_thickness_mm;
    let chip_mm3 = above_mm3 + mold.engraved_volume_mm3;
    if chip_mm3 <= 0.0 {
        return Err(FillError::NoChip {
            engraved_volume_mm3: mold.engraved_volume_mm3,
            above_mm3,
        });
    }
    Ok(Fill {
        level_mm,
        volume_ml: net_mm3 / MM3_PER_ML,
        chip_volume_ml: chip_mm3 / MM3_PER_ML,
        trim_volume_ml: ((net_mm3 - chip_mm3) / MM3_PER_ML).max(0.0),
        free_area_mm2: vessel.area_at_level_mm2(level_mm),
        vessel_capacity_ml: vessel.capacity_ml()?,
    })
}

/// The chip thickness that `volume_ml` of elastomer gives in this tray, in millimetres; the reverse of [`fill`].
///
/// # Errors
/// [`FillError::NotCovered`] when the mold would show, [`FillError::Vessel`] when the tray overflows.
///
/// ```
/// use heeltap::casting::sums::fill::{MoldBlock, chip_thickness_for_volume_mm};
/// use heeltap::casting::sums::vessel::{Vessel, VesselShape};
/// let shape = VesselShape::Rectangular { length_mm: 100.0, width_mm: 70.0, corner_radius_mm: 0.0 };
/// let tray = Vessel { shape, depth_mm: 20.0, draft_deg: 0.0 };
/// let mold = MoldBlock { length_mm: 75.0, width_mm: 25.0, thickness_mm: 1.0, engraved_volume_mm3: 0.0 };
/// assert!((chip_thickness_for_volume_mm(&tray, &mold, 0.0, 68.125).unwrap() - 9.0).abs() < 1e-9);
/// ```
pub fn chip_thickness_for_volume_mm(
    vessel: &Vessel,
    mold: &MoldBlock,
    tape_thickness_mm: f64,
    volume_ml: f64,
) -> Result<f64, FillError> {
    mold.check(tape_thickness_mm)?;
    positive("volume_ml", volume_ml)?;
    let block = mold.on_tape(tape_thickness_mm);
    let beside_mm3 = (volume_ml * MM3_PER_ML - mold.engraved_volume_mm3).max(0.0);
    let level_mm = vessel.level_for_net_volume_mm(beside_mm3, &block)?;
    if level_mm <= block.height_mm {
        return Err(FillError::NotCovered {
            level_mm,
            top_mm: block.height_mm,
        });
    }
    Ok(level_mm - block.height_mm)
}

/// How full a vessel is for de-gassing.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HeadRoom {
    /// Occupied volume over capacity.
    pub fraction_filled: f64,
    /// Largest fraction that leaves room for the foam.
    pub fill_limit: f64,
    /// Whether the fraction is within the limit.
    pub enough: bool,
}

/// Head room of the vessel in which de-gassing happens: its `occupied_ml` (a mold in it included) against
/// `fill_limit` (0 to 1, default [`FOAM_FILL_LIMIT`]) of its capacity.
///
/// # Errors
/// [`OutOfRange`] for a capacity of 0 or less, a negative volume or a limit outside 0 to 1.
///
/// ```
/// use heeltap::casting::sums::fill::{FOAM_FILL_LIMIT, foam_headroom};
/// assert!(foam_headroom(150.0, 45.0, FOAM_FILL_LIMIT).unwrap().enough);
/// assert!(!foam_headroom(150.0, 60.0, FOAM_FILL_LIMIT).unwrap().enough);
/// ```
pub fn foam_headroom(
    capacity_ml: f64,
    occupied_ml: f64,
    fill_limit: f64,
) -> Result<HeadRoom, OutOfRange> {
    positive("capacity_ml", capacity_ml)?;
    non_negative("occupied_ml", occupied_ml)?;
    positive("fill_limit", fill_limit)?;
    between("fill_limit", fill_limit, 0.0, 1.0)?;
    let fraction_filled = occupied_ml / capacity_ml;
    Ok(HeadRoom {
        fraction_filled,
        fill_limit,
        enough: fraction_filled <= fill_limit * (1.0 + 1e-9),
    })
}

/// What a spare tray was gauged with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum GaugeOf {
    /// The base alone.
    Base,
    /// The mixed elastomer.
    Mix,
    /// Water.
    Water,
}

/// A spare, identical tray filled to the wanted level and weighed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Gauge {
    /// Mass of what was filled in.
    pub mass_g: f64,
    /// What it was.
    pub of: GaugeOf,
    /// Whether mold and tape lay in the tray.
    pub mold_in: bool,
    /// Level to which it was filled.
    pub level_mm: f64,
}

/// What a gauge says.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct GaugeReading {
    /// Elastomer at the gauge's level with the mold in, as gauged.
    pub volume_ml: f64,
    /// The same from the dimensions.
    pub geometry_volume_ml: f64,
    /// The first over the second: one observation of the fill factor.
    pub factor: f64,
    /// Whether the factor is more than [`DOUBTFUL_FACTOR_DISTANCE`] from 1.
    pub doubtful: bool,
}

/// Converts a gauge into one observation of the fill factor.
///
/// `density_g_per_ml` is that of what was filled in (for water [`WATER_DENSITY_G_PER_ML`]). When the mold was
/// not in the tray, what mold and tape displace is subtracted and the engraved volume added.
///
/// # Errors
/// [`FillError::NotCovered`] when the gauge's level is not above mold and tape, [`FillError::Vessel`],
/// [`FillError::OutOfRange`], also when the gauged amount is less than the mold displaces.
///
/// ```
/// use heeltap::casting::sums::fill::{Gauge, GaugeOf, MoldBlock, WATER_DENSITY_G_PER_ML, read_gauge};
/// use heeltap::casting::sums::vessel::{Vessel, VesselShape};
/// let shape = VesselShape::Rectangular { length_mm: 100.0, width_mm: 70.0, corner_radius_mm: 0.0 };
/// let tray = Vessel { shape, depth_mm: 20.0, draft_deg: 0.0 };
/// let mold = MoldBlock { length_mm: 75.0, width_mm: 25.0, thickness_mm: 1.0, engraved_volume_mm3: 0.0 };
/// let gauge = Gauge { mass_g: 70.0 * WATER_DENSITY_G_PER_ML, of: GaugeOf::Water, mold_in: false, level_mm: 10.0 };
/// let reading = read_gauge(&gauge, WATER_DENSITY_G_PER_ML, &tray, &mold, 0.0).unwrap();
/// assert!((reading.factor - 1.0).abs() < 1e-12);
/// ```
pub fn read_gauge(
    gauge: &Gauge,
    density_g_per_ml: f64,
    vessel: &Vessel,
    mold: &MoldBlock,
    tape_thickness_mm: f64,
) -> Result<GaugeReading, FillError> {
    mold.check(tape_thickness_mm)?;
    positive("gauge mass_g", gauge.mass_g)?;
    positive("density_g_per_ml", density_g_per_ml)?;
    let block = mold.on_tape(tape_thickness_mm);
    let net = vessel.net_volume(gauge.level_mm, &block)?;
    if gauge.level_mm <= block.height_mm {
        return Err(FillError::NotCovered {
            level_mm: gauge.level_mm,
            top_mm: block.height_mm,
        });
    }
    let displaced_ml = (net.displaced_mm3 - mold.engraved_volume_mm3) / MM3_PER_ML;
    let geometry_volume_ml = (net.net_mm3 + mold.engraved_volume_mm3) / MM3_PER_ML;
    let gauged_ml = gauge.mass_g / density_g_per_ml;
    let volume_ml = if gauge.mold_in {
        gauged_ml
    } else {
        gauged_ml - displaced_ml
    };
    if volume_ml <= 0.0 {
        return Err(FillError::OutOfRange(OutOfRange {
            parameter: "gauge mass_g",
            value: gauge.mass_g,
            bound: format!(
                "more than mold and tape displace, {} g",
                displaced_ml * density_g_per_ml
            ),
        }));
    }
    let factor = volume_ml / geometry_volume_ml;
    Ok(GaugeReading {
        volume_ml,
        geometry_volume_ml,
        factor,
        doubtful: is_doubtful(factor),
    })
}

/// What one tray needed, from a pour with weighed residue and an observed level, in grams.
///
/// needed = poured - density x free surface x (level - target). `poured_g` is per tray and without residue.
///
/// # Errors
/// [`OutOfRange`] for impossible input, also when the level says that the tray needed nothing.
///
/// ```
/// use heeltap::casting::sums::fill::needed_from_pour_g;
/// // 1 mm too high on 60 cm2 at 1.03 g/mL: 6.18 g more than needed.
/// assert!((needed_from_pour_g(70.0, 1.03, 6000.0, 10.0, 9.0).unwrap() - 63.82).abs() < 1e-9);
/// ```
pub fn needed_from_pour_g(
    poured_g: f64,
    density_g_per_ml: f64,
    free_area_mm2: f64,
    level_mm: f64,
    target_level_mm: f64,
) -> Result<f64, OutOfRange> {
    positive("poured_g", poured_g)?;
    positive("density_g_per_ml", density_g_per_ml)?;
    positive("free_area_mm2", free_area_mm2)?;
    positive("level_mm", level_mm)?;
    positive("target_level_mm", target_level_mm)?;
    let excess_g = density_g_per_ml * free_area_mm2 * (level_mm - target_level_mm) / MM3_PER_ML;
    if excess_g >= poured_g {
        return Err(OutOfRange {
            parameter: "level_mm",
            value: level_mm,
            bound: format!(
                "such that the {excess_g:.3} g above the target are less than the {poured_g:.3} g poured"
            ),
        });
    }
    Ok(poured_g - excess_g)
}

/// On what a fill rests.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FillBasis {
    /// The dimensions alone.
    Geometry,
    /// A gauge in a spare tray.
    Gauged,
    /// Observed levels of pours, with the gauge as one more observation.
    Learned,
}

/// The factor by which the geometry's fill is multiplied.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FillFactor {
    /// The factor.
    pub factor: f64,
    /// On what it rests.
    pub basis: FillBasis,
    /// How many observations it rests on.
    pub observations: u32,
    /// Whether it is more than [`DOUBTFUL_FACTOR_DISTANCE`] from 1, which doubts the dimensions.
    pub doubtful: bool,
}

/// The fill factor from a gauge, if there is one, and the factors that observed levels taught.
///
/// Without pours the gauge is taken as it is. With pours the same conjugate normal update as for residue
/// (prior N(1, 0.5^2), noise [`FILL_NOISE`]) weighs all observations, the gauge as one of them, so that one
/// wild level among several does not wreck the fill.
///
/// # Errors
/// [`OutOfRange`] for a factor of 0 or less.
///
/// ```
/// use heeltap::casting::sums::fill::{FillBasis, fill_factor};
/// assert_eq!(fill_factor(None, &[]).unwrap().factor, 1.0);
/// assert_eq!(fill_factor(Some(1.04), &[]).unwrap().factor, 1.04);
/// let learned = fill_factor(Some(1.15), &[1.15, 1.16, 1.14]).unwrap();
/// assert_eq!(learned.basis, FillBasis::Learned);
/// assert!(learned.doubtful);
/// ```
pub fn fill_factor(gauged: Option<f64>, taught: &[f64]) -> Result<FillFactor, OutOfRange> {
    if taught.is_empty() {
        let (factor, basis, observations) = match gauged {
            Some(factor) => (positive("gauge factor", factor)?, FillBasis::Gauged, 1),
            None => (1.0, FillBasis::Geometry, 0),
        };
        return Ok(FillFactor {
            factor,
            basis,
            observations,
            doubtful: is_doubtful(factor),
        });
    }
    let noise = Noise {
        relative_sd: FILL_NOISE,
        additive_sd_g: 0.0,
    };
    let mut posterior = FactorPosterior::prior();
    for &factor in gauged.iter().chain(taught) {
        positive("fill factor", factor)?;
        posterior = posterior.learn(1.0, factor, &noise)?.posterior;
    }
    Ok(FillFactor {
        factor: posterior.mean,
        basis: FillBasis::Learned,
        observations: posterior.observations,
        doubtful: is_doubtful(posterior.mean),
    })
}

fn is_doubtful(factor: f64) -> bool {
    (factor - 1.0).abs() > DOUBTFUL_FACTOR_DISTANCE + 1e-9
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::vessel::VesselShape;
    use super::*;

    fn tray() -> Vessel {
        Vessel {
            shape: VesselShape::Rectangular {
                length_mm: 100.0,
                width_mm: 70.0,
                corner_radius_mm: 0.0,
            },
            depth_mm: 15.0,
            draft_deg: 0.0,
        }
    }

    fn mold(engraved_volume_mm3: f64) -> MoldBlock {
        MoldBlock {
            length_mm: 75.0,
            width_mm: 25.0,
            thickness_mm: 1.0,
            engraved_volume_mm3,
        }
    }

    /// Input: engraved volume, tape and chip thickness. Expected: level, fill, chip and trim, or the message.
    #[track_caller]
    fn check(input: (f64, f64, f64), expected: &str) {
        let shown = match fill(&tray(), &mold(input.0), input.1, input.2) {
            Ok(f) => format!(
                "{:.3} {:.4} {:.4} {:.4}",
                f.level_mm, f.volume_ml, f.chip_volume_ml, f.trim_volume_ml
            ),
            Err(error) => error.to_string(),
        };
        assert_eq!(shown, expected);
    }

    #[test]
    fn fills_and_refusals() {
        check((0.0, 0.0, 9.0), "10.000 68.1250 16.8750 51.2500");
        check((0.0, 0.1, 8.9), "10.000 67.9375 16.6875 51.2500");
        check((100.0, 0.0, 9.0), "10.000 68.2250 16.9750 51.2500");
        check((-100.0, 0.0, 9.0), "10.000 68.0250 16.7750 51.2500");
        check(
            (0.0, 0.0, 14.5),
            "level_mm is 15.500, but the rim of the vessel is at 15.000 mm",
        );
        check(
            (0.0, 0.0, 0.0),
            "chip_thickness_mm is 0, but must be greater than 0",
        );
        check(
            (1876.0, 0.0, 1.0),
            "engraved_volume_mm3 is 1876, but must be no more than the mold's own volume, 1875",
        );
        check(
            (-1875.0, 0.0, 1.0),
            "engraved_volume_mm3 is -1875, but raised features must leave some of the 1875 mm3 above the mold",
        );
    }

    #[test]
    fn a_mold_larger_than_the_floor_is_refused() {
        let wide = MoldBlock {
            length_mm: 101.0,
            ..mold(0.0)
        };
        let error = fill(&tray(), &wide, 0.0, 5.0).unwrap_err();
        assert!(matches!(
            error,
            FillError::Vessel(VesselError::DoesNotFit { .. })
        ));
    }

    #[test]
    fn a_gauge_with_and_without_the_mold_agrees() {
        let gauge = |mass_g, mold_in| Gauge {
            mass_g,
            of: GaugeOf::Base,
            mold_in,
            level_mm: 10.0,
        };
        let inside = read_gauge(&gauge(75.0, true), 1.1, &tray(), &mold(50.0), 0.1).unwrap();
        let displaced_g = (75.0 * 25.0 * 1.1 - 50.0) / 1000.0 * 1.1;
        let without = gauge(75.0 + displaced_g, false);
        let outside = read_gauge(&without, 1.1, &tray(), &mold(50.0), 0.1).unwrap();
        assert!((inside.factor - outside.factor).abs() < 1e-12);
        assert!((inside.volume_ml - 75.0 / 1.1).abs() < 1e-12);
        let low = Gauge {
            level_mm: 1.05,
            ..gauge(75.0, true)
        };
        let error = read_gauge(&low, 1.1, &tray(), &mold(0.0), 0.1).unwrap_err();
        assert!(matches!(error, FillError::NotCovered { .. }));
    }

    #[test]
    fn one_wild_level_does_not_wreck_the_factor() {
        let steady = fill_factor(None, &[1.02, 1.03, 1.02, 1.03]).unwrap();
        let wild = fill_factor(None, &[1.02, 1.03, 1.02, 1.03, 2.0]).unwrap();
        assert!((steady.factor - 1.025).abs() < 0.001);
        assert!((wild.factor - steady.factor).abs() < 0.01, "{wild:?}");
        assert!(!wild.doubtful);
    }

    proptest! {
        #[test]
        fn chip_thickness_is_the_reverse_of_fill(chip in 0.1..13.0f64, engraved in -100.0..500.0f64, tape in 0.0..0.3f64) {
            let filled = fill(&tray(), &mold(engraved), tape, chip);
            prop_assume!(filled.is_ok());
            let filled = filled.unwrap();
            prop_assert!((filled.chip_volume_ml + filled.trim_volume_ml - filled.volume_ml).abs() < 1e-9);
            let back = chip_thickness_for_volume_mm(&tray(), &mold(engraved), tape, filled.volume_ml).unwrap();
            prop_assert!((back - chip).abs() < 1e-8);
        }
    }
}
