//! What a cast needs of the stock: the vocabulary that planning and picking share.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::base::Quantity;

/// What a cast takes a material for.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    /// Elastomer base for a batch.
    Base,
    /// Curing agent for a batch.
    CuringAgent,
    /// Release agent for a coat.
    Release,
    /// Tape under the mould.
    Tape,
    /// Trays.
    Container,
    /// Mixing cups.
    Cup,
    /// Extras of the recipe.
    Sundry,
}

impl Purpose {
    /// Every purpose.
    pub const ALL: [Self; 7] = [
        Self::Base,
        Self::CuringAgent,
        Self::Release,
        Self::Tape,
        Self::Container,
        Self::Cup,
        Self::Sundry,
    ];

    /// The purpose's word, as it is stored and shown.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Base => "base",
            Self::CuringAgent => "curing_agent",
            Self::Release => "release",
            Self::Tape => "tape",
            Self::Container => "container",
            Self::Cup => "cup",
            Self::Sundry => "sundry",
        }
    }

    /// The purpose of a stored word; none when the word is unknown.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL
            .into_iter()
            .find(|purpose| purpose.as_str() == word)
    }

    /// The part that must come from the same kit lot, if any.
    #[must_use]
    pub const fn partner(self) -> Option<Self> {
        match self {
            Self::Base => Some(Self::CuringAgent),
            Self::CuringAgent => Some(Self::Base),
            _ => None,
        }
    }
}

/// One thing a cast needs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Need {
    /// The material.
    pub material_id: i64,
    /// What for.
    pub purpose: Purpose,
    /// The batch, from 1; 0 for what belongs to the whole cast.
    pub batch_no: i32,
    /// How much, in the material's unit; more than 0.
    pub quantity: Quantity,
    /// The smallest part that is of use on its own: a strip of tape, one tray; a millionth for what pours.
    pub piece: Quantity,
}
