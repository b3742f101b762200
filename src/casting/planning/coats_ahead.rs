//! The coats of a mould as the books have them, and as they will stand when a cast's turn comes.

use chrono::NaiveDate;

use super::coating::{coat_need, coats_pass, vials_quantity};
use crate::base::{Error, Money};
use crate::casting::store::{self, BookedOnMold};
use crate::casting::sums::coats::Coat;
use crate::casting::sums::pool::PoolState;
use crate::catalogue::RecipeFacts;
use crate::db::AnyConnection;
use crate::stock::shelf::PackFacts;

/// The present coat of each copy of a mould; one entry per copy.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(in crate::casting) fn coats_now(
    conn: &mut AnyConnection,
    mold_id: i64,
    copies: u32,
) -> Result<Vec<Coat>, Error> {
    let mut coats: Vec<Coat> = vec![None; copies as usize];
    for row in store::coats_present(conn, mold_id)? {
        let at = row.copy_no.and_then(|copy| usize::try_from(copy - 1).ok());
        if let Some(coat) = at.and_then(|at| coats.get_mut(at)) {
            *coat = Some(PoolState {
                value: row.value,
                uses: row.uses,
            });
        }
    }
    Ok(coats)
}

/// The coats when the turn comes of a cast on `day`: after every booked cast of the mould up to that day.
///
/// What vials those will take is not known before they are poured: they are valued as the shelf's first vial is.
///
/// # Errors
/// [`Error::Internal`] when a kept cast makes no sense.
pub(in crate::casting) fn coats_on(
    conn: &mut AnyConnection,
    recipe: &RecipeFacts,
    day: NaiveDate,
    shelf: &[PackFacts],
) -> Result<Vec<Coat>, Error> {
    let mold = &recipe.mold;
    let mut coats = coats_now(conn, mold.id, mold.body.copies())?;
    let ahead = store::booked_on_mold(conn, mold.id)?;
    for cast in ahead.iter().filter(|cast| cast.cast_on <= day) {
        let (facts, containers) = booked(cast)?;
        let need = coat_need(&facts, &coats, containers)?;
        let vials = need.as_ref().map_or(0, |need| need.vials);
        let value = vials_worth(&facts, shelf, vials)?;
        coats_pass(&facts, &mut coats, containers, need.as_ref(), value)?;
    }
    Ok(coats)
}

/// The facts that a booked cast keeps, and its trays. Its coats are those of the mould as it is now.
///
/// # Errors
/// [`Error::Internal`] when they make no sense.
pub(in crate::casting) fn booked(cast: &BookedOnMold) -> Result<(RecipeFacts, u32), Error> {
    let facts = serde_json::from_str(&cast.facts).map_err(Error::internal)?;
    let containers = u32::try_from(cast.containers).map_err(Error::internal)?;
    Ok((facts, containers))
}

/// What vials of the recipe's agent are worth, by the first pack of it that holds any.
fn vials_worth(facts: &RecipeFacts, shelf: &[PackFacts], vials: u32) -> Result<Money, Error> {
    let quantity = vials_quantity(facts, vials)?;
    let agent = facts.release_agent.as_ref().map(|agent| agent.id);
    let pack = shelf
        .iter()
        .find(|pack| Some(pack.material_id) == agent && pack.lot_on_hand.micro() > 0);
    pack.map_or(Ok(Money::ZERO), |pack| super::plan::worth(pack, quantity))
}
