//! A plan as it is shown, and as it is kept on the cast that was booked from it.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::charging::ChargeWarning;
use super::cure::CureView;
use super::day::DayView;
use super::leftovers::{EmptiedView, KitBalance};
use super::mixing::HeadRoomView;
use crate::base::{Code, Micro, Quantity};
use crate::casting::cost::CostView;
use crate::casting::sums::release::CoatingLoad;
use crate::catalogue::WeighingBody;
use crate::stock::needs::Purpose;

/// Everything a cast needs, computed. Decimals are rounded to the millionth, half to even; masses to weigh, to the
/// balance's readability.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CastPlan {
    /// The recipe's code.
    pub recipe: Code,
    /// Trays.
    pub containers: u32,
    /// The day of the cast.
    pub cast_on: NaiveDate,
    /// Chips cast, good or not.
    pub chips: u32,
    /// Good chips to expect.
    pub expected_good_chips: Micro,
    /// Rounds on the copies of the mould.
    pub rounds: u32,
    /// The fill of one tray.
    pub fill: FillView,
    /// The residue of the whole cast.
    pub residue: ResidueView,
    /// The mix of the whole cast.
    pub mix: MixView,
    /// Whether the foam has room where the mix is de-gassed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub head_room: Option<HeadRoomView>,
    /// The cups.
    pub batches: Vec<BatchView>,
    /// The tape.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tape: Option<TapeView>,
    /// The coats.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub release: Option<ReleaseView>,
    /// The cure, and the advice on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cure: Option<CureView>,
    /// The load of the day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub day: Option<DayView>,
    /// The packs to use, and why these.
    pub picks: Vec<PickView>,
    /// The packs not used, and why not.
    pub passed_over: Vec<PassedOver>,
    /// The packs that the cast would empty.
    #[serde(default)]
    pub empties: Vec<EmptiedView>,
    /// What is left of the kits it takes from, and what of that no mix at the maker's ratio can use.
    #[serde(default)]
    pub kits: Vec<KitBalance>,
    /// What is missing.
    pub shortages: Vec<ShortageView>,
    /// The largest number of trays, up to the number asked for, that the stock serves.
    pub largest_bookable: u32,
    /// The planned cost.
    pub cost: CostView,
    /// The grants that do not pay for it, and why; it is refused when one of them says so.
    #[serde(default)]
    pub charge_warnings: Vec<ChargeWarning>,
    /// What to look out for.
    pub cautions: Vec<String>,
}

/// The fill of one tray.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct FillView {
    /// The level above the floor, in mm.
    pub level_mm: Micro,
    /// Elastomer in one tray, in mL.
    pub volume_ml: Micro,
    /// Elastomer in one tray, in g.
    pub mass_g: Micro,
    /// Of that, what becomes chips, in g; the rest is trim.
    pub chip_g: Micro,
    /// `geometry`, `gauged` or `learned`.
    pub basis: String,
    /// The factor on the geometry.
    pub factor: Micro,
}

/// The residue of a whole cast, without what the stirrer carries away.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ResidueView {
    /// What is expected to stay in the cups, in g.
    pub expected_g: Micro,
    /// What is planned for, in g.
    pub planned_g: Micro,
    /// The quantile planned for.
    pub quantile: Micro,
    /// `film` while nothing was weighed, then `learned`.
    pub basis: String,
    /// Mean of the factor on the film.
    pub k_mean: Micro,
    /// Its standard deviation.
    pub k_sd: Micro,
    /// Weighings it rests on.
    pub observations: u32,
}

/// The mix of a whole cast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MixView {
    /// All that is mixed, in g.
    pub total_g: Micro,
    /// Base, in g.
    pub base_g: Micro,
    /// Curing agent, in g.
    pub curing_agent_g: Micro,
    /// The greatest relative expanded uncertainty (k = 2) of a batch's ratio, from the balance's readability.
    pub ratio_uncertainty: Micro,
    /// How it is weighed: `tare_and_gross` or `cumulative`.
    #[serde(default)]
    pub weighing: WeighingBody,
    /// Base over curing agent, by mass, as the recipe mixes.
    #[serde(default)]
    pub ratio: Micro,
    /// Base over curing agent, by mass, as the elastomer's maker states it.
    #[serde(default)]
    pub nominal_ratio: Micro,
    /// The smallest batch whose ratio the balance can hold within the elastomer's tolerance (k = 2), in g.
    #[serde(default)]
    pub smallest_batch_g: Micro,
}

