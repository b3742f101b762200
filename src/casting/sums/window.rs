//! The windows within which base and agent may be weighed.
//!
//! Invariants: each window is for the target of the other part; whatever is weighed inside it keeps the ratio within its
//! tolerance, and its ends are whole counts of the balance. Two parts at the far ends of both windows need not fit: who
//! misses the base's target weighs the agent to what was weighed. Absent: the targets themselves (`mix`), and what to add
//! after a window was missed (`correction`).

use serde::{Deserialize, Serialize};

use super::bounds::{OutOfRange, between, positive};
use super::mix::MassRatio;

/// A target with the least and the most that is borne.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Window {
    /// The target.
    pub target_g: f64,
    /// The least.
    pub min_g: f64,
    /// The most.
    pub max_g: f64,
}

/// The windows of both parts of a mix.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MixWindows {
    /// The base's, for the agent at its target.
    pub base: Window,
    /// The agent's, for the base at its target.
    pub curing_agent: Window,
    /// Whether the balance can hit both: without it a window is its target alone, and the ratio is out of tolerance.
    pub reachable: bool,
}

/// Slack in counts that keeps an end which is a whole count, but for floating point, from losing one.
const COUNT_SLACK: f64 = 1e-6;

/// The windows around two targets, for a ratio with a relative tolerance (above 0, below 1), in whole counts of
/// `readability_g`: agent from base/(r (1 + t)) to base/(r (1 - t)), base from agent r (1 - t) to agent r (1 + t).
///
/// # Errors
/// [`OutOfRange`] for a target or readability of 0 or less, or a tolerance outside 0 to 1.
///
/// ```
/// use heeltap::casting::sums::mix::MassRatio;
/// use heeltap::casting::sums::window::mix_windows;
/// let windows = mix_windows(40.0, 4.0, MassRatio::new(10.0, 1.0).unwrap(), 0.02, 0.01).unwrap();
/// // 40/10.2 = 3.9216 and 40/9.8 = 4.0816, inward to 0.01 g; the base may be 39.2 to 40.8 g.
/// assert!((windows.curing_agent.min_g - 3.93).abs() < 1e-9 && (windows.curing_agent.max_g - 4.08).abs() < 1e-9);
/// assert!((windows.base.min_g - 39.2).abs() < 1e-9 && (windows.base.max_g - 40.8).abs() < 1e-9);
/// assert!(windows.reachable);
/// ```
pub fn mix_windows(
    base_g: f64,
    curing_agent_g: f64,
    ratio: MassRatio,
    relative_tolerance: f64,
    readability_g: f64,
) -> Result<MixWindows, OutOfRange> {
    positive("base_g", base_g)?;
    positive("curing_agent_g", curing_agent_g)?;
    positive("readability_g", readability_g)?;
    positive("relative_tolerance", relative_tolerance)?;
    between("relative_tolerance", relative_tolerance, 0.0, 0.999)?;
    let (least, most) = (
        ratio.value() * (1.0 - relative_tolerance),
        ratio.value() * (1.0 + relative_tolerance),
    );
    let inward = |target_g: f64, from_g: f64, to_g: f64| {
        let min_g = (from_g / readability_g - COUNT_SLACK).ceil() * readability_g;
        let max_g = (to_g / readability_g + COUNT_SLACK).floor() * readability_g;
        let slack_g = COUNT_SLACK * readability_g;
        let holds = min_g <= target_g + slack_g && target_g <= max_g + slack_g;
        let window = if holds {
            Window {
                target_g,
                min_g: min_g.min(target_g),
                max_g: max_g.max(target_g),
            }
        } else {
            Window {
                target_g,
                min_g: target_g,
                max_g: target_g,
            }
        };
        (window, holds)
    };
    let (base, base_holds) = inward(base_g, curing_agent_g * least, curing_agent_g * most);
    let (curing_agent, agent_holds) = inward(curing_agent_g, base_g / most, base_g / least);
    Ok(MixWindows {
        base,
        curing_agent,
        reachable: base_holds && agent_holds,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::casting::sums::correction::is_within_tolerance;
    use crate::casting::sums::mix::round_to_readability;

    #[test]
    fn a_balance_too_coarse_leaves_the_target_alone() {
        // 10:1 within 2 % on a balance of 1 g: 3 g base want 0.294 to 0.306 g agent, and the balance shows 1 g.
        let ratio = MassRatio::new(10.0, 1.0).unwrap();
        let windows = mix_windows(3.0, 1.0, ratio, 0.02, 1.0).unwrap();
        assert!(!windows.reachable);
        assert_eq!(
            (windows.curing_agent.min_g, windows.curing_agent.max_g),
            (1.0, 1.0)
        );
    }

    #[test]
    fn impossible_figures_are_refused() {
        let ratio = MassRatio::new(10.0, 1.0).unwrap();
        assert!(mix_windows(0.0, 1.0, ratio, 0.02, 0.01).is_err());
        assert!(mix_windows(10.0, 1.0, ratio, 1.0, 0.01).is_err());
        assert!(mix_windows(10.0, 1.0, ratio, 0.02, 0.0).is_err());
    }

    proptest! {
        #[test]
        fn whatever_lies_in_a_window_keeps_the_ratio(
            total_g in 5.0..2000.0f64, parts in 0.2..30.0f64, tolerance in 0.005..0.5f64, readability in 0..4i32, at in 0.0..=1.0f64,
        ) {
            let readability_g = 10.0_f64.powi(-readability);
            let ratio = MassRatio::new(parts, 1.0).unwrap();
            let mix = round_to_readability(total_g, ratio, readability_g, tolerance).unwrap();
            let windows = mix_windows(mix.base_g, mix.curing_agent_g, ratio, tolerance, readability_g).unwrap();
            prop_assert_eq!(windows.reachable, mix.within_tolerance);
            for window in [windows.base, windows.curing_agent] {
                prop_assert!(window.min_g <= window.target_g && window.target_g <= window.max_g);
            }
            if windows.reachable {
                let slack = 1.0 + 1e-5;
                let agent_g = windows.curing_agent.min_g + at * (windows.curing_agent.max_g - windows.curing_agent.min_g);
                prop_assert!(is_within_tolerance(mix.base_g, agent_g, ratio, tolerance * slack));
                let base_g = windows.base.min_g + at * (windows.base.max_g - windows.base.min_g);
                prop_assert!(is_within_tolerance(base_g, mix.curing_agent_g, ratio, tolerance * slack));
            }
        }
    }
}
