//! Merge patches (RFC 7396): a change as the part of a document that changes.
//!
//! Invariants: the document is never half changed; the caller validates the whole result. A patch has its document's
//! fields, none of them required, each of them removable that the document can do without. Deliberately absent: patches of lists by position (a list is
//! replaced as a whole, as the RFC has it).

use std::borrow::Cow;
use std::marker::PhantomData;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Deserializer};
use serde_json::{Map, Value};
use utoipa::openapi::schema::{AdditionalProperties, ObjectBuilder, OneOfBuilder, Schema, Type};
use utoipa::openapi::{Ref, RefOr};
use utoipa::{PartialSchema, ToSchema};

use super::problem::field_error;
use crate::base::Error;

/// The document after the patch: a member that is `null` is removed, an object is merged, anything else replaces.
///
/// The algorithm of RFC 7396, section 2.
///
/// ```
/// use heeltap::http::merge_patch;
/// use serde_json::json;
/// let patched = merge_patch(json!({"a": 1, "b": {"c": 2, "d": 3}}), json!({"a": null, "b": {"c": 4}}));
/// assert_eq!(patched, json!({"b": {"c": 4, "d": 3}}));
/// ```
#[must_use]
pub fn merge_patch(target: Value, patch: Value) -> Value {
    let Value::Object(patch) = patch else {
        return patch;
    };
    let mut merged = match target {
        Value::Object(members) => members,
        _ => Map::new(),
    };
    for (name, change) in patch {
        if change.is_null() {
            merged.remove(&name);
        } else {
            let before = merged.remove(&name).unwrap_or(Value::Null);
            merged.insert(name, merge_patch(before, change));
        }
    }
    Value::Object(merged)
}

/// A merge patch of a document of type `B`.
pub struct MergePatch<B> {
    members: Map<String, Value>,
    of: PhantomData<fn() -> B>,
}

impl<B> MergePatch<B> {
    /// A patch of these members.
    #[must_use]
    pub fn new(members: Map<String, Value>) -> Self {
        Self {
            members,
            of: PhantomData,
        }
    }
}

impl<B: DeserializeOwned> MergePatch<B> {
    /// Refuses a patch that is wrong whatever it is applied to: a value of a wrong type, an unknown field. A field that is
    /// missing is not wrong in a patch.
    ///
    /// # Errors
    /// [`Error::Invalid`] naming the field by its JSON pointer.
    pub fn check(&self) -> Result<(), Error> {
        match self.onto(Value::Null) {
            Err(Error::Invalid(faults))
                if !faults
                    .iter()
                    .any(|fault| fault.detail.starts_with("missing field")) =>
            {
                Err(Error::Invalid(faults))
            }
            _ => Ok(()),
        }
    }

    /// The document after the patch.
    ///
    /// # Errors
    /// [`Error::Invalid`] when a field is then missing, unknown, or of the wrong type.
    pub fn onto(&self, document: Value) -> Result<B, Error> {
        let patched = merge_patch(document, Value::Object(self.members.clone()));
        serde_path_to_error::deserialize(&patched)
            .map_err(|error| Error::Invalid(vec![field_error(&error, &patched)]))
    }
}

impl<'de, B> Deserialize<'de> for MergePatch<B> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Map::deserialize(deserializer).map(Self::new)
    }
}

impl<B: ToSchema> PartialSchema for MergePatch<B> {
    fn schema() -> RefOr<Schema> {
        let mut patch = match B::schema() {
            RefOr::T(Schema::Object(object)) => object,
            // Each document is a struct with named fields, which shows as an object.
            _ => ObjectBuilder::new().build(),
        };
        let required = std::mem::take(&mut patch.required);
        for (name, property) in &mut patch.properties {
            // A document without it is none, so that it cannot be removed.
            if required.contains(name) {
                continue;
            }
            let null = ObjectBuilder::new().schema_type(Type::Null);
            let set = std::mem::replace(property, RefOr::Ref(Ref::new("")));
            *property = OneOfBuilder::new().item(set).item(null).into();
        }
        patch.description = Some(
            "A merge patch (RFC 7396): fields left out stay as they are, `null` removes a field"
                .to_owned(),
        );
        patch.additional_properties = Some(Box::new(AdditionalProperties::FreeForm(false)));
        RefOr::T(Schema::Object(patch))
    }
}

