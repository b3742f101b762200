//! Sizing: from a recipe and a number of trays to what has to be weighed, cut and coated. Pure; writes nothing.
//!
//! Masses are computed in double precision and rounded once: what is weighed to the balance's readability, what is only
//! shown to the millionth. Deliberately absent: which packs serve the needs (stock), and what they cost.

use serde::{Deserialize, Serialize};

use super::coating::coat_need;
use super::cure::effective_cure;
use super::geometry::{draining, tray_of};
use super::mixing::{cup_limit, mass_ratio, weighing};
use super::needed::needs;
use crate::base::{Error, Micro};
use crate::casting::sums::batches::{BatchLimits, Division, divide_batches};
use crate::casting::sums::coats::Coat;
use crate::casting::sums::fill::{
    Fill, FillBasis, FillFactor, Gauge, GaugeOf, WATER_DENSITY_G_PER_ML, fill_factor, read_gauge,
};
use crate::casting::sums::heat::{HeatVerdict, check_limit};
use crate::casting::sums::learned::{FactorPosterior, Noise};
use crate::casting::sums::mix::{RoundedMix, ratio_uncertainty, round_to_readability};
use crate::casting::sums::release::{ReleaseNeed, rounds_per_copy};
use crate::casting::sums::residue::{PlannedResidue, plan_residue};
use crate::casting::sums::tape::{TapeCut, cut_tape, tapings};
use crate::catalogue::{GaugeOf as CatalogueGaugeOf, RecipeFacts};
use crate::stock::needs::Need;

/// What the lab has learned that bears on a recipe.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Experience {
    /// The factor on the residue film of this cup with this elastomer.
    pub residue: FactorPosterior,
    /// Fill factors that observed levels taught.
    pub fill_factors: Vec<f64>,
    /// The coat of each copy of the mould when the cast's turn comes; none where a copy is bare.
    #[serde(skip)]
    pub coats: Vec<Coat>,
}

/// One cup of mix, as it is to be weighed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SizedBatch {
    /// The round, from 1.
    pub round: u32,
    /// The group, from 1.
    pub group: u32,
    /// Trays it fills.
    pub containers: u32,
    /// What must leave the cup.
    pub needed_g: f64,
    /// What the film leaves in it, before the learned factor.
    pub film_g: f64,
    /// What is planned to stay in it, without the stirrer's loss.
    pub residue_g: f64,
    /// What to weigh.
    pub mix: RoundedMix,
}

/// What a cast of so many trays takes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sizing {
    /// Trays.
    pub containers: u32,
    /// Rounds on the copies of the mould.
    pub rounds: u32,
    /// The geometry of one tray.
    pub fill: Fill,
    /// The factor on it.
    pub fill_factor: FillFactor,
    /// Elastomer one tray needs.
    pub fill_g: f64,
    /// Of that, what becomes the chips of one tray.
    pub chip_g: f64,
    /// The batches.
    pub batches: Vec<SizedBatch>,
    /// The residue of the whole cast.
    pub residue: PlannedResidue,
    /// The quantile it is planned at.
    pub residue_quantile: f64,
    /// The greatest relative expanded uncertainty (k = 2) of a batch's ratio.
    pub ratio_uncertainty: f64,
    /// The tape for one mould, and how many moulds are taped.
    pub tape: Option<(TapeCut, u32)>,
    /// The coats.
    pub release: Option<ReleaseNeed>,
    /// What the stock has to give.
    pub needs: Vec<Need>,
    /// What to look out for, in words.
    pub cautions: Vec<String>,
}

/// How a cast is to be sized.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SizeWish<'a> {
    /// Trays, at least 1.
    pub containers: u32,
    /// Groups, each with cups of its own, at least 1.
    pub groups: u32,
    /// Most trays that one cup fills, if that was said.
    pub containers_per_batch: Option<u32>,
    /// The quantile of the residue that is planned for.
    pub quantile: f64,
    /// Why a cure above what tray or mould bears is wanted all the same.
    pub heat_override: Option<&'a str>,
}

