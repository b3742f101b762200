//! Closed periods: frozen, given again byte for byte, and held against the books.

use diesel::connection::SimpleConnection;
use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{receive, stocked, verified};

/// A cast of February, demoulded in February, and one of February that is still in its tray.
fn february(app: &TestApp) -> String {
    stocked(app);
    let cast = |day: &str| {
        let booking = json!({"recipe": "chip", "containers": 1, "cast_on": "2026-03-01", "charges": [{"grant": "grant-a", "share": "100"}]});
        let cast = app.post("/v1/casts", booking).expect(201).json();
        let batch = &cast["plan"]["batches"][0];
        let pour = json!({"poured_on": day, "batches": [
            {"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"]}]});
        let code = cast["code"].as_str().expect("a code").to_owned();
        app.post(&format!("/v1/casts/{code}/pour"), pour)
            .expect(200);
        code
    };
    let first = cast("2026-02-10");
    let body = json!({"demolded_on": "2026-02-12", "good": 3, "rejects": [{"reason": "bubble", "count": 1}]});
    app.post(&format!("/v1/casts/{first}/demold"), body)
        .expect(200);
    cast("2026-02-20");
    first
}

fn close(app: &TestApp, last_day: &str) -> Value {
    app.post("/v1/periods", json!({"last_day": last_day}))
        .expect(201)
        .json()
}

const QUERIES: [&str; 4] = [
    "replica-cost?group_by=grant",
    "waste?group_by=material",
    "stock-value?group_by=lot",
    "residue?group_by=cup",
];

#[test]
fn a_closed_period_gives_the_same_bytes_whatever_comes_later() {
    let app = TestApp::start();
    let cast = february(&app);
    let all = |format: &str| -> Vec<String> {
        let ask = |query: &str| {
            app.get(&format!(
                "/v1/reports/{query}&to=2026-02-28&format={format}"
            ))
            .expect(200)
            .text
        };
        QUERIES.into_iter().map(ask).collect()
    };
    let live: Vec<Vec<String>> = ["json", "csv"].into_iter().map(all).collect();
    let period = close(&app, "2026-02-28");
    assert_eq!(
        (&period["first_day"], &period["last_day"]),
        (&Value::Null, &json!("2026-02-28"))
    );
    assert_eq!(
        period["reports"].as_array().map(Vec::len),
        Some(5 + 5 + 4 + 5 + 1)
    );
    assert_eq!(
        period["reports"][0]["formats"],
        json!(["csv", "json", "xlsx"])
    );
    let closed: Vec<Vec<String>> = ["json", "csv"].into_iter().map(all).collect();
    assert_eq!(closed, live, "closing changes nothing");
    let sheets = all("xlsx");

    // A price is corrected, a grant renamed, and stock lost: all of it lands in the open period.
    let lot = app.get("/v1/lots?material=base").expect(200).json()["items"][0].clone();
    let correction = json!({"lot": lot["id"], "amount": "5", "reason": "surcharge"});
    app.post("/v1/price-corrections", correction).expect(201);
    let early = json!({"lot": lot["id"], "amount": "5", "reason": "surcharge", "corrected_on": "2026-02-28"});
    let refused = app.post("/v1/price-corrections", early).expect(409);
    assert!(
        refused.problem().ends_with("period-closed"),
        "{}",
        refused.problem()
    );
    let etag = app
        .get("/v1/grants/grant-a")
        .expect(200)
        .header("etag")
        .to_owned();
    app.patch("/v1/grants/grant-a", &etag, json!({"name": "Another name"}))
        .expect(200);
    app.clock.advance(chrono::TimeDelta::days(3));
    app.post(&format!("/v1/casts/{cast}/undo"), json!({}))
        .expect(409);
    let again: Vec<Vec<String>> = ["json", "csv"].into_iter().map(all).collect();
    assert_eq!(again, closed);
    assert_eq!(all("xlsx"), sheets);
    let march = app
        .get("/v1/reports/replica-cost?from=2026-03-01")
        .expect(200)
        .json();
    assert_eq!(march["rows"], json!([]), "no cast was demoulded in March");
    assert_ne!(
        march["price_variance"]["exact_total"], "0",
        "the correction is March's, and shown as such"
    );
    verified(&app);
}

#[test]
fn periods_follow_each_other_and_only_what_is_over_is_closed() {
    let app = TestApp::start();
    february(&app);
    let post = |body: Value| app.post("/v1/periods", body);
    let wrong =
        |body: Value, pointer: &str| assert_eq!(post(body).expect(422).pointers(), [pointer]);
    wrong(json!({"last_day": "2026-03-02"}), "/last_day");
    wrong(
        json!({"first_day": "2026-02-02", "last_day": "2026-02-28"}),
        "/first_day",
    );
    wrong(
        json!({"first_day": "2026-02-02", "last_day": "2026-02-01"}),
        "/first_day",
    );
    post(json!({"first_day": "2026-02-01", "last_day": "2026-02-14"})).expect(201);
    post(json!({"last_day": "2026-02-14"})).expect(409);
    wrong(
        json!({"first_day": "2026-02-16", "last_day": "2026-02-28"}),
        "/first_day",
    );
    let second = post(json!({"last_day": "2026-02-28"})).expect(201).json();
    assert_eq!(second["first_day"], "2026-02-15");
    let list = app.get("/v1/periods").expect(200).json();
    assert_eq!(list["items"].as_array().map(Vec::len), Some(2));
    let shown = app
        .get(&format!("/v1/periods/{}", second["id"]))
        .expect(200)
        .json();
    assert_eq!(shown, second);
    app.get("/v1/periods/99").expect(404);
    // Nothing arrives under a closed day.
    let late = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        receive(&app, "base", "B9", None, &["10"], "1")
    }));
    assert!(late.is_err());
}

#[test]
fn a_history_that_was_rewritten_after_the_closing_is_found() {
    let app = TestApp::start();
    february(&app);
    let period = close(&app, "2026-02-28");
    let heads = app
        .get(&format!("/v1/periods/{}/heads", period["id"]))
        .expect(200)
        .text;
    let digest = period["heads_digest"].as_str().expect("a digest");
    assert!(heads.trim_end().ends_with(digest), "{heads}");
    verified(&app);
    let broken = app.service.db().write(|conn| {
        let rewrite = match conn {
            heeltap::db::AnyConnection::Sqlite(_) => "DROP TRIGGER periods_never_updated;",
            heeltap::db::AnyConnection::Postgres(_) => "ALTER TABLE periods DISABLE TRIGGER USER;",
        };
        conn.batch_execute(rewrite)?;
        conn.batch_execute("UPDATE periods SET heads = REPLACE(heads, ',base,', ',bass,')")?;
        heeltap::stock::verify::verify(conn)
    });
    let found = broken.expect("the books must be read");
    let said: Vec<&str> = found
        .breaches
        .iter()
        .map(|breach| breach.subject.as_str())
        .collect();
    assert_eq!(said, [format!("period {}", period["id"])]);
}
