//! Advice as it is shown.
//!
//! Invariants: quantities are in the unit named beside them, rounded once; a figure that is not known is null, never 0.
//! Absent: where it is kept.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::demand::{Buckets, gather, rounded_micro};
use super::facts::{ReorderAdvice, ReorderFacts, ServiceMeasure};
use super::kits::{KitPart, RatioWork, UsableMix};
use super::lead_time::LeadTimeBasis;
use super::order_quantity::{QuantityBasis, QuantityCap};
use super::walk::ForecastScope;
use crate::base::{Micro, Money, Quantity};

/// What is ordered: a material or a kit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ItemKind {
    /// A material.
    Material,
    /// A kit; its stock is counted in grams of mix.
    Kit,
}

/// What will expire unused.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ExpiringView {
    /// The last day on which it is good.
    pub on: NaiveDate,
    /// How much of it will be left.
    pub quantity: Quantity,
    /// What that is worth, in the base currency, at the price of the last lot.
    pub value: Option<Money>,
}

/// How the method would have done on its own history.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct BackTestView {
    /// Number of forecasts that were compared.
    pub periods: u64,
    /// Root mean square of the method's errors, per bucket.
    pub error: Quantity,
    /// The same of the naive forecast: the next bucket as this one.
    pub naive_error: Quantity,
    /// The one over the other: below 1 when the method is better.
    pub relative_error: Option<Micro>,
}

/// How the two parts of a kit stand to each other.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PartsView {
    /// The part that runs out first: `base` or `curing_agent`; null when both run out together.
    #[schema(value_type = Option<String>)]
    pub binding: Option<KitPart>,
    /// Base that would be left without curing agent, in g.
    pub stranded_base_g: Quantity,
    /// Curing agent that would be left without base, in g.
    pub stranded_curing_agent_g: Quantity,
    /// The mass ratio of base to curing agent at which both would be used up.
    pub ratio_using_all: Option<Micro>,
    /// Recipes of the elastomer that mix at a ratio of their own and would use up what would be left over.
    pub ratio_work: Vec<RatioWorkView>,
}

/// Work at another ratio that would use up what would be left over.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RatioWorkView {
    /// The recipe.
    pub recipe: String,
    /// How much mix at its ratio, in g.
    pub mix_g: Quantity,
    /// Whether nothing is left over after it; else the part that binds is used up first.
    pub uses_all: bool,
}

/// The advice on a material or a kit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ReorderView {
    /// The code of the material or kit.
    pub material: String,
    /// Its name.
    pub name: String,
    /// `material` or `kit`.
    pub kind: ItemKind,
    /// The unit of the quantities; a kit's are in grams of mix.
    pub unit: String,
    /// The kit that the material is ordered as, if it is the part of one: the kit's advice counts then.
    pub kit: Option<String>,
    /// Whether its day to order is told to anybody: not that of a part of a kit, and of several kits of one elastomer that of one.
    pub watched: bool,
    /// `smooth`, `erratic`, `intermittent` or `lumpy`; null when there was no demand.
    pub class: Option<&'static str>,
    /// How demand is foreseen: `exponential_smoothing`, `syntetos_boylan`, `teunter_syntetos_babai`, or
    /// `bookings_and_stated_use` when there is too little history.
    pub method: &'static str,
    /// What all packs hold.
    pub on_hand: Quantity,
    /// What of that is promised to booked casts.
    pub reserved: Quantity,
    /// What is on order.
    pub on_order: Quantity,
    /// Usable stock, promised or not, and what is on order, less what is booked.
    pub position: Quantity,
    /// What can be used and is not promised: without held and expired packs and heels.
    pub usable: Quantity,
    /// What is booked.
    pub known_demand: Quantity,
    /// What is foreseen for a day: what nobody has booked in time, on top of the bookings; where the history does not tell that
    /// apart (`inputs.scope` is `all_demand`), all of it, and what is booked uses it up first.
    pub daily_demand: Quantity,
    /// The mean lead time.
    pub lead_time_days: Micro,
    /// What the lead time rests on: `past_orders`, `catalogue`, `few_orders` or `assumed`.
    #[schema(value_type = String)]
    pub lead_time_basis: LeadTimeBasis,
    /// Order when the stock that is not booked falls to this.
    pub reorder_point: Quantity,
    /// What of it is above the mean demand until an order arrives.
    pub safety_stock: Quantity,
    /// How much to order when ordering, in the unit; of a kit, in kits.
    pub order_quantity: Quantity,
    /// The unit of `order_quantity`: that of the quantities, or `kit`.
    pub order_unit: String,
    /// The same in packs or kits.
    pub order_packs: u64,
    /// What the quantity rests on: `economic` (the economic order quantity), `cover` (days of demand, where a cost is not
    /// known), `needed` (what is lacking until the next order), `minimum` or `nothing`.
    #[schema(value_type = String)]
    pub order_basis: QuantityBasis,
    /// What held the quantity down: `expiry` (more would expire unused) or `budget`; null when nothing did.
    #[schema(value_type = Option<String>)]
    pub order_capped_by: Option<QuantityCap>,
    /// Whether a part of the least order would expire unused.
    pub part_will_expire: bool,
    /// The median day of running out; null when it lasts longer than the days looked ahead.
    pub runs_out_on: Option<NaiveDate>,
    /// The day by which it runs out one time in ten.
    pub runs_out_early_on: Option<NaiveDate>,
    /// The last day to order; null when no order is needed within the days looked ahead.
    pub order_by: Option<NaiveDate>,
    /// Whether that day is gone.
    pub late: bool,
    /// Whether to order now.
    pub due: bool,
    /// Why, in one sentence.
    pub reason: String,
    /// What will expire unused.
    pub expiring: Vec<ExpiringView>,
    /// How good the forecast would have been.
    pub back_test: Option<BackTestView>,
    /// Of a kit: how its parts stand to each other.
    pub parts: Option<PartsView>,
    /// The day of the advice.
    pub computed_on: NaiveDate,
}

