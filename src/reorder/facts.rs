//! What the reorder judgement reads and what it says: two plain records.
//!
//! Invariants: every quantity is a whole number of millionths of the unit, money of the currency; no stored quantity
//! is a float.
//! Absent: the judgement itself, see [`super::assess`]; the shapes of the API.

use chrono::NaiveDate;

use super::classify::DemandClass;
use super::demand::{BUCKET_DAYS_DEFAULT, Buckets, DailyDemand};
use super::forecast::{BackTest, Method, Smoothing};
use super::lead_time::LeadTime;
use super::order_quantity::{COVER_DAYS_DEFAULT, OrderQuantity};
use super::walk::{
    Arrival, Booking, ForecastScope, HORIZON_DAYS_DEFAULT, ProjectedDay, UsablePack,
};
pub use crate::catalogue::ServiceMeasure;

/// Service level unless the material has another, in millionths (assumption).
pub const SERVICE_LEVEL_MICRO_DEFAULT: i64 = 950_000;

/// All that is known of a material, or of a kit, for its reorder advice. Quantities in millionths of the unit, money
/// in millionths of the currency.
#[derive(Debug, Clone, PartialEq)]
pub struct ReorderFacts {
    /// Code of the material or kit.
    pub material: String,
    /// Its unit, such as `g`.
    pub unit: String,
    /// Local day of the judgement.
    pub today: NaiveDate,
    /// Demand of the past by day, booked or not.
    pub daily: Vec<DailyDemand>,
    /// First day for which demand is known; that of the first demand when none.
    pub first_day: Option<NaiveDate>,
    /// The part of the past demand that was not booked in time, with refused bookings, if it is kept apart.
    pub unbooked_daily: Option<Vec<DailyDemand>>,
    /// For 0, 1, 2, ... days ahead, the share of a day's unbooked demand that is not booked yet; never falling, 1 beyond the
    /// last. Read with `unbooked_daily` only.
    pub notice_share: Vec<f64>,
    /// What is booked.
    pub bookings: Vec<Booking>,
    /// Packs that can be used, reserved quantity included; held packs and heels left out.
    pub packs: Vec<UsablePack>,
    /// What all packs hold.
    pub on_hand_micro: i64,
    /// What is promised from them.
    pub reserved_micro: i64,
    /// What is on order.
    pub arrivals: Vec<Arrival>,
    /// Use per month that the catalogue states.
    pub stated_use_per_month_micro: Option<i64>,
    /// Days from order to receipt of past orders.
    pub past_lead_days: Vec<u32>,
    /// The catalogue's lead time, in days.
    pub catalogue_lead_days: Option<f64>,
    /// The service level, in millionths.
    pub service_level_micro: i64,
    /// What it is a share of.
    pub service_measure: ServiceMeasure,
    /// Days between two looks at the stock.
    pub review_days: u16,
    /// Days from the wish to order to the order.
    pub approval_days: u16,
    /// Cost of placing an order.
    pub order_cost_micro: Option<i64>,
    /// Cost of keeping stock, in millionths of its value per year.
    pub holding_rate_micro: Option<i64>,
    /// Value of one unit.
    pub unit_value_micro: Option<i64>,
    /// Content of a pack.
    pub pack_quantity_micro: Option<i64>,
    /// Fewest packs of an order.
    pub min_packs: u32,
    /// Days from arrival on which a new pack can be used.
    pub shelf_life_days: Option<u16>,
    /// What the period may still spend on it.
    pub budget_micro: Option<i64>,
    /// Days of demand to order when a cost is missing.
    pub cover_days: u16,
    /// Length of a bucket of demand, in days.
    pub bucket_days: u16,
    /// Days to look ahead.
    pub horizon_days: u16,
    /// Smoothing constants of the forecasts.
    pub smoothing: Smoothing,
}

