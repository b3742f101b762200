//! The cost of a cast drawn as the cup it was mixed in and the chip that came of it.
//!
//! Invariants: the cup holds the elastomer (residue at its floor, where it stays), the chip is a stack of all parts in the
//! order of the work; heights are as the amounts, but the residue is never lower than can be seen. Labels never overlap.
//! Deliberately absent: colours (the style sheet has them; numbers and a hatch tell the parts apart without).

use super::parts::Part;

/// How high both stand.
const HEIGHT: f64 = 236.0;
/// Where both stand.
const FLOOR: f64 = 250.0;
/// The residue is at least this high when there is any.
const RESIDUE_MIN: f64 = 7.0;
/// The least distance of two labels.
const LABEL_STEP: f64 = 17.0;
/// The components of which the cup is full, from its floor up.
const IN_THE_CUP: [&str; 4] = ["residue", "overfill", "trim", "chip"];

/// A layer of a stack.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Layer {
    /// The part's number.
    pub(super) no: usize,
    /// The part's word.
    pub(super) class: &'static str,
    /// Its upper edge.
    pub(super) y: f64,
    /// Its height.
    pub(super) height: f64,
    /// Where its label stands.
    pub(super) label_y: f64,
}

impl Layer {
    /// Its middle, to which the label's line leads.
    pub(super) fn middle(&self) -> f64 {
        self.y + self.height / 2.0
    }
}

/// Both stacks.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Drawing {
    /// What is in the cup, from its floor up.
    pub(super) cup: Vec<Layer>,
    /// What is in the chip, in the order of the work from the floor up.
    pub(super) chip: Vec<Layer>,
}

/// Draws the parts.
pub(super) fn drawing(parts: &[Part]) -> Drawing {
    let in_cup: Vec<&Part> = IN_THE_CUP
        .iter()
        .filter_map(|word| parts.iter().find(|part| part.class == *word))
        .collect();
    Drawing {
        // The cup is not filled to its rim.
        cup: stack(&in_cup, HEIGHT * 0.75),
        chip: stack(&parts.iter().collect::<Vec<_>>(), HEIGHT),
    }
}

/// Stacks parts from the floor up; what costs nothing has no layer.
fn stack(parts: &[&Part], height: f64) -> Vec<Layer> {
    let total: f64 = parts.iter().map(|part| part.size).sum();
    let shown: Vec<(&Part, f64)> = parts
        .iter()
        .filter(|part| part.size > 0.0)
        .map(|part| {
            let least = if part.class == "residue" {
                RESIDUE_MIN
            } else {
                1.5
            };
            (*part, (part.size / total * height).max(least))
        })
        .collect();
    let drawn: f64 = shown.iter().map(|(_, high)| high).sum();
    let rest: f64 = shown
        .iter()
        .filter(|(part, _)| part.class != "residue")
        .map(|(_, high)| high)
        .sum();
    // What is too high is taken from the others, so that the residue keeps its least height.
    let scale = if rest > 0.0 {
        1.0 - (drawn - height) / rest
    } else {
        1.0
    };
    let mut top = FLOOR;
    let mut layers: Vec<Layer> = Vec::with_capacity(shown.len());
    for (part, high) in shown {
        let high = if part.class == "residue" {
            high
        } else {
            high * scale
        };
        top -= high;
        let wanted = top + high / 2.0;
        let highest = layers
            .last()
            .map_or(FLOOR, |below| below.label_y - LABEL_STEP);
        layers.push(Layer {
            no: part.no,
            class: part.class,
            y: top,
            height: high,
            label_y: wanted.min(highest),
        });
    }
    // Labels that were pushed out at the top push back.
    let mut least = FLOOR - HEIGHT + 4.0;
    for layer in layers.iter_mut().rev() {
        layer.label_y = layer.label_y.max(least);
        least = layer.label_y + LABEL_STEP;
    }
    layers
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(no: usize, class: &'static str, size: f64) -> Part {
        Part {
            no,
            name: "",
            class,
            amount: String::new(),
            each: None,
            size,
        }
    }

    #[test]
    fn heights_are_as_the_amounts_and_the_residue_is_always_seen() {
        let parts = [
            part(1, "chip", 90.0),
            part(2, "trim", 9.99),
            part(3, "overfill", 0.0),
            part(4, "residue", 0.01),
        ];
        let drawn = drawing(&parts);
        let total: f64 = drawn.chip.iter().map(|layer| layer.height).sum();
        assert!((total - HEIGHT).abs() < 1e-9, "{total}");
        let of = |no: usize| drawn.chip.iter().find(|layer| layer.no == no);
        assert!((of(4).unwrap().height - RESIDUE_MIN).abs() < 1e-9);
        assert!((of(1).unwrap().height / of(2).unwrap().height - 90.0 / 9.99).abs() < 1e-9);
        assert!(of(3).is_none());
        let cup: Vec<usize> = drawn.cup.iter().map(|layer| layer.no).collect();
        assert_eq!(cup, [4, 2, 1], "the residue lies at the floor of the cup");
    }

    #[test]
    fn labels_keep_their_distance_and_stay_within_the_drawing() {
        let classes = [
            "chip",
            "trim",
            "overfill",
            "residue",
            "release",
            "tape",
            "container",
            "cup",
            "mold",
            "sundries",
        ];
        let with = |first: f64, last: f64| {
            let size = |at: usize| match at {
                0 => first,
                9 => last,
                _ => 0.01,
            };
            let parts: Vec<Part> = (0..10)
                .map(|at| part(at + 1, classes[at], size(at)))
                .collect();
            drawing(&parts).chip
        };
        for layers in [with(100.0, 0.01), with(0.01, 100.0), with(1.0, 1.0)] {
            for pair in layers.windows(2) {
                assert!(pair[0].label_y - pair[1].label_y >= LABEL_STEP - 1e-9);
            }
            let within = |layer: &Layer| layer.label_y > 10.0 && layer.label_y <= FLOOR;
            assert!(layers.iter().all(within), "{layers:?}");
        }
    }
}
