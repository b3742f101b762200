//! From what was typed to the document that the API would have been sent, and back.
//!
//! Invariants: a field is named by its JSON pointer, as a fault names it; what is left empty is left out, a row of a list with
//! nothing in it is no row, and the rows behind it move up, so that the document's places are the form's; a value that is no
//! number stays a text, for the document's own type to refuse. Deliberately absent: what is right.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Map, Number, Value};

use super::schema::{Property, Shape};
use crate::base::FieldError;

/// What was typed, by the pointer of the field.
pub(super) type Typed = BTreeMap<String, String>;

/// What a form says.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Told {
    /// The document.
    pub(super) document: Map<String, Value>,
    /// What was typed, without the rows that hold nothing.
    pub(super) typed: Typed,
    /// What must be there and is not, in the words in which a document without it is refused.
    pub(super) missing: Vec<FieldError>,
}

/// Reads a form.
pub(super) fn told(properties: &[Property], typed: &Typed) -> Told {
    let mut told = Told::default();
    told.document = told.object(properties, typed, ("", ""));
    told
}

/// Whether something of a property was typed.
pub(super) fn is_filled(typed: &Typed, pointer: &str) -> bool {
    let below = format!("{pointer}/");
    typed.iter().any(|(known, text)| {
        (known == pointer || known.starts_with(&below)) && !text.trim().is_empty()
    })
}

/// The places of a list in which something was typed.
pub(super) fn places(typed: &Typed, pointer: &str) -> BTreeSet<usize> {
    let below = format!("{pointer}/");
    typed
        .iter()
        .filter(|(_, text)| !text.trim().is_empty())
        .filter_map(|(known, _)| known.strip_prefix(&below)?.split('/').next()?.parse().ok())
        .collect()
}

impl Told {
    /// The object whose fields were typed below one pointer and are told below another.
    fn object(
        &mut self,
        properties: &[Property],
        typed: &Typed,
        (from, to): (&str, &str),
    ) -> Map<String, Value> {
        let mut object = Map::new();
        for property in properties {
            let (from, to) = (
                format!("{from}/{}", property.name),
                format!("{to}/{}", property.name),
            );
            let value = match &property.shape {
                Shape::Object(parts) => (property.required || is_filled(typed, &from))
                    .then(|| Value::Object(self.object(parts, typed, (&from, &to)))),
                Shape::List(parts) => {
                    let rows: Vec<Value> = places(typed, &from)
                        .into_iter()
                        .enumerate()
                        .map(|(at, place)| {
                            let ends = (format!("{from}/{place}"), format!("{to}/{at}"));
                            Value::Object(self.object(parts, typed, (&ends.0, &ends.1)))
                        })
                        .collect();
                    (property.required || !rows.is_empty()).then_some(Value::Array(rows))
                }
                _ => self.plain(property, typed.get(&from), to),
            };
            if let Some(value) = value {
                object.insert(property.name.clone(), value);
            }
        }
        object
    }

    fn plain(&mut self, property: &Property, text: Option<&String>, to: String) -> Option<Value> {
        let text = text
            .map(|text| text.replace("\r\n", "\n"))
            .unwrap_or_default();
        let text = text.trim();
        if !text.is_empty() {
            self.typed.insert(to.clone(), text.to_owned());
        }
        match property.shape {
            Shape::Tick => {
                (property.required || !text.is_empty()).then_some(Value::Bool(!text.is_empty()))
            }
            _ if text.is_empty() => {
                if property.required {
                    let detail = format!("missing field `{}`", property.name);
                    self.missing.push(FieldError::new(to, detail));
                }
                None
            }
            Shape::Whole => Some(
                serde_json::from_str::<Number>(text).map_or_else(|_| text.into(), Value::Number),
            ),
            Shape::Lines => Some(
                text.lines()
                    .map(str::trim)
                    .filter(|line| !line.is_empty())
                    .collect(),
            ),
            _ => Some(text.into()),
        }
    }
}

/// What would have been typed for a document to come of it.
pub(super) fn typed_from(properties: &[Property], document: &Value) -> Typed {
    let mut typed = Typed::new();
    fill(&mut typed, properties, document, "");
    typed
}

fn fill(typed: &mut Typed, properties: &[Property], object: &Value, pointer: &str) {
    for property in properties {
        let pointer = format!("{pointer}/{}", property.name);
        let value = &object[&property.name];
        match (&property.shape, value) {
            (Shape::Object(parts), _) => fill(typed, parts, value, &pointer),
            (Shape::List(parts), Value::Array(rows)) => {
                for (at, row) in rows.iter().enumerate() {
                    fill(typed, parts, row, &format!("{pointer}/{at}"));
                }
            }
            (Shape::Lines, Value::Array(lines)) => {
                let lines: Vec<&str> = lines.iter().filter_map(Value::as_str).collect();
                typed.insert(pointer, lines.join("\n"));
            }
            (_, Value::Bool(true)) => drop(typed.insert(pointer, "on".to_owned())),
            (_, Value::String(text)) => drop(typed.insert(pointer, text.clone())),
            (_, Value::Number(number)) => drop(typed.insert(pointer, number.to_string())),
            _ => {}
        }
    }
}

