//! A look at a database before it is opened for work: whose it is, without migrating it; and the removal of a SQLite
//! file that nobody has open.
//!
//! Invariants: looking changes nothing; a file that another process has open is never removed. Deliberately absent: the
//! choice of what may be removed (whoever asks knows).

use std::io::ErrorKind;
use std::path::Path;

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::{Nullable, Text};

use super::connection::{AnyConnection, open};
use super::installation::{Installation, installation_fetch};
use super::url::DatabaseUrl;
use crate::base::Error;

/// How long the look at who has a file open waits for a busy moment to pass, in milliseconds.
const BUSY_MS: u32 = 250;

#[derive(QueryableByName)]
struct Name {
    #[diesel(sql_type = Nullable<Text>)]
    name: Option<String>,
}

/// What was fixed at a database's first start; none when there is no such file, or heeltap was never started on it.
///
/// # Errors
/// [`Error::Unavailable`] when the database cannot be opened or is no database.
pub fn installation_peek(url: &DatabaseUrl) -> Result<Option<Installation>, Error> {
    let looked_at = match url {
        DatabaseUrl::Sqlite { path, .. } if !Path::new(path).exists() => return Ok(None),
        DatabaseUrl::Sqlite { path, .. } => DatabaseUrl::Sqlite {
            path: path.clone(),
            read_only: true,
        },
        DatabaseUrl::Postgres(address) => DatabaseUrl::Postgres(address.clone()),
    };
    let cannot = |e: &dyn std::fmt::Display| Error::Unavailable {
        detail: format!("{url} cannot be opened: {e}"),
    };
    let mut conn = open(&looked_at).map_err(|e| cannot(&e))?;
    let table = match &mut conn {
        AnyConnection::Sqlite(conn) => diesel::sql_query(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name = 'installation'",
        )
        .get_result::<Name>(conn)
        .optional(),
        AnyConnection::Postgres(conn) => {
            diesel::sql_query("SELECT CAST(to_regclass('installation') AS TEXT) AS name")
                .get_result::<Name>(conn)
                .optional()
        }
    };
    match table.map_err(|e| cannot(&e))?.and_then(|row| row.name) {
        None => Ok(None),
        Some(_) => installation_fetch(&mut conn),
    }
}

/// Removes a SQLite file with what belongs to it.
///
/// # Errors
/// [`Error::Unavailable`] when another process has it open, or it cannot be removed.
pub fn sqlite_remove(path: &str) -> Result<(), Error> {
    let cannot = |e: &dyn std::fmt::Display| Error::Unavailable {
        detail: format!("{path} cannot be replaced: {e}"),
    };
    // Leaving the write-ahead log needs the file for oneself alone, and folds the log into it.
    let mut conn = SqliteConnection::establish(path).map_err(|e| cannot(&e))?;
    conn.batch_execute(&format!("PRAGMA busy_timeout = {BUSY_MS}"))?;
    conn.batch_execute("PRAGMA journal_mode = DELETE")
        .map_err(|_| cannot(&"another process has it open"))?;
    drop(conn);
    for ending in ["", "-wal", "-shm", "-journal"] {
        match std::fs::remove_file(format!("{path}{ending}")) {
            Err(e) if e.kind() != ErrorKind::NotFound => return Err(cannot(&e)),
            _ => {}
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::db::fixture::on_database;
    use crate::db::{installation_settle, migrate};

    #[test]
    fn a_database_is_known_by_its_row_alone() {
        on_database(|db| {
            assert_eq!(installation_peek(db.url()).unwrap(), None);
            let first = Installation {
                base_currency: crate::base::Currency::parse("EUR").unwrap(),
                time_zone: "UTC".to_owned(),
                demo: true,
                created_at: chrono::DateTime::UNIX_EPOCH,
            };
            db.write(|conn| installation_settle(conn, &first)).unwrap();
            assert_eq!(installation_peek(db.url()).unwrap(), Some(first));
        });
    }

    #[test]
    fn a_file_is_removed_only_when_nobody_has_it_open() {
        let folder = tempfile::TempDir::new().unwrap();
        let path = folder.path().join("a.sqlite3").display().to_string();
        let url = DatabaseUrl::parse(&format!("sqlite://{path}")).unwrap();
        assert_eq!(installation_peek(&url).unwrap(), None);
        assert!(!Path::new(&path).exists(), "looking makes no file");
        // One connection and no pool: a pool closes its connections on a thread of its own, some time after it is dropped.
        let mut conn = open(&url).unwrap();
        migrate(&mut conn).unwrap();
        installation_fetch(&mut conn).unwrap();
        let error = sqlite_remove(&path).unwrap_err().to_string();
        assert!(error.contains("another process has it open"), "{error}");
        assert!(Path::new(&path).exists());
        drop(conn);
        sqlite_remove(&path).unwrap();
        let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().collect();
        assert!(left.is_empty(), "{left:?}");
    }

    #[test]
    fn what_is_no_database_is_said_to_be_none() {
        let folder = tempfile::TempDir::new().unwrap();
        let path = folder.path().join("notes.txt");
        std::fs::write(&path, "x".repeat(4096)).unwrap();
        let url = DatabaseUrl::parse(&format!("sqlite://{}", path.display())).unwrap();
        let error = installation_peek(&url).unwrap_err().to_string();
        assert!(error.contains("not a database"), "{error}");
        assert_eq!(std::fs::metadata(&path).unwrap().len(), 4096);
    }
}
