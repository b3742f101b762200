//! Purchase files over HTTP: what they make, what they leave alone, and how they are refused.

use heeltap::http::Page;
use heeltap::http::Role;
use serde_json::{Value, json};

use crate::hostile;
use crate::support::lab::{catalogue, day, micro};
use crate::support::{Answer, TestApp, send};

const PATH: &str = "/v1/purchase-imports";
const HEADER: &str = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on";
const BASE: &str =
    "O-1,1,North,2026-01-20,2026-02-03,base,00123,2,1.1,kg,100.00,EUR,10.00,2027-02-01";
const TRAYS: &str = "O-1,2,North,2026-01-20,2026-02-03,tray,T1,1,100,each,50.00,EUR,,";
const KIT: &str = "O-2,1,North,2026-01-20,2026-02-10,kit-a,K7,2,,,220.00,EUR,,2027-02-01";
const OPEN: &str = "O-3,1,North,2026-02-20,,agent,,1,1,kg,80.00,EUR,,";

/// A service with a catalogue and a kit.
fn lab() -> TestApp {
    let app = TestApp::start();
    catalogue(&app);
    let kit = json!({"code": "kit-a", "name": "Kit", "elastomer": "el", "base_g": "1000", "curing_agent_g": "100"});
    app.post("/v1/kits", kit).expect(201);
    app
}

fn file(rows: &[&str]) -> String {
    format!("{HEADER}\n{}\n", rows.join("\n"))
}

fn send_to(app: &TestApp, query: &str, body: impl Into<Vec<u8>>) -> Answer {
    let request = app.request("POST", &format!("{PATH}{query}"));
    send(request.header("Content-Type", "text/csv").body(body.into()))
}

/// The lots as material, lot code, kit lot, quantity and landed cost.
fn lots(app: &TestApp) -> Vec<(String, String, Option<String>, String, String)> {
    let read = |conn: &mut heeltap::db::AnyConnection| {
        heeltap::stock::views::lots_list(
            conn,
            None,
            None,
            Page {
                after: 0,
                limit: 1_000,
            },
            day("2026-03-02"),
        )
    };
    let lots = app.service.db().read(read).expect("the lots");
    lots.into_iter()
        .map(|lot| {
            let (on_hand, cost) = (lot.on_hand.to_string(), lot.landed_cost.to_string());
            (lot.material, lot.lot, lot.kit_lot, on_hand, cost)
        })
        .collect()
}

fn outcomes(report: &Value) -> Vec<&str> {
    let rows = report["rows"].as_array().expect("rows");
    rows.iter()
        .filter_map(|row| row["outcome"].as_str())
        .collect()
}

#[track_caller]
fn verified(app: &TestApp) {
    let proof = app.service.db().read(heeltap::stock::verify::verify);
    let proof = proof.expect("the books must be read");
    assert!(proof.ok, "{:?}", proof.breaches);
}

#[test]
fn a_file_makes_lots_and_spreads_its_freight() {
    let app = lab();
    let done = send_to(&app, "", file(&[BASE, TRAYS, KIT, OPEN])).expect(201);
    assert_eq!(done.header("location"), "/v1/purchase-imports/1");
    let report = done.json();
    assert_eq!(
        (&report["id"], &report["dry_run"]),
        (&json!(1), &json!(false))
    );
    assert_eq!(report["lots_created"], 4);
    assert_eq!(
        outcomes(&report),
        ["created", "created", "created", "ordered"]
    );
    assert_eq!(report["rows"][0]["line"], 2);
    let lot = |material: &str, lot: &str, kit_lot: Option<&str>, on_hand: &str, cost: &str| {
        let text = str::to_owned;
        (
            text(material),
            text(lot),
            kit_lot.map(text),
            text(on_hand),
            text(cost),
        )
    };
    // Freight of 10.00 over 100.00 and 50.00; the kit's 220.00 over 1000 g and 100 g.
    let expected = [
        lot("base", "00123", None, "2200", "106.666667"),
        lot("tray", "T1", None, "100", "53.333333"),
        lot("base", "K7", Some("K7"), "2000", "200"),
        lot("agent", "K7", Some("K7"), "200", "20"),
    ];
    assert_eq!(lots(&app), expected);
    let kit = report["rows"][2]["lots"]
        .as_array()
        .expect("the kit's lots");
    assert_eq!(kit.len(), 2);
    assert_eq!((&kit[0]["id"], &kit[1]["id"]), (&json!(3), &json!(4)));
    let paid: i64 = ["100", "10", "50", "220"]
        .map(|amount| micro(&json!(amount)))
        .iter()
        .sum();
    let landed: i64 = lots(&app).iter().map(|lot| micro(&json!(lot.4))).sum();
    assert_eq!(landed, paid, "to the millionth");
    verified(&app);
    let shown = app.get("/v1/purchase-imports/1").expect(200).json();
    assert_eq!(shown["rows"], report["rows"]);
    assert_eq!(shown["created_by"], "administrator");
    let list = app.get(PATH).expect(200).json();
    assert_eq!(list["items"][0]["lots_created"], 4);
    assert_eq!(
        app.get("/v1/purchase-imports/2").expect(404).problem(),
        "not-found"
    );
}

