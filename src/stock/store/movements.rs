//! Movements: appended, read, never changed.

use std::collections::{HashMap, HashSet};

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};
use diesel::prelude::*;

use crate::base::{Error, Money, Quantity};
use crate::db::schema::{movements, treatment_vials};
use crate::db::{AnyConnection, stored_instant, sum_bigint};
use crate::stock::ledger::{Chained, MovementKind, Posting};

/// A movement as it is kept.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = movements)]
pub(in crate::stock) struct MovementRow {
    pub(in crate::stock) id: i64,
    pub(in crate::stock) lot_id: i64,
    pub(in crate::stock) seq: i64,
    pub(in crate::stock) pack_id: Option<i64>,
    pub(in crate::stock) kind: String,
    #[diesel(column_name = quantity_micro)]
    pub(in crate::stock) quantity: Quantity,
    #[diesel(column_name = value_micro)]
    pub(in crate::stock) value: Money,
    pub(in crate::stock) reason: String,
    pub(in crate::stock) actor: String,
    pub(in crate::stock) cast_id: Option<i64>,
    pub(in crate::stock) batch_no: Option<i32>,
    pub(in crate::stock) purpose: Option<String>,
    pub(in crate::stock) reverses_id: Option<i64>,
    pub(in crate::stock) effective_on: NaiveDate,
    pub(in crate::stock) recorded_at: NaiveDateTime,
    pub(in crate::stock) hash: String,
}

impl MovementRow {
    /// The posting that the row records; an error names a kind that this program does not know.
    pub(in crate::stock) fn posting(&self) -> Result<Posting, Error> {
        let kind = MovementKind::from_word(&self.kind).ok_or_else(|| {
            Error::internal(format!(
                "movement {} is of the unknown kind `{}`",
                self.id, self.kind
            ))
        })?;
        Ok(Posting {
            lot_id: self.lot_id,
            pack_id: self.pack_id,
            kind,
            quantity: self.quantity,
            value: self.value,
            reason: self.reason.clone(),
            actor: self.actor.clone(),
            cast_id: self.cast_id,
            batch_no: self.batch_no,
            purpose: self.purpose.clone(),
            reverses_id: self.reverses_id,
            effective_on: self.effective_on,
        })
    }
}

#[derive(Insertable)]
#[diesel(table_name = movements)]
struct NewMovement<'a> {
    lot_id: i64,
    seq: i64,
    pack_id: Option<i64>,
    kind: &'a str,
    quantity_micro: Quantity,
    value_micro: Money,
    reason: &'a str,
    actor: &'a str,
    cast_id: Option<i64>,
    batch_no: Option<i32>,
    purpose: Option<&'a str>,
    reverses_id: Option<i64>,
    effective_on: NaiveDate,
    recorded_at: NaiveDateTime,
    hash: &'a str,
}

/// Appends a posting at its place in the chain.
pub(in crate::stock) fn movement_insert(
    conn: &mut AnyConnection,
    posting: &Posting,
    chained: &Chained,
    recorded_at: DateTime<Utc>,
) -> Result<i64, Error> {
    let row = NewMovement {
        lot_id: posting.lot_id,
        seq: chained.seq,
        pack_id: posting.pack_id,
        kind: posting.kind.as_str(),
        quantity_micro: posting.quantity,
        value_micro: posting.value,
        reason: &posting.reason,
        actor: &posting.actor,
        cast_id: posting.cast_id,
        batch_no: posting.batch_no,
        purpose: posting.purpose.as_deref(),
        reverses_id: posting.reverses_id,
        effective_on: posting.effective_on,
        recorded_at: stored_instant(recorded_at),
        hash: &chained.hash,
    };
    Ok(diesel::insert_into(movements::table)
        .values(row)
        .returning(movements::id)
        .get_result(conn)?)
}

