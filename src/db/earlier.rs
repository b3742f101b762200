//! The copy of a SQLite file that is made before an earlier heeltap's schema is brought up to date.
//!
//! Invariants: the copy stands beside the file under its whole name, sound, before the file is touched, or the file is not
//! touched; no file is ever replaced. Deliberately absent: PostgreSQL, whose server has tools of its own.

use std::fs;
use std::path::Path;

use super::sqlite_file::{SchemaAge, sqlite_damage, sqlite_schema_age, sqlite_snapshot};
use crate::base::Error;

/// The most copies of one schema that stand beside a file.
const COPIES_MAX: u32 = 100;

/// Copies a file of an earlier schema to one beside it; its path. None when there is nothing to copy: no file, a new one, or
/// one of this program's schema.
///
/// # Errors
/// [`Error::Unavailable`] when the copy cannot be made or is not sound.
pub(super) fn copy_of_earlier(path: &str) -> Result<Option<String>, Error> {
    if !Path::new(path).is_file() {
        return Ok(None);
    }
    let SchemaAge::Older(version) = sqlite_schema_age(path)? else {
        return Ok(None);
    };
    let failed = |why: String| Error::Unavailable {
        detail: format!(
            "{path} is of an earlier heeltap (schema {version}), and the copy to be made before it is brought up to date failed: {why}; nothing was changed"
        ),
    };
    let (part, whole) = free_names(path, &version).ok_or_else(|| {
        failed(format!(
            "{COPIES_MAX} copies stand beside it: move them away"
        ))
    })?;
    let made = sqlite_snapshot(path, false, &part)
        .and_then(|()| sqlite_damage(&part))
        .map_err(|error| error.to_string())
        .and_then(|damage| damage.map_or(Ok(()), Err))
        // A link, unlike a new name, never takes the place of another file.
        .and_then(|()| fs::hard_link(&part, &whole).map_err(|e| e.to_string()));
    let _ = fs::remove_file(&part);
    made.map_err(failed)?;
    Ok(Some(whole))
}

/// A name for the copy while it is made, and one for when it is whole.
fn free_names(path: &str, version: &str) -> Option<(String, String)> {
    (1..=COPIES_MAX)
        .map(|no| match no {
            1 => format!("{path}.before-upgrade-{version}"),
            _ => format!("{path}.before-upgrade-{version}-{no}"),
        })
        .map(|whole| (format!("{whole}.part-{}", std::process::id()), whole))
        .find(|(part, whole)| !Path::new(whole).exists() && !Path::new(part).exists())
}
