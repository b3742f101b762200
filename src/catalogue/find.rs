//! Entries found by code, by id, or all of a noun, as typed documents.
//!
//! Invariants: a retired entry is found like any other and says so; what is asked for by id exists, or the error names
//! it. Deliberately absent: filters by anything inside a document.

use std::collections::{BTreeSet, HashMap};

use super::elastomer::ElastomerBody;
use super::entry::{Entry, Item, RecipeFacts, document_load};
use super::grant::GrantBody;
use super::kit::KitBody;
use super::material::MaterialBody;
use super::mold::MoldBody;
use super::noun::{CatalogueBody, Noun};
use super::recipe::{RecipeBody, extra_role};
use super::store::{self, EntryRow, Hold};
use super::supplier::SupplierBody;
use super::wire::{EntryOut, EntryState};
use crate::base::{Code, Error};
use crate::db::{AnyConnection, instant};
use crate::http::Page;

/// The row as an entry of noun `B`.
pub(super) fn entry_typed<B: CatalogueBody>(row: EntryRow) -> Result<Entry<B>, Error> {
    if row.noun()? != B::NOUN {
        return Err(Error::internal(format!(
            "entry {} is a {}, not a {}",
            row.id,
            row.noun,
            B::NOUN.as_str()
        )));
    }
    Ok(Entry {
        id: row.id,
        body: document_load(row.id, &row.body)?,
        code: row.code,
        name: row.name,
        version: row.version,
        retired: row.retired_at.is_some(),
    })
}

/// The row as it is shown.
pub(super) fn entry_shown<B: CatalogueBody>(row: &EntryRow) -> Result<EntryOut<B>, Error> {
    Ok(EntryOut {
        id: row.id,
        body: document_load(row.id, &row.body)?,
        version: row.version,
        created_at: instant(row.created_at),
        updated_at: instant(row.updated_at),
        retired_at: row.retired_at.map(instant),
    })
}

/// The row of a noun's code.
pub(super) fn row_by_code(
    conn: &mut AnyConnection,
    noun: Noun,
    code: &str,
) -> Result<EntryRow, Error> {
    // Materials and kits share a namespace: a kit's code is no material.
    store::entry_by_code(conn, noun.namespace(), code)?
        .filter(|row| row.noun == noun.as_str())
        .ok_or_else(|| Error::not_found(noun.as_str(), code))
}

/// The entry of a code.
///
/// # Errors
/// [`Error::NotFound`] when the noun has no such code.
pub fn entry_by_code<B: CatalogueBody>(
    conn: &mut AnyConnection,
    code: &str,
) -> Result<Entry<B>, Error> {
    entry_typed(row_by_code(conn, B::NOUN, code)?)
}

/// The entry of an id.
///
/// # Errors
/// [`Error::NotFound`] when there is no such entry of this noun.
pub fn entry_by_id<B: CatalogueBody>(conn: &mut AnyConnection, id: i64) -> Result<Entry<B>, Error> {
    let row = store::entries_by_ids(conn, &[id])?.pop();
    let row = row.filter(|row| row.noun == B::NOUN.as_str());
    entry_typed(row.ok_or_else(|| Error::not_found(B::NOUN.as_str(), id))?)
}

/// The entries of some ids, in the order asked for.
///
/// # Errors
/// [`Error::NotFound`] naming the first id that is no entry of this noun.
pub fn entries_by_ids<B: CatalogueBody>(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<Vec<Entry<B>>, Error> {
    let rows = store::entries_by_ids(conn, ids)?;
    let known: HashMap<i64, EntryRow> = rows.into_iter().map(|row| (row.id, row)).collect();
    ids.iter()
        .map(|id| {
            let row = known.get(id).filter(|row| row.noun == B::NOUN.as_str());
            let row = row.ok_or_else(|| Error::not_found(B::NOUN.as_str(), id))?;
            entry_typed(row.clone())
        })
        .collect()
}

/// Every entry of a noun, retired ones too, oldest first.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn entry_all<B: CatalogueBody>(conn: &mut AnyConnection) -> Result<Vec<Entry<B>>, Error> {
    store::entries_of_noun(conn, B::NOUN)?
        .into_iter()
        .map(entry_typed)
        .collect()
}

