//! A release coat that was made before the pour, as the sheet's form tells it and as the API would have been told.
//!
//! Invariants: what stands in the fields from the start is what the sheet asks for; a fault stands at its field. Deliberately
//! absent: what is right (the operation knows).

use chrono::NaiveDate;
use serde_json::{Map, Value, json};

use super::asked::Asked;
use super::field::{Check, Input};
use super::pour_form::whole;
use crate::base::FieldError;
use crate::casting::bench::sheet::CoatDetail;
use crate::pages::words::day;

/// The fields of a coat.
const FIELDS: [&str; 4] = ["coated_on", "coat_vials", "coat_copies", "coat_note"];

/// The form of a coat.
pub(super) struct Coat {
    /// The copies in one word, which names it in the address.
    pub(super) word: String,
    /// Whether something of it was said.
    pub(super) open: bool,
    /// The fields.
    pub(super) inputs: Vec<Input>,
    /// Whether the bench is right when more vials were used than the books hold.
    pub(super) recount: Check,
    /// What is wrong with it as a whole.
    pub(super) fault: Option<String>,
}

/// The form of the coat at a place among the coats, from 0.
pub(super) fn coat(
    asked: &Asked,
    place: usize,
    (word, detail): (String, &CoatDetail),
    today: NaiveDate,
    fault: Option<String>,
) -> Coat {
    let input = |name, label: String, known: String| {
        let input = Input::of(asked, name, place, label);
        let value = match asked.places(name) > place {
            true => input.value,
            false => known,
        };
        Input { value, ..input }
    };
    let copies: Vec<String> = detail.copies.iter().map(u32::to_string).collect();
    let recount = Check::of(
        asked,
        "coat_recount",
        (place + 1).to_string(),
        "The bench is right where more vials were used than the books hold",
    );
    let wrong = FIELDS
        .iter()
        .any(|name| asked.field(name, place).fault.is_some());
    Coat {
        open: fault.is_some() || recount.ticked || wrong,
        word,
        inputs: vec![
            input(
                "coat_vials",
                "Vials used".to_owned(),
                detail.vials.to_string(),
            ),
            input(
                "coat_copies",
                "Copies of the mould (empty: all)".to_owned(),
                copies.join(", "),
            ),
            input(
                "coated_on",
                format!("The day (empty: today, {})", day(today, today)),
                String::new(),
            ),
            input("coat_note", "A note".to_owned(), String::new()),
        ],
        recount,
        fault,
    }
}

/// The body that the API would have been sent, for the coat at a place.
pub(super) fn document(asked: &Asked, place: usize, today: NaiveDate) -> Value {
    let typed = |name| asked.typed(name, place);
    let on = match typed("coated_on") {
        "" => today.to_string(),
        on => on.to_owned(),
    };
    let mut mold = Map::new();
    let copies: Vec<Value> = typed("coat_copies")
        .split([',', ' ', ';'])
        .filter(|copy| !copy.is_empty())
        .map(whole)
        .collect();
    if !copies.is_empty() {
        mold.insert("copies".to_owned(), Value::Array(copies));
    }
    json!({
        "treated_on": on,
        "vials": whole(typed("coat_vials")),
        "molds": [mold],
        "note": typed("coat_note"),
        "recount": asked.has("coat_recount", &(place + 1).to_string()),
    })
}

/// Puts faults at the fields of the coat at a place; returns what belongs to none.
pub(super) fn place(asked: &mut Asked, at: usize, errors: &[FieldError]) -> Vec<String> {
    let mut whole = Vec::new();
    for error in errors {
        let name = match error.pointer.as_str() {
            "/treated_on" => "coated_on",
            "/vials" => "coat_vials",
            "/note" => "coat_note",
            pointer if pointer.starts_with("/molds/0/copies") => "coat_copies",
            _ => "",
        };
        if !asked.fault(name, at, error.detail.as_str()) {
            whole.push(error.detail.clone());
        }
    }
    whole
}

/// Forgets what was typed for a coat: it is recorded.
pub(super) fn forget(asked: &mut Asked) {
    for name in FIELDS {
        asked.clear(name);
    }
    asked.clear("coat_recount");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_coat_is_told_with_its_copies_and_its_vials() {
        let today = "2026-03-02".parse().unwrap();
        let asked = Asked::read("coat_vials=1&coat_copies=1,+2&coat_vials=two&coat_recount=2");
        assert_eq!(
            document(&asked, 0, today),
            json!({"treated_on": "2026-03-02", "vials": 1, "molds": [{"copies": [1, 2]}], "note": "", "recount": false})
        );
        assert_eq!(
            document(&asked, 1, today),
            json!({"treated_on": "2026-03-02", "vials": "two", "molds": [{}], "note": "", "recount": true})
        );
    }

    #[test]
    fn faults_stand_at_the_coat_they_belong_to() {
        let mut asked = Asked::read("coat_vials=1&coat_recount=1&done=coat-1.2");
        let errors = [
            FieldError::new("/molds/0/copies/1", "no copy"),
            FieldError::new("/cast", "not booked"),
        ];
        assert_eq!(place(&mut asked, 1, &errors), ["not booked"]);
        assert!(asked.field("coat_copies", 1).fault.is_some());
        forget(&mut asked);
        assert_eq!(asked.query(), "done=coat-1.2");
    }
}
