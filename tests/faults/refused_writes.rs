//! A disk that is full and a database that takes no writes: a clear problem, reads go on, and nothing is lost or half done.

use diesel::prelude::*;
use serde_json::json;

use crate::books::read;
use crate::support::TestApp;
use crate::worker::lab_open;

/// A service with one database connection, whose settings the test may change.
fn service() -> TestApp {
    let app = TestApp::with(|settings| settings.db_connections = 1);
    app.clock
        .set(heeltap::base::Clock::now(&heeltap::base::SystemClock));
    lab_open(&app);
    app
}

fn say(app: &TestApp, sql: &str) {
    let told = app.service.db().bare(|conn| {
        diesel::sql_query(sql.to_owned()).execute(conn)?;
        Ok(())
    });
    told.unwrap_or_else(|error| panic!("{sql}: {error}"));
}

fn book(app: &TestApp) -> crate::support::Answer {
    let request = json!({"recipe": "chip", "containers": 1, "cast_on": crate::worker::today()});
    app.post("/v1/casts", request)
}

/// A page limit stands for the end of the disk; PostgreSQL has none to set.
#[test]
fn a_full_disk_is_told_and_nothing_is_lost() {
    let app = service();
    if !app.service.db().url().is_sqlite() {
        return;
    }
    book(&app).expect(201);
    // SQLite takes the present size where the limit is below it.
    say(&app, "PRAGMA max_page_count = 1");
    let mut booked = 1;
    let refused = loop {
        let answer = book(&app);
        if answer.status != 201 {
            break answer;
        }
        booked += 1;
        assert!(booked < 200, "the limit is not felt");
    };
    assert_eq!(refused.expect(507).problem(), "storage-full");
    let books = read(&app);
    assert_eq!(
        books.casts.len(),
        booked,
        "what was answered is there, and nothing else"
    );
    say(&app, "PRAGMA max_page_count = 1000000");
    book(&app).expect(201);
    assert_eq!(read(&app).casts.len(), booked + 1);
}

#[test]
fn a_read_only_database_is_told_and_still_read() {
    let app = service();
    book(&app).expect(201);
    let sqlite = app.service.db().url().is_sqlite();
    let (shut, open) = if sqlite {
        ("PRAGMA query_only = 1", "PRAGMA query_only = 0")
    } else {
        (
            "SET default_transaction_read_only = on",
            "SET default_transaction_read_only = off",
        )
    };
    say(&app, shut);
    for _ in 0..3 {
        assert_eq!(book(&app).expect(503).problem(), "read-only");
    }
    assert_eq!(read(&app).casts.len(), 1);
    say(&app, open);
    book(&app).expect(201);
    assert_eq!(read(&app).casts.len(), 2);
}
