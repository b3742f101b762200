//! A window on a scale, with a needle: where a mass or a ratio may be, and where it is.
//!
//! Invariants: the window has the same width whatever it is about; a needle beyond the scale stands at its end and points out.
//! Deliberately absent: the judgement (the operation says whether it is within).

/// The ends of the scale.
const SCALE: (f64, f64) = (14.0, 406.0);
/// How many half windows fit from the target to an end.
const HALVES: f64 = 2.5;

/// A window as it is drawn.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Window {
    /// Where it begins.
    pub(super) left: f64,
    /// How wide it is.
    pub(super) width: f64,
    /// Where the target is.
    pub(super) target: f64,
    /// Where the needle is, if something is shown.
    pub(super) needle: Option<f64>,
    /// Whether the needle is beyond the scale.
    pub(super) beyond: bool,
    /// What stands under begin, target and end.
    pub(super) labels: [String; 3],
}

impl Window {
    /// Its end.
    pub(super) fn right(&self) -> f64 {
        self.left + self.width
    }
}

/// A window from `least` to `most` about `target`, with what is shown.
pub(super) fn window(
    (least, target, most): (f64, f64, f64),
    shown: Option<f64>,
    labels: [String; 3],
) -> Window {
    let (begin, end) = SCALE;
    let middle = (begin + end) / 2.0;
    let half = (most - target).max(target - least).max(f64::MIN_POSITIVE);
    let at = |value: f64| middle + (value - target) / half * (end - middle) / HALVES;
    let left = at(least);
    Window {
        left,
        width: at(most) - left,
        target: middle,
        needle: shown.map(|shown| at(shown).clamp(begin, end)),
        beyond: shown.is_some_and(|shown| !(begin..=end).contains(&at(shown))),
        labels,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(shown: f64) -> Window {
        window((8.0, 10.0, 12.0), Some(shown), Default::default())
    }

    #[test]
    fn a_needle_stands_where_the_mass_is_and_never_leaves_the_scale() {
        let window = of(10.0);
        assert_eq!((window.target, window.needle), (210.0, Some(210.0)));
        assert!((window.right() - 288.4).abs() < 1e-9 && (window.left - 131.6).abs() < 1e-9);
        assert!((of(12.0).needle.unwrap() - window.right()).abs() < 1e-9);
        assert_eq!((of(900.0).needle, of(900.0).beyond), (Some(406.0), true));
        assert_eq!((of(-900.0).needle, of(-900.0).beyond), (Some(14.0), true));
        assert!(!of(15.0).beyond && of(15.1).beyond);
    }
}
