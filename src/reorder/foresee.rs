//! From the history of one material to the demand of the days to come.
//!
//! Invariants: the forecast is for unbooked demand where that is kept apart, else for all demand, of which bookings are
//! then a part; too little history is never made up for by a guess: only what is stated counts. Absent: the walk and what
//! follows from it, see [`super::assess`].

use super::classify::{Classification, DemandClass, classify};
use super::demand::{Buckets, DemandError, gather};
use super::facts::ReorderFacts;
use super::forecast::{BackTest, Method, back_test, choose_method, forecast};
use super::reorder_point::scaled_sd_micro;
use super::walk::ForecastScope;

/// Standard deviation of a week's use over its mean, where only a use per month is stated (assumption).
pub const STATED_USE_WEEKLY_CV: f64 = 0.5;
/// Days of a month of the stated use: 365.25 / 12.
pub const DAYS_PER_MONTH: f64 = 30.437_5;
/// What the history says of the days to come, per bucket.
pub(super) struct Foreseen {
    pub(super) class: Option<DemandClass>,
    pub(super) method: Method,
    pub(super) scope: ForecastScope,
    pub(super) mean_micro: f64,
    pub(super) sd_micro: f64,
    /// Mean of all demand, booked or not, as the history shows it.
    pub(super) all_mean_micro: f64,
    pub(super) back_test: Option<BackTest>,
    pub(super) buckets: Buckets,
}

impl Foreseen {
    pub(super) fn daily_mean_micro(&self) -> f64 {
        self.mean_micro / f64::from(self.buckets.bucket_days())
    }

    pub(super) fn daily_sd_micro(&self) -> f64 {
        self.sd_micro / f64::from(self.buckets.bucket_days()).sqrt()
    }
}

/// The forecast: enough history is a matter of all demand, the method one of the demand it is for.
pub(super) fn foresee(facts: &ReorderFacts) -> Result<Foreseen, DemandError> {
    let first_day = facts
        .first_day
        .or_else(|| facts.daily.iter().map(|entry| entry.on).min())
        .unwrap_or(facts.today);
    let all = gather(&facts.daily, first_day, facts.today, facts.bucket_days)?;
    let all_class = classify(all.quantities_micro());
    let all_method = choose_method(
        all.quantities_micro(),
        facts.bucket_days,
        all_class.as_ref(),
    );
    let all_mean = forecast(all_method, &all.as_f64(), &facts.smoothing);
    let Some(all_mean_micro) = all_mean else {
        return Ok(stated(facts, all_class, all));
    };
    let Some(unbooked_daily) = &facts.unbooked_daily else {
        let scope = ForecastScope::AllDemand;
        return Ok(forecast_of(
            facts,
            all,
            all_class,
            all_method,
            scope,
            all_mean_micro,
        ));
    };
    let unbooked = gather(unbooked_daily, first_day, facts.today, facts.bucket_days)?;
    let class = classify(unbooked.quantities_micro());
    let method = match choose_method(
        unbooked.quantities_micro(),
        facts.bucket_days,
        class.as_ref(),
    ) {
        // The material has a history; that little of it was unbooked is a finding, not a lack of data.
        Method::BookingsAndStatedUse => Method::TeunterSyntetosBabai,
        method => method,
    };
    let scope = ForecastScope::Unbooked;
    Ok(forecast_of(
        facts,
        unbooked,
        class,
        method,
        scope,
        all_mean_micro,
    ))
}

fn forecast_of(
    facts: &ReorderFacts,
    buckets: Buckets,
    class: Option<Classification>,
    method: Method,
    scope: ForecastScope,
    all_mean_micro: f64,
) -> Foreseen {
    let series = buckets.as_f64();
    let mean_micro = forecast(method, &series, &facts.smoothing).unwrap_or(0.0);
    let back_test = back_test(method, &series, &facts.smoothing);
    let sd_micro = match (method, back_test) {
        // What a smoothed level misses by is the uncertainty to cover; of seldom demand it is the demand itself.
        (Method::ExponentialSmoothing, Some(tested)) => tested.error,
        _ => scaled_sd_micro(buckets.quantities_micro(), mean_micro),
    };
    Foreseen {
        class: class.map(|found| found.class),
        method,
        scope,
        mean_micro,
        sd_micro,
        all_mean_micro,
        back_test,
        buckets,
    }
}

fn stated(facts: &ReorderFacts, class: Option<Classification>, buckets: Buckets) -> Foreseen {
    let days = f64::from(facts.bucket_days);
    let monthly = facts.stated_use_per_month_micro.unwrap_or(0).max(0) as f64;
    let mean_micro = monthly / DAYS_PER_MONTH * days;
    Foreseen {
        class: class.map(|found| found.class),
        method: Method::BookingsAndStatedUse,
        scope: ForecastScope::AllDemand,
        mean_micro,
        sd_micro: STATED_USE_WEEKLY_CV * mean_micro * (7.0 / days).sqrt(),
        all_mean_micro: mean_micro,
        back_test: None,
        buckets,
    }
}
