//! Tests of the schema itself: the database agrees with `schema.rs` column by column, every foreign key has an index,
//! and the migrations of both databases state the same rules. Each run compares its own database with `schema.rs`; both
//! agreeing with it, they agree with each other.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Bool, Text};

use super::AnyConnection;
use super::fixture::{on_database, write};

/// A column: its type as `schema.rs` writes it.
type Columns = BTreeMap<(String, String), String>;

/// The columns that `schema.rs` declares.
fn declared() -> Columns {
    let mut columns = Columns::new();
    let mut table = String::new();
    for line in include_str!("schema.rs").lines() {
        if let Some(head) = line
            .strip_prefix("    ")
            .filter(|head| !head.starts_with(' '))
        {
            table = head.split(' ').next().unwrap_or_default().to_owned();
        } else if let Some((column, kind)) = line.trim().split_once(" -> ")
            && line.starts_with("        ")
        {
            let kind = kind.trim_end_matches(',').to_owned();
            columns.insert((table.clone(), column.to_owned()), kind);
        }
    }
    columns
}

#[derive(QueryableByName)]
struct ColumnRow {
    #[diesel(sql_type = Text)]
    table_name: String,
    #[diesel(sql_type = Text)]
    column_name: String,
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = Bool)]
    nullable: bool,
}

const SQLITE_COLUMNS: &str = "SELECT t.name AS table_name, c.name AS column_name, \
    CASE WHEN c.pk = 1 AND c.type = 'INTEGER' AND t.sql LIKE '%AUTOINCREMENT%' THEN 'BIGINT' ELSE c.type END AS kind, \
    c.\"notnull\" = 0 AS nullable \
    FROM sqlite_master t JOIN pragma_table_info(t.name) c WHERE t.type = 'table' AND t.name NOT LIKE 'sqlite_%'";

const POSTGRES_COLUMNS: &str = "SELECT table_name::text, column_name::text, upper(data_type)::text AS kind, \
    is_nullable = 'YES' AS nullable FROM information_schema.columns WHERE table_schema = 'public'";

/// The columns that the database has.
fn present(conn: &mut AnyConnection) -> Columns {
    let rows: Vec<ColumnRow> = match conn {
        AnyConnection::Sqlite(conn) => diesel::sql_query(SQLITE_COLUMNS).load(conn),
        AnyConnection::Postgres(conn) => diesel::sql_query(POSTGRES_COLUMNS).load(conn),
    }
    .expect("the columns");
    let of = |row: ColumnRow| {
        let kind = match row.kind.as_str() {
            "BIGINT" => "BigInt",
            "INTEGER" => "Integer",
            "TEXT" => "Text",
            "DATE" => "Date",
            "BOOLEAN" => "Bool",
            "BLOB" | "BYTEA" => "Binary",
            "TIMESTAMP" | "TIMESTAMP WITHOUT TIME ZONE" => "Timestamp",
            other => panic!(
                "{}.{} is of the type {other}",
                row.table_name, row.column_name
            ),
        };
        let kind = if row.nullable {
            format!("Nullable<{kind}>")
        } else {
            kind.to_owned()
        };
        ((row.table_name, row.column_name), kind)
    };
    rows.into_iter()
        .filter(|row| row.table_name != "__diesel_schema_migrations")
        .map(of)
        .collect()
}

#[test]
fn the_database_has_the_columns_that_the_program_knows() {
    let declared = declared();
    assert!(declared.len() > 200, "{} columns", declared.len());
    on_database(|db| {
        write(&db, |tx| {
            assert_eq!(present(tx.conn), declared);
            Ok(())
        })
        .expect("a transaction");
    });
}

#[derive(QueryableByName)]
struct KeyRow {
    #[diesel(sql_type = Text)]
    table_name: String,
    #[diesel(sql_type = BigInt)]
    key_no: i64,
    #[diesel(sql_type = BigInt)]
    place: i64,
    #[diesel(sql_type = Text)]
    column_name: String,
}

const SQLITE_FOREIGN_KEYS: &str = "SELECT t.name AS table_name, f.id AS key_no, f.seq AS place, f.\"from\" AS column_name \
    FROM sqlite_master t JOIN pragma_foreign_key_list(t.name) f WHERE t.type = 'table' ORDER BY 1, 2, 3";

const SQLITE_INDEXES: &str = "SELECT t.name AS table_name, l.seq AS key_no, i.seqno AS place, i.name AS column_name \
    FROM sqlite_master t JOIN pragma_index_list(t.name) l JOIN pragma_index_info(l.name) i \
    WHERE t.type = 'table' AND l.partial = 0 ORDER BY 1, 2, 3";

