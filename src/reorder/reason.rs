//! One plain sentence that says why to order, or why not.
//!
//! Invariants: one sentence, from the figures of the result only; dates as year-month-day; quantities with their unit
//! and at most two decimals, unless less than 0.01 is meant. Absent: other languages; markup.

use chrono::NaiveDate;

use super::forecast::Method;
use super::lead_time::{LeadTime, LeadTimeBasis};
use super::walk::OrderBy;

/// The figures a reason is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReasonFacts<'a> {
    /// Unit of the quantities, such as `g`.
    pub unit: &'a str,
    /// Stock that can be used and is not reserved, in millionths of the unit.
    pub usable_micro: i64,
    /// What is on order, in millionths of the unit.
    pub on_order_micro: i64,
    /// What is booked, in millionths of the unit.
    pub known_demand_micro: i64,
    /// Forecast demand of a day, in millionths of the unit.
    pub daily_demand_micro: i64,
    /// Method of the forecast.
    pub method: Method,
    /// Whether the catalogue states a use per month.
    pub use_is_stated: bool,
    /// The lead time.
    pub lead_time: LeadTime,
    /// Median day of running out, if within the horizon.
    pub runs_out_on: Option<NaiveDate>,
    /// The 10 % early case, if within the horizon.
    pub runs_out_early_on: Option<NaiveDate>,
    /// Last day to order, if an order is needed within the horizon.
    pub order_by: Option<OrderBy>,
    /// Number of days looked ahead.
    pub horizon_days: u16,
}

/// The sentence.
///
/// ```
/// use chrono::NaiveDate;
/// use heeltap::reorder::{forecast::Method, lead_time::*, reason::*, walk::OrderBy};
/// let day = |m, d| NaiveDate::from_ymd_opt(2031, m, d).unwrap();
/// let facts = ReasonFacts {
///     unit: "g",
///     usable_micro: 30_000_000,
///     on_order_micro: 0,
///     known_demand_micro: 4_500_000,
///     daily_demand_micro: 1_000_000,
///     method: Method::ExponentialSmoothing,
///     use_is_stated: false,
///     lead_time: lead_time(&[], Some(10.0)).unwrap(),
///     runs_out_on: Some(day(4, 2)),
///     runs_out_early_on: Some(day(3, 29)),
///     order_by: Some(OrderBy { on: day(3, 14), late: false }),
///     horizon_days: 400,
/// };
/// assert_eq!(
///     reason(&facts),
///     "With 30 g usable, 4.5 g booked and 1 g a day forecast, it runs out on 2031-04-02 (one time in ten by \
///      2031-03-29); an order takes about 10 days (the catalogue's), so order by 2031-03-14."
/// );
/// ```
#[must_use]
pub fn reason(facts: &ReasonFacts<'_>) -> String {
    if facts.known_demand_micro == 0 && facts.daily_demand_micro == 0 {
        let because = match (facts.method, facts.use_is_stated) {
            (Method::BookingsAndStatedUse, false) => {
                "There is too little history for a forecast, no use per month is stated and nothing is booked"
            }
            _ => "Nothing is booked and no demand is forecast",
        };
        return format!("{because}, so nothing needs to be ordered.");
    }
    format!(
        "With {}, {}; {}.",
        holdings(facts),
        run_out(facts),
        advice(facts)
    )
}

fn holdings(facts: &ReasonFacts<'_>) -> String {
    let unit = facts.unit;
    let mut parts = vec![format!("{} {unit} usable", shown(facts.usable_micro))];
    if facts.on_order_micro > 0 {
        parts.push(format!("{} {unit} on order", shown(facts.on_order_micro)));
    }
    if facts.known_demand_micro > 0 {
        parts.push(format!("{} {unit} booked", shown(facts.known_demand_micro)));
    }
    let daily = shown(facts.daily_demand_micro);
    let forecast = match (facts.method, facts.use_is_stated) {
        (Method::BookingsAndStatedUse, true) => {
            format!("{daily} {unit} a day of stated use (too little history for a forecast)")
        }
        (Method::BookingsAndStatedUse, false) => {
            "no stated use (and too little history for a forecast)".to_owned()
        }
        _ => format!("{daily} {unit} a day forecast"),
    };
    format!("{} and {forecast}", parts.join(", "))
}

fn run_out(facts: &ReasonFacts<'_>) -> String {
    match (facts.runs_out_on, facts.runs_out_early_on) {
        (Some(on), Some(early)) if early < on => {
            format!("it runs out on {on} (one time in ten by {early})")
        }
        (Some(on), _) => format!("it runs out on {on}"),
        (None, Some(early)) => format!(
            "it lasts more than {} days (one time in ten only until {early})",
            facts.horizon_days
        ),
        (None, None) => format!("it lasts more than {} days", facts.horizon_days),
    }
}

