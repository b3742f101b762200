//! From codes to entries: what a document names must exist, be of the right kind, and not be retired.
//!
//! Invariant: what is wrong with a value (unknown, of the wrong kind) comes before what the state of things forbids
//! (retired). What was named before a change may stay though it was retired meanwhile. Deliberately absent: writing.

use std::collections::{BTreeSet, HashMap};

use super::noun::{CatalogueBody, Link, Noun};
use super::store::{self, EntryRow, Hold};
use crate::base::{Error, FieldError, RefusalKind};
use crate::db::AnyConnection;

/// The entries a document names, held until the transaction ends.
pub(super) struct Targets {
    resolved: Vec<(String, i64, Noun)>,
    retired: Vec<(Link, i64)>,
}

impl Targets {
    /// Finds and holds what a document names.
    ///
    /// # Errors
    /// [`Error::Invalid`] with a pointer for each reference that is unknown or of the wrong kind.
    pub(super) fn find<B: CatalogueBody>(
        conn: &mut AnyConnection,
        body: &B,
    ) -> Result<Self, Error> {
        let links = body.links();
        let ids: Vec<i64> = rows_of(conn, &links)?.values().map(|row| row.id).collect();
        store::entries_hold(conn, &ids, Hold::Naming)?;
        // Read again: they may have changed while we waited.
        let rows = rows_of(conn, &links)?;
        let kinds: HashMap<i64, _> = store::kinds_by_ids(conn, &ids)?.into_iter().collect();
        let mut targets = Self {
            resolved: Vec::new(),
            retired: Vec::new(),
        };
        let mut faults = Vec::new();
        for link in links {
            let row = rows.get(&(link.target.namespace(), link.code.as_str().to_owned()));
            let kind = row.and_then(|row| kinds.get(&row.id));
            match row {
                Some(row) if fits(&link, row, kind) => {
                    targets
                        .resolved
                        .push((link.role.clone(), row.id, link.target));
                    if row.retired_at.is_some() {
                        targets.retired.push((link, row.id));
                    }
                }
                _ => faults.push(misfit(&link, row, kind.map(|kind| kind.as_str()))),
            }
        }
        if faults.is_empty() {
            Ok(targets)
        } else {
            Err(Error::Invalid(faults))
        }
    }

    /// Refuses when one is retired, unless it was named before.
    ///
    /// # Errors
    /// [`Error::Refused`] naming the first.
    pub(super) fn check_active(&self, named_before: &[i64]) -> Result<(), Error> {
        match self
            .retired
            .iter()
            .find(|(_, id)| !named_before.contains(id))
        {
            None => Ok(()),
            Some((link, _)) => Err(Error::refused(
                RefusalKind::Retired,
                format!(
                    "{}: the {} \"{}\" is retired; name one that is in use",
                    link.pointer(),
                    link.target.as_str(),
                    link.code
                ),
            )
            .with("pointer", link.pointer())
            .with("code", link.code.as_str())),
        }
    }

    /// Roles with the targets' ids and nouns.
    pub(super) fn links(&self) -> &[(String, i64, Noun)] {
        &self.resolved
    }
}

/// The entries of the codes that links name, by namespace and code.
fn rows_of(
    conn: &mut AnyConnection,
    links: &[Link],
) -> Result<HashMap<(&'static str, String), EntryRow>, Error> {
    let namespaces: BTreeSet<&str> = links.iter().map(|link| link.target.namespace()).collect();
    let mut rows = HashMap::new();
    for namespace in namespaces {
        let codes: BTreeSet<&str> = links
            .iter()
            .filter(|link| link.target.namespace() == namespace)
            .map(|link| link.code.as_str())
            .collect();
        let codes: Vec<&str> = codes.into_iter().collect();
        for row in store::entries_by_codes(conn, namespace, &codes)? {
            rows.insert((namespace, row.code.as_str().to_owned()), row);
        }
    }
    Ok(rows)
}

fn fits(link: &Link, row: &EntryRow, kind: Option<&super::kind::MaterialKind>) -> bool {
    row.noun == link.target.as_str()
        && (link.kinds.is_empty() || kind.is_some_and(|kind| link.kinds.contains(kind)))
}

/// What is wrong with a reference.
fn misfit(link: &Link, row: Option<&EntryRow>, kind: Option<&str>) -> FieldError {
    let kinds: Vec<&str> = link.kinds.iter().map(|kind| kind.as_str()).collect();
    let mut wanted = link.target.with_article();
    if !kinds.is_empty() {
        wanted = format!("{wanted} of kind {}", kinds.join(" or "));
    }
    let code = &link.code;
    let detail = match (row, kind) {
        (None, _) => format!(
            "there is no {} \"{code}\": create it first, or send the code of {wanted}",
            link.target.as_str()
        ),
        (Some(_), Some(kind)) => {
            format!("\"{code}\" is of kind {kind}: send the code of {wanted}")
        }
        (Some(row), None) => format!("\"{code}\" is a {}: send the code of {wanted}", row.noun),
    };
    FieldError::new(link.pointer(), detail)
}
