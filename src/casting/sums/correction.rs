//! What to add to a cup that was weighed wrong.
//!
//! Invariants: a correction only ever adds one part; after it the ratio is nominal, or just within its
//! tolerance; what the balance can weigh of it is a whole number of counts. Absent: the cup (`cup_room`) and the
//! stock, which the caller asks where it knows them.

use serde::{Deserialize, Serialize};

use super::bounds::{OutOfRange, between, non_negative, positive};
use super::mix::MassRatio;

/// Relative distance from the nominal ratio that is only floating point.
const ROUNDING_SLACK: f64 = 1e-9;

/// The most counts of a balance that are reckoned with.
const COUNTS_MAX: f64 = 1e12;

/// One of the two parts of a mix.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// The base.
    Base,
    /// The curing agent.
    CuringAgent,
}

/// An addition of one part and what it leads to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Addition {
    /// The part to add.
    pub part: Part,
    /// How much of it.
    pub mass_g: f64,
    /// Mass of the mix afterwards.
    pub total_g: f64,
    /// Base over agent afterwards.
    pub ratio_after: f64,
}

/// What was weighed, judged, and what would mend it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Correction {
    /// Mass of the mix as weighed.
    pub total_g: f64,
    /// Base over agent as weighed; none without agent.
    pub ratio_before: Option<f64>,
    /// Whether the mix as weighed is within the tolerance.
    pub within_tolerance: bool,
    /// The smallest addition that restores the nominal ratio; none when it is nominal.
    pub to_nominal: Option<Addition>,
    /// The smallest addition that just reaches the tolerance; none when the mix is within it.
    pub to_tolerance: Option<Addition>,
}

/// Judges weighed masses against the ratio and finds the additions that mend it.
///
/// `relative_tolerance` (0 up to, not including, 1) bounds |ratio/nominal - 1|. Too little agent calls for
/// agent = base/r - agent, too little base for base = r x agent - base, with r the nominal ratio or the near
/// edge of its tolerance.
///
/// # Errors
/// [`OutOfRange`] for negative masses, an empty cup or a tolerance outside its range.
///
/// ```
/// use heeltap::casting::sums::correction::{Part, correct_mix};
/// use heeltap::casting::sums::mix::MassRatio;
/// let correction = correct_mix(30.0, 3.5, MassRatio::new(10.0, 1.0).unwrap(), 0.02).unwrap();
/// let addition = correction.to_nominal.unwrap();
/// assert_eq!(addition.part, Part::Base);
/// assert!((addition.mass_g - 5.0).abs() < 1e-12 && (addition.total_g - 38.5).abs() < 1e-12);
/// assert!((correction.to_tolerance.unwrap().mass_g - 4.3).abs() < 1e-12);
/// ```
pub fn correct_mix(
    base_g: f64,
    curing_agent_g: f64,
    nominal: MassRatio,
    relative_tolerance: f64,
) -> Result<Correction, OutOfRange> {
    non_negative("base_g", base_g)?;
    non_negative("curing_agent_g", curing_agent_g)?;
    let total_g = positive("base_g + curing_agent_g", base_g + curing_agent_g)?;
    between("relative_tolerance", relative_tolerance, 0.0, 0.999_999)?;
    let ratio = nominal.value();
    let before = base_g / curing_agent_g;
    let distance = before / ratio - 1.0;
    let within_tolerance = distance.abs() <= relative_tolerance + ROUNDING_SLACK;
    let nominal_already = distance.abs() <= ROUNDING_SLACK;
    let edge = if distance > 0.0 {
        ratio * (1.0 + relative_tolerance)
    } else {
        ratio * (1.0 - relative_tolerance)
    };
    let add = |target| addition(base_g, curing_agent_g, target, distance > 0.0);
    Ok(Correction {
        total_g,
        ratio_before: (curing_agent_g > 0.0).then_some(before),
        within_tolerance,
        to_nominal: (!nominal_already).then(|| add(ratio)),
        to_tolerance: (!within_tolerance).then(|| add(edge)),
    })
}

/// Whether `base_g` over `curing_agent_g` is within `relative_tolerance` of the nominal ratio.
///
/// ```
/// use heeltap::casting::sums::correction::is_within_tolerance;
/// use heeltap::casting::sums::mix::MassRatio;
/// let ratio = MassRatio::new(10.0, 1.0).unwrap();
/// assert!(is_within_tolerance(30.0, 3.05, ratio, 0.02));
/// assert!(!is_within_tolerance(30.0, 0.0, ratio, 0.02));
/// ```
#[must_use]
pub fn is_within_tolerance(
    base_g: f64,
    curing_agent_g: f64,
    nominal: MassRatio,
    relative_tolerance: f64,
) -> bool {
    (base_g / curing_agent_g / nominal.value() - 1.0).abs() <= relative_tolerance + ROUNDING_SLACK
}