#[test]
fn the_way_of_writing_a_file_does_not_matter_when_it_is_said() {
    let app = lab();
    let columns: Vec<&str> = HEADER.split(',').rev().collect();
    let cells: Vec<&str> = BASE.split(',').rev().collect();
    let reversed = format!("\u{feff}{}\r\n{}\r\n", columns.join(","), cells.join(","));
    send_to(&app, "", reversed).expect(201);
    let semicolons = file(&[BASE, TRAYS])
        .replace(',', ";")
        .replace(".00", ",00")
        .replace("1.1", "1,1");
    let done = send_to(
        &app,
        "?delimiter=semicolon&decimal=comma",
        semicolons.clone(),
    )
    .expect(201);
    assert_eq!(outcomes(&done.json()), ["already_imported", "created"]);
    let guessed = send_to(&app, "", semicolons.clone()).expect(422).json();
    assert!(
        guessed["detail"]
            .as_str()
            .unwrap()
            .contains("delimiter=semicolon"),
        "{guessed}"
    );
    let half = send_to(&app, "?delimiter=semicolon", semicolons)
        .expect(422)
        .json();
    assert!(
        half["rows"][0]["errors"][0]["detail"]
            .as_str()
            .unwrap()
            .contains("decimal=comma"),
        "{half}"
    );
    let windows: Vec<u8> = file(&[&KIT.replace("North", "M?ller")])
        .bytes()
        .map(|byte| if byte == b'?' { 0xFC } else { byte })
        .collect();
    let refused = send_to(&app, "", windows.clone()).expect(422).json();
    assert_eq!(
        (&refused["rows"], &refused["line"]),
        (&json!([]), &json!(2))
    );
    send_to(&app, "?encoding=windows-1252", windows).expect(201);
    let suppliers = app.get("/v1/suppliers").expect(200).json();
    assert_eq!(suppliers["items"][1]["name"], "Müller");
}

/// A report without what only a commit has.
fn without_ids(mut report: Value) -> Value {
    (report["id"], report["dry_run"]) = (Value::Null, json!(true));
    for row in report["rows"].as_array_mut().expect("rows") {
        let lots = row.get_mut("lots").and_then(Value::as_array_mut);
        for lot in lots.into_iter().flatten() {
            lot.as_object_mut().expect("a lot").remove("id");
        }
    }
    report
}

#[test]
fn a_dry_run_says_what_a_commit_does_and_writes_nothing() {
    let app = lab();
    let body = file(&[BASE, TRAYS, KIT, OPEN]);
    let said = send_to(&app, "?dry_run=true", body.clone())
        .expect(200)
        .json();
    assert!(lots(&app).is_empty());
    assert_eq!(app.get(PATH).json()["items"], json!([]));
    assert_eq!(app.get("/v1/orders").json()["items"], json!([]));
    assert_eq!(app.get("/v1/suppliers").json()["items"], json!([]));
    let done = send_to(&app, "?dry_run=false", body.clone())
        .expect(201)
        .json();
    assert_eq!(without_ids(done), said);
    let again = send_to(&app, "?dry_run=true", body).expect(200).json();
    assert!(
        outcomes(&again)
            .iter()
            .all(|outcome| *outcome == "already_imported")
    );
}

#[test]
fn a_repeat_makes_nothing_and_an_arrival_receives() {
    let app = lab();
    let body = file(&[BASE, OPEN]);
    send_to(&app, "", body.clone()).expect(201);
    let repeat = send_to(&app, "", body).expect(200);
    assert_eq!(
        outcomes(&repeat.json()),
        ["already_imported", "already_imported"]
    );
    assert_eq!(repeat.json()["id"], 1);
    assert_eq!(repeat.header("location"), "");
    let arrived = OPEN.replace("2026-02-20,,agent,,", "2026-02-20,2026-03-01,agent,A9,");
    let done = send_to(&app, "", file(&[BASE, &arrived]))
        .expect(201)
        .json();
    assert_eq!(outcomes(&done), ["already_imported", "created"]);
    assert_eq!(lots(&app).len(), 2);
    let order = app.get("/v1/orders/O-3").expect(200).json();
    assert_eq!(
        (&order["state"], &order["lines"][0]["lots"]),
        (&json!("received"), &json!([2]))
    );
    let changed = send_to(&app, "", file(&[&BASE.replace("100.00", "99.00")]))
        .expect(422)
        .json();
    assert_eq!(changed["rows"][0]["errors"][0]["column"], "line_price");
    verified(&app);
}