/// What a row of advice is about.
#[derive(Debug, Clone, Copy)]
pub struct About<'a> {
    /// The name.
    pub name: &'a str,
    /// The unit of the quantities.
    pub unit: &'a str,
    /// What was promised of a thing that comes back after its use, in millionths of the unit.
    pub lent_micro: i64,
    /// The kit that a material is ordered as.
    pub kit: Option<&'a str>,
    /// The parts, of a kit.
    pub parts: Option<&'a UsableMix>,
    /// The work at other ratios that would use up what would be left over, by recipe.
    pub ratio_work: &'a [(&'a str, RatioWork)],
    /// Whether its day to order is told to anybody.
    pub watched: bool,
}

fn decimal(value: f64) -> Micro {
    Micro::from_micro(rounded_micro(value * 1e6))
}

/// The advice as it is shown.
#[must_use]
pub fn reorder_view(advice: &ReorderAdvice, about: About<'_>, today: NaiveDate) -> ReorderView {
    let quantity = Quantity::from_micro;
    let ordered = &advice.order_quantity;
    let kits = || i64::try_from(ordered.packs).map_or(i64::MAX, |n| n.saturating_mul(1_000_000));
    ReorderView {
        material: advice.material.clone(),
        name: about.name.to_owned(),
        kind: match about.parts {
            Some(_) => ItemKind::Kit,
            None => ItemKind::Material,
        },
        unit: about.unit.to_owned(),
        kit: about.kit.map(str::to_owned),
        watched: about.watched,
        class: advice.class.map(|class| class.name()),
        method: advice.method.name(),
        on_hand: quantity(advice.on_hand_micro),
        reserved: quantity(advice.reserved_micro.saturating_add(about.lent_micro)),
        on_order: quantity(advice.on_order_micro),
        position: quantity(advice.position_micro),
        usable: quantity(advice.usable_micro),
        known_demand: quantity(advice.known_demand_micro),
        daily_demand: quantity(advice.daily_demand_micro),
        lead_time_days: decimal(advice.lead_time.mean_days),
        lead_time_basis: advice.lead_time.basis,
        reorder_point: quantity(advice.reorder_point_micro),
        safety_stock: quantity(advice.safety_stock_micro),
        order_quantity: match about.parts {
            Some(_) => quantity(kits()),
            None => quantity(ordered.quantity_micro),
        },
        order_unit: about.parts.map_or(about.unit, |_| "kit").to_owned(),
        order_packs: ordered.packs,
        order_basis: ordered.basis,
        order_capped_by: ordered.capped_by,
        part_will_expire: ordered.part_will_expire,
        runs_out_on: advice.runs_out_on,
        runs_out_early_on: advice.runs_out_early_on,
        order_by: advice.order_by,
        late: advice.late,
        due: advice.due,
        reason: advice.reason.clone(),
        expiring: expiring(advice),
        back_test: advice.back_test.map(|tested| BackTestView {
            periods: tested.periods as u64,
            error: quantity(rounded_micro(tested.error)),
            naive_error: quantity(rounded_micro(tested.naive_error)),
            relative_error: tested.relative_error().map(decimal),
        }),
        parts: about.parts.map(|mix| PartsView {
            binding: mix.binding,
            stranded_base_g: quantity(mix.stranded_base_micro),
            stranded_curing_agent_g: quantity(mix.stranded_curing_agent_micro),
            ratio_using_all: mix.ratio_using_all.map(decimal),
            ratio_work: ratio_work(about.ratio_work),
        }),
        computed_on: today,
    }
}