fn advice(facts: &ReasonFacts<'_>) -> String {
    let lead_time = &facts.lead_time;
    let basis = match lead_time.basis {
        LeadTimeBasis::PastOrders => format!("by {} past orders", lead_time.orders),
        LeadTimeBasis::Catalogue => "the catalogue's".to_owned(),
        LeadTimeBasis::FewOrders => format!("by only {}", plural(lead_time.orders, "past order")),
        LeadTimeBasis::Assumed => "assumed".to_owned(),
    };
    let days = plural(lead_time.mean_days.round() as usize, "day");
    let takes = format!("an order takes about {days} ({basis})");
    match facts.order_by {
        Some(by) if by.late => format!("{takes}, so order today, which is already late"),
        Some(by) => format!("{takes}, so order by {}", by.on),
        None => format!("{takes}, so nothing needs to be ordered yet"),
    }
}

fn plural(count: usize, noun: &str) -> String {
    format!("{count} {noun}{}", if count == 1 { "" } else { "s" })
}

/// A quantity in millionths as a decimal with at most two places, or all six below 0.01.
///
/// ```
/// use heeltap::reorder::reason::shown;
/// assert_eq!(shown(12_345_678), "12.35");
/// assert_eq!(shown(-1_500_000), "-1.5");
/// assert_eq!(shown(1_200), "0.0012");
/// ```
#[must_use]
pub fn shown(micro: i64) -> String {
    let size = micro.unsigned_abs();
    let size = if size < 10_000 {
        size
    } else {
        (size + 5_000) / 10_000 * 10_000
    };
    let sign = if micro < 0 { "-" } else { "" };
    let text = format!("{sign}{}.{:06}", size / 1_000_000, size % 1_000_000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::super::lead_time::lead_time;
    use super::*;

    fn facts() -> ReasonFacts<'static> {
        ReasonFacts {
            unit: "g",
            usable_micro: 30_000_000,
            on_order_micro: 5_000_000,
            known_demand_micro: 0,
            daily_demand_micro: 1_000_000,
            method: Method::SyntetosBoylan,
            use_is_stated: false,
            lead_time: lead_time(&[1; 5], None).unwrap(),
            runs_out_on: None,
            runs_out_early_on: None,
            order_by: None,
            horizon_days: 400,
        }
    }

    #[track_caller]
    fn check(facts: &ReasonFacts<'_>, expected: &str) {
        let sentence = reason(facts);
        assert_eq!(sentence, expected);
        assert!(
            sentence.ends_with('.') && !sentence.contains(". "),
            "one sentence"
        );
    }

    #[test]
    fn no_order_is_needed() {
        check(
            &facts(),
            "With 30 g usable, 5 g on order and 1 g a day forecast, it lasts more than 400 days; an order takes about \
             1 day (by 5 past orders), so nothing needs to be ordered yet.",
        );
        let idle = ReasonFacts {
            daily_demand_micro: 0,
            ..facts()
        };
        check(
            &idle,
            "Nothing is booked and no demand is forecast, so nothing needs to be ordered.",
        );
    }

    #[test]
    fn too_little_history_is_said() {
        let day = NaiveDate::from_ymd_opt(2031, 3, 3).unwrap();
        let stated = ReasonFacts {
            method: Method::BookingsAndStatedUse,
            use_is_stated: true,
            on_order_micro: 0,
            runs_out_on: Some(day),
            runs_out_early_on: Some(day),
            lead_time: lead_time(&[4], None).unwrap(),
            order_by: Some(OrderBy {
                on: day,
                late: true,
            }),
            ..facts()
        };
        check(
            &stated,
            "With 30 g usable and 1 g a day of stated use (too little history for a forecast), it runs out on 2031-03-03; \
             an order takes about 4 days (by only 1 past order), so order today, which is already late.",
        );
        let nothing = ReasonFacts {
            use_is_stated: false,
            daily_demand_micro: 0,
            ..stated
        };
        check(
            &nothing,
            "There is too little history for a forecast, no use per month is stated and nothing is booked, so nothing \
             needs to be ordered.",
        );
    }

    #[test]
    fn quantities_at_the_end_of_the_range_are_shown() {
        assert_eq!(shown(i64::MIN), "-9223372036854.78");
        assert_eq!(shown(0), "0");
    }
}
