//! A lot's packs as the vessels they are in: bottle, vial, stack or roll, filled to what they hold.
//!
//! Invariants: the height of a filling is its share of what the pack held when it came, and a roll's is by area, since tape is
//! wound; what is promised lies below what is free, and both together are what the pack holds. Deliberately absent: colours
//! (the style sheet has one hue per kind).

use crate::catalogue::MaterialKind;

/// The shape of a vessel, with the lines that fill it, in units of its drawing.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Vessel {
    /// Width and height.
    pub(super) size: (f64, f64),
    /// What it is drawn as.
    pub(super) shape: Shape,
    /// What it holds, in words for whoever does not see it.
    pub(super) label: String,
}

/// What a vessel is drawn as.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Shape {
    /// A bottle or a vial: its outline, and the levels in it, measured from the top.
    Glass {
        /// The outline.
        outline: String,
        /// Where what is free begins, and how high it stands.
        free: (f64, f64),
        /// Where what is promised begins, and how high it stands.
        promised: (f64, f64),
        /// Where the stock of the material would be at its reorder point, if in this vessel.
        mark: Option<f64>,
    },
    /// A stack of pieces, the lowest first.
    Stack(Vec<Piece>),
    /// A roll of tape: the radii of its core, of what is promised, of what is left, and of the whole.
    Roll {
        /// The radius of the core.
        core: f64,
        /// Up to here what is left is promised.
        promised: f64,
        /// Up to here there is tape.
        left: f64,
        /// Up to here there was tape.
        whole: f64,
    },
}

/// A piece of a stack.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Piece {
    /// Its upper edge.
    pub(super) y: f64,
    /// `free`, `promised` or `gone`.
    pub(super) class: &'static str,
}

/// What of a pack is free and promised, and where the mark is, all as shares of what it held when it came (0 to 1).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Filling {
    /// What nobody is promised.
    pub(super) free: f64,
    /// What casts are promised.
    pub(super) promised: f64,
    /// Where the reorder point is.
    pub(super) mark: Option<f64>,
}

/// The most pieces that a stack is drawn with; each then stands for several.
const PIECES_MAX: f64 = 12.0;

/// Draws a pack. `pieces` is how many it held when it came, for what is counted.
pub(super) fn vessel(kind: MaterialKind, filling: Filling, pieces: f64, label: String) -> Vessel {
    match kind {
        MaterialKind::ElastomerBase => glass((58.0, 118.0), filling, label),
        MaterialKind::CuringAgent => glass((44.0, 96.0), filling, label),
        MaterialKind::ReleaseAgent => glass((26.0, 58.0), filling, label),
        MaterialKind::Tape => roll(filling, label),
        MaterialKind::Container | MaterialKind::MixingCup | MaterialKind::Sundry => {
            stack(filling, pieces, label)
        }
    }
}

/// The inside of a glass, from its shoulders to its foot, as shares of its height.
const INSIDE: (f64, f64) = (0.30, 0.975);

/// A length in tenths of a pixel: what is finer is not seen, and only longer to send.
fn tenths(length: f64) -> f64 {
    (length * 10.0).round() / 10.0
}

fn glass((width, height): (f64, f64), filling: Filling, label: String) -> Vessel {
    // Whatever is measured from the foot is in tenths like the foot itself, or an empty glass has a height below 0.
    let (top, foot) = (tenths(height * INSIDE.0), tenths(height * INSIDE.1));
    let level = |share: f64| tenths(foot - share.clamp(0.0, 1.0) * (foot - top));
    let promised_top = level(filling.promised);
    let free_top = level(filling.promised + filling.free);
    let (left, right) = (width * 0.07, width * 0.93);
    let (neck, throat) = (width * 0.29, width * 0.71);
    let outline = format!(
        "M{neck:.1},2 H{throat:.1} V{:.1} Q{throat:.1},{:.1} {right:.1},{top:.1} V{:.1} Q{right:.1},{foot:.1} {:.1},{foot:.1} \
         H{:.1} Q{left:.1},{foot:.1} {left:.1},{:.1} V{top:.1} Q{neck:.1},{:.1} {neck:.1},{:.1} Z",
        height * 0.16,
        height * 0.22,
        foot - 6.0,
        right - 6.0,
        left + 6.0,
        foot - 6.0,
        height * 0.22,
        height * 0.16,
    );
    Vessel {
        size: (width, height),
        shape: Shape::Glass {
            outline,
            free: (free_top, tenths(promised_top - free_top)),
            promised: (promised_top, tenths(foot - promised_top)),
            mark: filling.mark.map(level),
        },
        label,
    }
}

