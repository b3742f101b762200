//! Dropping files and sending the forms of what comes in, for the tests of those pages.

use std::time::Duration;

use serde_json::{Value, json};

use super::browser::{Browser, Seen, form_key};
use super::lab::catalogue;
use super::{TestApp, send};

pub(crate) const HEADER: &str = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on";
pub(crate) const BASE: &str =
    "O-1,1,North,2026-01-20,2026-02-03,base,00123,2,1.1,kg,100.00,EUR,10.00,2027-02-01";
pub(crate) const TRAYS: &str = "O-1,2,North,2026-01-20,2026-02-03,tray,T1,1,100,each,50.00,EUR,,";
pub(crate) const KIT: &str =
    "O-2,1,North,2026-01-20,2026-02-10,kit-a,K7,2,,,220.00,EUR,,2027-02-01";
pub(crate) const OPEN: &str = "O-3,1,North,2026-02-20,,agent,,1,1,kg,80.00,EUR,,";
pub(crate) const OPEN_TOO: &str = "O-3,2,North,2026-02-20,,kit-a,,1,,,110.00,EUR,,";

/// A service with a catalogue and a kit.
pub(crate) fn lab() -> TestApp {
    let app = TestApp::start();
    lab_in(&app);
    app
}

pub(crate) fn lab_in(app: &TestApp) {
    catalogue(app);
    let kit = json!({"code": "kit-a", "name": "Kit", "elastomer": "el", "base_g": "1000", "curing_agent_g": "100"});
    app.post("/v1/kits", kit).expect(201);
}

pub(crate) fn file(rows: &[&str]) -> String {
    format!("{HEADER}\n{}\n", rows.join("\n"))
}

/// Drops a file and gives the address of the look at it, with the look.
pub(crate) fn dropped(
    browser: &Browser<'_>,
    file: &str,
    fields: &[(&str, &str)],
) -> (String, String) {
    let answer = browser.drop_file("north.csv", file, fields);
    assert_eq!(answer.status, 303, "{}", answer.text);
    let look = browser.get(&answer.location);
    assert_eq!(look.status, 200, "{}", look.text);
    assert!(look.text.len() < 100_000, "{} bytes", look.text.len());
    (answer.location, look.text)
}

/// Sends a form of a page.
pub(crate) fn sent(browser: &Browser<'_>, page: &str, path: &str, fields: &[(&str, &str)]) -> Seen {
    let page = browser.get(page).text;
    let mut form = vec![("form_key", form_key(&page))];
    form.extend(fields);
    browser.send(path, &form)
}

/// Receives a file that waits, however long it takes, and gives the last answer.
pub(crate) fn received(browser: &Browser<'_>, address: &str) -> Seen {
    let mut answer = sent(browser, "/receive", &format!("{address}/receive"), &[]);
    assert_eq!(answer.status, 303, "{}", answer.text);
    while answer.status == 303 || answer.text.contains("data-poll") {
        let next = match answer.status {
            303 => answer.location,
            _ => address.to_owned(),
        };
        std::thread::sleep(Duration::from_millis(20));
        answer = browser.get(&next);
    }
    answer
}

pub(crate) fn api(app: &TestApp, query: &str, body: &str) -> Value {
    let request = app.request("POST", &format!("/v1/purchase-imports{query}"));
    let request = request.header("Content-Type", "text/csv");
    send(request.body(body.to_owned())).expect(200).json()
}

pub(crate) fn lots(app: &TestApp) -> Vec<Value> {
    let lots = app.get("/v1/lots?limit=1000").expect(200).json();
    lots["items"].as_array().expect("lots").clone()
}

/// A text as it stands in a page.
pub(crate) fn escaped(text: &str) -> String {
    text.replace('&', "&#38;")
        .replace('<', "&#60;")
        .replace('>', "&#62;")
        .replace('"', "&#34;")
        .replace('\'', "&#39;")
}

#[track_caller]
pub(crate) fn has(page: &str, words: &[&str]) {
    for words in words {
        assert!(page.contains(words), "{words} is not in {page}");
    }
}
