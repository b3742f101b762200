//! How long before its day demand was booked: what of the past nobody could have ordered for, and how much of that is
//! still to come for a day that is near.
//!
//! A cast that was booked earlier than the protection interval is no surprise: bookings tell of its like in time. What has to
//! be forecast is the rest: casts booked later than that, use beyond what was planned (or short of it), use without a cast,
//! and bookings that were refused. Since all use of a day is the planned and the rest, that is
//!
//! > use of the day - planned of its casts with that much notice or more + refused.
//!
//! Invariants: nothing that a booking told of in time is forecast again; of one refused booking, and of a refusal that was
//! booked after all, nothing is counted twice. Absent: reading the books; the forecast. A day of notice is counted from the
//! day of the booking in UTC to the local day of the pour, so that it can be one off.

use std::collections::BTreeMap;

use chrono::{NaiveDate, NaiveDateTime};

use super::demand::DailyDemand;
use super::lead_time::LeadTime;
use super::service::normal_quantile;

/// Longest notice that is told apart, in days.
pub const NOTICE_DAYS_MAX: u16 = 366;
/// Days within which refusals of one recipe are one wish, for which somebody looked for a day that works (*assumption*).
pub const SAME_WISH_DAYS: u16 = 14;

/// What poured casts had planned of a material, by the day of the pour and the notice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlannedDemand {
    /// The day of the pour.
    pub on: NaiveDate,
    /// Days from the booking to that day.
    pub notice_days: u16,
    /// What was planned, in millionths of the unit.
    pub quantity_micro: i64,
}

/// What a refused booking would have used of a material.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RefusedDemand {
    /// The recipe of the cast.
    pub recipe_id: i64,
    /// When it was refused, in UTC.
    pub refused_at: NaiveDateTime,
    /// The day of the cast.
    pub on: NaiveDate,
    /// How much, in millionths of the unit.
    pub quantity_micro: i64,
}

/// A cast of a recipe that was booked and not cancelled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RecipeBooking {
    /// The recipe.
    pub recipe_id: i64,
    /// When it was booked, in UTC.
    pub booked_at: NaiveDateTime,
    /// The day of the cast.
    pub on: NaiveDate,
}

/// Days from one day to another, from 0 to [`NOTICE_DAYS_MAX`].
///
/// ```
/// use chrono::NaiveDate;
/// use heeltap::reorder::notice::notice_days;
/// let day = |d| NaiveDate::from_ymd_opt(2031, 3, d).unwrap();
/// assert_eq!((notice_days(day(3), day(10)), notice_days(day(10), day(3))), (7, 0));
/// ```
#[must_use]
pub fn notice_days(booked_on: NaiveDate, on: NaiveDate) -> u16 {
    let days = (on - booked_on)
        .num_days()
        .clamp(0, i64::from(NOTICE_DAYS_MAX));
    u16::try_from(days).unwrap_or(0)
}

/// Days from the booking of which a past cast was booked early enough to order for it: what an order takes with the lead time
/// that is not exceeded at the service level (normal, from the mean and deviation of `lead_time`), the review and the
/// approval, from 1 to [`NOTICE_DAYS_MAX`].
///
/// ```
/// use heeltap::reorder::{lead_time::lead_time, notice::in_time_days};
/// // 10 days with a deviation of 3, the catalogue's: at 95 % 14.9, and a day of review.
/// let lead_time = lead_time(&[], Some(10.0)).unwrap();
/// assert_eq!(in_time_days(&lead_time, 0.95, 1, 0), 16);
/// ```
#[must_use]
pub fn in_time_days(
    lead_time: &LeadTime,
    service_level: f64,
    review_days: u16,
    approval_days: u16,
) -> u16 {
    // A level that is out of range is refused where the advice is made.
    let z = normal_quantile(service_level).unwrap_or(0.0).max(0.0);
    let days = lead_time.mean_days
        + z * lead_time.sd_days
        + f64::from(review_days)
        + f64::from(approval_days);
    days.ceil().clamp(1.0, f64::from(NOTICE_DAYS_MAX)) as u16
}