fn stack(filling: Filling, pieces: f64, label: String) -> Vessel {
    let count = pieces.clamp(1.0, PIECES_MAX).round();
    let of = |share: f64| (share * count).round();
    let held = of(filling.free + filling.promised).min(count);
    // A promise is never drawn away by rounding.
    let promised = of(filling.promised)
        .max(f64::from(filling.promised > 0.0))
        .min(held);
    let height = 14.0 + count * 9.0;
    let slots = (0..count as u32).map(|slot| {
        let at = f64::from(slot);
        Piece {
            y: height - 13.0 - at * 9.0,
            class: if at < promised {
                "promised"
            } else if at < held {
                "free"
            } else {
                "gone"
            },
        }
    });
    Vessel {
        size: (66.0, height),
        shape: Shape::Stack(slots.collect()),
        label,
    }
}

fn roll(filling: Filling, label: String) -> Vessel {
    let (core, whole) = (10.0_f64, 30.0_f64);
    // The length wound is as the area between the radii.
    let radius = |share: f64| {
        let area = core.powi(2) + share.clamp(0.0, 1.0) * (whole.powi(2) - core.powi(2));
        tenths(area.sqrt())
    };
    Vessel {
        size: (64.0, 64.0),
        shape: Shape::Roll {
            core,
            promised: radius(filling.promised),
            left: radius(filling.promised + filling.free),
            whole,
        },
        label,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filling(free: f64, promised: f64) -> Filling {
        Filling {
            free,
            promised,
            mark: None,
        }
    }

    #[test]
    fn a_glass_is_filled_to_its_share() {
        let Shape::Glass { free, promised, .. } = vessel(
            MaterialKind::ElastomerBase,
            filling(0.25, 0.5),
            1.0,
            String::new(),
        )
        .shape
        else {
            panic!("no glass");
        };
        let inside = 118.0 * (0.975 - 0.30);
        assert!((free.1 - inside * 0.25).abs() < 0.11 && (promised.1 - inside * 0.5).abs() < 0.11);
        assert!(
            (free.0 + free.1 - promised.0).abs() < 1e-9,
            "one lies on the other"
        );
    }

    #[test]
    fn a_stack_has_a_piece_for_each_up_to_twelve() {
        let classes = |free: f64, promised: f64, pieces: f64| {
            let drawn = vessel(
                MaterialKind::Container,
                filling(free, promised),
                pieces,
                String::new(),
            );
            let Shape::Stack(pieces) = drawn.shape else {
                panic!("no stack");
            };
            let count = |class: &str| pieces.iter().filter(|piece| piece.class == class).count();
            (count("promised"), count("free"), count("gone"))
        };
        assert_eq!(classes(0.5, 0.25, 4.0), (1, 2, 1));
        assert_eq!(classes(1.0, 0.0, 40.0), (0, 12, 0));
        assert_eq!(classes(0.9, 0.001, 40.0), (1, 10, 1));
        assert_eq!(classes(0.0, 0.0, 3.0), (0, 0, 3));
    }

    #[test]
    fn a_roll_loses_area_and_not_radius() {
        let Shape::Roll {
            left, whole, core, ..
        } = vessel(MaterialKind::Tape, filling(0.5, 0.0), 1.0, String::new()).shape
        else {
            panic!("no roll");
        };
        let area = |radius: f64| radius.powi(2) - core.powi(2);
        assert!((area(left) / area(whole) - 0.5).abs() < 0.01);
    }
}
