//! What can be done to a cast from its page: moved to another day or cancelled while it is booked, taken back a step after that.
//!
//! Invariants: only what fits the state is offered; a form that was refused stands open with what was typed and why. Deliberately
//! absent: pouring and demoulding (they are done at the bench sheet), and what is right (the operations know).

use std::collections::HashMap;

use serde::Deserialize;
use serde_json::{Map, Value, json};

use crate::base::FieldError;

/// What was typed, by the name of the field.
pub(super) type Typed = HashMap<String, String>;

/// What can be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Deed {
    /// It is planned again for another day.
    Move,
    /// It is not cast.
    Cancel,
    /// Its last step is taken back.
    Undo,
}

impl Deed {
    /// The document that the API would be sent.
    pub(super) fn document(self, typed: &Typed) -> Map<String, Value> {
        let value = |name: &str| typed.get(name).map_or("", |value| value.trim());
        let mut document = Map::new();
        match self {
            Self::Move => {
                document.insert("cast_on".to_owned(), json!(value("cast_on")));
                let short = value("allow_short") == "true";
                document.insert("allow_short".to_owned(), Value::Bool(short));
            }
            Self::Cancel => {}
            Self::Undo => drop(document.insert("reason".to_owned(), json!(value("reason")))),
        }
        document
    }
}

/// A form that was refused: which, what was typed, and what is wrong.
pub(super) struct Failed {
    /// The deed.
    pub(super) deed: Deed,
    /// What was typed.
    pub(super) typed: Typed,
    /// What is wrong, where fields are at fault.
    pub(super) errors: Vec<FieldError>,
    /// What is wrong as a whole.
    pub(super) detail: String,
}

/// The forms that fit a cast.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Deeds {
    /// Moving and cancelling it.
    pub(super) booked: Option<BookedForms>,
    /// Taking back its last step.
    pub(super) undo: Option<UndoForm>,
    /// What is wrong with a form that no longer fits.
    pub(super) fault: Option<String>,
}

/// The forms of a booked cast.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct BookedForms {
    /// The day, as it is or as it was typed.
    pub(super) cast_on: String,
    /// Whether stock may be short.
    pub(super) allow_short: bool,
    /// Whether moving it was refused.
    pub(super) moving: bool,
    /// What is wrong with the day.
    pub(super) day_fault: Option<String>,
    /// What is wrong with moving it as a whole.
    pub(super) move_fault: Option<String>,
    /// What is wrong with cancelling it.
    pub(super) cancel_fault: Option<String>,
}

/// The form that takes a step back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct UndoForm {
    /// Which step, in words.
    pub(super) step: &'static str,
    /// What it comes to.
    pub(super) comes_to: &'static str,
    /// Why, as it was typed.
    pub(super) reason: String,
    /// Whether it was refused.
    pub(super) open: bool,
    /// What is wrong with the reason.
    pub(super) reason_fault: Option<String>,
    /// What is wrong as a whole.
    pub(super) fault: Option<String>,
}

/// The forms of a cast in a state, booked for a day; one that was refused with what was typed.
pub(super) fn deeds(state: &str, cast_on: &str, short: bool, failed: Option<&Failed>) -> Deeds {
    let of = |deed: Deed| failed.filter(|failed| failed.deed == deed);
    let undo = |step, comes_to| {
        let failed = of(Deed::Undo);
        Deeds {
            undo: Some(UndoForm {
                step,
                comes_to,
                reason: typed(failed, "reason").unwrap_or_default(),
                open: failed.is_some(),
                reason_fault: fault_at(failed, "/reason"),
                fault: fault_besides(failed, "/reason"),
            }),
            ..Deeds::default()
        }
    };
    let mut found = match state {
        "booked" => {
            let moved = of(Deed::Move);
            Deeds {
                booked: Some(BookedForms {
                    cast_on: typed(moved, "cast_on").unwrap_or_else(|| cast_on.to_owned()),
                    allow_short: moved
                        .map_or(short, |moved| moved.typed.contains_key("allow_short")),
                    moving: moved.is_some(),
                    day_fault: fault_at(moved, "/cast_on"),
                    move_fault: fault_besides(moved, "/cast_on"),
                    cancel_fault: fault_besides(of(Deed::Cancel), ""),
                }),
                ..Deeds::default()
            }
        }
        "poured" => undo(
            "the pour",
            "All that it took goes back to the books, what it taught is forgotten, and it is booked again.",
        ),
        "demolded" => undo(
            "the demould",
            "Its chips are not counted any more, and it waits to be demoulded again.",
        ),
        _ => Deeds::default(),
    };
    found.fault = failed
        .filter(|failed| !found.fits(failed.deed))
        .map(|failed| failed.detail.clone());
    found
}

