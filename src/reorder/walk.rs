//! The stock of the days to come: when it runs out, what expires, and by when to order.
//!
//! Each day what arrives is added, what was booked and what is forecast is taken (first expired first out), and what
//! expires that evening is lost. A day of which a share is booked already counts as the rest of a day. The forecast is
//! uncertain, as `scenario.rs` says. Demand only adds up, so that "no shortage by day d" has the probability of the
//! largest scenario that has none. Invariants: more stock never runs out earlier; a later day never has the higher
//! probability of no shortage. Absent: uncertain arrivals; what to order.

use chrono::{Datelike, Days, NaiveDate, Weekday};

use super::scenario::{Ground, lasting_days, lasting_days_from, walk};
use super::service::normal_cdf;
use super::still_to_come::StillToCome;

/// How far ahead to look unless told otherwise, in days.
pub const HORIZON_DAYS_DEFAULT: u16 = 400;
/// Normal quantile of the 10 % early case.
const EARLY_Z: f64 = 1.281_551_565_544_600_4;
/// Lowest scenario, distance between scenarios, and their number: from -3 to 4.
const LADDER: (f64, f64, usize) = (-3.0, 0.25, 29);

/// Stock in one pack, or in several that expire together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UsablePack {
    /// What can be used, reserved quantity included, heel excluded, in millionths of the unit.
    pub quantity_micro: i64,
    /// Last day on which it can be used; none for what keeps.
    pub expires_on: Option<NaiveDate>,
}

/// What is on order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Arrival {
    /// Day it is expected; from that day it can be used. A day gone by counts as today.
    pub on: NaiveDate,
    /// How much, in millionths of the unit.
    pub quantity_micro: i64,
    /// Last day on which it will be usable; none for what keeps.
    pub expires_on: Option<NaiveDate>,
}

/// Demand that is booked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Booking {
    /// Day of the cast; a day gone by counts as today.
    pub on: NaiveDate,
    /// How much, in millionths of the unit.
    pub quantity_micro: i64,
}

/// Which demand a forecast is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ForecastScope {
    /// Only for what nobody booked: it comes on top of the bookings.
    Unbooked,
    /// For all demand: what is booked uses it up first, so that nothing is counted twice.
    AllDemand,
}

/// What the walk starts from.
#[derive(Debug, Clone, Copy)]
pub struct WalkFacts<'a> {
    /// First day of the walk.
    pub today: NaiveDate,
    /// Usable packs; those that expired before today are left out.
    pub packs: &'a [UsablePack],
    /// What is on order.
    pub arrivals: &'a [Arrival],
    /// What is booked.
    pub bookings: &'a [Booking],
    /// Mean forecast demand of a day, in millionths of the unit, 0 or more.
    pub daily_mean_micro: f64,
    /// Standard deviation of it, days being independent, in millionths of the unit, 0 or more.
    pub daily_sd_micro: f64,
    /// Standard deviation of the mean itself, the same on every day, in millionths of the unit, 0 or more.
    pub daily_level_sd_micro: f64,
    /// What the forecast is for.
    pub scope: ForecastScope,
    /// How much of each day's forecast is still to come.
    pub to_come: StillToCome<'a>,
    /// Number of days to walk, today included, 1 or more.
    pub horizon_days: u16,
    /// Number of days from today in which an order placed now changes nothing, since what is on order already ends them: what is
    /// lacking in them is nobody's to avert any more.
    pub beyond_help_days: usize,
}

/// One day of the projected stock, all in millionths of the unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ProjectedDay {
    /// The day.
    pub on: NaiveDate,
    /// What arrives in the morning, today's stock excluded.
    pub arrived_micro: i64,
    /// What is asked for.
    pub demand_micro: i64,
    /// How much of that is not there.
    pub short_micro: i64,
    /// What expires unused in the evening.
    pub expired_micro: i64,
    /// What is left in the evening, never negative.
    pub stock_micro: i64,
}

/// The projected stock, and what can be said of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// The mean path, day by day from today.
    pub days: Vec<ProjectedDay>,
    /// First day on which the median scenario lacks something; none within the horizon.
    pub runs_out_on: Option<NaiveDate>,
    /// The same of the scenario that only one in ten exceeds.
    pub runs_out_early_on: Option<NaiveDate>,
    /// Probability of no shortage up to and including each day, those beyond help passed over; never rising.
    pub no_shortage: Vec<f64>,
}

