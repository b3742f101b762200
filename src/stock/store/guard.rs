//! The order of locks: period guard, then materials by id (they cover their lots and packs), then casts by id, then what the
//! catalogue names (casting holds grants last).

use chrono::NaiveDate;
use diesel::connection::SimpleConnection;
use diesel::prelude::*;

use crate::base::Error;
use crate::db::AnyConnection;
use crate::db::schema::{materials, period_guard, periods};

/// Reads the last closed day and, on PostgreSQL, keeps it from advancing until the transaction ends.
pub(in crate::stock) fn guard_share(conn: &mut AnyConnection) -> Result<Option<NaiveDate>, Error> {
    let query = period_guard::table.select(period_guard::closed_through);
    Ok(match conn {
        AnyConnection::Sqlite(conn) => query.first(conn)?,
        AnyConnection::Postgres(conn) => query.for_share().first(conn)?,
    })
}

/// Locks materials in the order of their ids. SQLite's one writer needs no more.
pub(in crate::stock) fn materials_lock(conn: &mut AnyConnection, ids: &[i64]) -> Result<(), Error> {
    if let AnyConnection::Postgres(conn) = conn {
        materials::table
            .filter(materials::id.eq_any(ids))
            .order(materials::id)
            .select(materials::id)
            .for_no_key_update()
            .load::<i64>(conn)?;
    }
    Ok(())
}

/// Whether rows are locked one by one, so that others may write while this transaction waits for them.
pub(in crate::stock) fn rows_are_locked(conn: &AnyConnection) -> bool {
    matches!(conn, AnyConnection::Postgres(_))
}

/// Marks the place to which [`locks_drop`] returns. Only where rows are locked one by one.
pub(in crate::stock) fn locks_begin(conn: &mut AnyConnection) -> Result<(), Error> {
    Ok(conn.batch_execute("SAVEPOINT locks")?)
}

/// Keeps the locks taken since [`locks_begin`].
pub(in crate::stock) fn locks_keep(conn: &mut AnyConnection) -> Result<(), Error> {
    Ok(conn.batch_execute("RELEASE SAVEPOINT locks")?)
}

/// Gives up the locks taken since [`locks_begin`]: PostgreSQL releases them with the savepoint.
pub(in crate::stock) fn locks_drop(conn: &mut AnyConnection) -> Result<(), Error> {
    Ok(conn.batch_execute("ROLLBACK TO SAVEPOINT locks; RELEASE SAVEPOINT locks")?)
}

/// The period that was closed last: its id, the file of its heads, and their digest.
pub(in crate::stock) fn period_last(
    conn: &mut AnyConnection,
) -> Result<Option<(i64, String, String)>, Error> {
    Ok(periods::table
        .order(periods::id.desc())
        .select((periods::id, periods::heads, periods::heads_digest))
        .first(conn)
        .optional()?)
}
