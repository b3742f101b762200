//! Verify: proves the seven invariants from the books themselves, and the history of each lot from heads that were kept:
//! those of the last closed period, and those that are given.

use std::collections::HashMap;

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use super::audit::{Breach, Entry, LotBooks, audit_lot};
use super::heads::{Heads, Standing, heads_compare};
use super::store;
use crate::base::Error;
use crate::db::{AnyConnection, instant};

/// How many lots are read at a time.
const LOTS_AT_A_TIME: i64 = 200;

/// What verification found.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Verified {
    /// Whether nothing is broken.
    pub ok: bool,
    /// How many lots were read.
    pub lots: i64,
    /// How many movements were read and hashed.
    pub movements: i64,
    /// What is broken.
    pub breaches: Vec<Breach>,
}

/// The heads of all lots as they stand.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn heads(conn: &mut AnyConnection) -> Result<Heads, Error> {
    store::heads_all(conn).map(Heads::new)
}

/// Reads all books and checks every invariant.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn verify(conn: &mut AnyConnection) -> Result<Verified, Error> {
    verify_against(conn, &Heads::new(Vec::new()))
}

/// As [`verify`], and holds heads that were kept before against the books: a history that was rewritten as a whole is
/// sound in itself, and is found only so.
///
/// # Errors
/// As [`verify`].
pub fn verify_against(conn: &mut AnyConnection, kept: &Heads) -> Result<Verified, Error> {
    let mut found = Verified {
        ok: true,
        lots: 0,
        movements: 0,
        breaches: Vec::new(),
    };
    let of_period = heads_of_period(conn, &mut found.breaches)?;
    let (demand, there) = lots(conn, [kept, &of_period], &mut found)?;
    for (kept, there) in [kept, &of_period].into_iter().zip(there) {
        if !kept.lots().is_empty() {
            let standing = standing(heads(conn)?, there);
            found.breaches.extend(heads_compare(kept, &standing));
        }
    }
    promises(conn, &mut found.breaches)?;
    covered(conn, &mut found.breaches)?;
    daily_demand(conn, demand, &mut found.breaches)?;
    cast_costs(conn, &mut found.breaches)?;
    treatments(conn, &mut found.breaches)?;
    corrections(conn, &mut found.breaches)?;
    found.ok = found.breaches.is_empty();
    Ok(found)
}

/// The heads that were kept when the last period was closed; none without one.
fn heads_of_period(conn: &mut AnyConnection, breaches: &mut Vec<Breach>) -> Result<Heads, Error> {
    let Some((id, file, digest)) = store::period_last(conn)? else {
        return Ok(Heads::new(Vec::new()));
    };
    let mut wrong = |detail: String| {
        breaches.push(Breach {
            invariant: 6,
            subject: format!("period {id}"),
            detail,
        });
        Ok(Heads::new(Vec::new()))
    };
    match Heads::parse(file.as_bytes()) {
        Ok(heads) if heads.digest() == digest => Ok(heads),
        Ok(_) => wrong("its heads are not those of its digest".to_owned()),
        Err(error) => wrong(format!("its heads do not read back: {error}")),
    }
}

/// Demand by material and day, in millionths.
type Demand = HashMap<(i64, NaiveDate), i64>;

/// By lot: the hash of its movement at the place of the head that was kept.
type There = HashMap<i64, String>;

/// Audits every lot. Returns the demand that the movements stand for, and what stands at the places of each of the kept
/// heads.
fn lots(
    conn: &mut AnyConnection,
    kept: [&Heads; 2],
    found: &mut Verified,
) -> Result<(Demand, [There; 2]), Error> {
    let places = kept.map(|kept| -> HashMap<i64, i64> {
        let lots = kept.lots().iter();
        lots.map(|head| (head.lot, head.seq)).collect()
    });
    let (mut demand, mut there) = (Demand::new(), [There::new(), There::new()]);
    let mut after = 0;
    loop {
        let lots = store::lots_page(conn, None, None, after, LOTS_AT_A_TIME)?;
        let Some(last) = lots.last() else { break };
        after = last.id;
        for lot in lots {
            let entries = entries(conn, lot.id)?;
            let packs = store::packs_of_lots(conn, &[lot.id])?;
            let books = LotBooks {
                id: lot.id,
                on_hand: lot.on_hand,
                remaining_value: lot.remaining_value,
                landed_cost: lot.landed_cost,
                head: (lot.head_seq, lot.head_hash),
                packs: packs.iter().map(|pack| (pack.id, pack.on_hand)).collect(),
            };
            let (breaches, of_lot) = audit_lot(&books, &entries);
            found.lots += 1;
            found.movements += i64::try_from(entries.len()).unwrap_or(i64::MAX);
            found.breaches.extend(breaches);
            for (day, quantity) in of_lot {
                let sum = demand.entry((lot.material_id, day)).or_default();
                *sum = sum.saturating_add(quantity);
            }
            for (places, there) in places.iter().zip(&mut there) {
                let place = places.get(&lot.id);
                if let Some(entry) = entries.iter().find(|entry| Some(&entry.seq) == place) {
                    there.insert(lot.id, entry.hash.clone());
                }
            }
        }
    }
    Ok((demand, there))
}