const POSTGRES_FOREIGN_KEYS: &str = "SELECT c.relname::text AS table_name, k.oid::bigint AS key_no, u.place::bigint AS place, \
    a.attname::text AS column_name FROM pg_constraint k JOIN pg_class c ON c.oid = k.conrelid \
    CROSS JOIN LATERAL unnest(k.conkey) WITH ORDINALITY AS u(number, place) \
    JOIN pg_attribute a ON a.attrelid = k.conrelid AND a.attnum = u.number \
    WHERE k.contype = 'f' AND k.connamespace = 'public'::regnamespace ORDER BY 1, 2, 3";

const POSTGRES_INDEXES: &str = "SELECT c.relname::text AS table_name, x.indexrelid::bigint AS key_no, u.place::bigint AS place, \
    a.attname::text AS column_name FROM pg_index x JOIN pg_class c ON c.oid = x.indrelid \
    CROSS JOIN LATERAL unnest(x.indkey::int2[]) WITH ORDINALITY AS u(number, place) \
    JOIN pg_attribute a ON a.attrelid = x.indrelid AND a.attnum = u.number \
    WHERE x.indpred IS NULL AND c.relnamespace = 'public'::regnamespace ORDER BY 1, 2, 3";

/// The columns of each key, in the key's order, with its table.
fn keys(conn: &mut AnyConnection, sqlite: &str, postgres: &str) -> Vec<(String, Vec<String>)> {
    let mut rows: Vec<KeyRow> = match conn {
        AnyConnection::Sqlite(conn) => diesel::sql_query(sqlite).load(conn),
        AnyConnection::Postgres(conn) => diesel::sql_query(postgres).load(conn),
    }
    .expect("the keys");
    rows.sort_by(|a, b| {
        (&a.table_name, a.key_no, a.place).cmp(&(&b.table_name, b.key_no, b.place))
    });
    let mut keys: BTreeMap<(String, i64), Vec<String>> = BTreeMap::new();
    for row in rows {
        let columns = keys.entry((row.table_name, row.key_no)).or_default();
        columns.push(row.column_name);
    }
    keys.into_iter()
        .map(|((table, _), columns)| (table, columns))
        .collect()
}

#[test]
fn every_foreign_key_has_an_index() {
    on_database(|db| {
        write(&db, |tx| {
            let foreign = keys(tx.conn, SQLITE_FOREIGN_KEYS, POSTGRES_FOREIGN_KEYS);
            let indexes = keys(tx.conn, SQLITE_INDEXES, POSTGRES_INDEXES);
            assert!(foreign.len() > 30, "{} foreign keys", foreign.len());
            for (table, columns) in foreign {
                // The key's columns lead the index, in whatever order.
                let wanted: BTreeSet<&String> = columns.iter().collect();
                let served = indexes.iter().any(|(of, index)| {
                    *of == table
                        && index.iter().take(columns.len()).collect::<BTreeSet<_>>() == wanted
                });
                assert!(
                    served,
                    "no index serves the foreign key of {table} {columns:?}"
                );
            }
            Ok(())
        })
        .expect("a transaction");
    });
}

/// The migrations of a database by name.
fn migrations(database: &str) -> BTreeMap<String, String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("migrations")
        .join(database);
    let folders = fs::read_dir(root).expect("the migrations");
    folders
        .map(|folder| {
            let folder = folder.expect("a migration");
            let text = fs::read_to_string(folder.path().join("up.sql")).expect("up.sql");
            (folder.file_name().to_string_lossy().into_owned(), text)
        })
        .collect()
}

/// The named rules and the indexes that a migration states, as they are written.
fn rules(text: &str) -> BTreeSet<String> {
    text.lines()
        .map(|line| line.trim().trim_end_matches([',', ';']))
        .filter(|line| {
            line.contains("CONSTRAINT ")
                || line.starts_with("CREATE INDEX")
                || line.starts_with("CREATE UNIQUE INDEX")
                || line.contains("PRIMARY KEY (")
                || line.contains(" REFERENCES ")
        })
        .map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "))
        .collect()
}

#[test]
fn both_databases_are_given_the_same_rules() {
    let (sqlite, postgres) = (migrations("sqlite"), migrations("postgres"));
    assert_eq!(
        sqlite.keys().collect::<Vec<_>>(),
        postgres.keys().collect::<Vec<_>>()
    );
    let mut stated = 0;
    for (name, text) in &sqlite {
        let found = rules(text);
        stated += found.len();
        assert_eq!(found, rules(&postgres[name]), "{name}");
    }
    assert!(stated > 100, "{stated} rules");
}
