//! Entries: read, inserted, changed, retired, and held against change.

use chrono::NaiveDateTime;
use diesel::prelude::*;

use crate::base::{Code, Error, Unit};
use crate::catalogue::kind::MaterialKind;
use crate::catalogue::noun::Noun;
use crate::db::schema::{catalogue_entries, materials};
use crate::db::{AnyConnection, Tx};
use crate::http::Page;

/// How many values go into one list of a query; SQLite takes 32 766 at most.
const LIST_MAX: usize = 10_000;

/// An entry as it is kept.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = catalogue_entries)]
pub(in crate::catalogue) struct EntryRow {
    pub(in crate::catalogue) id: i64,
    pub(in crate::catalogue) noun: String,
    pub(in crate::catalogue) code: Code,
    pub(in crate::catalogue) name: String,
    pub(in crate::catalogue) version: i64,
    pub(in crate::catalogue) body: String,
    pub(in crate::catalogue) created_at: NaiveDateTime,
    pub(in crate::catalogue) updated_at: NaiveDateTime,
    pub(in crate::catalogue) retired_at: Option<NaiveDateTime>,
}

impl EntryRow {
    /// The noun; [`Error::Internal`] when it is none of ours.
    pub(in crate::catalogue) fn noun(&self) -> Result<Noun, Error> {
        Noun::parse(&self.noun)
            .ok_or_else(|| Error::internal(format!("entry {} is a {}", self.id, self.noun)))
    }
}

/// The entry of a code in a namespace.
pub(in crate::catalogue) fn entry_by_code(
    conn: &mut AnyConnection,
    namespace: &str,
    code: &str,
) -> Result<Option<EntryRow>, Error> {
    Ok(catalogue_entries::table
        .filter(catalogue_entries::namespace.eq(namespace))
        .filter(catalogue_entries::code.eq(code))
        .select(EntryRow::as_select())
        .first(conn)
        .optional()?)
}

/// The entries of some codes in a namespace; what does not exist is left out.
pub(in crate::catalogue) fn entries_by_codes(
    conn: &mut AnyConnection,
    namespace: &str,
    codes: &[&str],
) -> Result<Vec<EntryRow>, Error> {
    Ok(catalogue_entries::table
        .filter(catalogue_entries::namespace.eq(namespace))
        .filter(catalogue_entries::code.eq_any(codes))
        .select(EntryRow::as_select())
        .load(conn)?)
}

