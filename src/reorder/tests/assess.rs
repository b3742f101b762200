//! What is advised, of facts that are written down.

use super::super::demand::DailyDemand;
use super::super::walk::{Booking, UsablePack};
use super::*;
use proptest::prelude::*;

fn today() -> NaiveDate {
    // A Monday, 30 weeks after the first day of the histories below.
    NaiveDate::from_ymd_opt(2031, 3, 3).unwrap()
}

fn pack(quantity_micro: i64) -> UsablePack {
    UsablePack {
        quantity_micro,
        expires_on: None,
    }
}

/// 30 weeks with the given use on each Monday, in whole units.
fn weekly(units: impl Fn(u64) -> i64) -> ReorderFacts {
    let first = today() - Days::new(210);
    let entry = |week: u64| DailyDemand {
        on: first + Days::new(7 * week),
        quantity_micro: units(week) * 1_000_000,
    };
    ReorderFacts {
        daily: (0..30).map(entry).collect(),
        packs: vec![pack(100_000_000)],
        on_hand_micro: 100_000_000,
        catalogue_lead_days: Some(14.0),
        ..ReorderFacts::new("M-1", "g", today())
    }
}

#[track_caller]
fn check(facts: &ReorderFacts, class: Option<DemandClass>, method: Method, daily_micro: i64) {
    let advice = assess(facts).unwrap();
    assert_eq!((advice.class, advice.method), (class, method));
    assert_eq!(advice.daily_demand_micro, daily_micro);
    assert_eq!(
        assess(facts).unwrap(),
        advice,
        "the same facts give the same advice"
    );
}

#[test]
fn each_method_from_its_history() {
    let smooth = Some(DemandClass::Smooth);
    check(
        &weekly(|_| 7),
        smooth,
        Method::ExponentialSmoothing,
        1_000_000,
    );
    let seldom = weekly(|week| if week % 3 == 2 { 21 } else { 0 });
    // 21 every 3 weeks, less 5 %: 6.65 a week.
    let intermittent = Some(DemandClass::Intermittent);
    check(&seldom, intermittent, Method::SyntetosBoylan, 950_000);
    let mut short = weekly(|_| 7);
    short.daily.drain(..10);
    short.stated_use_per_month_micro = Some(60_875_000);
    check(&short, smooth, Method::BookingsAndStatedUse, 2_000_000);
    check(&weekly(|_| 0), None, Method::BookingsAndStatedUse, 0);
}

#[test]
fn certain_smooth_demand_can_be_followed_by_hand() {
    let advice = assess(&weekly(|_| 7)).unwrap();
    // 100 at 1 a day: day 100 is the first without.
    assert_eq!(advice.runs_out_on, Some(today() + Days::new(100)));
    assert_eq!(advice.back_test.unwrap().error, 0.0);
    // 14 + 1 + 3.5 days of undershoot (7 every 7 days), plus 1.645 x 1 x 4.2.
    assert_eq!(advice.protection_days, 18.5);
    assert!((advice.safety_stock_micro - 6_908_385).abs() <= 1);
    assert_eq!(
        advice.reorder_point_micro,
        18_500_000 + advice.safety_stock_micro
    );
    assert_eq!(advice.position_micro, 100_000_000);
    // 95 of 100 orders take at most 22 days, so that day 78 is the last; it is a Wednesday.
    assert_eq!(advice.order_by, Some(today() + Days::new(78)));
    assert!(!advice.due && !advice.late);
}

