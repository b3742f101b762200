//! How the mix of a plan is weighed and de-gassed: the balance's say on the ratio, and room for the foam. Pure.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::geometry::{draining, tray_of};
use super::plan_view::MixView;
use super::sizing::{Sizing, rounded};
use crate::base::{Error, Micro};
use crate::casting::sums::fill::foam_headroom;
use crate::casting::sums::mix::{MassRatio, RoundedMix, Weighing, smallest_batch_g};
use crate::casting::sums::vessel::MM3_PER_ML;
use crate::catalogue::{DegasIn, RatioBody, RecipeFacts, VesselBody, WeighingBody};

/// How full the fullest vessel is in which the mix is de-gassed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct HeadRoomView {
    /// Where it is de-gassed.
    pub degas_in: DegasIn,
    /// What the fullest of them is filled with, the mould included, over its capacity.
    pub fraction_filled: Micro,
    /// The largest fraction that leaves room for the foam.
    pub fill_limit: Micro,
    /// Whether the foam has room.
    pub enough: bool,
}

impl HeadRoomView {
    /// What to say when the foam has no room.
    ///
    /// ```
    /// use heeltap::base::Micro;
    /// use heeltap::casting::planning::mixing::HeadRoomView;
    /// use heeltap::catalogue::DegasIn;
    /// let (half, third) = (Micro::from_micro(500_000), Micro::from_micro(333_333));
    /// let view = HeadRoomView { degas_in: DegasIn::Container, fraction_filled: half, fill_limit: third, enough: false };
    /// assert!(view.caution().unwrap().contains("0.5"));
    /// ```
    #[must_use]
    pub fn caution(&self) -> Option<String> {
        let vessel = match self.degas_in {
            DegasIn::Cup => "cup",
            DegasIn::Container => "tray",
        };
        (!self.enough).then(|| {
            format!(
                "de-gassing: the {vessel} is filled to {} of its volume, more than the {} that leaves room for the foam; de-gas in steps and watch it",
                self.fraction_filled, self.fill_limit
            )
        })
    }
}

/// The ratio that a recipe mixes at: its own, else the elastomer's.
///
/// # Errors
/// [`Error::Invalid`] when a part of it is not above 0.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// assert_eq!(heeltap::casting::planning::mixing::mass_ratio(&facts)?.value(), 10.0);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn mass_ratio(facts: &RecipeFacts) -> Result<MassRatio, Error> {
    ratio_of(facts.ratio())
}

/// A ratio of the catalogue, as the sums know it.
///
/// # Errors
/// [`Error::Invalid`] when a part of it is not above 0.
pub(in crate::casting) fn ratio_of(ratio: &RatioBody) -> Result<MassRatio, Error> {
    MassRatio::new(ratio.base.to_f64(), ratio.curing_agent.to_f64())
        .map_err(|e| Error::invalid("/recipe", e.to_string()))
}

/// How a recipe weighs, as the sums of uncertainty know it.
#[must_use]
pub(in crate::casting) fn weighing(facts: &RecipeFacts) -> Weighing {
    match facts.recipe.body.weighing() {
        WeighingBody::TareAndGross => Weighing::TareAndGross,
        WeighingBody::Cumulative => Weighing::Cumulative,
    }
}

/// The share of the recipe's cup that may be filled: less where the mix foams in it.
#[must_use]
pub(in crate::casting) fn cup_limit(facts: &RecipeFacts, cup: &VesselBody) -> f64 {
    match facts.recipe.body.degas_in() {
        DegasIn::Cup => cup.fill_limit().to_f64(),
        DegasIn::Container => cup.stir_limit().to_f64(),
    }
}

/// The mix of a whole cast.
///
/// # Errors
/// [`Error::Invalid`] when a figure leaves the range of decimals.
pub(in crate::casting) fn mix_view(facts: &RecipeFacts, sizing: &Sizing) -> Result<MixView, Error> {
    let sum = |part: fn(&RoundedMix) -> f64| {
        rounded(sizing.batches.iter().map(|batch| part(&batch.mix)).sum())
    };
    let wrong =
        |e: crate::casting::sums::bounds::OutOfRange| Error::invalid("/recipe", e.to_string());
    let ratio = mass_ratio(facts)?;
    let nominal = ratio_of(&facts.elastomer.body.ratio)?;
    let tolerance = facts.elastomer.body.ratio_tolerance.to_f64();
    let readability_g = facts.recipe.body.balance_readability_g().to_f64();
    // Without a tolerance no batch is large enough.
    let smallest_g = if tolerance > 0.0 {
        smallest_batch_g(ratio, readability_g, tolerance, weighing(facts)).map_err(wrong)?
    } else {
        0.0
    };
    Ok(MixView {
        total_g: sum(|mix| mix.total_g)?,
        base_g: sum(|mix| mix.base_g)?,
        curing_agent_g: sum(|mix| mix.curing_agent_g)?,
        ratio_uncertainty: rounded(sizing.ratio_uncertainty)?,
        weighing: facts.recipe.body.weighing(),
        ratio: rounded(ratio.value())?,
        nominal_ratio: rounded(nominal.value())?,
        smallest_batch_g: rounded(smallest_g)?,
    })
}

/// Head room of the fullest vessel in which the mix is de-gassed; none when its dimensions are not known.
///
/// # Errors
/// [`Error::Invalid`] when the vessel holds nothing.
pub(in crate::casting) fn head_room_view(
    facts: &RecipeFacts,
    sizing: &Sizing,
) -> Result<Option<HeadRoomView>, Error> {
    let degas_in = facts.recipe.body.degas_in();
    let wrong = |detail: String| Error::invalid("/recipe", detail);
    let (capacity_ml, occupied_ml, limit) = match degas_in {
        DegasIn::Cup => {
            let (Some(cup), Some(body)) = (draining(facts), &facts.cup.body.container) else {
                return Ok(None);
            };
            let greatest_g = sizing
                .batches
                .iter()
                .map(|batch| batch.mix.total_g)
                .fold(0.0, f64::max);
            let capacity_ml = cup.cup.capacity_ml().map_err(|e| wrong(e.to_string()))?;
            (
                capacity_ml,
                greatest_g / cup.density_g_per_ml,
                body.fill_limit(),
            )
        }
        DegasIn::Container => {
            let (Some(tray), Some(body)) = (tray_of(facts), &facts.container.body.container) else {
                return Ok(None);
            };
            let occupied_mm3 = tray
                .vessel
                .volume_to_level_mm3(sizing.fill.level_mm)
                .map_err(|e| wrong(e.to_string()))?;
            let over = 1.0 + facts.recipe.body.overfill().to_f64();
            let extra_ml = sizing.fill.volume_ml * (sizing.fill_factor.factor * over - 1.0);
            let occupied_ml = (occupied_mm3 / MM3_PER_ML + extra_ml).max(0.0);
            (
                sizing.fill.vessel_capacity_ml,
                occupied_ml,
                body.fill_limit(),
            )
        }
    };
    let room = foam_headroom(capacity_ml, occupied_ml, limit.to_f64())
        .map_err(|e| wrong(e.to_string()))?;
    Ok(Some(HeadRoomView {
        degas_in,
        fraction_filled: rounded(room.fraction_filled)?,
        fill_limit: limit,
        enough: room.enough,
    }))
}
