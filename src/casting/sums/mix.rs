//! Base and agent of one cup: split by the mass ratio, rounded to the balance, with the ratio's uncertainty.
//!
//! Invariants: a rounded mix is never less than what was wanted and both masses are whole counts of the
//! balance's readability; a ratio is base over agent by mass. Absent: how many cups (`batches`) and what to
//! add after a wrong weighing (`correction`).
//!
//! Uncertainty source: JCGM 100:2008 (GUM) eq. (10) and 5.1.2; the reading of a balance of readability d has
//! u = d/sqrt(12) (F.2.2.1); expanded values use k = 2.

use serde::{Deserialize, Serialize};

use super::bounds::{OutOfRange, non_negative, positive};

/// Coverage factor of the expanded uncertainty.
pub const COVERAGE_FACTOR: f64 = 2.0;

/// Most counts of the readability a mass may have, far below where f64 loses whole numbers.
const COUNTS_MAX: f64 = 1e12;

/// How many counts of the smaller part are tried when no neighbour keeps the ratio's tolerance.
const SEARCH_COUNTS: u64 = 200;

/// A mass ratio base : curing agent, as 10 : 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "WrittenRatio")]
pub struct MassRatio {
    base: f64,
    curing_agent: f64,
}

/// A ratio as it is kept in a snapshot, before it is checked again.
#[derive(Deserialize)]
struct WrittenRatio {
    base: f64,
    curing_agent: f64,
}

impl TryFrom<WrittenRatio> for MassRatio {
    type Error = OutOfRange;

    fn try_from(written: WrittenRatio) -> Result<Self, OutOfRange> {
        Self::new(written.base, written.curing_agent)
    }
}

impl MassRatio {
    /// A ratio of `base` parts to `curing_agent` parts by mass, both above 0.
    ///
    /// # Errors
    /// [`OutOfRange`] for a part of 0 or less.
    ///
    /// ```
    /// use heeltap::casting::sums::mix::MassRatio;
    /// assert_eq!(MassRatio::new(10.0, 1.0).unwrap().value(), 10.0);
    /// assert!(MassRatio::new(10.0, 0.0).is_err());
    /// ```
    pub fn new(base: f64, curing_agent: f64) -> Result<Self, OutOfRange> {
        Ok(Self {
            base: positive("ratio base", base)?,
            curing_agent: positive("ratio curing_agent", curing_agent)?,
        })
    }

    /// Base over agent.
    ///
    /// ```
    /// use heeltap::casting::sums::mix::MassRatio;
    /// assert_eq!(MassRatio::new(1.0, 1.0).unwrap().value(), 1.0);
    /// ```
    #[must_use]
    pub fn value(&self) -> f64 {
        self.base / self.curing_agent
    }

    /// Share of the base in the mix, by mass.
    ///
    /// ```
    /// use heeltap::casting::sums::mix::MassRatio;
    /// assert_eq!(MassRatio::new(3.0, 1.0).unwrap().base_fraction(), 0.75);
    /// ```
    #[must_use]
    pub fn base_fraction(&self) -> f64 {
        self.base / (self.base + self.curing_agent)
    }

    /// Share of the curing agent in the mix, by mass.
    ///
    /// ```
    /// use heeltap::casting::sums::mix::MassRatio;
    /// assert_eq!(MassRatio::new(3.0, 1.0).unwrap().curing_agent_fraction(), 0.25);
    /// ```
    #[must_use]
    pub fn curing_agent_fraction(&self) -> f64 {
        self.curing_agent / (self.base + self.curing_agent)
    }
}

/// The two parts of a mix.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Split {
    /// Base.
    pub base_g: f64,
    /// Curing agent.
    pub curing_agent_g: f64,
}

/// Splits `total_g` (0 or more) by the ratio: base = total x a / (a + b). 10 : 1 means 10/11 of the total.
///
/// # Errors
/// [`OutOfRange`] for a negative total.
///
/// ```
/// use heeltap::casting::sums::mix::{MassRatio, split};
/// let parts = split(33.0, MassRatio::new(10.0, 1.0).unwrap()).unwrap();
/// assert_eq!((parts.base_g, parts.curing_agent_g), (30.0, 3.0));
/// ```
pub fn split(total_g: f64, ratio: MassRatio) -> Result<Split, OutOfRange> {
    non_negative("total_g", total_g)?;
    let parts = ratio.base + ratio.curing_agent;
    Ok(Split {
        base_g: total_g * ratio.base / parts,
        curing_agent_g: total_g * ratio.curing_agent / parts,
    })
}

