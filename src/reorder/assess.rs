//! The whole judgement on one material or kit: from facts to advice, nothing else.
//!
//! Order of work: history -> class -> method -> forecast; lead time -> protection interval -> reorder point; walk ->
//! run-out
//! -> day to order by -> quantity -> reason. Invariants: booked demand is never counted twice (the forecast is for
//! what nobody booked, or bookings use it up first); the same facts always give the same advice; no stored quantity is
//! a float. Absent: where facts come from and what becomes of the advice. A kit is assessed like a material, its packs
//! being the usable mix of [`super::kits`].

use chrono::{Days, NaiveDate};

use super::classify::{DemandClass, Ratio};
use super::demand::{DemandError, rounded_micro};
use super::facts::{Expiring, ReorderAdvice, ReorderFacts, ServiceMeasure};
use super::forecast::Method;
use super::foresee::{Foreseen, foresee};
use super::lead_time::{LeadTime, lead_time};
use super::order_quantity::{OrderQuantity, OrderQuantityFacts, order_quantity};
use super::reason::{ReasonFacts, reason};
use super::reorder_point::{
    BucketDemand, ProtectionInterval, ReorderPoint, ReorderPointError, ServiceTarget,
    empirical_reorder_point, normal_reorder_point, undershoot_days,
};
use super::service::{OutOfRange, normal_cdf};
use super::still_to_come::StillToCome;
use super::walk::{
    Arrival, ForecastScope, OrderBy, Outlook, WalkFacts, beyond_help_days, order_by, outlook,
};

/// Why a material could not be assessed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum AssessError {
    /// The demand series.
    #[error(transparent)]
    Demand(#[from] DemandError),
    /// An argument is out of range.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// The reorder point.
    #[error(transparent)]
    ReorderPoint(#[from] ReorderPointError),
}

/// Judges one material.
///
/// # Errors
/// [`AssessError`] for a bucket length, lead time or service level out of range, or a demand beyond 64 bits.
///
/// ```
/// use chrono::NaiveDate;
/// use heeltap::reorder::{assess::assess, facts::ReorderFacts, forecast::Method, walk::UsablePack};
/// let mut facts = ReorderFacts::new("BASE-1", "g", NaiveDate::from_ymd_opt(2031, 3, 3).unwrap());
/// facts.stated_use_per_month_micro = Some(304_375_000);
/// facts.packs = vec![UsablePack { quantity_micro: 500_000_000, expires_on: None }];
/// facts.on_hand_micro = 500_000_000;
/// facts.catalogue_lead_days = Some(10.0);
/// let advice = assess(&facts).unwrap();
/// assert_eq!(advice.method, Method::BookingsAndStatedUse);
/// assert_eq!(advice.daily_demand_micro, 10_000_000);
/// assert_eq!(advice.runs_out_on, NaiveDate::from_ymd_opt(2031, 4, 22));
/// ```
pub fn assess(facts: &ReorderFacts) -> Result<ReorderAdvice, AssessError> {
    let lead_time = lead_time(&facts.past_lead_days, facts.catalogue_lead_days)?;
    let foreseen = foresee(facts)?;
    let interval = protection_interval(facts, foreseen.scope, lead_time);
    let outlook = look_ahead(facts, &foreseen, &lead_time);
    let annual_micro = annual_demand_micro(&foreseen, &outlook);
    let sizing = sizing(facts, annual_micro);
    // How much is ordered as a rule; what is left of a budget today bears on today's order alone.
    let usual = order_quantity(&OrderQuantityFacts {
        budget_micro: None,
        ..sizing
    });
    let (point, level) = reorder_point(facts, &foreseen, &interval, &usual)?;
    let by = order_by(&outlook, &lead_time.by_day(), level, facts.approval_days);
    let order_quantity = order_quantity(&OrderQuantityFacts {
        needed_micro: needed_micro(facts, &outlook, &interval, by, &point),
        usable_micro: usable_before_expiry_micro(facts, &outlook, &lead_time, by, annual_micro),
        ..sizing
    });
    Ok(advice(
        facts,
        Judged {
            foreseen,
            interval,
            outlook,
            point,
            by,
            order_quantity,
        },
    ))
}

/// All that was found, before it is put into words.
struct Judged<'a> {
    foreseen: Foreseen,
    interval: ProtectionInterval<'a>,
    outlook: Outlook,
    point: ReorderPoint,
    by: Option<OrderBy>,
    order_quantity: OrderQuantity,
}