impl Outlook {
    /// What will expire unused, day by day.
    pub fn expiring(&self) -> impl Iterator<Item = (NaiveDate, i64)> + '_ {
        self.days
            .iter()
            .filter(|day| day.expired_micro > 0)
            .map(|day| (day.on, day.expired_micro))
    }

    /// What is lacking from day `from` to before day `to` (days counted from today as 0), in millionths of the unit.
    #[must_use]
    pub fn short_micro(&self, from: usize, to: usize) -> i64 {
        self.days
            .iter()
            .take(to)
            .skip(from)
            .fold(0_i64, |sum, day| sum.saturating_add(day.short_micro))
    }
}

/// Walks the projected stock.
///
/// ```
/// use chrono::NaiveDate;
/// use heeltap::reorder::walk::*;
/// let today = NaiveDate::from_ymd_opt(2031, 3, 3).unwrap();
/// let facts = WalkFacts {
///     today,
///     packs: &[UsablePack { quantity_micro: 30_000_000, expires_on: None }],
///     arrivals: &[],
///     bookings: &[],
///     daily_mean_micro: 1_000_000.0,
///     daily_sd_micro: 500_000.0,
///     daily_level_sd_micro: 0.0,
///     scope: ForecastScope::Unbooked,
///     to_come: Default::default(),
///     horizon_days: 400,
///     beyond_help_days: 0,
/// };
/// let outlook = outlook(&facts);
/// assert_eq!(outlook.runs_out_on, NaiveDate::from_ymd_opt(2031, 4, 2));
/// assert!(outlook.runs_out_early_on < outlook.runs_out_on);
/// ```
#[must_use]
pub fn outlook(facts: &WalkFacts<'_>) -> Outlook {
    let ground = Ground::new(facts);
    let horizon = ground.days.len();
    let mut days = Vec::with_capacity(horizon);
    walk(&ground, 0.0, |projected| {
        days.push(projected);
        true
    });
    let on = |day: usize| days.get(day).map(|projected| projected.on);
    let median = days
        .iter()
        .position(|day| day.short_micro > 0)
        .unwrap_or(horizon);
    let early = lasting_days(&ground, EARLY_Z).floor() as usize;
    Outlook {
        runs_out_on: on(median),
        runs_out_early_on: on(early.min(median)),
        no_shortage: no_shortage(&ground, facts),
        days,
    }
}

/// P(no shortage up to day d) = P(Z <= z) for the z that lasts just so long, found between the scenarios of a ladder.
fn no_shortage(ground: &Ground, facts: &WalkFacts<'_>) -> Vec<f64> {
    let (lowest, rung, count) = LADDER;
    let certain = (facts.daily_sd_micro <= 0.0 && facts.daily_level_sd_micro <= 0.0)
        || facts.daily_mean_micro <= 0.0;
    let horizon = ground.days.len() as f64;
    let lasting = |z| lasting_days_from(ground, z, facts.beyond_help_days);
    let mut ladder: Vec<(f64, f64)> = Vec::with_capacity(count);
    for step in (0..count).rev() {
        let z = lowest + rung * step as f64;
        let lasts = match ladder.last() {
            Some(&(_, same)) if certain || same >= horizon => same,
            // A lower demand never lasts shorter; this holds the ladder to it against rounding.
            Some(&(_, before)) => lasting(z).max(before),
            None => lasting(z),
        };
        ladder.push((z, lasts));
    }
    ladder.reverse();
    (1..=ground.days.len())
        .map(|days| {
            let days = days as f64;
            let above = ladder.partition_point(|&(_, lasts)| lasts >= days);
            let below = above.checked_sub(1).and_then(|at| ladder.get(at));
            match (below, ladder.get(above)) {
                (None, _) => 0.0,
                (Some(_), None) => 1.0,
                (Some(&(z, long)), Some(&(_, short))) => {
                    normal_cdf(z + rung * (long - days) / (long - short))
                }
            }
        })
        .collect()
}

/// Until the last arrival that comes no later than an order placed today would (in `order_days` days), such an order changes
/// nothing: whoever ordered in time and waits is not told to order again, because it may be tight until then. Whole days from
/// today, 0 where nothing arrives so soon.
#[must_use]
pub fn beyond_help_days(today: NaiveDate, arrivals: &[Arrival], order_days: u64) -> usize {
    arrivals
        .iter()
        .map(|arrival| u64::try_from((arrival.on - today).num_days()).unwrap_or(0))
        .filter(|days| *days <= order_days)
        .max()
        .and_then(|days| usize::try_from(days).ok())
        .unwrap_or(0)
}

/// The last day to order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OrderBy {
    /// The day.
    pub on: NaiveDate,
    /// Whether an order placed in time would have had to be earlier.
    pub late: bool,
}