impl<B: ToSchema> ToSchema for MergePatch<B> {
    fn name() -> Cow<'static, str> {
        let whole = B::name();
        let stem = whole.trim_end_matches("Body").trim_end_matches("Request");
        format!("{stem}Patch").into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        B::schemas(schemas);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check(target: &str, patch: &str, expected: &str) {
        let read = |text: &str| serde_json::from_str::<Value>(text).unwrap();
        assert_eq!(merge_patch(read(target), read(patch)), read(expected));
    }

    /// The test cases of RFC 7396, appendix A (from memory of the published table).
    #[test]
    fn the_rfc_s_own_cases() {
        check(r#"{"a":"b"}"#, r#"{"a":"c"}"#, r#"{"a":"c"}"#);
        check(r#"{"a":"b"}"#, r#"{"b":"c"}"#, r#"{"a":"b","b":"c"}"#);
        check(r#"{"a":"b"}"#, r#"{"a":null}"#, "{}");
        check(r#"{"a":"b","b":"c"}"#, r#"{"a":null}"#, r#"{"b":"c"}"#);
        check(r#"{"a":["b"]}"#, r#"{"a":"c"}"#, r#"{"a":"c"}"#);
        check(r#"{"a":"c"}"#, r#"{"a":["b"]}"#, r#"{"a":["b"]}"#);
        check(
            r#"{"a":{"b":"c"}}"#,
            r#"{"a":{"b":"d","c":null}}"#,
            r#"{"a":{"b":"d"}}"#,
        );
        check(r#"{"a":[{"b":"c"}]}"#, r#"{"a":[1]}"#, r#"{"a":[1]}"#);
        check(r#"["a","b"]"#, r#"["c","d"]"#, r#"["c","d"]"#);
        check(r#"{"a":"b"}"#, r#"["c"]"#, r#"["c"]"#);
        check(r#"{"a":"foo"}"#, "null", "null");
        check(r#"{"a":"foo"}"#, r#""bar""#, r#""bar""#);
        check(r#"{"e":null}"#, r#"{"a":1}"#, r#"{"e":null,"a":1}"#);
        check("[1,2]", r#"{"a":"b","c":null}"#, r#"{"a":"b"}"#);
        check("{}", r#"{"a":{"bb":{"ccc":null}}}"#, r#"{"a":{"bb":{}}}"#);
    }

    #[derive(Debug, PartialEq, Deserialize, ToSchema)]
    #[serde(deny_unknown_fields)]
    struct Note {
        title: String,
        #[serde(default)]
        pages: u32,
    }

    fn patch(text: &str) -> MergePatch<Note> {
        serde_json::from_str(text).unwrap()
    }

    #[test]
    fn a_patch_is_checked_alone_and_with_its_document() {
        let note = || serde_json::json!({"title": "a", "pages": 3});
        let changed = patch(r#"{"pages": null}"#);
        changed.check().unwrap();
        assert_eq!(
            changed.onto(note()).unwrap(),
            Note {
                title: "a".into(),
                pages: 0
            }
        );
        let pointer = |outcome: Result<(), Error>| match outcome {
            Err(Error::Invalid(faults)) => faults[0].pointer.clone(),
            other => panic!("{other:?}"),
        };
        assert_eq!(pointer(patch(r#"{"pages": "x"}"#).check()), "/pages");
        let untitled = patch(r#"{"title": null}"#);
        untitled.check().unwrap();
        untitled.onto(note()).unwrap_err();
    }

    #[test]
    fn a_patch_may_leave_out_any_field_and_remove_what_is_not_required() {
        let schema = serde_json::to_value(MergePatch::<Note>::schema()).unwrap();
        assert!(schema.get("required").is_none());
        assert_eq!(schema["properties"]["title"]["type"], "string");
        let choices = &schema["properties"]["pages"]["oneOf"];
        assert_eq!(choices[0]["type"], "integer");
        assert_eq!(choices[1]["type"], "null");
        assert_eq!(schema["additionalProperties"], false);
    }

    /// Any JSON, with few names, so that patches meet their documents.
    fn any_json() -> impl Strategy<Value = Value> {
        let leaf = prop_oneof![
            Just(Value::Null),
            any::<bool>().prop_map(Value::from),
            any::<i8>().prop_map(Value::from),
            "[a-c]".prop_map(Value::from)
        ];
        leaf.prop_recursive(4, 24, 4, |inner| {
            prop_oneof![
                prop::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
                prop::collection::btree_map("[a-d]", inner, 0..4)
                    .prop_map(|members| members.into_iter().collect()),
            ]
        })
    }

    /// Whether no object in it, not even within a list, has a member that is `null`.
    fn without_null_members(value: &Value) -> bool {
        match value {
            Value::Object(members) => members
                .values()
                .all(|member| !member.is_null() && without_null_members(member)),
            _ => true,
        }
    }

    /// The smallest patch that makes `after` of `before`, by the meaning of a patch and not by how it is applied.
    fn difference(before: &Value, after: &Value) -> Value {
        let (Value::Object(old), Value::Object(new)) = (before, after) else {
            return after.clone();
        };
        let removed = old.keys().filter(|name| !new.contains_key(*name));
        let removed = removed.map(|name| (name.clone(), Value::Null));
        let changed = new
            .iter()
            .filter(|(name, member)| old.get(*name) != Some(member));
        let changed = changed.map(|(name, member)| {
            (
                name.clone(),
                old.get(name)
                    .map_or_else(|| member.clone(), |old| difference(old, member)),
            )
        });
        removed.chain(changed).collect()
    }

    proptest! {
        #[test]
        fn a_patch_applied_twice_changes_nothing_more(target in any_json(), patch in any_json()) {
            let once = merge_patch(target, patch.clone());
            prop_assert_eq!(merge_patch(once.clone(), patch), once);
        }

        #[test]
        fn a_document_becomes_any_other_by_the_difference(before in any_json(), after in any_json()) {
            prop_assume!(without_null_members(&after));
            let patch = difference(&before, &after);
            prop_assert_eq!(merge_patch(before, patch), after);
        }

        #[test]
        fn nothing_is_patched_by_an_empty_patch(members in prop::collection::btree_map("[a-d]", any_json(), 0..4)) {
            let document: Value = members.into_iter().collect();
            prop_assert_eq!(merge_patch(document.clone(), serde_json::json!({})), document);
        }

        #[test]
        fn what_a_patch_does_not_name_stays(before in prop::collection::btree_map("[a-d]", any_json(), 0..4), patch in prop::collection::btree_map("[a-d]", any_json(), 0..4)) {
            let patched = merge_patch(before.clone().into_iter().collect(), patch.clone().into_iter().collect());
            for (name, member) in before.iter().filter(|(name, _)| !patch.contains_key(*name)) {
                prop_assert_eq!(patched.get(name), Some(member));
            }
            for (name, change) in &patch {
                prop_assert_eq!(patched.get(name).is_none(), change.is_null());
            }
        }

        #[test]
        fn any_patch_of_a_document_is_taken_or_names_a_field(members in prop::collection::btree_map("title|pages|[a-d]", any_json(), 0..4)) {
            let patch = MergePatch::<Note>::new(members.into_iter().collect());
            let document = serde_json::json!({"title": "a", "pages": 3});
            for outcome in [patch.check(), patch.onto(document).map(|_| ())] {
                if let Err(Error::Invalid(faults)) = outcome {
                    prop_assert!(faults.len() == 1 && !faults[0].detail.is_empty());
                } else {
                    prop_assert!(outcome.is_ok());
                }
            }
        }
    }
}
