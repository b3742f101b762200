//! The inside of trays and cups: volume, level, surface and walls of a drafted rectangle or dish.
//!
//! Invariants: dimensions are those of the inside at the floor; walls lean outward by the draft, measured
//! from the vertical; volume grows with level, so every level has one volume and the reverse. The radius of
//! a rounded corner is taken as the same at every height (a sharp corner stays sharp, as in the prismatoid
//! formula). Absent: bulging walls, ribs and stacking feet; what they do to the fill is learned, not drawn.

use serde::{Deserialize, Serialize};

use super::bounds::{OutOfRange, between, non_negative, positive};

/// Steepest draft for which a vessel is still believed, in degrees from the vertical.
pub const DRAFT_DEG_MAX: f64 = 60.0;

/// Cubic millimetres in a millilitre.
pub const MM3_PER_ML: f64 = 1000.0;

/// Share by which a length may exceed another and still count as equal, for floating-point rounding only.
const ROUNDING_SLACK: f64 = 1e-9;

/// The outline of a vessel's inside at its floor.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "shape", rename_all = "snake_case")]
pub enum VesselShape {
    /// A rectangle with rounded corners.
    Rectangular {
        /// Inside length at the floor.
        length_mm: f64,
        /// Inside width at the floor.
        width_mm: f64,
        /// Radius of the four vertical corners, 0 for sharp ones.
        corner_radius_mm: f64,
    },
    /// A circle.
    Round {
        /// Inside diameter at the floor.
        diameter_mm: f64,
    },
}

/// A tray or a cup, seen from inside.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Vessel {
    /// Outline at the floor.
    pub shape: VesselShape,
    /// Inside depth from floor to rim.
    pub depth_mm: f64,
    /// Lean of the walls outward from the vertical.
    pub draft_deg: f64,
}

/// A block that stands on the floor of a vessel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Block {
    /// Length of its footprint.
    pub length_mm: f64,
    /// Width of its footprint.
    pub width_mm: f64,
    /// Height above the floor.
    pub height_mm: f64,
}

/// Why a vessel has no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum VesselError {
    /// A dimension is impossible.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// A level lies above the rim.
    #[error("level_mm is {level_mm:.3}, but the rim of the vessel is at {depth_mm:.3} mm")]
    AboveRim {
        /// The level asked for.
        level_mm: f64,
        /// The vessel's depth.
        depth_mm: f64,
    },
    /// A volume is more than the vessel holds.
    #[error("volume_ml is {volume_ml:.3}, but the vessel holds {capacity_ml:.3} mL to the rim")]
    AboveCapacity {
        /// The volume asked for.
        volume_ml: f64,
        /// What the vessel holds beside the block.
        capacity_ml: f64,
    },
    /// A block is larger than the floor.
    #[error(
        "a block of {length_mm} x {width_mm} mm does not fit on the floor ({floor}) in either orientation"
    )]
    DoesNotFit {
        /// Length of the block.
        length_mm: f64,
        /// Width of the block.
        width_mm: f64,
        /// The floor, in words.
        floor: String,
    },
}

/// Volume of a drafted rectangular tray filled to `depth_mm`, in cubic millimetres.
///
/// `draft_length_deg` is the lean that lengthens the length with height, `draft_width_deg` the one that
/// widens the width. Source: prismatoid formula V = h/6 (A1 + 4 Am + A2) (Weisstein, MathWorld "Prismatoid"),
/// here multiplied out: L W d + (L tan b + W tan a) d^2 + 4/3 tan a tan b d^3.
///
/// ```
/// use heeltap::casting::sums::vessel::tray_volume_mm3;
/// assert_eq!(tray_volume_mm3(50.0, 50.0, 10.0, 0.0, 0.0), 25_000.0);
/// assert!((tray_volume_mm3(60.0, 40.0, 5.0, 5.0, 5.0) - 12_219.997_369_855_737).abs() < 1e-6);
/// ```
#[must_use]
pub fn tray_volume_mm3(
    length_mm: f64,
    width_mm: f64,
    depth_mm: f64,
    draft_length_deg: f64,
    draft_width_deg: f64,
) -> f64 {
    let a = draft_length_deg.to_radians().tan();
    let b = draft_width_deg.to_radians().tan();
    depth_mm
        * (length_mm * width_mm
            + depth_mm * ((length_mm * b + width_mm * a) + depth_mm * (4.0 / 3.0) * a * b))
}

