//! Forecasts of demand per period: exponential smoothing, Croston, Syntetos-Boylan, Teunter-Syntetos-Babai.
//!
//! Sources: J. D. Croston, "Forecasting and stock control for intermittent demands", Oper. Res. Q. 23 (1972)
//! 289-303; A. A. Syntetos and J. E. Boylan, "The accuracy of intermittent demand estimates", Int. J.
//! Forecasting 21 (2005) 303-314 (both from memory); R. H. Teunter, A. A. Syntetos and M. Z. Babai,
//! "Intermittent demand: linking forecasting to inventory obsolescence", Eur. J. Oper. Res. 214 (2011) 606-615.
//!
//! Conventions: every smoother starts at its first value and updates from the second on; the first interval is
//! the 1-based position of the first demand; the probability of demand is smoothed from period 1, leading zeros
//! included; the forecast is flat. Invariants: a forecast is finite and never negative; nothing but zeros gives
//! 0. Absent: trend and season, which a teaching lab's bookings tell better than its history.

use super::classify::Classification;

/// Fewest weeks of history for a forecast.
pub const HISTORY_WEEKS_MIN: usize = 26;
/// Fewest periods with demand for a forecast.
pub const DEMANDS_MIN: usize = 8;
/// Mean intervals without demand after which a material counts as fading.
pub const FADING_INTERVALS: usize = 3;

/// A smoothing constant: above 0, at most 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Alpha(f64);

/// A smoothing constant that is out of range.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("a smoothing constant is {0}, but must be above 0 and at most 1")]
pub struct AlphaError(pub f64);

impl Alpha {
    /// Parses a smoothing constant.
    ///
    /// # Errors
    /// [`AlphaError`] unless 0 < `value` <= 1.
    ///
    /// ```
    /// use heeltap::reorder::forecast::Alpha;
    /// assert!(Alpha::new(0.1).is_ok());
    /// assert!(Alpha::new(0.0).is_err());
    /// ```
    pub fn new(value: f64) -> Result<Alpha, AlphaError> {
        if value > 0.0 && value <= 1.0 {
            Ok(Alpha(value))
        } else {
            Err(AlphaError(value))
        }
    }

    /// The constant.
    #[must_use]
    pub fn get(self) -> f64 {
        self.0
    }
}

/// The smoothing constants of all methods.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Smoothing {
    /// Of the level of exponential smoothing.
    pub level: Alpha,
    /// Of the sizes of demand.
    pub size: Alpha,
    /// Of the intervals between demands.
    pub interval: Alpha,
    /// Of the probability of demand in a period.
    pub probability: Alpha,
}

impl Default for Smoothing {
    /// 0.2 for the level and 0.1 for the rest: common practice.
    fn default() -> Smoothing {
        Smoothing {
            level: Alpha(0.2),
            size: Alpha(0.1),
            interval: Alpha(0.1),
            probability: Alpha(0.1),
        }
    }
}

/// How the demand that is not booked is foreseen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// For smooth and erratic demand.
    ExponentialSmoothing,
    /// For intermittent and lumpy demand.
    SyntetosBoylan,
    /// For demand that may have ended.
    TeunterSyntetosBabai,
    /// For too short a history: what is booked and what the catalogue states.
    BookingsAndStatedUse,
}

impl Method {
    /// The name in the API, such as `exponential_smoothing`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Method::ExponentialSmoothing => "exponential_smoothing",
            Method::SyntetosBoylan => "syntetos_boylan",
            Method::TeunterSyntetosBabai => "teunter_syntetos_babai",
            Method::BookingsAndStatedUse => "bookings_and_stated_use",
        }
    }
}

