//! Imports that were committed, with their reports.

use chrono::NaiveDateTime;
use diesel::prelude::*;

use crate::base::Error;
use crate::db::schema::purchase_imports;
use crate::db::{AnyConnection, Tx};

/// An import as it is kept.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = purchase_imports)]
pub(in crate::purchasing) struct ImportRow {
    pub(in crate::purchasing) id: i64,
    pub(in crate::purchasing) file_sha256: String,
    pub(in crate::purchasing) outcome: String,
    pub(in crate::purchasing) created_at: NaiveDateTime,
    pub(in crate::purchasing) created_by: String,
}

/// Makes an import whose report is still to come.
pub(in crate::purchasing) fn import_insert(
    tx: &mut Tx<'_>,
    file_sha256: &str,
) -> Result<i64, Error> {
    let row = (
        purchase_imports::file_sha256.eq(file_sha256),
        purchase_imports::outcome.eq("{}"),
        purchase_imports::created_at.eq(tx.stored_now()),
        purchase_imports::created_by.eq(tx.actor),
    );
    Ok(diesel::insert_into(purchase_imports::table)
        .values(row)
        .returning(purchase_imports::id)
        .get_result(tx.conn)?)
}

/// Keeps an import's report.
pub(in crate::purchasing) fn import_keep(
    conn: &mut AnyConnection,
    id: i64,
    outcome: &str,
) -> Result<(), Error> {
    diesel::update(purchase_imports::table.find(id))
        .set(purchase_imports::outcome.eq(outcome))
        .execute(conn)?;
    Ok(())
}

pub(in crate::purchasing) fn import_fetch(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<ImportRow>, Error> {
    Ok(purchase_imports::table
        .find(id)
        .select(ImportRow::as_select())
        .first(conn)
        .optional()?)
}

/// The newest import of the same bytes.
pub(in crate::purchasing) fn import_by_file(
    conn: &mut AnyConnection,
    file_sha256: &str,
) -> Result<Option<i64>, Error> {
    Ok(purchase_imports::table
        .filter(purchase_imports::file_sha256.eq(file_sha256))
        .order(purchase_imports::id.desc())
        .select(purchase_imports::id)
        .first(conn)
        .optional()?)
}

/// The last imports, the newest first: id, when and by whom, without what each of their rows became.
pub(in crate::purchasing) fn imports_latest(
    conn: &mut AnyConnection,
    limit: i64,
) -> Result<Vec<(i64, NaiveDateTime, String)>, Error> {
    Ok(purchase_imports::table
        .order(purchase_imports::id.desc())
        .limit(limit)
        .select((
            purchase_imports::id,
            purchase_imports::created_at,
            purchase_imports::created_by,
        ))
        .load(conn)?)
}

/// A page of imports and one row more.
pub(in crate::purchasing) fn imports_after(
    conn: &mut AnyConnection,
    after: i64,
    limit: i64,
) -> Result<Vec<ImportRow>, Error> {
    Ok(purchase_imports::table
        .filter(purchase_imports::id.gt(after))
        .order(purchase_imports::id)
        .limit(limit)
        .select(ImportRow::as_select())
        .load(conn)?)
}