/// Volume of a drafted round dish, in cubic millimetres: pi d/3 (r1^2 + r1 r2 + r2^2).
///
/// Source: conical frustum, CRC Standard Mathematical Tables (from memory).
///
/// ```
/// use heeltap::casting::sums::vessel::dish_volume_mm3;
/// assert!((dish_volume_mm3(45.0, 45.0, 5.0) - 31_808.625_617_596_656).abs() < 1e-6);
/// ```
#[must_use]
pub fn dish_volume_mm3(bottom_radius_mm: f64, radius_at_fill_mm: f64, depth_mm: f64) -> f64 {
    let (r1, r2) = (bottom_radius_mm, radius_at_fill_mm);
    std::f64::consts::PI * depth_mm / 3.0 * (r1 * r1 + r1 * r2 + r2 * r2)
}

/// What a vessel and the block in it leave for the liquid at one level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NetVolume {
    /// Liquid beside and above the block.
    pub net_mm3: f64,
    /// What the submerged part of the block displaces.
    pub displaced_mm3: f64,
    /// Whether the level reaches the top of the block.
    pub covered: bool,
}

impl Vessel {
    /// Checks that the dimensions describe a vessel.
    ///
    /// # Errors
    /// [`OutOfRange`] naming the first impossible dimension: lengths must be above 0, the corner radius at
    /// most half the shorter side, the draft from 0 to [`DRAFT_DEG_MAX`].
    ///
    /// ```
    /// use heeltap::casting::sums::vessel::{Vessel, VesselShape};
    /// let dish = Vessel { shape: VesselShape::Round { diameter_mm: 90.0 }, depth_mm: 0.0, draft_deg: 0.0 };
    /// assert_eq!(dish.check().unwrap_err().parameter, "depth_mm");
    /// ```
    pub fn check(&self) -> Result<(), OutOfRange> {
        match self.shape {
            VesselShape::Rectangular {
                length_mm,
                width_mm,
                corner_radius_mm,
            } => {
                positive("length_mm", length_mm)?;
                positive("width_mm", width_mm)?;
                between(
                    "corner_radius_mm",
                    corner_radius_mm,
                    0.0,
                    length_mm.min(width_mm) / 2.0,
                )?;
            }
            VesselShape::Round { diameter_mm } => {
                positive("diameter_mm", diameter_mm)?;
            }
        }
        positive("depth_mm", self.depth_mm)?;
        between("draft_deg", self.draft_deg, 0.0, DRAFT_DEG_MAX)?;
        Ok(())
    }

    /// The floor in words, for a message.
    fn floor(&self) -> String {
        match self.shape {
            VesselShape::Rectangular {
                length_mm,
                width_mm,
                corner_radius_mm,
            } if corner_radius_mm > 0.0 => {
                format!("{length_mm} x {width_mm} mm, corner radius {corner_radius_mm} mm")
            }
            VesselShape::Rectangular {
                length_mm,
                width_mm,
                ..
            } => format!("{length_mm} x {width_mm} mm"),
            VesselShape::Round { diameter_mm } => format!("diameter {diameter_mm} mm"),
        }
    }

    /// Area of the horizontal section at `level_mm`, in square millimetres; the free surface of a fill.
    ///
    /// ```
    /// use heeltap::casting::sums::vessel::{Vessel, VesselShape};
    /// let shape = VesselShape::Rectangular { length_mm: 60.0, width_mm: 40.0, corner_radius_mm: 0.0 };
    /// let tray = Vessel { shape, depth_mm: 20.0, draft_deg: 0.0 };
    /// assert_eq!(tray.area_at_level_mm2(7.0), 2400.0);
    /// ```
    #[must_use]
    pub fn area_at_level_mm2(&self, level_mm: f64) -> f64 {
        let lean = 2.0 * level_mm * self.draft_deg.to_radians().tan();
        match self.shape {
            VesselShape::Rectangular {
                length_mm,
                width_mm,
                corner_radius_mm,
            } => (length_mm + lean) * (width_mm + lean) - corner_loss_mm2(corner_radius_mm),
            VesselShape::Round { diameter_mm } => {
                std::f64::consts::PI / 4.0 * (diameter_mm + lean).powi(2)
            }
        }
    }

