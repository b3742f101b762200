//! What the stock has to give for a cast that was sized. Pure.
//!
//! Invariants: a need is more than 0 and is served in whole pieces (a strip of tape, a vial, a tray), elastomer and other
//! bulk to the millionth; each batch has its own base and curing agent. Deliberately absent: the packs (stock).

use super::coating::vials_need;
use super::sizing::{Sizing, rounded};
use crate::base::{Error, MICRO_PER_UNIT, Quantity, Unit};
use crate::catalogue::{ExtraPer, RecipeFacts};
use crate::stock::needs::{Need, Purpose};

/// The needs of a cast.
///
/// # Errors
/// [`Error::Invalid`] when one leaves the range of quantities.
pub(super) fn needs(facts: &RecipeFacts, sizing: &Sizing) -> Result<Vec<Need>, Error> {
    let drop = Quantity::from_micro(1);
    let one = Quantity::from_int(1);
    let mut needs = Vec::new();
    let mut need =
        |material_id: i64, purpose: Purpose, batch_no: i32, quantity: Quantity, piece: Quantity| {
            if quantity > Quantity::ZERO {
                needs.push(Need {
                    material_id,
                    purpose,
                    batch_no,
                    quantity,
                    piece,
                });
            }
        };
    for (batch_no, batch) in (1..).zip(&sizing.batches) {
        need(
            facts.base.id,
            Purpose::Base,
            batch_no,
            Quantity::new(rounded(batch.mix.base_g)?),
            drop,
        );
        need(
            facts.curing_agent.id,
            Purpose::CuringAgent,
            batch_no,
            Quantity::new(rounded(batch.mix.curing_agent_g)?),
            drop,
        );
    }
    need(
        facts.container.id,
        Purpose::Container,
        0,
        whole(sizing.containers)?,
        one,
    );
    need(
        facts.cup.id,
        Purpose::Cup,
        0,
        whole(sizing.batches.len())?,
        one,
    );
    if let (Some(tape), Some((cut, setups))) = (&facts.tape, &sizing.tape) {
        let strip = Quantity::new(rounded(cut.strip_length_mm / 1000.0)?);
        let strips = i64::from(*setups) * i64::from(cut.strips);
        need(
            tape.id,
            Purpose::Tape,
            0,
            strip.mul_div_half_even(strips, 1)?,
            strip,
        );
    }
    for (material, extra) in &facts.extras {
        let times = match extra.per {
            ExtraPer::Cast => 1,
            ExtraPer::Batch => i64::try_from(sizing.batches.len()).unwrap_or(i64::MAX),
            ExtraPer::Container => i64::from(sizing.containers),
            ExtraPer::Chip => i64::from(sizing.containers) * i64::from(facts.mold.body.chips),
        };
        let quantity = extra.quantity.mul_div_half_even(times, 1)?;
        match material.body.unit {
            // Pieces are taken whole: half a stirrer per tray is one for a single tray.
            Unit::Each => need(
                material.id,
                Purpose::Sundry,
                0,
                whole_pieces(quantity)?,
                one,
            ),
            _ => need(material.id, Purpose::Sundry, 0, quantity, drop),
        }
    }
    let vials = sizing.release.as_ref().map_or(0, |coats| coats.vials);
    needs.extend(vials_need(facts, vials)?);
    Ok(merged(needs))
}

/// Adds up needs of one material for one purpose and batch (two extras of the same material).
fn merged(needs: Vec<Need>) -> Vec<Need> {
    let mut merged: Vec<Need> = Vec::new();
    for need in needs {
        let same = |other: &&mut Need| {
            other.material_id == need.material_id
                && other.purpose == need.purpose
                && other.batch_no == need.batch_no
        };
        match merged.iter_mut().find(same) {
            Some(other) => {
                other.quantity = Quantity::from_micro(
                    other.quantity.micro().saturating_add(need.quantity.micro()),
                )
            }
            None => merged.push(need),
        }
    }
    merged
}

fn whole_pieces(quantity: Quantity) -> Result<Quantity, Error> {
    whole(
        quantity.micro().div_euclid(MICRO_PER_UNIT)
            + i64::from(quantity.micro().rem_euclid(MICRO_PER_UNIT) > 0),
    )
}

fn whole(count: impl TryInto<i32>) -> Result<Quantity, Error> {
    count
        .try_into()
        .map(Quantity::from_int)
        .map_err(|_| Error::invalid("/containers", "too many pieces to count"))
}
