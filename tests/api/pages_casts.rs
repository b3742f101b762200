//! The pages of casts: the list by day, and a cast with its cost.

use heeltap::http::Role;
use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::browser::Browser;
use crate::support::lab::{catalogue, receive, stocked};

fn book(app: &TestApp, body: Value) -> Value {
    let mut request = json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-10"});
    for (name, value) in body.as_object().expect("fields") {
        request[name] = value.clone();
    }
    app.post("/v1/casts", request).expect(201).json()
}

fn code(cast: &Value) -> &str {
    cast["code"].as_str().expect("a code")
}

/// Pours a cast as planned, but with other residues.
fn pour(app: &TestApp, cast: &Value, residue_g: &str) {
    let planned = cast["plan"]["batches"].as_array().expect("batches").iter();
    let batches: Vec<Value> = planned
        .map(|batch| {
            json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"], "residue_g": residue_g})
        })
        .collect();
    let body = json!({"poured_on": "2026-03-02", "batches": batches});
    let path = format!("/v1/casts/{}/pour", code(cast));
    app.post(&path, body).expect(200);
}

fn demold(app: &TestApp, cast: &Value, good: u32, rejects: Value) {
    let body = json!({"demolded_on": "2026-03-02", "good": good, "rejects": rejects});
    let path = format!("/v1/casts/{}/demold", code(cast));
    app.post(&path, body).expect(200);
}

/// The answer of the API beside the page.
fn answered(app: &TestApp, path: &str) -> Value {
    app.get(&format!("/v1{path}")).expect(200).json()
}

/// Where texts begin in a page; each must be there.
fn places(page: &str, texts: &[&str]) -> Vec<usize> {
    let place = |text: &&str| {
        page.find(*text)
            .unwrap_or_else(|| panic!("no {text}: {page}"))
    };
    texts.iter().map(place).collect()
}

fn is_in_order(page: &str, texts: &[&str]) {
    assert!(places(page, texts).is_sorted(), "{texts:?}: {page}");
}

#[test]
fn without_casts_the_page_says_what_to_do_next() {
    let app = TestApp::start();
    let page = Browser::as_role(&app, Role::Reader).get("/casts").text;
    places(
        &page,
        &[
            "No cast is booked. Whoever works at the bench plans and books them.",
            "Nothing waits to be demoulded.",
            "Nothing is demoulded yet.",
        ],
    );
}

#[test]
fn casts_stand_by_day_those_to_come_first_and_lead_to_their_pages() {
    let app = TestApp::start();
    stocked(&app);
    let done = book(&app, json!({"cast_on": "2026-03-02"}));
    let poured = book(&app, json!({"cast_on": "2026-03-02", "containers": 1}));
    let later = book(&app, json!({"cast_on": "2026-03-20"}));
    let sooner = book(
        &app,
        json!({"cast_on": "2026-03-11", "containers": 30, "allow_short": true}),
    );
    let none = book(&app, json!({"cast_on": "2026-03-02"}));
    for cast in [&done, &poured, &none] {
        pour(&app, cast, "1");
    }
    demold(&app, &done, 7, json!([{"reason": "bubbles", "count": 1}]));
    demold(&app, &none, 0, json!([{"reason": "stuck", "count": 8}]));
    let browser = Browser::signed_in(&app);
    let page = browser.get("/casts").text;
    is_in_order(
        &page,
        &[
            "Wed 11 Mar",
            "C-00004 · Chip",
            "30 trays, booked by",
            "short: it holds less than it needs",
            "Fri 20 Mar",
            "C-00003 · Chip",
            "C-00002 · Chip",
            "1 tray, poured by",
            "C-00005",
            "0 of 8",
            "none good",
            "C-00001",
            "7 of 8",
        ],
    );
    assert_eq!((code(&later), code(&sooner)), ("C-00003", "C-00004"));
    let each = answered(&app, "/casts/C-00001/cost")["per_good_chip"].clone();
    let each: f64 = each.as_str().expect("money").parse().expect("a number");
    assert!(each > 1.0);
    places(&page, &[&format!("{each:.2} EUR")]);
    for cast in 1..=5 {
        let path = format!("/casts/C-0000{cast}");
        assert!(page.contains(&format!("href=\"{path}\"")), "{path}");
        assert_eq!(browser.get(&path).status, 200, "{path}");
    }
    // The day of a cast goes by, and the page says so.
    app.clock.advance(chrono::TimeDelta::days(10));
    let page = Browser::signed_in(&app).get("/casts").text;
    places(&page, &["its day is gone: pour it or cancel it"]);
}

