//! How the trays of a cast are divided into cups of mix.
//!
//! Invariants: every tray is in exactly one batch; a batch never spans rounds or groups; no batch exceeds the
//! cup's usable capacity or the pot life; within a round and group the batches differ by one tray at most.
//! Trays are taken group by group and dealt to the smallest possible number of rounds as evenly as possible.
//! Absent: which packs the mix comes from.

use serde::{Deserialize, Serialize};

use super::bounds::{OutOfRange, at_least_one, between, non_negative, positive};
use super::residue::ResidueError;

/// What limits the size of a batch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BatchLimits {
    /// Trays of the whole cast.
    pub containers: u32,
    /// Elastomer one tray needs.
    pub mass_per_container_g: f64,
    /// Allowance poured beyond it, as a fraction.
    pub overfill: f64,
    /// What the cup holds to the rim.
    pub cup_capacity_ml: f64,
    /// Share of it that may be filled.
    pub fill_limit: f64,
    /// Density of the mix.
    pub density_g_per_ml: f64,
    /// Time from mixing until the mix no longer pours.
    pub pot_life_min: f64,
    /// Time from mixing to the first tray (de-gassing).
    pub prep_min: f64,
    /// Time to pour one tray.
    pub pour_min_per_container: f64,
    /// Copies of the mold: trays that can be poured in one round.
    pub copies: u32,
    /// Groups of a course, each with cups of its own.
    pub groups: u32,
    /// Most trays that one batch is wanted to fill; none unless it was said.
    pub containers_per_batch: Option<u32>,
}

/// One cup of mix.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Batch {
    /// Round, from 1.
    pub round: u32,
    /// Group, from 1.
    pub group: u32,
    /// Trays it fills.
    pub containers: u32,
    /// What leaves the cup, allowance included.
    pub needed_g: f64,
}

/// The batches of a cast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Division {
    /// Rounds.
    pub rounds: u32,
    /// Most trays one batch could fill.
    pub containers_per_batch_max: u32,
    /// What sets that limit.
    pub limited_by: BatchLimit,
    /// The batches, by round and group.
    pub batches: Vec<Batch>,
}

/// What sets the largest batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BatchLimit {
    /// The cup's usable capacity.
    Cup,
    /// The pot life.
    PotLife,
    /// What was wished for.
    Wish,
    /// None of these: rounds and groups alone.
    Nothing,
}

/// Why trays cannot be divided into batches.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BatchError {
    /// A parameter is impossible.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// The residue cannot be computed.
    #[error(transparent)]
    Residue(ResidueError),
    /// One tray's mix does not fit the cup.
    #[error(
        "the mix for one tray takes {mixed_ml:.3} mL, but the cup may be filled to {usable_ml:.3} mL ({fill_limit} of {capacity_ml:.3} mL)"
    )]
    CupTooSmall {
        /// Volume of the mix for one tray, residue included.
        mixed_ml: f64,
        /// Capacity x fill limit.
        usable_ml: f64,
        /// The fill limit.
        fill_limit: f64,
        /// The cup's capacity.
        capacity_ml: f64,
    },
    /// One tray cannot be poured within the pot life.
    #[error(
        "preparing and pouring one tray takes {needed_min} min, but the pot life is {pot_life_min} min"
    )]
    PotLifeTooShort {
        /// Preparation and one tray.
        needed_min: f64,
        /// The pot life.
        pot_life_min: f64,
    },
    /// There are more groups than trays.
    #[error("groups is {groups}, but must be no more than the {containers} trays of the cast")]
    TooManyGroups {
        /// The groups.
        groups: u32,
        /// The trays.
        containers: u32,
    },
}

