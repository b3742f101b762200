//! The kinds of material: what a material is for decides how it is kept and what must be known of it.
//!
//! Invariant: each kind has at least one unit. Deliberately absent: the material itself.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::base::Unit;

/// What a material is for.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum MaterialKind {
    /// The base of an elastomer.
    ElastomerBase,
    /// The curing agent of an elastomer.
    CuringAgent,
    /// A release agent with which molds are vapour-coated.
    ReleaseAgent,
    /// A tray, a box or a dish.
    Container,
    /// A cup in which base and agent are weighed and mixed.
    MixingCup,
    /// A tape with which a mold is fixed.
    Tape,
    /// Anything else: stirrers, gloves, wipes.
    Sundry,
}

impl MaterialKind {
    /// Every kind, in a fixed order.
    pub const ALL: [Self; 7] = [
        Self::ElastomerBase,
        Self::CuringAgent,
        Self::ReleaseAgent,
        Self::Container,
        Self::MixingCup,
        Self::Tape,
        Self::Sundry,
    ];

    /// The kind's word.
    ///
    /// ```
    /// assert_eq!(heeltap::catalogue::MaterialKind::MixingCup.as_str(), "mixing_cup");
    /// ```
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::ElastomerBase => "elastomer_base",
            Self::CuringAgent => "curing_agent",
            Self::ReleaseAgent => "release_agent",
            Self::Container => "container",
            Self::MixingCup => "mixing_cup",
            Self::Tape => "tape",
            Self::Sundry => "sundry",
        }
    }

    /// The kind of a word.
    ///
    /// ```
    /// use heeltap::catalogue::MaterialKind;
    /// assert_eq!(MaterialKind::parse("tape"), Some(MaterialKind::Tape));
    /// ```
    #[must_use]
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == word)
    }

    /// The units in which a material of this kind may be kept.
    ///
    /// ```
    /// use heeltap::base::Unit;
    /// use heeltap::catalogue::MaterialKind;
    /// assert_eq!(MaterialKind::Tape.units(), [Unit::M]);
    /// ```
    #[must_use]
    pub const fn units(self) -> &'static [Unit] {
        match self {
            Self::ElastomerBase | Self::CuringAgent => &[Unit::G],
            Self::ReleaseAgent => &[Unit::Ml, Unit::G, Unit::Each],
            Self::Container | Self::MixingCup => &[Unit::Each],
            Self::Tape => &[Unit::M],
            Self::Sundry => &Unit::ALL,
        }
    }

    /// Whether it is a tray or a cup.
    #[must_use]
    pub const fn is_vessel(self) -> bool {
        matches!(self, Self::Container | Self::MixingCup)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_lead_back_to_kinds() {
        for kind in MaterialKind::ALL {
            assert_eq!(MaterialKind::parse(kind.as_str()), Some(kind));
            let written = serde_json::to_value(kind).unwrap_or_default();
            assert_eq!(
                written,
                kind.as_str(),
                "the wire and the books use one word"
            );
            assert!(!kind.units().is_empty());
        }
        assert_eq!(MaterialKind::parse("Tape"), None);
    }
}
