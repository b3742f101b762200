//! Creating an entry of any noun, and the supplier that a purchase names.

use super::entry::Entry;
use super::find::{entry_shown, entry_typed};
use super::naming::Targets;
use super::noun::{CatalogueBody, Noun};
use super::store::{self, EntryRow};
use super::supplier::{SupplierBody, supplier_code};
use super::wire::EntryOut;
use crate::base::{Code, Error, RefusalKind};
use crate::db::{AnyConnection, Tx};

/// Creates an entry. A material gets the row that stock stands on, a mold with a cost its cost pool.
///
/// # Errors
/// [`Error::Invalid`] with every fault, references that are unknown or of the wrong kind included;
/// [`Error::Refused`] when the code is or was taken, or something it names is retired.
pub fn entry_create<B: CatalogueBody>(tx: &mut Tx<'_>, body: B) -> Result<EntryOut<B>, Error> {
    let faults = body.check();
    if !faults.is_empty() {
        return Err(Error::Invalid(faults));
    }
    let targets = Targets::find(tx.conn, &body)?;
    if let Some(taken) = store::entry_by_code(tx.conn, B::NOUN.namespace(), body.code().as_str())? {
        return Err(code_taken::<B>(&taken));
    }
    targets.check_active(&[])?;
    let text = document_text(&body)?;
    let id = store::entry_insert(tx, B::NOUN, body.code(), body.name(), &text)?;
    // Another process may have taken the code between the look and the insertion.
    let id = id.ok_or_else(|| code_exists(B::NOUN, body.code(), "it"))?;
    store::links_replace(tx.conn, id, targets.links())?;
    if let Some((kind, unit)) = body.stock() {
        store::material_insert(tx.conn, id, kind, unit)?;
    }
    if let Some(fill) = body.pool().map_err(|fault| Error::Invalid(vec![fault]))? {
        store::pool_fill(tx, id, fill)?;
    }
    let affected = materials_affected(tx.conn, B::NOUN, id)?;
    store::materials_mark(tx, &affected)?;
    show_by_id(tx.conn, id)
}

/// The supplier that a free text names: the one of that code, else of that name, else of the code derived from it;
/// when there is none, it is created with that name.
///
/// # Errors
/// [`Error::Invalid`] at `/supplier` when the text is no name; [`Error::Refused`] when the supplier is retired.
pub fn supplier_ensure(tx: &mut Tx<'_>, name: &str) -> Result<i64, Error> {
    let name = name.trim();
    let derived =
        supplier_code(name).map_err(|_| Error::invalid("/supplier", "it is empty: send a name"))?;
    if let Some(row) = supplier_find(tx.conn, name, &derived)? {
        return if row.retired_at.is_some() {
            Err(Error::refused(
                RefusalKind::Retired,
                format!(
                    "the supplier \"{}\" is retired; name one that is in use",
                    row.code
                ),
            )
            .with("code", row.code.as_str()))
        } else {
            Ok(row.id)
        };
    }
    let body = SupplierBody {
        code: derived,
        name: name.to_owned(),
        lead_time_days: None,
        email: None,
        note: None,
    };
    match entry_create(tx, body) {
        Ok(created) => Ok(created.id),
        Err(Error::Invalid(faults)) => Err(Error::Invalid(
            faults
                .into_iter()
                .map(|fault| crate::base::FieldError::new("/supplier", fault.detail))
                .collect(),
        )),
        Err(error) => Err(error),
    }
}

/// The supplier that [`supplier_ensure`] would find for a free text; `None` when it would create one.
///
/// # Errors
/// [`Error::Invalid`] at `/supplier` when the text is no name.
pub fn supplier_named(
    conn: &mut AnyConnection,
    name: &str,
) -> Result<Option<Entry<SupplierBody>>, Error> {
    let name = name.trim();
    let derived =
        supplier_code(name).map_err(|_| Error::invalid("/supplier", "it is empty: send a name"))?;
    supplier_find(conn, name, &derived)?
        .map(entry_typed)
        .transpose()
}

fn supplier_find(
    conn: &mut AnyConnection,
    name: &str,
    derived: &Code,
) -> Result<Option<EntryRow>, Error> {
    let namespace = Noun::Supplier.namespace();
    if let Some(row) = store::entry_by_code(conn, namespace, name)? {
        return Ok(Some(row));
    }
    // Several may bear one name: the oldest that is in use is meant, else the oldest.
    let mut named = store::entries_named(conn, Noun::Supplier, name)?;
    if !named.is_empty() {
        let at = named.iter().position(|row| row.retired_at.is_none());
        return Ok(Some(named.swap_remove(at.unwrap_or(0))));
    }
    store::entry_by_code(conn, namespace, derived.as_str())
}

/// The materials whose forecast stands on an entry.
pub(super) fn materials_affected(
    conn: &mut AnyConnection,
    noun: Noun,
    id: i64,
) -> Result<Vec<i64>, Error> {
    let targets = |conn: &mut AnyConnection, id: i64| -> Result<Vec<i64>, Error> {
        let links = store::links_of(conn, id)?;
        Ok(links.into_iter().map(|(_, target)| target).collect())
    };
    match noun {
        Noun::Material => Ok(vec![id]),
        Noun::Elastomer => targets(conn, id),
        Noun::Kit => {
            let mut materials = Vec::new();
            for elastomer in targets(conn, id)? {
                materials.extend(targets(conn, elastomer)?);
            }
            Ok(materials)
        }
        Noun::Supplier => store::materials_of_supplier(conn, id),
        // What is booked keeps its own copy of recipe and mold, and a grant needs no stock.
        Noun::Mold | Noun::Recipe | Noun::Grant => Ok(Vec::new()),
    }
}

/// The document as it is kept.
pub(super) fn document_text(body: &impl serde::Serialize) -> Result<String, Error> {
    serde_json::to_string(body)
        .map_err(|error| Error::internal(format!("a document could not be written: {error}")))
}

/// An entry as it is shown, by id.
pub(super) fn show_by_id<B: CatalogueBody>(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<EntryOut<B>, Error> {
    let row = store::entries_by_ids(conn, &[id])?.pop();
    entry_shown(&row.ok_or_else(|| Error::not_found(B::NOUN.as_str(), id))?)
}

/// Says who has the code.
fn code_taken<B: CatalogueBody>(taken: &EntryRow) -> Error {
    let holder = if taken.retired_at.is_some() {
        format!("the retired {} \"{}\"", taken.noun, taken.name)
    } else {
        format!("the {} \"{}\"", taken.noun, taken.name)
    };
    code_exists(B::NOUN, &taken.code, &holder)
        .with("noun", taken.noun.as_str())
        .with("retired", taken.retired_at.is_some())
}

fn code_exists(noun: Noun, code: &Code, holder: &str) -> Error {
    let shared = match noun {
        Noun::Material | Noun::Kit => "; materials and kits share one set of codes",
        _ => "",
    };
    Error::refused(
        RefusalKind::AlreadyExists,
        format!("{holder} has the code \"{code}\", and a code is never given twice{shared}: choose another"),
    )
    .with("code", code.as_str())
}

/// Marks materials whose forecast must be made anew; one that is marked already stays marked since then.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn materials_mark(tx: &mut Tx<'_>, ids: &[i64]) -> Result<(), Error> {
    store::materials_mark(tx, ids)
}
