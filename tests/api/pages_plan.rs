//! The page that plans a cast and books it: what the API says for the same, faults at their fields, what is short and what
//! would help, and a booking that is made once.

use heeltap::http::Role;
use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::browser::{Browser, Seen, form_key};
use crate::support::lab::{catalogue, receive, stocked, verified};

const ASKED: &str = "/casts/plan?recipe=chip&count=4&of=containers&cast_on=2026-03-10";

fn plan(app: &TestApp, more: Value) -> Value {
    let mut body = json!({"recipe": "chip", "cast_on": "2026-03-10"});
    for (name, value) in more.as_object().expect("an object") {
        body[name] = value.clone();
    }
    let answer = app.post("/v1/cast-plans?what_if=true", body);
    answer.expect(200).json()
}

/// Checks that every text is in a page.
#[track_caller]
fn has(page: &str, texts: &[&str]) {
    for text in texts {
        assert!(page.contains(text), "no {text}: {page}");
    }
}

/// A number of an answer as the page writes it.
fn number(value: &Value) -> f64 {
    value
        .as_str()
        .expect("a decimal")
        .parse()
        .expect("a number")
}

/// What the form of a page's booking sends along.
fn sent(page: &str) -> Vec<(String, String)> {
    let (_, form) = page
        .split_once("<form class=\"card\" method=\"post\" action=\"/casts/plan\">")
        .unwrap_or_else(|| panic!("no form: {page}"));
    let form = form.split("</form>").next().unwrap_or_default();
    let fields = form.split("<input type=\"hidden\" name=\"").skip(1);
    fields
        .map(|field| {
            let (name, rest) = field.split_once("\" value=\"").expect("a value");
            let value = rest.split('"').next().unwrap_or_default();
            (name.to_owned(), value.to_owned())
        })
        .collect()
}

fn book(browser: &Browser<'_>, page: &str) -> Seen {
    let sent = sent(page);
    let sent: Vec<(&str, &str)> = sent.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    browser.send("/casts/plan", &sent)
}

fn casts(app: &TestApp) -> usize {
    let casts = app.get("/v1/casts").expect(200).json();
    casts["items"].as_array().map_or(0, Vec::len)
}

#[test]
fn with_nothing_asked_the_form_stands_alone_with_what_is_likely() {
    let app = TestApp::start();
    let browser = Browser::signed_in(&app);
    has(
        &browser.get("/casts/plan").text,
        &["No recipe is in use yet."],
    );
    stocked(&app);
    let page = browser.get("/casts/plan");
    assert_eq!(page.status, 200);
    has(
        &page.text,
        &[
            "<option value=\"chip\" selected>Chip</option>",
            "type=\"date\" required value=\"2026-03-02\"",
            "Nothing is booked by planning.",
            "data-live",
        ],
    );
    assert!(!page.text.contains("aria-invalid") && !page.text.contains("Book this"));
    // The list of casts leads to it, and says so where there is none.
    let list = browser.get("/casts").text;
    assert_eq!(list.matches("href=\"/casts/plan\"").count(), 2, "{list}");
}

