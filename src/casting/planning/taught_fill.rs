//! What an observed level teaches about how much a tray takes. Pure.
//!
//! Only a pour whose residues were all weighed and whose level was seen (in the tray, or as the thickness of the chip)
//! teaches: poured mass alone would teach its own allowance. What is kept is what was seen, not the factor, so that a
//! corrected dimension of tray or mould changes what old pours say. Deliberately absent: the learning ([`fill_factor`]
//! weighs the factors) and the books.
//!
//! [`fill_factor`]: crate::casting::sums::fill::fill_factor

use super::geometry::tray_of;
use crate::base::{Error, FieldError, Micro, Quantity};
use crate::casting::sums::fill::needed_from_pour_g;
use crate::catalogue::RecipeFacts;

/// What was seen of one cast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ObservedLevel {
    /// What one tray was poured with.
    pub poured_ml: f64,
    /// Surface above the tray's floor.
    pub level_mm: f64,
    /// The chip thickness aimed at.
    pub chip_thickness_mm: f64,
}

/// What a level teaches, or why it teaches nothing.
#[derive(Debug, Clone, PartialEq)]
pub enum Taught {
    /// A level that counts.
    Level(ObservedLevel),
    /// Why it does not.
    Nothing(&'static str),
}

/// What the pour of a cast left in its trays.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PouredMass {
    /// Left the cups, without residue and stirrer's loss.
    pub poured_g: f64,
    /// Trays it filled.
    pub containers: u32,
    /// Whether every residue was weighed.
    pub weighed: bool,
}

/// What a level seen after a pour teaches.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// use heeltap::casting::planning::taught_fill::{PouredMass, Taught, teach};
/// let poured = PouredMass { poured_g: 50.0, containers: 2, weighed: true };
/// assert!(matches!(teach(&facts, poured, 5.1), Taught::Level(_)));
/// assert!(matches!(teach(&facts, PouredMass { weighed: false, ..poured }, 5.1), Taught::Nothing(_)));
/// ```
#[must_use]
pub fn teach(facts: &RecipeFacts, poured: PouredMass, level_mm: f64) -> Taught {
    if !poured.weighed {
        return Taught::Nothing(
            "the level teaches nothing, since not every cup was weighed: what was poured is not known",
        );
    }
    if poured.poured_g <= 0.0 || poured.containers == 0 {
        return Taught::Nothing("the level teaches nothing, since nothing was poured");
    }
    let density = facts.elastomer.body.density_g_per_ml.to_f64();
    let observed = ObservedLevel {
        poured_ml: poured.poured_g / density / f64::from(poured.containers),
        level_mm,
        chip_thickness_mm: facts.recipe.body.chip_thickness_mm.to_f64(),
    };
    match taught_factor(facts, &observed) {
        Ok(_) => Taught::Level(observed),
        Err(_) => Taught::Nothing(
            "the level teaches nothing, since it does not go with what was poured: check both",
        ),
    }
}

/// The fill factor that an observed level stands for, by the present dimensions of tray, mould and tape.
///
/// needed = poured - free surface x (level - target), over the volume that the dimensions give for the same thickness.
///
/// # Errors
/// [`Error::Invalid`] when the dimensions cannot give such a level, or the level says that nothing was needed.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// use heeltap::casting::planning::geometry::tray_of;
/// use heeltap::casting::planning::taught_fill::{ObservedLevel, taught_factor};
/// let volume_ml = tray_of(&facts).unwrap().fill(4.0).unwrap().volume_ml;
/// let level = ObservedLevel { poured_ml: 1.03 * volume_ml, level_mm: 5.1, chip_thickness_mm: 4.0 };
/// assert!((taught_factor(&facts, &level)? - 1.03).abs() < 1e-12);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn taught_factor(facts: &RecipeFacts, observed: &ObservedLevel) -> Result<f64, Error> {
    let wrong = |detail: String| Error::invalid("/level_mm", detail);
    let tray =
        tray_of(facts).ok_or_else(|| wrong("the tray has no inner dimensions".to_owned()))?;
    let fill = tray
        .fill(observed.chip_thickness_mm)
        .map_err(|e| wrong(e.to_string()))?;
    // At a density of 1 the formula in grams is one in millilitres.
    let needed_ml = needed_from_pour_g(
        observed.poured_ml,
        1.0,
        fill.free_area_mm2,
        observed.level_mm,
        fill.level_mm,
    )
    .map_err(|e| wrong(e.to_string()))?;
    Ok(needed_ml / fill.volume_ml)
}

/// The level in a tray whose chip came out `chip_thickness_mm` thick.
///
/// # Errors
/// [`Error::Internal`] when the level leaves the range of lengths.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// use heeltap::base::Micro;
/// use heeltap::casting::planning::taught_fill::level_of_chip;
/// // Mould 1 mm, tape 0.1 mm.
/// assert_eq!(level_of_chip(&facts, Micro::from_int(4))?.to_string(), "5.1");
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn level_of_chip(facts: &RecipeFacts, chip_thickness_mm: Micro) -> Result<Micro, Error> {
    let tape = facts.tape.as_ref().and_then(|tape| tape.body.tape.as_ref());
    let tape_mm = tape.map_or(Micro::ZERO, |tape| tape.thickness_mm);
    Ok(facts
        .mold
        .body
        .thickness_mm
        .checked_add(tape_mm)?
        .checked_add(chip_thickness_mm)?)
}

/// Refuses a level that cannot be seen in the recipe's tray: below the top of the mould, or above the rim.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// use heeltap::base::Micro;
/// use heeltap::casting::planning::taught_fill::check_level;
/// assert!(check_level(&facts, "/level_mm", Micro::from_int(5)).is_none());
/// assert!(check_level(&facts, "/level_mm", Micro::from_int(16)).is_some());
/// ```
#[must_use]
pub fn check_level(facts: &RecipeFacts, pointer: &str, level_mm: Micro) -> Option<FieldError> {
    let tray = tray_of(facts)?;
    let (top_mm, depth_mm) = (tray.top_mm(), tray.vessel.depth_mm);
    let level = level_mm.to_f64();
    (level <= top_mm || level > depth_mm).then(|| {
        FieldError::new(
            pointer.to_owned(),
            format!(
                "{level_mm} mm is out of range: above mould and tape, {top_mm} mm, and up to the rim, {depth_mm} mm"
            ),
        )
    })
}

/// A quantity of millilitres as it is kept, rounded half to even.
///
/// # Errors
/// [`Error::Invalid`] when it leaves the range of quantities.
///
/// ```
/// assert_eq!(heeltap::casting::planning::taught_fill::kept_ml(1.23456789)?.to_string(), "1.234568");
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn kept_ml(value_ml: f64) -> Result<Quantity, Error> {
    super::sizing::rounded(value_ml).map(Quantity::new)
}
