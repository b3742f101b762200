//! The fields of a noun's document, read from the schema that the API's description publishes of it.
//!
//! Invariants: there is no second list of fields, so that a field that is added to a document is in its form; what a schema
//! names by reference is resolved, and an object within an object has plain fields only. Deliberately absent: in which order
//! and under which heading fields stand (the layout), and what they hold.

use serde_json::Value;
use utoipa::ToSchema;

/// A text longer than this is written in several lines.
const LINE_CHARS_MAX: u64 = 500;

/// What can be typed into a field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Shape {
    /// A text, in one line or several.
    Text {
        /// Whether it may have several lines.
        long: bool,
    },
    /// A code: the entry's own, or another's.
    Code,
    /// A decimal, with the name of its type: `Micro`, `Quantity` or `Money`.
    Decimal(String),
    /// A whole number.
    Whole,
    /// A day.
    Day,
    /// One of some words.
    Choice(Vec<String>),
    /// Yes or no.
    Tick,
    /// Texts, one in a line.
    Lines,
    /// Fields that belong together.
    Object(Vec<Property>),
    /// Any number of such.
    List(Vec<Property>),
}

/// A property of a document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Property {
    /// Its name in the document.
    pub(super) name: String,
    /// Whether the document is nothing without it.
    pub(super) required: bool,
    /// What its documentation says.
    pub(super) hint: String,
    /// What can be typed.
    pub(super) shape: Shape,
}

impl Property {
    /// Whether it is made of other fields.
    pub(super) fn parts(&self) -> Option<&[Property]> {
        match &self.shape {
            Shape::Object(parts) | Shape::List(parts) => Some(parts),
            _ => None,
        }
    }
}

/// The properties of a document: those that are required first, in the order of the document; the others by name.
pub(super) fn properties<B: ToSchema>() -> Vec<Property> {
    let mut named = Vec::new();
    B::schemas(&mut named);
    let named: Vec<(String, Value)> = named
        .into_iter()
        .map(|(name, schema)| (name, serde_json::to_value(schema).unwrap_or_default()))
        .collect();
    let whole = serde_json::to_value(B::schema()).unwrap_or_default();
    of_object(&whole, &Named(&named))
}

/// The schemas that others refer to, by name.
struct Named<'a>(&'a [(String, Value)]);

impl Named<'_> {
    /// The schema that one refers to, with its name; the schema itself, when it refers to none.
    fn resolve<'a>(&'a self, schema: &'a Value) -> (&'a str, &'a Value) {
        let name = schema["$ref"]
            .as_str()
            .and_then(|address| address.rsplit('/').next())
            .unwrap_or_default();
        match self.0.iter().find(|(known, _)| known == name) {
            Some((_, found)) => (name, found),
            None => ("", schema),
        }
    }
}

