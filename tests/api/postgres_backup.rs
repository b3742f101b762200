//! How a PostgreSQL database is saved and restored: by its own tools, with the commands that the README gives, word for word.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::Text;
use heeltap::app::{self, Outside};
use heeltap::db::{AnyConnection, DatabaseUrl};
use tempfile::TempDir;

use crate::support::{TestApp, TestDatabase, heeltap, receive};

const README: &str = include_str!("../../README.md");

/// The README's shell commands that name a tool, within the section on backups.
fn commands(tool: &str) -> &'static str {
    let section = README.split("\n## Backup and restore\n").nth(1);
    let section = section.and_then(|rest| rest.split("\n## ").next());
    let mut blocks = section.expect("the section").split("```sh\n").skip(1);
    let block = blocks.find(|block| block.contains(tool));
    block
        .and_then(|block| block.split("```").next())
        .expect(tool)
}

#[test]
fn both_commands_name_the_tools_that_do_it() {
    for (command, tool) in [("backup", "pg_dump"), ("restore", "pg_restore")] {
        let address = "postgres://nobody@127.0.0.1:1/nothing";
        let output = heeltap(None, &[command, "a", "--database-url", address]);
        let err = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{err}");
        assert!(
            err.contains(&format!("Use {tool}, as the README says")),
            "{err}"
        );
        assert!(commands(tool).contains(tool));
    }
}

/// The folder of the tools of the server's own version, or of any when they stand elsewhere.
fn tools(conn: &mut AnyConnection) -> Option<PathBuf> {
    #[derive(QueryableByName)]
    struct Version {
        #[diesel(sql_type = Text)]
        server_version: String,
    }
    let rows: Vec<Version> = match conn {
        AnyConnection::Sqlite(_) => return None,
        AnyConnection::Postgres(conn) => diesel::sql_query("SHOW server_version").load(conn),
    }
    .expect("the server's version");
    let major = rows[0].server_version.split('.').next();
    let folder = Path::new("/usr/lib/postgresql")
        .join(major.expect("a version"))
        .join("bin");
    folder.join("pg_dump").exists().then_some(folder)
}

/// Runs the README's commands in a folder, on a database.
fn shell(folder: &Path, tools: Option<&Path>, database: &TestDatabase, commands: &str) -> Output {
    let DatabaseUrl::Postgres(address) = database.url() else {
        panic!("a file has no tools");
    };
    let program = Path::new(env!("CARGO_BIN_EXE_heeltap")).parent();
    let usual = std::env::var("PATH").unwrap_or_default();
    let path = tools
        .into_iter()
        .chain(program)
        .map(|folder| folder.display().to_string())
        .chain([usual])
        .collect::<Vec<_>>()
        .join(":");
    let output = Command::new("sh")
        .args(["-euc", commands])
        .current_dir(folder)
        .env_clear()
        .envs([("PATH", path.as_str()), ("DATABASE_URL", address)])
        .output();
    output.expect("a shell")
}

#[track_caller]
fn done(output: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let said = text(&output.stdout);
    assert!(output.status.success(), "{said}{}", text(&output.stderr));
    said
}

#[test]
fn the_documented_commands_restore_books_that_agree_with_their_heads() {
    let live = TestDatabase::new();
    if live.url().is_sqlite() {
        // What is of SQLite's own is tested in `backup`.
        return;
    }
    let folder = TempDir::new().expect("a folder");
    let service = app::open(&TestApp::settings(&live), Outside::default()).expect("a service");
    receive(&service, "base", &["10", "5"], "4");
    let tools = service
        .db()
        .bare(|conn| Ok(tools(conn)))
        .expect("the tools");
    done(&shell(
        folder.path(),
        tools.as_deref(),
        &live,
        commands("pg_dump"),
    ));
    // What comes later is not in the dump, and does not stand against it.
    receive(&service, "other", &["1"], "2");

    let restored = TestDatabase::empty();
    let said = done(&shell(
        folder.path(),
        tools.as_deref(),
        &restored,
        commands("pg_restore"),
    ));
    assert!(said.contains("lots read: 1, movements read: 2\n"), "{said}");
    assert!(said.contains("held against the heads of 1 lots"), "{said}");

    let again = app::open(&TestApp::settings(&restored), Outside::default()).expect("a service");
    for statement in [
        "UPDATE movements SET reason = 'x'",
        "DELETE FROM movements",
        "TRUNCATE movements CASCADE",
    ] {
        let outcome = again.db().write(|conn| Ok(conn.batch_execute(statement)?));
        let said = outcome.expect_err("refused").to_string();
        assert!(said.contains("append-only"), "{statement}: {said}");
    }
    // Numbers go on where they were, and a new movement extends its chain.
    let lot = receive(&again, "third", &["1"], "2");
    assert_eq!(lot, 2);
    assert!(
        again
            .db()
            .read(heeltap::stock::verify::verify)
            .expect("books")
            .ok
    );
}
