//! Proves a SQLite file before anybody relies on it: that it is a heeltap's, not damaged, and that its books verify.
//!
//! Invariant: the file that is proved is not changed, and nothing is left beside it once its `Part` ends.

use std::path::Path;

use super::failure::Failure;
use super::part::Part;
use crate::db::{
    SchemaAge, newer_schema, sqlite_damage, sqlite_read, sqlite_schema_age, sqlite_schema_gap,
    sqlite_upgrade,
};
use crate::stock::heads::Heads;
use crate::stock::verify::{heads, verify};

/// What a file holds whose books verify.
pub(super) struct Proven {
    /// How many movements were read and hashed.
    pub(super) movements: i64,
    /// The heads of its lots.
    pub(super) heads: Heads,
}

/// What to say of a database that is to be saved or restored and is a server's. The commands stand in the README.
pub(super) fn use_its_own_tools(command: &str, tool: &str) -> Failure {
    Failure::Failed(format!(
        "`heeltap {command}` is for SQLite: PostgreSQL has tools of its own. Use {tool}, as the README says under \"Backup and restore\""
    ))
}

/// Looks at a file, which is called `shown` to people. Returns the schema's version when it is an earlier heeltap's.
///
/// # Errors
/// [`Failure::Failed`] when it is damaged, not a heeltap's, or a later one's.
pub(super) fn sound_file(part: &Part, shown: &Path) -> Result<Option<String>, Failure> {
    let shown = shown.display();
    let damaged = |e: &dyn std::fmt::Display| Failure::Failed(format!("{shown} is damaged: {e}"));
    let older = match sqlite_schema_age(part.path()).map_err(|e| damaged(&Failure::from(e)))? {
        SchemaAge::Foreign => {
            return Err(Failure::Failed(format!("{shown} is no heeltap database")));
        }
        SchemaAge::Newer(version) => {
            let newer = Failure::from(newer_schema(&version)?);
            return Err(Failure::Failed(format!("{shown}: {newer}")));
        }
        SchemaAge::Older(version) => Some(version),
        SchemaAge::Ours => None,
    };
    match sqlite_damage(part.path()).map_err(|e| damaged(&Failure::from(e)))? {
        Some(damage) => Err(damaged(&damage)),
        None => Ok(older),
    }
}

/// Brings a copy up to this program's schema.
///
/// # Errors
/// [`Failure::Failed`] when a migration fails.
pub(super) fn upgraded(part: &Part, shown: &Path) -> Result<(), Failure> {
    sqlite_upgrade(part.path())
        .map_err(|e| Failure::Failed(format!("{}: {}", shown.display(), Failure::from(e))))
}

/// Proves the books in a file that has this program's schema, and that the guards which keep them so are in place.
///
/// # Errors
/// [`Failure::Failed`] names the first thing that is missing or broken.
pub(super) fn proven(part: &Part, shown: &Path) -> Result<Proven, Failure> {
    let shown = shown.display();
    let unusable = |e| Failure::Failed(format!("{shown}: {}", Failure::from(e)));
    if let Some(gap) = sqlite_schema_gap(part.path()).map_err(unusable)? {
        return Err(Failure::Failed(format!(
            "{shown} is not as heeltap made it: {gap}"
        )));
    }
    let (found, heads) =
        sqlite_read(part.path(), |conn| Ok((verify(conn)?, heads(conn)?))).map_err(unusable)?;
    match found.breaches.first() {
        None => Ok(Proven {
            movements: found.movements,
            heads,
        }),
        Some(first) => Err(Failure::Failed(format!(
            "the books in {shown} do not verify, {} broken: ({}) {}: {}",
            found.breaches.len(),
            first.invariant,
            first.subject,
            first.detail
        ))),
    }
}
