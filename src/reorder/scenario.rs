//! One scenario of the days to come, walked day by day: what is used, what is lacking, what expires.
//!
//! Scenario z uses, from today up to a day, the mean of what is to come plus the spread of a gamma distribution of that mean
//! and of its variance at the normal quantile z (Wilson and Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684-688, from memory).
//! The variance is that of independent days and, besides, that of the mean itself, which is the same error every day.
//! Invariants: the scenario 0 is the mean path; demand and stock are never negative; what came in equals what was used, lost
//! and left. What does not depend on the scenario is laid out once, since each outlook walks thirty of them. Absent: which
//! scenarios, and what they say together, see [`super::walk`].

use chrono::NaiveDate;

use super::demand::rounded_micro;
use super::walk::{ForecastScope, ProjectedDay, WalkFacts};

#[derive(Debug, Clone, Copy)]
struct Supply {
    first_day: usize,
    last_day: usize,
    left_micro: i64,
}

/// One day to come, before anything is known of the scenario.
#[derive(Debug, Clone, Copy)]
pub(super) struct Day {
    on: NaiveDate,
    booked_micro: i64,
    /// Booked up to and including the day.
    booked_so_far_micro: i64,
    arriving_micro: i64,
    forecast: Forecast,
}

/// The facts by day number.
pub(super) struct Ground {
    scope: ForecastScope,
    /// What expires first comes first.
    supplies: Vec<Supply>,
    pub(super) days: Vec<Day>,
}

impl Ground {
    pub(super) fn new(facts: &WalkFacts<'_>) -> Ground {
        let number = |on: NaiveDate| usize::try_from((on - facts.today).num_days()).unwrap_or(0);
        let packs = facts
            .packs
            .iter()
            .map(|pack| (facts.today, pack.quantity_micro, pack.expires_on));
        let arrivals = facts
            .arrivals
            .iter()
            .map(|arrival| (arrival.on, arrival.quantity_micro, arrival.expires_on));
        let mut supplies: Vec<Supply> = packs
            .chain(arrivals)
            .filter(|&(on, quantity, expires)| {
                quantity > 0 && expires.is_none_or(|last| last >= on.max(facts.today))
            })
            .map(|(on, left_micro, expires)| Supply {
                first_day: number(on),
                last_day: expires.map_or(usize::MAX, number),
                left_micro,
            })
            .collect();
        supplies.sort_by_key(|supply| (supply.last_day, supply.first_day));
        let horizon = usize::from(facts.horizon_days.max(1));
        let mut forecast_days = 0.0;
        let forecasts = (0..horizon).map(|ahead| {
            forecast_days += facts.to_come.of_day(ahead);
            Forecast::over(facts, forecast_days)
        });
        let mut days: Vec<Day> = forecasts
            .zip(facts.today.iter_days())
            .map(|(forecast, on)| Day {
                on,
                booked_micro: 0,
                booked_so_far_micro: 0,
                arriving_micro: 0,
                forecast,
            })
            .collect();
        for booking in facts.bookings {
            if let Some(day) = days.get_mut(number(booking.on)) {
                day.booked_micro = day
                    .booked_micro
                    .saturating_add(booking.quantity_micro.max(0));
            }
        }
        for supply in supplies.iter().filter(|supply| supply.first_day > 0) {
            if let Some(day) = days.get_mut(supply.first_day) {
                day.arriving_micro = day.arriving_micro.saturating_add(supply.left_micro);
            }
        }
        let mut so_far = 0_i64;
        for day in &mut days {
            so_far = so_far.saturating_add(day.booked_micro);
            day.booked_so_far_micro = so_far;
        }
        Ground {
            scope: facts.scope,
            supplies,
            days,
        }
    }
}

/// The use from today up to and including a day: the mean, plus the spread of a gamma distribution about its median.
#[derive(Debug, Clone, Copy)]
struct Forecast {
    mean_micro: f64,
    /// The cube root of the gamma distribution over its mean is normal: its mean, the cube of that, and its deviation.
    root: f64,
    root_cubed: f64,
    root_sd: f64,
}

