//! The bench sheet as it is shown: its head, and its steps with a detail for each kind of work.

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use crate::base::{Error, MICRO_PER_UNIT, Micro, Quantity};
use crate::casting::life::demold_input::DemoldRecord;
use crate::casting::life::pour::PourRecord;
use crate::casting::planning::cure::CureView;
use crate::casting::planning::mixing::HeadRoomView;
use crate::casting::sums::cautions::Step;
use crate::catalogue::WeighingBody;
use crate::stock::needs::Purpose;

/// A cast as it is worked off at the bench.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct BenchSheet {
    /// The cast's code.
    pub cast: String,
    /// `booked`, `poured` or `demolded`.
    pub state: String,
    /// Whether the cast holds less than it needs: the steps say what is missing.
    pub short: bool,
    /// The day of the cast.
    pub cast_on: NaiveDate,
    /// The recipe's code.
    pub recipe: String,
    /// The recipe's name.
    pub recipe_name: String,
    /// The elastomer's code.
    pub elastomer: String,
    /// The mould's code.
    pub mold: String,
    /// Trays.
    pub containers: u32,
    /// Chips cast, good or not.
    pub chips: u32,
    /// Rounds on the copies of the mould.
    pub rounds: u32,
    /// Why it is cured above what tray or mould bears.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub heat_override_reason: Option<String>,
    /// What the plan warned of, apart from the cautions of the steps.
    pub cautions: Vec<String>,
    /// The hazards of the materials, by their safety data sheets.
    pub hazards: Vec<HazardView>,
    /// When the work begins, if that was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub start_at: Option<DateTime<Utc>>,
    /// When a batch was mixed, if that was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mixed_at: Option<DateTime<Utc>>,
    /// From the first step to the end of the last, in minutes.
    pub total_min: Micro,
    /// The steps in working order.
    pub steps: Vec<SheetStep>,
    /// What was recorded, once the cast is poured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recorded: Option<Recorded>,
    /// What comes before this sheet.
    pub closing: String,
}

/// The hazard statements of one material.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct HazardView {
    /// The material's code.
    pub material: String,
    /// Its name.
    pub name: String,
    /// Its statements, each with its code and GHS text.
    pub statements: Vec<String>,
}

/// What was recorded of a cast.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Recorded {
    /// The day of the pour.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub poured_on: Option<NaiveDate>,
    /// Who poured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub poured_by: Option<String>,
    /// The pour.
    pub pour: PourRecord,
    /// What was taken, and what is still in use.
    pub taken: Vec<TakenLot>,
    /// The day of the demould.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub demolded_on: Option<NaiveDate>,
    /// The demould.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub demold: Option<DemoldRecord>,
}

/// What was taken of a pack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct TakenLot {
    /// What for.
    pub purpose: Purpose,
    /// The batch, from 1; 0 for what belongs to the whole cast.
    pub batch: i32,
    /// The pack, and how much of it.
    #[serde(flatten)]
    pub lot: SheetLot,
}

/// A pack to take something from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct SheetLot {
    /// The material's code.
    pub material: String,
    /// The lot code.
    pub lot: String,
    /// The kit lot code.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kit_lot: Option<String>,
    /// The lot's id.
    pub lot_id: i64,
    /// The pack's id.
    pub pack_id: i64,
    /// The pack's number in the lot.
    pub pack_no: i32,
    /// How much, in the material's unit.
    pub quantity: Quantity,
    /// When the lot expires.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expires_on: Option<NaiveDate>,
    /// When the pack was opened.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub opened_on: Option<NaiveDate>,
}

/// What a step lacks: nothing is promised for it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Missing {
    /// The material's code.
    pub material: String,
    /// How much, in the material's unit.
    pub quantity: Quantity,
}

/// A kind of work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BenchStep {
    /// Laying out what is used.
    Prepare,
    /// Taping copies of the mould into trays.
    Tape,
    /// Vapour-coating copies of the mould.
    ReleaseCoat,
    /// Weighing base and curing agent.
    Weigh,
    /// Mixing them.
    Mix,
    /// De-gassing under vacuum.
    Degas,
    /// Pouring.
    Pour,
    /// Weighing what stayed in the cup.
    WeighCup,
    /// Curing.
    Cure,
    /// Taking the chips off.
    Demold,
    /// What is thrown away.
    Waste,
}

impl BenchStep {
    /// The step of the cautions that stand here; none where there are none.
    ///
    /// ```
    /// use heeltap::casting::bench::sheet::BenchStep;
    /// use heeltap::casting::sums::cautions::Step;
    /// assert_eq!(BenchStep::Degas.of_cautions(), Some(Step::Degas));
    /// assert_eq!(BenchStep::Tape.of_cautions(), None);
    /// ```
    #[must_use]
    pub const fn of_cautions(self) -> Option<Step> {
        match self {
            Self::Prepare | Self::Tape | Self::WeighCup => None,
            Self::ReleaseCoat => Some(Step::ReleaseCoat),
            Self::Weigh => Some(Step::Weigh),
            Self::Mix => Some(Step::Mix),
            Self::Degas => Some(Step::Degas),
            Self::Pour => Some(Step::Pour),
            Self::Cure => Some(Step::Cure),
            Self::Demold => Some(Step::Demold),
            Self::Waste => Some(Step::Waste),
        }
    }
}