/// By lot: its head now, and what stands at the place of the head that was kept.
fn standing(now: Heads, mut there: There) -> HashMap<i64, Standing> {
    let lots = now.lots().iter().cloned();
    lots.map(|now| {
        let there = there.remove(&now.lot);
        (now.lot, Standing { now, there })
    })
    .collect()
}

fn entries(conn: &mut AnyConnection, lot_id: i64) -> Result<Vec<Entry>, Error> {
    store::movements_of_lot(conn, lot_id, 0, i64::MAX)?
        .into_iter()
        .map(|row| {
            Ok(Entry {
                id: row.id,
                seq: row.seq,
                posting: row.posting()?,
                recorded_at: instant(row.recorded_at),
                hash: row.hash,
            })
        })
        .collect()
}

/// Invariant 1: what is promised of a pack is what its active reservations say, and no more than it holds.
fn promises(conn: &mut AnyConnection, breaches: &mut Vec<Breach>) -> Result<(), Error> {
    let promised = store::promised_by_pack(conn)?;
    for (pack_id, on_hand, reserved) in store::packs_promised(conn)? {
        let sum = promised.get(&pack_id).copied().unwrap_or(0);
        if reserved != sum || reserved < 0 || reserved > on_hand {
            let detail = format!(
                "{reserved} millionths are promised of {on_hand}; its reservations add up to {sum}"
            );
            breaches.push(Breach {
                invariant: 1,
                subject: format!("pack {pack_id}"),
                detail,
            });
        }
    }
    Ok(())
}

/// Invariant 5: active reservations belong to booked casts, and booked casts are covered or marked short. The trays of a
/// poured cast stay reserved until it is demoulded.
fn covered(conn: &mut AnyConnection, breaches: &mut Vec<Breach>) -> Result<(), Error> {
    for (reservation_id, state) in store::promises_astray(conn)? {
        let detail = format!("reservation {reservation_id} is active although its cast is {state}");
        breaches.push(Breach {
            invariant: 5,
            subject: format!("reservation {reservation_id}"),
            detail,
        });
    }
    for (cast_id, code, short, lacks) in store::casts_uncovered(conn)? {
        if lacks != short {
            let detail = if lacks {
                "it holds less than it needs, but is not marked short"
            } else {
                "it is marked short, but holds all that it needs"
            };
            breaches.push(Breach {
                invariant: 5,
                subject: format!("cast {code} ({cast_id})"),
                detail: detail.to_owned(),
            });
        }
    }
    Ok(())
}

/// Invariant 7, first half: the kept sums of demand equal the movements.
fn daily_demand(
    conn: &mut AnyConnection,
    mut demand: HashMap<(i64, NaiveDate), i64>,
    breaches: &mut Vec<Breach>,
) -> Result<(), Error> {
    let mut wrong = |material: i64, day: NaiveDate, kept: i64, sum: i64| {
        let detail = format!(
            "demand on {day} is kept as {kept} millionths, but its movements add up to {sum}"
        );
        breaches.push(Breach {
            invariant: 7,
            subject: format!("material {material}"),
            detail,
        });
    };
    for (material, day, kept) in store::daily_demand_all(conn)? {
        let sum = demand.remove(&(material, day)).unwrap_or(0);
        if kept != sum {
            wrong(material, day, kept, sum);
        }
    }
    for ((material, day), sum) in demand {
        if sum != 0 {
            wrong(material, day, 0, sum);
        }
    }
    Ok(())
}

/// Invariant 7, second half: what a cast cost equals what the ledger and the pools issued to it.
fn cast_costs(conn: &mut AnyConnection, breaches: &mut Vec<Breach>) -> Result<(), Error> {
    for (cast_id, kept, issued) in store::cast_costs_against_ledger(conn)? {
        if kept != issued {
            let detail = format!(
                "its cost is kept as {kept} millionths, but ledger and pools issued {issued} to it"
            );
            breaches.push(Breach {
                invariant: 7,
                subject: format!("cast {cast_id}"),
                detail,
            });
        }
    }
    Ok(())
}

/// Invariant 4 for release coats: what the vials of a treatment were worth is what its coats were filled with.
fn treatments(conn: &mut AnyConnection, breaches: &mut Vec<Breach>) -> Result<(), Error> {
    for (treatment_id, vials, filled) in store::treatments_against_coats(conn)? {
        if vials != filled {
            let detail = format!(
                "its vials took {vials} millionths from the stock, but its coats were filled with {filled}"
            );
            breaches.push(Breach {
                invariant: 4,
                subject: format!("treatment {treatment_id}"),
                detail,
            });
        }
    }
    Ok(())
}

/// Invariant 4 for price corrections: the shares add up to the correction, and those on the stock are its revaluations.
fn corrections(conn: &mut AnyConnection, breaches: &mut Vec<Breach>) -> Result<(), Error> {
    let mut wrong = |subject: String, detail: String| {
        breaches.push(Breach {
            invariant: 4,
            subject,
            detail,
        });
    };
    for (id, value, shares) in store::corrections_against_shares(conn)? {
        let detail = format!("it is {value} millionths, but its shares add up to {shares}");
        wrong(format!("price correction {id}"), detail);
    }
    for (id, value, share) in store::revaluations_against_shares(conn)? {
        let detail =
            format!("it changes the value by {value} millionths, but its share is {share}");
        wrong(format!("movement {id}"), detail);
    }
    Ok(())
}