#[test]
fn the_plan_is_the_one_of_the_api() {
    let app = TestApp::start();
    stocked(&app);
    let charges = json!([{"grant": "grant-a", "share": "75"}, {"grant": "grant-b", "share": "25"}]);
    let asked = format!("{ASKED}&grant=grant-a&share=75&grant=grant-b&share=25&grant=&share=");
    let page = Browser::as_role(&app, Role::Bench).get(&asked);
    assert_eq!(page.status, 200);
    let page = page.text;
    let said = plan(&app, json!({"containers": 4, "charges": charges}));
    let batch = &said["batches"][0];
    let cups = said["batches"].as_array().expect("cups").len();
    has(&page, &[&format!("<h3>Cups 1 and {cups}, each</h3>")]);
    for part in ["base_g", "curing_agent_g"] {
        let mass = number(&batch[part]);
        has(&page, &[&format!("<b>{mass:.2}</b> g of ")]);
    }
    let mix = format!(
        "{:.2} g: {:.2} g of base",
        number(&said["mix"]["total_g"]),
        number(&said["mix"]["base_g"])
    );
    let residue = format!(
        "{:.2} g expected, {:.2} g allowed for (quantile {})",
        number(&said["residue"]["expected_g"]),
        number(&said["residue"]["planned_g"]),
        said["residue"]["quantile"].as_str().expect("a quantile")
    );
    let total = number(&said["cost"]["total"]);
    let (most, least) = (
        format!("75 %, {:.2} EUR", total * 0.75),
        format!("25 %, {:.2} EUR", total * 0.25),
    );
    has(
        &page,
        &[
            "<b>It can be cast.</b> The stock serves 4 trays on Tue 10 Mar.",
            &mix,
            &residue,
            &format!("<td>{total:.2} EUR</td></tr></tfoot>"),
            &most,
            &least,
            "<b>2 trays, as above</b>",
        ],
    );
    for caution in said["cautions"].as_array().expect("cautions") {
        has(
            &page,
            &[&caution.as_str().expect("words").replace('\'', "&#39;")],
        );
    }
    for pick in said["picks"].as_array().expect("picks") {
        let lot = format!(
            "<a href=\"/lots/{}\">{}, pack {}</a>",
            pick["lot_id"],
            pick["lot"].as_str().expect("a lot"),
            pick["pack_no"]
        );
        has(&page, &[&lot, pick["why"].as_str().expect("why")]);
    }
    for line in said["what_if"].as_array().expect("lines") {
        let per_chip = number(&line["per_good_chip"]);
        has(&page, &[&format!("{per_chip:.2} EUR</td>")]);
    }
    // An empty row more than is filled, and the plan wrote nothing.
    assert_eq!(page.matches("name=\"share\" inputmode").count(), 3);
    assert_eq!(casts(&app), 0);

    // By good chips, as many trays as the API says.
    let page = Browser::as_role(&app, Role::Buyer)
        .get("/casts/plan?recipe=chip&count=6&of=good_chips_wanted&cast_on=2026-03-10")
        .text;
    let said = plan(&app, json!({"good_chips_wanted": 6}));
    has(
        &page,
        &[
            &format!("For 6 good chips it takes {} trays.", said["containers"]),
            "Booking it is for whoever works at the bench.",
        ],
    );
    assert!(!page.contains("Book this"));
}

#[test]
fn what_is_wrong_is_said_at_its_field_and_what_was_typed_stays() {
    let app = TestApp::start();
    stocked(&app);
    let browser = Browser::signed_in(&app);
    let asked = "recipe=chip&cast_on=2026-03-10";
    for (query, field, says) in [
        ("count=many", "count", "`many` is no whole number"),
        ("count=0", "count", "0 is out of range: 1 to 1000 trays"),
        (
            "count=2&groups=3",
            "groups",
            "3 groups cannot share 2 trays",
        ),
        (
            "count=2&residue_quantile=2",
            "residue_quantile",
            "2 is out of range: above 0 and below 1",
        ),
        (
            "count=2&containers_per_batch=-1",
            "containers_per_batch",
            "`-1` is no whole number",
        ),
        (
            "count=2&grant=grant-x&share=100",
            "payer-fault-1",
            "there is no grant `grant-x`",
        ),
        (
            "count=2&grant=&share=&grant=grant-a&share=x",
            "payer-fault-2",
            "is not a decimal number",
        ),
        (
            "count=2&grant=grant-a",
            "payer-fault-1",
            "missing field `share`",
        ),
        (
            "count=2&grant=grant-a&share=60",
            "payers",
            "the shares add up to 60, not to exactly 100",
        ),
    ] {
        let page = browser.get(&format!("/casts/plan?{asked}&{query}"));
        assert_eq!(page.status, 422, "{query}");
        let place = format!("{field}-fault\">{says}");
        let row = format!("id=\"{field}\">");
        let whole = format!("data-part=\"{field}\"><p class=\"fault\">{says}");
        let found = page.text.contains(&place)
            || (page.text.contains(&row) && page.text.contains(says))
            || page.text.contains(&whole);
        assert!(found, "{query}: {}", page.text);
        assert!(!page.text.contains("Book this"), "{query}");
    }
    let page = browser.get("/casts/plan?recipe=none&count=2&cast_on=&grant=grant-x&share=%3Cb%3E");
    assert_eq!(page.status, 422);
    has(
        &page.text,
        &[
            "<option value=\"none\" selected>none</option>",
            "<option value=\"grant-x\" selected>grant-x</option>",
            "value=\"&#60;b&#62;\"",
        ],
    );
}