impl BatchLimits {
    fn check(&self) -> Result<(), BatchError> {
        at_least_one("containers", self.containers)?;
        at_least_one("copies", self.copies)?;
        at_least_one("groups", self.groups)?;
        at_least_one(
            "containers_per_batch",
            self.containers_per_batch.unwrap_or(1),
        )?;
        positive("mass_per_container_g", self.mass_per_container_g)?;
        non_negative("overfill", self.overfill)?;
        positive("cup_capacity_ml", self.cup_capacity_ml)?;
        positive("fill_limit", self.fill_limit)?;
        between("fill_limit", self.fill_limit, 0.0, 1.0)?;
        positive("density_g_per_ml", self.density_g_per_ml)?;
        positive("pot_life_min", self.pot_life_min)?;
        non_negative("prep_min", self.prep_min)?;
        non_negative("pour_min_per_container", self.pour_min_per_container)?;
        if self.groups > self.containers {
            return Err(BatchError::TooManyGroups {
                groups: self.groups,
                containers: self.containers,
            });
        }
        Ok(())
    }

    /// What a batch for `containers` trays must give, allowance included, in grams.
    ///
    /// ```
    /// # use heeltap::casting::sums::batches::BatchLimits;
    /// # let limits = BatchLimits { containers: 4, mass_per_container_g: 20.0, overfill: 0.05, cup_capacity_ml: 300.0,
    /// #     fill_limit: 0.5, density_g_per_ml: 1.03, pot_life_min: 90.0, prep_min: 30.0, pour_min_per_container: 5.0,
    /// #     copies: 4, groups: 1, containers_per_batch: None };
    /// assert_eq!(limits.needed_g(2), 42.0);
    /// ```
    #[must_use]
    pub fn needed_g(&self, containers: u32) -> f64 {
        f64::from(containers) * self.mass_per_container_g * (1.0 + self.overfill)
    }

    fn usable_ml(&self) -> f64 {
        self.cup_capacity_ml * self.fill_limit
    }

    fn minutes(&self, containers: u32) -> f64 {
        self.prep_min + f64::from(containers) * self.pour_min_per_container
    }

    fn within_pot_life(&self, containers: u32) -> bool {
        self.minutes(containers) <= self.pot_life_min * (1.0 + 1e-9)
    }
}

/// Divides the trays of a cast into batches.
///
/// `residue_g` gives, for what a batch must give, what will stay behind (residue and stirrer loss) in grams;
/// it must not fall when more is needed. When it answers that the cup is too small, the batch does not fit.
///
/// # Errors
/// [`BatchError::CupTooSmall`] or [`BatchError::PotLifeTooShort`] when a single tray is too much,
/// [`BatchError::TooManyGroups`], [`BatchError::OutOfRange`], [`BatchError::Residue`].
///
/// ```
/// use heeltap::casting::sums::batches::{BatchLimits, divide_batches};
/// let limits = BatchLimits { containers: 7, mass_per_container_g: 20.0, overfill: 0.0, cup_capacity_ml: 200.0,
///     fill_limit: 0.5, density_g_per_ml: 1.0, pot_life_min: 90.0, prep_min: 30.0, pour_min_per_container: 5.0,
///     copies: 7, groups: 1, containers_per_batch: None };
/// let division = divide_batches(&limits, |_| Ok(4.0)).unwrap();
/// let trays: Vec<u32> = division.batches.iter().map(|batch| batch.containers).collect();
/// assert_eq!(trays, [4, 3]);
/// ```
pub fn divide_batches(
    limits: &BatchLimits,
    residue_g: impl Fn(f64) -> Result<f64, ResidueError>,
) -> Result<Division, BatchError> {
    limits.check()?;
    if !limits.within_pot_life(1) {
        return Err(BatchError::PotLifeTooShort {
            needed_min: limits.minutes(1),
            pot_life_min: limits.pot_life_min,
        });
    }
    let rounds = limits.containers.div_ceil(limits.copies);
    let per_round = limits.containers.div_ceil(rounds);
    let per_group = limits.containers.div_ceil(limits.groups);
    let wished = limits.containers_per_batch.unwrap_or(u32::MAX);
    let free = per_round.min(per_group);
    let (most, mut limited_by) = largest_batch(limits, free.min(wished), residue_g)?;
    if limited_by == BatchLimit::Nothing && wished < free {
        limited_by = BatchLimit::Wish;
    }

    let by_round = even_shares(limits.containers, rounds);
    let by_group = even_shares(limits.containers, limits.groups);
    let mut batches = Vec::new();
    let (mut round, mut group) = (0, 0);
    let (mut in_round, mut in_group) = (by_round[0], by_group[0]);
    let mut left = limits.containers;
    while left > 0 {
        let together = in_round.min(in_group);
        for containers in even_shares(together, together.div_ceil(most)) {
            batches.push(Batch {
                round: round as u32 + 1,
                group: group as u32 + 1,
                containers,
                needed_g: limits.needed_g(containers),
            });
        }
        left -= together;
        in_round -= together;
        in_group -= together;
        if in_round == 0 && left > 0 {
            round += 1;
            in_round = by_round[round];
        }
        if in_group == 0 && left > 0 {
            group += 1;
            in_group = by_group[group];
        }
    }
    Ok(Division {
        rounds,
        containers_per_batch_max: most,
        limited_by,
        batches,
    })
}

