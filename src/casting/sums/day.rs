//! A day's load: whether the rounds of all casts of a day fit into its working time.
//!
//! A copy of a mold is busy until its chip is cured, so the rounds on one mold follow each other; the oven takes so many
//! trays at once, so its runs do. Different molds are worked on side by side. What is counted is the least that is needed:
//! weighing, mixing and demolding, and the walks between, come on top. A cure that does not fit into the working day with
//! its own round (in the oven: on its own) goes on overnight, after all others (*assumption*): it then holds up nothing.
//! Absent: a timetable, and who works.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::batches::even_shares;
use super::bounds::{OutOfRange, at_least_one, non_negative, positive};

/// What one cast asks of the day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CastLoad {
    /// The mold, by any number that is its own.
    pub mold_id: i64,
    /// Trays.
    pub containers: u32,
    /// Rounds they are poured in, dealt as evenly as possible.
    pub rounds: u32,
    /// Time from mixing to the first tray of a round.
    pub prep_min: f64,
    /// Time to pour one tray.
    pub pour_min_per_container: f64,
    /// Temperature of the cure.
    pub cure_temperature_c: f64,
    /// Time of the cure.
    pub cure_min: f64,
    /// Trays the oven takes at once; none when it takes all there are, and then it holds nothing up.
    pub oven_containers: Option<u32>,
}

/// The load of a day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DayLoad {
    /// Rounds of all casts.
    pub rounds: u32,
    /// The mold that is busy longest; none on a day without casts.
    pub mold_id: Option<i64>,
    /// How long that mold is busy.
    pub mold_min: f64,
    /// How long the oven is.
    pub oven_min: f64,
    /// Whether both are within the working time.
    pub fits: bool,
}

impl CastLoad {
    fn check(&self) -> Result<(), OutOfRange> {
        at_least_one("containers", self.containers)?;
        at_least_one("rounds", self.rounds)?;
        non_negative("prep_min", self.prep_min)?;
        non_negative("pour_min_per_container", self.pour_min_per_container)?;
        positive("cure_min", self.cure_min)?;
        self.oven_containers
            .map_or(Ok(1), |most| at_least_one("oven_containers", most))?;
        Ok(())
    }

    /// How long the mold is busy with all rounds: rounds x (prep + cure) + trays x pour.
    fn mold_min(&self) -> f64 {
        f64::from(self.rounds) * (self.prep_min + self.cure_min)
            + f64::from(self.containers) * self.pour_min_per_container
    }

    /// The cure, if it goes on overnight.
    fn overnight_min(&self, working_min: f64) -> Option<f64> {
        let trays = f64::from(self.containers.div_ceil(self.rounds));
        let round_min = self.prep_min + trays * self.pour_min_per_container + self.cure_min;
        (round_min > working_min).then_some(self.cure_min)
    }

    /// Runs of the oven that the rounds of this cast take on their own, when `most` trays fit into it.
    fn oven_runs(&self, most: u32) -> u32 {
        even_shares(self.containers, self.rounds)
            .into_iter()
            .map(|trays| trays.div_ceil(most))
            .sum()
    }
}

/// The load of a day of `working_min` minutes by its casts. Casts with the same cure and the same number of trays to the
/// oven share its runs where they can.
///
/// # Errors
/// [`OutOfRange`] for a cast without trays or rounds, a negative time, a cure or a working day of 0.
///
/// ```
/// use heeltap::casting::sums::day::{CastLoad, day_load};
/// let cast = CastLoad { mold_id: 1, containers: 8, rounds: 4, prep_min: 5.0, pour_min_per_container: 2.0,
///     cure_temperature_c: 85.0, cure_min: 45.0, oven_containers: Some(1) };
/// let load = day_load(&[cast], 480.0).unwrap();
/// // 4 x (5 + 45) + 8 x 2 minutes on the mold; each of the 8 trays has the oven to itself.
/// assert_eq!((load.mold_min, load.oven_min, load.fits), (216.0, 360.0, true));
/// ```
pub fn day_load(casts: &[CastLoad], working_min: f64) -> Result<DayLoad, OutOfRange> {
    positive("working_min", working_min)?;
    casts.iter().try_for_each(CastLoad::check)?;
    let mut by_mold: BTreeMap<i64, Vec<&CastLoad>> = BTreeMap::new();
    for cast in casts {
        by_mold.entry(cast.mold_id).or_default().push(cast);
    }
    let longest_night = |casts: &[&CastLoad]| {
        casts
            .iter()
            .filter_map(|cast| cast.overnight_min(working_min))
            .fold(0.0, f64::max)
    };
    let mut busiest: Option<(i64, f64)> = None;
    for (mold_id, casts) in &by_mold {
        let all: f64 = casts.iter().map(|cast| cast.mold_min()).sum();
        let minutes = all - longest_night(casts);
        if busiest.is_none_or(|(_, most)| minutes > most) {
            busiest = Some((*mold_id, minutes));
        }
    }
    let in_oven: Vec<&CastLoad> = casts
        .iter()
        .filter(|cast| cast.oven_containers.is_some())
        .collect();
    let last_run = in_oven
        .iter()
        .map(|cast| cast.cure_min)
        .filter(|cure_min| *cure_min > working_min)
        .fold(0.0, f64::max);
    let oven_min = oven_min(&in_oven) - last_run;
    let mold_min = busiest.map_or(0.0, |(_, minutes)| minutes);
    let borne = working_min * (1.0 + 1e-9);
    Ok(DayLoad {
        rounds: casts.iter().map(|cast| cast.rounds).sum(),
        mold_id: busiest.map(|(mold_id, _)| mold_id),
        mold_min,
        oven_min,
        fits: mold_min <= borne && oven_min <= borne,
    })
}