/// Each refused wish once: of refusals of one recipe for days within [`SAME_WISH_DAYS`] the largest, and none after which a
/// cast of the recipe was booked for a day as near as that.
///
/// ```
/// use chrono::NaiveDate;
/// use heeltap::reorder::notice::{RecipeBooking, RefusedDemand, refused_once};
/// let day = |d| NaiveDate::from_ymd_opt(2031, 3, d).unwrap();
/// let asked = |on, quantity_micro| RefusedDemand {
///     recipe_id: 1, refused_at: day(1).and_hms_opt(9, 0, 0).unwrap(), on: day(on), quantity_micro,
/// };
/// // Somebody looked for a day that works.
/// let wishes = [asked(3, 5), asked(4, 8), asked(6, 8), asked(28, 2)];
/// assert_eq!(refused_once(&wishes, &[]), [asked(4, 8), asked(28, 2)]);
/// let booked = RecipeBooking { recipe_id: 1, booked_at: day(2).and_hms_opt(9, 0, 0).unwrap(), on: day(11) };
/// assert_eq!(refused_once(&wishes, &[booked]), [asked(28, 2)]);
/// ```
#[must_use]
pub fn refused_once(refused: &[RefusedDemand], bookings: &[RecipeBooking]) -> Vec<RefusedDemand> {
    let near = |one: NaiveDate, other: NaiveDate| {
        (one - other).num_days().abs() <= i64::from(SAME_WISH_DAYS)
    };
    let met = |one: &RefusedDemand| {
        bookings.iter().any(|booking| {
            booking.recipe_id == one.recipe_id
                && booking.booked_at >= one.refused_at
                && near(booking.on, one.on)
        })
    };
    let mut open: Vec<RefusedDemand> = refused.iter().filter(|one| !met(one)).copied().collect();
    open.sort_by_key(|one| (one.recipe_id, one.on, one.refused_at));
    // A wish with the first of its days.
    let mut wishes: Vec<(NaiveDate, RefusedDemand)> = Vec::new();
    for one in open {
        match wishes.last_mut() {
            Some((first, wish)) if wish.recipe_id == one.recipe_id && near(*first, one.on) => {
                if one.quantity_micro > wish.quantity_micro {
                    *wish = one;
                }
            }
            _ => wishes.push((one.on, one)),
        }
    }
    wishes.into_iter().map(|(_, wish)| wish).collect()
}

/// The past demand that was not booked in time, and how much of the like is still to come.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Unbooked {
    /// The demand by day; below 0 on a day on which less was used than planned.
    pub daily: Vec<DailyDemand>,
    /// For a day so many days ahead (today first): the share of its unbooked demand that is not booked yet, 0 to 1, never
    /// falling. Beyond its end it is 1; empty when nothing was unbooked.
    pub notice_share: Vec<f64>,
}

/// Tells the demand that was not booked in time from all the demand `daily`, the planned demand of poured casts and refused
/// bookings (each once, see [`refused_once`]). In time is `protection_days` of notice or
/// more (see [`in_time_days`]).
///
/// ```
/// use chrono::NaiveDate;
/// use heeltap::reorder::demand::DailyDemand;
/// use heeltap::reorder::notice::{PlannedDemand, unbooked};
/// let on = NaiveDate::from_ymd_opt(2031, 3, 3).unwrap();
/// let used = [DailyDemand { on, quantity_micro: 130 }];
/// // A course booked long before, and a cast booked two days before; 10 more were used than planned.
/// let planned = [(60, 100), (2, 20)]
///     .map(|(notice_days, quantity_micro)| PlannedDemand { on, notice_days, quantity_micro });
/// let found = unbooked(&used, &planned, &[], 14);
/// assert_eq!(found.daily, [DailyDemand { on, quantity_micro: 30 }]);
/// // For today and tomorrow, the cast of such notice would be booked already: a third of 30 is still to come.
/// assert_eq!(found.notice_share[..3], [1.0 / 3.0, 1.0 / 3.0, 1.0]);
/// ```
#[must_use]
pub fn unbooked(
    daily: &[DailyDemand],
    planned: &[PlannedDemand],
    refused: &[RefusedDemand],
    protection_days: u16,
) -> Unbooked {
    let mut days: BTreeMap<NaiveDate, i64> = BTreeMap::new();
    let mut add = |on: NaiveDate, quantity_micro: i64| {
        let day = days.entry(on).or_default();
        *day = day.saturating_add(quantity_micro);
    };
    daily.iter().for_each(|day| add(day.on, day.quantity_micro));
    let in_time = |days: u16| days >= protection_days;
    for one in planned.iter().filter(|one| in_time(one.notice_days)) {
        add(one.on, -one.quantity_micro);
    }
    refused
        .iter()
        .for_each(|one| add(one.on, one.quantity_micro));
    let late = planned
        .iter()
        .map(|one| (one.notice_days, one.quantity_micro))
        .chain(refused.iter().map(|one| {
            let notice = notice_days(one.refused_at.date(), one.on);
            (notice, one.quantity_micro)
        }))
        .filter(|(days, _)| !in_time(*days));
    let all: f64 = days.values().map(|quantity| *quantity as f64).sum();
    let daily = days
        .into_iter()
        .filter(|(_, quantity)| *quantity != 0)
        .map(|(on, quantity_micro)| DailyDemand { on, quantity_micro })
        .collect();
    Unbooked {
        daily,
        notice_share: notice_share(late, all, protection_days),
    }
}

