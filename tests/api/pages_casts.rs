//! The pages of casts: the list by day, a cast with its cost, and the bench sheet with its clock and its balance.

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

#[test]
fn the_bench_sheet_has_every_step_with_its_cautions_and_its_masses() {
    let app = TestApp::start();
    stocked(&app);
    book(&app, json!({"containers": 3}));
    let page = Browser::as_role(&app, Role::Bench)
        .get("/casts/C-00001/bench-sheet")
        .text;
    let sheet = answered(&app, "/casts/C-00001/bench-sheet");
    let steps = sheet["steps"].as_array().expect("steps");
    let titles: Vec<String> = steps
        .iter()
        .map(|step| {
            format!(
                "<span class=\"no\">{}</span> {}",
                step["no"],
                step["title"].as_str().expect("a title")
            )
        })
        .collect();
    is_in_order(
        &page,
        &titles.iter().map(String::as_str).collect::<Vec<_>>(),
    );
    for (at, step) in steps.iter().enumerate() {
        let from = places(&page, &[&titles[at]])[0];
        let to = titles
            .get(at + 1)
            .map_or(page.len(), |next| places(&page, &[next])[0]);
        let shown = &page[from..to];
        for caution in step["cautions"].as_array().expect("cautions") {
            let words = caution.as_str().expect("words").replace('\'', "&#39;");
            assert!(shown.contains(&words), "{words}: {shown}");
        }
        for part in ["base", "curing_agent"] {
            if let Some(target) = step["detail"][part]["target_g"].as_str() {
                let target: f64 = target.parse().expect("a number");
                assert!(shown.contains(&format!("<b>{target:.2}</b>")), "{shown}");
                assert!(shown.contains("class=\"window\""));
            }
        }
    }
    assert_eq!(
        page.matches("class=\"tick\"").count(),
        steps.len(),
        "a box for each step"
    );
    places(
        &page,
        &[
            "Pours for 1 h 30 min from the end of mixing",
            sheet["closing"].as_str().expect("words"),
        ],
    );
}

#[test]
fn a_time_of_mixing_puts_the_clock_on_every_step() {
    let app = TestApp::start();
    stocked(&app);
    book(&app, json!({"containers": 3}));
    let browser = Browser::signed_in(&app);
    let page = browser
        .get("/casts/C-00001/bench-sheet?mixed_at=09%3A40&base_g=20")
        .text;
    // Mixed at 9:40: 90 minutes of pot life; the cure of 48 hours begins when the second round is poured and weighed.
    places(
        &page,
        &[
            "Pour before 11:10 (pot life 1 h 30 min)",
            "09:35 to 09:40",
            "value=\"09:40\"",
        ],
    );
    let sheet = answered(
        &app,
        "/casts/C-00001/bench-sheet?mixed_at=2026-03-10T09:40:00Z",
    );
    let cure = sheet["steps"]
        .as_array()
        .expect("steps")
        .iter()
        .find(|step| step["step"] == "cure")
        .expect("a cure");
    let clock = |at: &str| cure[at].as_str().expect("an instant")[11..16].to_owned();
    let words = format!(
        "from {} until {} on Thu 12 Mar",
        clock("starts_at"),
        clock("ends_at")
    );
    places(&page, &[&words]);
    // The form of the clock keeps what the balance showed.
    places(
        &page,
        &[
            "type=\"hidden\" name=\"base_g\" value=\"20\"",
            "type=\"hidden\" name=\"mixed_at\" value=\"09:40\"",
        ],
    );

    let wrong = browser.get("/casts/C-00001/bench-sheet?mixed_at=9.40");
    assert_eq!(wrong.status, 422);
    places(
        &wrong.text,
        &[
            "value=\"9.40\" aria-invalid=\"true\"",
            "`9.40` is no time: send hours and minutes, such as 14:05",
        ],
    );
    let wrong = browser.get("/casts/C-00001/bench-sheet?mixed_at=09:40&batch=7");
    assert_eq!(wrong.status, 422);
    places(&wrong.text, &["`7` is not one of the cast&#39;s batches"]);
}

