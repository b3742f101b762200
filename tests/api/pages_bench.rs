//! The bench sheet's page: its steps with clock and balance, and what is ticked off.

use heeltap::http::Role;
use serde_json::json;

use crate::support::TestApp;
use crate::support::browser::Browser;
use crate::support::lab::{receive, stocked};
use crate::support::sheet::{SHEET, answered, book, places, pour};

fn is_in_order(page: &str, texts: &[&str]) {
    assert!(places(page, texts).is_sorted(), "{texts:?}: {page}");
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
    // What the balance showed is kept beside it.
    places(&page, &["name=\"base_g\"", "value=\"20\""]);

    let wrong = browser.get("/casts/C-00001/bench-sheet?mixed_at=9.40");
    assert_eq!(wrong.status, 422);
    places(
        &wrong.text,
        &[
            "value=\"9.40\" aria-invalid=\"true\"",
            "`9.40` is no time: send hours and minutes, such as 14:05",
        ],
    );
    // A time that belongs to no batch is not read.
    let more = browser.get("/casts/C-00001/bench-sheet?mixed_at=&mixed_at=&mixed_at=9.40");
    assert_eq!(more.status, 200);
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
            "base_g-1",
            "is not a decimal number",
        ),
        (
            "?base_g=33&curing_agent_g=0",
            "curing_agent_g-1",
            "0 g is out of range: more than 0",
        ),
        (
            "?base_g=-1&curing_agent_g=3",
            "base_g-1",
            "-1 g is out of range: more than 0",
        ),
        (
            "?curing_agent_g=3",
            "base_g-1",
            "say what the balance shows of the base too",
        ),
        (
            "?base_g=%3Cb%3E&curing_agent_g=3",
            "base_g-1",
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
    pour(&app, &again);
    let page = browser.get("/casts/C-00002/bench-sheet?base_g=33&curing_agent_g=4");
    assert_eq!(page.status, 200);
    places(&page.text, &["<b>Done.</b> 1 tray poured Mon 2 Mar by"]);
    assert!(!page.text.contains("name=\"base_g\""));
}

#[test]
fn what_is_ticked_is_in_the_address_and_the_next_step_is_marked() {
    let app = TestApp::start();
    stocked(&app);
    book(&app, json!({"containers": 3}));
    let browser = Browser::as_role(&app, Role::Bench);
    let fresh = browser.get(SHEET).text;
    let steps = answered(&app, SHEET)["steps"]
        .as_array()
        .expect("steps")
        .len();
    places(
        &fresh,
        &[
            &format!("0 of {steps} steps done"),
            "<b class=\"sign\">&#9654; Next:</b> <a href=\"#step-1\">1 ",
            "data-live data-keep=\"C-00001\"",
            "Keep what I ticked and typed",
        ],
    );
    assert!(!fresh.contains(" checked"));
    // A reload asks for the same address: ticks of steps and of cautions stand as they were.
    let ticked = browser
        .get(&format!(
            "{SHEET}?done=prepare&done=weigh-1&seen=weigh-1-1&base_g=33"
        ))
        .text;
    places(
        &ticked,
        &[
            "name=\"done\" value=\"prepare\" checked>",
            "name=\"done\" value=\"weigh-1\" checked>",
            "name=\"seen\" value=\"weigh-1-1\" checked>",
            "name=\"done\" value=\"tape-1\">",
            &format!("2 of {steps} steps done"),
            "<a href=\"#step-2\">2 ",
            "value=\"33\"",
        ],
    );
    let marked = "<b class=\"next\" id=\"next\">";
    assert_eq!(ticked.matches(marked).count(), 1, "{ticked}");
    is_in_order(&ticked, &["id=\"step-2\"", marked, "id=\"step-3\""]);
    // A caution is ticked off once, where it is said first; every tick has words of its own.
    let boxes = ticked.matches("class=\"seen\"").count();
    let again = ticked.matches("<li class=\"again\">").count();
    let all = answered(&app, SHEET);
    let at_steps = all["steps"].as_array().expect("steps").iter();
    let said: usize = at_steps
        .map(|step| step["cautions"].as_array().expect("cautions").len())
        .sum();
    let others = all["cautions"].as_array().expect("cautions").len();
    assert_eq!(boxes + again, said + others);
    assert!(boxes > 3 && again > 0);
    // With all before it ticked, the record waits.
    let boxes = ticked.split("name=\"done\" value=\"").skip(1);
    let names = boxes.map(|rest| rest.split('"').next().expect("a name"));
    let every: Vec<String> = names.map(|name| format!("done={name}")).collect();
    assert_eq!(every.len(), steps);
    let page = browser.get(&format!("{SHEET}?{}", every.join("&"))).text;
    places(&page, &["<a href=\"#record\">Record the pour</a>"]);
    assert!(!page.contains(marked));
}