pub(in crate::stock) fn movement_fetch(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<MovementRow>, Error> {
    Ok(movements::table
        .find(id)
        .select(MovementRow::as_select())
        .first(conn)
        .optional()?)
}

/// One page of a lot's movements in the order of recording, after a sequence number.
pub(in crate::stock) fn movements_of_lot(
    conn: &mut AnyConnection,
    lot_id: i64,
    after_seq: i64,
    limit: i64,
) -> Result<Vec<MovementRow>, Error> {
    Ok(movements::table
        .filter(movements::lot_id.eq(lot_id))
        .filter(movements::seq.gt(after_seq))
        .order(movements::seq)
        .limit(limit)
        .select(MovementRow::as_select())
        .load(conn)?)
}

/// A lot's movements before a sequence number, the latest first.
pub(in crate::stock) fn movements_before(
    conn: &mut AnyConnection,
    lot_id: i64,
    before_seq: i64,
    limit: i64,
) -> Result<Vec<MovementRow>, Error> {
    Ok(movements::table
        .filter(movements::lot_id.eq(lot_id))
        .filter(movements::seq.lt(before_seq))
        .order(movements::seq.desc())
        .limit(limit)
        .select(MovementRow::as_select())
        .load(conn)?)
}

/// All movements of some lots, lot by lot in the order of recording.
pub(in crate::stock) fn movements_of_lots(
    conn: &mut AnyConnection,
    lot_ids: &[i64],
) -> Result<Vec<MovementRow>, Error> {
    Ok(movements::table
        .filter(movements::lot_id.eq_any(lot_ids))
        .order((movements::lot_id, movements::seq))
        .select(MovementRow::as_select())
        .load(conn)?)
}

/// The movement that takes another back, if any.
pub(in crate::stock) fn reversed_by(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<i64>, Error> {
    Ok(movements::table
        .filter(movements::reverses_id.eq(id))
        .select(movements::id)
        .first(conn)
        .optional()?)
}

/// A pack's changes by day, in the order of the days.
pub(in crate::stock) fn movements_by_day(
    conn: &mut AnyConnection,
    pack_id: i64,
) -> Result<Vec<(NaiveDate, i64)>, Error> {
    Ok(movements::table
        .filter(movements::pack_id.eq(pack_id))
        .group_by(movements::effective_on)
        .order(movements::effective_on)
        .select((movements::effective_on, sum_bigint("quantity_micro")))
        .load(conn)?)
}

/// The movements of a cast that no reversal has taken back, the latest first.
pub(in crate::stock) fn movements_standing(
    conn: &mut AnyConnection,
    cast_id: i64,
) -> Result<Vec<MovementRow>, Error> {
    let of_cast: Vec<MovementRow> = movements::table
        .filter(movements::cast_id.eq(cast_id))
        .order(movements::id.desc())
        .select(MovementRow::as_select())
        .load(conn)?;
    let reversed: HashSet<i64> = of_cast.iter().filter_map(|row| row.reverses_id).collect();
    Ok(of_cast
        .into_iter()
        .filter(|row| row.reverses_id.is_none() && !reversed.contains(&row.id))
        .collect())
}

/// The treatment whose vials left the stock by a movement.
pub(in crate::stock) fn treatment_of(
    conn: &mut AnyConnection,
    movement_id: i64,
) -> Result<Option<i64>, Error> {
    Ok(treatment_vials::table
        .find(movement_id)
        .select(treatment_vials::treatment_id)
        .first(conn)
        .optional()?)
}

/// When something was last used from each of some packs; those of which nothing was used are left out.
pub(in crate::stock) fn packs_drawn_on(
    conn: &mut AnyConnection,
    pack_ids: &[i64],
) -> Result<HashMap<i64, NaiveDate>, Error> {
    let rows: Vec<(Option<i64>, Option<NaiveDate>)> = movements::table
        .filter(movements::pack_id.eq_any(pack_ids))
        .filter(movements::kind.eq(MovementKind::Consumption.as_str()))
        .group_by(movements::pack_id)
        .select((
            movements::pack_id,
            diesel::dsl::max(movements::effective_on),
        ))
        .load(conn)?;
    let known = rows.into_iter().filter_map(|(pack, on)| pack.zip(on));
    Ok(known.collect())
}
