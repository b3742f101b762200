//! Changing an entry of any noun by a merge patch.

use super::create::{document_text, materials_affected, show_by_id};
use super::entry::document_load;
use super::find::row_by_code;
use super::naming::Targets;
use super::noun::{CatalogueBody, unchanged};
use super::store::{self, Hold};
use super::wire::EntryOut;
use crate::base::{Error, RefusalKind};
use crate::db::Tx;
use crate::http::{IfMatch, MergePatch};

/// Changes an entry: the patch is merged into its document, and the whole is checked as if it were new.
///
/// # Errors
/// In this order: [`Error::Invalid`] for a patch that no document could bear, [`Error::NotFound`],
/// [`Error::Invalid`] for what the changed document has wrong or may not change, [`Error::PreconditionRequired`] or
/// [`Error::VersionMismatch`], [`Error::Refused`] when the entry, or something newly named, is retired.
pub fn entry_change<B: CatalogueBody>(
    tx: &mut Tx<'_>,
    code: &str,
    patch: MergePatch<B>,
    if_match: &IfMatch,
) -> Result<EntryOut<B>, Error> {
    patch.check()?;
    let id = row_by_code(tx.conn, B::NOUN, code)?.id;
    let mut affected = materials_affected(tx.conn, B::NOUN, id)?;
    store::materials_hold(tx.conn, &affected)?;
    store::entries_hold(tx.conn, &[id], Hold::Changing)?;
    // Read again: it may have changed while we waited.
    let row = row_by_code(tx.conn, B::NOUN, code)?;
    let before: B = document_load(id, &row.body)?;
    let after: B = patch.onto(document_load(id, &row.body)?)?;
    check_change(&before, &after)?;
    let targets = Targets::find(tx.conn, &after)?;
    if_match.check(row.version)?;
    if row.retired_at.is_some() {
        return Err(Error::refused(
            RefusalKind::Retired,
            format!(
                "the {} \"{code}\" is retired and changes no more",
                B::NOUN.as_str()
            ),
        ));
    }
    let links = store::links_of(tx.conn, id)?;
    let named_before: Vec<i64> = links.into_iter().map(|(_, target)| target).collect();
    targets.check_active(&named_before)?;
    store::entry_update(tx, id, after.name(), &document_text(&after)?)?;
    store::links_replace(tx.conn, id, targets.links())?;
    affected.extend(materials_affected(tx.conn, B::NOUN, id)?);
    store::materials_mark(tx, &affected)?;
    show_by_id(tx.conn, id)
}

/// Everything wrong with the changed document, and what may not change.
fn check_change<B: CatalogueBody>(before: &B, after: &B) -> Result<(), Error> {
    let mut faults = after.check();
    let advice = "create another entry";
    unchanged(&mut faults, "/code", before.code(), after.code(), advice);
    faults.extend(after.fixed(before));
    if faults.is_empty() {
        Ok(())
    } else {
        Err(Error::Invalid(faults))
    }
}
