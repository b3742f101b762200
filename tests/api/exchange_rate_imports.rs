//! Files of exchange rates over HTTP and at the command line. Invented figures.

use std::process::Output;

use heeltap::http::Role;
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::support::{Answer, Client, TestApp, TestDatabase, heeltap, send};

const PATH: &str = "/v1/exchange-rates/imports";

fn send_to(app: &Client, query: &str, body: impl Into<Vec<u8>>) -> Answer {
    let request = app.request("POST", &format!("{PATH}{query}"));
    send(request.header("Content-Type", "text/csv").body(body.into()))
}

fn outcomes(report: &Value) -> Vec<&str> {
    let rows = report["rows"].as_array().expect("rows");
    rows.iter()
        .filter_map(|row| row["outcome"].as_str())
        .collect()
}

/// Currency, day, rate, direction and source of every rate.
fn rates(app: &Client) -> Vec<String> {
    let list = app.get("/v1/exchange-rates").expect(200).json();
    let items = list["items"].as_array().expect("items");
    let text = |item: &Value, name: &str| item[name].as_str().unwrap_or_default().to_owned();
    let names = ["currency", "rate_on", "rate", "quote", "source"];
    items
        .iter()
        .map(|item| names.map(|name| text(item, name)).join(" "))
        .collect()
}

#[test]
fn a_file_is_shown_entered_known_again_and_replaced() {
    let app = TestApp::start();
    let file = "\u{feff}Rate , CURRENCY,rate_on,quote,source\r\n\
        1.0835,usd,2026-02-27,foreign_per_base,\"a table, of a bank\"\r\n\r\n\
        0.0885,NOK,2026-02-27,,\r\n";
    let shown = send_to(&app, "?dry_run=true", file).expect(200).json();
    assert_eq!(shown["dry_run"], true);
    assert_eq!(outcomes(&shown), ["entered", "entered"]);
    assert!(rates(&app).is_empty());

    let done = send_to(&app, "", file).expect(201);
    assert_eq!(done.header("location"), "/v1/exchange-rates");
    assert_eq!(
        done.json(),
        json!({"dry_run": false, "rows": [
            {"line": 2, "outcome": "entered", "currency": "USD", "rate_on": "2026-02-27"},
            {"line": 4, "outcome": "entered", "currency": "NOK", "rate_on": "2026-02-27"},
        ]})
    );
    let all = [
        "NOK 2026-02-27 0.0885 base_per_foreign ",
        "USD 2026-02-27 1.0835 foreign_per_base a table, of a bank",
    ];
    assert_eq!(rates(&app), all);

    let again = send_to(&app, "", file).expect(200).json();
    assert_eq!(outcomes(&again), ["unchanged", "unchanged"]);
    let more =
        "currency,rate_on,rate\nUSD,2026-02-27,0.93\nUSD,2026-02-26,0.92\nNOK,2026-02-27,0.0885\n";
    let report = send_to(&app, "", more).expect(201).json();
    assert_eq!(outcomes(&report), ["replaced", "entered", "unchanged"]);
    assert_eq!(rates(&app)[2], "USD 2026-02-27 0.93 base_per_foreign ");
}

#[test]
fn every_bad_row_is_named_and_nothing_is_written() {
    let app = TestApp::start();
    let file = "currency,rate_on,rate\nUSD,2026-02-27,0.93\nEUR,2026-03-03,0\nUSD,2026-02-27,0.94\nNOK,27.02.2026,1e5x\n";
    let refused = send_to(&app, "", file).expect(422);
    assert_eq!(refused.problem(), "import-rejected");
    assert!(refused.detail().contains("3 of 4 rows are in error"));
    let body = refused.json();
    let errors: Vec<String> = body["rows"]
        .as_array()
        .expect("rows")
        .iter()
        .flat_map(|row| {
            let line = row["line"].clone();
            let errors = row["errors"].as_array().cloned().expect("errors");
            errors.into_iter().map(move |error| {
                let text = |name: &str| error[name].as_str().unwrap_or_default().to_owned();
                assert!(!text("detail").is_empty());
                format!("{line} {} {}", text("column"), text("value"))
            })
        })
        .collect();
    assert_eq!(
        errors,
        [
            "3 currency EUR",
            "3 rate_on 2026-03-03",
            "3 rate 0",
            "4 rate_on 2026-02-27",
            "5 rate_on 27.02.2026",
            "5 rate 1e5x",
        ]
    );
    assert!(
        body["rows"][1]["errors"][0]["detail"]
            .as_str()
            .is_some_and(|detail| detail.contains("line 2 and on line 4"))
    );
    assert!(rates(&app).is_empty());
    let shown = send_to(&app, "?dry_run=true", file).expect(200).json();
    assert_eq!(outcomes(&shown), ["entered", "error", "error", "error"]);
    assert!(rates(&app).is_empty());
}

