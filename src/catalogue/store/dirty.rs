//! Materials whose forecast must be made anew, since what it stands on has changed.

use diesel::prelude::*;

use crate::base::Error;
use crate::db::schema::{dirty_materials, lots};
use crate::db::{AnyConnection, Tx};

/// Marks materials; one that is marked already stays marked since then.
pub(in crate::catalogue) fn materials_mark(tx: &mut Tx<'_>, ids: &[i64]) -> Result<(), Error> {
    let since = tx.stored_now();
    // In one order, so that two who mark several never wait for each other in a ring.
    let mut ids = ids.to_vec();
    ids.sort_unstable();
    ids.dedup();
    for id in ids {
        let row = (
            dirty_materials::material_id.eq(id),
            dirty_materials::since.eq(since),
        );
        // The common connection type has no ON CONFLICT.
        match tx.conn {
            AnyConnection::Sqlite(conn) => diesel::insert_into(dirty_materials::table)
                .values(row)
                .on_conflict_do_nothing()
                .execute(conn)?,
            AnyConnection::Postgres(conn) => diesel::insert_into(dirty_materials::table)
                .values(row)
                .on_conflict_do_nothing()
                .execute(conn)?,
        };
    }
    Ok(())
}

/// The materials that were bought from a supplier.
pub(in crate::catalogue) fn materials_of_supplier(
    conn: &mut AnyConnection,
    supplier_id: i64,
) -> Result<Vec<i64>, Error> {
    Ok(lots::table
        .filter(lots::supplier_id.eq(supplier_id))
        .select(lots::material_id)
        .distinct()
        .load(conn)?)
}
