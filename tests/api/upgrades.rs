//! Databases of every schema so far, with data in them, upgraded by this program.
//!
//! A sample holds the rows that a program of its schema wrote while a lab lived for a day (`upgrades/life.rs`). It is written
//! once, by the ignored test below, when the schema is made, and never changed: the next schema is then tested against
//! it. Invariants: every migration has its sample; what an upgraded database is judged by is read from it before.

#[path = "upgrades/dump.rs"]
mod dump;
#[path = "upgrades/life.rs"]
mod life;
#[path = "upgrades/sample.rs"]
mod sample;

use chrono::TimeDelta;
use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::Text;
use heeltap::app::{self, Outside};
use heeltap::db::{AnyConnection, DatabaseUrl};
use heeltap::purchasing::ops::{draft_commit, draft_get};
use heeltap::stock::heads::Heads;
use heeltap::stock::verify::{heads, verify, verify_against};
use serde_json::{Value, json};

use crate::support::lab::{micro, verified};
use crate::support::{TestApp, TestDatabase, heeltap};
use sample::{folder, sampled, versions};

/// What must be after an upgrade as it was before, by a query for each.
const KEPT: &[&str] = &[
    "SELECT CAST(COUNT(*) AS TEXT) || ' movements worth ' || CAST(SUM(value_micro) AS TEXT) AS line FROM movements",
    "SELECT 'lot ' || CAST(id AS TEXT) || ' ' || code || ' ' || CAST(on_hand_micro AS TEXT) || ' @ ' || \
     CAST(remaining_value_micro AS TEXT) || ' of ' || CAST(landed_cost_micro AS TEXT) || ' ' || head_hash AS line FROM lots ORDER BY id",
    "SELECT 'pack ' || CAST(id AS TEXT) || ' ' || CAST(on_hand_micro AS TEXT) || ' - ' || CAST(reserved_micro AS TEXT) AS line \
     FROM packs ORDER BY id",
    "SELECT 'cast ' || code || ' ' || state AS line FROM casts ORDER BY id",
    "SELECT 'cost ' || CAST(cast_id AS TEXT) || ' ' || component || ' ' || CAST(SUM(amount_micro) AS TEXT) AS line FROM cast_costs \
     GROUP BY cast_id, component ORDER BY cast_id, component",
    "SELECT 'pool ' || CAST(id AS TEXT) || ' ' || kind || ' ' || CAST(remaining_value_micro AS TEXT) || ' ' || \
     CAST(remaining_uses AS TEXT) AS line FROM cost_pools ORDER BY id",
    "SELECT 'promise ' || CAST(id AS TEXT) || ' ' || state AS line FROM reservations ORDER BY id",
    "SELECT 'charge ' || CAST(cast_id AS TEXT) || ' ' || CAST(grant_id AS TEXT) || ' ' || CAST(share_micro AS TEXT) AS line \
     FROM cast_charges ORDER BY cast_id, grant_id",
    "SELECT noun || ' ' || code || ' ' || body AS line FROM catalogue_entries ORDER BY id",
];

#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Text)]
    line: String,
}

fn lines(conn: &mut AnyConnection, sql: &str) -> Vec<String> {
    let rows: Result<Vec<Line>, _> = match conn {
        AnyConnection::Sqlite(conn) => diesel::sql_query(sql).load(conn),
        AnyConnection::Postgres(conn) => diesel::sql_query(sql).load(conn),
    };
    let rows = rows.unwrap_or_else(|e| panic!("`{sql}` failed: {e}"));
    rows.into_iter().map(|row| row.line).collect()
}

fn kept(conn: &mut AnyConnection) -> Vec<String> {
    KEPT.iter().flat_map(|sql| lines(conn, sql)).collect()
}

/// A connection that migrates nothing.
fn connect(database: &TestDatabase) -> AnyConnection {
    let opened = match database.url() {
        DatabaseUrl::Sqlite { path, .. } => {
            SqliteConnection::establish(path).map(AnyConnection::Sqlite)
        }
        DatabaseUrl::Postgres(address) => {
            PgConnection::establish(address).map(AnyConnection::Postgres)
        }
    };
    opened.expect("a database")
}

/// Serves a sample with this program, an hour after it was written.
fn upgraded(version: &str) -> (TestApp, Vec<String>, Heads) {
    let database = sampled(version);
    let mut conn = connect(&database);
    let (before, kept_heads) = (kept(&mut conn), heads(&mut conn).expect("the heads"));
    assert!(before.len() > 150, "{} figures", before.len());
    assert!(kept_heads.lots().len() > 10);
    drop(conn);
    let app = TestApp::on(database, |_| {});
    app.clock.advance(TimeDelta::hours(1));
    (app, before, kept_heads)
}

