//! `heeltap restore FILE`: puts a backup in the place of a SQLite database that is not there.
//!
//! Invariants: nothing is ever overwritten; the database appears only after the copy was found whole, its books verified
//! and, when the backup's heads are beside it, its chains are exactly those; else nothing is left behind. A backup by an
//! earlier heeltap is brought up to this program's schema at once. Deliberately absent: any change of the backup itself.

use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::Failure;
use super::heads::heads_read;
use super::output::say;
use super::part::{Part, with_ending};
use super::proof::{Proven, proven, sound_file, upgraded, use_its_own_tools};
use super::settings::Given;
use crate::db::{DatabaseUrl, newest_version, sqlite_read};
use crate::stock::verify::{heads, verify_against};

/// What is restored.
#[derive(Debug, Args)]
pub(super) struct Restore {
    /// The file that `heeltap backup` made. When its heads are beside it, in a file of the same name with `.heads` after
    /// it, the books are held against them.
    file: PathBuf,
}

pub(super) fn run(given: &Given, restore: &Restore) -> Result<(), Failure> {
    let database = given.settings()?.database;
    let target = match &database {
        DatabaseUrl::Postgres(_) => return Err(use_its_own_tools("restore", "pg_restore")),
        DatabaseUrl::Sqlite {
            read_only: true, ..
        } => {
            return Err(Failure::Usage(
                "DATABASE_URL: a restore makes the database: leave ?mode=ro out".to_owned(),
            ));
        }
        DatabaseUrl::Sqlite { path, .. } => std::path::absolute(path)?,
    };
    let file = restore.file.as_path();
    place_is_empty(&target)?;
    file_is_whole(file)?;
    let part = Part::begin(&target, file)?;
    std::fs::copy(file, part.path())?;
    let older = sound_file(&part, file)?;
    upgraded(&part, file)?;
    let Proven { movements, heads } = proven(&part, file)?;
    let heads_file = with_ending(file, ".heads");
    let held_against = match heads_file.exists() {
        true => {
            against_its_heads(&part, file, &heads_file)?;
            format!("its heads are those of {}", heads_file.display())
        }
        false => format!("there is no {} to hold it against", heads_file.display()),
    };
    let bytes = part.bytes()?;
    // Proving takes its time: a service may have been started on the place meanwhile.
    place_is_empty(&target)?;
    if target.exists() {
        // An empty file, which a link would not replace.
        std::fs::remove_file(&target)?;
    }
    part.settle()?;
    say(&format!(
        "{database}: {} lots, {movements} movements, {bytes} bytes from {}; its books verify",
        heads.lots().len(),
        file.display()
    ))?;
    say(&format!("{held_against}; digest {}", heads.digest()))?;
    match older {
        Some(version) => say(&format!(
            "its schema was {version} and was brought up to {}",
            newest_version()?
        )),
        None => Ok(()),
    }
}

/// Refuses a place where something is: a database, or what a database that was moved away left behind.
fn place_is_empty(target: &Path) -> Result<(), Failure> {
    let occupied = |path: &Path| {
        Failure::Failed(format!(
            "{} is there already, and is left as it is: a backup is restored only where no database is. Name another place in DATABASE_URL, or move it away with its -wal and -shm",
            path.display()
        ))
    };
    match std::fs::symlink_metadata(target) {
        Ok(found) if !found.is_file() || found.len() > 0 => return Err(occupied(target)),
        _ => {}
    }
    for ending in ["-wal", "-shm", "-journal"] {
        let left = with_ending(target, ending);
        if std::fs::symlink_metadata(&left).is_ok() {
            return Err(occupied(&left));
        }
    }
    Ok(())
}

/// Refuses what is no single file: a database in use has part of its books in the log beside it.
fn file_is_whole(file: &Path) -> Result<(), Failure> {
    let shown = file.display();
    let found = std::fs::metadata(file)
        .map_err(|e| Failure::Failed(format!("{shown} cannot be read: {e}")))?;
    if !found.is_file() {
        return Err(Failure::Failed(format!("{shown} is not a file")));
    }
    for ending in ["-wal", "-journal"] {
        let log = with_ending(file, ending);
        if std::fs::metadata(&log).is_ok_and(|log| log.len() > 0) {
            return Err(Failure::Failed(format!(
                "{shown} is not whole: part of it is in {}. Make a backup of it with `heeltap backup`",
                log.display()
            )));
        }
    }
    Ok(())
}

/// The heads beside a backup are of exactly its moment: nothing before them may differ, and nothing may follow.
fn against_its_heads(part: &Part, file: &Path, heads_file: &Path) -> Result<(), Failure> {
    let kept = heads_read(heads_file)?;
    let (found, now) = sqlite_read(part.path(), |conn| {
        Ok((verify_against(conn, &kept)?, heads(conn)?))
    })?;
    let (file, heads_file) = (file.display(), heads_file.display());
    match found.breaches.first() {
        Some(first) => Err(Failure::Failed(format!(
            "{file} is not what {heads_file} was made of: {}: {}",
            first.subject, first.detail
        ))),
        None if now != kept => Err(Failure::Failed(format!(
            "{file} is not what {heads_file} was made of: it has {} movements in {} lots instead of {} in {}",
            now.movements(),
            now.lots().len(),
            kept.movements(),
            kept.lots().len()
        ))),
        None => Ok(()),
    }
}