#[test]
fn what_is_short_says_what_would_help_and_leads_there() {
    let app = TestApp::start();
    catalogue(&app);
    receive(&app, "base", "B1", Some("K1"), &["1000"], "100");
    receive(&app, "agent", "A1", Some("K1"), &["100"], "20");
    receive(&app, "vial", "V1", None, &["1", "1", "1"], "9");
    receive(&app, "tray", "T1", None, &["3"], "2");
    receive(&app, "cup", "C1", None, &["9"], "10");
    receive(&app, "tape", "P1", None, &["33"], "9.90");
    receive(&app, "stirrer", "S1", None, &["100"], "5");
    let browser = Browser::as_role(&app, Role::Bench);
    let page = browser.get(ASKED);
    assert_eq!(page.status, 200, "a plan that is short is a plan");
    let again = "/casts/plan?recipe=chip&#38;count=3&#38;of=containers&#38;cast_on=2026-03-10";
    has(
        &page.text,
        &[
            "<b>Short.</b> The stock serves 3 of 4 trays on Tue 10 Mar.",
            "Tray: 4 needed, 3 free.",
            &format!("<a href=\"{again}\">Cast 3 trays instead</a>"),
            "allow_short=true\">Book it although stock is short</a>",
            "What is short has no price here",
            "Ask for it all the same",
        ],
    );
    assert!(
        !page
            .text
            .contains("Take stock that is promised to later casts</a>")
    );
    has(
        &browser.get(&again.replace("&#38;", "&")).text,
        &["It can be cast."],
    );

    // Asked for all the same, it is refused in the words of the API, and what was typed stays.
    let refused = book(&browser, &page.text);
    assert_eq!(refused.status, 409);
    has(
        &refused.text,
        &[
            "not enough for 4 trays on 2026-03-10: tray of 4 needed, 3 available; 3 trays could be booked",
            "name=\"count\" inputmode=\"numeric\" autocomplete=\"off\" required value=\"4\"",
        ],
    );
    assert_eq!(casts(&app), 0);

    // With leave it is booked short.
    let page = browser.get(&format!("{ASKED}&allow_short=true")).text;
    has(&page, &["as far as it is there", "Book this"]);
    assert_eq!(book(&browser, &page).location, "/casts/C-00001");
    verified(&app);

    // What a later cast holds would help an earlier one.
    let earlier = "/casts/plan?recipe=chip&count=3&of=containers&cast_on=2026-03-09";
    app.post("/v1/casts/C-00001/cancel", json!({})).expect(200);
    let later = json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-20"});
    app.post("/v1/casts", later).expect(201);
    let page = browser.get(earlier).text;
    has(
        &page,
        &[
            "Later casts hold some of it: C-00002.",
            "take_from_later=true\">Take stock that is promised to later casts</a>",
        ],
    );
    let page = browser.get(&format!("{earlier}&take_from_later=true")).text;
    has(
        &page,
        &[
            "It can be cast.",
            "id=\"take_from_later\" name=\"take_from_later\" type=\"checkbox\" value=\"true\" checked",
        ],
    );
}

