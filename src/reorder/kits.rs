//! Stock of a two-part kit: how much mix it makes, which part binds, what would be stranded.
//!
//! Base and curing agent are matched by the maker, so that only parts of one kit lot are mixed here. Invariants:
//! whole millionths, rounded down, so that no mix is promised that a part cannot make; per kit lot one part at most is
//! stranded. Absent: mixing across kit lots, which a cast may be allowed, but a forecast does not count on.

/// Mass ratio of base to curing agent, both above 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MixRatio {
    base: i64,
    curing_agent: i64,
}

/// A ratio part that is not above 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("ratio.{part} is {value_micro} millionths, but must be above 0")]
pub struct MixRatioError {
    /// `base` or `curing_agent`.
    pub part: &'static str,
    /// What was given, in millionths.
    pub value_micro: i64,
}

impl MixRatio {
    /// The ratio of `base_micro` to `curing_agent_micro`, both in millionths of a mass part.
    ///
    /// # Errors
    /// [`MixRatioError`] for a part of 0 or less.
    ///
    /// ```
    /// use heeltap::reorder::kits::MixRatio;
    /// assert!(MixRatio::new(10_000_000, 1_000_000).is_ok());
    /// assert_eq!(MixRatio::new(10_000_000, 0).unwrap_err().part, "curing_agent");
    /// ```
    pub fn new(base_micro: i64, curing_agent_micro: i64) -> Result<MixRatio, MixRatioError> {
        for (part, value_micro) in [("base", base_micro), ("curing_agent", curing_agent_micro)] {
            if value_micro <= 0 {
                return Err(MixRatioError { part, value_micro });
            }
        }
        Ok(MixRatio {
            base: base_micro,
            curing_agent: curing_agent_micro,
        })
    }

    /// The mix that takes this much of a part, rounded up; a negative mass counts as 0.
    ///
    /// ```
    /// use heeltap::reorder::kits::{KitPart, MixRatio};
    /// let ratio = MixRatio::new(10_000_000, 1_000_000).unwrap();
    /// assert_eq!(ratio.mix_with(KitPart::Base, 1_000), 1_100);
    /// assert_eq!(ratio.mix_with(KitPart::CuringAgent, 1_000), 11_000);
    /// ```
    #[must_use]
    pub fn mix_with(self, part: KitPart, part_micro: i64) -> i64 {
        let parts = match part {
            KitPart::Base => self.base,
            KitPart::CuringAgent => self.curing_agent,
        };
        let (parts, all) = (i128::from(parts), self.sum());
        saturated((i128::from(part_micro.max(0)) * all + parts - 1) / parts)
    }

    /// The mean of a figure of the base and one of the curing agent, weighted by mass and rounded half up: what a unit of
    /// mix costs, from what a unit of each part costs.
    ///
    /// ```
    /// use heeltap::reorder::kits::MixRatio;
    /// let ratio = MixRatio::new(10_000_000, 1_000_000).unwrap();
    /// assert_eq!(ratio.mean(100_000, 210_000), 110_000);
    /// ```
    #[must_use]
    pub fn mean(self, of_base: i64, of_curing_agent: i64) -> i64 {
        let sum = i128::from(of_base) * i128::from(self.base)
            + i128::from(of_curing_agent) * i128::from(self.curing_agent);
        saturated((sum + self.sum() / 2).div_euclid(self.sum()))
    }

    fn sum(self) -> i128 {
        i128::from(self.base) + i128::from(self.curing_agent)
    }
}

/// Usable stock of one kit lot, in millionths of a gram.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KitLot {
    /// Base.
    pub base_micro: i64,
    /// Curing agent.
    pub curing_agent_micro: i64,
}

/// A part of a kit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum KitPart {
    /// The base.
    Base,
    /// The curing agent.
    CuringAgent,
}

impl KitPart {
    /// The name in a sentence.
    ///
    /// ```
    /// assert_eq!(heeltap::reorder::kits::KitPart::CuringAgent.words(), "curing agent");
    /// ```
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            KitPart::Base => "base",
            KitPart::CuringAgent => "curing agent",
        }
    }
}

/// What kit lots can make together, in millionths of a gram.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsableMix {
    /// Mix at the nominal ratio.
    pub mix_micro: i64,
    /// The part that runs out first; none when both run out together.
    pub binding: Option<KitPart>,
    /// Base that would be left without curing agent.
    pub stranded_base_micro: i64,
    /// Curing agent that would be left without base.
    pub stranded_curing_agent_micro: i64,
    /// Mass ratio of base to curing agent at which both would be used up; none without curing agent.
    pub ratio_using_all: Option<f64>,
}