/// Density of the mix in g/mL from those of its parts: 1/rho = sum w/rho (volumes add; from memory).
///
/// # Errors
/// [`OutOfRange`] for a density of 0 or less.
///
/// ```
/// use heeltap::casting::sums::mix::{MassRatio, mix_density_g_per_ml};
/// let density = mix_density_g_per_ml(MassRatio::new(10.0, 1.0).unwrap(), 1.11, 1.03).unwrap();
/// assert!((density - 1.102_217_353_198_948_3).abs() < 1e-12);
/// ```
pub fn mix_density_g_per_ml(
    ratio: MassRatio,
    base_density_g_per_ml: f64,
    curing_agent_density_g_per_ml: f64,
) -> Result<f64, OutOfRange> {
    positive("base_density_g_per_ml", base_density_g_per_ml)?;
    positive(
        "curing_agent_density_g_per_ml",
        curing_agent_density_g_per_ml,
    )?;
    let ml_per_g = ratio.base_fraction() / base_density_g_per_ml
        + ratio.curing_agent_fraction() / curing_agent_density_g_per_ml;
    Ok(ml_per_g.recip())
}

/// Base over agent by volume, from the ratio by mass and the two densities.
///
/// # Errors
/// [`OutOfRange`] for a density of 0 or less.
///
/// ```
/// use heeltap::casting::sums::mix::{MassRatio, volume_ratio};
/// let ratio = volume_ratio(MassRatio::new(10.0, 1.0).unwrap(), 1.11, 1.03).unwrap();
/// assert!((ratio - 9.279_279_279_279_28).abs() < 1e-12);
/// ```
pub fn volume_ratio(
    ratio: MassRatio,
    base_density_g_per_ml: f64,
    curing_agent_density_g_per_ml: f64,
) -> Result<f64, OutOfRange> {
    positive("base_density_g_per_ml", base_density_g_per_ml)?;
    positive(
        "curing_agent_density_g_per_ml",
        curing_agent_density_g_per_ml,
    )?;
    Ok(ratio.value() * curing_agent_density_g_per_ml / base_density_g_per_ml)
}

/// How the two masses were weighed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Weighing {
    /// Each mass carries one rounding: the balance shows an exact zero before each part.
    OneRounding,
    /// Each mass is a gross less a tare reading: two independent roundings.
    TareAndGross,
    /// The agent is the second reading less the first, without setting to zero between: the masses are correlated.
    Cumulative,
}

/// The ratio of two weighed masses and what the balance leaves open.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RatioUncertainty {
    /// Base over agent.
    pub ratio: f64,
    /// Standard uncertainty of one reading: readability / sqrt(12).
    pub reading_u_g: f64,
    /// Standard uncertainty of the ratio.
    pub standard: f64,
    /// The same, relative to the ratio.
    pub relative_standard: f64,
    /// Expanded uncertainty of the ratio, k = 2.
    pub expanded: f64,
    /// The same, relative to the ratio.
    pub relative_expanded: f64,
    /// Smallest ratio the readings allow.
    pub ratio_min: f64,
    /// Largest ratio the readings allow; none when they allow no agent at all.
    pub ratio_max: Option<f64>,
}

/// Partial derivatives of the ratio by the first and the second reading of a cumulative weighing:
/// r = w1/(w2 - w1), so dr/dw1 = w2/(w2 - w1)^2 and dr/dw2 = -w1/(w2 - w1)^2.
///
/// # Errors
/// [`OutOfRange`] unless 0 < first reading < second reading.
///
/// ```
/// use heeltap::casting::sums::mix::cumulative_sensitivities;
/// assert_eq!(cumulative_sensitivities(10.0, 11.0), Ok((11.0, -10.0)));
/// ```
pub fn cumulative_sensitivities(
    after_base_g: f64,
    after_curing_agent_g: f64,
) -> Result<(f64, f64), OutOfRange> {
    positive("after_base_g", after_base_g)?;
    let curing_agent_g = after_curing_agent_g - after_base_g;
    positive("after_curing_agent_g - after_base_g", curing_agent_g)?;
    let square = curing_agent_g * curing_agent_g;
    Ok((after_curing_agent_g / square, -after_base_g / square))
}

