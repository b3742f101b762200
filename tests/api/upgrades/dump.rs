//! A SQLite database's rows as statements that both databases read: one `INSERT` a row, a table after those it refers to.
//!
//! Bytes are written as PostgreSQL reads them (`'\x00ff'`); whoever loads them into SQLite rewrites them first.

use std::collections::BTreeSet;

use diesel::prelude::*;
use diesel::sql_types::Text;

#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Text)]
    line: String,
}

fn lines(conn: &mut SqliteConnection, sql: &str) -> Vec<String> {
    let rows: Vec<Line> = diesel::sql_query(sql)
        .load(conn)
        .unwrap_or_else(|e| panic!("`{sql}` failed: {e}"));
    rows.into_iter().map(|row| row.line).collect()
}

/// The rows of all tables but the list of migrations.
pub(super) fn dump(path: &str) -> String {
    let mut conn = SqliteConnection::establish(path).expect("a database");
    let mut text = String::new();
    for table in in_order(&mut conn) {
        let columns = lines(
            &mut conn,
            &format!("SELECT name AS line FROM pragma_table_info('{table}')"),
        );
        let values = lines(
            &mut conn,
            &format!(
                "SELECT CASE type WHEN 'BOOLEAN' THEN 'CASE ' || name || ' WHEN 1 THEN ''TRUE'' WHEN 0 THEN ''FALSE'' ELSE ''NULL'' END' \
                 WHEN 'BLOB' THEN 'CASE WHEN ' || name || ' IS NULL THEN ''NULL'' ELSE char(39) || ''\\x'' || lower(hex(' || name || ')) || char(39) END' \
                 ELSE 'quote(' || name || ')' END AS line FROM pragma_table_info('{table}')"
            ),
        );
        let insert = format!("INSERT INTO {table} ({}) VALUES (", columns.join(", "));
        let rows = format!(
            "SELECT '{insert}' || {} || ');' AS line FROM {table} ORDER BY rowid",
            values.join(" || ', ' || ")
        );
        for row in lines(&mut conn, &rows) {
            text.push_str(&row);
            text.push('\n');
        }
    }
    text
}

/// The tables, each after those that its foreign keys name.
fn in_order(conn: &mut SqliteConnection) -> Vec<String> {
    let mut waiting = lines(
        conn,
        "SELECT name AS line FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' \
         AND name <> '__diesel_schema_migrations' ORDER BY rowid",
    );
    let mut placed: Vec<String> = Vec::new();
    while !waiting.is_empty() {
        let ready = waiting.iter().position(|table| {
            let named: BTreeSet<String> = lines(
                conn,
                &format!("SELECT \"table\" AS line FROM pragma_foreign_key_list('{table}')"),
            )
            .into_iter()
            .collect();
            named
                .iter()
                .all(|other| other == table || placed.contains(other))
        });
        placed.push(waiting.remove(ready.expect("no circle of tables")));
    }
    placed
}