#[test]
fn a_key_answers_a_repeat_from_the_books() {
    let app = lab();
    let once = |body: String| {
        let request = app.request("POST", PATH).header("Content-Type", "text/csv");
        send(request.header("Idempotency-Key", "k1").body(body))
    };
    let first = once(file(&[BASE])).expect(201);
    let again = once(file(&[BASE])).expect(201);
    assert_eq!(
        (again.text.clone(), again.header("location")),
        (first.text.clone(), first.header("location"))
    );
    assert_eq!(lots(&app).len(), 1);
    assert_eq!(once(file(&[TRAYS])).expect(422).problem(), "key-reused");
}

#[test]
fn another_currency_needs_a_rate() {
    let app = lab();
    let usd = BASE.replace("EUR,10.00", "USD,");
    let refused = send_to(&app, "", file(&[&usd])).expect(422);
    assert_eq!(refused.problem(), "import-rejected");
    let error = &refused.json()["rows"][0]["errors"][0];
    assert_eq!(error["column"], "rate");
    assert!(
        error["detail"]
            .as_str()
            .unwrap()
            .contains("from USD to EUR for 2026-02-03"),
        "{error}"
    );
    let with_rate = format!("{HEADER},rate\n{usd},0.9235\n");
    send_to(&app, "", with_rate).expect(201);
    let rate = json!({"currency": "USD", "rate_on": "2026-02-02", "rate": "1.25", "quote": "foreign_per_base"});
    app.post("/v1/exchange-rates", rate).expect(201);
    send_to(&app, "", file(&[&usd.replace("O-1", "O-9")])).expect(201);
    let costs: Vec<String> = lots(&app).into_iter().map(|lot| lot.4).collect();
    assert_eq!(costs, ["92.35", "80"]);
}

#[test]
fn every_bad_row_is_named_and_nothing_is_written() {
    let app = lab();
    let bad = [
        BASE,
        &TRAYS.replace("tray", "dish").replace(",1,100,", ",0,100,"),
        &KIT.replace("kit-a", "no-kit"),
        "short,row",
        &OPEN.replace("kg", "m"),
    ];
    let refused = send_to(&app, "", file(&bad)).expect(422);
    assert_eq!(refused.problem(), "import-rejected");
    let body = refused.json();
    let rows = body["rows"].as_array().expect("rows");
    let lines: Vec<&Value> = rows.iter().map(|row| &row["line"]).collect();
    assert_eq!(lines, [3, 4, 5, 6]);
    for row in rows {
        assert_eq!(row["outcome"], "error");
        for error in row["errors"].as_array().expect("errors") {
            for part in ["column", "detail"] {
                assert!(
                    error[part].as_str().is_some_and(|t| !t.is_empty()),
                    "{error}"
                );
            }
            assert!(error["value"].is_string(), "{error}");
        }
    }
    assert!(
        body["detail"].as_str().unwrap().starts_with("4 of 5 rows"),
        "{body}"
    );
    assert!(lots(&app).is_empty());
    assert_eq!(app.get("/v1/suppliers").json()["items"], json!([]));
    let said = send_to(&app, "?dry_run=true", file(&bad))
        .expect(200)
        .json();
    assert_eq!(
        outcomes(&said),
        ["created", "error", "error", "error", "error"]
    );
    assert_eq!(said["lots_created"], 0);
}

#[test]
fn the_same_freight_on_every_row_must_be_confirmed() {
    let app = lab();
    let body = file(&[BASE, &TRAYS.replace("EUR,", "EUR,10.00")]);
    let refused = send_to(&app, "", body.clone()).expect(422).json();
    assert_eq!(refused["rows"].as_array().map(Vec::len), Some(2));
    assert_eq!(refused["rows"][1]["errors"][0]["column"], "freight");
    send_to(&app, "?confirm_repeated_freight=true&spread_by=count", body).expect(201);
    let costs: Vec<String> = lots(&app).into_iter().map(|lot| lot.4).collect();
    assert_eq!(costs, ["113.333333", "56.666667"]);
}