/// The least time the oven runs for casts that are limited by it.
fn oven_min(casts: &[&CastLoad]) -> f64 {
    /// Trays and, of the cast that needs most, runs; by cure and trays to the oven.
    type Shared = BTreeMap<(u64, u64, u32), (u64, u32)>;
    let mut shared = Shared::new();
    for cast in casts {
        let Some(most) = cast.oven_containers else {
            continue;
        };
        let cure = (
            cast.cure_temperature_c.to_bits(),
            cast.cure_min.to_bits(),
            most,
        );
        let (trays, runs) = shared.entry(cure).or_default();
        *trays += u64::from(cast.containers);
        *runs = (*runs).max(cast.oven_runs(most));
    }
    shared
        .into_iter()
        .map(|((_, cure_min, most), (trays, runs))| {
            let runs = trays.div_ceil(u64::from(most)).max(u64::from(runs));
            runs as f64 * f64::from_bits(cure_min)
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn cast(mold_id: i64, containers: u32, rounds: u32, cure_min: f64) -> CastLoad {
        CastLoad {
            mold_id,
            containers,
            rounds,
            prep_min: 5.0,
            pour_min_per_container: 2.0,
            cure_temperature_c: 85.0,
            cure_min,
            oven_containers: None,
        }
    }

    /// Expected: minutes on the busiest mold and in the oven, and whether the day of 480 minutes is long enough.
    #[track_caller]
    fn check(casts: &[CastLoad], expected: (f64, f64, bool)) {
        let load = day_load(casts, 480.0).unwrap();
        assert_eq!((load.mold_min, load.oven_min, load.fits), expected);
    }

    #[test]
    fn rounds_on_one_mold_follow_each_other() {
        check(&[], (0.0, 0.0, true));
        check(&[cast(1, 2, 1, 45.0)], (54.0, 0.0, true));
        check(
            &[cast(1, 2, 1, 45.0), cast(1, 4, 2, 45.0)],
            (162.0, 0.0, true),
        );
        check(
            &[cast(1, 2, 1, 45.0), cast(2, 4, 2, 45.0)],
            (108.0, 0.0, true),
        );
        // 9 x 54 minutes are 486.
        check(&[cast(1, 18, 9, 45.0)], (486.0, 0.0, false));
    }

    #[test]
    fn a_cure_that_does_not_fit_goes_on_overnight() {
        check(&[cast(1, 2, 1, 2880.0)], (9.0, 0.0, true));
        check(&[cast(1, 2, 1, 472.0)], (9.0, 0.0, true));
        check(&[cast(1, 2, 1, 471.0)], (480.0, 0.0, true));
        check(&[cast(1, 4, 2, 2880.0)], (2898.0, 0.0, false));
        check(
            &[cast(1, 2, 1, 45.0), cast(1, 2, 1, 2880.0)],
            (63.0, 0.0, true),
        );
    }

    #[test]
    fn the_oven_takes_so_many_trays_at_once() {
        let limited = |mold_id, containers, rounds, most| CastLoad {
            oven_containers: Some(most),
            ..cast(mold_id, containers, rounds, 45.0)
        };
        // Rounds of 2 and 1 trays, each a run.
        check(&[limited(1, 3, 2, 4)], (106.0, 90.0, true));
        // Two trays each of two molds share a run; a third mold's do not fit.
        check(
            &[limited(1, 2, 1, 4), limited(2, 2, 1, 4)],
            (54.0, 45.0, true),
        );
        check(
            &[
                limited(1, 2, 1, 4),
                limited(2, 2, 1, 4),
                limited(3, 1, 1, 4),
            ],
            (54.0, 90.0, true),
        );
        // Another cure is another run.
        let mut warmer = limited(2, 2, 1, 4);
        warmer.cure_temperature_c = 90.0;
        check(&[limited(1, 2, 1, 4), warmer], (54.0, 90.0, true));
        // 11 runs of 45 minutes are 495.
        check(&[limited(1, 11, 1, 1)], (72.0, 495.0, false));
    }

    #[test]
    fn impossible_figures_are_refused() {
        let mut wrong = cast(1, 1, 1, 45.0);
        wrong.oven_containers = Some(0);
        assert_eq!(
            day_load(&[wrong], 480.0).unwrap_err().to_string(),
            "oven_containers is 0, but must be 1 or more"
        );
        assert!(day_load(&[cast(1, 0, 1, 45.0)], 480.0).is_err());
        assert!(day_load(&[], 0.0).is_err());
    }

    proptest! {
        #[test]
        fn another_cast_never_makes_the_day_shorter(
            casts in prop::collection::vec((0_i64..3, 1_u32..30, 1_u32..5, 10.0..300.0_f64, prop::option::of(1_u32..8)), 0..6),
            more in (0_i64..3, 1_u32..30, 1_u32..5, 10.0..300.0_f64, prop::option::of(1_u32..8)),
        ) {
            let load = |(mold_id, containers, rounds, cure_min, oven_containers): (i64, u32, u32, f64, Option<u32>)| CastLoad {
                oven_containers, ..cast(mold_id, containers.max(rounds), rounds, cure_min)
            };
            let mut all: Vec<CastLoad> = casts.into_iter().map(load).collect();
            let before = day_load(&all, 480.0).unwrap();
            all.push(load(more));
            let after = day_load(&all, 480.0).unwrap();
            prop_assert!(after.mold_min >= before.mold_min - 1e-9);
            prop_assert!(after.oven_min >= before.oven_min - 1e-9);
            prop_assert!(before.fits || !after.fits);
        }
    }
}