/// Uncertainty of base/agent from a balance of `readability_g`, by the way it was weighed.
///
/// Source: JCGM 100:2008 eq. (10); see the module. For a cumulative weighing the masses are correlated, so
/// the readings' sensitivities are used, not the masses'.
///
/// # Errors
/// [`OutOfRange`] for masses or a readability of 0 or less.
///
/// ```
/// use heeltap::casting::sums::mix::{Weighing, ratio_uncertainty};
/// let u = ratio_uncertainty(10.0, 1.0, 0.1, Weighing::OneRounding).unwrap();
/// assert!((u.expanded - 0.580_229_839_517_640_4).abs() < 1e-9);
/// ```
pub fn ratio_uncertainty(
    base_g: f64,
    curing_agent_g: f64,
    readability_g: f64,
    weighing: Weighing,
) -> Result<RatioUncertainty, OutOfRange> {
    positive("base_g", base_g)?;
    positive("curing_agent_g", curing_agent_g)?;
    let reading_u_g = positive("readability_g", readability_g)? / 12.0_f64.sqrt();
    let ratio = base_g / curing_agent_g;
    let quadrature = base_g.recip().hypot(curing_agent_g.recip());
    let half_g = readability_g / 2.0;
    let (standard, base_off_g, agent_off_g) = match weighing {
        Weighing::OneRounding => (ratio * reading_u_g * quadrature, half_g, half_g),
        Weighing::TareAndGross => (
            ratio * reading_u_g * std::f64::consts::SQRT_2 * quadrature,
            readability_g,
            readability_g,
        ),
        Weighing::Cumulative => {
            let (by_first, by_second) = cumulative_sensitivities(base_g, base_g + curing_agent_g)?;
            (
                reading_u_g * by_first.hypot(by_second),
                half_g,
                readability_g,
            )
        }
    };
    let least_agent_g = curing_agent_g - agent_off_g;
    Ok(RatioUncertainty {
        ratio,
        reading_u_g,
        standard,
        relative_standard: standard / ratio,
        expanded: COVERAGE_FACTOR * standard,
        relative_expanded: COVERAGE_FACTOR * standard / ratio,
        ratio_min: (base_g - base_off_g).max(0.0) / (curing_agent_g + agent_off_g),
        ratio_max: (least_agent_g > 0.0).then(|| (base_g + base_off_g) / least_agent_g),
    })
}

/// Total of the smallest batch whose ratio has a relative expanded uncertainty (k = 2) within `relative_tolerance`.
///
/// The relative uncertainty falls as 1/total at a given ratio, so the batch follows from that of 1 g.
///
/// # Errors
/// [`OutOfRange`] for a readability or tolerance of 0 or less.
///
/// ```
/// use heeltap::casting::sums::mix::{MassRatio, Weighing, smallest_batch_g};
/// let ratio = MassRatio::new(10.0, 1.0).unwrap();
/// let total_g = smallest_batch_g(ratio, 0.1, 0.05, Weighing::OneRounding).unwrap();
/// assert!((total_g - 12.765_056_469_388_087).abs() < 1e-9);
/// ```
pub fn smallest_batch_g(
    ratio: MassRatio,
    readability_g: f64,
    relative_tolerance: f64,
    weighing: Weighing,
) -> Result<f64, OutOfRange> {
    positive("relative_tolerance", relative_tolerance)?;
    let of_one_gram = ratio_uncertainty(
        ratio.base_fraction(),
        ratio.curing_agent_fraction(),
        readability_g,
        weighing,
    )?;
    Ok(of_one_gram.relative_expanded / relative_tolerance)
}

/// A mix in whole counts of the balance's readability.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RoundedMix {
    /// Base in counts.
    pub base_counts: u64,
    /// Agent in counts.
    pub curing_agent_counts: u64,
    /// Base.
    pub base_g: f64,
    /// Agent.
    pub curing_agent_g: f64,
    /// Both.
    pub total_g: f64,
    /// Base over agent as rounded.
    pub ratio: f64,
    /// Distance from the wanted ratio, relative to it.
    pub relative_error: f64,
    /// Whether that is within the tolerance.
    pub within_tolerance: bool,
}

