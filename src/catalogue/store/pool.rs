//! The cost pool of a mold: filled once when the mold is created, emptied to waste when it is retired.
//!
//! A mold is paid once and used many times, so its cost is spread over the casts that it is rated for (`cost` and
//! `rated_casts` are for one copy; the pool holds those of all copies). The casting room issues from the pool.
//! Invariants: a pool's balances move only by its movements (a trigger moves them); a mold that is retired has no open
//! pool, its own or a coat's. Deliberately absent: issues and coats (the casting room).

use diesel::prelude::*;

use crate::base::{Error, RefusalKind};
use crate::catalogue::noun::PoolFill;
use crate::db::schema::{cost_pools, period_guard, pool_movements};
use crate::db::{AnyConnection, Tx};

/// Opens a mold's pool and fills it with the value and the uses of all copies.
pub(in crate::catalogue) fn pool_fill(
    tx: &mut Tx<'_>,
    mold_id: i64,
    fill: PoolFill,
) -> Result<(), Error> {
    day_is_open(tx)?;
    let pool_id: i64 = diesel::insert_into(cost_pools::table)
        .values((
            cost_pools::kind.eq("mold"),
            cost_pools::mold_id.eq(mold_id),
            cost_pools::opened_on.eq(tx.today),
        ))
        .returning(cost_pools::id)
        .get_result(tx.conn)?;
    let pool = Pool {
        id: pool_id,
        seq: 1,
    };
    pool.move_by(
        tx,
        "fill",
        fill.value.micro(),
        fill.uses,
        "cost of the mold",
    )
}

/// Sends what is left of a mold's pools, its own and its coats', to waste, and closes them.
pub(in crate::catalogue) fn pools_close(tx: &mut Tx<'_>, mold_id: i64) -> Result<(), Error> {
    let open: Vec<(i64, i64, i64, i64)> = cost_pools::table
        .filter(cost_pools::mold_id.eq(mold_id))
        .filter(cost_pools::closed_on.is_null())
        .order(cost_pools::id)
        .select((
            cost_pools::id,
            cost_pools::head_seq,
            cost_pools::remaining_value_micro,
            cost_pools::remaining_uses,
        ))
        .load(tx.conn)?;
    for (id, head_seq, value_micro, uses) in open {
        if value_micro != 0 || uses != 0 {
            day_is_open(tx)?;
            let seq = head_seq + 1;
            Pool { id, seq }.move_by(tx, "waste", -value_micro, -uses, "mold retired")?;
        }
        diesel::update(cost_pools::table.find(id))
            .set(cost_pools::closed_on.eq(Some(tx.today)))
            .execute(tx.conn)?;
    }
    Ok(())
}

/// A pool and the number of its next movement.
struct Pool {
    id: i64,
    seq: i64,
}

impl Pool {
    fn move_by(
        &self,
        tx: &mut Tx<'_>,
        kind: &str,
        value_micro: i64,
        uses: i64,
        reason: &str,
    ) -> Result<(), Error> {
        let recorded_at = tx.stored_now();
        diesel::insert_into(pool_movements::table)
            .values((
                pool_movements::pool_id.eq(self.id),
                pool_movements::seq.eq(self.seq),
                pool_movements::kind.eq(kind),
                pool_movements::value_micro.eq(value_micro),
                pool_movements::uses.eq(uses),
                pool_movements::reason.eq(reason),
                pool_movements::actor.eq(tx.actor),
                pool_movements::effective_on.eq(tx.today),
                pool_movements::recorded_at.eq(recorded_at),
            ))
            .execute(tx.conn)?;
        Ok(())
    }
}

/// Refuses when the books are closed through today; on PostgreSQL nobody closes them until the transaction ends.
fn day_is_open(tx: &mut Tx<'_>) -> Result<(), Error> {
    let guard = period_guard::table.select(period_guard::closed_through);
    let closed: Option<chrono::NaiveDate> = match tx.conn {
        AnyConnection::Sqlite(conn) => guard.first(conn)?,
        AnyConnection::Postgres(conn) => guard.for_share().first(conn)?,
    };
    match closed.filter(|closed| *closed >= tx.today) {
        None => Ok(()),
        Some(closed) => Err(Error::refused(
            RefusalKind::PeriodClosed,
            format!(
                "the books are closed through {closed}: the cost of a mold cannot be posted on {}",
                tx.today
            ),
        )
        .with("closed_through", closed.to_string())),
    }
}