/// The last working day (Monday to Friday), less `approval_days`, on which an order still arrives without a shortage
/// before it with
/// probability `service_level`; today, marked late, when that day is gone; none when no order is needed within the
/// horizon.
///
/// `lead_time` gives weights of whole days, as [`super::lead_time::LeadTime::by_day`]. An order of day t that takes L
/// days can be used on day t + L. The approval is counted in calendar days and ends on a working day.
///
/// ```
/// use chrono::NaiveDate;
/// use heeltap::reorder::walk::*;
/// let today = NaiveDate::from_ymd_opt(2031, 3, 3).unwrap();
/// let facts = WalkFacts {
///     today,
///     packs: &[UsablePack { quantity_micro: 30_000_000, expires_on: None }],
///     arrivals: &[],
///     bookings: &[],
///     daily_mean_micro: 1_000_000.0,
///     daily_sd_micro: 0.0,
///     daily_level_sd_micro: 0.0,
///     scope: ForecastScope::Unbooked,
///     to_come: Default::default(),
///     horizon_days: 400,
///     beyond_help_days: 0,
/// };
/// // It runs out on Wednesday 2 April; ten days before is Sunday 23 March, so Friday the 21st.
/// let by = order_by(&outlook(&facts), &[(10, 1)], 0.95, 0).unwrap();
/// assert_eq!(by, OrderBy { on: NaiveDate::from_ymd_opt(2031, 3, 21).unwrap(), late: false });
/// ```
#[must_use]
pub fn order_by(
    outlook: &Outlook,
    lead_time: &[(u32, u64)],
    service_level: f64,
    approval_days: u16,
) -> Option<OrderBy> {
    let today = outlook.days.first()?.on;
    let last = outlook.no_shortage.len().checked_sub(1)?;
    let total: f64 = lead_time.iter().map(|&(_, weight)| weight as f64).sum();
    let kept = |day: usize| {
        let lasting = |lead: u32| match (day + lead as usize).checked_sub(1) {
            None => 1.0,
            Some(until) => outlook
                .no_shortage
                .get(until.min(last))
                .copied()
                .unwrap_or(0.0),
        };
        let sum: f64 = lead_time
            .iter()
            .map(|&(lead, weight)| lasting(lead) * weight as f64)
            .sum();
        // Weights of a sure arrival sum to 1 only up to rounding.
        total > 0.0 && sum / total >= service_level - 1e-12
    };
    if kept(last) {
        return None;
    }
    // The probability only falls, so that the last day that keeps it is found by halving.
    let (mut low, mut high) = (0, last);
    while low < high {
        let middle = low + (high - low) / 2;
        if kept(middle) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    let late = OrderBy {
        on: today,
        late: true,
    };
    let by = low
        .checked_sub(1)
        .and_then(|day| outlook.days.get(day))
        .and_then(|day| working_day_before(day.on))
        .and_then(|on| on.checked_sub_days(Days::new(u64::from(approval_days))))
        .and_then(working_day_before)
        .filter(|on| *on >= today);
    Some(by.map_or(late, |on| OrderBy { on, late: false }))
}

/// The day itself, or the Friday before a weekend.
fn working_day_before(on: NaiveDate) -> Option<NaiveDate> {
    let back = match on.weekday() {
        Weekday::Sat => 1,
        Weekday::Sun => 2,
        _ => 0,
    };
    on.checked_sub_days(Days::new(back))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(offset: u64) -> NaiveDate {
        // A Monday.
        NaiveDate::from_ymd_opt(2031, 3, 3).unwrap() + Days::new(offset)
    }

    fn pack(quantity_micro: i64, expires: Option<u64>) -> UsablePack {
        UsablePack {
            quantity_micro,
            expires_on: expires.map(day),
        }
    }

    fn facts<'a>(
        packs: &'a [UsablePack],
        daily_mean_micro: f64,
        daily_sd_micro: f64,
    ) -> WalkFacts<'a> {
        WalkFacts {
            today: day(0),
            packs,
            arrivals: &[],
            bookings: &[],
            daily_mean_micro,
            daily_sd_micro,
            daily_level_sd_micro: 0.0,
            scope: ForecastScope::Unbooked,
            to_come: StillToCome::default(),
            horizon_days: 60,
            beyond_help_days: 0,
        }
    }

    #[track_caller]
    fn check(facts: &WalkFacts<'_>, runs_out: Option<u64>, expiring: &[(u64, i64)]) {
        let found = outlook(facts);
        assert_eq!(found.runs_out_on, runs_out.map(day));
        let expected: Vec<_> = expiring
            .iter()
            .map(|&(on, quantity)| (day(on), quantity))
            .collect();
        assert_eq!(found.expiring().collect::<Vec<_>>(), expected);
    }

    #[test]
    fn stock_runs_out_when_it_is_used_up() {
        check(&facts(&[pack(100, None)], 10.0, 0.0), Some(10), &[]);
        check(&facts(&[pack(99, None)], 10.0, 0.0), Some(9), &[]);
        check(&facts(&[], 10.0, 0.0), Some(0), &[]);
        check(&facts(&[], 0.0, 0.0), None, &[]);
    }

    #[test]
    fn what_expires_first_is_used_first_and_the_rest_is_lost() {
        // Days 0 to 4 use 50 of the 80 that expire on day 4; the other 100 last ten days more.
        let packs = [pack(100, None), pack(80, Some(4))];
        check(&facts(&packs, 10.0, 0.0), Some(15), &[(4, 30)]);
        // Already expired: not usable, and no loss to come.
        let gone = [UsablePack {
            quantity_micro: 50,
            expires_on: day(0).pred_opt(),
        }];
        check(&facts(&gone, 10.0, 0.0), Some(0), &[]);
    }

    #[test]
    fn arrivals_and_bookings_fall_on_their_days() {
        let arrivals = [Arrival {
            on: day(8),
            quantity_micro: 70,
            expires_on: None,
        }];
        let bookings = [Booking {
            on: day(12),
            quantity_micro: 40,
        }];
        let packs = [pack(80, None)];
        let all = WalkFacts {
            arrivals: &arrivals,
            bookings: &bookings,
            ..facts(&packs, 10.0, 0.0)
        };
        // 80 for days 0 to 7; then 70 for days 8 to 11 and 30 of the 50 of day 12.
        check(&all, Some(12), &[]);
        let found = outlook(&all);
        assert_eq!(
            (found.days[8].arrived_micro, found.days[12].short_micro),
            (70, 20)
        );
        assert_eq!(found.short_micro(12, 14), 30);
    }

    #[test]
    fn what_is_booked_is_not_forecast_again() {
        let bookings = [Booking {
            on: day(2),
            quantity_micro: 100,
        }];
        let packs = [pack(150, None)];
        let all = WalkFacts {
            bookings: &bookings,
            scope: ForecastScope::AllDemand,
            ..facts(&packs, 10.0, 0.0)
        };
        // 20 before the booking; its 100 stand for the forecast until day 11; so day 15 is the first without.
        check(&all, Some(15), &[]);
        let unbooked = WalkFacts {
            scope: ForecastScope::Unbooked,
            ..all
        };
        check(&unbooked, Some(5), &[]);
    }

    #[test]
    fn a_share_of_a_day_is_as_uncertain_as_a_part_of_it() {
        let packs = [pack(40_000_000, None)];
        let shares = [0.5; 20];
        let thinned = WalkFacts {
            to_come: StillToCome::new(&shares),
            ..facts(&packs, 1e6, 0.5e6)
        };
        let (whole, thinned) = (outlook(&facts(&packs, 1e6, 0.5e6)), outlook(&thinned));
        for day in 19..50 {
            let found = thinned.no_shortage[day];
            assert!(
                (found - whole.no_shortage[day - 10]).abs() < 1e-9,
                "{found}"
            );
        }
        assert_eq!(thinned.days[1].stock_micro, whole.days[0].stock_micro);
    }

    #[test]
    fn an_uncertain_mean_is_the_same_error_every_day() {
        let packs = [pack(40_000_000, None)];
        let uncertain = WalkFacts {
            daily_level_sd_micro: 0.1e6,
            ..facts(&packs, 1e6, 0.5e6)
        };
        // Within 36 days the variance of the days is 36 x 0.25, that of their mean 36^2 x 0.01: as if days had 0.78.
        let as_days = outlook(&facts(&packs, 1e6, 0.61_f64.sqrt() * 1e6));
        let (alone, found) = (outlook(&facts(&packs, 1e6, 0.5e6)), outlook(&uncertain));
        assert!((found.no_shortage[35] - as_days.no_shortage[35]).abs() < 0.005);
        assert!(found.no_shortage[35] < alone.no_shortage[35]);
        assert_eq!(found.days, alone.days);
    }

    #[test]
    fn probabilities_follow_the_spread() {
        let packs = [pack(40_000_000, None)];
        let found = outlook(&facts(&packs, 1e6, 0.5e6));
        let until = |day: usize| found.no_shortage[day];
        assert!(until(10) > 0.999 && until(59) < 0.001);
        assert!((until(39) - 0.5).abs() < 0.05, "{}", until(39));
        assert!(found.no_shortage.windows(2).all(|pair| pair[0] >= pair[1]));
        // The early case is the day until which nine in ten scenarios last.
        let early = (found.runs_out_early_on.unwrap() - day(0)).num_days() as usize;
        assert!(until(early - 1) >= 0.9 - 0.03 && until(early) <= 0.9 + 0.03);
    }

    #[track_caller]
    fn check_order(stock: i64, lead: u32, approval: u16, expected: Option<(u64, bool)>) {
        let packs = [pack(stock, None)];
        let by = order_by(
            &outlook(&facts(&packs, 10.0, 0.0)),
            &[(lead, 7)],
            0.95,
            approval,
        );
        assert_eq!(by, expected.map(|(on, late)| OrderBy { on: day(on), late }));
    }

    #[test]
    fn the_last_day_to_order_is_a_working_day() {
        check_order(300, 10, 0, Some((18, false))); // Runs out on day 30; day 20 is a Sunday.
        check_order(280, 10, 0, Some((18, false)));
        check_order(270, 10, 0, Some((17, false)));
        check_order(300, 10, 3, Some((15, false)));
        check_order(300, 10, 5, Some((11, false))); // Day 13 is a Sunday.
        check_order(100, 10, 0, Some((0, false)));
        check_order(90, 10, 0, Some((0, true)));
        check_order(100, 10, 1, Some((0, true)));
        check_order(10_000, 10, 0, None);
    }

    #[test]
    fn an_uncertain_lead_time_asks_for_an_earlier_order() {
        let packs = [pack(400, None)];
        let seen = outlook(&facts(&packs, 10.0, 0.0));
        let lead = [(7, 90), (21, 10)];
        assert_eq!(order_by(&seen, &lead, 0.90, 0).unwrap().on, day(32));
        assert_eq!(order_by(&seen, &lead, 0.95, 0).unwrap().on, day(18));
    }

    fn packs() -> impl Strategy<Value = Vec<UsablePack>> {
        prop::collection::vec((1_i64..500, prop::option::of(0_u64..80)), 0..8)
            .prop_map(|packs| packs.into_iter().map(|(q, e)| pack(q, e)).collect())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(128))]
        #[test]
        fn stock_is_never_negative_and_nothing_vanishes(
            packs in packs(), coming in prop::collection::vec((0_u64..70, 1_i64..300, 0_u64..40), 0..5),
            booked in prop::collection::vec((0_u64..70, 1_i64..200), 0..5), mean in 0.0..20.0_f64, sd in 0.0..30.0_f64, z in -3.0..4.0_f64,
        ) {
            let arrivals: Vec<_> = coming.iter()
                .map(|&(on, quantity_micro, life)| Arrival { on: day(on), quantity_micro, expires_on: Some(day(on + life)) })
                .collect();
            let bookings: Vec<_> = booked.iter().map(|&(on, quantity_micro)| Booking { on: day(on), quantity_micro }).collect();
            let all = WalkFacts { arrivals: &arrivals, bookings: &bookings, ..facts(&packs, mean, sd) };
            let mut held: i64 = packs.iter().map(|p| p.quantity_micro).sum::<i64>()
                + arrivals.iter().filter(|a| a.on == day(0)).map(|a| a.quantity_micro).sum::<i64>();
            walk(&Ground::new(&all), z, |on| {
                held += on.arrived_micro - (on.demand_micro - on.short_micro) - on.expired_micro;
                assert!(on.stock_micro >= 0 && on.demand_micro >= 0 && on.short_micro >= 0);
                assert_eq!(on.stock_micro, held);
                true
            });
        }

        #[test]
        fn more_stock_never_runs_out_earlier(
            packs in packs(), more in 1_i64..500, expires in prop::option::of(0_u64..80), mean in 0.1..20.0_f64, sd in 0.0..30.0_f64,
        ) {
            let mut richer = packs.clone();
            richer.push(pack(more, expires));
            let (before, after) = (outlook(&facts(&packs, mean, sd)), outlook(&facts(&richer, mean, sd)));
            let end = day(1000);
            prop_assert!(after.runs_out_on.unwrap_or(end) >= before.runs_out_on.unwrap_or(end));
            prop_assert!(after.runs_out_early_on.unwrap_or(end) >= before.runs_out_early_on.unwrap_or(end));
            prop_assert!(after.runs_out_on.unwrap_or(end) >= after.runs_out_early_on.unwrap_or(end));
            let order = |seen: &Outlook| order_by(seen, &[(5, 1), (9, 1)], 0.9, 0).map_or(end, |by| by.on);
            prop_assert!(order(&after) >= order(&before));
        }
    }
}