#[test]
fn every_schema_has_its_sample() {
    let mut samples: Vec<String> = std::fs::read_dir(folder())
        .expect("the samples")
        .map(|entry| entry.expect("an entry").file_name())
        .filter_map(|name| name.to_str()?.strip_suffix(".sql").map(str::to_owned))
        .collect();
    samples.sort();
    assert_eq!(
        samples,
        versions(),
        "write it: cargo test --test api sample_of_this_schema -- --ignored"
    );
}

#[test]
fn an_upgrade_keeps_every_figure() {
    for version in versions() {
        let (app, before, kept_heads) = upgraded(&version);
        let db = app.service.db();
        let after = db.read(|conn| Ok(kept(conn))).expect("the figures");
        assert_eq!(after, before, "{version}");
        let found = db
            .read(|conn| verify_against(conn, &kept_heads))
            .expect("the books");
        assert!(found.ok, "{version}: {:?}", found.breaches);
        shown_as_kept(&app, &before);
    }
}

/// Lots and costs over HTTP are the figures of the rows.
fn shown_as_kept(app: &TestApp, rows: &[String]) {
    let lots = app.get("/v1/lots?limit=1000").expect(200).json();
    for lot in lots["items"].as_array().expect("lots") {
        let row = format!(
            "lot {} {} {} @ {} of {} {}",
            lot["id"],
            lot["lot"].as_str().expect("a code"),
            micro(&lot["on_hand"]),
            micro(&lot["remaining_value"]),
            micro(&lot["landed_cost"]),
            lot["head_hash"].as_str().expect("a hash")
        );
        assert!(rows.contains(&row), "{row}");
    }
    for id in [1, 2, 5] {
        let cost = app.get(&format!("/v1/casts/C-0000{id}/cost"));
        let cost = cost.expect(200).json();
        let components = cost["components"].as_array().expect("components");
        for component in components.iter().filter(|of| of["amount"] != "0") {
            let name = component["component"].as_str().expect("a name");
            let row = format!("cost {id} {name} {}", micro(&component["amount"]));
            assert!(rows.contains(&row), "{row}");
        }
    }
}

/// The state of a cast after an operation on it.
fn moved(app: &TestApp, code: &str, operation: &str, body: Value) -> Value {
    let done = app.post(&format!("/v1/casts/{code}/{operation}"), body);
    done.expect(200).json()["state"].clone()
}

#[test]
fn work_goes_on_after_an_upgrade() {
    let counted = |good: u32| json!({"demolded_on": "2026-03-02", "good": good, "rejects": []});
    let mistyped = || json!({"reason": "mistyped"});
    for version in versions() {
        let (app, _, kept_heads) = upgraded(&version);
        let cast = |code: &str| app.get(&format!("/v1/casts/{code}")).expect(200).json();
        // What was demoulded is taken back and counted again.
        assert_eq!(moved(&app, "C-00001", "undo", mistyped()), "poured");
        assert_eq!(moved(&app, "C-00001", "demold", counted(8)), "demolded");
        // What was poured last is taken back, poured again, and demoulded.
        assert_eq!(moved(&app, "C-00005", "undo", mistyped()), "booked");
        verified(&app);
        let weighed = life::poured(&cast("C-00005"));
        assert_eq!(moved(&app, "C-00005", "pour", weighed), "poured");
        assert_eq!(moved(&app, "C-00005", "demold", counted(4)), "demolded");
        // What was booked is poured.
        let weighed = life::poured(&cast("C-00003"));
        assert_eq!(moved(&app, "C-00003", "pour", weighed), "poured");
        assert_eq!(moved(&app, "C-00003", "demold", counted(4)), "demolded");
        assert_eq!(moved(&app, "C-00002", "demold", counted(12)), "demolded");
        // What was short gives way, and another is booked.
        let cancelled = moved(&app, "C-00006", "cancel", json!({"reason": "too many"}));
        assert_eq!(cancelled, "cancelled");
        let next = json!({"recipe": "chip", "containers": 1, "cast_on": "2026-03-20"});
        let next = app.post("/v1/casts", next).expect(201).json();
        assert_eq!(next["code"], "C-00007", "numbers go on");
        verified(&app);
        let grown = app
            .service
            .db()
            .read(|conn| verify_against(conn, &kept_heads))
            .expect("the books");
        assert!(grown.ok, "{version}: {:?}", grown.breaches);
        let report = app.get("/v1/reports/replica-cost").expect(200).json();
        assert_eq!(report["total"]["casts"], 4, "{version}: {report}");
        app.get("/v1/reorder").expect(200);
        app.get("/v1/warnings").expect(200);
        app.get("/v1/orders").expect(200);
        app.get("/v1/purchase-imports/1").expect(200);
    }
}