/// Sizes a cast.
///
/// # Errors
/// [`Error::Invalid`] when the recipe cannot be cast so: the mould does not fit the tray, the level is above the rim, a
/// single tray is too much for the cup or the pot life, the cure is above what tray or mould bears.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// use heeltap::casting::planning::sizing::{Experience, SizeWish, size};
/// use heeltap::casting::sums::learned::FactorPosterior;
/// let nothing = Experience { residue: FactorPosterior::prior(), fill_factors: vec![], coats: vec![] };
/// let wish = SizeWish { containers: 2, groups: 1, containers_per_batch: None, quantile: 0.9, heat_override: None };
/// let sizing = size(&facts, &nothing, &wish)?;
/// let mixed_g = sizing.batches[0].needed_g + sizing.batches[0].residue_g;
/// assert!((sizing.batches[0].mix.total_g - mixed_g).abs() < 0.2); // Rounded up to the balance.
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn size(
    facts: &RecipeFacts,
    experience: &Experience,
    wish: &SizeWish<'_>,
) -> Result<Sizing, Error> {
    let containers = wish.containers;
    let mut cautions = heat(facts, wish.heat_override)?;
    let (geometry, factor) = tray(facts, experience)?;
    if factor.doubtful {
        cautions.push(format!("the fill factor {:.3} is more than 10 % from 1: check the dimensions of tray and mould", factor.factor));
    }
    let density = facts.elastomer.body.density_g_per_ml.to_f64();
    let fill_g = geometry.volume_ml * density * factor.factor;
    let chip_g = (geometry.chip_volume_ml * density * factor.factor).min(fill_g);
    let (division, residue) = cups(facts, experience, fill_g, wish)?;
    let batches = weighings(facts, &division, &residue)?;
    let ratio_uncertainty = uncertainty(facts, &batches, &mut cautions)?;
    let tape = tape(facts, containers)?;
    let release = coat_need(facts, &experience.coats, containers)?;
    let mut sizing = Sizing {
        containers,
        rounds: division.rounds,
        fill: geometry,
        fill_factor: factor,
        fill_g,
        chip_g,
        batches,
        residue,
        residue_quantile: wish.quantile,
        ratio_uncertainty,
        tape,
        release,
        needs: Vec::new(),
        cautions,
    };
    sizing.needs = needs(facts, &sizing)?;
    Ok(sizing)
}

fn wrong(pointer: &str) -> impl Fn(String) -> Error {
    move |detail| Error::invalid(pointer.to_owned(), detail)
}

/// The geometry of one tray, with the factor that a gauge or observed levels put on it.
fn tray(facts: &RecipeFacts, experience: &Experience) -> Result<(Fill, FillFactor), Error> {
    let recipe = &facts.recipe.body;
    let in_recipe = |detail: String| {
        wrong("/recipe")(format!(
            "recipe `{}` cannot be cast: {detail}",
            recipe.code.as_str()
        ))
    };
    let tray = tray_of(facts).ok_or_else(|| {
        wrong("/recipe")(format!(
            "material `{}` has no inner dimensions",
            facts.container.code.as_str()
        ))
    })?;
    let geometry = tray
        .fill(recipe.chip_thickness_mm.to_f64())
        .map_err(|e| in_recipe(e.to_string()))?;
    let gauged = match &recipe.gauge {
        None => None,
        Some(body) => {
            let (of, density) = match body.of {
                CatalogueGaugeOf::Water => (GaugeOf::Water, WATER_DENSITY_G_PER_ML),
                CatalogueGaugeOf::Mix => {
                    (GaugeOf::Mix, facts.elastomer.body.density_g_per_ml.to_f64())
                }
                CatalogueGaugeOf::Base => {
                    let density = facts.base.body.density_g_per_ml;
                    (
                        GaugeOf::Base,
                        density
                            .ok_or_else(|| {
                                in_recipe("its gauge needs the density of the base".to_owned())
                            })?
                            .to_f64(),
                    )
                }
            };
            let gauge = Gauge {
                mass_g: body.mass_g.to_f64(),
                of,
                mold_in: body.mold_in,
                level_mm: body.level_mm.to_f64(),
            };
            Some(
                read_gauge(&gauge, density, &tray.vessel, &tray.mold, tray.tape_mm)
                    .map_err(|e| in_recipe(e.to_string()))?
                    .factor,
            )
        }
    };
    let factor =
        fill_factor(gauged, &experience.fill_factors).map_err(|e| in_recipe(e.to_string()))?;
    Ok((geometry, factor))
}