#[test]
fn a_plan_is_booked_once_however_often_it_is_sent() {
    let app = TestApp::start();
    stocked(&app);
    let browser = Browser::as_role(&app, Role::Bench);
    let asked = format!("{ASKED}&grant=grant-a&share=100&containers_per_batch=1");
    let page = browser.get(&asked).text;
    let booked = book(&browser, &page);
    assert_eq!(
        (booked.status, booked.location.as_str()),
        (303, "/casts/C-00001")
    );
    let again = book(&browser, &page);
    assert_eq!(
        (again.status, again.location.as_str()),
        (303, "/casts/C-00001")
    );
    assert_eq!(casts(&app), 1);
    let cast = app.get("/v1/casts/C-00001").expect(200).json();
    assert_eq!(
        cast["charges"],
        json!([{"grant": "grant-a", "share": "100"}])
    );
    assert_eq!(cast["plan"]["batches"].as_array().map(Vec::len), Some(4));
    verified(&app);
    // The same key for something else is refused; a page of its own books another.
    let mut other = sent(&page);
    let count = other
        .iter_mut()
        .find(|(name, _)| name == "count")
        .expect("a count");
    count.1 = "2".to_owned();
    let other: Vec<(&str, &str)> = other
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    let refused = browser.send("/casts/plan", &other);
    assert_eq!(refused.status, 422);
    has(&refused.text, &["was used here with another body"]);
    assert_eq!(book(&browser, &refused.text).location, "/casts/C-00002");
    assert_eq!(casts(&app), 2);
}

#[test]
fn what_cannot_be_booked_comes_again_with_the_reason() {
    let app = TestApp::start();
    stocked(&app);
    let browser = Browser::signed_in(&app);
    let page = browser
        .get(&format!("{ASKED}&grant=grant-a&share=100"))
        .text;
    // The grant ends meanwhile, and refuses what it does not pay for.
    let before = app.get("/v1/grants/grant-a").expect(200);
    let ended = json!({"ends_on": "2026-03-05", "beyond": "refuse"});
    app.patch("/v1/grants/grant-a", before.header("etag"), ended)
        .expect(200);
    let refused = book(&browser, &page);
    assert_eq!(refused.status, 409);
    has(
        &refused.text,
        &[
            "<b class=\"warn\">Not booked:</b> grant `grant-a` pays until 2026-03-05; the cast is on 2026-03-10",
            "<b>It is not paid for.</b>",
            "<option value=\"grant-a\" selected>",
            "is refused.",
        ],
    );
    assert_eq!(casts(&app), 0);
    // What is wrong in itself is marked at its field.
    let key = form_key(&page);
    let wrong = [
        ("form_key", key),
        ("once", "x"),
        ("recipe", "chip"),
        ("count", "0"),
        ("cast_on", "2026-03-10"),
    ];
    let refused = browser.send("/casts/plan", &wrong);
    assert_eq!(refused.status, 422);
    has(
        &refused.text,
        &["Not booked:", "id=\"count-fault\">0 is out of range"],
    );
    // What is retired meanwhile forbids the plan itself, and stays chosen.
    app.post("/v1/grants/grant-b/retire", json!({})).expect(200);
    let retired = browser.get(&format!("{ASKED}&grant=grant-b&share=100"));
    assert_eq!(retired.status, 409);
    has(
        &retired.text,
        &[
            "grant `grant-b` is retired",
            "<option value=\"grant-b\" selected>",
        ],
    );
    // A form of another page is not taken.
    let strange = [
        ("form_key", "none"),
        ("once", "x"),
        ("recipe", "chip"),
        ("count", "2"),
        ("cast_on", "2026-03-10"),
    ];
    assert_eq!(browser.send("/casts/plan", &strange).status, 403);
    assert_eq!(casts(&app), 0);
}

#[test]
fn whoever_only_reads_plans_nothing_and_whoever_buys_books_nothing() {
    let app = TestApp::start();
    stocked(&app);
    let reader = Browser::as_role(&app, Role::Reader);
    assert_eq!(reader.get("/casts/plan").status, 403);
    assert!(!reader.get("/casts").text.contains("/casts/plan"));
    let buyer = Browser::as_role(&app, Role::Buyer);
    let page = buyer.get(ASKED);
    assert_eq!(page.status, 200);
    let key = form_key(&page.text);
    let form = [
        ("form_key", key),
        ("once", "x"),
        ("recipe", "chip"),
        ("count", "2"),
        ("cast_on", "2026-03-10"),
    ];
    assert_eq!(buyer.send("/casts/plan", &form).status, 403);
    assert_eq!(casts(&app), 0);
}