fn advice(facts: &ReorderFacts, judged: Judged<'_>) -> ReorderAdvice {
    let Judged {
        foreseen, outlook, ..
    } = judged;
    let lead_time = judged.interval.lead_time;
    let (stock_micro, usable_micro) = usable(facts);
    let on_order_micro = sum_micro(facts.arrivals.iter().map(|arrival| arrival.quantity_micro));
    let known_demand_micro = booked_micro(facts, f64::from(facts.horizon_days));
    let daily_demand_micro = rounded_micro(foreseen.daily_mean_micro());
    let near_position_micro = stock_micro
        .saturating_add(on_order_micro)
        .saturating_sub(booked_micro(facts, judged.interval.mean_days()));
    let next_look = next_look(facts);
    let due = judged.by.is_some_and(|by| {
        by.on < next_look || near_position_micro <= judged.point.reorder_point_micro
    });
    let reason = reason(&ReasonFacts {
        unit: &facts.unit,
        usable_micro,
        on_order_micro,
        known_demand_micro,
        daily_demand_micro,
        method: foreseen.method,
        use_is_stated: facts.stated_use_per_month_micro.is_some(),
        lead_time,
        runs_out_on: outlook.runs_out_on,
        runs_out_early_on: outlook.runs_out_early_on,
        order_by: judged.by,
        horizon_days: facts.horizon_days,
    });
    ReorderAdvice {
        material: facts.material.clone(),
        class: foreseen.class,
        method: foreseen.method,
        scope: foreseen.scope,
        on_hand_micro: facts.on_hand_micro,
        reserved_micro: facts.reserved_micro,
        on_order_micro,
        position_micro: stock_micro
            .saturating_add(on_order_micro)
            .saturating_sub(known_demand_micro),
        usable_micro,
        known_demand_micro,
        daily_demand_micro,
        lead_time,
        protection_days: judged.interval.mean_days(),
        reorder_point_micro: judged.point.reorder_point_micro,
        safety_stock_micro: judged.point.safety_stock_micro,
        order_quantity: judged.order_quantity,
        runs_out_on: outlook.runs_out_on,
        runs_out_early_on: outlook.runs_out_early_on,
        order_by: judged.by.map(|by| by.on),
        late: judged.by.is_some_and(|by| by.late),
        due,
        reason,
        back_test: foreseen.back_test,
        expiring: expiring(facts, &outlook),
        days: outlook.days,
        buckets: foreseen.buckets,
    }
}

/// The day of the next look at the stock, on which an order can be placed again: one that must be placed before is due.
fn next_look(facts: &ReorderFacts) -> NaiveDate {
    let days = Days::new(u64::from(facts.review_days.max(1)));
    facts.today.checked_add_days(days).unwrap_or(facts.today)
}

/// The walk with the forecast's figures per day.
fn look_ahead(facts: &ReorderFacts, foreseen: &Foreseen, lead_time: &LeadTime) -> Outlook {
    let arrivals = expected_arrivals(facts, lead_time);
    outlook(&WalkFacts {
        today: facts.today,
        packs: &facts.packs,
        arrivals: &arrivals,
        bookings: &facts.bookings,
        daily_mean_micro: foreseen.daily_mean_micro(),
        daily_sd_micro: foreseen.daily_sd_micro(),
        daily_level_sd_micro: foreseen.daily_level_sd_micro(),
        scope: foreseen.scope,
        to_come: to_come(facts, foreseen.scope),
        horizon_days: facts.horizon_days,
        beyond_help_days: beyond_help_days(
            facts.today,
            &arrivals,
            lead_time.mean_days.round() as u64 + u64::from(facts.approval_days),
        ),
    })
}

/// What is booked by now of the demand that the forecast is for; of all demand, the bookings themselves say it.
fn to_come(facts: &ReorderFacts, scope: ForecastScope) -> StillToCome<'_> {
    match scope {
        ForecastScope::Unbooked => StillToCome::new(&facts.notice_share),
        ForecastScope::AllDemand => StillToCome::default(),
    }
}

