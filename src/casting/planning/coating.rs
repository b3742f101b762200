//! The coats of a recipe's mould: what a cast needs of the release agent, and how it leaves the coats. Pure.
//!
//! Invariant: every cast of a mould is taken through the same steps, whether it is planned, booked ahead or poured.
//! Deliberately absent: the vials themselves (stock) and the books of the coats (`life`).

use crate::base::{Error, Money, Quantity};
use crate::casting::sums::coats::{Coat, CoatStep, coat_steps, copy_uses, load_values};
use crate::casting::sums::release::{ReleaseNeed, release_need, rounds_per_copy};
use crate::catalogue::{Entry, MaterialBody, RecipeFacts};
use crate::stock::needs::{Need, Purpose};

/// What a cast of `containers` trays needs of the release agent when the copies are coated as `coats` says.
///
/// `None` when the recipe uses no release agent; the mould's coats, if any, are then worn but never renewed.
///
/// # Errors
/// [`Error::Invalid`] when life or vial of the recipe make no sense.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// use heeltap::casting::planning::coating::coat_need;
/// // Both copies are bare: one vial coats two moulds before the first round.
/// let need = coat_need(&facts, &[], 2)?.unwrap();
/// assert_eq!((need.vials, need.coatings, need.before_casting), (1, 2, true));
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn coat_need(
    facts: &RecipeFacts,
    coats: &[Coat],
    containers: u32,
) -> Result<Option<ReleaseNeed>, Error> {
    let Some(agent) = &facts.release_agent else {
        return Ok(None);
    };
    let life = facts.mold.body.coat_life_casts();
    let copies = copy_uses(coats, &rounds(facts, containers)?, life);
    release_need(&copies, life, agent.body.molds_per_vial())
        .map(Some)
        .map_err(in_recipe)
}

/// Rounds of each copy when `containers` trays are dealt over the copies of the recipe's mould.
///
/// # Errors
/// [`Error::Invalid`] for a mould without copies.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// use heeltap::casting::planning::coating::rounds;
/// assert_eq!(rounds(&facts, 3)?, [2, 1]); // Two copies of the mould.
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn rounds(facts: &RecipeFacts, containers: u32) -> Result<Vec<u32>, Error> {
    rounds_per_copy(containers, facts.mold.body.copies()).map_err(in_recipe)
}

/// Takes a cast through the coats and leaves them as it does. `vials_value` is what all vials of `need` are worth.
///
/// # Errors
/// [`Error::Invalid`] or [`Error::Internal`] when the shares cannot be computed.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// use heeltap::base::Money;
/// use heeltap::casting::planning::coating::{coat_need, coats_pass};
/// let mut coats = Vec::new();
/// let need = coat_need(&facts, &coats, 2)?;
/// coats_pass(&facts, &mut coats, 2, need.as_ref(), Money::from_int(10))?;
/// // A vial of 10 gave each of two copies a coat of five casts, of which one is gone.
/// assert_eq!(coats[0].map(|coat| (coat.value, coat.uses)), Some((Money::from_int(4), 4)));
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn coats_pass(
    facts: &RecipeFacts,
    coats: &mut Vec<Coat>,
    containers: u32,
    need: Option<&ReleaseNeed>,
    vials_value: Money,
) -> Result<Vec<CoatStep>, Error> {
    let rounds = rounds(facts, containers)?;
    // A cast that was booked when the mould had more copies finds the missing ones bare.
    coats.resize(coats.len().max(rounds.len()), None);
    let none = ReleaseNeed::default();
    let need = need.unwrap_or(&none);
    coat_steps(
        coats,
        &rounds,
        need,
        &load_values(need, vials_value)?,
        facts.mold.body.coat_life_casts(),
    )
}

/// The quantity of `vials` vials of the recipe's release agent, in its unit: a vial is a pack unless the agent has no
/// pack quantity, then one unit.
///
/// # Errors
/// [`Error::Invalid`] when it leaves the range of quantities.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// use heeltap::casting::planning::coating::vials_quantity;
/// assert_eq!(vials_quantity(&facts, 3)?.to_string(), "3");
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn vials_quantity(facts: &RecipeFacts, vials: u32) -> Result<Quantity, Error> {
    Ok(vial(facts).mul_div_half_even(i64::from(vials), 1)?)
}

/// One vial of the recipe's release agent, in its unit.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// assert_eq!(heeltap::casting::planning::coating::vial(&facts).to_string(), "1");
/// ```
#[must_use]
pub fn vial(facts: &RecipeFacts) -> Quantity {
    let agent = facts.release_agent.as_ref();
    agent.map_or(Quantity::from_int(1), |agent| vial_of(&agent.body))
}

fn vial_of(agent: &MaterialBody) -> Quantity {
    agent.pack_quantity.unwrap_or(Quantity::from_int(1))
}

/// The need of `vials` vials of a release agent, taken vial by vial.
///
/// # Errors
/// [`Error::Invalid`] when it leaves the range of quantities.
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// let agent = facts.release_agent.unwrap();
/// let need = heeltap::casting::planning::coating::agent_need(&agent, 3)?;
/// assert_eq!((need.material_id, need.quantity.to_string()), (agent.id, "3".to_owned()));
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn agent_need(agent: &Entry<MaterialBody>, vials: u32) -> Result<Need, Error> {
    let piece = vial_of(&agent.body);
    Ok(Need {
        material_id: agent.id,
        purpose: Purpose::Release,
        batch_no: 0,
        quantity: piece.mul_div_half_even(i64::from(vials), 1)?,
        piece,
    })
}

/// The need of `vials` vials of the recipe's release agent; none when there is nothing to coat with, or nothing to coat.
///
/// # Errors
/// As [`agent_need`].
///
/// ```
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// use heeltap::casting::planning::coating::vials_need;
/// assert!(vials_need(&facts, 1)?.is_some() && vials_need(&facts, 0)?.is_none());
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn vials_need(facts: &RecipeFacts, vials: u32) -> Result<Option<Need>, Error> {
    let agent = facts.release_agent.as_ref().filter(|_| vials > 0);
    agent.map(|agent| agent_need(agent, vials)).transpose()
}

fn in_recipe(error: crate::casting::sums::bounds::OutOfRange) -> Error {
    Error::invalid("/recipe", error.to_string())
}