/// The entries of some ids, in no particular order; what does not exist is left out.
pub(in crate::catalogue) fn entries_by_ids(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<Vec<EntryRow>, Error> {
    let mut rows = Vec::with_capacity(ids.len());
    for some in ids.chunks(LIST_MAX) {
        rows.extend(
            catalogue_entries::table
                .filter(catalogue_entries::id.eq_any(some))
                .select(EntryRow::as_select())
                .load(conn)?,
        );
    }
    Ok(rows)
}

/// The entries of a noun that have exactly this name, oldest first.
pub(in crate::catalogue) fn entries_named(
    conn: &mut AnyConnection,
    noun: Noun,
    name: &str,
) -> Result<Vec<EntryRow>, Error> {
    Ok(catalogue_entries::table
        .filter(catalogue_entries::noun.eq(noun.as_str()))
        .filter(catalogue_entries::name.eq(name))
        .order(catalogue_entries::id)
        .select(EntryRow::as_select())
        .load(conn)?)
}

/// Every entry of a noun, oldest first.
pub(in crate::catalogue) fn entries_of_noun(
    conn: &mut AnyConnection,
    noun: Noun,
) -> Result<Vec<EntryRow>, Error> {
    Ok(catalogue_entries::table
        .filter(catalogue_entries::noun.eq(noun.as_str()))
        .order(catalogue_entries::id)
        .select(EntryRow::as_select())
        .load(conn)?)
}

/// A page of a noun's entries and one row more, oldest first; `retired` picks those that are, or are not.
pub(in crate::catalogue) fn entries_after(
    conn: &mut AnyConnection,
    noun: Noun,
    page: Page,
    retired: Option<bool>,
) -> Result<Vec<EntryRow>, Error> {
    let mut query = catalogue_entries::table
        .filter(catalogue_entries::noun.eq(noun.as_str()))
        .filter(catalogue_entries::id.gt(page.after))
        .order(catalogue_entries::id)
        .limit(page.limit + 1)
        .select(EntryRow::as_select())
        .into_boxed();
    match retired {
        Some(true) => query = query.filter(catalogue_entries::retired_at.is_not_null()),
        Some(false) => query = query.filter(catalogue_entries::retired_at.is_null()),
        None => {}
    }
    Ok(query.load(conn)?)
}

/// Inserts an entry and gives its id; `None` when its code is taken.
pub(in crate::catalogue) fn entry_insert(
    tx: &mut Tx<'_>,
    noun: Noun,
    code: &Code,
    name: &str,
    body: &str,
) -> Result<Option<i64>, Error> {
    use diesel::result::{DatabaseErrorKind, Error as DieselError};
    let now = tx.stored_now();
    let row = (
        catalogue_entries::noun.eq(noun.as_str()),
        catalogue_entries::namespace.eq(noun.namespace()),
        catalogue_entries::code.eq(code.as_str()),
        catalogue_entries::name.eq(name),
        catalogue_entries::version.eq(1),
        catalogue_entries::body.eq(body),
        catalogue_entries::created_at.eq(now),
        catalogue_entries::updated_at.eq(now),
    );
    let outcome = diesel::insert_into(catalogue_entries::table)
        .values(row)
        .returning(catalogue_entries::id)
        .get_result(tx.conn);
    match outcome {
        Ok(id) => Ok(Some(id)),
        // The table's one uniqueness that an insert can violate is that of the code.
        Err(DieselError::DatabaseError(DatabaseErrorKind::UniqueViolation, _)) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// Keeps a changed document under the next version.
pub(in crate::catalogue) fn entry_update(
    tx: &mut Tx<'_>,
    id: i64,
    name: &str,
    body: &str,
) -> Result<(), Error> {
    let now = tx.stored_now();
    diesel::update(catalogue_entries::table.find(id))
        .set((
            catalogue_entries::name.eq(name),
            catalogue_entries::body.eq(body),
            catalogue_entries::version.eq(catalogue_entries::version + 1),
            catalogue_entries::updated_at.eq(now),
        ))
        .execute(tx.conn)?;
    Ok(())
}

/// Retires an entry, under the next version.
pub(in crate::catalogue) fn entry_retire(tx: &mut Tx<'_>, id: i64) -> Result<(), Error> {
    let now = tx.stored_now();
    diesel::update(catalogue_entries::table.find(id))
        .set((
            catalogue_entries::version.eq(catalogue_entries::version + 1),
            catalogue_entries::updated_at.eq(now),
            catalogue_entries::retired_at.eq(Some(now)),
        ))
        .execute(tx.conn)?;
    Ok(())
}

/// Inserts the row that stock stands on.
pub(in crate::catalogue) fn material_insert(
    conn: &mut AnyConnection,
    id: i64,
    kind: MaterialKind,
    unit: Unit,
) -> Result<(), Error> {
    diesel::insert_into(materials::table)
        .values((
            materials::id.eq(id),
            materials::kind.eq(kind.as_str()),
            materials::unit.eq(unit.as_str()),
        ))
        .execute(conn)?;
    Ok(())
}

/// The kinds of some materials.
pub(in crate::catalogue) fn kinds_by_ids(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<Vec<(i64, MaterialKind)>, Error> {
    let rows: Vec<(i64, String)> = materials::table
        .filter(materials::id.eq_any(ids))
        .select((materials::id, materials::kind))
        .load(conn)?;
    rows.into_iter()
        .map(|(id, kind)| {
            MaterialKind::parse(&kind)
                .map(|kind| (id, kind))
                .ok_or_else(|| Error::internal(format!("material {id} is of kind {kind}")))
        })
        .collect()
}

/// How an entry is held until the transaction ends. SQLite has one writer, who holds everything.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::catalogue) enum Hold {
    /// Others may name it too, but nobody changes or retires it.
    Naming,
    /// Nobody else changes or retires it, or holds it to name it.
    Changing,
    /// Nobody else does anything with it, not even write a row that refers to it.
    Retiring,
}

/// Holds entries, in the order of their ids, so that two who hold several never wait for each other in a ring.
pub(in crate::catalogue) fn entries_hold(
    conn: &mut AnyConnection,
    ids: &[i64],
    hold: Hold,
) -> Result<(), Error> {
    let AnyConnection::Postgres(conn) = conn else {
        return Ok(());
    };
    let rows = catalogue_entries::table
        .filter(catalogue_entries::id.eq_any(ids))
        .order(catalogue_entries::id)
        .select(catalogue_entries::id);
    let _: Vec<i64> = match hold {
        Hold::Naming => rows.for_share().load(conn)?,
        Hold::Changing => rows.for_no_key_update().load(conn)?,
        Hold::Retiring => rows.for_update().load(conn)?,
    };
    Ok(())
}

/// Holds the rows that stock stands on, in the order of their ids: whoever moves stock holds these. Ids that are no
/// material's are passed over.
pub(in crate::catalogue) fn materials_hold(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<(), Error> {
    let AnyConnection::Postgres(conn) = conn else {
        return Ok(());
    };
    let _: Vec<i64> = materials::table
        .filter(materials::id.eq_any(ids))
        .order(materials::id)
        .select(materials::id)
        .for_update()
        .load(conn)?;
    Ok(())
}
