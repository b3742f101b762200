//! Links: which entry names which, and in which role.

use diesel::prelude::*;

use super::entries::EntryRow;
use crate::base::Error;
use crate::catalogue::noun::Noun;
use crate::db::AnyConnection;
use crate::db::schema::{catalogue_entries, catalogue_links};

/// Replaces what an entry names: pairs of a role with the target's id and noun.
pub(in crate::catalogue) fn links_replace(
    conn: &mut AnyConnection,
    entry_id: i64,
    links: &[(String, i64, Noun)],
) -> Result<(), Error> {
    diesel::delete(catalogue_links::table.filter(catalogue_links::entry_id.eq(entry_id)))
        .execute(conn)?;
    for (role, target_id, target) in links {
        diesel::insert_into(catalogue_links::table)
            .values((
                catalogue_links::entry_id.eq(entry_id),
                catalogue_links::role.eq(role),
                catalogue_links::target_id.eq(target_id),
                catalogue_links::target_noun.eq(target.as_str()),
            ))
            .execute(conn)?;
    }
    Ok(())
}

/// What an entry names: roles with ids.
pub(in crate::catalogue) fn links_of(
    conn: &mut AnyConnection,
    entry_id: i64,
) -> Result<Vec<(String, i64)>, Error> {
    Ok(catalogue_links::table
        .filter(catalogue_links::entry_id.eq(entry_id))
        .order(catalogue_links::role)
        .select((catalogue_links::role, catalogue_links::target_id))
        .load(conn)?)
}

/// What names an entry: roles with ids.
pub(in crate::catalogue) fn links_to(
    conn: &mut AnyConnection,
    target_id: i64,
) -> Result<Vec<(String, i64)>, Error> {
    Ok(catalogue_links::table
        .filter(catalogue_links::target_id.eq(target_id))
        .order((catalogue_links::entry_id, catalogue_links::role))
        .select((catalogue_links::role, catalogue_links::entry_id))
        .load(conn)?)
}

/// What an entry names: roles with whole entries.
pub(in crate::catalogue) fn targets_of(
    conn: &mut AnyConnection,
    entry_id: i64,
) -> Result<Vec<(String, EntryRow)>, Error> {
    Ok(catalogue_links::table
        .inner_join(
            catalogue_entries::table.on(catalogue_entries::id.eq(catalogue_links::target_id)),
        )
        .filter(catalogue_links::entry_id.eq(entry_id))
        .select((catalogue_links::role, EntryRow::as_select()))
        .load(conn)?)
}
