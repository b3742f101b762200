//! Purchase files that wait to be received, with how they are to be read.
//!
//! Invariant: the bytes are read for themselves, never with the rest of a row, since they may be long.

use chrono::NaiveDateTime;
use diesel::prelude::*;

use crate::base::Error;
use crate::db::schema::purchase_drafts;
use crate::db::{AnyConnection, Tx};

/// A draft as it is kept, without its bytes.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = purchase_drafts)]
pub(in crate::purchasing) struct DraftRow {
    pub(in crate::purchasing) id: i64,
    pub(in crate::purchasing) name: String,
    pub(in crate::purchasing) file_bytes: i64,
    pub(in crate::purchasing) delimiter: String,
    pub(in crate::purchasing) decimal_mark: String,
    pub(in crate::purchasing) encoding: String,
    pub(in crate::purchasing) spread_by: String,
    pub(in crate::purchasing) confirm_repeated_freight: bool,
    pub(in crate::purchasing) created_at: NaiveDateTime,
    pub(in crate::purchasing) created_by: String,
    pub(in crate::purchasing) settled_at: Option<NaiveDateTime>,
    pub(in crate::purchasing) import_id: Option<i64>,
}

/// How a file is to be read, as it is kept.
#[derive(Debug, Clone, Copy, AsChangeset)]
#[diesel(table_name = purchase_drafts)]
pub(in crate::purchasing) struct DraftSettings {
    pub(in crate::purchasing) delimiter: &'static str,
    pub(in crate::purchasing) decimal_mark: &'static str,
    pub(in crate::purchasing) encoding: &'static str,
    pub(in crate::purchasing) spread_by: &'static str,
    pub(in crate::purchasing) confirm_repeated_freight: bool,
}

/// Keeps a file; returns the draft's id.
pub(in crate::purchasing) fn draft_insert(
    tx: &mut Tx<'_>,
    (name, file, file_sha256): (&str, &[u8], &str),
    settings: DraftSettings,
) -> Result<i64, Error> {
    let file_bytes = i64::try_from(file.len()).map_err(Error::internal)?;
    let row = (
        purchase_drafts::name.eq(name),
        purchase_drafts::file_sha256.eq(file_sha256),
        purchase_drafts::file_bytes.eq(file_bytes),
        purchase_drafts::delimiter.eq(settings.delimiter),
        purchase_drafts::decimal_mark.eq(settings.decimal_mark),
        purchase_drafts::encoding.eq(settings.encoding),
        purchase_drafts::spread_by.eq(settings.spread_by),
        purchase_drafts::confirm_repeated_freight.eq(settings.confirm_repeated_freight),
        purchase_drafts::created_at.eq(tx.stored_now()),
        purchase_drafts::created_by.eq(tx.actor),
        purchase_drafts::file.eq(Some(file)),
    );
    Ok(diesel::insert_into(purchase_drafts::table)
        .values(row)
        .returning(purchase_drafts::id)
        .get_result(tx.conn)?)
}

pub(in crate::purchasing) fn draft_fetch(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<DraftRow>, Error> {
    Ok(purchase_drafts::table
        .find(id)
        .select(DraftRow::as_select())
        .first(conn)
        .optional()?)
}

/// A draft's bytes, while it waits.
pub(in crate::purchasing) fn draft_file(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<Vec<u8>>, Error> {
    let found: Option<Option<Vec<u8>>> = purchase_drafts::table
        .find(id)
        .select(purchase_drafts::file)
        .first(conn)
        .optional()?;
    Ok(found.flatten())
}

/// The newest draft that waits with the same bytes under the same name.
pub(in crate::purchasing) fn draft_waiting(
    conn: &mut AnyConnection,
    (name, file_sha256): (&str, &str),
) -> Result<Option<i64>, Error> {
    Ok(purchase_drafts::table
        .filter(purchase_drafts::settled_at.is_null())
        .filter(purchase_drafts::name.eq(name))
        .filter(purchase_drafts::file_sha256.eq(file_sha256))
        .order(purchase_drafts::id.desc())
        .select(purchase_drafts::id)
        .first(conn)
        .optional()?)
}

/// The drafts that wait, the newest first.
pub(in crate::purchasing) fn drafts_waiting(
    conn: &mut AnyConnection,
    limit: i64,
) -> Result<Vec<DraftRow>, Error> {
    Ok(purchase_drafts::table
        .filter(purchase_drafts::settled_at.is_null())
        .order(purchase_drafts::id.desc())
        .limit(limit)
        .select(DraftRow::as_select())
        .load(conn)?)
}

/// Changes how a draft that waits is to be read.
pub(in crate::purchasing) fn draft_restate(
    conn: &mut AnyConnection,
    id: i64,
    settings: DraftSettings,
) -> Result<(), Error> {
    let waiting = purchase_drafts::table
        .find(id)
        .filter(purchase_drafts::settled_at.is_null());
    diesel::update(waiting).set(settings).execute(conn)?;
    Ok(())
}

/// Writes that what a draft says is in the books, and lets go of its bytes. A draft that was settled before stays as it is.
pub(in crate::purchasing) fn draft_settle(
    tx: &mut Tx<'_>,
    id: i64,
    import_id: Option<i64>,
) -> Result<(), Error> {
    let now = tx.stored_now();
    let waiting = purchase_drafts::table
        .find(id)
        .filter(purchase_drafts::settled_at.is_null());
    diesel::update(waiting)
        .set((
            purchase_drafts::settled_at.eq(Some(now)),
            purchase_drafts::import_id.eq(import_id),
            purchase_drafts::file.eq(None::<Vec<u8>>),
        ))
        .execute(tx.conn)?;
    Ok(())
}

pub(in crate::purchasing) fn draft_remove(conn: &mut AnyConnection, id: i64) -> Result<(), Error> {
    diesel::delete(purchase_drafts::table.find(id)).execute(conn)?;
    Ok(())
}

/// Forgets what was kept before an instant.
pub(in crate::purchasing) fn drafts_forget(
    conn: &mut AnyConnection,
    before: NaiveDateTime,
) -> Result<(), Error> {
    diesel::delete(purchase_drafts::table.filter(purchase_drafts::created_at.lt(before)))
        .execute(conn)?;
    Ok(())
}
