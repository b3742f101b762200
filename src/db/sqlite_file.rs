//! Whole SQLite files: a snapshot of a database in use, which schema a file has, whether it is damaged, and one look into it.
//!
//! Invariants: a snapshot is one file without a write-ahead log, of one moment, whatever is written meanwhile; no file but
//! the one named is changed, and a look changes nothing. Connections are opened one at a time and closed before a function
//! returns, so that nothing is left beside a file (a pool closes its connections some time later). Deliberately absent:
//! what is in the books (the stock room proves them), and where files are put (the command line does that).

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{ErrorKind, Read};

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};

use super::connection::{AnyConnection, BUSY_TIMEOUT_MS, open, sqlite_uri};
use super::migrate::{migrate, newest_version};
use super::pool::within;
use super::url::DatabaseUrl;
use crate::base::Error;

/// What every SQLite file begins with (the file format, <https://www.sqlite.org/fileformat.html>, section 1.3).
const HEADER: &[u8; 16] = b"SQLite format 3\0";

/// How a file's schema stands to this program's. A version is the newest migration's, such as `20261125000001`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SchemaAge {
    /// Not a database that heeltap was ever started on.
    Foreign,
    /// An earlier heeltap's.
    Older(String),
    /// This program's.
    Ours,
    /// A later heeltap's.
    Newer(String),
}

fn cannot(error: &dyn std::fmt::Display) -> Error {
    Error::Unavailable {
        detail: error.to_string(),
    }
}

fn look_at(path: &str) -> Result<AnyConnection, Error> {
    let url = DatabaseUrl::Sqlite {
        path: path.to_owned(),
        read_only: true,
    };
    open(&url).map_err(|e| cannot(&e))
}

/// Runs statements of SQLite's own on a file that is not changed by them.
fn looking_at<T>(
    path: &str,
    work: impl FnOnce(&mut SqliteConnection) -> QueryResult<T>,
) -> Result<T, Error> {
    match look_at(path)? {
        AnyConnection::Sqlite(mut conn) => work(&mut conn).map_err(|e| cannot(&e)),
        AnyConnection::Postgres(_) => Err(Error::internal("a file was opened as a server")),
    }
}

/// Writes what a database holds at this moment to `to`, an absolute path to an empty file or none. Others may read and
/// write the database meanwhile. `read_only` says that it may not be written: else what a process that was killed left in
/// the write-ahead log is brought in, and nothing is left beside it.
///
/// # Errors
/// [`Error::Unavailable`] when the database cannot be read or the file cannot be written.
pub fn sqlite_snapshot(from: &str, read_only: bool, to: &str) -> Result<(), Error> {
    let uri = sqlite_uri(from, if read_only { "ro" } else { "rw" });
    let quoted = to.replace('\'', "''");
    let mut conn = SqliteConnection::establish(&uri).map_err(|e| cannot(&e))?;
    conn.batch_execute(&format!(
        "PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}; PRAGMA trusted_schema = OFF; VACUUM INTO '{quoted}';"
    ))
    .map_err(|e| cannot(&e))
}

#[derive(QueryableByName)]
struct Word {
    #[diesel(sql_type = Text)]
    word: String,
}

#[derive(QueryableByName)]
struct Number {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

#[derive(QueryableByName)]
struct Thing {
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = Text)]
    word: String,
}

/// The first `word` of a query, if it has a row.
fn word(conn: &mut SqliteConnection, sql: &str) -> QueryResult<Option<String>> {
    let row: Option<Word> = diesel::sql_query(sql).get_result(conn).optional()?;
    Ok(row.map(|row| row.word))
}

/// The `number` of a query that counts.
fn number(conn: &mut SqliteConnection, sql: &str) -> QueryResult<i64> {
    let row: Number = diesel::sql_query(sql).get_result(conn)?;
    Ok(row.number)
}

/// How a file's schema stands to this program's.
///
/// # Errors
/// [`Error::Unavailable`] when the file cannot be read, or is damaged where its schema stands.
pub fn sqlite_schema_age(path: &str) -> Result<SchemaAge, Error> {
    if !begins_as_sqlite(path)? {
        return Ok(SchemaAge::Foreign);
    }
    let found = looking_at(path, |conn| {
        let tables = "SELECT COUNT(*) AS number FROM sqlite_master WHERE type = 'table' \
            AND name IN ('installation', '__diesel_schema_migrations')";
        if number(conn, tables)? != 2
            || number(conn, "SELECT COUNT(*) AS number FROM installation")? == 0
        {
            return Ok(None);
        }
        let newest = "SELECT COALESCE(MAX(version), '') AS word FROM __diesel_schema_migrations";
        word(conn, newest)
    })?;
    let known = newest_version()?;
    Ok(match found {
        None => SchemaAge::Foreign,
        Some(version) if version < known => SchemaAge::Older(version),
        Some(version) if version > known => SchemaAge::Newer(version),
        Some(_) => SchemaAge::Ours,
    })
}

