//! From the catalogue's figures to the shapes that the sums of this room are made of.

use crate::casting::sums::fill::{Fill, FillError, MoldBlock, fill};
use crate::casting::sums::residue::CupDraining;
use crate::casting::sums::vessel::{Vessel, VesselShape};
use crate::catalogue::{MoldBody, RecipeFacts, VesselBody, VesselShape as CatalogueShape};
use crate::stock::needs::Purpose;

/// The inside of a tray or cup.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// let cup = heeltap::casting::planning::geometry::vessel(facts.cup.body.container.as_ref().unwrap());
/// assert!((cup.capacity_ml().unwrap() - 346.360_590).abs() < 1e-6); // pi x 35^2 x 90 mm3
/// ```
#[must_use]
pub fn vessel(body: &VesselBody) -> Vessel {
    let mm = |value: Option<crate::base::Micro>| value.map_or(0.0, crate::base::Micro::to_f64);
    let shape = match body.shape {
        CatalogueShape::Rectangular => VesselShape::Rectangular {
            length_mm: mm(body.length_mm),
            width_mm: mm(body.width_mm),
            corner_radius_mm: body.corner_radius_mm().to_f64(),
        },
        CatalogueShape::Round => VesselShape::Round {
            diameter_mm: mm(body.diameter_mm),
        },
    };
    Vessel {
        shape,
        depth_mm: body.depth_mm.to_f64(),
        draft_deg: body.draft_deg().to_f64(),
    }
}

/// The mould as a block with what is engraved in it.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// assert_eq!(heeltap::casting::planning::geometry::block(&facts.mold.body).thickness_mm, 1.0);
/// ```
#[must_use]
pub fn block(mold: &MoldBody) -> MoldBlock {
    MoldBlock {
        length_mm: mold.length_mm.to_f64(),
        width_mm: mold.width_mm.to_f64(),
        thickness_mm: mold.thickness_mm.to_f64(),
        engraved_volume_mm3: mold.engraved_volume_mm3().to_f64(),
    }
}

/// The cup of a recipe as it drains; none when the catalogue has no figures of it.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// assert_eq!(heeltap::casting::planning::geometry::draining(&facts).unwrap().drain_time_s, 60.0);
/// ```
#[must_use]
pub fn draining(facts: &RecipeFacts) -> Option<CupDraining> {
    let cup = facts.cup.body.container.as_ref()?;
    Some(CupDraining {
        cup: vessel(cup),
        density_g_per_ml: facts.elastomer.body.density_g_per_ml.to_f64(),
        viscosity_pa_s: facts.elastomer.body.viscosity_pa_s.to_f64(),
        drain_time_s: facts.recipe.body.drain_time_s.to_f64(),
        stirrer_loss_g: facts.recipe.body.stirrer_loss_g().to_f64(),
    })
}

/// The vessel behind a purpose of a recipe's cast, when it comes back after its use.
#[must_use]
pub(in crate::casting) fn durable(facts: &RecipeFacts, purpose: Purpose) -> Option<&VesselBody> {
    let material = match purpose {
        Purpose::Container => &facts.container,
        Purpose::Cup => &facts.cup,
        _ => return None,
    };
    let vessel = material.body.container.as_ref();
    vessel.filter(|vessel| vessel.is_durable())
}

/// A tray with the mould and its tape in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tray {
    /// The tray's inside.
    pub vessel: Vessel,
    /// The mould.
    pub mold: MoldBlock,
    /// Thickness of the tape under the mould, in mm; 0 without tape.
    pub tape_mm: f64,
}

/// The tray of a recipe; none when the catalogue has no inner dimensions of it.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// assert_eq!(heeltap::casting::planning::geometry::tray_of(&facts).unwrap().tape_mm, 0.1);
/// ```
#[must_use]
pub fn tray_of(facts: &RecipeFacts) -> Option<Tray> {
    let tape = facts.tape.as_ref().and_then(|tape| tape.body.tape.as_ref());
    Some(Tray {
        vessel: vessel(facts.container.body.container.as_ref()?),
        mold: block(&facts.mold.body),
        tape_mm: tape.map_or(0.0, |tape| tape.thickness_mm.to_f64()),
    })
}

impl Tray {
    /// Height of mould and tape above the floor, in mm.
    ///
    /// ```
    /// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
    /// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
    /// assert_eq!(heeltap::casting::planning::geometry::tray_of(&facts).unwrap().top_mm(), 1.1);
    /// ```
    #[must_use]
    pub fn top_mm(&self) -> f64 {
        self.mold.thickness_mm + self.tape_mm
    }

    /// What the tray takes for a chip of `chip_thickness_mm`.
    ///
    /// # Errors
    /// As [`fill`].
    ///
    /// ```
    /// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
    /// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
    /// let tray = heeltap::casting::planning::geometry::tray_of(&facts).unwrap();
    /// assert_eq!(tray.fill(4.0).unwrap().level_mm, 5.1);
    /// ```
    pub fn fill(&self, chip_thickness_mm: f64) -> Result<Fill, FillError> {
        fill(&self.vessel, &self.mold, self.tape_mm, chip_thickness_mm)
    }
}