/// The method for a series in buckets of `bucket_days`, with its `classification` (none when nothing was used).
///
/// Fewer than 26 weeks or 8 periods with demand: bookings and stated use. Three mean intervals between demands
/// (periods up to the last demand, by the number of demands) without any since: Teunter-Syntetos-Babai. Else by class.
///
/// ```
/// use heeltap::reorder::{classify::classify, forecast::{Method, choose_method}};
/// let series = [5_000_000; 30];
/// assert_eq!(choose_method(&series, 7, classify(&series).as_ref()), Method::ExponentialSmoothing);
/// assert_eq!(choose_method(&series[..25], 7, classify(&series).as_ref()), Method::BookingsAndStatedUse);
/// ```
#[must_use]
pub fn choose_method(
    demand_micro: &[i64],
    bucket_days: u16,
    classification: Option<&Classification>,
) -> Method {
    use super::classify::DemandClass::{Erratic, Intermittent, Lumpy, Smooth};
    let enough_days = demand_micro.len() * usize::from(bucket_days) >= HISTORY_WEEKS_MIN * 7;
    let Some(found) = classification.filter(|c| enough_days && c.demands >= DEMANDS_MIN) else {
        return Method::BookingsAndStatedUse;
    };
    let last = demand_micro
        .iter()
        .rposition(|&x| x > 0)
        .map_or(0, |at| at + 1);
    if (demand_micro.len() - last) * found.demands >= FADING_INTERVALS * last {
        return Method::TeunterSyntetosBabai;
    }
    match found.class {
        Smooth | Erratic => Method::ExponentialSmoothing,
        Intermittent | Lumpy => Method::SyntetosBoylan,
    }
}

/// A value smoothed from its first observation on.
#[derive(Debug, Clone, Copy)]
struct Level {
    alpha: f64,
    value: Option<f64>,
}

impl Level {
    fn new(alpha: Alpha) -> Level {
        Level {
            alpha: alpha.0,
            value: None,
        }
    }

    fn observe(&mut self, x: f64) {
        self.value = Some(match self.value {
            None => x,
            Some(level) => self.alpha * x + (1.0 - self.alpha) * level,
        });
    }

    fn or_zero(self) -> f64 {
        self.value.unwrap_or(0.0)
    }
}

/// Sizes and intervals, smoothed at each demand.
#[derive(Debug, Clone, Copy)]
struct Croston {
    size: Level,
    interval: Level,
    waited: f64,
}

impl Croston {
    fn observe(&mut self, x: f64) {
        self.waited += 1.0;
        if x > 0.0 {
            self.size.observe(x);
            self.interval.observe(self.waited);
            self.waited = 0.0;
        }
    }

    fn rate(&self) -> f64 {
        self.interval.value.map_or(0.0, |i| self.size.or_zero() / i)
    }
}

/// The state of a method while it reads a series.
#[derive(Debug, Clone, Copy)]
enum Smoother {
    Level(Level),
    SyntetosBoylan { croston: Croston, factor: f64 },
    TeunterSyntetosBabai { size: Level, probability: Level },
}

impl Smoother {
    fn new(method: Method, smoothing: &Smoothing) -> Option<Smoother> {
        match method {
            Method::ExponentialSmoothing => Some(Smoother::Level(Level::new(smoothing.level))),
            Method::SyntetosBoylan => Some(Smoother::SyntetosBoylan {
                croston: Croston {
                    size: Level::new(smoothing.size),
                    interval: Level::new(smoothing.interval),
                    waited: 0.0,
                },
                factor: 1.0 - smoothing.interval.0 / 2.0,
            }),
            Method::TeunterSyntetosBabai => Some(Smoother::TeunterSyntetosBabai {
                size: Level::new(smoothing.size),
                probability: Level::new(smoothing.probability),
            }),
            Method::BookingsAndStatedUse => None,
        }
    }

    fn observe(&mut self, x: f64) {
        match self {
            Smoother::Level(level) => level.observe(x),
            Smoother::SyntetosBoylan { croston, .. } => croston.observe(x),
            Smoother::TeunterSyntetosBabai { size, probability } => {
                probability.observe(if x > 0.0 { 1.0 } else { 0.0 });
                if x > 0.0 {
                    size.observe(x);
                }
            }
        }
    }

    fn rate(&self) -> f64 {
        match self {
            Smoother::Level(level) => level.or_zero(),
            Smoother::SyntetosBoylan { croston, factor } => factor * croston.rate(),
            Smoother::TeunterSyntetosBabai { size, probability } => {
                size.or_zero() * probability.or_zero()
            }
        }
    }
}

/// Simple exponential smoothing: the forecast per period, in the unit of `demand`; 0 for an empty series.
///
/// ```
/// use heeltap::reorder::forecast::{Alpha, exponential_smoothing};
/// assert_eq!(exponential_smoothing(&[4.0, 8.0], Alpha::new(0.5).unwrap()), 6.0);
/// ```
#[must_use]
pub fn exponential_smoothing(demand: &[f64], alpha: Alpha) -> f64 {
    let mut level = Level::new(alpha);
    demand.iter().for_each(|&x| level.observe(x));
    level.or_zero()
}