#[test]
fn what_is_asked_wrongly_is_not_taken() {
    let app = lab();
    for query in [
        "?dryrun=true",
        "?dry_run=maybe",
        "?delimiter=pipe",
        "?decimal=;",
        "?encoding=latin",
    ] {
        assert_eq!(
            send_to(&app, query, file(&[BASE])).expect(400).problem(),
            "bad-query",
            "{query}"
        );
    }
    for kind in ["application/json", "application/octet-stream", "text/plain"] {
        let answer = app.post_text(PATH, kind, &file(&[BASE])).expect(415);
        assert_eq!(answer.problem(), "unsupported-media-type");
    }
    assert!(lots(&app).is_empty());
    let with_charset = app.post_text(
        PATH,
        "Text/CSV; charset=utf-8; header=present",
        &file(&[BASE]),
    );
    with_charset.expect(201);
    let small = TestApp::with(|settings| settings.limits.file_bytes = 100);
    assert_eq!(
        send_to(&small, "", file(&[BASE])).expect(413).problem(),
        "too-large"
    );
    let bench = app.role(Role::Bench);
    bench.get(PATH).expect(200);
    assert_eq!(
        bench.post_text(PATH, "text/csv", "").expect(403).problem(),
        "forbidden"
    );
}

/// How a hostile file is sent, under an order number of its own.
fn hostile_query(reading: &hostile::Reading) -> String {
    let delimiter = reading.format.delimiter.name();
    let decimal = match reading.decimal {
        heeltap::purchasing::number::DecimalMark::Point => "point",
        heeltap::purchasing::number::DecimalMark::Comma => "comma",
    };
    format!("?delimiter={delimiter}&decimal={decimal}")
}

fn renumbered(bytes: Vec<u8>, at: usize) -> Vec<u8> {
    let number = format!("{at:03}");
    let mut bytes = bytes;
    for place in 0..bytes.len().saturating_sub(2) {
        if &bytes[place..place + 3] == b"O-1" {
            bytes[place..place + 3].copy_from_slice(number.as_bytes());
        }
    }
    bytes
}

#[track_caller]
fn refused_row(name: &str, report: &Value) {
    let (_, column, says) = hostile::refusal(name);
    let errors = report["rows"][0]["errors"].as_array().expect("errors");
    let said = |error: &Value| {
        error["column"].as_str() == column
            && error["detail"]
                .as_str()
                .is_some_and(|detail| detail.contains(says))
    };
    assert!(errors.iter().any(said), "{name}: {errors:?}");
}

#[test]
fn hostile_files_have_the_outcome_that_the_check_values_state() {
    let app = lab();
    for rate_on in ["2025-11-18", "2026-02-03"] {
        let rate = json!({"currency": "USD", "rate_on": rate_on, "rate": "0.9"});
        app.post("/v1/exchange-rates", rate).expect(201);
    }
    for (at, case) in hostile::cases("csv.hostile").iter().enumerate() {
        let name = hostile::text(&case["inputs"]["name"]);
        let outcome = hostile::text(&case["expected"]["outcome"]);
        let reading = hostile::reading(name);
        let query = hostile_query(&reading);
        let bytes = renumbered(hostile::hostile_bytes(case, &reading), at);
        let dry = send_to(&app, &format!("{query}&dry_run=true"), bytes.clone());
        match outcome.split(" or ").next().unwrap() {
            "reject-file" => {
                let says = hostile::refusal(name).2;
                for answer in [dry, send_to(&app, &query, bytes)] {
                    let body = answer.expect(422).json();
                    assert_eq!(body["rows"], json!([]), "{name}");
                    assert!(
                        body["detail"].as_str().unwrap().contains(says),
                        "{name}: {body}"
                    );
                }
            }
            "reject-row" => {
                refused_row(name, &dry.expect(200).json());
                let answer = send_to(&app, &query, bytes).expect(422);
                assert_eq!(answer.problem(), "import-rejected");
                refused_row(name, &answer.json());
            }
            accepted => {
                let warned = accepted == "accept-with-warning" || hostile::WARNED.contains(&name);
                let said = dry.expect(200).json();
                let rows = said["rows"].as_array().expect("rows");
                let with_warnings = rows.iter().any(|row| row.get("warnings").is_some());
                assert_eq!(with_warnings, warned, "{name}: {said}");
                let done = send_to(&app, &query, bytes.clone()).expect(201).json();
                assert_eq!(without_ids(done), said, "{name}");
                let again = send_to(&app, &query, bytes).expect(200).json();
                assert_eq!(again["lots_created"], 0, "{name}");
            }
        }
    }
    verified(&app);
}
