//! What a document's own checks say of its fields: what each names, which belong to which kind of material, which never change.
//!
//! It is asked by trying: a document of sample values is held against the checks, so that no rule stands here a second time.
//! Invariants: a field is left out of a kind's form only when another kind may have it; what no sample can tell is shown.
//! Deliberately absent: the rules.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Map, Value, json};

use super::schema::{Property, Shape};
use crate::catalogue::{CatalogueBody, MaterialKind, Noun};

/// The property by which a noun's documents are of several kinds.
pub(super) const KIND: &str = "kind";

/// A field that names another entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Naming {
    /// Its pointer, with `*` for the place in a list.
    pub(super) pattern: String,
    /// What it names.
    pub(super) noun: Noun,
    /// The kinds of material it may be; empty when it is none.
    pub(super) kinds: &'static [MaterialKind],
}

/// A pointer with `*` for each place in a list.
pub(super) fn pattern(pointer: &str) -> String {
    let part = |part: &str| match !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit()) {
        true => "*".to_owned(),
        false => part.to_owned(),
    };
    let parts: Vec<String> = pointer.split('/').map(part).collect();
    parts.join("/")
}

/// What a noun's documents name.
pub(super) fn namings<B: CatalogueBody>(properties: &[Property]) -> Vec<Naming> {
    let whole: Map<String, Value> = properties
        .iter()
        .map(|one| (one.name.clone(), sample(one)))
        .collect();
    let links = parse::<B>(whole)
        .map(|body| body.links())
        .unwrap_or_default();
    let naming = |link: crate::catalogue::Link| Naming {
        pattern: pattern(&link.pointer()),
        noun: link.target,
        kinds: link.kinds,
    };
    links.into_iter().map(naming).collect()
}

/// Which fields belong to a kind.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Suited {
    /// Those it never has.
    pub(super) barred: BTreeSet<String>,
    /// Those it must have, though others need not.
    pub(super) wanted: BTreeSet<String>,
    /// The words that fit, of those fields that have a choice.
    pub(super) words: BTreeMap<String, Vec<String>>,
}

/// Which fields belong to documents of a kind; all belong to those of a noun that knows none.
pub(super) fn suited<B: CatalogueBody>(properties: &[Property], kind: &str) -> Suited {
    let kinds = properties.iter().find(|property| property.name == KIND);
    let Some(Shape::Choice(kinds)) = kinds.map(|kinds| &kinds.shape) else {
        return Suited::default();
    };
    if !kinds.iter().any(|known| known == kind) {
        return Suited::default();
    }
    let faulty = |kind: &str, name: &str, value: Option<Value>| {
        let mut document = least(properties);
        document.insert(KIND.to_owned(), kind.into());
        if let Some(value) = value {
            document.insert(name.to_owned(), value);
        }
        faulted::<B>(document, name)
    };
    let mut suited = Suited::default();
    for property in properties.iter().filter(|property| property.name != KIND) {
        let name = property.name.as_str();
        if let Shape::Choice(words) = &property.shape {
            let mut words = words.clone();
            words.retain(|word| !faulty(kind, name, Some(word.as_str().into())));
            suited.words.insert(name.to_owned(), words);
        }
        if property.required {
            continue;
        }
        let refused = |kind: &str| faulty(kind, name, Some(sample(property)));
        if refused(kind) && !kinds.iter().all(|kind| refused(kind)) {
            suited.barred.insert(name.to_owned());
        }
        if faulty(kind, name, None) {
            suited.wanted.insert(name.to_owned());
        }
    }
    suited
}

/// The properties of a document that never change.
pub(super) fn fixed<B: CatalogueBody>(
    properties: &[Property],
    document: &Map<String, Value>,
) -> BTreeSet<String> {
    let Some(before) = parse::<B>(document.clone()) else {
        return BTreeSet::new();
    };
    let never_changes = |property: &&Property| {
        let pointer = format!("/{}", property.name);
        property.name == "code"
            || others(property, document.get(&property.name))
                .into_iter()
                .any(|value| {
                    let mut changed = document.clone();
                    match value {
                        Some(value) => drop(changed.insert(property.name.clone(), value)),
                        None => drop(changed.remove(&property.name)),
                    }
                    let after = parse::<B>(changed);
                    after.is_some_and(|after| {
                        after
                            .fixed(&before)
                            .iter()
                            .any(|fault| fault.pointer == pointer)
                    })
                })
    };
    let names = properties.iter().filter(never_changes);
    names.map(|property| property.name.clone()).collect()
}

/// Values that a property has not now.
fn others(property: &Property, now: Option<&Value>) -> Vec<Option<Value>> {
    let samples = match &property.shape {
        Shape::Choice(words) => words
            .iter()
            .map(|word| Value::from(word.as_str()))
            .collect(),
        Shape::Whole => vec![json!(1), json!(2)],
        Shape::Decimal(_) => vec![json!("1"), json!("2")],
        _ => vec![sample(property)],
    };
    let differs = |value: &Option<Value>| value.as_ref() != now;
    samples
        .into_iter()
        .map(Some)
        .chain([None])
        .filter(differs)
        .collect()
}