    /// Length of the wall's outline at `level_mm`, in millimetres.
    ///
    /// ```
    /// use heeltap::casting::sums::vessel::{Vessel, VesselShape};
    /// let shape = VesselShape::Rectangular { length_mm: 60.0, width_mm: 40.0, corner_radius_mm: 0.0 };
    /// assert_eq!(Vessel { shape, depth_mm: 20.0, draft_deg: 0.0 }.perimeter_at_level_mm(3.0), 200.0);
    /// ```
    #[must_use]
    pub fn perimeter_at_level_mm(&self, level_mm: f64) -> f64 {
        let lean = 2.0 * level_mm * self.draft_deg.to_radians().tan();
        let pi = std::f64::consts::PI;
        match self.shape {
            VesselShape::Rectangular {
                length_mm,
                width_mm,
                corner_radius_mm,
            } => 2.0 * (length_mm + width_mm + 2.0 * lean) - (8.0 - 2.0 * pi) * corner_radius_mm,
            VesselShape::Round { diameter_mm } => pi * (diameter_mm + lean),
        }
    }

    /// Volume from the floor to `level_mm`, in cubic millimetres, without regard to the rim.
    fn volume_mm3(&self, level_mm: f64) -> f64 {
        match self.shape {
            VesselShape::Rectangular {
                length_mm,
                width_mm,
                corner_radius_mm,
            } => {
                tray_volume_mm3(
                    length_mm,
                    width_mm,
                    level_mm,
                    self.draft_deg,
                    self.draft_deg,
                ) - corner_loss_mm2(corner_radius_mm) * level_mm
            }
            VesselShape::Round { diameter_mm } => {
                let radius_mm = diameter_mm / 2.0;
                let lean = level_mm * self.draft_deg.to_radians().tan();
                dish_volume_mm3(radius_mm, radius_mm + lean, level_mm)
            }
        }
    }

    /// Volume from the floor to `level_mm`, in cubic millimetres.
    ///
    /// # Errors
    /// [`VesselError::OutOfRange`] for impossible dimensions or a negative level,
    /// [`VesselError::AboveRim`] for a level above the rim.
    ///
    /// ```
    /// use heeltap::casting::sums::vessel::{Vessel, VesselError, VesselShape};
    /// let shape = VesselShape::Rectangular { length_mm: 60.0, width_mm: 40.0, corner_radius_mm: 0.0 };
    /// let tray = Vessel { shape, depth_mm: 20.0, draft_deg: 0.0 };
    /// assert_eq!(tray.volume_to_level_mm3(10.0), Ok(24_000.0));
    /// assert!(matches!(tray.volume_to_level_mm3(21.0), Err(VesselError::AboveRim { .. })));
    /// ```
    pub fn volume_to_level_mm3(&self, level_mm: f64) -> Result<f64, VesselError> {
        self.check()?;
        non_negative("level_mm", level_mm)?;
        if level_mm > self.depth_mm * (1.0 + ROUNDING_SLACK) {
            return Err(VesselError::AboveRim {
                level_mm,
                depth_mm: self.depth_mm,
            });
        }
        Ok(self.volume_mm3(level_mm))
    }

    /// What the vessel holds to the rim, in millilitres.
    ///
    /// # Errors
    /// [`OutOfRange`] for impossible dimensions.
    ///
    /// ```
    /// use heeltap::casting::sums::vessel::{Vessel, VesselShape};
    /// let shape = VesselShape::Rectangular { length_mm: 60.0, width_mm: 40.0, corner_radius_mm: 0.0 };
    /// assert_eq!(Vessel { shape, depth_mm: 20.0, draft_deg: 0.0 }.capacity_ml(), Ok(48.0));
    /// ```
    pub fn capacity_ml(&self) -> Result<f64, OutOfRange> {
        self.check()?;
        Ok(self.volume_mm3(self.depth_mm) / MM3_PER_ML)
    }

