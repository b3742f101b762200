//! The pools of a mould: coats filled by vials, and the mould's own cost; each cast draws its share.

use chrono::NaiveDate;

use super::standing::Standing;
use crate::base::{Error, Money, RefusalKind};
use crate::casting::store::{self, PoolPosting, PoolRow};
use crate::casting::sums::pool::PoolState;
use crate::db::Tx;

/// Puts the vials' value into the coats' pool, and draws the share of `casts` uses. Returns that share.
pub(in crate::casting) fn coat_use(
    tx: &mut Tx<'_>,
    cast: &Standing,
    vials: Money,
    coatings: i64,
    casts: i64,
    on: NaiveDate,
) -> Result<Money, Error> {
    let pool = match store::pool_latest(tx.conn, cast.facts.mold.id, "coat")? {
        Some(pool) => pool,
        None => store::pool_open(tx.conn, cast.facts.mold.id, "coat", on)?,
    };
    let mut state = PoolState {
        value: pool.value,
        uses: pool.uses,
    };
    if coatings > 0 {
        let uses = coatings * i64::from(cast.facts.mold.body.coat_life_casts());
        state.fill(vials, uses)?;
        append(tx, cast, &pool, "fill", (vials, uses), on)?;
    }
    draw(tx, cast, &pool, state, casts, on)
}

/// Draws the share of `casts` uses from the mould's own pool, if it has one.
pub(in crate::casting) fn mold_use(
    tx: &mut Tx<'_>,
    cast: &Standing,
    casts: i64,
    on: NaiveDate,
) -> Result<Money, Error> {
    match store::pool_latest(tx.conn, cast.facts.mold.id, "mold")? {
        Some(pool) => draw(
            tx,
            cast,
            &pool,
            PoolState {
                value: pool.value,
                uses: pool.uses,
            },
            casts,
            on,
        ),
        None => Ok(Money::ZERO),
    }
}

fn draw(
    tx: &mut Tx<'_>,
    cast: &Standing,
    pool: &PoolRow,
    mut state: PoolState,
    casts: i64,
    on: NaiveDate,
) -> Result<Money, Error> {
    let given = state.issue(casts)?;
    if given.uses > 0 {
        append(
            tx,
            cast,
            pool,
            "issue",
            (given.value.checked_neg()?, -given.uses),
            on,
        )?;
    }
    Ok(given.value)
}

fn append(
    tx: &mut Tx<'_>,
    cast: &Standing,
    pool: &PoolRow,
    kind: &'static str,
    (value, uses): (Money, i64),
    on: NaiveDate,
) -> Result<(), Error> {
    let posting = PoolPosting {
        kind,
        value,
        uses,
        cast_id: cast.id,
        reverses_id: None,
        reason: "",
        actor: tx.actor,
        effective_on: on,
        recorded_at: tx.stored_now(),
    };
    store::pool_movement_append(tx.conn, pool.id, &posting)
}

/// Takes back what a cast did to the pools, the latest first.
///
/// # Errors
/// [`Error::Refused`] when later casts have drawn on coats that were applied for this one.
pub(in crate::casting) fn pools_undo(
    tx: &mut Tx<'_>,
    cast: &Standing,
    on: NaiveDate,
) -> Result<(), Error> {
    let standing = store::pool_movements_standing(tx.conn, cast.id)?;
    if let Some(pool) = store::pool_latest(tx.conn, cast.facts.mold.id, "coat")? {
        let of_pool = || standing.iter().filter(|row| row.pool_id == pool.id);
        let value: i64 = of_pool().map(|row| row.value.micro()).sum();
        let uses: i64 = of_pool().map(|row| row.uses).sum();
        if value > pool.value.micro() || uses > pool.uses {
            let detail = format!(
                "later casts have used the coats that were applied for cast {}: undo those first",
                cast.code
            );
            return Err(Error::refused(RefusalKind::HistoryConflict, detail));
        }
    }
    for row in standing {
        let posting = PoolPosting {
            kind: "reversal",
            value: row.value.checked_neg()?,
            uses: -row.uses,
            cast_id: cast.id,
            reverses_id: Some(row.id),
            reason: "undo",
            actor: tx.actor,
            effective_on: on,
            recorded_at: tx.stored_now(),
        };
        store::pool_movement_append(tx.conn, row.pool_id, &posting)?;
    }
    Ok(())
}