/// One step.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SheetStep {
    /// Its number, from 1.
    pub no: u32,
    /// The kind of work.
    pub step: BenchStep,
    /// The round, from 1; absent for what belongs to the whole cast.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub round: Option<u32>,
    /// The group, from 1; absent for what belongs to more than one batch.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub group: Option<u32>,
    /// The batch, from 1; absent for what belongs to more than one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub batch: Option<i32>,
    /// What is done, in words.
    pub title: String,
    /// Minutes from the start of the work.
    pub starts_min: Micro,
    /// How long it takes, in minutes.
    pub takes_min: Micro,
    /// When it begins; only when `start_at` or `mixed_at` was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub starts_at: Option<DateTime<Utc>>,
    /// When it ends.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ends_at: Option<DateTime<Utc>>,
    /// When the pot life of the batch ends, in minutes from the start of the work; from mixing to pouring.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pour_by_min: Option<Micro>,
    /// The same as an instant.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pour_by: Option<DateTime<Utc>>,
    /// The figures of the work.
    pub detail: StepDetail,
    /// The packs to take from, as they are promised now.
    pub lots: Vec<SheetLot>,
    /// What nothing is promised for.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<Missing>,
    /// What to look out for.
    pub cautions: Vec<String>,
}

/// The figures of a step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum StepDetail {
    /// What is laid out.
    Prepare(PrepareDetail),
    /// How tape is cut.
    Tape(TapeDetail),
    /// Which copies are coated.
    ReleaseCoat(CoatDetail),
    /// What is weighed.
    Weigh(WeighDetail),
    /// What is mixed.
    Mix(MixDetail),
    /// What is de-gassed.
    Degas(DegasDetail),
    /// What is poured.
    Pour(PourDetail),
    /// What the cup should weigh.
    WeighCup(WeighCupDetail),
    /// How it is cured.
    Cure(CureDetail),
    /// What is taken off.
    Demold(DemoldDetail),
    /// What is thrown away.
    Waste(WasteDetail),
}

/// What is laid out before the work begins.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PrepareDetail {
    /// The tray's code.
    pub container: String,
    /// Trays.
    pub containers: u32,
    /// The cup's code.
    pub cup: String,
    /// Cups, one for each batch.
    pub cups: u32,
    /// Copies of the mould that are used.
    pub copies: u32,
}

/// How tape is cut for some copies of the mould.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct TapeDetail {
    /// The copies that are taped, from 1.
    pub copies: Vec<u32>,
    /// Strips for each copy, butted side by side.
    pub strips_per_copy: u32,
    /// Strips in all.
    pub strips: u32,
    /// The length to cut a strip to, in mm; the allowance for trimming is in it.
    pub strip_length_mm: Micro,
    /// `length` or `width`: the side of the mould along which the strips lie.
    pub along: String,
    /// Length of all strips, in m.
    pub total_m: Micro,
    /// Share of the tape that is cut away.
    pub offcut_share: Micro,
}

/// Copies of the mould that are coated together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct CoatDetail {
    /// The copies that are coated, from 1; empty when the plan does not say which.
    pub copies: Vec<u32>,
    /// How many they are.
    pub molds: u32,
    /// The round before which they must be coated.
    pub before_round: u32,
    /// Vials.
    pub vials: u32,
    /// Usual time of the vapour, in minutes.
    pub vapour_min: Micro,
    /// Usual lowest pressure, in Torr.
    pub pressure_min_torr: Micro,
    /// Usual highest pressure, in Torr.
    pub pressure_max_torr: Micro,
    /// Where time and pressure come from.
    pub note: String,
}

/// A part to weigh, with its tolerance window.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PartTarget {
    /// The material's code.
    pub material: String,
    /// Its name.
    pub name: String,
    /// The target, in g.
    pub target_g: Micro,
    /// The least that keeps the ratio in its tolerance when the other part is at its target, in g.
    pub min_g: Micro,
    /// The most, in g.
    pub max_g: Micro,
}

/// A mass as the difference of two readings.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct TareGross {
    /// The reading before, in g.
    pub tare_g: Micro,
    /// The reading to reach, in g.
    pub gross_g: Micro,
}

/// The readings when each part is weighed with a tare of its own.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct TareAndGross {
    /// The base: from the empty cup.
    pub base: TareGross,
    /// The curing agent: from the cup with the base in it.
    pub curing_agent: TareGross,
}

/// The readings when the balance is not set to zero between the parts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct CumulativeReadings {
    /// What the readings begin from, in g: the tare of the cup, or 0 when the balance is set to zero with the empty cup.
    pub from_g: Micro,
    /// The reading with the base in the cup, in g.
    pub after_base_g: Micro,
    /// The reading with both parts in it, in g.
    pub after_curing_agent_g: Micro,
}

