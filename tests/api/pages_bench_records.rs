//! What is recorded from the bench sheet's page: a coat, the pour, and the chips that were counted.

use heeltap::http::Role;
use serde_json::json;

use crate::support::TestApp;
use crate::support::browser::{Browser, Seen, form_key};
use crate::support::lab::{stocked, verified};
use crate::support::sheet::{SHEET, answered, book, places, pour};

/// Sends what stands on a sheet, to be recorded.
fn sent(browser: &Browser<'_>, path: &str, fields: &[(&str, &str)]) -> Seen {
    let page = browser.get(SHEET).text;
    let mut form = vec![("form_key", form_key(&page))];
    form.extend(fields);
    browser.send(path, &form)
}

#[test]
fn what_was_poured_is_recorded_from_the_sheet_as_the_interface_would() {
    let app = TestApp::start();
    stocked(&app);
    book(&app, json!({"containers": 3, "cast_on": "2026-03-02"}));
    let browser = Browser::as_role(&app, Role::Bench);
    // What was typed above is read back, and what stayed in the cup is reckoned.
    let page = browser
        .get(&format!(
            "{SHEET}?base_g=33&curing_agent_g=3.3&cup_tare_g=8.1&cup_gross_g=10.4"
        ))
        .text;
    places(
        &page,
        &[
            "Batch 1: 33.00 g base, 3.30 g curing agent, the cup weighed.",
            "Batch 2: no base yet, no curing agent yet",
            "10.4 g gross \u{2212} 8.1 g tare = 2.3 g stayed in the cup.",
            "formmethod=\"post\" formaction=\"/casts/C-00001/pour\"",
            "inputmode=\"decimal\"",
            "(empty: all 3 trays)",
            "<option value=\"1\">lot B1, pack 1: 1,000 g</option>",
        ],
    );
    let fields = [
        ("base_g", "33"),
        ("curing_agent_g", "3.3"),
        ("cup_tare_g", "8.1"),
        ("cup_gross_g", "10.4"),
        ("base_g", "17"),
        ("curing_agent_g", "1.7"),
        ("cup_tare_g", ""),
        ("cup_gross_g", ""),
        ("residue_g", ""),
        ("residue_g", "1.5"),
        ("stirrer_in_weighing", "2"),
        ("base_pack_id", "1"),
        ("containers_poured", "2"),
        ("level_mm", ""),
        ("poured_on", ""),
        ("done", "prepare"),
    ];
    let answer = sent(&browser, "/casts/C-00001/pour", &fields);
    assert_eq!(
        (answer.status, answer.location.as_str()),
        (303, "/casts/C-00001"),
        "{}",
        answer.text
    );
    let cast = answered(&app, "/casts/C-00001");
    assert_eq!(
        (&cast["state"], &cast["poured_on"]),
        (&json!("poured"), &json!("2026-03-02"))
    );
    assert_eq!(cast["poured_by"], "bench");
    let pour = &cast["pour"];
    assert_eq!(pour["containers_poured"], 2);
    let batches = &pour["batches"];
    let told = |at: usize, name: &str| batches[at][name].clone();
    assert_eq!(
        (told(0, "base_g"), told(0, "residue_basis")),
        (json!("33"), json!("weighed"))
    );
    // The cup's 2.3 g, with what the recipe says of the stirrer; the second stood in the cup.
    assert_eq!(
        (told(1, "residue_g"), told(0, "base_pack_id")),
        (json!("1.5"), json!(1))
    );
    verified(&app);
    // Sent twice: the second is refused in the words of the books, and the sheet says what is done.
    let again = sent(&browser, "/casts/C-00001/pour", &fields);
    assert_eq!(again.status, 409);
    let refused = app
        .post(
            "/v1/casts/C-00001/pour",
            json!({"poured_on": "2026-03-02", "batches": [{"base_g": "1", "curing_agent_g": "1"}]}),
        )
        .expect(409)
        .json();
    let words = refused["detail"]
        .as_str()
        .expect("words")
        .replace('\'', "&#39;");
    places(
        &again.text,
        &[
            &format!("It was not recorded: {words}."),
            "<b>Done.</b> 2 trays poured",
        ],
    );
}