/// The coats that copies shared became the coat of the first copy, with all their value; other copies count as bare.
#[test]
fn shared_coats_become_the_coat_of_the_first_copy() {
    let (app, before, _) = upgraded("20261125000001");
    let coat = "SELECT CAST(copy_no AS TEXT) || ': ' || CAST(remaining_value_micro AS TEXT) || ' in ' || \
        CAST(remaining_uses AS TEXT) AS line FROM cost_pools WHERE kind = 'coat'";
    let coats = app.service.db().read(|conn| Ok(lines(conn, coat)));
    assert!(before.contains(&"pool 2 coat 1200000 4".to_owned()));
    assert_eq!(coats.expect("the coats"), ["1: 1200000 in 4"]);
    // Two trays need both copies, and the second is bare: that takes a vial.
    let plan = json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"});
    let plan = app.post("/v1/cast-plans", plan).expect(200).json();
    let loads = json!([{"before_round": 1, "copies": [2], "vials": 1}]);
    assert_eq!(plan["release"]["loads"], loads);
}

/// A purchase file that waited still waits, byte by byte, and is received by the upgraded program.
#[test]
fn a_file_that_waits_is_received_after_an_upgrade() {
    for version in versions() {
        if version.as_str() < "20261130000005" {
            continue;
        }
        let (app, ..) = upgraded(&version);
        let settled = app.service.db().read(|conn| draft_get(conn, 1));
        let settled = settled.expect("the draft").settled.expect("it is settled");
        assert_eq!(settled.import_id, Some(1));
        let lots = |app: &TestApp| {
            let lots = app.get("/v1/lots?limit=1000").expect(200).json();
            lots["items"].as_array().expect("lots").len()
        };
        let before = lots(&app);
        let received = app.service.as_actor("buyer", |tx| {
            draft_commit(tx, 2, Default::default(), &mut |_| {})
        });
        received.expect("the draft must be received");
        assert_eq!(lots(&app), before + 1, "{version}");
        verified(&app);
    }
}

/// The copies that stand beside a file, made before it was brought up to date.
fn copies(path: &str) -> Vec<String> {
    let folder = std::path::Path::new(path).parent().expect("a folder");
    let mut found: Vec<String> = std::fs::read_dir(folder)
        .expect("the folder")
        .map(|entry| entry.expect("an entry").path().display().to_string())
        .filter(|found| found.starts_with(&format!("{path}.before-upgrade-")))
        .collect();
    found.sort();
    found
}

#[test]
fn a_file_of_an_earlier_schema_is_copied_before_it_is_brought_up_to_date() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let (oldest, newest) = (versions().remove(0), versions().pop().expect("a schema"));
    let live = TestDatabase::at(&folder.path().join("live"));
    let DatabaseUrl::Sqlite { path, .. } = live.url().clone() else {
        panic!("a file is no server");
    };
    sample::fill(&live, &oldest);
    let before = kept(&mut connect(&live));
    let opened = |database: &TestDatabase| {
        app::open(&TestApp::settings(database), Outside::default()).map(|_| ())
    };
    opened(&live).expect("it is brought up to date");
    let copy = format!("{path}.before-upgrade-{oldest}");
    assert_eq!(
        copies(&path),
        std::slice::from_ref(&copy),
        "one copy and nothing else"
    );
    assert_eq!(schema_of(&live), newest);
    let copied = TestDatabase::at(std::path::Path::new(&copy));
    assert_eq!(schema_of(&copied), oldest);
    assert_eq!(kept(&mut connect(&copied)), before);
    // Once it is of this schema, nothing is copied any more.
    opened(&live).expect("it opens");
    assert_eq!(copies(&path).len(), 1);
    // A file of the copy's name is left alone, and where nothing can be written, nothing is changed.
    let again = TestDatabase::at(&folder.path().join("again"));
    let DatabaseUrl::Sqlite { path, .. } = again.url().clone() else {
        panic!("a file is no server");
    };
    sample::fill(&again, &oldest);
    let taken = format!("{path}.before-upgrade-{oldest}");
    std::fs::write(&taken, "somebody's own").expect("a file");
    opened(&again).expect("it is brought up to date");
    assert_eq!(copies(&path), [taken.clone(), format!("{taken}-2")]);
    assert_eq!(std::fs::read(&taken).expect("the file"), b"somebody's own");
}