#[test]
fn the_balance_is_answered_with_what_to_add_and_a_needle() {
    let app = TestApp::start();
    stocked(&app);
    book(&app, json!({"containers": 3}));
    let browser = Browser::signed_in(&app);
    let get = |query: &str| browser.get(&format!("/casts/C-00001/bench-sheet{query}"));
    assert!(!get("").text.contains("class=\"needle\""));

    // 33 g of base to 4 g of curing agent, where 10 to 1 is wanted: 7 g of base are missing.
    let page = get("?base_g=33&curing_agent_g=4");
    assert_eq!(page.status, 200);
    let asked = json!({"cast": "C-00001", "base_g": "33", "curing_agent_g": "4"});
    let correction = app.post("/v1/mix-corrections", asked).expect(200).json();
    assert_eq!(correction["add"]["mass_g"], "7");
    places(
        &page.text,
        &[
            "<b>Too much curing agent.</b> Base to curing agent is 8.25 to 1, where 10 to 1 is wanted. Add 7.00 g of base: then the mix is 44.00 g at 10 to 1.",
            "value=\"33\"",
            "value=\"4\"",
            "advice grave",
        ],
    );
    let least: f64 = correction["add_to_tolerance"]["weigh_g"]
        .as_str()
        .expect("a mass")
        .parse()
        .expect("a number");
    places(
        &page.text,
        &[&format!("{least:.2} g bring it into the window already.")],
    );
    // Both parts of the first batch, and their ratio.
    assert_eq!(page.text.matches("class=\"needle\"").count(), 3);

    let page = get("?base_g=33&curing_agent_g=3.3").text;
    places(
        &page,
        &[
            "<b>Within the window.</b> Base to curing agent is 10 to 1, where 10 to 1 is wanted. Nothing has to be added.",
        ],
    );
    let page = get("?base_g=44&curing_agent_g=4").text;
    places(
        &page,
        &["<b>Too much base.</b>", "Add 0.40 g of curing agent"],
    );
    // The base alone says how much curing agent belongs to it.
    let page = get("?base_g=34.5&curing_agent_g=").text;
    places(
        &page,
        &["<b>3.45 g of curing agent</b> belong to the base you weighed."],
    );
    // The second batch is answered at its own place, and the first is kept.
    let page = get("?base_g=&curing_agent_g=&base_g=11&curing_agent_g=1").text;
    assert!(places(&page, &["id=\"batch-2\"", "Too much base."]).is_sorted());
}

#[test]
fn what_the_balance_cannot_show_is_marked_at_its_field() {
    let app = TestApp::start();
    stocked(&app);
    book(&app, json!({"containers": 1}));
    let browser = Browser::signed_in(&app);
    let get = |query: &str| browser.get(&format!("/casts/C-00001/bench-sheet{query}"));
    for (query, field, says) in [
        (
            "?base_g=33,5&curing_agent_g=3",
            "base-1",
            "is not a decimal number",
        ),
        (
            "?base_g=33&curing_agent_g=0",
            "agent-1",
            "0 g is out of range: more than 0",
        ),
        (
            "?base_g=-1&curing_agent_g=3",
            "base-1",
            "-1 g is out of range: more than 0",
        ),
        (
            "?curing_agent_g=3",
            "base-1",
            "say what the balance shows of the base too",
        ),
        (
            "?base_g=%3Cb%3E&curing_agent_g=3",
            "base-1",
            "is not a decimal number",
        ),
    ] {
        let page = get(query);
        assert_eq!(page.status, 422, "{query}");
        let marked = format!("aria-invalid=\"true\" aria-describedby=\"{field}-fault\"");
        places(&page.text, &[&marked, says]);
        assert!(!page.text.contains("value=\"<b>"), "{query}");
    }
    // A cast that is poured has its sheet, but nothing more to weigh.
    let cast = answered(&app, "/casts/C-00001");
    let again = book(&app, json!({"cast_on": "2026-03-02", "containers": 1}));
    assert_eq!(cast["state"], "booked");
    pour(&app, &again, "1");
    let page = browser.get("/casts/C-00002/bench-sheet?base_g=33&curing_agent_g=4");
    assert_eq!(page.status, 200);
    places(&page.text, &["<b>Done.</b> 1 tray poured Mon 2 Mar by"]);
    assert!(!page.text.contains("The balance shows"));
}