/// What is weighed into a cup.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct WeighDetail {
    /// The cup's code.
    pub cup: String,
    /// What the empty cup weighs by the catalogue, in g.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cup_tare_g: Option<Micro>,
    /// What to do with the empty cup.
    pub tare_note: String,
    /// The base.
    pub base: PartTarget,
    /// The curing agent.
    pub curing_agent: PartTarget,
    /// How the recipe says it is weighed.
    pub weighing: WeighingBody,
    /// Both, in g.
    pub total_g: Micro,
    /// Curing agent for each gram of base: when the base missed its target, this times what was weighed.
    pub curing_agent_g_per_g_base: Micro,
    /// How far the ratio may be off, relative to it.
    pub ratio_tolerance: Micro,
    /// Whether the balance can keep the ratio within its tolerance.
    pub reachable: bool,
    /// The readings with a tare for each part; absent when the cup's tare is not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tare_and_gross: Option<TareAndGross>,
    /// The readings without setting to zero between the parts.
    pub cumulative: CumulativeReadings,
}

impl WeighDetail {
    /// Base for each gram of curing agent, rounded to the millionth, half to even.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves the range of a decimal.
    pub fn base_g_per_g_curing_agent(&self) -> Result<Micro, Error> {
        let each = self.curing_agent_g_per_g_base.micro();
        Ok(Micro::from_int(1).mul_div_half_even(MICRO_PER_UNIT, each)?)
    }

    /// How much curing agent belongs to the base that was weighed, in g, rounded to the millionth, half to even.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves the range of a decimal.
    pub fn curing_agent_for(&self, base_g: Micro) -> Result<Micro, Error> {
        let each = self.curing_agent_g_per_g_base.micro();
        Ok(base_g.mul_div_half_even(each, MICRO_PER_UNIT)?)
    }
}

/// What is mixed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct MixDetail {
    /// All that is in the cup, in g.
    pub total_g: Micro,
    /// How long it pours, in minutes from the end of mixing.
    pub pour_by_min_after_mixing: Micro,
}

/// What is de-gassed, and in what.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct DegasDetail {
    /// The code of the vessel.
    pub vessel: String,
    /// How full it is, and what leaves room for the foam.
    #[serde(flatten)]
    pub room: HeadRoomView,
}

/// A tray that is poured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct PouredTray {
    /// The tray's number in the cast, from 1.
    pub no: u32,
    /// The copy of the mould in it, from 1.
    pub copy: u32,
}

/// What is poured out of a cup.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PourDetail {
    /// The trays in their order.
    pub containers: Vec<PouredTray>,
    /// Into each tray, in g, with what is poured beyond the fill.
    pub per_container_g: Micro,
    /// Of that, the fill itself, in g.
    pub fill_g: Micro,
    /// The level to reach, in mm above the floor.
    pub level_mm: Micro,
    /// How long the cup drains at the end, in seconds.
    pub drain_time_s: Micro,
    /// When the last tray is poured, in minutes from the end of mixing.
    pub poured_min_after_mixing: Micro,
    /// By when it must be poured, in minutes from the end of mixing.
    pub pour_by_min_after_mixing: Micro,
    /// Whether pouring and de-gassing keep that.
    pub keeps_pot_life: bool,
}

/// What should stay in the cup, so that a slip is seen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct WeighCupDetail {
    /// Expected to stay, in g.
    pub expected_residue_g: Micro,
    /// Planned for, in g.
    pub planned_residue_g: Micro,
    /// A weighing below this, in g, is probably a slip.
    pub doubtful_below_g: Micro,
    /// A weighing above this, in g, is probably a slip.
    pub doubtful_above_g: Micro,
    /// What the empty cup weighs by the catalogue, in g.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cup_tare_g: Option<Micro>,
    /// What cup and residue are expected to weigh, in g; absent when the cup's tare is not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expected_gross_g: Option<Micro>,
}

/// How a round is cured.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct CureDetail {
    /// Temperature and time, with the advice on it.
    pub cure: CureView,
    /// Trays.
    pub containers: u32,
    /// Trays the oven takes at once, if that is limited.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub oven_containers: Option<u32>,
    /// Runs of the oven, one after the other.
    pub oven_runs: u32,
    /// Why it is cured above what tray or mould bears.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub heat_override_reason: Option<String>,
}

/// What is taken off.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct DemoldDetail {
    /// Trays.
    pub containers: u32,
    /// The copies of the mould, from 1.
    pub copies: Vec<u32>,
    /// Chips to count, good and rejected.
    pub chips: u32,
}

/// What is thrown away.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct WasteDetail {
    /// Elastomer that is cut away beside the moulds, in g.
    pub trim_g: Micro,
    /// Elastomer expected to stay in the cups, in g.
    pub residue_g: Micro,
    /// Vials used up.
    pub vials: u32,
}