#[test]
fn a_file_that_cannot_be_copied_is_left_as_it_is() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let oldest = versions().remove(0);
    let live = TestDatabase::at(&folder.path().join("live"));
    let DatabaseUrl::Sqlite { path, .. } = live.url().clone() else {
        panic!("a file is no server");
    };
    sample::fill(&live, &oldest);
    for no in 1..=100 {
        let name = match no {
            1 => format!("{path}.before-upgrade-{oldest}"),
            _ => format!("{path}.before-upgrade-{oldest}-{no}"),
        };
        std::fs::write(name, "").expect("a file");
    }
    let settings = TestApp::settings(&live);
    let refused = app::open(&settings, Outside::default()).err();
    let refused = refused.expect("it must not open").to_string();
    assert!(refused.contains("100 copies stand beside it"), "{refused}");
    assert_eq!(schema_of(&live), oldest);
}

/// What a file's list of migrations ends with.
fn schema_of(database: &TestDatabase) -> String {
    let newest = "SELECT MAX(version) AS line FROM __diesel_schema_migrations";
    lines(&mut connect(database), newest).remove(0)
}

#[test]
fn an_earlier_backup_is_kept_as_it_is_and_brought_up_to_date_when_it_is_restored() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    let (oldest, newest) = (versions().remove(0), versions().pop().expect("a schema"));
    let live = TestDatabase::at(&at("live"));
    sample::fill(&live, &oldest);
    let before = kept(&mut connect(&live));
    let saved = at("saved").display().to_string();
    let done = |database: &TestDatabase, command: &str| {
        let output = heeltap(Some(database), &[command, &saved]);
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        assert!(output.status.success(), "{}", text(&output.stderr));
        text(&output.stdout)
    };
    assert!(done(&live, "backup").contains("its books verify"));
    assert_eq!(schema_of(&live), oldest, "a backup migrates nothing");
    assert_eq!(schema_of(&TestDatabase::at(&at("saved"))), oldest);
    let restored = TestDatabase::at(&at("restored"));
    let said = done(&restored, "restore");
    let upgraded = format!("its schema was {oldest} and was brought up to {newest}\n");
    assert!(said.ends_with(&upgraded), "{said}");
    assert_eq!(schema_of(&restored), newest);
    assert_eq!(kept(&mut connect(&restored)), before);
    let left = std::fs::read_dir(folder.path())
        .expect("the folder")
        .count();
    assert_eq!(left, 4, "live, restored, saved and its heads");
}

#[test]
fn a_newer_database_is_refused() {
    let database = TestDatabase::new();
    let service = app::open(&TestApp::settings(&database), Outside::default()).expect("a service");
    let newer = "INSERT INTO __diesel_schema_migrations (version) VALUES ('99991231000001')";
    let newer = service.db().write(|conn| Ok(conn.batch_execute(newer)?));
    newer.expect("written");
    for arguments in [&["serve"][..], &["verify"], &["heads"], &["token", "list"]] {
        let output = heeltap(Some(&database), arguments);
        let err = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{arguments:?}: {err}");
        let says = "written by a newer heeltap (schema 99991231000001, this program knows ";
        assert!(err.contains(says), "{arguments:?}: {err}");
    }
}

/// To be run when a migration is made, before it is released: it writes the sample of the schema that the migration makes.
#[test]
#[ignore = "writes a file among the sources"]
fn the_sample_of_this_schema_is_written() {
    let version = versions().pop().expect("a schema");
    let path = folder().join(format!("{version}.sql"));
    assert!(!path.exists(), "a sample is never changed");
    let database = TestDatabase::file();
    let file = match database.url() {
        DatabaseUrl::Sqlite { path, .. } => path.clone(),
        DatabaseUrl::Postgres(_) => panic!("samples are written from SQLite"),
    };
    let app = TestApp::on(database, |_| {});
    life::live(&app);
    life::live_with_treatments(&app);
    life::live_with_corrections(&app);
    life::live_with_delivery(&app);
    life::live_with_drafts(&app);
    assert!(app.service.db().read(verify).expect("the books").ok);
    let head = format!(
        "-- What a lab wrote with the schema {version}. Never changed: see tests/api/upgrades.rs.\n"
    );
    std::fs::write(&path, head + &dump::dump(&file)).expect("the sample");
}