#[test]
fn a_pour_that_is_refused_keeps_what_was_typed_and_says_why_at_its_field() {
    let app = TestApp::start();
    stocked(&app);
    book(&app, json!({"containers": 3, "cast_on": "2026-03-02"}));
    let browser = Browser::as_role(&app, Role::Bench);
    #[track_caller]
    fn check(browser: &Browser<'_>, fields: &[(&str, &str)], field: &str, says: &str) {
        let page = sent(browser, "/casts/C-00001/pour", fields);
        assert_eq!(page.status, 422, "{}", page.text);
        let marked = format!("aria-invalid=\"true\" aria-describedby=\"{field}-fault\"");
        let fault = format!("id=\"{field}-fault\">");
        places(&page.text, &[&marked, &fault, says, "It was not recorded"]);
        for (name, value) in fields.iter().filter(|(name, _)| *name != "done") {
            assert!(
                page.text.contains(&format!("value=\"{value}\"")),
                "{name} {value}"
            );
        }
        places(&page.text, &["name=\"done\" value=\"tape-1\" checked>"]);
    }
    let typed = [
        ("base_g", "33"),
        ("curing_agent_g", "3.3"),
        ("done", "tape-1"),
    ];
    let with = |more: (&'static str, &'static str)| [typed.as_slice(), &[more]].concat();
    check(
        &browser,
        &[("done", "tape-1")],
        "base_g-1",
        "missing field `base_g`",
    );
    check(
        &browser,
        &with(("base_g", "12")),
        "curing_agent_g-2",
        "missing field `curing_agent_g`",
    );
    check(
        &browser,
        &with(("cup_gross_g", "7.5")),
        "cup_gross_g-1",
        "is below the tare of 8 g",
    );
    check(
        &browser,
        &with(("cup_gross_g", "7,5")),
        "cup_gross_g-1",
        "is not a decimal number",
    );
    check(
        &browser,
        &with(("containers_poured", "9")),
        "containers_poured-1",
        "1 to the 3 trays planned",
    );
    check(
        &browser,
        &with(("poured_on", "2026-03-09")),
        "poured_on-1",
        "2026-03-09",
    );
    check(
        &browser,
        &with(("residue_g", "40")),
        "residue_g-1",
        "only 36.3 g were mixed",
    );
    // More than the books hold is refused as a whole, until the bench says that it is right.
    let much = [
        ("base_g", "1500"),
        ("curing_agent_g", "90"),
        ("cup_gross_g", "9"),
    ];
    let page = sent(&browser, "/casts/C-00001/pour", &much);
    assert!(matches!(page.status, 409 | 422), "{}", page.text);
    places(&page.text, &["It was not recorded", "value=\"1500\""]);
    assert_eq!(answered(&app, "/casts/C-00001")["state"], "booked");
}

#[test]
fn who_may_not_cast_sees_the_sheet_and_records_nothing() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, json!({"containers": 1, "cast_on": "2026-03-02"}));
    for role in [Role::Reader, Role::Buyer] {
        let browser = Browser::as_role(&app, role);
        let page = browser.get(SHEET).text;
        assert!(!page.contains("formmethod=\"post\"") && page.contains("name=\"base_g\""));
        for deed in ["pour", "demold"] {
            let answer = sent(
                &browser,
                &format!("/casts/C-00001/{deed}"),
                &[("base_g", "33")],
            );
            assert_eq!(answer.status, 403, "{deed}");
        }
    }
    let browser = Browser::as_role(&app, Role::Bench);
    for key in ["", "0"] {
        let answer = browser.send("/casts/C-00001/pour", &[("form_key", key)]);
        assert_eq!(answer.status, 403);
    }
    // The key of the session never stands in a field that the address would take along.
    let page = browser.get(SHEET).text;
    let form = &page[places(&page, &["<form id=\"bench\""])[0]..];
    assert!(!form.contains("type=\"hidden\""), "{form}");
    assert_eq!(
        browser
            .send("/casts/C-09999/pour", &[("form_key", form_key(&page))])
            .status,
        404
    );
    pour(&app, &cast);
    let page = Browser::as_role(&app, Role::Reader).get(SHEET).text;
    assert!(!page.contains("formmethod=\"post\""));
}

#[test]
fn the_chips_are_counted_on_the_sheet_of_a_poured_cast() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, json!({"cast_on": "2026-03-02"}));
    let browser = Browser::as_role(&app, Role::Bench);
    let early = sent(&browser, "/casts/C-00001/demold", &[("good", "8")]);
    assert_eq!(early.status, 409);
    places(&early.text, &["It was not recorded: "]);
    pour(&app, &cast);
    let page = browser.get(SHEET).text;
    places(
        &page,
        &[
            "<b>Done.</b> 2 trays poured",
            "value=\"bubbles\"",
            "formaction=\"/casts/C-00001/demold\"",
            "<legend>Tray 2</legend>",
            "data-keep=\"C-00001\"",
            "checked disabled",
        ],
    );
    // What waits is the cure, and then the count.
    let steps = answered(&app, SHEET);
    let all = steps["steps"].as_array().expect("steps").iter();
    let cure = all
        .clone()
        .find(|step| step["step"] == "cure")
        .expect("a cure")["no"]
        .clone();
    places(&page, &[&format!("<a href=\"#step-{cure}\">{cure} ")]);

    let wrong = [
        ("good", "7"),
        ("reject_reason", ""),
        ("reject_count", ""),
        ("reject_reason", ""),
        ("reject_count", "1"),
    ];
    let page = sent(&browser, "/casts/C-00001/demold", &wrong);
    assert_eq!(page.status, 422);
    places(
        &page.text,
        &[
            "aria-describedby=\"reject_reason-2-fault\"",
            "a reason has 1 to 100 characters",
            "value=\"7\"",
        ],
    );
    let page = sent(&browser, "/casts/C-00001/demold", &[("good", "9")]);
    places(
        &page.text,
        &["aria-describedby=\"good-1-fault\"", "but only 8 were cast"],
    );

    let fields = [
        ("good", "6"),
        ("reject_reason", "bubbles"),
        ("reject_count", "1"),
        ("reject_reason", "torn"),
        ("reject_count", ""),
        ("reject_reason", "cloudy"),
        ("reject_count", "1"),
        ("tray_good", ""),
        ("tray_count", ""),
        ("tray_reason", ""),
    ];
    let answer = sent(&browser, "/casts/C-00001/demold", &fields);
    assert_eq!(
        (answer.status, answer.location.as_str()),
        (303, "/casts/C-00001"),
        "{}",
        answer.text
    );
    let record = answered(&app, "/casts/C-00001")["demold"].clone();
    assert_eq!(
        (&record["good"], &record["rejected"]),
        (&json!(6), &json!(2))
    );
    assert_eq!(
        record["rejects"][1],
        json!({"reason": "cloudy", "count": 1})
    );
    let page = browser.get(SHEET).text;
    places(
        &page,
        &[
            "data-keep-end=\"C-00001\"",
            "demoulded Mon 2 Mar with 6 good chips",
        ],
    );
    assert!(!page.contains("formmethod=\"post\"") && !page.contains("data-keep=\""));
}