macro_rules! named_reads {
    ($($by_code:ident, $by_id:ident, $by_ids:ident, $all:ident: $body:ty;)*) => {
        $(
            #[doc = concat!("[`entry_by_code`] of a [`", stringify!($body), "`].")]
            ///
            /// # Errors
            /// [`Error::NotFound`] when the noun has no such code.
            pub fn $by_code(conn: &mut AnyConnection, code: &str) -> Result<Entry<$body>, Error> {
                entry_by_code(conn, code)
            }

            #[doc = concat!("[`entry_by_id`] of a [`", stringify!($body), "`].")]
            ///
            /// # Errors
            /// [`Error::NotFound`] when there is no such entry of this noun.
            pub fn $by_id(conn: &mut AnyConnection, id: i64) -> Result<Entry<$body>, Error> {
                entry_by_id(conn, id)
            }

            #[doc = concat!("[`entries_by_ids`] of [`", stringify!($body), "`].")]
            ///
            /// # Errors
            /// [`Error::NotFound`] naming the first id that is no entry of this noun.
            pub fn $by_ids(conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<Entry<$body>>, Error> {
                entries_by_ids(conn, ids)
            }

            #[doc = concat!("[`entry_all`] of [`", stringify!($body), "`].")]
            ///
            /// # Errors
            /// [`Error::Unavailable`] when the database does not answer.
            pub fn $all(conn: &mut AnyConnection) -> Result<Vec<Entry<$body>>, Error> {
                entry_all(conn)
            }
        )*
    };
}

named_reads! {
    material_by_code, material_by_id, materials_by_ids, material_all: MaterialBody;
    elastomer_by_code, elastomer_by_id, elastomers_by_ids, elastomer_all: ElastomerBody;
    kit_by_code, kit_by_id, kits_by_ids, kit_all: KitBody;
    mold_by_code, mold_by_id, molds_by_ids, mold_all: MoldBody;
    recipe_by_code, recipe_by_id, recipes_by_ids, recipe_all: RecipeBody;
    grant_by_code, grant_by_id, grants_by_ids, grant_all: GrantBody;
    supplier_by_code, supplier_by_id, suppliers_by_ids, supplier_all: SupplierBody;
}

/// The material or the kit of a code; `None` when there is neither.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn item_by_code(conn: &mut AnyConnection, code: &str) -> Result<Option<Item>, Error> {
    let Some(row) = store::entry_by_code(conn, Noun::Material.namespace(), code)? else {
        return Ok(None);
    };
    Ok(Some(match row.noun()? {
        Noun::Kit => Item::Kit(entry_typed(row)?),
        _ => Item::Material(entry_typed(row)?),
    }))
}

/// The materials and kits of some codes, in no particular order; what does not exist is left out.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn items_by_codes(conn: &mut AnyConnection, codes: &[&str]) -> Result<Vec<Item>, Error> {
    rows_by_codes(conn, Noun::Material, codes)?
        .into_iter()
        .map(|row| {
            Ok(match row.noun()? {
                Noun::Kit => Item::Kit(entry_typed(row)?),
                _ => Item::Material(entry_typed(row)?),
            })
        })
        .collect()
}

/// The entries of some codes of a noun, in no particular order; what does not exist is left out.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn entries_by_codes<B: CatalogueBody>(
    conn: &mut AnyConnection,
    codes: &[&str],
) -> Result<Vec<Entry<B>>, Error> {
    rows_by_codes(conn, B::NOUN, codes)?
        .into_iter()
        .filter(|row| row.noun == B::NOUN.as_str())
        .map(entry_typed)
        .collect()
}

/// The rows of some codes in a noun's namespace, asked for in lists that a query can take.
fn rows_by_codes(
    conn: &mut AnyConnection,
    noun: Noun,
    codes: &[&str],
) -> Result<Vec<EntryRow>, Error> {
    const LIST_MAX: usize = 10_000;
    let mut rows = Vec::with_capacity(codes.len());
    for some in codes.chunks(LIST_MAX) {
        rows.extend(store::entries_by_codes(conn, noun.namespace(), some)?);
    }
    Ok(rows)
}

/// Codes and names of entries of any noun, by id; what does not exist is left out.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn codes_by_ids(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<HashMap<i64, (Code, String)>, Error> {
    let rows = store::entries_by_ids(conn, ids)?;
    let named = |row: EntryRow| (row.id, (row.code, row.name));
    Ok(rows.into_iter().map(named).collect())
}

/// The kits of an elastomer, retired ones too, oldest first.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn kits_of_elastomer(
    conn: &mut AnyConnection,
    elastomer_id: i64,
) -> Result<Vec<Entry<KitBody>>, Error> {
    let naming: Vec<i64> = links_to(conn, elastomer_id)?
        .into_iter()
        .map(|(_, id)| id)
        .collect();
    let mut rows = store::entries_by_ids(conn, &naming)?;
    rows.retain(|row| row.noun == Noun::Kit.as_str());
    rows.sort_by_key(|row| row.id);
    rows.into_iter().map(entry_typed).collect()
}

/// What an entry names: roles (the field that names it, such as `base`) with ids.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn links_of(conn: &mut AnyConnection, entry_id: i64) -> Result<Vec<(String, i64)>, Error> {
    store::links_of(conn, entry_id)
}