    /// What a fill to `level_mm` leaves for the liquid beside and above a `block` on the floor.
    ///
    /// Only the submerged part of the block displaces: footprint x min(block height, level).
    ///
    /// # Errors
    /// As [`Vessel::volume_to_level_mm3`], and as [`Vessel::check_fits`] for the block.
    ///
    /// ```
    /// use heeltap::casting::sums::vessel::{Block, Vessel, VesselShape};
    /// let shape = VesselShape::Rectangular { length_mm: 80.0, width_mm: 60.0, corner_radius_mm: 0.0 };
    /// let tray = Vessel { shape, depth_mm: 20.0, draft_deg: 4.0 };
    /// let block = Block { length_mm: 50.0, width_mm: 30.0, height_mm: 8.0 };
    /// let net = tray.net_volume(12.0, &block).unwrap();
    /// assert!((net.net_mm3 - 47_020.990_533_583_026).abs() < 1e-6);
    /// assert!(net.covered);
    /// ```
    pub fn net_volume(&self, level_mm: f64, block: &Block) -> Result<NetVolume, VesselError> {
        let gross_mm3 = self.volume_to_level_mm3(level_mm)?;
        self.check_fits(block)?;
        let displaced_mm3 = block.length_mm * block.width_mm * block.height_mm.min(level_mm);
        Ok(NetVolume {
            net_mm3: gross_mm3 - displaced_mm3,
            displaced_mm3,
            covered: level_mm >= block.height_mm,
        })
    }

    /// Checks that a block lies flat on the floor in one of its two orientations.
    ///
    /// On a rectangular floor the block lies parallel to the sides and its corners must stay inside the
    /// rounded ones; on a round floor its diagonal must not exceed the diameter. A block with an empty
    /// footprint always fits.
    ///
    /// # Errors
    /// [`VesselError::OutOfRange`] for negative sides, [`VesselError::DoesNotFit`] otherwise.
    ///
    /// ```
    /// use heeltap::casting::sums::vessel::{Block, Vessel, VesselShape};
    /// let dish = Vessel { shape: VesselShape::Round { diameter_mm: 50.0 }, depth_mm: 15.0, draft_deg: 0.0 };
    /// assert!(dish.check_fits(&Block { length_mm: 30.0, width_mm: 40.0, height_mm: 1.0 }).is_ok());
    /// assert!(dish.check_fits(&Block { length_mm: 31.0, width_mm: 40.0, height_mm: 1.0 }).is_err());
    /// ```
    pub fn check_fits(&self, block: &Block) -> Result<(), VesselError> {
        let (l, w) = (block.length_mm, block.width_mm);
        non_negative("block length_mm", l)?;
        non_negative("block width_mm", w)?;
        non_negative("block height_mm", block.height_mm)?;
        let fits = match self.shape {
            VesselShape::Rectangular {
                length_mm,
                width_mm,
                corner_radius_mm,
            } => {
                let floor = (length_mm, width_mm, corner_radius_mm);
                lies_inside(l, w, floor) || lies_inside(w, l, floor)
            }
            VesselShape::Round { diameter_mm } => {
                l.hypot(w) <= diameter_mm * (1.0 + ROUNDING_SLACK)
            }
        };
        if fits {
            return Ok(());
        }
        Err(VesselError::DoesNotFit {
            length_mm: l,
            width_mm: w,
            floor: self.floor(),
        })
    }

