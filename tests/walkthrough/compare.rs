//! Holds an answer against what the README shows of it. `…` stands for what differs from run to run.
//!
//! In text, `…` stands for any part of a line, and a line of `…` alone for any lines. In JSON, `…` within a string stands
//! for any part of it, the string `"…"` for any value at all, a member `"…": "…"` for further members, and a last element
//! `"…"` for further elements. Anything else must be equal, numbers and the order of elements included.

use serde_json::{Deserializer, Value};

const ANY: &str = "…";

/// What differs, if anything does.
pub(crate) fn text_differs(shown: &str, found: &str) -> Option<String> {
    let shown: Vec<&str> = shown.trim_end().lines().collect();
    let found: Vec<&str> = found.trim_end().lines().collect();
    (!lines_match(&shown, &found)).then(|| format!("it shows\n{}", shown.join("\n")))
}

fn lines_match(shown: &[&str], found: &[&str]) -> bool {
    match shown {
        [] => found.is_empty(),
        [first, rest @ ..] if first.trim() == ANY => {
            (0..=found.len()).any(|skipped| lines_match(rest, &found[skipped..]))
        }
        [first, rest @ ..] => {
            found.first().is_some_and(|line| line_matches(first, line))
                && lines_match(rest, &found[1..])
        }
    }
}

fn line_matches(shown: &str, found: &str) -> bool {
    let Some((before, after)) = shown.split_once(ANY) else {
        return shown == found;
    };
    let Some(rest) = found.strip_prefix(before) else {
        return false;
    };
    let starts = rest.char_indices().map(|(at, _)| at).chain([rest.len()]);
    starts
        .into_iter()
        .any(|at| line_matches(after, &rest[at..]))
}

/// What differs, if anything does. Both sides are one JSON value or several, one after the other.
pub(crate) fn json_differs(shown: &str, found: &str) -> Option<String> {
    let values = |text: &str| -> Result<Vec<Value>, String> {
        let stream = Deserializer::from_str(text).into_iter();
        stream
            .collect::<Result<_, _>>()
            .map_err(|e| format!("no JSON: {e}"))
    };
    let (shown, found) = match (values(shown), values(found)) {
        (Ok(shown), Ok(found)) => (shown, found),
        (Err(e), _) => return Some(format!("what it shows is {e}")),
        (_, Err(e)) => return Some(format!("the output is {e}")),
    };
    if shown.len() != found.len() {
        return Some(format!(
            "it shows {} values, not {}",
            shown.len(),
            found.len()
        ));
    }
    let mut pairs = shown.iter().zip(&found);
    pairs.find_map(|(shown, found)| value_differs(shown, found, ""))
}

fn value_differs(shown: &Value, found: &Value, at: &str) -> Option<String> {
    let differs = || Some(format!("at `{at}` it shows {shown}, not {found}"));
    match (shown, found) {
        (Value::String(any), _) if any == ANY => None,
        (Value::String(shown), Value::String(found)) => {
            if line_matches(shown, found) {
                None
            } else {
                differs()
            }
        }
        (Value::Object(shown), Value::Object(found)) => {
            let more = shown.contains_key(ANY);
            let unknown = found.keys().find(|key| !more && !shown.contains_key(*key));
            if let Some(key) = unknown {
                return Some(format!("at `{at}` it does not show `{key}`"));
            }
            let mut members = shown.iter().filter(|(key, _)| *key != ANY);
            members.find_map(|(key, value)| match found.get(key) {
                None => Some(format!("at `{at}` it shows `{key}`, which is missing")),
                Some(found) => value_differs(value, found, &format!("{at}/{key}")),
            })
        }
        (Value::Array(shown), Value::Array(found)) => {
            let more = shown.last().is_some_and(|last| last == ANY);
            let kept = shown.len() - usize::from(more);
            if found.len() < kept || (found.len() > kept && !more) {
                return Some(format!(
                    "at `{at}` it shows {kept} elements, not {}",
                    found.len()
                ));
            }
            let mut pairs = shown[..kept].iter().zip(found).enumerate();
            pairs.find_map(|(n, (shown, found))| value_differs(shown, found, &format!("{at}/{n}")))
        }
        _ => {
            if shown == found {
                None
            } else {
                differs()
            }
        }
    }
}

#[track_caller]
#[cfg(test)]
fn check(differs: fn(&str, &str) -> Option<String>, shown: &str, found: &str, same: bool) {
    let difference = differs(shown, found);
    assert_eq!(
        difference.is_none(),
        same,
        "{shown} | {found}: {difference:?}"
    );
}

#[test]
fn text_is_compared_line_by_line() {
    check(text_differs, "a\nb", "a\nb\n", true);
    check(text_differs, "a\nb", "a", false);
    check(text_differs, "a", "a\nb", false);
    check(text_differs, "token: …", "token: ht_12", true);
    check(text_differs, "token: … end", "token: ht_12", false);
    check(text_differs, "… b … d", "a b c d", true);
    check(text_differs, "a\n…\nd", "a\nb\nc\nd", true);
    check(text_differs, "a\n…\nd", "a\nb\nc", false);
    check(text_differs, "", "a", false);
}

#[test]
fn json_is_compared_by_value() {
    check(
        json_differs,
        r#"{"a": 1, "b": [1, 2]}"#,
        r#"{"b":[1,2],"a":1}"#,
        true,
    );
    check(json_differs, r#"{"a": "1"}"#, r#"{"a": 1}"#, false);
    check(json_differs, r#"{"a": "…"}"#, r#"{"a": {"b": 1}}"#, true);
    check(json_differs, r#"{"a": "…"}"#, r#"{"b": 1}"#, false);
    check(json_differs, r#"{"a": 1}"#, r#"{"a": 1, "b": 2}"#, false);
    check(
        json_differs,
        r#"{"a": 1, "…": "…"}"#,
        r#"{"a": 1, "b": 2}"#,
        true,
    );
    check(json_differs, r#"{"a": 1, "…": "…"}"#, r#"{"b": 2}"#, false);
    check(json_differs, r#"[1, "…"]"#, "[1, 2, 3]", true);
    check(json_differs, r#"[1, "…"]"#, "[2, 2, 3]", false);
    check(json_differs, "[1, 2]", "[2, 1]", false);
    check(json_differs, r#""run …Z""#, r#""run 2026Z""#, true);
    check(json_differs, "{}", "nothing", false);
    check(json_differs, "{} {}", "{}", false);
}