/// The most trays, up to `wanted`, that one batch can fill, and what stops it from filling more.
fn largest_batch(
    limits: &BatchLimits,
    wanted: u32,
    residue_g: impl Fn(f64) -> Result<f64, ResidueError>,
) -> Result<(u32, BatchLimit), BatchError> {
    let mixed_ml = |containers: u32| -> Result<f64, BatchError> {
        let needed_g = limits.needed_g(containers);
        match residue_g(needed_g) {
            Ok(stays_g) => Ok((needed_g + stays_g) / limits.density_g_per_ml),
            Err(ResidueError::CupTooSmall { .. } | ResidueError::Vessel(_)) => Ok(f64::INFINITY),
            Err(error) => Err(BatchError::Residue(error)),
        }
    };
    let fits = |containers: u32| -> Result<bool, BatchError> {
        Ok(limits.within_pot_life(containers)
            && mixed_ml(containers)? <= limits.usable_ml() * (1.0 + 1e-9))
    };
    if !fits(1)? {
        let least_ml = limits.needed_g(1) / limits.density_g_per_ml;
        let mixed_ml = mixed_ml(1)?;
        return Err(BatchError::CupTooSmall {
            mixed_ml: if mixed_ml.is_finite() {
                mixed_ml
            } else {
                least_ml
            },
            usable_ml: limits.usable_ml(),
            fill_limit: limits.fill_limit,
            capacity_ml: limits.cup_capacity_ml,
        });
    }
    if fits(wanted)? {
        return Ok((wanted, BatchLimit::Nothing));
    }
    // What fits grows with fewer trays only, so the largest batch is found by halving.
    let (mut fitting, mut too_many) = (1, wanted);
    while too_many - fitting > 1 {
        let middle = fitting + (too_many - fitting) / 2;
        if fits(middle)? {
            fitting = middle;
        } else {
            too_many = middle;
        }
    }
    let limit = if limits.within_pot_life(fitting + 1) {
        BatchLimit::Cup
    } else {
        BatchLimit::PotLife
    };
    Ok((fitting, limit))
}