/// What Croston's method knows at the end of a series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CrostonEstimate {
    /// Smoothed size of a demand; 0 when there was none.
    pub size: f64,
    /// Smoothed interval between demands, in periods; none when there was no demand.
    pub interval: Option<f64>,
    /// Croston's forecast per period.
    pub croston: f64,
    /// The same times 1 - alpha/2, alpha being that of the interval (Syntetos and Boylan, 2005).
    pub syntetos_boylan: f64,
}

/// Croston's method, smoothing sizes and intervals by their own constants; zeros after the last demand are not seen.
///
/// ```
/// use heeltap::reorder::forecast::{Alpha, croston};
/// let alpha = Alpha::new(0.1).unwrap();
/// let estimate = croston(&[0.0, 0.0, 0.0, 0.0, 8.0, 0.0], alpha, alpha);
/// assert_eq!(estimate.croston, 1.6);
/// assert!((estimate.syntetos_boylan - 1.52).abs() < 1e-12);
/// ```
#[must_use]
pub fn croston(demand: &[f64], size: Alpha, interval: Alpha) -> CrostonEstimate {
    let mut state = Croston {
        size: Level::new(size),
        interval: Level::new(interval),
        waited: 0.0,
    };
    demand.iter().for_each(|&x| state.observe(x));
    CrostonEstimate {
        size: state.size.or_zero(),
        interval: state.interval.value,
        croston: state.rate(),
        syntetos_boylan: (1.0 - interval.0 / 2.0) * state.rate(),
    }
}

/// Teunter-Syntetos-Babai: smoothed size times smoothed probability of demand, per period.
///
/// Unlike Croston's it falls while nothing is used.
///
/// ```
/// use heeltap::reorder::forecast::{Alpha, teunter_syntetos_babai};
/// let alpha = Alpha::new(0.5).unwrap();
/// assert_eq!(teunter_syntetos_babai(&[8.0, 0.0, 0.0], alpha, alpha), 2.0);
/// ```
#[must_use]
pub fn teunter_syntetos_babai(demand: &[f64], size: Alpha, probability: Alpha) -> f64 {
    let mut state = Smoother::TeunterSyntetosBabai {
        size: Level::new(size),
        probability: Level::new(probability),
    };
    demand.iter().for_each(|&x| state.observe(x));
    state.rate()
}

/// The forecast per period by a method, in the unit of `demand`; none for [`Method::BookingsAndStatedUse`], which
/// has no series.
///
/// ```
/// use heeltap::reorder::forecast::{Method, Smoothing, forecast};
/// let by = Smoothing::default();
/// assert_eq!(forecast(Method::SyntetosBoylan, &[2.0, 2.0], &by), Some(1.9));
/// assert_eq!(forecast(Method::BookingsAndStatedUse, &[2.0, 2.0], &by), None);
/// ```
#[must_use]
pub fn forecast(method: Method, demand: &[f64], smoothing: &Smoothing) -> Option<f64> {
    let mut smoother = Smoother::new(method, smoothing)?;
    demand.iter().for_each(|&x| smoother.observe(x));
    Some(smoother.rate())
}

/// How well a method would have done on its own history.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BackTest {
    /// Number of forecasts that were compared.
    pub periods: usize,
    /// Root mean square of the errors of the method, in the unit of the series.
    pub error: f64,
    /// The same of the naive forecast (next period as this one).
    pub naive_error: f64,
}

impl BackTest {
    /// The one figure: the method's error over the naive one, below 1 when the method is better; none when the
    /// naive forecast never erred.
    ///
    /// ```
    /// use heeltap::reorder::forecast::{Method, Smoothing, back_test};
    /// let up_and_down = [1.0, 9.0, 1.0, 9.0, 1.0, 9.0, 1.0, 9.0];
    /// let tested = back_test(Method::ExponentialSmoothing, &up_and_down, &Smoothing::default()).unwrap();
    /// assert!(tested.relative_error().unwrap() < 0.8);
    /// ```
    #[must_use]
    pub fn relative_error(&self) -> Option<f64> {
        (self.naive_error > 0.0).then(|| self.error / self.naive_error)
    }
}