fn protection_interval(
    facts: &ReorderFacts,
    scope: ForecastScope,
    lead_time: LeadTime,
) -> ProtectionInterval<'_> {
    let review_days = f64::from(facts.review_days);
    let first = facts.daily.iter().map(|entry| entry.on).min();
    let first = facts.first_day.or(first).unwrap_or(facts.today);
    let days = u32::try_from((facts.today - first).num_days()).unwrap_or(0);
    let demand = facts.unbooked_daily.as_ref().unwrap_or(&facts.daily);
    let sizes: Vec<i64> = demand.iter().map(|entry| entry.quantity_micro).collect();
    ProtectionInterval {
        lead_time,
        review_days,
        undershoot_days: undershoot_days(&sizes, days, lead_time.mean_days + review_days),
        to_come: to_come(facts, scope),
    }
}

/// An order that is overdue is given the deviation of the lead time more.
fn expected_arrivals(facts: &ReorderFacts, lead_time: &LeadTime) -> Vec<Arrival> {
    let more = Days::new(lead_time.sd_days.ceil() as u64);
    let overdue_on = facts.today.checked_add_days(more).unwrap_or(facts.today);
    facts
        .arrivals
        .iter()
        .map(|arrival| match arrival.on < facts.today {
            true => Arrival {
                on: overdue_on,
                ..*arrival
            },
            false => *arrival,
        })
        .collect()
}

/// The larger of what the walk sees within a year and what the history makes of it: bookings reach only some weeks
/// ahead.
fn annual_demand_micro(foreseen: &Foreseen, outlook: &Outlook) -> f64 {
    let seen = outlook.days.iter().take(365);
    let walked: f64 = seen.map(|day| day.demand_micro as f64).sum();
    let usual = foreseen.all_mean_micro / f64::from(foreseen.buckets.bucket_days()) * 365.0;
    walked.max(usual)
}

fn sizing(facts: &ReorderFacts, annual_demand_micro: f64) -> OrderQuantityFacts {
    OrderQuantityFacts {
        annual_demand_micro,
        order_cost_micro: facts.order_cost_micro,
        holding_rate_micro: facts.holding_rate_micro,
        unit_value_micro: facts.unit_value_micro,
        cover_days: facts.cover_days,
        needed_micro: 0,
        usable_micro: None,
        pack_quantity_micro: facts.pack_quantity_micro,
        min_packs: facts.min_packs,
        budget_micro: facts.budget_micro,
    }
}

/// The reorder point for demand that is not booked yet, and the probability of no shortage to keep until an order
/// arrives.
fn reorder_point(
    facts: &ReorderFacts,
    foreseen: &Foreseen,
    interval: &ProtectionInterval<'_>,
    usual: &OrderQuantity,
) -> Result<(ReorderPoint, f64), AssessError> {
    let share = Ratio::from_micro(facts.service_level_micro);
    let target = match facts.service_measure {
        ServiceMeasure::FillRate if usual.quantity_micro > 0 => ServiceTarget::FillRate {
            rate: share,
            order_quantity_micro: usual.quantity_micro as f64,
        },
        _ => ServiceTarget::Cycle(share),
    };
    let buckets = interval.demand_days() / f64::from(facts.bucket_days);
    let demand = BucketDemand {
        mean_micro: foreseen.mean_micro,
        sd_micro: foreseen.sd_over_micro(buckets),
        bucket_days: facts.bucket_days,
    };
    let smooth = foreseen.class == Some(DemandClass::Smooth);
    let mut point = match foreseen.method {
        Method::BookingsAndStatedUse => normal_reorder_point(&demand, interval, &target)?,
        Method::ExponentialSmoothing if smooth => normal_reorder_point(&demand, interval, &target)?,
        _ => seldom_reorder_point(foreseen, &demand, interval, &target)?,
    };
    let level = match (target, interval.demand_micro(&demand).1) {
        (ServiceTarget::Cycle(level), _) => level.as_f64(),
        (ServiceTarget::FillRate { .. }, sd) if sd > 0.0 => {
            normal_cdf(point.safety_stock_micro as f64 / sd).min(share.as_f64())
        }
        (ServiceTarget::FillRate { .. }, _) => normal_cdf(0.0).min(share.as_f64()),
    };
    if foreseen.scope == ForecastScope::AllDemand {
        // What is booked is already taken off the position; here it would count a second time.
        let booked = booked_micro(facts, interval.mean_days()).min(point.mean_micro);
        point.reorder_point_micro = point.reorder_point_micro.saturating_sub(booked).max(0);
        point.mean_micro = point.mean_micro.saturating_sub(booked);
    }
    Ok((point, level))
}

