//! What the address of a bench sheet says, or a form of it sends: what was typed, and what was ticked.
//!
//! Invariants: the first value of a name belongs to the first batch (or row), the second to the second; what cannot be read is
//! kept as it was typed, with what would be right. What else is in the address is not read. Deliberately absent: what the values
//! mean (`clock`, `pour_form`, `demold_form`, `coat_form`).

use std::collections::{BTreeMap, BTreeSet};

use crate::base::Micro;

/// What can be typed. The n-th value of a name belongs to the n-th batch, reason or tray; what the whole cast has once is the
/// first.
const FIELDS: [&str; 24] = [
    "mixed_at",
    "cup_tare_g",
    "base_g",
    "curing_agent_g",
    "cup_gross_g",
    "residue_g",
    "discarded",
    "base_pack_id",
    "curing_agent_pack_id",
    "poured_on",
    "containers_poured",
    "level_mm",
    "demolded_on",
    "good",
    "chip_thickness_mm",
    "reject_reason",
    "reject_count",
    "tray_good",
    "tray_reason",
    "tray_count",
    "coated_on",
    "coat_vials",
    "coat_copies",
    "coat_note",
];

/// What can be ticked, each with the name or number of what it stands at.
const MARKS: [&str; 6] = [
    "done",
    "seen",
    "stirrer_in_weighing",
    "uncoated",
    "recount",
    "coat_recount",
];

/// The longest name of something that is ticked.
const VALUE_MAX: usize = 60;
/// The most values that are read of a name.
const PLACES_MAX: usize = 500;

/// What was typed into a field, and what is wrong with it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Field {
    /// As it was typed.
    pub(super) typed: String,
    /// What would be right.
    pub(super) fault: Option<String>,
}

/// What is asked of a sheet.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Asked {
    fields: BTreeMap<&'static str, Vec<Field>>,
    marks: BTreeMap<&'static str, BTreeSet<String>>,
    now: Option<usize>,
}

impl Asked {
    /// Reads a query.
    pub(super) fn read(query: &str) -> Self {
        Self::of(form_urlencoded::parse(query.as_bytes()))
    }

    /// Takes what a form sent.
    pub(super) fn of<Name, Value>(pairs: impl IntoIterator<Item = (Name, Value)>) -> Self
    where
        Name: AsRef<str>,
        Value: AsRef<str>,
    {
        let mut asked = Self::default();
        for (name, value) in pairs {
            let (name, value) = (name.as_ref(), value.as_ref().trim());
            if let Some(name) = FIELDS.iter().find(|known| **known == name) {
                let fields = asked.fields.entry(name).or_default();
                if fields.len() < PLACES_MAX {
                    fields.push(Field {
                        typed: value.to_owned(),
                        fault: None,
                    });
                }
            } else if let Some(name) = MARKS.iter().find(|known| **known == name) {
                asked.mark(name, value);
            } else if name == "now" {
                asked.now = value.parse().ok();
            }
        }
        asked
    }

    /// The batch, from 1, of which it is said that its mixing ended just now.
    pub(super) fn now(&self) -> Option<usize> {
        self.now
    }

    /// What was typed at a place, from 0.
    pub(super) fn typed(&self, name: &str, place: usize) -> &str {
        let field = self.fields.get(name).and_then(|fields| fields.get(place));
        field.map_or("", |field| field.typed.as_str())
    }

    /// Whether something was typed there.
    pub(super) fn is_given(&self, name: &str, place: usize) -> bool {
        !self.typed(name, place).is_empty()
    }

    /// What was typed there, with what is wrong of it.
    pub(super) fn field(&self, name: &str, place: usize) -> Field {
        let field = self.fields.get(name).and_then(|fields| fields.get(place));
        field.cloned().unwrap_or_default()
    }

    /// How many places of a name there are.
    pub(super) fn places(&self, name: &str) -> usize {
        self.fields.get(name).map_or(0, Vec::len)
    }

    fn at(&mut self, name: &str, place: usize) -> Option<&mut Field> {
        let name = FIELDS.iter().find(|known| **known == name)?;
        let fields = self.fields.entry(name).or_default();
        if fields.len() <= place && place < PLACES_MAX {
            fields.resize(place + 1, Field::default());
        }
        fields.get_mut(place)
    }

    /// Puts a value in its place.
    pub(super) fn set(&mut self, name: &str, place: usize, value: String) {
        if let Some(field) = self.at(name, place) {
            field.typed = value;
        }
    }

