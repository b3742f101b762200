//! A fresh, migrated database for one test, on SQLite or PostgreSQL. Part of the tests only: the library's unit tests
//! and the integration tests both include this file.
//!
//! `HEELTAP_TEST_DATABASE` chooses `sqlite` (the default) or `postgres`; `HEELTAP_TEST_POSTGRES` is the address of a
//! server on which databases may be created. Invariant: a test that was to run on PostgreSQL never runs on SQLite
//! instead; a run without PostgreSQL says so. On the server stays one template per schema, named after its hash.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::sync::{LazyLock, Once};
use std::time::Duration;

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use sha2::{Digest, Sha256};
use tempfile::TempDir;

use heeltap::db::{AnyConnection, DatabaseUrl, Db, migrate};

const FILE_NAME: &str = "test.sqlite3";

/// A database that ends with its value.
pub(crate) struct TestDatabase {
    url: DatabaseUrl,
    place: Place,
}

enum Place {
    /// The folder is removed when it is dropped.
    File(#[allow(dead_code)] TempDir),
    Server {
        admin: String,
        name: String,
    },
    /// The test has it in a folder of its own.
    #[allow(dead_code)]
    Elsewhere,
}

impl TestDatabase {
    /// A database as it is after the migrations and before the first start.
    pub(crate) fn new() -> Self {
        let server = std::env::var("HEELTAP_TEST_POSTGRES").ok();
        if server.is_none() {
            say_what_is_left_out();
        }
        match std::env::var("HEELTAP_TEST_DATABASE").as_deref() {
            Err(_) | Ok("sqlite") => Self::file(),
            Ok("postgres") => Self::postgres(&server.expect(
                "HEELTAP_TEST_DATABASE is postgres: set HEELTAP_TEST_POSTGRES to the address of a server",
            )),
            Ok(other) => panic!("HEELTAP_TEST_DATABASE is `{other}`: write sqlite or postgres"),
        }
    }

    /// A database without any table.
    #[allow(dead_code)]
    pub(crate) fn empty() -> Self {
        let full = Self::new();
        match &full.place {
            Place::Server { admin, name } => {
                let mut admin = connect(admin);
                run(
                    &mut admin,
                    &format!("DROP DATABASE \"{name}\" WITH (FORCE)"),
                );
                run(&mut admin, &format!("CREATE DATABASE \"{name}\""));
            }
            Place::File(folder) => {
                let file = folder.path().join(FILE_NAME);
                fs::remove_file(file).expect("the file must be removed");
            }
            Place::Elsewhere => {}
        }
        full
    }

    /// A SQLite file of the test's own, which may not be there yet.
    #[allow(dead_code)]
    pub(crate) fn at(path: &Path) -> Self {
        Self {
            url: sqlite_url(path),
            place: Place::Elsewhere,
        }
    }

    /// Its address.
    #[allow(dead_code)] // The unit tests open it, the integration tests take the address.
    pub(crate) fn url(&self) -> &DatabaseUrl {
        &self.url
    }

    /// Opens it with a small pool.
    #[allow(dead_code)]
    pub(crate) fn open(&self) -> Db {
        Db::open(&self.url, 4, 10_000, Duration::from_millis(500))
            .expect("the test's database must open")
    }

    /// A SQLite database, for a test of what concerns files, whatever the run is for.
    pub(crate) fn file() -> Self {
        let folder = TempDir::new().expect("a temporary folder");
        let path = folder.path().join(FILE_NAME);
        fs::write(&path, &*SQLITE_TEMPLATE).expect("the template must be copied");
        Self {
            url: sqlite_url(&path),
            place: Place::File(folder),
        }
    }

