//! How deep a JSON text is nested, found before anything is built from it.

/// The byte at which arrays and objects stand deeper in one another than `max`; none when they never do.
///
/// The text need not be well formed: brackets within strings do not count, and what is wrong otherwise is for the parser.
pub(super) fn too_deep(text: &[u8], max: usize) -> Option<usize> {
    let (mut depth, mut in_string, mut escaped) = (0_usize, false, false);
    for (at, byte) in text.iter().enumerate() {
        if in_string {
            match byte {
                _ if escaped => escaped = false,
                b'\\' => escaped = true,
                b'"' => in_string = false,
                _ => {}
            }
            continue;
        }
        match byte {
            b'"' => in_string = true,
            b'[' | b'{' => {
                depth += 1;
                if depth > max {
                    return Some(at);
                }
            }
            b']' | b'}' => depth = depth.saturating_sub(1),
            _ => {}
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde_json::{Value, json};

    use super::*;

    #[track_caller]
    fn check(text: &str, max: usize, expected: Option<usize>) {
        assert_eq!(too_deep(text.as_bytes(), max), expected, "{text}");
    }

    #[test]
    fn what_stands_too_deep_is_found_where_it_begins() {
        check("7", 1, None);
        check("[7]", 1, None);
        check("[[7]]", 1, Some(1));
        check(r#"{"a": {"b": []}}"#, 3, None);
        check(r#"{"a": {"b": []}}"#, 2, Some(12));
        check("[1], [2], [3]", 1, None);
        check(r#"["[[[[", "\"[[", "\\", []]"#, 2, None);
        check(r#"["\\", [[]]]"#, 2, Some(8));
        check("]]]][[", 1, Some(5));
    }

    fn depth(value: &Value) -> usize {
        match value {
            Value::Array(items) => 1 + items.iter().map(depth).max().unwrap_or(0),
            Value::Object(fields) => 1 + fields.values().map(depth).max().unwrap_or(0),
            _ => 0,
        }
    }

    fn documents() -> impl Strategy<Value = Value> {
        let leaf = prop_oneof![
            Just(json!(null)),
            any::<i64>().prop_map(|n| json!(n)),
            any::<String>().prop_map(|text| json!(text))
        ];
        leaf.prop_recursive(6, 40, 4, |inner| {
            prop_oneof![
                prop::collection::vec(inner.clone(), 0..4).prop_map(Value::Array),
                prop::collection::hash_map(any::<String>(), inner, 0..4)
                    .prop_map(|fields| Value::Object(fields.into_iter().collect())),
            ]
        })
    }

    proptest! {
        #[test]
        fn it_is_the_depth_of_what_the_parser_builds(document in documents(), max in 0_usize..8) {
            let found = too_deep(document.to_string().as_bytes(), max);
            prop_assert_eq!(found.is_some(), depth(&document) > max);
        }
    }
}
