//! An entry as whoever only reads sees it, and what changed of it while somebody else had it in hand.
//!
//! Invariant: what the document holds is shown, each under the name that its field has in the form. Deliberately absent: the form.

use std::collections::{BTreeMap, BTreeSet};

use super::document::{Typed, places};
use super::layout;
use super::schema::{Property, Shape};

/// What is known of an entry: names with lines.
pub(super) type Known = Vec<(String, Vec<String>)>;

/// What a document holds, in the order of its form.
pub(super) fn known(properties: &[Property], typed: &Typed) -> Known {
    let (required, optional): (Vec<&Property>, Vec<&Property>) =
        properties.iter().partition(|one| one.required);
    let grouped = layout::grouped(&optional)
        .into_iter()
        .flat_map(|(_, group)| group);
    required
        .into_iter()
        .chain(grouped)
        .map(|property| (layout::label(property), lines(property, typed)))
        .filter(|(_, lines)| !lines.is_empty())
        .collect()
}

fn lines(property: &Property, typed: &Typed) -> Vec<String> {
    let pointer = format!("/{}", property.name);
    match &property.shape {
        Shape::Object(parts) => row(parts, typed, &pointer).into_iter().collect(),
        Shape::List(parts) => places(typed, &pointer)
            .into_iter()
            .filter_map(|place| row(parts, typed, &format!("{pointer}/{place}")))
            .collect(),
        _ => words(property, typed.get(&pointer)),
    }
}

fn row(parts: &[Property], typed: &Typed, pointer: &str) -> Option<String> {
    let told: Vec<String> = layout::within(parts)
        .into_iter()
        .filter_map(|part| {
            let words = words(part, typed.get(&format!("{pointer}/{}", part.name)));
            (!words.is_empty()).then(|| format!("{}: {}", layout::label(part), words.join(" ")))
        })
        .collect();
    (!told.is_empty()).then(|| told.join("; "))
}

fn words(property: &Property, text: Option<&String>) -> Vec<String> {
    let Some(text) = text else {
        return Vec::new();
    };
    match &property.shape {
        Shape::Choice(_) => vec![layout::word(text)],
        Shape::Tick => vec!["yes".to_owned()],
        _ => text.lines().map(str::to_owned).collect(),
    }
}

/// What became of the fields that somebody else changed, by pointer. `mine` is what stands in the form now.
pub(super) fn changed_meanwhile(was: &Typed, is: &Typed, mine: &Typed) -> BTreeMap<String, String> {
    let pointers: BTreeSet<&String> = was.keys().chain(is.keys()).collect();
    let shown = |text: Option<&String>| {
        text.map_or_else(|| "nothing".to_owned(), |text| format!("“{text}”"))
    };
    pointers
        .into_iter()
        .filter(|pointer| was.get(*pointer) != is.get(*pointer))
        .map(|pointer| {
            let yours = match mine.get(pointer) == is.get(pointer) {
                true => "",
                false => " What you sent stands here.",
            };
            let said = format!(
                "Changed meanwhile from {} to {}.{yours}",
                shown(was.get(pointer)),
                shown(is.get(pointer))
            );
            (pointer.clone(), said)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{ElastomerBody, MaterialBody};
    use crate::pages::catalogue::document::typed_from;
    use crate::pages::catalogue::schema::properties;
    use serde_json::json;

    #[test]
    fn what_is_known_stands_under_the_names_of_the_form() {
        let all = properties::<MaterialBody>();
        let cup = json!({"code": "cup", "name": "Cup", "kind": "mixing_cup", "unit": "each", "hazard_statements": ["H225", "H317"],
            "container": {"shape": "round", "depth_mm": "70", "diameter_mm": "62"}});
        let known = known(&all, &typed_from(&all, &cup));
        let of = |name: &str| &known.iter().find(|(known, _)| known == name).unwrap().1;
        assert_eq!(*of("What it is for"), ["mixing cup"]);
        assert_eq!(*of("Hazard statements"), ["H225", "H317"]);
        assert_eq!(
            *of("Its inside"),
            ["Shape: round; Depth, mm: 70; Diameter, mm: 62"]
        );
        assert_eq!(known.len(), 6);
        let all = properties::<ElastomerBody>();
        let cures = json!({"cure": [{"temperature_c": "65", "minutes": "240"}, {"temperature_c": "25", "minutes": "2880"}]});
        let lines = super::known(&all, &typed_from(&all, &cures))[0].1.len();
        assert_eq!(lines, 2);
    }

    #[test]
    fn what_changed_meanwhile_says_from_what_to_what() {
        let typed = |heel: &str, name: &str| -> Typed {
            let all = [
                ("/heel".to_owned(), heel.to_owned()),
                ("/name".to_owned(), name.to_owned()),
            ];
            all.into_iter()
                .filter(|(_, text)| !text.is_empty())
                .collect()
        };
        let found = changed_meanwhile(
            &typed("", "Base"),
            &typed("5", "Base, new"),
            &typed("5", "Mine"),
        );
        assert_eq!(found["/heel"], "Changed meanwhile from nothing to “5”.");
        assert_eq!(
            found["/name"],
            "Changed meanwhile from “Base” to “Base, new”. What you sent stands here."
        );
        assert!(changed_meanwhile(&typed("5", "a"), &typed("5", "a"), &typed("6", "a")).is_empty());
    }
}