    /// The level at which the vessel holds `volume_mm3`, in millimetres.
    ///
    /// # Errors
    /// [`VesselError::AboveCapacity`] for more than it holds; [`VesselError::OutOfRange`] for impossible input.
    ///
    /// ```
    /// use heeltap::casting::sums::vessel::{Vessel, VesselShape};
    /// let shape = VesselShape::Rectangular { length_mm: 80.0, width_mm: 60.0, corner_radius_mm: 0.0 };
    /// let tray = Vessel { shape, depth_mm: 20.0, draft_deg: 4.0 };
    /// assert!((tray.level_for_volume_mm(30_000.0).unwrap() - 6.171_987_876_075_591).abs() < 1e-9);
    /// ```
    pub fn level_for_volume_mm(&self, volume_mm3: f64) -> Result<f64, VesselError> {
        let nothing = Block {
            length_mm: 0.0,
            width_mm: 0.0,
            height_mm: 0.0,
        };
        self.level_for_net_volume_mm(volume_mm3, &nothing)
    }

    /// The level at which the liquid beside and above `block` is `volume_mm3`, in millimetres.
    ///
    /// # Errors
    /// As [`Vessel::level_for_volume_mm`], and as [`Vessel::check_fits`] for the block.
    ///
    /// ```
    /// use heeltap::casting::sums::vessel::{Block, Vessel, VesselShape};
    /// let shape = VesselShape::Rectangular { length_mm: 100.0, width_mm: 70.0, corner_radius_mm: 0.0 };
    /// let tray = Vessel { shape, depth_mm: 20.0, draft_deg: 2.0 };
    /// let block = Block { length_mm: 75.0, width_mm: 25.0, height_mm: 1.0 };
    /// let level_mm = tray.level_for_net_volume_mm(60_000.0, &block).unwrap();
    /// assert!((level_mm - 8.773_843_670_888_48).abs() < 1e-9);
    /// ```
    pub fn level_for_net_volume_mm(
        &self,
        volume_mm3: f64,
        block: &Block,
    ) -> Result<f64, VesselError> {
        self.check()?;
        self.check_fits(block)?;
        non_negative("volume_mm3", volume_mm3)?;
        let footprint_mm2 = block.length_mm * block.width_mm;
        let net_mm3 = |level_mm: f64| {
            self.volume_mm3(level_mm) - footprint_mm2 * level_mm.min(block.height_mm)
        };
        let capacity_mm3 = net_mm3(self.depth_mm);
        if volume_mm3 > capacity_mm3 * (1.0 + ROUNDING_SLACK) {
            return Err(VesselError::AboveCapacity {
                volume_ml: volume_mm3 / MM3_PER_ML,
                capacity_ml: capacity_mm3 / MM3_PER_ML,
            });
        }
        let top_mm = block.height_mm.min(self.depth_mm);
        let level_mm = if volume_mm3 >= net_mm3(top_mm) {
            let gross_mm3 = volume_mm3 + footprint_mm2 * top_mm;
            self.newton_level_mm(gross_mm3, 0.0, self.depth_mm)
        } else {
            self.newton_level_mm(volume_mm3, footprint_mm2, top_mm)
        };
        Ok(level_mm)
    }

    /// Solves volume(z) - footprint x z = wanted by Newton steps downward from `from_mm`.
    ///
    /// The volume is convex in the level (the section only grows), so that the steps from above never
    /// overshoot; a fixed number of steps is far more than the quadratic convergence needs.
    fn newton_level_mm(&self, wanted_mm3: f64, footprint_mm2: f64, from_mm: f64) -> f64 {
        let mut level_mm = from_mm;
        for _ in 0..60 {
            let excess_mm3 = self.volume_mm3(level_mm) - footprint_mm2 * level_mm - wanted_mm3;
            let slope_mm2 = self.area_at_level_mm2(level_mm) - footprint_mm2;
            if excess_mm3 <= 0.0 || slope_mm2 <= 0.0 {
                break;
            }
            level_mm -= excess_mm3 / slope_mm2;
        }
        level_mm.max(0.0)
    }
}

/// What four rounded corners take from a rectangle: (4 - pi) r^2.
fn corner_loss_mm2(corner_radius_mm: f64) -> f64 {
    (4.0 - std::f64::consts::PI) * corner_radius_mm * corner_radius_mm
}