/// An addition in whole counts of the balance's readability.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WeighableAddition {
    /// Counts of the readability; 0 when the addition is less than the balance shows.
    pub counts: u64,
    /// Counts x readability.
    pub mass_g: f64,
    /// Mass of the mix afterwards.
    pub total_g: f64,
    /// Base over agent afterwards.
    pub ratio_after: f64,
    /// Whether the ratio is then within the tolerance.
    pub within_tolerance: bool,
}

/// What of an addition to `base_g` and `curing_agent_g` can be weighed on a balance of `readability_g`.
///
/// The next whole count above the addition, when the ratio is then within the tolerance; else the nearest count,
/// which a balance too coarse for so small a mix may leave outside it.
///
/// # Errors
/// [`OutOfRange`] for a readability of 0 or less, or an addition of more than 10^12 counts.
///
/// ```
/// use heeltap::casting::sums::correction::{correct_mix, weigh_addition};
/// use heeltap::casting::sums::mix::MassRatio;
/// let ratio = MassRatio::new(10.0, 1.0).unwrap();
/// let edge = correct_mix(33.0, 3.0, ratio, 0.02).unwrap().to_tolerance.unwrap();
/// let weighed = weigh_addition((33.0, 3.0), &edge, ratio, 0.02, 0.01).unwrap();
/// assert_eq!(weighed.counts, 24); // 0.235 g are weighed as 0.24 g.
/// assert!(weighed.within_tolerance);
/// ```
pub fn weigh_addition(
    (base_g, curing_agent_g): (f64, f64),
    addition: &Addition,
    nominal: MassRatio,
    relative_tolerance: f64,
    readability_g: f64,
) -> Result<WeighableAddition, OutOfRange> {
    positive("readability_g", readability_g)?;
    let exact = addition.mass_g / readability_g;
    if exact > COUNTS_MAX {
        return Err(OutOfRange {
            parameter: "mass_g",
            value: addition.mass_g,
            bound: format!("no more than 10^12 counts of the readability, {readability_g} g"),
        });
    }
    let judged = |counts: f64| {
        let mass_g = counts * readability_g;
        let (base_after_g, agent_after_g) = added(base_g, curing_agent_g, addition.part, mass_g);
        WeighableAddition {
            counts: counts as u64,
            mass_g,
            total_g: base_after_g + agent_after_g,
            ratio_after: base_after_g / agent_after_g,
            within_tolerance: is_within_tolerance(
                base_after_g,
                agent_after_g,
                nominal,
                relative_tolerance,
            ),
        }
    };
    // The slack keeps an addition that is a whole number of counts, but for floating point, from gaining one.
    let up = judged((exact - ROUNDING_SLACK * exact.max(1.0)).ceil().max(0.0));
    Ok(if up.within_tolerance {
        up
    } else {
        judged(exact.round())
    })
}

fn added(base_g: f64, curing_agent_g: f64, part: Part, mass_g: f64) -> (f64, f64) {
    match part {
        Part::Base => (base_g + mass_g, curing_agent_g),
        Part::CuringAgent => (base_g, curing_agent_g + mass_g),
    }
}