#[test]
fn what_is_booked_is_not_counted_twice() {
    let mut facts = weekly(|_| 7);
    facts.bookings = vec![Booking {
        on: today() + Days::new(10),
        quantity_micro: 50_000_000,
    }];
    facts.reserved_micro = 50_000_000;
    let all = assess(&facts).unwrap();
    // The history holds booked casts too: the booking stands for 50 of its days.
    assert_eq!(all.runs_out_on, Some(today() + Days::new(100)));
    assert_eq!(
        (all.usable_micro, all.position_micro),
        (50_000_000, 50_000_000)
    );
    // Kept apart, nothing was ever unbooked: only the booking is demand.
    facts.unbooked_daily = Some(Vec::new());
    let apart = assess(&facts).unwrap();
    assert_eq!((apart.daily_demand_micro, apart.runs_out_on), (0, None));
    assert_eq!(
        (apart.known_demand_micro, apart.reorder_point_micro),
        (50_000_000, 0)
    );
    // Unbooked demand comes on top: 50 at once on day 10, and 1 a day.
    facts.unbooked_daily = Some(facts.daily.clone());
    let on_top = assess(&facts).unwrap();
    assert_eq!(on_top.runs_out_on, Some(today() + Days::new(50)));
}

#[test]
fn short_notice_is_counted_once_on_the_days_at_hand() {
    let mut facts = weekly(|_| 7);
    facts.unbooked_daily = Some(facts.daily.clone());
    let without = assess(&facts).unwrap();
    assert_eq!(without.runs_out_on, Some(today() + Days::new(100)));
    // Half of what the next twenty days bring is known by now, and none of it was booked: ten more days.
    facts.notice_share = vec![0.5; 20];
    let with = assess(&facts).unwrap();
    assert_eq!(with.runs_out_on, Some(today() + Days::new(110)));
    assert_eq!(with.days[19].stock_micro, 90_000_000);
    // Of the interval of 18.5 days, half is left.
    assert_eq!(
        with.reorder_point_micro - with.safety_stock_micro,
        9_250_000
    );
    assert_eq!(with.daily_demand_micro, without.daily_demand_micro);
    // The half that is known: the same as before, but 5 a day of the 20 days are certain now.
    let known = |ahead: u64| Booking {
        on: today() + Days::new(ahead),
        quantity_micro: 500_000,
    };
    facts.bookings = (0..20).map(known).collect();
    let whole = assess(&facts).unwrap();
    assert_eq!(whole.runs_out_on, without.runs_out_on);
    assert!(whole.reorder_point_micro < without.reorder_point_micro);
    // A forecast for all demand is used up by what is booked and reads no shares.
    facts.unbooked_daily = None;
    let read = assess(&facts).unwrap();
    facts.notice_share = Vec::new();
    assert_eq!(assess(&facts).unwrap(), read);
}

#[test]
fn what_will_expire_is_told_with_its_value() {
    let mut facts = weekly(|_| 7);
    facts.unit_value_micro = Some(2_500_000);
    facts.packs = vec![UsablePack {
        quantity_micro: 100_000_000,
        expires_on: Some(today() + Days::new(59)),
    }];
    let advice = assess(&facts).unwrap();
    let lost = Expiring {
        on: today() + Days::new(59),
        quantity_micro: 40_000_000,
        value_micro: Some(100_000_000),
    };
    assert_eq!(advice.expiring, [lost]);
    assert_eq!(advice.runs_out_on, Some(today() + Days::new(60)));
}

#[test]
fn an_order_is_not_larger_than_its_shelf_life_allows() {
    let mut facts = weekly(|_| 7);
    facts.pack_quantity_micro = Some(10_000_000);
    assert_eq!(assess(&facts).unwrap().order_quantity.packs, 9);
    facts.shelf_life_days = Some(60);
    // Ordered on day 78, there on day 92, used from day 100 to 151 for 52 units.
    assert_eq!(assess(&facts).unwrap().order_quantity.packs, 5);
}

#[test]
fn at_the_reorder_point_an_order_is_due_before_its_last_day() {
    let with = |units: i64| {
        let mut facts = weekly(|_| 7);
        facts.packs = vec![pack(units * 1_000_000)];
        assess(&facts).unwrap()
    };
    // The reorder point is 25.4; 25 last until the arrival of an order of Thursday.
    assert!(!with(26).due);
    assert!(with(25).due && !with(25).late);
    assert_eq!(with(25).order_by, Some(today() + Days::new(3)));
}

