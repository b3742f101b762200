//! The order of locks: period guard, then materials by id (they cover their lots and packs), then casts by id.

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::base::Error;
use crate::db::AnyConnection;
use crate::db::schema::{materials, period_guard};

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
