//! One connection type over SQLite and PostgreSQL, and how a connection is opened.
//!
//! Deliberately absent: the derived `establish` (it tries SQLite first and hides errors); see [`open`].

use diesel::connection::SimpleConnection;
use diesel::{Connection, ConnectionError, PgConnection, SqliteConnection};

use super::url::DatabaseUrl;

/// A connection to either database.
#[derive(diesel::MultiConnection)]
pub enum AnyConnection {
    /// SQLite, bundled.
    Sqlite(SqliteConnection),
    /// PostgreSQL through libpq, bundled.
    Postgres(PgConnection),
}

/// How long SQLite waits for another process that holds the file, in milliseconds.
pub(super) const BUSY_TIMEOUT_MS: u32 = 10_000;

/// Opens a connection with the settings every connection must have.
///
/// # Errors
/// [`ConnectionError`] when the file cannot be opened or the server does not answer.
pub(super) fn open(url: &DatabaseUrl) -> Result<AnyConnection, ConnectionError> {
    match url {
        DatabaseUrl::Sqlite { path, read_only } => {
            let mode = if *read_only { "ro" } else { "rwc" };
            let mut conn = SqliteConnection::establish(&sqlite_uri(path, mode))?;
            let journal = if *read_only {
                ""
            } else {
                "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;"
            };
            conn.batch_execute(&format!(
                "PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}; {journal} PRAGMA foreign_keys = ON; PRAGMA trusted_schema = OFF;"
            ))
            .map_err(ConnectionError::CouldntSetupConfiguration)?;
            Ok(AnyConnection::Sqlite(conn))
        }
        DatabaseUrl::Postgres(address) => {
            let mut conn = PgConnection::establish(address)?;
            conn.batch_execute("SET TIME ZONE 'UTC'; SET statement_timeout = '60s'; SET lock_timeout = '20s'; SET client_min_messages = warning;")
                .map_err(ConnectionError::CouldntSetupConfiguration)?;
            Ok(AnyConnection::Postgres(conn))
        }
    }
}

/// A file's path as SQLite takes it with a mode (`ro`, `rw`, `rwc`).
pub(super) fn sqlite_uri(path: &str, mode: &str) -> String {
    let escaped = path
        .replace('%', "%25")
        .replace('?', "%3f")
        .replace('#', "%23");
    format!("file:{escaped}?mode={mode}")
}