/// Mix that kit lots can make: the sum over kit lots of min(base (1 + 1/r), agent (1 + r)), r being the mass ratio
/// of base to agent.
///
/// The binding part is the one whose lack leaves more of the other, counted as the mix that this rest would make.
/// Negative stock counts as 0.
///
/// ```
/// use heeltap::reorder::kits::{KitLot, KitPart, MixRatio, usable_mix};
/// let ratio = MixRatio::new(10_000_000, 1_000_000).unwrap();
/// let lot = KitLot { base_micro: 1_000_000_000, curing_agent_micro: 80_000_000 };
/// let mix = usable_mix(&[lot], ratio);
/// assert_eq!(mix.mix_micro, 880_000_000);
/// assert_eq!((mix.binding, mix.stranded_base_micro), (Some(KitPart::CuringAgent), 200_000_000));
/// assert_eq!(mix.ratio_using_all, Some(12.5));
/// ```
#[must_use]
pub fn usable_mix(lots: &[KitLot], ratio: MixRatio) -> UsableMix {
    let (base_parts, agent_parts) = (i128::from(ratio.base), i128::from(ratio.curing_agent));
    let (mut mix, mut stranded_base, mut stranded_agent) = (0_i128, 0_i128, 0_i128);
    let (mut all_base, mut all_agent) = (0_i128, 0_i128);
    for lot in lots {
        let base = i128::from(lot.base_micro.max(0));
        let agent = i128::from(lot.curing_agent_micro.max(0));
        all_base += base;
        all_agent += agent;
        if base * agent_parts <= agent * base_parts {
            let used = base * agent_parts / base_parts;
            mix += base + used;
            // What is left is counted down to the part that the rounding of the mix leaves over.
            stranded_agent += (agent * base_parts - base * agent_parts) / base_parts;
        } else {
            let used = agent * base_parts / agent_parts;
            mix += agent + used;
            stranded_base += (base * agent_parts - agent * base_parts) / agent_parts;
        }
    }
    let base_lacking = stranded_agent.saturating_mul(base_parts);
    let binding = match base_lacking.cmp(&stranded_base.saturating_mul(agent_parts)) {
        std::cmp::Ordering::Greater => Some(KitPart::Base),
        std::cmp::Ordering::Less => Some(KitPart::CuringAgent),
        std::cmp::Ordering::Equal => None,
    };
    UsableMix {
        mix_micro: saturated(mix),
        binding,
        stranded_base_micro: saturated(stranded_base),
        stranded_curing_agent_micro: saturated(stranded_agent),
        ratio_using_all: (all_agent > 0).then(|| all_base as f64 / all_agent as f64),
    }
}

/// Work at another ratio that would use up what would be stranded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RatioWork {
    /// Mix at the other ratio, in millionths of a gram.
    pub mix_micro: i64,
    /// Whether nothing is stranded after it; else the binding part is used up first.
    pub uses_all: bool,
}

/// How much mix at another ratio, made from the same kit lots, leaves the rest in the nominal ratio.
///
/// From base B and agent A of a lot, m of mix at the ratio q leaves the ratio r when
/// B - m q / (1 + q) = r (A - m / (1 + q)), so m = (B - r A) (1 + q) / (q - r): below 0 (and then no help) when q is on the
/// same side of r as the part that binds; at most what either part of the lot makes at q. Rounded down; none when no lot is
/// helped.
///
/// ```
/// use heeltap::reorder::kits::{KitLot, MixRatio, ratio_work};
/// let ratio = |base| MixRatio::new(base, 1).unwrap();
/// let lot = KitLot { base_micro: 1_000, curing_agent_micro: 80 };
/// // 420 g at 20:1 takes 400 of base and 20 of agent, and leaves 600 and 60.
/// let work = ratio_work(&[lot], ratio(10), ratio(20)).unwrap();
/// assert_eq!((work.mix_micro, work.uses_all), (420, true));
/// assert_eq!(ratio_work(&[lot], ratio(10), ratio(5)), None);
/// ```
#[must_use]
pub fn ratio_work(lots: &[KitLot], nominal: MixRatio, other: MixRatio) -> Option<RatioWork> {
    let quotient = |ratio: MixRatio| ratio.base as f64 / ratio.curing_agent as f64;
    let (r, q) = (quotient(nominal), quotient(other));
    if r == q {
        return None;
    }
    let (mut mix, mut uses_all) = (0.0, true);
    for lot in lots {
        let base = lot.base_micro.max(0) as f64;
        let agent = lot.curing_agent_micro.max(0) as f64;
        let wish = (base - r * agent) * (1.0 + q) / (q - r);
        let most = (base * (1.0 + q) / q).min(agent * (1.0 + q));
        if wish > most {
            uses_all = false;
        }
        if wish > 0.0 {
            mix += wish.min(most);
        } else if wish < 0.0 {
            uses_all = false;
        }
    }
    let mix_micro = mix.floor() as i64;
    (mix_micro > 0).then_some(RatioWork {
        mix_micro,
        uses_all,
    })
}

