//! Correcting a mix at the bench: wire shapes around the pure sum, with the elastomer's ratio and tolerance.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::sizing::rounded;
use crate::base::{Code, Error, Micro};
use crate::casting::sums::correction::{Addition, Part, correct_mix};
use crate::casting::sums::mix::MassRatio;
use crate::catalogue::elastomer_by_code;
use crate::db::AnyConnection;

/// What was weighed.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CorrectionIn {
    /// The elastomer's code.
    pub elastomer: Code,
    /// Base weighed, in g; more than 0.
    pub base_g: Micro,
    /// Curing agent weighed, in g; more than 0.
    pub curing_agent_g: Micro,
}

/// An addition of one part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct AdditionOut {
    /// `base` or `curing_agent`.
    pub part: &'static str,
    /// How much to add, in g.
    pub mass_g: Micro,
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
}

fn out(addition: &Addition) -> Result<AdditionOut, Error> {
    let part = match addition.part {
        Part::Base => "base",
        Part::CuringAgent => "curing_agent",
    };
    Ok(AdditionOut {
        part,
        mass_g: rounded(addition.mass_g)?,
    })
}

/// Corrects a mix by the nominal ratio of its elastomer.
///
/// # Errors
/// [`Error::Invalid`] for an elastomer that does not exist or masses that are not above 0.
pub fn mix_correct(conn: &mut AnyConnection, input: &CorrectionIn) -> Result<CorrectionOut, Error> {
    let elastomer =
        elastomer_by_code(conn, input.elastomer.as_str()).map_err(|error| match error {
            Error::NotFound { noun, key } => {
                Error::invalid("/elastomer", format!("there is no {noun} `{key}`"))
            }
            other => other,
        })?;
    for (pointer, mass) in [
        ("/base_g", input.base_g),
        ("/curing_agent_g", input.curing_agent_g),
    ] {
        if mass <= Micro::ZERO {
            return Err(Error::invalid(
                pointer,
                format!("{mass} g is out of range: more than 0"),
            ));
        }
    }
    let body = &elastomer.body;
    let nominal = MassRatio::new(body.ratio.base.to_f64(), body.ratio.curing_agent.to_f64())
        .map_err(Error::internal)?;
    let (base_g, agent_g) = (input.base_g.to_f64(), input.curing_agent_g.to_f64());
    let found = correct_mix(base_g, agent_g, nominal, body.ratio_tolerance.to_f64())
        .map_err(|e| Error::invalid("", e.to_string()))?;
    let after = found.to_nominal.as_ref();
    Ok(CorrectionOut {
        add: after.map(out).transpose()?,
        add_to_tolerance: found.to_tolerance.as_ref().map(out).transpose()?,
        total_g: rounded(after.map_or(base_g + agent_g, |add| add.total_g))?,
        ratio_before: rounded(base_g / agent_g)?,
        ratio_after: rounded(after.map_or(base_g / agent_g, |add| add.ratio_after))?,
        within_tolerance: found.within_tolerance,
    })
}
