//! A correction of a mix as it is asked for and as it is shown. Pure.
//!
//! Deliberately absent: the decision (see [`correction`](super::correction)).

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::base::{Code, Error, Micro, Quantity};

/// What was weighed, and for what. The ratio is known from exactly one of `elastomer`, `recipe` and `cast`; an `elastomer`
/// beside one of the others must be theirs.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CorrectionIn {
    /// The elastomer's code: its nominal ratio counts, and a balance that reads 0.01 g.
    #[serde(default)]
    pub elastomer: Option<Code>,
    /// The recipe's code: its own ratio, cup and balance count.
    #[serde(default)]
    pub recipe: Option<Code>,
    /// The code of a booked cast: the recipe as it was at the booking counts, and what it was promised is free for it.
    #[serde(default)]
    pub cast: Option<Code>,
    /// The code of the cup it was weighed in; the recipe's unless said.
    #[serde(default)]
    pub cup: Option<Code>,
    /// Base weighed, in g; more than 0.
    pub base_g: Micro,
    /// Curing agent weighed, in g; more than 0.
    pub curing_agent_g: Micro,
}

/// An addition of one part, with whether cup and stock can take it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct AdditionOut {
    /// `base` or `curing_agent`.
    pub part: &'static str,
    /// How much is called for, in g, exactly.
    pub mass_g: Micro,
    /// The mix after exactly that, in g.
    pub total_g: Micro,
    /// The ratio after exactly that, base over curing agent.
    pub ratio_after: Micro,
    /// How much to weigh, in g: the next count of the balance above it if the ratio is then within the tolerance, else
    /// the nearest count.
    pub weigh_g: Micro,
    /// The ratio after what is weighed.
    pub weighed_ratio: Micro,
    /// Whether that ratio is within the tolerance.
    pub weighed_within_tolerance: bool,
    /// The cup with what is weighed in it; absent when no cup is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cup: Option<CupOut>,
    /// The stock of the part to add.
    pub stock: StockOut,
}

/// A mix in its cup.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct CupOut {
    /// The cup's code.
    pub code: Code,
    /// What it holds to the rim, in mL.
    pub capacity_ml: Micro,
    /// What of it may be filled so that neither foam nor stirring runs over, in mL.
    pub usable_ml: Micro,
    /// The mix, in mL.
    pub mix_ml: Micro,
    /// Whether the mix is within what may be filled.
    pub fits: bool,
    /// Whether it is at least below the rim.
    pub below_rim: bool,
    /// What stands against it, and what would help.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// Whether the stock gives the part to add. The books hold neither what was weighed of it nor the addition.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct StockOut {
    /// The material's code.
    pub material: Code,
    /// What was weighed of it and what is to be added, together, in g.
    pub needed_g: Quantity,
    /// What is free of it today, in g; what the cast itself was promised is free for it.
    pub available_g: Quantity,
    /// Whether that is enough.
    pub enough: bool,
    /// The packs that would give it, in the order of use; none when there is not enough.
    pub lots: Vec<LotOut>,
    /// What stands against it, and what would help.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A quantity of a pack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct LotOut {
    /// The lot code.
    pub lot: String,
    /// The lot's id.
    pub lot_id: i64,
    /// The pack's id.
    pub pack_id: i64,
    /// How much of it, in g.
    pub quantity: Quantity,
    /// Why this pack.
    pub why: String,
}

/// A correction.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct CorrectionOut {
    /// The smallest addition that restores the nominal ratio; null when it is met exactly.
    pub add: Option<AdditionOut>,
    /// The smallest addition that just reaches the tolerance; null when the mix is within it as weighed.
    pub add_to_tolerance: Option<AdditionOut>,
    /// The mix after `add`, in g.
    pub total_g: Micro,
    /// The ratio as weighed, base over curing agent.
    pub ratio_before: Micro,
    /// The ratio after `add`.
    pub ratio_after: Micro,
    /// Whether the mix as weighed is within the elastomer's tolerance.
    pub within_tolerance: bool,
    /// The step of the balance that `weigh_g` is counted in, in g.
    pub readability_g: Micro,
    /// What stands against the additions and what to do instead; absent when `add` can be made or nothing is to be added.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

impl CorrectionIn {
    /// What is wrong with the request in itself.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it is not known for what was weighed, or a mass is not above 0.
    ///
    /// ```
    /// use heeltap::casting::planning::correction_view::CorrectionIn;
    /// let told = |body: &str| serde_json::from_str::<CorrectionIn>(body).unwrap();
    /// assert!(told(r#"{"recipe": "chip", "base_g": "33", "curing_agent_g": "3"}"#).check().is_ok());
    /// assert!(told(r#"{"base_g": "33", "curing_agent_g": "3"}"#).check().is_err());
    /// ```
    pub fn check(&self) -> Result<(), Error> {
        match (&self.elastomer, &self.recipe, &self.cast) {
            (None, None, None) => {
                return Err(Error::invalid(
                    "/elastomer",
                    "it is not known which ratio counts: give `elastomer`, `recipe` or `cast`",
                ));
            }
            (_, Some(_), Some(_)) => {
                return Err(Error::invalid(
                    "/recipe",
                    "give either `recipe` or `cast`: a cast keeps its recipe as it was at the booking",
                ));
            }
            _ => {}
        }
        for (pointer, mass) in [
            ("/base_g", self.base_g),
            ("/curing_agent_g", self.curing_agent_g),
        ] {
            if mass <= Micro::ZERO {
                return Err(Error::invalid(
                    pointer,
                    format!("{mass} g is out of range: more than 0"),
                ));
            }
        }
        Ok(())
    }

    /// Whether the elastomer that was named, if one was, is the one that is mixed.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it is another one.
    ///
    /// ```
    /// use heeltap::base::Code;
    /// use heeltap::casting::planning::correction_view::CorrectionIn;
    /// let told = r#"{"recipe": "chip", "elastomer": "el", "base_g": "33", "curing_agent_g": "3"}"#;
    /// let told: CorrectionIn = serde_json::from_str(told).unwrap();
    /// assert!(told.agrees_with(&Code::parse("el").unwrap()).is_ok());
    /// assert!(told.agrees_with(&Code::parse("other").unwrap()).is_err());
    /// ```
    pub fn agrees_with(&self, mixed: &Code) -> Result<(), Error> {
        match &self.elastomer {
            Some(named) if named != mixed => {
                let what = if self.recipe.is_some() {
                    "recipe"
                } else {
                    "cast"
                };
                let detail = format!(
                    "the {what} is mixed from `{}`, not from `{}`: name that one, or leave `elastomer` out",
                    mixed.as_str(),
                    named.as_str()
                );
                Err(Error::invalid("/elastomer", detail))
            }
            _ => Ok(()),
        }
    }
}
