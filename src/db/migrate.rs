//! Both databases' migrations, embedded, and how they are run at start.
//!
//! Invariants: two processes never migrate one database at once; a database that a newer program has migrated is refused.

use diesel::connection::SimpleConnection;
use diesel::migration::MigrationSource;
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

use super::connection::AnyConnection;
use crate::base::Error;

const SQLITE: EmbeddedMigrations = embed_migrations!("migrations/sqlite");
const POSTGRES: EmbeddedMigrations = embed_migrations!("migrations/postgres");

/// Any number that no other program is likely to lock; the same in every heeltap process.
const ADVISORY_LOCK: i64 = 0x4845_454c_5441_5031;

/// Brings the database up to this program's version.
///
/// # Errors
/// [`Error::Unavailable`] when the database was migrated by a newer program; [`Error::Internal`] when a migration fails.
pub fn migrate(conn: &mut AnyConnection) -> Result<(), Error> {
    match conn {
        AnyConnection::Sqlite(conn) => run(conn, SQLITE),
        AnyConnection::Postgres(conn) => {
            conn.batch_execute(&format!("SELECT pg_advisory_lock({ADVISORY_LOCK})"))?;
            let outcome = run(conn, POSTGRES);
            conn.batch_execute(&format!("SELECT pg_advisory_unlock({ADVISORY_LOCK})"))?;
            outcome
        }
    }
}

/// The version of the newest migration in this program, for example `20261125000001`.
///
/// # Errors
/// [`Error::Internal`] when the embedded migrations cannot be listed.
pub fn newest_version() -> Result<String, Error> {
    newest::<diesel::sqlite::Sqlite>(&SQLITE)
}

/// The error of a database that a newer program has migrated to the schema `newer`.
///
/// # Errors
/// As [`newest_version`].
pub fn newer_schema(newer: &str) -> Result<Error, Error> {
    let known = newest_version()?;
    Ok(Error::Unavailable {
        detail: format!(
            "the database was written by a newer heeltap (schema {newer}, this program knows {known}): start that version"
        ),
    })
}

fn newest<DB: diesel::backend::Backend>(source: &EmbeddedMigrations) -> Result<String, Error> {
    let all =
        MigrationSource::<DB>::migrations(source).map_err(|e| Error::Internal(e.to_string()))?;
    Ok(all
        .iter()
        .map(|m| m.name().version().to_string())
        .max()
        .unwrap_or_default())
}

fn run<C, DB>(conn: &mut C, source: EmbeddedMigrations) -> Result<(), Error>
where
    C: MigrationHarness<DB>,
    DB: diesel::backend::Backend,
{
    let known = newest::<DB>(&source)?;
    let applied = conn
        .applied_migrations()
        .map_err(|e| Error::Internal(e.to_string()))?;
    if let Some(newer) = applied
        .iter()
        .map(ToString::to_string)
        .find(|version| *version > known)
    {
        return Err(newer_schema(&newer)?);
    }
    conn.run_pending_migrations(source)
        .map_err(|e| Error::Internal(format!("a migration failed: {e}")))?;
    Ok(())
}