/// Rounds a mix of at least `wanted_total_g` to whole counts of `readability_g`.
///
/// Of the neighbouring counts of both parts whose total is not less than wanted, the pair closest to the
/// ratio (then the lighter one). Only when none is within `relative_tolerance`, the lightest pair somewhat
/// above that is; when a balance so coarse has none, the closest neighbour, marked.
///
/// # Errors
/// [`OutOfRange`] for a total, readability or tolerance of 0 or less, or a total of more than 10^12 counts.
///
/// ```
/// use heeltap::casting::sums::mix::{MassRatio, round_to_readability};
/// let mix = round_to_readability(32.5, MassRatio::new(10.0, 1.0).unwrap(), 0.1, 0.02).unwrap();
/// assert_eq!((mix.base_counts, mix.curing_agent_counts), (296, 30));
/// assert!(mix.within_tolerance);
/// ```
pub fn round_to_readability(
    wanted_total_g: f64,
    ratio: MassRatio,
    readability_g: f64,
    relative_tolerance: f64,
) -> Result<RoundedMix, OutOfRange> {
    positive("wanted_total_g", wanted_total_g)?;
    positive("readability_g", readability_g)?;
    positive("relative_tolerance", relative_tolerance)?;
    let wanted = wanted_total_g / readability_g;
    let largest = wanted.max(wanted * ratio.value().max(ratio.value().recip()));
    if largest > COUNTS_MAX {
        return Err(OutOfRange {
            parameter: "wanted_total_g",
            value: wanted_total_g,
            bound: format!("no more than 10^12 counts of the readability, {readability_g} g"),
        });
    }
    // The slack keeps a total that is a whole number of counts, but for floating point, from gaining one.
    let wanted_counts = (wanted - 1e-9 * wanted.max(1.0)).ceil().max(1.0) as u64;
    let base = wanted * ratio.base_fraction();
    let agent = wanted * ratio.curing_agent_fraction();
    let judge = |b: u64, a: u64| judge(b, a, ratio, readability_g, relative_tolerance);
    let allowed = |b: u64, a: u64| b > 0 && a > 0 && b + a >= wanted_counts;

    let mut closest: Option<RoundedMix> = None;
    for b in [base.floor() as u64, base.ceil() as u64] {
        for a in [agent.floor() as u64, agent.ceil() as u64] {
            if allowed(b, a) {
                let pair = judge(b, a);
                if closest.is_none_or(|best| is_closer(&pair, &best)) {
                    closest = Some(pair);
                }
            }
        }
    }
    let fallback = judge((base.ceil() as u64).max(1), (agent.ceil() as u64).max(1));
    let closest = closest.unwrap_or(fallback);
    if closest.within_tolerance {
        return Ok(closest);
    }
    let mut lightest: Option<RoundedMix> = None;
    let smaller = base.min(agent).floor() as u64;
    for few in smaller.max(1)..=smaller + SEARCH_COUNTS {
        let many = few as f64 * ratio.value().max(ratio.value().recip());
        for many in [many.floor() as u64, many.ceil() as u64] {
            let (b, a) = if base >= agent {
                (many, few)
            } else {
                (few, many)
            };
            if !allowed(b, a) {
                continue;
            }
            let pair = judge(b, a);
            if pair.within_tolerance && lightest.is_none_or(|held| pair.total_g < held.total_g) {
                lightest = Some(pair);
            }
        }
    }
    Ok(lightest.unwrap_or(closest))
}

fn judge(
    base_counts: u64,
    curing_agent_counts: u64,
    wanted: MassRatio,
    readability_g: f64,
    relative_tolerance: f64,
) -> RoundedMix {
    let ratio = base_counts as f64 / curing_agent_counts as f64;
    let relative_error = (ratio / wanted.value() - 1.0).abs();
    RoundedMix {
        base_counts,
        curing_agent_counts,
        base_g: base_counts as f64 * readability_g,
        curing_agent_g: curing_agent_counts as f64 * readability_g,
        total_g: (base_counts + curing_agent_counts) as f64 * readability_g,
        ratio,
        relative_error,
        within_tolerance: relative_error <= relative_tolerance + 1e-12,
    }
}