/// `total` in `parts` shares that differ by one at most, the larger ones first.
pub(super) fn even_shares(total: u32, parts: u32) -> Vec<u32> {
    let parts = parts.max(1);
    let (each, larger) = (total / parts, total % parts);
    (0..parts)
        .map(|part| each + u32::from(part < larger))
        .collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn limits(containers: u32, copies: u32, groups: u32) -> BatchLimits {
        BatchLimits {
            containers,
            mass_per_container_g: 20.0,
            overfill: 0.0,
            cup_capacity_ml: 300.0,
            fill_limit: 1.0 / 3.0,
            density_g_per_ml: 1.0,
            pot_life_min: 90.0,
            prep_min: 30.0,
            pour_min_per_container: 5.0,
            copies,
            groups,
            containers_per_batch: None,
        }
    }

    /// Expected: `round.group:trays` for each batch, or the message.
    #[track_caller]
    fn check(input: BatchLimits, expected: &str) {
        let shown = match divide_batches(&input, |_| Ok(4.0)) {
            Ok(division) => division
                .batches
                .iter()
                .map(|b| format!("{}.{}:{}", b.round, b.group, b.containers))
                .collect::<Vec<_>>()
                .join(" "),
            Err(error) => error.to_string(),
        };
        assert_eq!(shown, expected);
    }

    #[test]
    fn divides_by_cup_rounds_and_groups() {
        check(limits(1, 1, 1), "1.1:1");
        check(limits(4, 4, 1), "1.1:4");
        check(limits(5, 5, 1), "1.1:3 1.1:2");
        check(limits(9, 4, 1), "1.1:3 2.1:3 3.1:3");
        check(limits(6, 6, 3), "1.1:2 1.2:2 1.3:2");
        check(limits(7, 7, 3), "1.1:3 1.2:2 1.3:2");
        check(limits(6, 3, 3), "1.1:2 1.2:1 2.2:1 2.3:2");
        check(limits(10, 10, 2), "1.1:3 1.1:2 1.2:3 1.2:2");
        let wished = BatchLimits {
            containers_per_batch: Some(2),
            ..limits(5, 5, 1)
        };
        check(wished, "1.1:2 1.1:2 1.1:1");
    }

    #[test]
    fn refuses_what_cannot_be_poured() {
        let small_cup = BatchLimits {
            cup_capacity_ml: 60.0,
            ..limits(4, 4, 1)
        };
        check(
            small_cup,
            "the mix for one tray takes 24.000 mL, but the cup may be filled to 20.000 mL (0.3333333333333333 of 60.000 mL)",
        );
        let slow = BatchLimits {
            prep_min: 88.0,
            ..limits(4, 4, 1)
        };
        check(
            slow,
            "preparing and pouring one tray takes 93 min, but the pot life is 90 min",
        );
        check(
            limits(2, 2, 3),
            "groups is 3, but must be no more than the 2 trays of the cast",
        );
        check(limits(2, 0, 1), "copies is 0, but must be 1 or more");
    }

    #[test]
    fn says_what_limits_the_batch() {
        let by = |limits: BatchLimits| divide_batches(&limits, |_| Ok(4.0)).unwrap().limited_by;
        assert_eq!(by(limits(4, 4, 1)), BatchLimit::Nothing);
        assert_eq!(by(limits(9, 9, 1)), BatchLimit::Cup);
        let slow = BatchLimits {
            pour_min_per_container: 20.0,
            ..limits(9, 9, 1)
        };
        assert_eq!(by(slow), BatchLimit::PotLife);
    }

    #[test]
    fn a_residue_that_has_no_answer_for_a_large_mix_makes_smaller_batches() {
        let too_small = |needed_g: f64| {
            if needed_g > 50.0 {
                return Err(ResidueError::CupTooSmall {
                    needed_g,
                    capacity_g: 50.0,
                });
            }
            Ok(1.0)
        };
        let division = divide_batches(&limits(4, 4, 1), too_small).unwrap();
        assert_eq!(division.batches.len(), 2);
    }

    proptest! {
        #[test]
        fn every_tray_is_in_one_batch_that_fits(containers in 1u32..200, copies in 1u32..60, groups in 1u32..20) {
            prop_assume!(groups <= containers);
            let limits = limits(containers, copies, groups);
            let division = divide_batches(&limits, |needed| Ok(0.05 * needed)).unwrap();
            let batches = &division.batches;
            prop_assert_eq!(batches.iter().map(|b| b.containers).sum::<u32>(), containers);
            for round in 1..=division.rounds {
                let poured: u32 = batches.iter().filter(|b| b.round == round).map(|b| b.containers).sum();
                prop_assert!(poured >= 1 && poured <= copies);
            }
            for batch in batches {
                prop_assert!(batch.containers >= 1 && batch.needed_g * 1.05 <= 100.0 + 1e-6);
                prop_assert!(limits.within_pot_life(batch.containers));
            }
            prop_assert_eq!(batches.iter().map(|b| b.group).max(), Some(groups));
        }
    }
}