#[test]
fn a_cast_shows_its_life_its_cost_and_what_made_the_difference() {
    let app = TestApp::start();
    stocked(&app);
    let charges = json!([{"grant": "grant-a", "share": "75"}, {"grant": "grant-b", "share": "25"}]);
    let cast = book(&app, json!({"cast_on": "2026-03-02", "charges": charges}));
    let browser = Browser::signed_in(&app);
    let before = browser.get("/casts/C-00001").text;
    places(
        &before,
        &["To be poured", "as planned", "The lots it counts on", "lot"],
    );
    assert!(!before.contains("What was planned, and what came"));
    pour(&app, &cast, "3");
    demold(&app, &cast, 6, json!([{"reason": "bubbles", "count": 2}]));

    let page = browser.get("/casts/C-00001").text;
    is_in_order(
        &page,
        &[
            "Booked",
            "Poured",
            "Demoulded",
            "6 chips good, 2 rejected: bubbles",
        ],
    );
    let cost = answered(&app, "/casts/C-00001/cost");
    let rows = cost["variance"].as_array().expect("rows");
    assert_eq!(rows.len(), 10);
    for row in rows {
        let why = row["why"].as_str().expect("a sentence");
        let (first, rest) = why.split_at(1);
        let sentence = format!("{}{rest}.", first.to_uppercase());
        assert!(page.contains(&sentence), "{sentence}: {page}");
    }
    // Every part stands in the table, with its share of a good chip, under the number that the drawing has.
    let amount =
        |value: &Value| -> f64 { value.as_str().expect("money").parse().expect("a number") };
    let written = |amount: f64| match amount {
        0.0 => "0.00 EUR".to_owned(),
        amount if amount < 1.0 => format!("{amount:.3} EUR"),
        amount => format!("{amount:.2} EUR"),
    };
    for (at, component) in cost["components"]
        .as_array()
        .expect("parts")
        .iter()
        .enumerate()
    {
        let all = amount(&component["amount"]);
        let row = format!(
            "<td>{}</td><td>{}</td></tr>",
            written(all / 6.0),
            written(all)
        );
        assert!(page.contains(&row), "{component}: {row}: {page}");
        let class = component["component"].as_str().expect("a word");
        let drawn = format!("class=\"part {class}\"");
        assert_eq!(page.contains(&drawn), all > 0.0, "{component}");
        places(
            &page,
            &[&format!("<span class=\"swatch {class}\">{}</span>", at + 1)],
        );
    }
    places(
        &page,
        &[&format!(
            "{}</b> for a good chip",
            written(amount(&cost["per_good_chip"]))
        )],
    );
    let rejects = written(amount(&cost["rejects"]["amount"]));
    places(&page, &[&format!("2 rejected chips cost {rejects}")]);
    for lot in ["B1", "A1", "T1", "C1", "P1", "S1"] {
        assert!(page.contains(&format!(">{lot}")), "{lot}: {page}");
    }
    places(
        &page,
        &[
            "<b>75 %</b> grant-a",
            "<b>25 %</b> grant-b",
            "Wear nitrile gloves",
        ],
    );
}

#[test]
fn a_short_cast_names_what_it_lacks_and_a_cancelled_one_holds_nothing() {
    let app = TestApp::start();
    catalogue(&app);
    receive(&app, "base", "B1", Some("K1"), &["1000"], "100");
    receive(&app, "agent", "A1", Some("K1"), &["100"], "20");
    book(&app, json!({"allow_short": true}));
    let browser = Browser::signed_in(&app);
    let page = browser.get("/casts/C-00001").text;
    places(
        &page,
        &["Short.", "2 of Tray", "1 of Cup", "Nobody in particular"],
    );
    let sheet = browser.get("/casts/C-00001/bench-sheet").text;
    places(&sheet, &["Short.", "Missing:"]);
    app.post("/v1/casts/C-00001/cancel", json!({})).expect(200);
    let page = browser.get("/casts/C-00001").text;
    places(&page, &["Cancelled", "It was cancelled and holds nothing."]);
    let sheet = browser.get("/casts/C-00001/bench-sheet");
    assert_eq!(sheet.status, 409);
    places(
        &sheet.text,
        &["it has no work left to be done at the bench"],
    );
}

#[test]
fn a_cast_that_is_not_there_is_refused_in_words() {
    let app = TestApp::start();
    let browser = Browser::signed_in(&app);
    for path in [
        "/casts/C-09999",
        "/casts/C-09999/bench-sheet",
        "/casts/%3Cb%3E",
    ] {
        let page = browser.get(path);
        assert_eq!(page.status, 404, "{path}");
        places(&page.text, &["there is no cast"]);
        assert!(!page.text.contains("<b>\""), "{path}");
    }
    let other = Browser::open(&app).get("/casts/C-00001");
    assert_eq!(
        (other.status, other.location.as_str()),
        (303, "/sign-in?next=%2Fcasts%2FC-00001")
    );
}
