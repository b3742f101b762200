//! `heeltap backup` and `heeltap restore`, by the real binary, on SQLite files whatever database the run is for. What
//! PostgreSQL's own tools do stands in `postgres_backup`.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use diesel::connection::SimpleConnection;
use diesel::{Connection, SqliteConnection};
use heeltap::app::{self, Outside};
use heeltap::http::Service;
use serde_json::json;
use tempfile::TempDir;

use crate::support::{Client, Heeltap, TestApp, TestDatabase, heeltap, receive};

/// Takes the guard of the ledger away, and puts it back as the migration makes it.
const UNGUARDED: &str = "DROP TRIGGER movements_never_updated";
const GUARDED: &str = "CREATE TRIGGER movements_never_updated BEFORE UPDATE ON movements\n\
    BEGIN SELECT RAISE(ABORT, 'movements are append-only: post a reversal'); END";

/// A folder with the files of a test.
struct Shelf(TempDir);

impl Shelf {
    fn new() -> Self {
        Self(TempDir::new().expect("a folder"))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn database(&self, name: &str) -> TestDatabase {
        TestDatabase::at(&self.path(name))
    }

    /// A service on a database of this folder, which is made unless it is there.
    fn service(&self, name: &str) -> Service {
        let settings = TestApp::settings(&self.database(name));
        app::open(&settings, Outside::default()).expect("a service")
    }

    /// A database with two lots of one pack of 1000 each, with nobody using it.
    fn filled(&self, name: &str) {
        let service = self.service(name);
        receive(&service, "base", &["1000"], "100");
        receive(&service, "other", &["1000"], "100");
        drop(service);
        self.settled(name);
    }

    /// Waits until nobody has a database open: a pool closes its connections some time after it is dropped.
    fn settled(&self, name: &str) {
        let started = Instant::now();
        while self.path(&format!("{name}-wal")).exists() {
            assert!(started.elapsed() < Duration::from_secs(20), "still open");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(self.0.path()).expect("the folder");
        let mut names: Vec<String> = entries
            .map(|entry| entry.expect("an entry").file_name())
            .map(|name| name.to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    /// Runs a command on a database of this folder, with a file of this folder.
    fn run(&self, database: &str, command: &str, file: &str) -> Output {
        let file = self.path(file).display().to_string();
        heeltap(Some(&self.database(database)), &[command, &file])
    }

    /// As `run`, where it must end well; returns what was said.
    #[track_caller]
    fn done(&self, database: &str, command: &str, file: &str) -> String {
        told(&self.run(database, command, file), 0, "")
    }

    /// As `run`, where it must fail, say so, and leave the folder as it was.
    #[track_caller]
    fn refused(&self, database: &str, command: &str, file: &str, says: &str) {
        let before = self.names();
        told(&self.run(database, command, file), 1, says);
        assert_eq!(self.names(), before, "nothing is left behind");
    }

    /// Statements behind everybody's back.
    fn altered(&self, name: &str, sql: &str) {
        let path = self.path(name).display().to_string();
        let mut conn = SqliteConnection::establish(&path).expect("a database");
        conn.batch_execute(sql).expect("altered");
    }
}

/// What was said on standard output, when it ended with the code and said this on standard error.
#[track_caller]
fn told(output: &Output, code: i32, says: &str) -> String {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let (said, err) = (text(&output.stdout), text(&output.stderr));
    assert_eq!(output.status.code(), Some(code), "{said}{err}");
    assert!(err.contains(says), "{err}");
    said
}

/// Whether a file is one that SQLite reads without a log beside it (bytes 18 and 19 of its header).
fn is_single_file(path: &Path) -> bool {
    fs::read(path).expect("a file")[18..20] == [1, 1]
}

/// The number of movements that a file of heads stands for.
fn movements(heads: &str) -> i64 {
    let last = heads.lines().last().expect("a line");
    last.split(',')
        .nth(3)
        .expect("a cell")
        .parse()
        .expect("a number")
}

fn spill(client: &Client, pack: i64) {
    let body = json!({"quantity": "0.001", "reason": "dripped"});
    client
        .post(&format!("/v1/packs/{pack}/spill"), body)
        .expect(200);
}

#[test]
fn a_backup_while_others_write_holds_one_moment() {
    let shelf = Shelf::new();
    shelf.filled("live");
    let serving = Heeltap::serve(&shelf.database("live"));
    let client = Client::new(serving.address, serving.token.clone());
    let (ended, written) = (AtomicBool::new(false), AtomicUsize::new(0));
    let names = ["first", "second", "third"];
    std::thread::scope(|scope| {
        for pack in [1, 1, 2, 2] {
            let (client, ended, written) = (client.clone(), &ended, &written);
            scope.spawn(move || {
                while !ended.load(Ordering::Relaxed) {
                    spill(&client, pack);
                    written.fetch_add(1, Ordering::Relaxed);
                }
            });
        }
        let grown = |more: usize| {
            let wanted = written.load(Ordering::Relaxed) + more;
            let started = Instant::now();
            while written.load(Ordering::Relaxed) < wanted {
                let patient = started.elapsed() < Duration::from_secs(30);
                if !patient {
                    ended.store(true, Ordering::Relaxed);
                }
                assert!(patient, "nothing is written");
                std::thread::sleep(Duration::from_millis(1));
            }
        };
        grown(8);
        let outcomes = names.map(|name| {
            let before = written.load(Ordering::Relaxed);
            let output = shelf.run("live", "backup", name);
            (output, written.load(Ordering::Relaxed) - before)
        });
        grown(8);
        // The threads must end before anything here may fail, else the scope waits for ever.
        ended.store(true, Ordering::Relaxed);
        for (output, meanwhile) in outcomes {
            let said = told(&output, 0, "");
            assert!(said.contains("read again, and its books verify"), "{said}");
            assert!(meanwhile > 0, "a service goes on while it is backed up");
        }
    });
    let live = told(&heeltap(Some(&shelf.database("live")), &["heads"]), 0, "");
    let mut last = 0;
    for name in names {
        assert!(is_single_file(&shelf.path(name)));
        let kept = fs::read_to_string(shelf.path(&format!("{name}.heads"))).expect("heads");
        assert!(last < movements(&kept) && movements(&kept) < movements(&live));
        last = movements(&kept);
        // Its heads are those of what it holds, and stand in the chains of the database that went on.
        let url = format!("sqlite://{}?mode=ro", shelf.path(name).display());
        let own = heeltap(None, &["heads", "--database-url", &url]);
        assert_eq!(told(&own, 0, ""), kept);
        let heads = shelf.path(&format!("{name}.heads")).display().to_string();
        let held = heeltap(
            Some(&shelf.database("live")),
            &["verify", "--heads", &heads],
        );
        assert!(told(&held, 0, "").contains("held against the heads of 2 lots"));
    }
}

#[test]
fn what_a_killed_service_had_answered_is_restored_and_served_again() {
    let shelf = Shelf::new();
    shelf.filled("live");
    let serving = Heeltap::serve(&shelf.database("live"));
    let token = serving.token.clone();
    let client = Client::new(serving.address, token.clone());
    spill(&client, 1);
    let before = client.get("/v1/lots").expect(200).json();
    // Dropped, it is killed: what it wrote last is in the write-ahead log alone.
    drop(serving);
    assert!(fs::metadata(shelf.path("live-wal")).expect("a log").len() > 0);
    let said = shelf.done("live", "backup", "saved");
    assert!(said.contains("saved: 2 lots, 3 movements, "), "{said}");

    let said = shelf.done("restored", "restore", "saved");
    assert!(said.contains("restored: 2 lots, 3 movements, "), "{said}");
    assert!(said.contains("its heads are those of "), "{said}");
    assert_eq!(
        shelf.names(),
        ["live", "restored", "saved", "saved.heads"],
        "nothing is left beside them"
    );
    let again = Heeltap::serve(&shelf.database("restored"));
    assert_eq!(again.token, None);
    let client = Client::new(again.address, token);
    assert_eq!(client.get("/v1/lots").expect(200).json(), before);
    spill(&client, 1);
    assert_eq!(client.get("/v1/verify").expect(200).json()["ok"], true);
}

#[test]
fn a_backup_replaces_no_file() {
    let shelf = Shelf::new();
    shelf.filled("live");
    shelf.done("live", "backup", "saved");
    let saved = fs::read(shelf.path("saved")).expect("a file");
    shelf.refused("live", "backup", "saved", "saved is there already");
    assert_eq!(fs::read(shelf.path("saved")).expect("a file"), saved);
    fs::write(shelf.path("next.heads"), "").expect("a file");
    shelf.refused("live", "backup", "next", "next.heads is there already");
    shelf.refused("live", "backup", "no/such/folder", "folder cannot be made");
    let output = heeltap(Some(&shelf.database("live")), &["backup"]);
    told(&output, 2, "<FILE>");
}

#[test]
fn only_a_sound_heeltap_database_is_backed_up() {
    let shelf = Shelf::new();
    shelf.refused("missing", "backup", "saved", "missing does not exist");
    shelf.altered("foreign", "CREATE TABLE installation (id INTEGER)");
    let foreign = "foreign is no heeltap database";
    shelf.refused("foreign", "backup", "saved", foreign);
    fs::write(shelf.path("text"), "x".repeat(4096)).expect("a file");
    shelf.refused("text", "backup", "saved", "not a database");
    shelf.filled("broken");
    shelf.altered("broken", "UPDATE lots SET on_hand_micro = 1 WHERE id = 2");
    let broken = "broken do not verify, 1 broken: (2) lot 2: on hand is 1 millionths";
    shelf.refused("broken", "backup", "saved", broken);
}

#[test]
fn a_restore_replaces_nothing() {
    let shelf = Shelf::new();
    shelf.filled("live");
    shelf.done("live", "backup", "saved");
    shelf.refused("live", "restore", "saved", "live is there already");
    for left in ["-wal", "-shm", "-journal"] {
        let name = format!("restored{left}");
        fs::write(shelf.path(&name), "").expect("a file");
        let says = format!("{name} is there already");
        shelf.refused("restored", "restore", "saved", &says);
        fs::remove_file(shelf.path(&name)).expect("removed");
    }
    // A name that somebody reserved by an empty file is no database.
    fs::write(shelf.path("restored"), "").expect("a file");
    let said = shelf.done("restored", "restore", "saved");
    assert!(said.contains("restored: 2 lots, 2 movements, "), "{said}");
    assert!(is_single_file(&shelf.path("restored")));
    let url = format!("sqlite://{}?mode=ro", shelf.path("other").display());
    let file = shelf.path("saved").display().to_string();
    let output = heeltap(None, &["restore", &file, "--database-url", &url]);
    told(&output, 2, "leave ?mode=ro out");
}

#[test]
fn a_restore_without_its_heads_says_so() {
    let shelf = Shelf::new();
    shelf.filled("live");
    shelf.done("live", "backup", "saved");
    fs::remove_file(shelf.path("saved.heads")).expect("removed");
    let said = shelf.done("restored", "restore", "saved");
    assert!(said.contains("there is no "), "{said}");
    assert!(said.contains("saved.heads to hold it against"), "{said}");
}

#[test]
fn what_is_no_backup_is_not_restored() {
    let shelf = Shelf::new();
    let refused = |file: &str, says: &str| shelf.refused("restored", "restore", file, says);
    refused("missing", "missing cannot be read");
    fs::create_dir(shelf.path("folder")).expect("a folder");
    refused("folder", "folder is not a file");
    fs::write(shelf.path("empty"), "").expect("a file");
    refused("empty", "empty is no heeltap database");
    fs::write(shelf.path("text"), "x".repeat(4096)).expect("a file");
    refused("text", "text is no heeltap database");
    shelf.altered("foreign", "CREATE TABLE notes (id INTEGER)");
    refused("foreign", "foreign is no heeltap database");
    // A copy of a database in use, with its log: half of a database.
    shelf.filled("live");
    let service = shelf.service("live");
    receive(&service, "third", &["1"], "1");
    refused("live", "live is not whole: part of it is in ");
}

#[test]
fn a_damaged_or_altered_backup_is_not_restored() {
    let shelf = Shelf::new();
    shelf.filled("live");
    shelf.done("live", "backup", "saved");
    let whole = fs::read(shelf.path("saved")).expect("a file");
    let heads = fs::read(shelf.path("saved.heads")).expect("a file");
    let refused = |bytes: &[u8], says: &str| {
        fs::write(shelf.path("saved"), bytes).expect("a file");
        shelf.refused("restored", "restore", "saved", says);
    };
    for part in [1, 2, 3] {
        refused(&whole[..whole.len() * part / 4], "saved is damaged: ");
    }
    let mut overwritten = whole.clone();
    let middle = whole.len() / 2;
    overwritten[middle..].fill(0x55);
    refused(&overwritten, "saved is damaged: ");
    // A word within a row: a whole database, but not the books that were written.
    fs::write(shelf.path("saved"), &whole).expect("a file");
    shelf.altered(
        "saved",
        &format!("{UNGUARDED}; UPDATE movements SET actor = 'nest' WHERE id = 2; {GUARDED}"),
    );
    refused(
        &fs::read(shelf.path("saved")).expect("a file"),
        "saved do not verify, 1 broken: (6) lot 2: movement 2 (number 1) was altered",
    );

    // Sound books without a guard, or with one that guards nothing.
    let harmless = GUARDED.replace("UPDATE", "UPDATE OF hash");
    for (sql, says) in [
        (UNGUARDED, "its trigger movements_never_updated is missing"),
        (
            &format!("{UNGUARDED}; {harmless}"),
            "its trigger movements_never_updated is not heeltap's",
        ),
    ] {
        fs::write(shelf.path("saved"), &whole).expect("a file");
        shelf.altered("saved", sql);
        refused(&fs::read(shelf.path("saved")).expect("a file"), says);
    }

    // Books that are sound in themselves, but not those whose heads were printed: later ones, and others.
    spill_once(&shelf, "live");
    shelf.done("live", "backup", "later");
    refused(
        &fs::read(shelf.path("later")).expect("a file"),
        "it has 3 movements in 2 lots instead of 2 in 2",
    );
    shelf.filled("others");
    shelf.done("others", "backup", "another");
    refused(
        &fs::read(shelf.path("another")).expect("a file"),
        "lot 1: movement number 1, which was its head, has another hash",
    );
    fs::write(shelf.path("saved.heads"), &heads[1..]).expect("a file");
    refused(&whole, "saved.heads, line 1, column lot: ");

    fs::write(shelf.path("saved.heads"), &heads).expect("a file");
    fs::write(shelf.path("saved"), &whole).expect("a file");
    shelf.done("restored", "restore", "saved");
}

/// Spills a little of the first pack, with nobody using the database afterwards.
fn spill_once(shelf: &Shelf, name: &str) {
    let serving = Heeltap::serve(&shelf.database(name));
    let token = serving.token.clone().expect("a first start");
    spill(&Client::new(serving.address, Some(token)), 1);
    serving.signal("TERM");
    assert!(serving.ended().0.success());
}

#[test]
fn a_newer_database_is_refused_by_every_command() {
    let shelf = Shelf::new();
    shelf.filled("live");
    shelf.done("live", "backup", "saved");
    let newer = "INSERT INTO __diesel_schema_migrations (version) VALUES ('99991231000001')";
    for name in ["live", "saved"] {
        shelf.altered(name, newer);
    }
    let says = "written by a newer heeltap (schema 99991231000001, this program knows ";
    shelf.refused("live", "backup", "other", says);
    shelf.refused("restored", "restore", "saved", says);
    let read_only = format!("sqlite://{}?mode=ro", shelf.path("live").display());
    for command in ["serve", "verify", "heads"] {
        told(&heeltap(Some(&shelf.database("live")), &[command]), 1, says);
        let output = heeltap(None, &[command, "--database-url", &read_only]);
        told(&output, 1, says);
    }
}