#[test]
fn a_file_that_cannot_be_used_is_refused_as_a_whole() {
    let app = TestApp::with(|settings| settings.limits.file_bytes = 2048);
    for (body, says) in [
        (b"".as_slice(), "no header"),
        (b"currency,rate_on\n", "required column \\\"rate\\\" absent"),
        (b"currency,rate_on,rate,price\n", "unknown column"),
        (
            b"currency;rate_on;rate\nUSD;2026-02-27;1\n",
            "delimiter=semicolon",
        ),
        (b"currency,rate_on,rate\nUSD,2026-02-27,\xE4\n", "0xE4"),
        (b"\xFF\xFEc", "UTF-16"),
    ] {
        let refused = send_to(&app, "", body).expect(422);
        assert_eq!(refused.problem(), "import-rejected");
        assert!(refused.text.contains(says), "{}", refused.text);
        assert_eq!(refused.json()["rows"], json!([]));
    }
    let long = format!("currency,rate_on,rate\n{}", "\n".repeat(3000));
    assert_eq!(send_to(&app, "", long).expect(413).problem(), "too-large");
    let json = app.post_text(PATH, "application/json", "{}").expect(415);
    assert_eq!(json.problem(), "unsupported-media-type");
    let misspelt = send_to(&app, "?dryrun=true", "currency,rate_on,rate\n").expect(400);
    assert_eq!(misspelt.problem(), "bad-query");
    let european = "currency;rate_on;rate\nUSD;2026-02-27;0,93\n";
    send_to(&app, "?delimiter=semicolon&decimal=comma", european).expect(201);
    assert_eq!(rates(&app), ["USD 2026-02-27 0.93 base_per_foreign "]);
    let reader = app.role(Role::Bench);
    send_to(&reader, "", "currency,rate_on,rate\n").expect(403);
    send_to(&app.role(Role::Buyer), "", "currency,rate_on,rate\n").expect(200);
}

#[test]
fn a_repeat_under_the_same_key_is_answered_from_the_books() {
    let app = TestApp::start();
    let once = |body: &'static str| {
        let request = app.request("POST", PATH).header("Idempotency-Key", "k");
        send(request.header("Content-Type", "text/csv").body(body))
    };
    let file = "currency,rate_on,rate\nUSD,2026-02-27,0.93\n";
    let first = once(file).expect(201);
    assert_eq!(once(file).expect(201).text, first.text);
    let other = once("currency,rate_on,rate\n").expect(422);
    assert_eq!(other.problem(), "key-reused");
}

#[track_caller]
fn ends(output: &Output, code: i32, out: &str, err: &str) {
    let (said, told) = (
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    assert_eq!(output.status.code(), Some(code), "{said}{told}");
    assert!(said.contains(out), "{said}");
    assert!(told.contains(err), "{told}");
}

#[test]
fn the_command_shows_enters_and_refuses_a_file() {
    let (database, folder) = (TestDatabase::new(), TempDir::new().expect("a folder"));
    let import = |text: &str, flags: &[&str]| {
        let path = folder.path().join("rates.csv");
        std::fs::write(&path, text).expect("a file");
        let path = path.display().to_string();
        let arguments = [&["import-rates", path.as_str()], flags].concat();
        heeltap(Some(&database), &arguments)
    };
    let good = "currency,rate_on,rate\nUSD,2026-02-27,0.93\nNOK,2026-02-27,0.0885\n";
    let one = "2 rows: 2 entered, 0 replaced, 0 unchanged, 0 error; nothing was written\n";
    ends(&import(good, &["--dry-run"]), 0, one, "");
    let two = "2 rows: 2 entered, 0 replaced, 0 unchanged, 0 error\n";
    ends(&import(good, &[]), 0, two, "");
    let three = "2 rows: 0 entered, 0 replaced, 2 unchanged, 0 error\n";
    ends(&import(good, &[]), 0, three, "");
    let bad = "currency,rate_on,rate\nUSD,2026-02-27,0.93\nUSD,2026-02-27,0.94\n";
    for (flags, says) in [
        (&[][..], "1 of 2 rows are in error, so nothing was written"),
        (&["--dry-run"][..], "nothing would be written"),
    ] {
        let line = "line 3, column rate_on: value 2026-02-27: the rate of USD on 2026-02-27 stands on line 2 and on line 3";
        ends(&import(bad, flags), 1, line, says);
    }
    let missing = heeltap(Some(&database), &["import-rates", "/no/such/file.csv"]);
    ends(&missing, 1, "", "/no/such/file.csv cannot be read");
}