fn addition(base_g: f64, curing_agent_g: f64, target: f64, too_much_base: bool) -> Addition {
    let (part, mass_g) = if too_much_base {
        (Part::CuringAgent, base_g / target - curing_agent_g)
    } else {
        (Part::Base, target * curing_agent_g - base_g)
    };
    let mass_g = mass_g.max(0.0);
    let (base_after_g, agent_after_g) = added(base_g, curing_agent_g, part, mass_g);
    Addition {
        part,
        mass_g,
        total_g: base_after_g + agent_after_g,
        ratio_after: base_after_g / agent_after_g,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Input: base and agent at 10 : 1 within 2 %. Expected: additions to nominal and to the tolerance's edge.
    #[track_caller]
    fn check(input: (f64, f64), expected: &str) {
        let ratio = MassRatio::new(10.0, 1.0).unwrap();
        let show = |addition: Option<Addition>| {
            addition.map_or("none".to_owned(), |a| {
                format!("{:?} {:.4} of {:.4}", a.part, a.mass_g, a.total_g)
            })
        };
        let shown = match correct_mix(input.0, input.1, ratio, 0.02) {
            Ok(c) => format!(
                "{} | {} | {}",
                c.within_tolerance,
                show(c.to_nominal),
                show(c.to_tolerance)
            ),
            Err(error) => error.to_string(),
        };
        assert_eq!(shown, expected);
    }

    #[test]
    fn adds_the_part_that_is_short() {
        check((30.0, 3.0), "true | none | none");
        check((30.0, 3.05), "true | Base 0.5000 of 33.5500 | none");
        check(
            (33.0, 3.0),
            "false | CuringAgent 0.3000 of 36.3000 | CuringAgent 0.2353 of 36.2353",
        );
        check(
            (30.0, 3.5),
            "false | Base 5.0000 of 38.5000 | Base 4.3000 of 37.8000",
        );
        check(
            (30.0, 0.0),
            "false | CuringAgent 3.0000 of 33.0000 | CuringAgent 2.9412 of 32.9412",
        );
        check(
            (0.0, 3.0),
            "false | Base 30.0000 of 33.0000 | Base 29.4000 of 32.4000",
        );
        check(
            (0.0, 0.0),
            "base_g + curing_agent_g is 0, but must be greater than 0",
        );
        check((-1.0, 3.0), "base_g is -1, but must be 0 or greater");
    }

    #[test]
    fn a_balance_too_coarse_says_so() {
        let ratio = MassRatio::new(10.0, 1.0).unwrap();
        let weighed = |base: f64, agent: f64, readability_g: f64| {
            let found = correct_mix(base, agent, ratio, 0.02).unwrap();
            let nominal = found.to_nominal.unwrap();
            let weighed = weigh_addition((base, agent), &nominal, ratio, 0.02, readability_g);
            weighed.map(|w| (w.counts, w.within_tolerance))
        };
        assert_eq!(weighed(110.0, 10.0, 0.01), Ok((100, true)));
        assert_eq!(weighed(110.0, 10.0, 0.3), Ok((4, true))); // 1.2 g: 9.82 : 1.
        // 0.1 g are called for, and a whole gram would be far too much: the nearest count is none.
        assert_eq!(weighed(11.0, 1.0, 1.0), Ok((0, false)));
        assert_eq!(
            weighed(11.0, 1.0, 0.0).unwrap_err().parameter,
            "readability_g"
        );
        assert!(weighed(1e9, 1.0, 1e-6).is_err());
    }

    proptest! {
        #[test]
        fn what_is_weighed_is_near_what_is_called_for_and_keeps_the_tolerance(
            base in 1.0..200.0f64, agent in 0.5..20.0f64, tolerance in 0.005..0.1f64,
            readability in prop::sample::select(vec![0.001, 0.01, 0.1]),
        ) {
            let ratio = MassRatio::new(10.0, 1.0).unwrap();
            let found = correct_mix(base, agent, ratio, tolerance).unwrap();
            for addition in found.to_nominal.iter().chain(&found.to_tolerance) {
                let weighed = weigh_addition((base, agent), addition, ratio, tolerance, readability).unwrap();
                prop_assert!((weighed.mass_g - addition.mass_g).abs() <= readability * (1.0 + 1e-6));
                let finest = readability <= 0.001 && agent > 1.0;
                prop_assert!(weighed.within_tolerance || !finest);
                prop_assert!((base + agent + weighed.mass_g - weighed.total_g).abs() < 1e-9);
            }
        }

        #[test]
        fn after_the_correction_the_ratio_is_within_tolerance(
            base in 0.0..200.0f64, agent in 0.0..200.0f64, parts in 0.1..30.0f64, tolerance in 0.0..0.2f64,
        ) {
            prop_assume!(base + agent > 1e-6);
            let ratio = MassRatio::new(parts, 1.0).unwrap();
            let correction = correct_mix(base, agent, ratio, tolerance).unwrap();
            for addition in correction.to_nominal.iter().chain(&correction.to_tolerance) {
                prop_assert!(addition.mass_g >= 0.0);
                let (b, a) = match addition.part {
                    Part::Base => (base + addition.mass_g, agent),
                    Part::CuringAgent => (base, agent + addition.mass_g),
                };
                prop_assert!(is_within_tolerance(b, a, ratio, tolerance));
                prop_assert!((b + a - addition.total_g).abs() < 1e-9);
            }
            if let (Some(nominal), Some(edge)) = (correction.to_nominal, correction.to_tolerance) {
                prop_assert!(edge.mass_g <= nominal.mass_g + 1e-9);
            }
        }
    }
}