impl ReorderFacts {
    /// A material of which nothing is known yet, with the defaults: weekly buckets, 400 days ahead, 95 % cycle
    /// service, a daily review, no approval.
    ///
    /// ```
    /// use chrono::NaiveDate;
    /// use heeltap::reorder::{assess::assess, facts::ReorderFacts};
    /// let facts = ReorderFacts::new("TAPE-25", "m", NaiveDate::from_ymd_opt(2031, 3, 3).unwrap());
    /// assert_eq!(assess(&facts).unwrap().order_by, None);
    /// ```
    #[must_use]
    pub fn new(material: &str, unit: &str, today: NaiveDate) -> ReorderFacts {
        ReorderFacts {
            material: material.to_owned(),
            unit: unit.to_owned(),
            today,
            daily: Vec::new(),
            first_day: None,
            unbooked_daily: None,
            notice_share: Vec::new(),
            bookings: Vec::new(),
            packs: Vec::new(),
            on_hand_micro: 0,
            reserved_micro: 0,
            arrivals: Vec::new(),
            stated_use_per_month_micro: None,
            past_lead_days: Vec::new(),
            catalogue_lead_days: None,
            service_level_micro: SERVICE_LEVEL_MICRO_DEFAULT,
            service_measure: ServiceMeasure::Cycle,
            review_days: 1,
            approval_days: 0,
            order_cost_micro: None,
            holding_rate_micro: None,
            unit_value_micro: None,
            pack_quantity_micro: None,
            min_packs: 1,
            shelf_life_days: None,
            budget_micro: None,
            cover_days: COVER_DAYS_DEFAULT,
            bucket_days: BUCKET_DAYS_DEFAULT,
            horizon_days: HORIZON_DAYS_DEFAULT,
            smoothing: Smoothing::default(),
        }
    }
}

/// Stock that will expire unused on the mean path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Expiring {
    /// Last day on which it can be used.
    pub on: NaiveDate,
    /// How much of it will be left, in millionths of the unit.
    pub quantity_micro: i64,
    /// Its value, in millionths of the currency, if the value of a unit is known.
    pub value_micro: Option<i64>,
}

/// The advice on one material. Quantities in millionths of the unit, rounded half away from zero.
#[derive(Debug, Clone, PartialEq)]
pub struct ReorderAdvice {
    /// Code of the material or kit.
    pub material: String,
    /// Class of the demand that is forecast; none when there was none.
    pub class: Option<DemandClass>,
    /// Method of the forecast.
    pub method: Method,
    /// Which demand the forecast is for.
    pub scope: ForecastScope,
    /// What all packs hold.
    pub on_hand_micro: i64,
    /// What is promised from them.
    pub reserved_micro: i64,
    /// What is on order.
    pub on_order_micro: i64,
    /// Usable stock, reserved quantity included, plus on order less known demand; negative when short.
    pub position_micro: i64,
    /// Usable stock that is not reserved.
    pub usable_micro: i64,
    /// What is booked within the horizon.
    pub known_demand_micro: i64,
    /// Forecast demand of a day; in the scope [`ForecastScope::AllDemand`] what is booked is part of it.
    pub daily_demand_micro: i64,
    /// The lead time.
    pub lead_time: LeadTime,
    /// Mean protection interval, in days.
    pub protection_days: f64,
    /// Order when the position is at or below this. It is for demand that is not booked yet.
    pub reorder_point_micro: i64,
    /// How much of it is above the mean.
    pub safety_stock_micro: i64,
    /// How much to order when ordering.
    pub order_quantity: OrderQuantity,
    /// Median day of running out, if within the horizon.
    pub runs_out_on: Option<NaiveDate>,
    /// The 10 % early case, if within the horizon.
    pub runs_out_early_on: Option<NaiveDate>,
    /// Last day to order, if an order is needed within the horizon.
    pub order_by: Option<NaiveDate>,
    /// Whether that day is gone.
    pub late: bool,
    /// Whether to order now: the day to order by comes before the next look at the stock, or usable stock plus on order
    /// less what is booked within the protection interval is at or below the reorder point (which also covers the review
    /// and the undershoot).
    pub due: bool,
    /// One plain sentence.
    pub reason: String,
    /// How well the method would have done, if there is a history.
    pub back_test: Option<BackTest>,
    /// What will expire unused.
    pub expiring: Vec<Expiring>,
    /// The projected stock, day by day.
    pub days: Vec<ProjectedDay>,
    /// The demand that the method read.
    pub buckets: Buckets,
}