/// The batches, and the residue planned for them.
fn cups(
    facts: &RecipeFacts,
    experience: &Experience,
    fill_g: f64,
    wish: &SizeWish<'_>,
) -> Result<(Division, PlannedResidue), Error> {
    let cup = facts.cup.body.container.as_ref();
    let no_cup = || {
        wrong("/recipe")(format!(
            "material `{}` has no inner dimensions",
            facts.cup.code.as_str()
        ))
    };
    let (cup, draining) = (cup.ok_or_else(no_cup)?, draining(facts).ok_or_else(no_cup)?);
    let in_cup =
        |detail: String| wrong("/recipe")(format!("cup `{}`: {detail}", facts.cup.code.as_str()));
    let recipe = &facts.recipe.body;
    let quantile = wish.quantile;
    let limits = BatchLimits {
        containers: wish.containers,
        mass_per_container_g: fill_g,
        overfill: recipe.overfill().to_f64(),
        cup_capacity_ml: draining
            .cup
            .capacity_ml()
            .map_err(|e| in_cup(e.to_string()))?,
        fill_limit: cup_limit(facts, cup),
        density_g_per_ml: facts.elastomer.body.density_g_per_ml.to_f64(),
        pot_life_min: facts.elastomer.body.pot_life_min.to_f64(),
        prep_min: recipe.prep_min().to_f64(),
        pour_min_per_container: recipe.pour_min_per_container().to_f64(),
        copies: facts.mold.body.copies(),
        groups: wish.groups,
        containers_per_batch: wish.containers_per_batch,
    };
    let noise = Noise::default();
    // A batch is divided as if it stood alone: its share of the planned residue is then never more than assumed.
    let alone = |needed_g: f64| {
        let plan = plan_residue(
            &[needed_g],
            &draining,
            &experience.residue,
            quantile,
            &noise,
        )?;
        Ok(plan.prediction.planned_g + draining.stirrer_loss_g)
    };
    let division = divide_batches(&limits, alone).map_err(|e| in_cup(e.to_string()))?;
    let needed: Vec<f64> = division
        .batches
        .iter()
        .map(|batch| batch.needed_g)
        .collect();
    let residue = plan_residue(&needed, &draining, &experience.residue, quantile, &noise)
        .map_err(|e| in_cup(e.to_string()))?;
    Ok((division, residue))
}

fn weighings(
    facts: &RecipeFacts,
    division: &Division,
    residue: &PlannedResidue,
) -> Result<Vec<SizedBatch>, Error> {
    let ratio = mass_ratio(facts)?;
    let readability_g = facts.recipe.body.balance_readability_g().to_f64();
    let tolerance = facts.elastomer.body.ratio_tolerance.to_f64();
    division
        .batches
        .iter()
        .zip(&residue.cups)
        .map(|(batch, cup)| {
            let mix = round_to_readability(cup.mixed_g, ratio, readability_g, tolerance)
                .map_err(|e| wrong("/recipe")(e.to_string()))?;
            Ok(SizedBatch {
                round: batch.round,
                group: batch.group,
                containers: batch.containers,
                needed_g: batch.needed_g,
                film_g: cup.film_g,
                residue_g: cup.residue_g,
                mix,
            })
        })
        .collect()
}

/// The greatest relative expanded uncertainty of a ratio, with a caution when it exceeds the elastomer's tolerance.
fn uncertainty(
    facts: &RecipeFacts,
    batches: &[SizedBatch],
    cautions: &mut Vec<String>,
) -> Result<f64, Error> {
    let readability_g = facts.recipe.body.balance_readability_g().to_f64();
    let tolerance = facts.elastomer.body.ratio_tolerance.to_f64();
    let mut greatest = 0.0_f64;
    for (index, batch) in batches.iter().enumerate() {
        let found = ratio_uncertainty(
            batch.mix.base_g,
            batch.mix.curing_agent_g,
            readability_g,
            weighing(facts),
        )
        .map_err(|e| wrong("/recipe")(e.to_string()))?;
        greatest = greatest.max(found.relative_expanded);
        if found.relative_expanded > tolerance {
            cautions.push(format!(
                "batch {} is too small for the balance: the ratio is only known to {:.2} % (k = 2), the elastomer bears {:.2} %",
                index + 1,
                100.0 * found.relative_expanded,
                100.0 * tolerance
            ));
        }
        if !batch.mix.within_tolerance {
            cautions.push(format!(
                "batch {}: the balance is too coarse to hold the ratio within its tolerance",
                index + 1
            ));
        }
    }
    Ok(greatest)
}