fn begins_as_sqlite(path: &str) -> Result<bool, Error> {
    let mut header = [0_u8; HEADER.len()];
    let mut file = File::open(path).map_err(|e| cannot(&e))?;
    match file.read_exact(&mut header) {
        Ok(()) => Ok(header == *HEADER),
        Err(e) if e.kind() == ErrorKind::UnexpectedEof => Ok(false),
        Err(e) => Err(cannot(&e)),
    }
}

/// What is wrong with a file as a database, in SQLite's words: pages, indexes and constraints, and rows that name rows
/// which are not there. None when it is whole.
///
/// # Errors
/// [`Error::Unavailable`] when the file cannot be read at all.
pub fn sqlite_damage(path: &str) -> Result<Option<String>, Error> {
    looking_at(path, |conn| {
        let checked = "SELECT integrity_check AS word FROM pragma_integrity_check LIMIT 1";
        let said = word(conn, checked)?.filter(|said| said != "ok");
        if said.is_some() {
            return Ok(said);
        }
        let astray = "SELECT \"table\" AS word FROM pragma_foreign_key_check LIMIT 1";
        let table = word(conn, astray)?;
        Ok(table.map(|table| format!("a row of {table} names a row that is not there")))
    })
}

/// What stands against a file's schema, which is of this program's version: a table or index that is missing, or a trigger
/// that is missing or another. The triggers are the guards of the books, and a file can lose them. None when all is there.
///
/// # Errors
/// [`Error::Unavailable`] when the file cannot be read.
pub fn sqlite_schema_gap(path: &str) -> Result<Option<String>, Error> {
    let memory = SqliteConnection::establish(":memory:").map_err(|e| cannot(&e))?;
    let mut fresh = AnyConnection::Sqlite(memory);
    migrate(&mut fresh)?;
    let wanted = match &mut fresh {
        AnyConnection::Sqlite(conn) => things(conn)?,
        AnyConnection::Postgres(_) => return Ok(None),
    };
    let present = looking_at(path, things)?;
    let is_trigger = |name: &str| name.starts_with("trigger ");
    let missing = wanted.keys().find(|name| !present.contains_key(*name));
    let another = present
        .iter()
        .find(|(name, sql)| is_trigger(name) && wanted.get(*name) != Some(*sql));
    Ok(missing
        .map(|name| format!("its {name} is missing"))
        .or_else(|| another.map(|(name, _)| format!("its {name} is not heeltap's"))))
}

/// What a schema is made of, by kind and name, with the statements that made it.
fn things(conn: &mut SqliteConnection) -> QueryResult<BTreeMap<String, String>> {
    let sql = "SELECT type || ' ' || name AS name, COALESCE(sql, '') AS word FROM sqlite_master \
        WHERE name NOT LIKE 'sqlite_%'";
    let rows: Vec<Thing> = diesel::sql_query(sql).load(conn)?;
    Ok(rows.into_iter().map(|row| (row.name, row.word)).collect())
}

/// Runs `work` on one snapshot of a file, without leave to write.
///
/// # Errors
/// What `work` returns, or [`Error::Unavailable`].
pub fn sqlite_read<T>(
    path: &str,
    work: impl FnOnce(&mut AnyConnection) -> Result<T, Error>,
) -> Result<T, Error> {
    let mut conn = look_at(path)?;
    within(&mut conn, "BEGIN DEFERRED", "", work)
}

/// Brings a file that nobody else has open up to this program's schema, and leaves it a single file.
///
/// # Errors
/// [`Error::Unavailable`] when it cannot be written or is newer than this program; [`Error::Internal`] when a migration
/// fails.
pub fn sqlite_upgrade(path: &str) -> Result<(), Error> {
    let url = DatabaseUrl::Sqlite {
        path: path.to_owned(),
        read_only: false,
    };
    let mut conn = open(&url).map_err(|e| cannot(&e))?;
    migrate(&mut conn)?;
    match &mut conn {
        AnyConnection::Sqlite(conn) => Ok(conn.batch_execute("PRAGMA journal_mode = DELETE")?),
        AnyConnection::Postgres(_) => Ok(()),
    }
}
