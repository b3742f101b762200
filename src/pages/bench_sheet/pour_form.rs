//! What was poured, as the sheet's form tells it and as the API would have been told.
//!
//! Invariants: what is left empty is not sent on; batches after the last of which something was weighed were not made; a fault
//! stands at its field, and what belongs to none is said of the whole. Deliberately absent: what is right (the operation knows).

use chrono::NaiveDate;
use serde_json::{Map, Value};

use super::asked::Asked;
use crate::base::FieldError;

/// What is told of a batch, as in the API's body.
const OF_BATCH: [&str; 8] = [
    "base_g",
    "curing_agent_g",
    "residue_g",
    "cup_tare_g",
    "cup_gross_g",
    "discarded",
    "base_pack_id",
    "curing_agent_pack_id",
];
/// What shows that a batch was made.
const MADE: [&str; 5] = [
    "base_g",
    "curing_agent_g",
    "residue_g",
    "cup_gross_g",
    "discarded",
];

/// A whole number as a number; else as it was typed, which the operation refuses in its own words.
pub(super) fn whole(typed: &str) -> Value {
    typed
        .parse::<u64>()
        .map_or_else(|_| Value::from(typed), Value::from)
}

/// How many batches were made.
fn made(asked: &Asked) -> usize {
    let most = MADE.iter().map(|name| asked.places(name)).max();
    let told = |place: &usize| MADE.iter().any(|name| asked.is_given(name, *place));
    let last = (0..most.unwrap_or(0)).rev().find(told);
    // Without any, the operation is asked for the first, and says what is missing.
    last.map_or(1, |place| place + 1)
}

/// The body that the API would have been sent.
pub(super) fn document(asked: &Asked, today: NaiveDate) -> Value {
    let batches = (0..made(asked)).map(|place| batch(asked, place)).collect();
    let mut document = Map::new();
    let poured_on = match asked.typed("poured_on", 0) {
        "" => today.to_string(),
        typed => typed.to_owned(),
    };
    document.insert("poured_on".to_owned(), Value::from(poured_on));
    document.insert("batches".to_owned(), Value::Array(batches));
    if asked.is_given("containers_poured", 0) {
        let trays = whole(asked.typed("containers_poured", 0));
        document.insert("containers_poured".to_owned(), trays);
    }
    if asked.is_given("level_mm", 0) {
        let level = Value::from(asked.typed("level_mm", 0));
        document.insert("level_mm".to_owned(), level);
    }
    let renewed = Value::from(!asked.has("uncoated", "1"));
    document.insert("coats_renewed".to_owned(), renewed);
    let recount = Value::from(asked.has("recount", "1"));
    document.insert("recount".to_owned(), recount);
    Value::Object(document)
}

fn batch(asked: &Asked, place: usize) -> Value {
    let mut batch = Map::new();
    for name in OF_BATCH {
        let typed = asked.typed(name, place);
        // The tare of a cup that was not weighed afterwards tells nothing.
        let idle = name == "cup_tare_g" && !asked.is_given("cup_gross_g", place);
        if typed.is_empty() || idle {
            continue;
        }
        let value = match name.ends_with("_id") {
            true => whole(typed),
            false => Value::from(typed),
        };
        batch.insert(name.to_owned(), value);
    }
    let no = (place + 1).to_string();
    if asked.has("stirrer_in_weighing", &no) {
        batch.insert("stirrer_in_weighing".to_owned(), Value::from(true));
    }
    Value::Object(batch)
}

/// Puts faults at their fields; returns what belongs to none.
pub(super) fn place(asked: &mut Asked, errors: &[FieldError]) -> Vec<String> {
    let mut whole = Vec::new();
    for error in errors {
        let path: Vec<&str> = error.pointer.trim_start_matches('/').split('/').collect();
        let placed = match path[..] {
            ["batches", index, name] => index
                .parse()
                .is_ok_and(|place| asked.fault(name, place, error.detail.as_str())),
            [name] => asked.fault(name, 0, error.detail.as_str()),
            _ => false,
        };
        if !placed {
            whole.push(error.detail.clone());
        }
    }
    whole
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn of(query: &str) -> Value {
        document(&Asked::read(query), "2026-03-02".parse().unwrap())
    }

    #[test]
    fn what_is_left_empty_is_not_sent_on() {
        let told = of(
            "base_g=33&curing_agent_g=3.3&cup_tare_g=8.1&cup_gross_g=9&base_g=&curing_agent_g=&cup_tare_g=8&containers_poured=2&stirrer_in_weighing=1&base_pack_id=7",
        );
        let batch = json!({"base_g": "33", "curing_agent_g": "3.3", "cup_tare_g": "8.1", "cup_gross_g": "9",
            "stirrer_in_weighing": true, "base_pack_id": 7});
        assert_eq!(
            told,
            json!({"poured_on": "2026-03-02", "batches": [batch], "containers_poured": 2, "coats_renewed": true,
                "recount": false})
        );
    }

    #[test]
    fn a_batch_between_others_keeps_its_place_and_an_empty_form_asks_for_the_first() {
        let told = of("base_g=&base_g=12&poured_on=2026-03-01&uncoated=1&recount=1&level_mm=4.1");
        assert_eq!(told["batches"], json!([{}, {"base_g": "12"}]));
        let rest = (&told["poured_on"], &told["coats_renewed"], &told["recount"]);
        assert_eq!(rest, (&json!("2026-03-01"), &json!(false), &json!(true)));
        assert_eq!(of("")["batches"], json!([{}]));
        assert_eq!(of("containers_poured=two")["containers_poured"], "two");
        assert_eq!(of("cup_tare_g=8")["batches"], json!([{}]));
    }

    #[test]
    fn faults_stand_at_their_fields() {
        let mut asked = Asked::default();
        let errors = [
            FieldError::new("/batches/1/base_g", "missing field `base_g`"),
            FieldError::new("/poured_on", "too late"),
            FieldError::new("/batches", "no batch was poured"),
            FieldError::new("/batches/x/base_g", "nowhere"),
        ];
        let whole = place(&mut asked, &errors);
        assert_eq!(whole, ["no batch was poured", "nowhere"]);
        let fault = |name, place| asked.field(name, place).fault;
        assert_eq!(
            fault("base_g", 1).as_deref(),
            Some("missing field `base_g`")
        );
        assert_eq!(fault("base_g", 0), None);
        assert_eq!(fault("poured_on", 0).as_deref(), Some("too late"));
    }
}