/// Whether `a` is closer to the ratio than `b`, and at the same distance lighter.
fn is_closer(a: &RoundedMix, b: &RoundedMix) -> bool {
    (a.relative_error, a.total_g) < (b.relative_error, b.total_g)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Input: wanted total, ratio, readability, tolerance. Expected: counts and whether within tolerance.
    #[track_caller]
    fn check(input: (f64, (f64, f64), f64, f64), expected: (u64, u64, bool)) {
        let ratio = MassRatio::new(input.1.0, input.1.1).unwrap();
        let mix = round_to_readability(input.0, ratio, input.2, input.3).unwrap();
        assert_eq!(
            (
                mix.base_counts,
                mix.curing_agent_counts,
                mix.within_tolerance
            ),
            expected,
            "{mix:?}"
        );
    }

    #[test]
    fn rounds_to_the_closest_neighbour_that_is_not_less() {
        check((33.0, (10.0, 1.0), 0.1, 0.02), (300, 30, true));
        check((33.0, (10.0, 1.0), 0.01, 0.02), (3000, 300, true));
        check((32.5, (10.0, 1.0), 0.1, 0.02), (296, 30, true));
        check((25.0, (1.0, 1.0), 0.1, 0.01), (125, 125, true));
        check((25.1, (1.0, 1.0), 0.1, 0.01), (126, 126, true));
        check((33.0, (1.0, 10.0), 0.1, 0.02), (30, 300, true));
    }

    #[test]
    fn a_coarse_balance_takes_more_or_says_so() {
        // 14 and 1.4 g on a balance of 1 g would round to 15 : 2 or 14 : 2; 20 : 2 keeps the ratio.
        check((15.4, (10.0, 1.0), 1.0, 0.05), (20, 2, true));
        check((0.3, (10.0, 1.0), 1.0, 0.02), (10, 1, true));
        // No pair of whole grams within two hundred counts comes within a part in 10^9 of the ratio.
        let ratio = MassRatio::new(std::f64::consts::PI, 1.0).unwrap();
        let mix = round_to_readability(10.0, ratio, 1.0, 1e-9).unwrap();
        assert!(!mix.within_tolerance);
        assert!(mix.total_g >= 10.0 && mix.total_g <= 12.0);
    }

    #[test]
    fn limits_of_the_ratio_by_way_of_weighing() {
        let twice = ratio_uncertainty(10.0, 1.0, 0.1, Weighing::TareAndGross).unwrap();
        assert!((twice.ratio_min - 9.9 / 1.1).abs() < 1e-12);
        let cumulative = ratio_uncertainty(10.0, 1.0, 0.1, Weighing::Cumulative).unwrap();
        assert!((cumulative.ratio_max.unwrap() - 10.05 / 0.9).abs() < 1e-12);
        let tiny = ratio_uncertainty(1.0, 0.1, 0.1, Weighing::TareAndGross).unwrap();
        assert_eq!(tiny.ratio_max, None);
    }

    #[test]
    fn impossible_input_is_named() {
        let ratio = MassRatio::new(10.0, 1.0).unwrap();
        let error = round_to_readability(30.0, ratio, 0.0, 0.02).unwrap_err();
        assert_eq!(
            error.to_string(),
            "readability_g is 0, but must be greater than 0"
        );
        assert!(round_to_readability(1e9, ratio, 1e-6, 0.02).is_err());
    }

    proptest! {
        #[test]
        fn a_rounded_mix_is_never_less_and_nearly_never_off(
            total in 0.5..500.0f64, parts in 0.2..30.0f64, readability in prop::sample::select(vec![0.001, 0.01, 0.1]),
        ) {
            let ratio = MassRatio::new(parts, 1.0).unwrap();
            let mix = round_to_readability(total, ratio, readability, 0.05).unwrap();
            prop_assert!(mix.total_g >= total - 1e-8 * total);
            prop_assert!(mix.within_tolerance);
            prop_assert!(mix.total_g <= total + readability * (40.0 + 3.0 * parts.max(1.0 / parts)));
        }

        #[test]
        fn a_split_adds_up(total in 0.0..1e6f64, base in 0.01..100.0f64, agent in 0.01..100.0f64) {
            let parts = split(total, MassRatio::new(base, agent).unwrap()).unwrap();
            prop_assert!((parts.base_g + parts.curing_agent_g - total).abs() <= 1e-12 * total);
        }

        #[test]
        fn the_smallest_batch_just_keeps_the_tolerance(
            parts in 0.2..30.0f64, readability in 0.001..1.0f64, tolerance in 0.001..0.2f64,
            weighing in prop::sample::select(vec![Weighing::OneRounding, Weighing::TareAndGross, Weighing::Cumulative]),
        ) {
            let ratio = MassRatio::new(parts, 1.0).unwrap();
            let total = smallest_batch_g(ratio, readability, tolerance, weighing).unwrap();
            let halves = split(total, ratio).unwrap();
            let u = ratio_uncertainty(halves.base_g, halves.curing_agent_g, readability, weighing).unwrap();
            prop_assert!((u.relative_expanded / tolerance - 1.0).abs() < 1e-9);
        }
    }
}