#[test]
fn one_tap_says_that_the_mixing_ended_now() {
    let app = TestApp::start();
    stocked(&app);
    book(&app, json!({"containers": 3, "cast_on": "2026-03-02"}));
    let browser = Browser::as_role(&app, Role::Bench);
    let page = browser.get(SHEET).text;
    places(
        &page,
        &["name=\"now\" value=\"1\">Mixing ended now</button>"],
    );
    let led = browser.get(&format!("{SHEET}?base_g=33&mixed_at=&mixed_at=&now=1"));
    let now = app.service.now();
    let typed = now.format("%H%%3A%M").to_string();
    let all = answered(&app, SHEET);
    let all = all["steps"].as_array().expect("steps").iter();
    let mix = all
        .clone()
        .find(|step| step["step"] == "mix")
        .expect("a step")["no"]
        .clone();
    let expected = format!("{SHEET}?base_g=33&mixed_at={typed}&done=mix-1#step-{mix}");
    assert_eq!(
        (led.status, led.location.as_str()),
        (303, expected.as_str())
    );
    // The pot life is written as a time, with what is left of it beside; the batch that is not mixed has no clock.
    let page = browser
        .get(led.location.split('#').next().expect("an address"))
        .text;
    let end = now.format("%Y-%m-%dT%H:%M:00Z").to_string();
    let end: chrono::DateTime<chrono::Utc> = end.parse().expect("an instant");
    let end = end + chrono::TimeDelta::minutes(90);
    let left = format!("data-until=\"{}\"", end.to_rfc3339());
    let before = format!("Pour batch 1 before {}", end.format("%H:%M"));
    places(&page, &[&before, &left]);
    assert!(!page.contains("Pour batch 2 before"), "{page}");
    // In the bar, and at the steps that mix, de-gas and pour.
    assert_eq!(page.matches(&left).count(), 4, "{page}");
    // Poured, the cure runs: from the steps of the sheet.
    let instant = (end - chrono::TimeDelta::minutes(90))
        .to_rfc3339()
        .replace('+', "%2B");
    let clocked = answered(&app, &format!("{SHEET}?mixed_at={instant}"));
    let steps = clocked["steps"].as_array().expect("steps");
    let cure = steps
        .iter()
        .find(|step| step["step"] == "cure")
        .expect("a cure");
    let ends = cure["ends_at"]
        .as_str()
        .expect("an instant")
        .replace('Z', "+00:00");
    let poured = "done=prepare&done=tape-1&done=coat-1.2&done=weigh-1&done=degas-1&done=pour-1";
    let query = format!(
        "{}&{}",
        led.location.split('#').next().expect("one"),
        poured
    );
    let page = browser.get(&query).text;
    places(&page, &["Cures until ", &format!("data-until=\"{ends}\"")]);
    assert!(!page.contains("Pour batch 1 before"), "{page}");
    // On another day the time has its day; a batch that is not there changes nothing.
    app.clock.advance(chrono::TimeDelta::days(2));
    let browser = Browser::as_role(&app, Role::Bench);
    let led = browser.get(&format!("{SHEET}?now=2"));
    assert!(
        led.location.contains("mixed_at=&mixed_at=2026-03-04T"),
        "{}",
        led.location
    );
    let led = browser.get(&format!("{SHEET}?base_g=33&now=9"));
    assert_eq!(led.location, format!("{SHEET}?base_g=33"));
    app.clock.advance(chrono::TimeDelta::hours(3));
    let page = browser.get(&format!("{SHEET}?mixed_at=00:01")).text;
    places(
        &page,
        &["<span class=\"left over\" data-until=", ">over</span>"],
    );
}

#[test]
fn each_batch_has_its_own_clock() {
    let app = TestApp::start();
    stocked(&app);
    receive(&app, "base", "B2", Some("K2"), &["1000"], "100");
    book(&app, json!({"containers": 3}));
    let browser = Browser::signed_in(&app);
    let page = browser
        .get(&format!("{SHEET}?mixed_at=09:40&mixed_at=2026-03-12T11:00"))
        .text;
    places(
        &page,
        &[
            "Pour batch 1 before 11:10",
            "Pour batch 2 before 12:30 on Thu 12 Mar",
            "type=\"time\" value=\"09:40\"",
            "type=\"datetime-local\" value=\"2026-03-12T11:00\"",
        ],
    );
}
