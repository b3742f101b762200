//! A database as an earlier program left it: its schema, and the rows of its sample.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use diesel::backend::Backend;
use diesel::connection::SimpleConnection;
use diesel::migration::MigrationSource;
use diesel::prelude::*;
use diesel::sql_types::Text;
use diesel::{PgConnection, SqliteConnection};
use diesel_migrations::{FileBasedMigrations, MigrationHarness};
use heeltap::db::DatabaseUrl;

use crate::support::TestDatabase;

#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Text)]
    line: String,
}

/// Where the samples are, each named after the version of its schema.
pub(super) fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/api/upgrades")
}

fn source(database: &str) -> FileBasedMigrations {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    FileBasedMigrations::from_path(path.join(database)).expect("the migrations")
}

/// The versions of all schemas, the oldest first.
pub(super) fn versions() -> Vec<String> {
    let all = MigrationSource::<diesel::sqlite::Sqlite>::migrations(&source("sqlite"));
    let version = |name: String| name.split('_').next().unwrap_or_default().replace('-', "");
    let all = all.expect("the migrations");
    let mut versions: Vec<String> = all
        .iter()
        .map(|migration| version(migration.name().to_string()))
        .collect();
    versions.sort();
    versions
}

/// A database of the kind that the run is for, with the schema of this version and its sample in it.
pub(super) fn sampled(version: &str) -> TestDatabase {
    let database = TestDatabase::empty();
    fill(&database, version);
    database
}

/// Gives a database without a table the schema of this version and its sample.
pub(super) fn fill(database: &TestDatabase, version: &str) {
    let path = folder().join(format!("{version}.sql"));
    let rows = std::fs::read_to_string(&path)
        .unwrap_or_else(|e| panic!("{} cannot be read: {e}", path.display()));
    match database.url() {
        DatabaseUrl::Sqlite { path, .. } => on_sqlite(path, version, &rows),
        DatabaseUrl::Postgres(address) => on_postgres(address, version, &rows),
    }
}

/// Applies the migrations up to a version.
fn migrated<DB: Backend>(
    conn: &mut impl MigrationHarness<DB>,
    source: FileBasedMigrations,
    version: &str,
) where
    FileBasedMigrations: MigrationSource<DB> + Clone,
{
    loop {
        let applied = conn
            .run_next_migration(source.clone())
            .expect("a migration");
        assert!(
            applied.to_string().as_str() <= version,
            "{version} is no schema"
        );
        if applied.to_string() == version {
            return;
        }
    }
}

fn tables(rows: &str) -> BTreeSet<&str> {
    let names = rows
        .lines()
        .filter_map(|line| line.strip_prefix("INSERT INTO "));
    names.filter_map(|rest| rest.split(' ').next()).collect()
}

/// Bytes as SQLite reads them. No text of a sample begins as they do.
fn with_bytes(rows: &str) -> String {
    rows.replace("'\\x", "X'")
}

/// The triggers are laid aside: the rows are as they left them, and they must not be moved twice.
fn on_sqlite(path: &str, version: &str, rows: &str) {
    let mut conn = SqliteConnection::establish(path).expect("a database");
    migrated(&mut conn, source("sqlite"), version);
    let triggers = |sql: &str, conn: &mut SqliteConnection| -> Vec<String> {
        let rows: Vec<Line> = diesel::sql_query(sql).load(conn).expect("the triggers");
        rows.into_iter().map(|row| row.line).collect()
    };
    let of = "FROM sqlite_master WHERE type = 'trigger'";
    let made = triggers(&format!("SELECT sql || ';' AS line {of}"), &mut conn);
    let dropped = format!("SELECT 'DROP TRIGGER ' || name || ';' AS line {of}");
    let dropped = triggers(&dropped, &mut conn);
    assert!(dropped.len() > 10, "{dropped:?}");
    let emptied: String = tables(rows)
        .iter()
        .map(|table| format!("DELETE FROM {table};"))
        .collect();
    conn.batch_execute(&format!(
        "PRAGMA foreign_keys = ON; BEGIN; {} {emptied} {} {} COMMIT;",
        dropped.concat(),
        with_bytes(rows),
        made.concat()
    ))
    .expect("the sample");
}

/// As on SQLite; and the numbers that are given out next follow those that were.
fn on_postgres(address: &str, version: &str, rows: &str) {
    let mut conn = PgConnection::establish(address).expect("a database");
    migrated(&mut conn, source("postgres"), version);
    let mut sql = String::from("BEGIN; SET LOCAL client_min_messages = warning;");
    let tables = tables(rows);
    for table in &tables {
        sql += &format!("ALTER TABLE {table} DISABLE TRIGGER USER; DELETE FROM {table};");
    }
    sql += rows;
    for table in &tables {
        sql += &format!("ALTER TABLE {table} ENABLE TRIGGER USER;");
    }
    sql += "COMMIT;";
    conn.batch_execute(&sql).expect("the sample");
    let sequences = "SELECT 'SELECT setval(pg_get_serial_sequence(''' || table_name || ''', ''id''), \
        (SELECT COALESCE(MAX(id), 0) + 1 FROM ' || table_name || '), false);' AS line FROM information_schema.columns \
        WHERE table_schema = 'public' AND column_name = 'id' AND is_identity = 'YES'";
    let sequences: Vec<Line> = diesel::sql_query(sequences)
        .load(&mut conn)
        .expect("the sequences");
    assert!(sequences.len() > 10);
    let set: String = sequences.into_iter().map(|row| row.line).collect();
    conn.batch_execute(&set).expect("the sequences");
}