#[test]
fn an_order_is_due_when_the_next_look_would_be_too_late() {
    let mut facts = weekly(|_| 7);
    facts.packs[0].expires_on = Some(today() + Days::new(27));
    // 95 of 100 orders take at most 22 days: day 6, a Sunday.
    let daily = assess(&facts).unwrap();
    assert_eq!(daily.order_by, Some(today() + Days::new(4)));
    assert!(!daily.due);
    facts.review_days = 5;
    let at_friday = assess(&facts).unwrap();
    assert!(at_friday.due && !at_friday.late);
    facts.review_days = 4;
    assert!(!assess(&facts).unwrap().due);
}

#[test]
fn an_empty_shelf_is_late() {
    let facts = ReorderFacts {
        packs: Vec::new(),
        ..weekly(|_| 7)
    };
    let advice = assess(&facts).unwrap();
    assert_eq!((advice.order_by, advice.late), (Some(today()), true));
    assert!(advice.due);
    assert!(advice.reason.contains("order today, which is already late"));
}

#[test]
fn whoever_ordered_and_waits_is_not_told_to_order_again() {
    let empty = ReorderFacts {
        packs: Vec::new(),
        ..weekly(|_| 7)
    };
    let with = |days: u64| {
        let mut facts = empty.clone();
        facts.arrivals = vec![Arrival {
            on: today() + Days::new(days),
            quantity_micro: 200_000_000,
            expires_on: None,
        }];
        assess(&facts).unwrap()
    };
    let lead = assess(&empty).unwrap().lead_time.mean_days.round() as u64;
    // What is on its way comes no later than another order would: nothing can be done about the days until then.
    let waiting = with(lead);
    assert_eq!(waiting.runs_out_on, Some(today()));
    assert!(!waiting.due && !waiting.late, "{waiting:?}");
    assert!(waiting.order_by > Some(today() + Days::new(lead)));
    // What comes later than another order would leaves days that it could fill.
    assert!(with(lead + 5).late);
}

#[test]
fn a_fill_rate_asks_for_less_than_the_same_cycle_level() {
    let mut facts = weekly(|week| 4 + (week % 4) as i64 * 2);
    let cycle = assess(&facts).unwrap();
    facts.service_measure = ServiceMeasure::FillRate;
    let fill = assess(&facts).unwrap();
    assert!(fill.reorder_point_micro < cycle.reorder_point_micro);
    assert!(fill.order_by >= cycle.order_by);
}

#[test]
fn errors_name_the_field() {
    let error = |change: fn(&mut ReorderFacts)| {
        let mut facts = weekly(|_| 7);
        change(&mut facts);
        assess(&facts).unwrap_err().to_string()
    };
    let level = error(|facts| facts.service_level_micro = 1_000_000);
    assert_eq!(level, "service_level is 1, but must be above 0 and below 1");
    let lead = error(|facts| facts.catalogue_lead_days = Some(-2.0));
    assert_eq!(
        lead,
        "lead_time_days is -2, but must be a number of 0 or more"
    );
    let bucket = error(|facts| facts.bucket_days = 0);
    assert_eq!(bucket, "bucket_days is 0, but must be from 1 to 366");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn more_stock_never_brings_the_order_forward(
        uses in prop::collection::vec(prop_oneof![2 => Just(0_i64), 3 => 1_i64..40], 30),
        stock in 0_i64..400_000_000, more in 0_i64..400_000_000, level in 500_000_i64..999_000,
    ) {
        let mut facts = weekly(|week| uses[week as usize]);
        facts.service_level_micro = level;
        facts.packs = vec![pack(stock)];
        let before = assess(&facts).unwrap();
        facts.packs.push(pack(more));
        let after = assess(&facts).unwrap();
        let far = NaiveDate::MAX;
        prop_assert!(after.order_by.unwrap_or(far) >= before.order_by.unwrap_or(far));
        prop_assert!(after.runs_out_on.unwrap_or(far) >= before.runs_out_on.unwrap_or(far));
        prop_assert_eq!(after.reorder_point_micro, before.reorder_point_micro);
        prop_assert!(before.runs_out_early_on.unwrap_or(far) <= before.runs_out_on.unwrap_or(far));
    }
}