    fn postgres(server: &str) -> Self {
        static TEMPLATE: LazyLock<String> = LazyLock::new(|| {
            let server = std::env::var("HEELTAP_TEST_POSTGRES").unwrap_or_default();
            postgres_template(&server)
        });
        let name = format!("heeltap_test_{}", unique());
        let template = &*TEMPLATE;
        let mut admin = connect(server);
        run(
            &mut admin,
            &format!("CREATE DATABASE \"{name}\" TEMPLATE \"{template}\""),
        );
        Self {
            url: DatabaseUrl::parse(&with_database(server, &name)).expect("an address"),
            place: Place::Server {
                admin: server.to_owned(),
                name,
            },
        }
    }
}

impl Drop for TestDatabase {
    fn drop(&mut self) {
        if let Place::Server { admin, name } = &self.place {
            run(
                &mut connect(admin),
                &format!("DROP DATABASE IF EXISTS \"{name}\" WITH (FORCE)"),
            );
        }
    }
}

/// Straight to standard error, which the test harness does not hold back.
fn say_what_is_left_out() {
    static SAID: Once = Once::new();
    SAID.call_once(|| {
        let _ = writeln!(
            std::io::stderr(),
            "note: PostgreSQL is left out of this run: set HEELTAP_TEST_POSTGRES=postgres://user@host/db and HEELTAP_TEST_DATABASE=postgres"
        );
    });
}

fn sqlite_url(path: &Path) -> DatabaseUrl {
    DatabaseUrl::parse(&format!("sqlite://{}", path.display())).expect("an address")
}

/// The bytes of a migrated file, made once per process.
static SQLITE_TEMPLATE: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let folder = TempDir::new().expect("a temporary folder");
    let whole = folder.path().join("whole.sqlite3");
    let db = Db::open(
        &sqlite_url(&folder.path().join("template.sqlite3")),
        1,
        10_000,
        Duration::from_millis(500),
    )
    .expect("the migrations must run");
    // One file, whatever the write-ahead log still holds.
    db.bare(|conn| Ok(conn.batch_execute(&format!("VACUUM INTO '{}'", whole.display()))?))
        .expect("the template must be written");
    fs::read(&whole).expect("the template must be read")
});

/// Makes the template unless there is one for this schema. Processes take turns by an advisory lock.
fn postgres_template(server: &str) -> String {
    let template = format!("heeltap_template_{}", schema_hash());
    let building = format!("{template}_building");
    let mut admin = connect(server);
    run(&mut admin, "SELECT pg_advisory_lock(4919)");
    let known: i64 = diesel::select(diesel::dsl::sql::<diesel::sql_types::BigInt>(&format!(
        "(SELECT COUNT(*) FROM pg_database WHERE datname = '{template}')"
    )))
    .get_result(&mut admin)
    .expect("the list of databases");
    if known == 0 {
        run(
            &mut admin,
            &format!("DROP DATABASE IF EXISTS \"{building}\""),
        );
        run(&mut admin, &format!("CREATE DATABASE \"{building}\""));
        let conn = connect(&with_database(server, &building));
        migrate(&mut AnyConnection::Postgres(conn)).expect("the migrations must run");
        run(
            &mut admin,
            &format!("ALTER DATABASE \"{building}\" RENAME TO \"{template}\""),
        );
    }
    run(&mut admin, "SELECT pg_advisory_unlock(4919)");
    template
}

/// The first 16 hexadecimal digits of the SHA-256 of all migrations for PostgreSQL.
fn schema_hash() -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations/postgres");
    let mut folders: Vec<_> = fs::read_dir(root)
        .expect("the migrations")
        .map(|entry| entry.expect("a migration").path())
        .collect();
    folders.sort();
    let mut hash = Sha256::new();
    for folder in folders {
        hash.update(fs::read(folder.join("up.sql")).expect("up.sql"));
    }
    hex::encode(hash.finalize())[..16].to_owned()
}

fn connect(address: &str) -> PgConnection {
    PgConnection::establish(address).unwrap_or_else(|e| {
        panic!("the server of HEELTAP_TEST_POSTGRES does not answer: {e}");
    })
}

fn run(conn: &mut PgConnection, sql: &str) {
    conn.batch_execute(sql)
        .unwrap_or_else(|e| panic!("`{sql}` failed: {e}"));
}

/// The same server, another database.
fn with_database(server: &str, name: &str) -> String {
    let mut url = url::Url::parse(server).expect("HEELTAP_TEST_POSTGRES must be an address");
    url.set_path(&format!("/{name}"));
    url.to_string()
}

/// A name that no other test has.
fn unique() -> String {
    let mut bytes = [0_u8; 8];
    heeltap::base::Entropy::fill(&heeltap::base::OsEntropy, &mut bytes).expect("random bytes");
    hex::encode(bytes)
}