fn tape(facts: &RecipeFacts, containers: u32) -> Result<Option<(TapeCut, u32)>, Error> {
    let Some(tape) = facts.tape.as_ref().and_then(|tape| tape.body.tape.as_ref()) else {
        return Ok(None);
    };
    let (mold, recipe) = (&facts.mold.body, &facts.recipe.body);
    let in_recipe = |detail: String| wrong("/recipe")(detail);
    let cut = cut_tape(
        mold.length_mm.to_f64(),
        mold.width_mm.to_f64(),
        tape.width_mm.to_f64(),
        recipe.trim_allowance_mm().to_f64(),
    )
    .map_err(|e| in_recipe(e.to_string()))?;
    let mut setups = 0;
    for rounds in
        rounds_per_copy(containers, mold.copies()).map_err(|e| in_recipe(e.to_string()))?
    {
        setups += tapings(None, rounds, recipe.casts_per_setup())
            .map_err(|e| in_recipe(e.to_string()))?;
    }
    Ok(Some((cut, setups)))
}

/// Cautions about the cure's heat; an error above what tray or mould bears, unless it is overridden.
pub(in crate::casting) fn heat(
    facts: &RecipeFacts,
    heat_override: Option<&str>,
) -> Result<Vec<String>, Error> {
    let cure = effective_cure(&facts.recipe.body, &facts.elastomer.body);
    let Some((cure, _)) = cure else {
        return Ok(Vec::new());
    };
    let mut cautions = Vec::new();
    let limits = [
        ("tray", facts.container.body.temperature_limit_c()),
        ("mould", facts.mold.body.max_temperature_c),
    ];
    for (what, limit) in limits {
        let Some(limit) = limit else { continue };
        let checked = check_limit(cure.temperature_c.to_f64(), limit.to_f64())
            .map_err(|e| wrong("/recipe")(e.to_string()))?;
        match checked.verdict {
            HeatVerdict::Safe => {}
            HeatVerdict::Close => cautions.push(format!(
                "cure at {} C is within 10 K of what the {what} bears, {limit} C",
                cure.temperature_c
            )),
            HeatVerdict::Above if heat_override.is_some() => {
                cautions.push(format!(
                    "cure at {} C is ABOVE what the {what} bears, {limit} C; overridden: {}",
                    cure.temperature_c,
                    heat_override.unwrap_or_default().trim()
                ));
            }
            HeatVerdict::Above => {
                let detail = format!(
                    "cure at {} C is above what the {what} bears, {limit} C: cure cooler, or give `heat_override_reason`",
                    cure.temperature_c
                );
                return Err(wrong("/heat_override_reason")(detail));
            }
        }
    }
    Ok(cautions)
}

/// Rounds a physical figure to the millionth, half to even.
///
/// # Errors
/// [`Error::Invalid`] when it leaves the range of quantities.
///
/// ```
/// assert_eq!(heeltap::casting::planning::sizing::rounded(1.000_000_4)?.to_string(), "1");
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn rounded(value: f64) -> Result<Micro, Error> {
    Micro::from_f64_half_even(value).map_err(|e| wrong("")(e.to_string()))
}

/// What a fill rests on, as a word.
///
/// ```
/// use heeltap::casting::planning::sizing::basis_word;
/// use heeltap::casting::sums::fill::FillBasis;
/// assert_eq!(basis_word(FillBasis::Gauged), "gauged");
/// ```
#[must_use]
pub fn basis_word(basis: FillBasis) -> &'static str {
    match basis {
        FillBasis::Geometry => "geometry",
        FillBasis::Gauged => "gauged",
        FillBasis::Learned => "learned",
    }
}