fn of_object(schema: &Value, named: &Named<'_>) -> Vec<Property> {
    let required: Vec<&str> = schema["required"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(Value::as_str)
        .collect();
    let mut found: Vec<Property> = schema["properties"]
        .as_object()
        .into_iter()
        .flatten()
        .map(|(name, property)| {
            of_property(name, required.contains(&name.as_str()), property, named)
        })
        .collect();
    let place = |name: &str| required.iter().position(|known| *known == name);
    found.sort_by_key(|property| place(&property.name).unwrap_or(usize::MAX));
    found
}

fn of_property(name: &str, required: bool, schema: &Value, named: &Named<'_>) -> Property {
    // What may be left out is published as one of itself and null.
    let alternatives = schema["oneOf"].as_array();
    let set = alternatives
        .and_then(|all| all.iter().find(|one| one["type"] != "null"))
        .unwrap_or(schema);
    let said = set["description"]
        .as_str()
        .or(schema["description"].as_str());
    let hint = said.unwrap_or_default().replace('\n', " ");
    let (type_name, schema) = named.resolve(set);
    let mut property = Property {
        name: name.to_owned(),
        required,
        hint,
        shape: shape(type_name, schema, named),
    };
    if name == "code" {
        let rule = schema["description"].as_str().unwrap_or_default();
        let rule = rule.trim_start_matches("A code: ").split(';').next();
        property.hint = format!("{} It has {}.", property.hint, rule.unwrap_or_default());
    }
    property
}

fn shape(type_name: &str, schema: &Value, named: &Named<'_>) -> Shape {
    let is = |word: &str| match &schema["type"] {
        Value::Array(words) => words.iter().any(|known| known == word),
        other => other == word,
    };
    if let Some(words) = schema["enum"].as_array() {
        let words = words.iter().filter_map(Value::as_str);
        return Shape::Choice(words.map(str::to_owned).collect());
    }
    if is("array") {
        let (_, items) = named.resolve(&schema["items"]);
        return match items["properties"].is_object() {
            true => Shape::List(of_object(items, named)),
            false => Shape::Lines,
        };
    }
    match (type_name, schema["format"].as_str()) {
        ("Code", _) => Shape::Code,
        (name, Some("decimal")) => Shape::Decimal(name.to_owned()),
        (_, Some("date")) => Shape::Day,
        _ if is("object") => Shape::Object(of_object(schema, named)),
        _ if is("integer") => Shape::Whole,
        _ if is("boolean") => Shape::Tick,
        _ => Shape::Text {
            long: schema["maxLength"].as_u64().unwrap_or(0) > LINE_CHARS_MAX,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{GrantBody, MaterialBody, RecipeBody, SupplierBody};

    #[track_caller]
    fn check<B: ToSchema>(name: &str, required: bool, expected: &Shape) {
        let all = properties::<B>();
        let found = all.iter().find(|property| property.name == name);
        let found = found.unwrap_or_else(|| panic!("no {name} in {all:?}"));
        assert_eq!((found.required, &found.shape), (required, expected));
        assert!(!found.hint.is_empty() && !found.hint.contains('\n'));
    }

    #[test]
    fn a_property_is_what_its_type_is() {
        check::<MaterialBody>("code", true, &Shape::Code);
        check::<MaterialBody>("name", true, &Shape::Text { long: false });
        check::<MaterialBody>("lead_time_days", false, &Shape::Whole);
        check::<MaterialBody>("heel", false, &Shape::Decimal("Quantity".into()));
        check::<MaterialBody>("order_cost", false, &Shape::Decimal("Money".into()));
        check::<MaterialBody>("hazard_statements", false, &Shape::Lines);
        check::<RecipeBody>("tape", false, &Shape::Code);
        check::<GrantBody>("ends_on", false, &Shape::Day);
        let words = ["warn", "refuse"].map(str::to_owned);
        check::<GrantBody>("beyond", false, &Shape::Choice(words.into()));
        check::<SupplierBody>("note", false, &Shape::Text { long: true });
    }

    #[test]
    fn what_is_within_is_read_too_and_what_is_required_comes_first() {
        let recipe = properties::<RecipeBody>();
        let names: Vec<&str> = recipe
            .iter()
            .map(|property| property.name.as_str())
            .collect();
        let first = [
            "code",
            "name",
            "elastomer",
            "mold",
            "container",
            "cup",
            "chip_thickness_mm",
            "drain_time_s",
        ];
        assert_eq!(names[..8], first);
        let gauge = recipe
            .iter()
            .find(|property| property.name == "gauge")
            .unwrap();
        let Shape::Object(parts) = &gauge.shape else {
            panic!("{gauge:?}");
        };
        assert!(
            parts
                .iter()
                .any(|part| part.shape == Shape::Tick && part.required)
        );
        let extras = recipe
            .iter()
            .find(|property| property.name == "extras")
            .unwrap();
        assert!(matches!(&extras.shape, Shape::List(parts) if parts.len() == 3));
    }
}