/// The reorder point from the history itself, its deviations as much wider as the mean is uncertain.
fn seldom_reorder_point(
    foreseen: &Foreseen,
    demand: &BucketDemand,
    interval: &ProtectionInterval<'_>,
    target: &ServiceTarget,
) -> Result<ReorderPoint, AssessError> {
    let of_demand_alone = BucketDemand {
        sd_micro: foreseen.sd_micro,
        ..*demand
    };
    let sd = |demand: &BucketDemand| interval.demand_micro(demand).1;
    let factor = match sd(&of_demand_alone) {
        alone if alone > 0.0 => sd(demand) / alone,
        _ => 1.0,
    };
    let history = foreseen.buckets.quantities_micro();
    let (mean, days, target) = (
        demand.mean_micro,
        demand.bucket_days,
        target.for_spread(factor),
    );
    let point = empirical_reorder_point(history, mean, days, interval, &target)?;
    Ok(point.spread(factor))
}

/// What is lacking until the next order could arrive, and the safety stock.
fn needed_micro(
    facts: &ReorderFacts,
    outlook: &Outlook,
    interval: &ProtectionInterval<'_>,
    by: Option<OrderBy>,
    point: &ReorderPoint,
) -> i64 {
    let Some(by) = by else { return 0 };
    let until = day_number(facts, by.on) + interval.mean_days().ceil() as usize;
    outlook
        .short_micro(0, until)
        .saturating_add(point.safety_stock_micro)
}

/// What of an order can be used in its shelf life: the demand that the stock at hand will not meet then.
fn usable_before_expiry_micro(
    facts: &ReorderFacts,
    outlook: &Outlook,
    lead_time: &LeadTime,
    by: Option<OrderBy>,
    annual_micro: f64,
) -> Option<i64> {
    let life = usize::from(facts.shelf_life_days?);
    let daily = annual_micro / 365.0;
    let Some(by) = by else {
        return Some(rounded_micro(daily * life as f64));
    };
    let from = day_number(facts, by.on) + lead_time.mean_days.round() as usize;
    let to = from + life;
    let beyond = to.saturating_sub(outlook.days.len().max(from));
    let lacking = outlook.short_micro(from, to);
    Some(lacking.saturating_add(rounded_micro(daily * beyond as f64)))
}

fn day_number(facts: &ReorderFacts, on: NaiveDate) -> usize {
    usize::try_from((on - facts.today).num_days()).unwrap_or(0)
}

/// Usable stock with and without what is reserved.
fn usable(facts: &ReorderFacts) -> (i64, i64) {
    let lasting = facts
        .packs
        .iter()
        .filter(|pack| pack.expires_on.is_none_or(|last| last >= facts.today));
    let stock = sum_micro(lasting.map(|pack| pack.quantity_micro));
    (stock, stock.saturating_sub(facts.reserved_micro).max(0))
}

fn booked_micro(facts: &ReorderFacts, within_days: f64) -> i64 {
    let near = facts
        .bookings
        .iter()
        .filter(|booking| ((booking.on - facts.today).num_days() as f64) < within_days);
    sum_micro(near.map(|booking| booking.quantity_micro))
}

fn sum_micro(quantities: impl Iterator<Item = i64>) -> i64 {
    quantities.fold(0, |sum, quantity| sum.saturating_add(quantity.max(0)))
}

/// What is lost, with its value to the nearest millionth of the currency.
fn expiring(facts: &ReorderFacts, outlook: &Outlook) -> Vec<Expiring> {
    outlook
        .expiring()
        .map(|(on, quantity_micro)| Expiring {
            on,
            quantity_micro,
            value_micro: facts.unit_value_micro.map(|value| {
                let product = i128::from(quantity_micro) * i128::from(value.max(0));
                i64::try_from((product + 500_000) / 1_000_000).unwrap_or(i64::MAX)
            }),
        })
        .collect()
}

#[cfg(test)]
#[path = "tests/assess.rs"]
mod tests;