impl Forecast {
    fn over(facts: &WalkFacts<'_>, days: f64) -> Forecast {
        let mean_micro = facts.daily_mean_micro.max(0.0) * days;
        let level_sd = facts.daily_level_sd_micro.max(0.0) * days;
        let sd = facts.daily_sd_micro.max(0.0) * days.sqrt();
        let sd = (sd * sd + level_sd * level_sd).sqrt();
        if mean_micro <= 0.0 || sd <= 0.0 {
            return Forecast {
                mean_micro,
                root: 1.0,
                root_cubed: 1.0,
                root_sd: 0.0,
            };
        }
        let variation = sd / mean_micro;
        let root = 1.0 - variation * variation / 9.0;
        Forecast {
            mean_micro,
            root,
            root_cubed: cubed(root),
            root_sd: variation / 3.0,
        }
    }

    fn scenario_micro(&self, z: f64) -> i64 {
        let spread = cubed(self.root + z * self.root_sd) - self.root_cubed;
        rounded_micro((self.mean_micro * (1.0 + spread)).max(0.0))
    }
}

fn cubed(root: f64) -> f64 {
    let root = root.max(0.0);
    root * root * root
}

/// Walks one scenario, calling `each` with every day until it says stop.
pub(super) fn walk(ground: &Ground, z: f64, mut each: impl FnMut(ProjectedDay) -> bool) {
    let mut supplies = ground.supplies.clone();
    let at_hand = supplies.iter().filter(|supply| supply.first_day == 0);
    let mut stock: i128 = at_hand.map(|supply| i128::from(supply.left_micro)).sum();
    let mut first_alive = 0;
    let mut unbooked_so_far = 0_i64;
    for (number, day) in ground.days.iter().enumerate() {
        let forecast = day.forecast.scenario_micro(z);
        let unbooked_now = match ground.scope {
            ForecastScope::Unbooked => forecast,
            ForecastScope::AllDemand => forecast.saturating_sub(day.booked_so_far_micro),
        }
        .max(unbooked_so_far);
        let demand_micro = day
            .booked_micro
            .saturating_add(unbooked_now - unbooked_so_far);
        unbooked_so_far = unbooked_now;

        let (mut short_micro, mut expired_micro) = (demand_micro, 0_i64);
        stock += i128::from(day.arriving_micro);
        for supply in supplies.iter_mut().skip(first_alive) {
            if short_micro == 0 && supply.last_day > number {
                // What comes after it lasts as long or longer.
                break;
            }
            if supply.first_day > number || supply.left_micro == 0 {
                continue;
            }
            let used = supply.left_micro.min(short_micro);
            supply.left_micro -= used;
            short_micro -= used;
            stock -= i128::from(used);
            if supply.last_day == number {
                expired_micro = expired_micro.saturating_add(supply.left_micro);
                stock -= i128::from(supply.left_micro);
                supply.left_micro = 0;
            }
        }
        while supplies
            .get(first_alive)
            .is_some_and(|supply| supply.left_micro == 0)
        {
            first_alive += 1;
        }
        let goes_on = each(ProjectedDay {
            on: day.on,
            arrived_micro: day.arriving_micro,
            demand_micro,
            short_micro,
            expired_micro,
            stock_micro: i64::try_from(stock).unwrap_or(i64::MAX),
        });
        if !goes_on {
            return;
        }
    }
}

/// Time until the first shortage in scenario `z`, in days from this morning: whole days, and the share of the demand
/// of the
/// first day with a shortage that is still met; the horizon when there is none.
pub(super) fn lasting_days(ground: &Ground, z: f64) -> f64 {
    lasting_days_from(ground, z, 0)
}

/// The same for the first shortage on or after day `from` (today is 0); what is lacking before is passed over.
pub(super) fn lasting_days_from(ground: &Ground, z: f64, from: usize) -> f64 {
    let (mut days, mut day) = (0.0, 0);
    walk(ground, z, |projected| {
        let enough = projected.short_micro == 0 || day < from;
        day += 1;
        days += if enough {
            1.0
        } else {
            1.0 - projected.short_micro as f64 / projected.demand_micro as f64
        };
        enough
    });
    days
}