#[test]
fn chips_may_be_counted_tray_by_tray() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, json!({"cast_on": "2026-03-02"}));
    pour(&app, &cast);
    let browser = Browser::as_role(&app, Role::Bench);
    let counted = |second: &'static str| {
        [
            ("tray_good", "4"),
            ("tray_count", ""),
            ("tray_reason", ""),
            ("tray_good", second),
            ("tray_count", "1"),
            ("tray_reason", "torn"),
        ]
    };
    let page = sent(&browser, "/casts/C-00001/demold", &counted("4"));
    assert_eq!(page.status, 422);
    places(
        &page.text,
        &[
            "aria-describedby=\"tray_good-2-fault\"",
            "<details class=\"more\" open>",
        ],
    );
    let answer = sent(&browser, "/casts/C-00001/demold", &counted("3"));
    assert_eq!(answer.status, 303, "{}", answer.text);
    let record = answered(&app, "/casts/C-00001")["demold"].clone();
    assert_eq!(record["containers"].as_array().expect("trays").len(), 2);
    assert_eq!(
        (&record["good"], &record["rejected"]),
        (&json!(7), &json!(1))
    );
}

#[test]
fn a_coat_is_recorded_by_itself_and_the_ticks_stay_with_their_steps() {
    let app = TestApp::start();
    stocked(&app);
    book(&app, json!({"cast_on": "2026-03-02"}));
    let browser = Browser::as_role(&app, Role::Bench);
    let page = browser.get(SHEET).text;
    places(
        &page,
        &[
            "Record the coat by itself",
            "formaction=\"/casts/C-00001/coats/1.2\"",
            "value=\"1, 2\"",
        ],
    );
    let path = "/casts/C-00001/coats/1.2";
    let wrong = sent(
        &browser,
        path,
        &[
            ("coat_vials", "0"),
            ("coat_copies", "1, 2"),
            ("base_g", "33"),
        ],
    );
    assert_eq!(wrong.status, 422, "{}", wrong.text);
    places(
        &wrong.text,
        &[
            "aria-describedby=\"coat_vials-1-fault\"",
            "1 to 1000 vials",
            "value=\"33\"",
        ],
    );
    let wrong = sent(
        &browser,
        path,
        &[("coat_vials", "1"), ("coat_copies", "1, 9")],
    );
    places(
        &wrong.text,
        &[
            "aria-describedby=\"coat_copies-1-fault\"",
            "name copies from 1 to 2",
        ],
    );
    let fields = [
        ("coat_vials", "1"),
        ("coat_copies", "1, 2"),
        ("coated_on", ""),
        ("coat_note", "whitening seen"),
        ("base_g", "33"),
        ("done", "weigh-1"),
    ];
    let answer = sent(&browser, path, &fields);
    let back = format!("{SHEET}?base_g=33&done=weigh-1#next");
    assert_eq!(
        (answer.status, answer.location.as_str()),
        (303, back.as_str()),
        "{}",
        answer.text
    );
    let treatments = answered(&app, "/treatments");
    let made = &treatments["items"][0];
    assert_eq!(
        (&made["vials"], &made["note"]),
        (&json!(1), &json!("whitening seen"))
    );
    // The sheet asks for the coat no longer, and what was ticked is still the weighing.
    let page = browser.get(&format!("{SHEET}?base_g=33&done=weigh-1")).text;
    assert!(!page.contains("Record the coat"), "{page}");
    places(&page, &["name=\"done\" value=\"weigh-1\" checked>"]);
    // Sent twice, it is made once.
    let again = sent(&browser, path, &fields);
    assert_eq!(again.status, 409);
    places(
        &again.text,
        &["the sheet does not ask for this coat any longer"],
    );
    assert_eq!(
        answered(&app, "/treatments")["items"]
            .as_array()
            .expect("some")
            .len(),
        1
    );
    verified(&app);
    let reader = Browser::as_role(&app, Role::Reader);
    assert_eq!(sent(&reader, path, &fields).status, 403);
}