    /// Says what is wrong at a place, unless something was said already; false when there is no such field.
    pub(super) fn fault(&mut self, name: &str, place: usize, detail: impl Into<String>) -> bool {
        let Some(field) = self.at(name, place) else {
            return false;
        };
        field.fault.get_or_insert(detail.into());
        true
    }

    /// The decimal that was typed there; what is none is marked.
    pub(super) fn decimal(&mut self, name: &str, place: usize) -> Option<Micro> {
        let field = self.at(name, place)?;
        if field.typed.is_empty() || field.fault.is_some() {
            return None;
        }
        match Micro::parse(&field.typed) {
            Ok(value) => Some(value),
            Err(error) => {
                field.fault = Some(error.to_string());
                None
            }
        }
    }

    /// The decimal that was typed there, where it is one and nothing is wrong with it.
    pub(super) fn known(&self, name: &str, place: usize) -> Option<Micro> {
        let field = self.fields.get(name).and_then(|fields| fields.get(place))?;
        let right = field.fault.is_none();
        right.then(|| Micro::parse(&field.typed).ok()).flatten()
    }

    /// Whether something is ticked.
    pub(super) fn has(&self, mark: &str, value: &str) -> bool {
        self.marks
            .get(mark)
            .is_some_and(|values| values.contains(value))
    }

    /// Ticks something.
    pub(super) fn mark(&mut self, mark: &str, value: &str) {
        if let Some(mark) = MARKS.iter().find(|known| **known == mark) {
            let values = self.marks.entry(mark).or_default();
            if values.len() < PLACES_MAX && value.len() <= VALUE_MAX {
                values.insert(value.to_owned());
            }
        }
    }

    /// Forgets what was typed or ticked of a name.
    pub(super) fn clear(&mut self, name: &str) {
        self.fields.remove(name);
        self.marks.remove(name);
    }

    /// Whether all of it could be read.
    pub(super) fn is_right(&self) -> bool {
        let mut all = self.fields.values().flatten();
        all.all(|field| field.fault.is_none())
    }

    /// All of it as a query.
    pub(super) fn query(&self) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        for (name, fields) in &self.fields {
            let given = fields.iter().rposition(|field| !field.typed.is_empty());
            for field in fields.iter().take(given.map_or(0, |last| last + 1)) {
                query.append_pair(name, &field.typed);
            }
        }
        for (name, values) in &self.marks {
            for value in values {
                query.append_pair(name, value);
            }
        }
        query.finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nth_value_belongs_to_the_nth_batch_and_comes_back_in_its_place() {
        let asked = Asked::read(
            "base_g=33&curing_agent_g=3.3&base_g=&curing_agent_g=+&base_g=12&done=1&done=3&seen=2.1&what=else",
        );
        assert_eq!(asked.typed("base_g", 2), "12");
        assert!(!asked.is_given("curing_agent_g", 1) && !asked.is_given("base_g", 7));
        assert!(asked.has("done", "3") && !asked.has("done", "2") && asked.has("seen", "2.1"));
        assert_eq!(
            asked.query(),
            "base_g=33&base_g=&base_g=12&curing_agent_g=3.3&done=1&done=3&seen=2.1"
        );
        assert_eq!(Asked::read(&asked.query()).query(), asked.query());
        assert_eq!(Asked::read("now=2").now(), Some(2));
        assert_eq!(Asked::read("now=two").now(), None);
    }

    #[test]
    fn a_value_that_comes_later_keeps_its_place() {
        let mut asked = Asked::default();
        asked.set("mixed_at", 1, "14:05".to_owned());
        asked.set("what", 1, "else".to_owned());
        assert_eq!(asked.query(), "mixed_at=&mixed_at=14%3A05");
        assert!(asked.fault("base_g", 0, "one") && asked.fault("base_g", 0, "other"));
        assert_eq!(asked.field("base_g", 0).fault.as_deref(), Some("one"));
        assert!(!asked.fault("what", 0, "none") && !asked.is_right());
    }

    #[test]
    fn what_is_no_decimal_is_marked_with_what_would_be_right() {
        let mut asked = Asked::read("base_g=33,2&curing_agent_g=3.3");
        assert_eq!(asked.decimal("base_g", 0), None);
        let fault = asked.field("base_g", 0).fault.expect("a fault");
        assert!(
            fault.starts_with("\"33,2\" is not a decimal number"),
            "{fault}"
        );
        assert_eq!(asked.decimal("curing_agent_g", 0), Micro::parse("3.3").ok());
    }
}