impl Deeds {
    fn fits(&self, deed: Deed) -> bool {
        match deed {
            Deed::Move | Deed::Cancel => self.booked.is_some(),
            Deed::Undo => self.undo.is_some(),
        }
    }
}

fn typed(failed: Option<&Failed>, name: &str) -> Option<String> {
    failed.and_then(|failed| failed.typed.get(name).cloned())
}

/// What is wrong at a field.
fn fault_at(failed: Option<&Failed>, pointer: &str) -> Option<String> {
    joined(
        failed?
            .errors
            .iter()
            .filter(|error| error.pointer == pointer),
    )
}

/// What is wrong elsewhere than at a field.
fn fault_besides(failed: Option<&Failed>, pointer: &str) -> Option<String> {
    let failed = failed?;
    match failed.errors.is_empty() {
        true => Some(failed.detail.clone()),
        false => joined(
            failed
                .errors
                .iter()
                .filter(|error| error.pointer != pointer),
        ),
    }
}

fn joined<'a>(errors: impl Iterator<Item = &'a FieldError>) -> Option<String> {
    let details: Vec<&str> = errors.map(|error| error.detail.as_str()).collect();
    (!details.is_empty()).then(|| details.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn failed(deed: Deed, typed: &[(&str, &str)], errors: &[(&str, &str)]) -> Failed {
        let own = |(name, value): &(&str, &str)| ((*name).to_owned(), (*value).to_owned());
        Failed {
            deed,
            typed: typed.iter().map(own).collect(),
            errors: errors
                .iter()
                .map(|(pointer, detail)| FieldError::new(*pointer, *detail))
                .collect(),
            detail: "the whole".to_owned(),
        }
    }

    #[test]
    fn a_cast_offers_what_fits_its_state() {
        let of = |state: &str| {
            let found = deeds(state, "2026-03-10", false, None);
            (found.booked.is_some(), found.undo.map(|undo| undo.step))
        };
        assert_eq!(of("booked"), (true, None));
        assert_eq!(of("poured"), (false, Some("the pour")));
        assert_eq!(of("demolded"), (false, Some("the demould")));
        assert_eq!(of("cancelled"), (false, None));
    }

    #[test]
    fn a_form_that_was_refused_keeps_what_was_typed_and_says_why() {
        let wrong = failed(
            Deed::Move,
            &[("cast_on", "soon"), ("allow_short", "true")],
            &[("/cast_on", "no day"), ("/charges", "too little")],
        );
        let found = deeds("booked", "2026-03-10", false, Some(&wrong))
            .booked
            .unwrap();
        assert_eq!(
            (found.cast_on.as_str(), found.allow_short, found.moving),
            ("soon", true, true)
        );
        assert_eq!(found.day_fault.as_deref(), Some("no day"));
        assert_eq!(found.move_fault.as_deref(), Some("too little"));
        assert_eq!(found.cancel_fault, None);
        // The cast went on meanwhile: its form is gone, and the reason stands above.
        let late = failed(Deed::Cancel, &[], &[]);
        let found = deeds("poured", "2026-03-10", false, Some(&late));
        assert_eq!(found.fault.as_deref(), Some("the whole"));
        assert!(found.undo.is_some_and(|undo| !undo.open));
    }

    #[test]
    fn a_day_is_moved_by_a_patch_of_what_the_form_shows() {
        let typed = |pairs: &[(&str, &str)]| failed(Deed::Move, pairs, &[]).typed;
        assert_eq!(
            Value::Object(
                Deed::Move.document(&typed(&[("cast_on", " 2026-03-11 "), ("known", "1")]))
            ),
            json!({"cast_on": "2026-03-11", "allow_short": false})
        );
        assert_eq!(
            Value::Object(Deed::Undo.document(&typed(&[("reason", "spilled")]))),
            json!({"reason": "spilled"})
        );
    }
}