fn ratio_work(work: &[(&str, RatioWork)]) -> Vec<RatioWorkView> {
    let work = work.iter().map(|(recipe, work)| RatioWorkView {
        recipe: (*recipe).to_owned(),
        mix_g: Quantity::from_micro(work.mix_micro),
        uses_all: work.uses_all,
    });
    work.collect()
}

fn expiring(advice: &ReorderAdvice) -> Vec<ExpiringView> {
    let lost = advice.expiring.iter().map(|lost| ExpiringView {
        on: lost.on,
        quantity: Quantity::from_micro(lost.quantity_micro),
        value: lost.value_micro.map(Money::from_micro),
    });
    lost.collect()
}

/// A quantity of a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct DayQuantity {
    /// The day.
    pub on: NaiveDate,
    /// How much.
    pub quantity: Quantity,
}

/// Usable stock, or what is on order, with its last good day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct SupplyView {
    /// From which day it is there.
    pub on: NaiveDate,
    /// How much.
    pub quantity: Quantity,
    /// The last day on which it is good; null when it keeps.
    pub expires_on: Option<NaiveDate>,
}

/// The history that the method read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct SeriesView {
    /// The first day of the first bucket.
    pub first_day: NaiveDate,
    /// The length of each bucket, in days.
    pub bucket_days: u16,
    /// What was used in each bucket, the oldest first; the bucket that is not over yet is left out.
    pub quantities: Vec<Quantity>,
}

/// The smoothing constants of the methods.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct SmoothingView {
    /// Of the level, in exponential smoothing.
    pub level: Micro,
    /// Of the sizes of demand.
    pub size: Micro,
    /// Of the intervals between demands.
    pub interval: Micro,
    /// Of the probability of demand.
    pub probability: Micro,
}

/// What else the advice rests on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct InputsView {
    /// What the forecast is for: `all_demand` or `unbooked`.
    pub scope: &'static str,
    /// The service level.
    pub service_level: Micro,
    /// What it is a share of: `cycle` (times an order is waited for) or `fill_rate` (demand).
    pub service_measure: &'static str,
    /// Days between two looks at the stock.
    pub review_days: u16,
    /// Days that an approval takes.
    pub approval_days: u16,
    /// The lead time's standard deviation, in days.
    pub lead_time_sd_days: Micro,
    /// Days from order to arrival of the past orders that were found.
    pub past_lead_days: Vec<u32>,
    /// The days that stock must last: lead time, review, and what stock falls below the reorder point before it is seen.
    pub protection_days: Micro,
    /// The use per month that the catalogue states.
    pub stated_use_per_month: Option<Quantity>,
    /// What a pack holds.
    pub pack_quantity: Option<Quantity>,
    /// The least packs of an order.
    pub min_packs: u32,
    /// What an order costs besides the goods.
    pub order_cost: Option<Money>,
    /// What keeping stock costs in a year, as a share of its value.
    pub holding_rate: Option<Micro>,
    /// What a unit of the last lot cost on arrival.
    pub unit_value: Option<Money>,
    /// Days that a new pack keeps.
    pub shelf_life_days: Option<u16>,
    /// What is left of the budget of the day, in the base currency; null without a budget.
    pub budget_left: Option<Money>,
    /// The smoothing constants.
    pub smoothing: SmoothingView,
    /// For a day so many days ahead, today first: the share of its demand without timely booking that is still to come. It
    /// is 1 beyond the end.
    pub notice_share: Vec<Micro>,
    /// What is booked, by day.
    pub bookings: Vec<DayQuantity>,
    /// What can be used, promised or not.
    pub stock: Vec<SupplyView>,
    /// What is on order.
    pub arrivals: Vec<SupplyView>,
}

