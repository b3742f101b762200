//! Merge patches (RFC 7396): a change as the part of a document that changes.
//!
//! Invariant: the document is never half changed; the caller validates the whole result. Deliberately absent:
//! patches of lists by position (a list is replaced as a whole, as the RFC has it).

use serde_json::{Map, Value};

/// The document after the patch: a member that is `null` is removed, an object is merged, anything else replaces.
///
/// The algorithm of RFC 7396, section 2.
///
/// ```
/// use heeltap::catalogue::merge_patch;
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

#[cfg(test)]
mod tests {
    use super::*;

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
}
