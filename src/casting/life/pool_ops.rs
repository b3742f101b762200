//! The pools of a mould and its coats, moved: each cast draws its share, and an undo gives it back.

use chrono::NaiveDate;

use super::standing::Standing;
use crate::base::{Error, Money, RefusalKind};
use crate::casting::store::{self, MovedBy, PoolPosting, StandingRow};
use crate::casting::sums::pool::PoolState;
use crate::db::Tx;

/// A movement of a pool to be posted.
#[derive(Debug, Clone, Copy)]
pub(super) struct Move<'a> {
    pub(super) pool_id: i64,
    pub(super) kind: &'static str,
    pub(super) value: Money,
    pub(super) uses: i64,
    pub(super) cast_id: Option<i64>,
    pub(super) reason: &'a str,
    pub(super) on: NaiveDate,
}

/// Posts a movement of a pool.
pub(super) fn pool_move(tx: &mut Tx<'_>, moved: &Move<'_>) -> Result<(), Error> {
    post(tx, moved, None)
}

fn post(tx: &mut Tx<'_>, moved: &Move<'_>, reverses_id: Option<i64>) -> Result<(), Error> {
    let posting = PoolPosting {
        kind: moved.kind,
        value: moved.value,
        uses: moved.uses,
        cast_id: moved.cast_id,
        reverses_id,
        reason: moved.reason,
        actor: tx.actor,
        effective_on: moved.on,
        recorded_at: tx.stored_now(),
    };
    store::pool_movement_append(tx.conn, moved.pool_id, &posting)
}

/// Takes a standing movement of a pool back.
pub(super) fn pool_move_reverse(
    tx: &mut Tx<'_>,
    row: &StandingRow,
    reason: &str,
    on: NaiveDate,
) -> Result<(), Error> {
    let back = Move {
        pool_id: row.pool_id,
        kind: "reversal",
        value: row.value.checked_neg()?,
        uses: -row.uses,
        cast_id: row.cast_id,
        reason,
        on,
    };
    post(tx, &back, Some(row.id))
}

/// Sends what a pool has left to waste. Returns whether there was any.
pub(super) fn pool_waste(
    tx: &mut Tx<'_>,
    pool_id: i64,
    rest: PoolState,
    reason: &str,
    on: NaiveDate,
) -> Result<bool, Error> {
    let empty = rest.value == Money::ZERO && rest.uses == 0;
    if !empty {
        let moved = Move {
            pool_id,
            kind: "waste",
            value: rest.value.checked_neg()?,
            uses: -rest.uses,
            cast_id: None,
            reason,
            on,
        };
        pool_move(tx, &moved)?;
    }
    Ok(!empty)
}

/// Draws the share of `casts` uses from the mould's own pool, if it has one.
pub(super) fn mold_use(
    tx: &mut Tx<'_>,
    cast: &Standing,
    casts: i64,
    on: NaiveDate,
) -> Result<Money, Error> {
    let Some(pool) = store::mold_pool(tx.conn, cast.facts.mold.id)? else {
        return Ok(Money::ZERO);
    };
    let mut state = PoolState {
        value: pool.value,
        uses: pool.uses,
    };
    let given = state.issue(casts)?;
    if given.uses > 0 {
        let moved = Move {
            pool_id: pool.id,
            kind: "issue",
            value: given.value.checked_neg()?,
            uses: -given.uses,
            cast_id: Some(cast.id),
            reason: "",
            on,
        };
        pool_move(tx, &moved)?;
    }
    Ok(given.value)
}

/// Takes back what a cast drew from pools, and what it put in, the latest first. Returns the pools.
///
/// # Errors
/// [`Error::Refused`] when others have since drawn on what it put in.
pub(super) fn cast_draws_reverse(
    tx: &mut Tx<'_>,
    cast: &Standing,
    on: NaiveDate,
) -> Result<Vec<i64>, Error> {
    let rows = store::pool_movements_standing(tx.conn, MovedBy::Cast(cast.id))?;
    let mut pools = Vec::new();
    for row in rows {
        let pool = store::coat_fetch(tx.conn, row.pool_id)?;
        if row.value > pool.value || row.uses > pool.uses {
            let detail = format!(
                "later casts have used the coats that were applied for cast {}: undo those first",
                cast.code
            );
            return Err(Error::refused(RefusalKind::HistoryConflict, detail));
        }
        pool_move_reverse(tx, &row, "undo", on)?;
        pools.push(row.pool_id);
    }
    Ok(pools)
}
