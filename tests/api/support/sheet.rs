//! A cast on its bench sheet, for the tests of that page: booked, poured, and what is found on the page.

use serde_json::{Value, json};

use super::TestApp;

/// The sheet of the first cast.
pub(crate) const SHEET: &str = "/casts/C-00001/bench-sheet";

/// Books two trays, or what `body` says otherwise.
pub(crate) fn book(app: &TestApp, body: Value) -> Value {
    let mut request = json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-10"});
    for (name, value) in body.as_object().expect("fields") {
        request[name] = value.clone();
    }
    app.post("/v1/casts", request).expect(201).json()
}

/// Pours a cast as planned.
pub(crate) fn pour(app: &TestApp, cast: &Value) {
    let planned = cast["plan"]["batches"].as_array().expect("batches").iter();
    let batches: Vec<Value> = planned
        .map(|batch| {
            json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"], "residue_g": "1"})
        })
        .collect();
    let body = json!({"poured_on": "2026-03-02", "batches": batches});
    let path = format!("/v1/casts/{}/pour", cast["code"].as_str().expect("a code"));
    app.post(&path, body).expect(200);
}

/// The answer of the API beside the page.
pub(crate) fn answered(app: &TestApp, path: &str) -> Value {
    app.get(&format!("/v1{path}")).expect(200).json()
}

/// Where texts begin in a page; each must be there.
pub(crate) fn places(page: &str, texts: &[&str]) -> Vec<usize> {
    let place = |text: &&str| {
        page.find(*text)
            .unwrap_or_else(|| panic!("no {text}: {page}"))
    };
    texts.iter().map(place).collect()
}
