//! `heeltap backup FILE`: writes what a SQLite database holds at this moment into one file, while a service goes on, and
//! the heads of exactly that moment beside it.
//!
//! Invariants: the database is not migrated and not otherwise changed; a file appears only after it was read again,
//! found whole, and its books verified, and never over another; the heads are there before the backup is. Deliberately
//! absent: deleting old backups.

use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::Failure;
use super::output::say;
use super::part::{Part, taken, with_ending};
use super::proof::{Proven, proven, sound_file, upgraded, use_its_own_tools};
use super::settings::Given;
use crate::db::{DatabaseUrl, sqlite_snapshot};

/// Where the backup goes.
#[derive(Debug, Args)]
pub(super) struct Backup {
    /// The file to make. The heads of its lots go into a file of the same name with `.heads` after it.
    file: PathBuf,
}

pub(super) fn run(given: &Given, backup: &Backup) -> Result<(), Failure> {
    let database = given.settings_of_existing()?.database;
    let DatabaseUrl::Sqlite { path, read_only } = &database else {
        return Err(use_its_own_tools("backup", "pg_dump"));
    };
    let file = std::path::absolute(&backup.file)?;
    let heads_file = with_ending(&file, ".heads");
    for place in [&file, &heads_file] {
        if std::fs::symlink_metadata(place).is_ok() {
            return Err(taken(place));
        }
    }
    let like = Path::new(path);
    let part = Part::begin(&file, like)?;
    sqlite_snapshot(path, *read_only, part.path()).map_err(|e| {
        Failure::Failed(format!(
            "{database} cannot be backed up: {}",
            Failure::from(e)
        ))
    })?;
    let Proven { movements, heads } = proven_as_it_is(&part, like)?;
    let heads_part = Part::begin(&heads_file, like)?;
    std::fs::write(heads_part.path(), heads.to_csv())?;
    let bytes = part.bytes()?;
    heads_part.settle()?;
    if let Err(failure) = part.settle() {
        // Heads without their backup would only stand in the way of the next one.
        let _ = std::fs::remove_file(&heads_file);
        return Err(failure);
    }
    say(&format!(
        "{}: {} lots, {movements} movements, {bytes} bytes; read again, and its books verify",
        file.display(),
        heads.lots().len()
    ))?;
    say(&format!(
        "{}: the heads of its lots, digest {}",
        heads_file.display(),
        heads.digest()
    ))
}

/// Proves a snapshot. One of an earlier heeltap's schema stays as it is, and is proved by a copy brought up to date.
fn proven_as_it_is(part: &Part, shown: &Path) -> Result<Proven, Failure> {
    if sound_file(part, shown)?.is_none() {
        return proven(part, shown);
    }
    let scratch = Part::begin(&with_ending(Path::new(part.path()), "-proof"), shown)?;
    std::fs::copy(part.path(), scratch.path())?;
    upgraded(&scratch, shown)?;
    proven(&scratch, shown)
}