/// The merge patch (RFC 7396) that makes one document of another.
pub(super) fn patch_between(
    before: &Map<String, Value>,
    after: &Map<String, Value>,
) -> Map<String, Value> {
    let removed = before.keys().filter(|name| !after.contains_key(*name));
    let mut patch: Map<String, Value> = removed.map(|name| (name.clone(), Value::Null)).collect();
    for (name, value) in after {
        match (before.get(name), value) {
            (Some(same), value) if same == value => {}
            (Some(Value::Object(before)), Value::Object(after)) => {
                patch.insert(name.clone(), Value::Object(patch_between(before, after)));
            }
            _ => drop(patch.insert(name.clone(), value.clone())),
        }
    }
    patch
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{ElastomerBody, MaterialBody, RecipeBody};
    use crate::pages::catalogue::schema::properties;
    use serde_json::json;

    fn typed(fields: &[(&str, &str)]) -> Typed {
        let own = |(name, text): &(&str, &str)| ((*name).to_owned(), (*text).to_owned());
        fields.iter().map(own).collect()
    }

    #[test]
    fn what_is_typed_becomes_the_document_and_the_document_what_is_typed() {
        let fields = typed(&[
            ("/code", " tray "),
            ("/name", "Tray 90 x 60"),
            ("/kind", "container"),
            ("/unit", "each"),
            ("/lead_time_days", "14"),
            ("/heel", "  "),
            ("/hazard_statements", "H225\r\n\r\n H301+H311\r\n"),
            ("/container/shape", "round"),
            ("/container/depth_mm", "15"),
            ("/container/rated_uses", "many"),
        ]);
        let all = properties::<MaterialBody>();
        let told = told(&all, &fields);
        let document = Value::Object(told.document);
        assert_eq!(
            document,
            json!({"code": "tray", "name": "Tray 90 x 60", "kind": "container", "unit": "each", "lead_time_days": 14,
                "hazard_statements": ["H225", "H301+H311"],
                "container": {"shape": "round", "depth_mm": "15", "rated_uses": "many"}})
        );
        let again = typed_from(&all, &document);
        assert_eq!(again["/hazard_statements"], "H225\nH301+H311");
        assert_eq!(again["/container/depth_mm"], "15");
        assert_eq!(again.len(), 9);
    }

    #[test]
    fn rows_with_nothing_in_them_are_none_and_the_others_move_up() {
        let fields = typed(&[
            ("/cure/0/temperature_c", " "),
            ("/cure/2/temperature_c", "65"),
            ("/cure/10/minutes", "45"),
        ]);
        let all = properties::<ElastomerBody>();
        let told = told(&all, &fields);
        assert_eq!(
            told.document["cure"],
            json!([{"temperature_c": "65"}, {"minutes": "45"}])
        );
        assert_eq!(told.document["ratio"], json!({}));
        let typed: Vec<&str> = told.typed.keys().map(String::as_str).collect();
        assert_eq!(typed, ["/cure/0/temperature_c", "/cure/1/minutes"]);
        let missing: Vec<&str> = told
            .missing
            .iter()
            .map(|fault| fault.pointer.as_str())
            .collect();
        assert!(
            missing.contains(&"/ratio/base") && missing.contains(&"/cure/0/minutes"),
            "{missing:?}"
        );
        assert_eq!(
            told.missing[0],
            FieldError::new("/code", "missing field `code`")
        );
    }

    #[test]
    fn a_tick_belongs_to_what_is_there() {
        let all = properties::<RecipeBody>();
        let none = told(&all, &typed(&[("/gauge/mass_g", "")]));
        assert!(!none.document.contains_key("gauge") && !none.document.contains_key("extras"));
        let unticked = told(&all, &typed(&[("/gauge/mass_g", "30")]));
        assert_eq!(
            unticked.document["gauge"],
            json!({"mass_g": "30", "mold_in": false})
        );
        let ticked = told(&all, &typed(&[("/gauge/mold_in", "on")]));
        assert_eq!(ticked.document["gauge"], json!({"mold_in": true}));
    }

    #[track_caller]
    fn check(before: Value, after: Value, expected: Value) {
        let object = |value: &Value| value.as_object().unwrap().clone();
        let patch = Value::Object(patch_between(&object(&before), &object(&after)));
        assert_eq!(patch, expected);
        assert_eq!(crate::http::merge_patch(before, patch), after);
    }

    #[test]
    fn a_patch_has_what_differs() {
        check(json!({"a": 1}), json!({"a": 1}), json!({}));
        check(
            json!({"a": 1, "b": {"c": 2, "d": 3}, "e": [1]}),
            json!({"b": {"c": 4}, "e": [1, 2], "f": {"g": 5}}),
            json!({"a": null, "b": {"c": 4, "d": null}, "e": [1, 2], "f": {"g": 5}}),
        );
    }
}
