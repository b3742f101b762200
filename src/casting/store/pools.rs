//! Cost pools of moulds and coats.

use std::collections::HashSet;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;

use crate::base::{Error, Money};
use crate::db::AnyConnection;
use crate::db::schema::{cost_pools, pool_movements};

/// A pool as it is kept.
#[derive(Debug, Clone, Copy, Queryable, Selectable)]
#[diesel(table_name = cost_pools)]
pub(in crate::casting) struct PoolRow {
    pub(in crate::casting) id: i64,
    #[diesel(column_name = remaining_value_micro)]
    pub(in crate::casting) value: Money,
    #[diesel(column_name = remaining_uses)]
    pub(in crate::casting) uses: i64,
}

/// The open pool of a mould's own cost.
pub(in crate::casting) fn mold_pool(
    conn: &mut AnyConnection,
    mold_id: i64,
) -> Result<Option<PoolRow>, Error> {
    Ok(cost_pools::table
        .filter(cost_pools::mold_id.eq(mold_id))
        .filter(cost_pools::kind.eq("mold"))
        .filter(cost_pools::closed_on.is_null())
        .order(cost_pools::id.desc())
        .select(PoolRow::as_select())
        .first(conn)
        .optional()?)
}

/// A pool's movement to be kept.
#[derive(Debug, Clone)]
pub(in crate::casting) struct PoolPosting<'a> {
    pub(in crate::casting) kind: &'static str,
    pub(in crate::casting) value: Money,
    pub(in crate::casting) uses: i64,
    pub(in crate::casting) cast_id: Option<i64>,
    pub(in crate::casting) reverses_id: Option<i64>,
    pub(in crate::casting) reason: &'a str,
    pub(in crate::casting) actor: &'a str,
    pub(in crate::casting) effective_on: NaiveDate,
    pub(in crate::casting) recorded_at: NaiveDateTime,
}

/// Appends a movement after the pool's last.
pub(in crate::casting) fn pool_movement_append(
    conn: &mut AnyConnection,
    pool_id: i64,
    posting: &PoolPosting<'_>,
) -> Result<(), Error> {
    let head: i64 = cost_pools::table
        .find(pool_id)
        .select(cost_pools::head_seq)
        .first(conn)?;
    let row = (
        pool_movements::pool_id.eq(pool_id),
        pool_movements::seq.eq(head + 1),
        pool_movements::kind.eq(posting.kind),
        pool_movements::value_micro.eq(posting.value),
        pool_movements::uses.eq(posting.uses),
        pool_movements::cast_id.eq(posting.cast_id),
        pool_movements::reverses_id.eq(posting.reverses_id),
        pool_movements::reason.eq(posting.reason),
        pool_movements::actor.eq(posting.actor),
        pool_movements::effective_on.eq(posting.effective_on),
        pool_movements::recorded_at.eq(posting.recorded_at),
    );
    diesel::insert_into(pool_movements::table)
        .values(row)
        .execute(conn)?;
    Ok(())
}

/// A movement of a pool that still stands.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = pool_movements)]
pub(in crate::casting) struct StandingRow {
    pub(in crate::casting) id: i64,
    pub(in crate::casting) pool_id: i64,
    pub(in crate::casting) kind: String,
    #[diesel(column_name = value_micro)]
    pub(in crate::casting) value: Money,
    pub(in crate::casting) uses: i64,
    pub(in crate::casting) cast_id: Option<i64>,
}

/// Whose movements are asked for.
#[derive(Debug, Clone, Copy)]
pub(in crate::casting) enum MovedBy {
    /// Those that a cast caused.
    Cast(i64),
    /// All of one pool.
    Pool(i64),
}

/// Pool movements that no reversal has taken back, the latest first.
pub(in crate::casting) fn pool_movements_standing(
    conn: &mut AnyConnection,
    moved_by: MovedBy,
) -> Result<Vec<StandingRow>, Error> {
    let query = pool_movements::table.into_boxed();
    let query = match moved_by {
        MovedBy::Cast(id) => query.filter(pool_movements::cast_id.eq(id)),
        MovedBy::Pool(id) => query.filter(pool_movements::pool_id.eq(id)),
    };
    let rows: Vec<(StandingRow, Option<i64>)> = query
        .order(pool_movements::id.desc())
        .select((StandingRow::as_select(), pool_movements::reverses_id))
        .load(conn)?;
    let reversed: HashSet<i64> = rows.iter().filter_map(|row| row.1).collect();
    Ok(rows
        .into_iter()
        .filter(|(row, reverses)| reverses.is_none() && !reversed.contains(&row.id))
        .map(|(row, _)| row)
        .collect())
}
