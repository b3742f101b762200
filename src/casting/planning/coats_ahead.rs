//! The coats of a mould as the books have them, and as they will stand when a cast's turn comes.

use chrono::NaiveDate;

use super::coating::{coat_need, coats_pass, vials_quantity};
use crate::base::{Error, Money, kept_read};
use crate::casting::store::{self, BookedOnMold};
use crate::casting::sums::coats::Coat;
use crate::casting::sums::pool::PoolState;
use crate::casting::sums::release::ReleaseNeed;
use crate::catalogue::{RecipeFacts, mold_by_id};
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

/// A booked cast of a mould when its turn comes.
#[derive(Debug)]
pub(in crate::casting) struct Turn {
    pub(in crate::casting) cast_id: i64,
    pub(in crate::casting) code: String,
    /// What it keeps of the catalogue.
    pub(in crate::casting) facts: RecipeFacts,
    /// The coatings that are due then; none when its recipe uses no release agent.
    pub(in crate::casting) need: Option<ReleaseNeed>,
}

impl Turn {
    /// Vials for those coatings.
    pub(in crate::casting) fn vials(&self) -> u32 {
        self.need.as_ref().map_or(0, |need| need.vials)
    }
}

/// Takes a mould's booked casts through its coats, by their day and then by when they were booked, as far as `admit` does.
/// `worth` values the vials that a cast will take. Returns the casts in their turn, and leaves the coats as they do.
///
/// # Errors
/// [`Error::Internal`] when a kept cast makes no sense.
pub(in crate::casting) fn turns(
    conn: &mut AnyConnection,
    mold_id: i64,
    coats: &mut Vec<Coat>,
    admit: impl Fn(&BookedOnMold) -> bool,
    worth: impl Fn(&RecipeFacts, u32) -> Result<Money, Error>,
) -> Result<Vec<Turn>, Error> {
    let booked = store::booked_on_mold(conn, mold_id)?;
    let mut turns = Vec::with_capacity(booked.len());
    for cast in booked.into_iter().filter(|cast| admit(cast)) {
        let containers = u32::try_from(cast.containers).map_err(Error::internal)?;
        let facts: RecipeFacts = kept_read(&cast.facts).map_err(Error::internal)?;
        let turn = Turn {
            cast_id: cast.id,
            code: cast.code,
            need: coat_need(&facts, coats, containers)?,
            facts,
        };
        let value = worth(&turn.facts, turn.vials())?;
        coats_pass(&turn.facts, coats, containers, turn.need.as_ref(), value)?;
        turns.push(turn);
    }
    Ok(turns)
}

/// Every booked cast of a mould in its turn, from its coats as they are now. Their value is not asked for.
///
/// # Errors
/// [`Error::Internal`] when a kept cast makes no sense.
pub(in crate::casting) fn all_turns(
    conn: &mut AnyConnection,
    mold_id: i64,
) -> Result<Vec<Turn>, Error> {
    let copies = mold_by_id(conn, mold_id)?.body.copies();
    let mut coats = coats_now(conn, mold_id, copies)?;
    turns(conn, mold_id, &mut coats, |_| true, |_, _| Ok(Money::ZERO))
}

/// The coats when the turn comes of a cast on `day`: after every booked cast of the mould up to that day. A cast that is
/// planned again keeps its place among those of its day, and does not come before itself.
///
/// What vials those will take is not known before they are poured: they are valued as the shelf's first vial is.
///
/// # Errors
/// [`Error::Internal`] when a kept cast makes no sense.
pub(in crate::casting) fn coats_on(
    conn: &mut AnyConnection,
    recipe: &RecipeFacts,
    (day, replanned): (NaiveDate, Option<i64>),
    shelf: &[PackFacts],
) -> Result<Vec<Coat>, Error> {
    let mold = &recipe.mold;
    let mut coats = coats_now(conn, mold.id, mold.body.copies())?;
    let worth = |facts: &RecipeFacts, vials| vials_worth(facts, shelf, vials);
    let turn = (day, replanned.unwrap_or(i64::MAX));
    let before = |cast: &BookedOnMold| (cast.cast_on, cast.id) < turn && Some(cast.id) != replanned;
    turns(conn, mold.id, &mut coats, before, worth)?;
    Ok(coats)
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
