//! What a step of a cast teaches, kept: weighed residues, and levels that were seen.

use chrono::NaiveDate;

use super::pour_input::Poured;
use super::standing::Standing;
use crate::base::{Error, Micro, Quantity};
use crate::casting::planning::taught_fill::{Taught, kept_ml, taught_factor, teach};
use crate::casting::store::{self, LevelRow, NewObservation};
use crate::db::Tx;

/// Keeps what weighed cups teach about the residue: what the film left, without the stirrer's loss.
pub(super) fn residues_keep(
    tx: &mut Tx<'_>,
    cast: &Standing,
    poured: &Poured,
    on: NaiveDate,
) -> Result<(), Error> {
    let weighed = poured
        .batches
        .iter()
        .filter(|batch| batch.residue_basis == "weighed" && batch.film_g > Micro::ZERO);
    let mut rows = Vec::new();
    for batch in weighed {
        rows.push(NewObservation {
            cast_id: cast.id,
            batch_no: batch.no,
            cup_id: cast.facts.cup.id,
            elastomer_id: cast.facts.elastomer.id,
            film: Quantity::new(batch.film_g),
            weighed: Quantity::new(batch.film_residue_g()?),
            observed_on: on,
        });
    }
    store::observations_insert(tx.conn, &rows)
}

/// What a level taught, for the record of the step: the fill factor, or why there is none.
pub(super) type Lesson = (Option<Micro>, Option<String>);

/// Keeps what a level seen at a step (`pour` or `demold`) teaches about the fill.
pub(super) fn level_keep(
    tx: &mut Tx<'_>,
    cast: &Standing,
    poured: &Poured,
    (source, level_mm, on): (&str, Micro, NaiveDate),
) -> Result<Lesson, Error> {
    let observed = match teach(&cast.facts, poured.mass()?, level_mm.to_f64()) {
        Taught::Nothing(why) => return Ok((None, Some(why.to_owned()))),
        Taught::Level(observed) => observed,
    };
    let row = LevelRow {
        cast_id: cast.id,
        recipe_id: cast.facts.recipe.id,
        source: source.to_owned(),
        poured_ml: kept_ml(observed.poured_ml)?,
        level_mm,
        chip_thickness_mm: cast.facts.recipe.body.chip_thickness_mm,
        observed_on: on,
    };
    store::level_insert(tx.conn, &row)?;
    let factor = taught_factor(&cast.facts, &observed)?;
    Ok((
        Some(crate::casting::planning::sizing::rounded(factor)?),
        None,
    ))
}