fn parse<B: CatalogueBody>(document: Map<String, Value>) -> Option<B> {
    serde_json::from_value(Value::Object(document)).ok()
}

fn faulted<B: CatalogueBody>(document: Map<String, Value>, name: &str) -> bool {
    let pointer = format!("/{name}");
    parse::<B>(document)
        .is_some_and(|body| body.check().iter().any(|fault| fault.pointer == pointer))
}

/// What a document needs at least, as samples.
fn least(properties: &[Property]) -> Map<String, Value> {
    properties
        .iter()
        .filter(|property| property.required)
        .map(|property| (property.name.clone(), sample(property)))
        .collect()
}

/// A value that the property's type takes.
fn sample(property: &Property) -> Value {
    match &property.shape {
        Shape::Text { .. } | Shape::Code => json!("x"),
        Shape::Decimal(_) => json!("1"),
        Shape::Whole => json!(1),
        Shape::Day => json!("2026-01-01"),
        Shape::Choice(words) => json!(words.first()),
        Shape::Tick => json!(false),
        Shape::Lines => json!([]),
        Shape::Object(parts) => Value::Object(least(parts)),
        Shape::List(parts) => json!([least(parts)]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{ElastomerBody, GrantBody, KitBody, MaterialBody, MoldBody, RecipeBody};
    use crate::pages::catalogue::schema::properties;

    fn named<B: CatalogueBody>() -> Vec<(String, Noun, usize)> {
        let namings = namings::<B>(&properties::<B>()).into_iter();
        namings
            .map(|one| (one.pattern, one.noun, one.kinds.len()))
            .collect()
    }

    #[test]
    fn what_is_named_is_what_the_links_say() {
        let material = |pointer: &str, kinds| (pointer.to_owned(), Noun::Material, kinds);
        assert_eq!(
            named::<ElastomerBody>(),
            [material("/base", 1), material("/curing_agent", 1)]
        );
        assert_eq!(
            named::<KitBody>(),
            [("/elastomer".to_owned(), Noun::Elastomer, 0)]
        );
        let recipe = named::<RecipeBody>();
        assert_eq!(recipe.len(), 7);
        assert_eq!(recipe[6], material("/extras/*/material", 5));
        assert!(named::<MaterialBody>().is_empty() && named::<GrantBody>().is_empty());
    }

    #[track_caller]
    fn check(kind: &str, barred: &[&str], wanted: &[&str], units: &[&str]) {
        let found = suited::<MaterialBody>(&properties::<MaterialBody>(), kind);
        let names = |names: &BTreeSet<String>| names.iter().cloned().collect::<Vec<_>>();
        assert_eq!(names(&found.barred), barred, "{kind}");
        assert_eq!(names(&found.wanted), wanted, "{kind}");
        assert_eq!(found.words["unit"], units, "{kind}");
    }

    #[test]
    fn a_kind_has_the_fields_that_its_checks_let_it_have() {
        check(
            "elastomer_base",
            &["container", "molds_per_vial", "tape"],
            &[],
            &["g"],
        );
        check(
            "container",
            &["molds_per_vial", "tape"],
            &["container"],
            &["each"],
        );
        check(
            "mixing_cup",
            &["molds_per_vial", "tape"],
            &["container"],
            &["each"],
        );
        check("tape", &["container", "molds_per_vial"], &["tape"], &["m"]);
        check(
            "release_agent",
            &["container", "tape"],
            &[],
            &["g", "mL", "each"],
        );
        check(
            "sundry",
            &["container", "molds_per_vial", "tape"],
            &[],
            &["g", "mL", "m", "each"],
        );
        assert_eq!(
            suited::<MaterialBody>(&properties::<MaterialBody>(), "soup"),
            Suited::default()
        );
        assert_eq!(
            suited::<MoldBody>(&properties::<MoldBody>(), ""),
            Suited::default()
        );
    }

    #[track_caller]
    fn stays<B: CatalogueBody>(document: Value, expected: &[&str]) {
        let found = fixed::<B>(&properties::<B>(), document.as_object().unwrap());
        let names: Vec<&str> = found.iter().map(String::as_str).collect();
        assert_eq!(names, expected);
    }

    #[test]
    fn what_never_changes_is_known_from_the_document_itself() {
        let sundry = json!({"code": "m-1", "name": "M", "kind": "sundry", "unit": "each"});
        stays::<MaterialBody>(sundry, &["code", "kind", "unit"]);
        let mut mold = json!({"code": "m", "name": "M", "length_mm": "75", "width_mm": "50", "thickness_mm": "1", "chips": 6});
        stays::<MoldBody>(mold.clone(), &["code", "cost", "rated_casts"]);
        mold["cost"] = json!("1");
        mold["rated_casts"] = json!(1);
        stays::<MoldBody>(mold, &["code", "copies", "cost", "rated_casts"]);
        stays::<GrantBody>(json!({"code": "g", "name": "G"}), &["code"]);
    }

    #[test]
    fn a_pattern_stands_for_every_place() {
        assert_eq!(pattern("/extras/12/material"), "/extras/*/material");
        assert_eq!(pattern("/ratio/base"), "/ratio/base");
    }
}