/// The shares for the days from today on, as far as they are below 1, from the booked part of the unbooked demand
/// (notice, quantity) and `all` of it.
fn notice_share(
    late: impl Iterator<Item = (u16, i64)>,
    all: f64,
    protection_days: u16,
) -> Vec<f64> {
    let mut by_notice = vec![0.0; usize::from(protection_days)];
    for (days, quantity_micro) in late {
        if let Some(sum) = by_notice.get_mut(usize::from(days)) {
            *sum += quantity_micro.max(0) as f64;
        }
    }
    let booked: f64 = by_notice.iter().sum();
    // Where less was used than planned, the booked part is all there is.
    let without_notice = (all - booked).max(0.0);
    let whole = without_notice + booked;
    if whole <= 0.0 {
        return Vec::new();
    }
    let mut still_to_come = without_notice;
    let shares = by_notice.iter().map(|sum| {
        // What is booked so many days ahead today may not be booked yet this morning.
        still_to_come += sum;
        (still_to_come / whole).min(1.0)
    });
    shares.collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(n: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2031, 3, 3).unwrap() + chrono::Days::new(n)
    }

    fn used(days: &[(u64, i64)]) -> Vec<DailyDemand> {
        let entry = |&(on, quantity_micro): &(u64, i64)| DailyDemand {
            on: day(on),
            quantity_micro,
        };
        days.iter().map(entry).collect()
    }

    fn planned(casts: &[(u64, u16, i64)]) -> Vec<PlannedDemand> {
        let entry = |&(on, notice_days, quantity_micro): &(u64, u16, i64)| PlannedDemand {
            on: day(on),
            notice_days,
            quantity_micro,
        };
        casts.iter().map(entry).collect()
    }

    #[track_caller]
    fn check(casts: &[(u64, u16, i64)], protection_days: u16, expected: &[(u64, i64)]) {
        let found = unbooked(
            &used(&[(0, 100), (7, 50)]),
            &planned(casts),
            &[],
            protection_days,
        );
        assert_eq!(found.daily, used(expected));
    }

    #[test]
    fn only_what_was_booked_in_time_is_left_out() {
        check(&[], 14, &[(0, 100), (7, 50)]);
        check(&[(0, 14, 100), (7, 13, 50)], 14, &[(7, 50)]);
        check(&[(0, 14, 90), (7, 60, 55)], 14, &[(0, 10), (7, -5)]);
        check(&[(0, 3, 90)], 2, &[(0, 10), (7, 50)]);
    }

    #[test]
    fn a_refused_booking_is_demand_of_its_day() {
        let refused = RefusedDemand {
            recipe_id: 1,
            refused_at: day(4).and_hms_opt(9, 0, 0).unwrap(),
            on: day(7),
            quantity_micro: 40,
        };
        let found = unbooked(&used(&[(7, 50)]), &[], &[refused], 14);
        assert_eq!(found.daily, used(&[(7, 90)]));
        // 50 come without notice; of the refused 40 the booking is seen on the days less than 3 ahead.
        assert_eq!(found.notice_share[2], 50.0 / 90.0);
        assert_eq!(found.notice_share[3], 1.0);
    }

    #[test]
    fn nothing_unbooked_has_no_shares() {
        let found = unbooked(&used(&[(0, 100)]), &planned(&[(0, 60, 100)]), &[], 14);
        assert_eq!(found, Unbooked::default());
    }

    proptest! {
        #[test]
        fn shares_never_fall_and_end_at_one(
            use_ in prop::collection::vec((0_u64..40, 0_i64..1000), 0..20),
            casts in prop::collection::vec((0_u64..40, 0_u16..60, 1_i64..1000), 0..20),
            protection_days in 1_u16..50,
        ) {
            let found = unbooked(&used(&use_), &planned(&casts), &[], protection_days);
            prop_assert!(found.notice_share.windows(2).all(|pair| pair[0] <= pair[1]));
            prop_assert!(found.notice_share.iter().all(|share| (0.0..=1.0).contains(share)));
            if let Some(last) = found.notice_share.last() {
                prop_assert!((last - 1.0).abs() < 1e-9);
                prop_assert_eq!(found.notice_share.len(), usize::from(protection_days));
            }
            let all: i64 = use_.iter().map(|entry| entry.1).sum();
            let in_time: i64 = casts.iter().filter(|cast| cast.1 >= protection_days).map(|cast| cast.2).sum();
            prop_assert_eq!(found.daily.iter().map(|entry| entry.quantity_micro).sum::<i64>(), all - in_time);
        }
    }
}
