//! The kinds of waste: a closed list, first those within casts, then those outside.

use serde::Serialize;
use utoipa::ToSchema;

/// A kind of waste.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Category {
    /// Elastomer left in the cups.
    Residue,
    /// Elastomer poured beside the mould.
    Trim,
    /// Elastomer poured beyond what the trays needed.
    Overfill,
    /// Batches that were mixed and thrown away.
    Discarded,
    /// Tape that was cut off, by the planned share of offcuts.
    Offcuts,
    /// All else that rejected chips cost: their share of the chips of the cast; everything else when nothing was good.
    Rejects,
    /// Written off as expired.
    Expired,
    /// Spilled.
    Spilled,
    /// Written off as contaminated.
    Contaminated,
    /// Written off as lost.
    Lost,
    /// Written off as the heel that will not pour.
    Heel,
    /// Written off as the part of a kit that is left without its partner.
    Stranded,
    /// Written off for another reason.
    WrittenOff,
    /// Missing when it was counted or weighed, less what was explained later.
    Counted,
    /// Coats that were replaced, and moulds retired, before they were used up.
    Coats,
    /// Price corrections on what had been lost by then.
    PriceCorrections,
}

/// How many kinds there are.
pub const CATEGORIES: usize = 16;

impl Category {
    /// Every kind, in the order in which they are shown.
    pub const ALL: [Self; CATEGORIES] = [
        Self::Residue,
        Self::Trim,
        Self::Overfill,
        Self::Discarded,
        Self::Offcuts,
        Self::Rejects,
        Self::Expired,
        Self::Spilled,
        Self::Contaminated,
        Self::Lost,
        Self::Heel,
        Self::Stranded,
        Self::WrittenOff,
        Self::Counted,
        Self::Coats,
        Self::PriceCorrections,
    ];

    /// The kind's word.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Residue => "residue",
            Self::Trim => "trim",
            Self::Overfill => "overfill",
            Self::Discarded => "discarded",
            Self::Offcuts => "offcuts",
            Self::Rejects => "rejects",
            Self::Expired => "expired",
            Self::Spilled => "spilled",
            Self::Contaminated => "contaminated",
            Self::Lost => "lost",
            Self::Heel => "heel",
            Self::Stranded => "stranded",
            Self::WrittenOff => "written_off",
            Self::Counted => "counted",
            Self::Coats => "coats",
            Self::PriceCorrections => "price_corrections",
        }
    }

    /// Whether it is a part of the cost of casts.
    ///
    /// ```
    /// use heeltap::costing::waste::category::Category;
    /// assert!(Category::Rejects.is_in_casts() && !Category::Expired.is_in_casts());
    /// ```
    #[must_use]
    pub const fn is_in_casts(self) -> bool {
        (self as usize) <= (Self::Rejects as usize)
    }

    /// The kind of a write-off by the first word of its reason.
    ///
    /// ```
    /// use heeltap::costing::waste::category::Category;
    /// assert_eq!(Category::of_write_off("Expired on the shelf"), Category::Expired);
    /// assert_eq!(Category::of_write_off("dropped"), Category::WrittenOff);
    /// ```
    #[must_use]
    pub fn of_write_off(reason: &str) -> Self {
        let first = reason
            .split(|c: char| !c.is_alphanumeric())
            .find(|word| !word.is_empty())
            .unwrap_or_default()
            .to_lowercase();
        match first.as_str() {
            "expired" => Self::Expired,
            "contaminated" => Self::Contaminated,
            "lost" => Self::Lost,
            "heel" => Self::Heel,
            "stranded" => Self::Stranded,
            _ => Self::WrittenOff,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_whole_and_in_order() {
        for (at, category) in Category::ALL.into_iter().enumerate() {
            assert_eq!(category as usize, at);
            assert_eq!(serde_json::to_value(category).unwrap(), category.as_str());
        }
    }

    #[test]
    fn reasons_are_known_by_their_first_word() {
        for (reason, expected) in [
            ("expired", Category::Expired),
            ("  contaminated: hair", Category::Contaminated),
            ("HEEL", Category::Heel),
            ("stranded part of kit", Category::Stranded),
            ("lost", Category::Lost),
            ("expiredness", Category::WrittenOff),
            ("", Category::WrittenOff),
        ] {
            assert_eq!(Category::of_write_off(reason), expected, "{reason}");
        }
    }
}