/// One cup of mix.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BatchView {
    /// Its number, from 1.
    pub no: i32,
    /// The cup's code.
    pub cup: Code,
    /// The round, from 1.
    pub round: u32,
    /// The group, from 1.
    pub group: u32,
    /// Trays it fills.
    pub containers: u32,
    /// Base to weigh, in g.
    pub base_g: Micro,
    /// Curing agent to weigh, in g.
    pub curing_agent_g: Micro,
    /// Both, in g.
    pub total_g: Micro,
    /// What must leave the cup, in g.
    pub needed_g: Micro,
    /// What the draining film alone would leave, in g.
    pub film_g: Micro,
    /// What is planned to stay in the cup, in g.
    pub residue_g: Micro,
}

/// The tape of a whole cast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TapeView {
    /// Strips.
    pub strips: u32,
    /// Length of a strip, in mm.
    pub strip_length_mm: Micro,
    /// Length of all strips, in m.
    pub total_m: Micro,
    /// Share of the tape that is cut away.
    pub offcut_share: Micro,
    /// Moulds taped.
    pub setups: u32,
}

/// The coats of a cast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReleaseView {
    /// Whether any mould must be coated.
    pub needed: bool,
    /// Vials.
    pub vials: u32,
    /// Moulds coated, counted as often as they are.
    pub coatings: u32,
    /// Whether some must be coated before the first round.
    pub before_casting: bool,
    /// Whether some coat runs out between rounds.
    pub during_casting: bool,
    /// The moulds coated together, in order.
    #[serde(default)]
    pub loads: Vec<LoadView>,
}

/// Moulds coated together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LoadView {
    /// The round before which they are coated, from 1; 1 is before the cast begins.
    pub before_round: u32,
    /// The copies, from 1.
    pub copies: Vec<u32>,
    /// Vials for this load.
    pub vials: u32,
}

impl LoadView {
    /// A load as it is shown.
    ///
    /// ```
    /// use heeltap::casting::planning::plan_view::LoadView;
    /// use heeltap::casting::sums::release::CoatingLoad;
    /// let load = CoatingLoad { before_round: 1, molds: 2, copies: vec![1, 2], vials: 1 };
    /// assert_eq!(LoadView::of(&load).copies, [1, 2]);
    /// ```
    #[must_use]
    pub fn of(load: &CoatingLoad) -> Self {
        Self {
            before_round: load.before_round,
            copies: load.copies.clone(),
            vials: load.vials,
        }
    }
}

/// A quantity of a pack chosen for a cast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PickView {
    /// The material's code.
    pub material: String,
    /// What it is for.
    pub purpose: Purpose,
    /// The batch, from 1; 0 for the whole cast.
    pub batch: i32,
    /// The lot code.
    pub lot: String,
    /// The lot's id.
    pub lot_id: i64,
    /// The pack's id.
    pub pack_id: i64,
    /// The pack's number in the lot.
    pub pack_no: i32,
    /// How much.
    pub quantity: Quantity,
    /// The last day on which the pack is good.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expires_on: Option<NaiveDate>,
    /// Why this pack.
    pub why: String,
}

/// A pack not chosen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PassedOver {
    /// The material's code.
    pub material: String,
    /// The lot code.
    pub lot: String,
    /// The lot's id.
    pub lot_id: i64,
    /// The pack's id.
    pub pack_id: i64,
    /// Why not.
    pub why: String,
}

/// A material of which there is not enough.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ShortageView {
    /// The material's code.
    pub material: String,
    /// What is needed.
    pub needed: Quantity,
    /// What is free on the day.
    pub available: Quantity,
    /// What is on order.
    pub on_order: Quantity,
    /// When the first of that is expected.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub arrives_on: Option<NaiveDate>,
    /// Later casts that hold some of it; `take_from_later` would use it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub held_by_later: Vec<String>,
    /// What would help besides buying.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hint: Option<String>,
}