fn saturated(quantity: i128) -> i64 {
    i64::try_from(quantity).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check(lots: &[(i64, i64)], mix: i64, binding: Option<KitPart>, stranded: (i64, i64)) {
        let lots: Vec<_> = lots
            .iter()
            .map(|&(base_micro, curing_agent_micro)| KitLot {
                base_micro,
                curing_agent_micro,
            })
            .collect();
        let found = usable_mix(&lots, MixRatio::new(10, 1).unwrap());
        assert_eq!((found.mix_micro, found.binding), (mix, binding));
        let rest = (found.stranded_base_micro, found.stranded_curing_agent_micro);
        assert_eq!(rest, stranded);
    }

    #[test]
    fn each_part_can_bind() {
        check(&[(1000, 100)], 1100, None, (0, 0));
        check(&[(1000, 80)], 880, Some(KitPart::CuringAgent), (200, 0));
        check(&[(500, 80)], 550, Some(KitPart::Base), (0, 30));
        check(&[], 0, None, (0, 0));
        check(&[(-5, 7)], 0, Some(KitPart::Base), (0, 7));
    }

    #[test]
    fn parts_of_different_kit_lots_are_not_mixed() {
        check(&[(1000, 0), (0, 100)], 0, None, (1000, 100));
        check(
            &[(1000, 90), (500, 80)],
            990 + 550,
            Some(KitPart::Base),
            (100, 30),
        );
    }

    #[test]
    fn the_largest_stock_does_not_overflow() {
        let lot = KitLot {
            base_micro: i64::MAX,
            curing_agent_micro: i64::MAX,
        };
        let ratio = MixRatio::new(i64::MAX, 1).unwrap();
        assert_eq!(usable_mix(&[lot; 3], ratio).mix_micro, i64::MAX);
    }

    #[test]
    fn ratio_work_takes_no_more_than_there_is() {
        let lot = |base_micro, curing_agent_micro| KitLot {
            base_micro,
            curing_agent_micro,
        };
        let (nominal, rich) = (MixRatio::new(10, 1).unwrap(), MixRatio::new(12, 1).unwrap());
        let work = |lots: &[KitLot], other| {
            ratio_work(lots, nominal, other).map(|work| (work.mix_micro, work.uses_all))
        };
        // At 12:1 all of the agent goes into 1040 g of mix, and 40 g of base are still left.
        assert_eq!(work(&[lot(1000, 80)], rich), Some((1040, false)));
        // A lot that is in balance needs no such work, and one that lacks base is not helped by it.
        assert_eq!(work(&[lot(1000, 100)], rich), None);
        assert_eq!(work(&[lot(500, 80)], rich), None);
        let lean = MixRatio::new(5, 1).unwrap();
        assert_eq!(work(&[lot(500, 80)], lean), Some((360, true)));
        assert_eq!(
            work(&[lot(500, 80), lot(1000, 80)], lean),
            Some((360, false))
        );
    }

    proptest! {
        #[test]
        fn after_ratio_work_both_run_out_together(base in 1_i64..100_000_000, agent in 1_i64..10_000_000, q in 1_i64..40) {
            let (nominal, other) = (MixRatio::new(10, 1).unwrap(), MixRatio::new(q, 1).unwrap());
            let lot = KitLot { base_micro: base, curing_agent_micro: agent };
            if let Some(work) = ratio_work(&[lot], nominal, other).filter(|work| work.uses_all) {
                let (mix, q) = (work.mix_micro as f64, q as f64);
                let left = (base as f64 - mix * q / (1.0 + q), agent as f64 - mix / (1.0 + q));
                prop_assert!(left.0 > -1.0 && left.1 > -1.0);
                // The mix is rounded down by less than one millionth, of which each part is a part.
                prop_assert!((left.0 - 10.0 * left.1).abs() < 11.0);
            }
        }

        #[test]
        fn mix_and_rest_are_all_there_is(base in 0_i64..1_000_000_000, agent in 0_i64..1_000_000_000, b in 1_i64..100, a in 1_i64..100) {
            let lot = KitLot { base_micro: base, curing_agent_micro: agent };
            let found = usable_mix(&[lot], MixRatio::new(b, a).unwrap());
            let rest = found.stranded_base_micro + found.stranded_curing_agent_micro;
            // Both are rounded down, so that at most one millionth of a gram is in neither.
            prop_assert!((0..=1).contains(&(base + agent - found.mix_micro - rest)));
        }
    }
}