/// Whether an `l` x `w` rectangle, centred and parallel, lies inside a floor with rounded corners. The floor
/// is convex and symmetric, so that where it fits at all it fits centred.
fn lies_inside(l: f64, w: f64, (length_mm, width_mm, radius_mm): (f64, f64, f64)) -> bool {
    let grown = 1.0 + ROUNDING_SLACK;
    if l > length_mm * grown || w > width_mm * grown {
        return false;
    }
    let past_length_mm = (l - length_mm) / 2.0 + radius_mm;
    let past_width_mm = (w - width_mm) / 2.0 + radius_mm;
    past_length_mm <= 0.0
        || past_width_mm <= 0.0
        || past_length_mm.hypot(past_width_mm) <= radius_mm * grown + ROUNDING_SLACK
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn tray(length_mm: f64, width_mm: f64, corner_radius_mm: f64, draft_deg: f64) -> Vessel {
        Vessel {
            shape: VesselShape::Rectangular {
                length_mm,
                width_mm,
                corner_radius_mm,
            },
            depth_mm: 20.0,
            draft_deg,
        }
    }

    #[track_caller]
    fn check(input: (Vessel, f64, f64), expected: bool) {
        let (vessel, length_mm, width_mm) = input;
        let block = Block {
            length_mm,
            width_mm,
            height_mm: 1.0,
        };
        assert_eq!(vessel.check_fits(&block).is_ok(), expected);
    }

    #[test]
    fn fits_in_either_orientation_and_inside_rounded_corners() {
        check((tray(80.0, 40.0, 0.0, 0.0), 40.0, 80.0), true);
        check((tray(80.0, 40.0, 0.0, 0.0), 41.0, 80.0), false);
        check((tray(80.0, 40.0, 10.0, 0.0), 80.0, 40.0), false);
        check((tray(80.0, 40.0, 10.0, 0.0), 80.0, 20.0), true);
        check((tray(80.0, 40.0, 10.0, 0.0), 74.0, 34.0), true);
    }

    #[test]
    fn rounded_corners_take_the_same_area_at_every_level() {
        let sharp = tray(60.0, 40.0, 0.0, 5.0);
        let rounded = tray(60.0, 40.0, 6.0, 5.0);
        let lost = sharp.volume_mm3(10.0) - rounded.volume_mm3(10.0);
        assert!((lost - (4.0 - std::f64::consts::PI) * 36.0 * 10.0).abs() < 1e-8);
    }

    #[test]
    fn impossible_dimensions_are_named() {
        let error = tray(60.0, 40.0, 21.0, 0.0).check().unwrap_err();
        assert_eq!(
            error.to_string(),
            "corner_radius_mm is 21, but must be from 0 to 20"
        );
        let error = tray(60.0, 40.0, 0.0, 0.0).level_for_volume_mm(48_001.0);
        assert!(matches!(error, Err(VesselError::AboveCapacity { .. })));
    }

    proptest! {
        #[test]
        fn level_and_volume_are_inverse(
            length in 20.0..200.0f64, width in 20.0..200.0f64, corner in 0.0..10.0f64,
            draft in 0.0..20.0f64, level in 0.0..20.0f64, part in 0.0..0.7f64, height in 0.0..25.0f64,
        ) {
            let vessel = tray(length, width, corner, draft);
            let block = Block { length_mm: length * part, width_mm: width * part, height_mm: height };
            let net = vessel.net_volume(level, &block).unwrap();
            let back = vessel.level_for_net_volume_mm(net.net_mm3, &block).unwrap();
            prop_assert!((back - level).abs() < 1e-8, "{back} for {level}");
        }

        #[test]
        fn section_is_the_derivative_of_the_volume(diameter in 20.0..200.0f64, draft in 0.0..20.0f64, level in 1.0..19.0f64) {
            let dish = Vessel { shape: VesselShape::Round { diameter_mm: diameter }, depth_mm: 20.0, draft_deg: draft };
            let slope = (dish.volume_mm3(level + 1e-4) - dish.volume_mm3(level - 1e-4)) / 2e-4;
            prop_assert!((slope / dish.area_at_level_mm2(level) - 1.0).abs() < 1e-6);
        }
    }
}