/// A day of the stock to come.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ProjectedDayView {
    /// The day.
    pub on: NaiveDate,
    /// What arrives in the morning.
    pub arrives: Quantity,
    /// What is asked for.
    pub demand: Quantity,
    /// What of that is not there.
    pub short: Quantity,
    /// What expires in the evening.
    pub expires: Quantity,
    /// What is left in the evening.
    pub stock: Quantity,
}

/// The advice on one item with all that it rests on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ReorderDetail {
    /// The advice.
    #[serde(flatten)]
    pub advice: ReorderView,
    /// The history that the method read: what was not booked in time, or all where that is not told apart.
    pub series: SeriesView,
    /// All that was used, booked or not.
    pub all_demand: SeriesView,
    /// What else it rests on.
    pub inputs: InputsView,
    /// The stock to come, as it is most likely to go.
    pub projection: Vec<ProjectedDayView>,
}

/// The advice with all that it rests on.
#[must_use]
pub fn reorder_detail(
    view: ReorderView,
    facts: &ReorderFacts,
    advice: &ReorderAdvice,
) -> ReorderDetail {
    let quantity = Quantity::from_micro;
    let days = advice.days.iter().map(|day| ProjectedDayView {
        on: day.on,
        arrives: quantity(day.arrived_micro),
        demand: quantity(day.demand_micro),
        short: quantity(day.short_micro),
        expires: quantity(day.expired_micro),
        stock: quantity(day.stock_micro),
    });
    let (first_day, length) = (advice.buckets.first_day(), advice.buckets.bucket_days());
    // It was gathered for the advice already, so that it cannot fail here.
    let all = gather(&facts.daily, first_day, facts.today, length);
    ReorderDetail {
        advice: view,
        series: series(&advice.buckets),
        all_demand: all
            .as_ref()
            .map_or_else(|_| series(&advice.buckets), series),
        inputs: inputs(facts, advice),
        projection: days.collect(),
    }
}

fn series(buckets: &Buckets) -> SeriesView {
    let quantities = buckets.quantities_micro().iter().copied();
    SeriesView {
        first_day: buckets.first_day(),
        bucket_days: buckets.bucket_days(),
        quantities: quantities.map(Quantity::from_micro).collect(),
    }
}

fn inputs(facts: &ReorderFacts, advice: &ReorderAdvice) -> InputsView {
    let quantity = Quantity::from_micro;
    let supply = |on, micro, expires_on| SupplyView {
        on,
        quantity: quantity(micro),
        expires_on,
    };
    let stock = facts.packs.iter();
    let arrivals = facts.arrivals.iter();
    let bookings = facts.bookings.iter().map(|booking| DayQuantity {
        on: booking.on,
        quantity: quantity(booking.quantity_micro),
    });
    InputsView {
        scope: match advice.scope {
            ForecastScope::AllDemand => "all_demand",
            ForecastScope::Unbooked => "unbooked",
        },
        service_level: Micro::from_micro(facts.service_level_micro),
        service_measure: match facts.service_measure {
            ServiceMeasure::Cycle => "cycle",
            ServiceMeasure::FillRate => "fill_rate",
        },
        review_days: facts.review_days,
        approval_days: facts.approval_days,
        lead_time_sd_days: decimal(advice.lead_time.sd_days),
        past_lead_days: facts.past_lead_days.clone(),
        protection_days: decimal(advice.protection_days),
        stated_use_per_month: facts.stated_use_per_month_micro.map(quantity),
        pack_quantity: facts.pack_quantity_micro.map(quantity),
        min_packs: facts.min_packs,
        order_cost: facts.order_cost_micro.map(Money::from_micro),
        holding_rate: facts.holding_rate_micro.map(Micro::from_micro),
        unit_value: facts.unit_value_micro.map(Money::from_micro),
        shelf_life_days: facts.shelf_life_days,
        budget_left: facts.budget_micro.map(Money::from_micro),
        smoothing: SmoothingView {
            level: decimal(facts.smoothing.level.get()),
            size: decimal(facts.smoothing.size.get()),
            interval: decimal(facts.smoothing.interval.get()),
            probability: decimal(facts.smoothing.probability.get()),
        },
        notice_share: facts.notice_share.iter().copied().map(decimal).collect(),
        bookings: bookings.collect(),
        stock: stock
            .map(|pack| supply(facts.today, pack.quantity_micro, pack.expires_on))
            .collect(),
        arrivals: arrivals
            .map(|arrival| supply(arrival.on, arrival.quantity_micro, arrival.expires_on))
            .collect(),
    }
}