/// Rolling-origin back-test, one period ahead, over the second half of the series (common practice).
///
/// The errors are squared because the mean of an intermittent demand is wanted: absolute errors would reward
/// forecasting its median, which is 0. None for a series of fewer than 4 periods or a method without series.
///
/// ```
/// use heeltap::reorder::forecast::{Method, Smoothing, back_test};
/// let tested = back_test(Method::ExponentialSmoothing, &[3.0; 20], &Smoothing::default()).unwrap();
/// assert!(tested.periods == 10 && tested.error < 1e-12);
/// ```
#[must_use]
pub fn back_test(method: Method, demand: &[f64], smoothing: &Smoothing) -> Option<BackTest> {
    let mut smoother = Smoother::new(method, smoothing)?;
    if demand.len() < 4 {
        return None;
    }
    let (learned, tested) = demand.split_at(demand.len().div_ceil(2));
    learned.iter().for_each(|&x| smoother.observe(x));
    let mut before = learned.last().copied().unwrap_or(0.0);
    let (mut squares, mut naive_squares) = (0.0, 0.0);
    for &x in tested {
        squares += (x - smoother.rate()).powi(2);
        naive_squares += (x - before).powi(2);
        smoother.observe(x);
        before = x;
    }
    let count = tested.len() as f64;
    Some(BackTest {
        periods: tested.len(),
        error: (squares / count).sqrt(),
        naive_error: (naive_squares / count).sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::super::classify::classify;
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check(series: &[i64], expected: Method) {
        assert_eq!(
            choose_method(series, 7, classify(series).as_ref()),
            expected
        );
    }

    #[test]
    fn short_or_sparse_histories_fall_back() {
        check(&[5; 25], Method::BookingsAndStatedUse);
        check(&[5; 26], Method::ExponentialSmoothing);
        let mut seven = vec![0; 40];
        (0..7).for_each(|at| seven[at * 5 + 5] = 3);
        check(&seven, Method::BookingsAndStatedUse);
        seven[39] = 3;
        check(&seven, Method::SyntetosBoylan);
        check(&[], Method::BookingsAndStatedUse);
    }

    #[test]
    fn daily_buckets_need_as_many_days() {
        let series = [5; 181];
        let class = classify(&series);
        assert_eq!(
            choose_method(&series, 1, class.as_ref()),
            Method::BookingsAndStatedUse
        );
    }

    #[test]
    fn three_mean_intervals_without_demand_are_fading() {
        // Demand in every second period: the mean interval is 2, so that 6 periods without demand are three.
        let mut series: Vec<i64> = (0..32).map(|at| (at % 2) * 4).collect();
        series.extend([0; 5]);
        check(&series, Method::SyntetosBoylan);
        series.push(0);
        check(&series, Method::TeunterSyntetosBabai);
    }

    #[test]
    fn only_a_method_that_sees_zeros_forgets() {
        let by = Smoothing::default();
        let ended: Vec<f64> = [vec![6.0; 20], vec![0.0; 40]].concat();
        let fading = forecast(Method::TeunterSyntetosBabai, &ended, &by).unwrap();
        let croston = forecast(Method::SyntetosBoylan, &ended, &by).unwrap();
        assert!(fading < 0.1 && (croston - 5.7).abs() < 1e-12);
    }

    #[test]
    fn a_method_that_matches_the_naive_one_scores_one() {
        let by = Smoothing {
            level: Alpha::new(1.0).unwrap(),
            ..Smoothing::default()
        };
        let series = [4.0, 7.0, 1.0, 8.0, 2.0, 8.0];
        let tested = back_test(Method::ExponentialSmoothing, &series, &by).unwrap();
        // Errors 8-1, 2-8, 8-2 of the last three periods.
        assert!((tested.error - (121.0_f64 / 3.0).sqrt()).abs() < 1e-12);
        assert_eq!(tested.relative_error(), Some(1.0));
    }

    #[test]
    fn a_bad_constant_is_named() {
        assert_eq!(
            Alpha::new(1.5).unwrap_err().to_string(),
            "a smoothing constant is 1.5, but must be above 0 and at most 1"
        );
        assert!(Alpha::new(f64::NAN).is_err());
    }

    proptest! {
        #[test]
        fn a_forecast_lies_between_zero_and_the_largest_demand(
            series in prop::collection::vec(prop_oneof![Just(0.0), 1.0..1e6_f64], 1..80),
        ) {
            let largest = series.iter().copied().fold(0.0, f64::max);
            for method in [Method::ExponentialSmoothing, Method::SyntetosBoylan, Method::TeunterSyntetosBabai] {
                let rate = forecast(method, &series, &Smoothing::default()).unwrap();
                prop_assert!((0.0..=largest * (1.0 + 1e-12)).contains(&rate), "{} {}", method.name(), rate);
            }
        }
    }
}