/// What names an entry, retired ones too: roles with the ids of those that name it.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn links_to(conn: &mut AnyConnection, target_id: i64) -> Result<Vec<(String, i64)>, Error> {
    store::links_to(conn, target_id)
}

/// The entries in use that name an entry, each once, oldest first: noun, code and name.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn entries_naming(
    conn: &mut AnyConnection,
    target_id: i64,
) -> Result<Vec<(Noun, Code, String)>, Error> {
    let ids: BTreeSet<i64> = links_to(conn, target_id)?
        .into_iter()
        .map(|(_, id)| id)
        .collect();
    let ids: Vec<i64> = ids.into_iter().collect();
    let mut rows = store::entries_by_ids(conn, &ids)?;
    rows.retain(|row| row.retired_at.is_none());
    rows.sort_by_key(|row| row.id);
    rows.into_iter()
        .map(|row| Ok((row.noun()?, row.code, row.name)))
        .collect()
}

/// Holds entries until the transaction ends, so that nobody changes or retires what is about to be written down as
/// used. Whoever holds materials' rows too holds those first.
///
/// # Errors
/// [`Error::Unavailable`] when another holds them for too long.
pub fn entries_hold(conn: &mut AnyConnection, ids: &[i64]) -> Result<(), Error> {
    store::entries_hold(conn, ids, Hold::Naming)
}

/// Holds entries until the transaction ends, so that nobody else changes, retires or names them: for who counts what is
/// charged to a grant. Taken after [`entries_hold`], the last of all locks.
///
/// # Errors
/// [`Error::Unavailable`] when another holds them for too long.
pub fn entries_hold_alone(conn: &mut AnyConnection, ids: &[i64]) -> Result<(), Error> {
    store::entries_hold(conn, ids, Hold::Changing)
}

/// One entry as it is shown.
///
/// # Errors
/// [`Error::NotFound`] when the noun has no such code.
pub fn entry_show<B: CatalogueBody>(
    conn: &mut AnyConnection,
    code: &str,
) -> Result<EntryOut<B>, Error> {
    entry_shown(&row_by_code(conn, B::NOUN, code)?)
}

/// A page of a noun's entries and one more, oldest first; in every state unless one is named.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn entry_list<B: CatalogueBody>(
    conn: &mut AnyConnection,
    page: Page,
    state: Option<EntryState>,
) -> Result<Vec<EntryOut<B>>, Error> {
    let retired = state.map(|state| state == EntryState::Retired);
    store::entries_after(conn, B::NOUN, page, retired)?
        .iter()
        .map(entry_shown)
        .collect()
}

/// A recipe with everything it names. Retired entries are given too, and say so.
///
/// # Errors
/// [`Error::NotFound`] when there is no such recipe.
pub fn recipe_facts(conn: &mut AnyConnection, code: &str) -> Result<RecipeFacts, Error> {
    let recipe: Entry<RecipeBody> = entry_by_code(conn, code)?;
    let mut named = Named::load(conn, recipe.id)?;
    let elastomer: Entry<ElastomerBody> = named.take("elastomer")?;
    let mut parts = Named::load(conn, elastomer.id)?;
    let extras = recipe.body.extras.iter().enumerate();
    let extras = extras
        .map(|(at, extra)| Ok((named.take(&extra_role(at))?, extra.clone())))
        .collect::<Result<_, Error>>()?;
    Ok(RecipeFacts {
        base: parts.take("base")?,
        curing_agent: parts.take("curing_agent")?,
        elastomer,
        mold: named.take("mold")?,
        container: named.take("container")?,
        cup: named.take("cup")?,
        tape: named.take_if(recipe.body.tape.is_some(), "tape")?,
        release_agent: named.take_if(recipe.body.release_agent.is_some(), "release_agent")?,
        extras,
        recipe,
    })
}

/// What an entry names, by role.
struct Named {
    entry_id: i64,
    rows: HashMap<String, EntryRow>,
}

impl Named {
    fn load(conn: &mut AnyConnection, entry_id: i64) -> Result<Self, Error> {
        let rows = store::targets_of(conn, entry_id)?.into_iter().collect();
        Ok(Self { entry_id, rows })
    }

    fn take<B: CatalogueBody>(&mut self, role: &str) -> Result<Entry<B>, Error> {
        let row = self.rows.remove(role).ok_or_else(|| {
            Error::internal(format!("entry {} has no link {role}", self.entry_id))
        })?;
        entry_typed(row)
    }

    fn take_if<B: CatalogueBody>(
        &mut self,
        named: bool,
        role: &str,
    ) -> Result<Option<Entry<B>>, Error> {
        named.then(|| self.take(role)).transpose()
    }
}
