//! Fields and boxes of the sheet as they are shown.
//!
//! Invariants: a field is named as the address names it, and its id by its name and its place from 1, so that a fault finds it;
//! what was typed stands in it. Deliberately absent: what is right.

use super::asked::Asked;

/// A field to type into.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Input {
    /// Its id.
    pub(super) id: String,
    /// Its name.
    pub(super) name: &'static str,
    /// What to type.
    pub(super) label: String,
    /// `text`, `date`, `time` or `datetime-local`.
    pub(super) kind: &'static str,
    /// Which keyboard a phone shows.
    pub(super) keys: &'static str,
    /// What stands in it.
    pub(super) value: String,
    /// What is wrong with it.
    pub(super) fault: Option<String>,
}

impl Input {
    /// A field of a name at a place, from 0.
    pub(super) fn of(
        asked: &Asked,
        name: &'static str,
        place: usize,
        label: impl Into<String>,
    ) -> Self {
        let field = asked.field(name, place);
        let (kind, keys) = match name {
            _ if name.ends_with("_on") => ("date", "text"),
            _ if name.ends_with("_g") || name.ends_with("_mm") => ("text", "decimal"),
            "mixed_at" | "discarded" | "reject_reason" | "tray_reason" | "coat_copies"
            | "coat_note" => ("text", "text"),
            _ => ("text", "numeric"),
        };
        Self {
            id: format!("{name}-{}", place + 1),
            name,
            label: label.into(),
            kind,
            keys,
            value: field.typed,
            fault: field.fault,
        }
    }
}

/// A field to choose from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Choice {
    /// Its id.
    pub(super) id: String,
    /// Its name.
    pub(super) name: &'static str,
    /// What to choose.
    pub(super) label: String,
    /// Value, words, and whether it is chosen.
    pub(super) options: Vec<(String, String, bool)>,
    /// What is wrong with it.
    pub(super) fault: Option<String>,
}

impl Choice {
    /// A choice among values with their words; `none` is said where nothing is chosen.
    pub(super) fn of(
        asked: &Asked,
        (name, place): (&'static str, usize),
        label: impl Into<String>,
        none: &str,
        known: &[(String, String)],
    ) -> Self {
        let field = asked.field(name, place);
        let mut options = vec![(String::new(), none.to_owned(), field.typed.is_empty())];
        options.extend(known.iter().map(|(value, words)| {
            let chosen = *value == field.typed;
            (value.clone(), words.clone(), chosen)
        }));
        Self {
            id: format!("{name}-{}", place + 1),
            name,
            label: label.into(),
            options,
            fault: field.fault,
        }
    }
}

/// A box to tick.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Check {
    /// Its id.
    pub(super) id: String,
    /// Its name.
    pub(super) name: &'static str,
    /// What it stands at.
    pub(super) value: String,
    /// What is ticked.
    pub(super) label: String,
    /// Whether it is ticked.
    pub(super) ticked: bool,
}

impl Check {
    /// A box of a name that stands at a value.
    pub(super) fn of(
        asked: &Asked,
        name: &'static str,
        value: impl Into<String>,
        label: impl Into<String>,
    ) -> Self {
        let value = value.into();
        Self {
            id: format!("{name}-{value}"),
            ticked: asked.has(name, &value),
            name,
            value,
            label: label.into(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_phone_shows_the_keys_that_are_needed() {
        let asked = Asked::read("base_g=33&good=many");
        let of = |name| {
            let input = Input::of(&asked, name, 0, "");
            (input.kind, input.keys)
        };
        assert_eq!(of("base_g"), ("text", "decimal"));
        assert_eq!(of("good"), ("text", "numeric"));
        assert_eq!(of("poured_on"), ("date", "text"));
        assert_eq!(of("discarded"), ("text", "text"));
        let second = Input::of(&asked, "base_g", 1, "");
        assert_eq!(
            (second.id.as_str(), second.value.as_str()),
            ("base_g-2", "")
        );
    }
}
