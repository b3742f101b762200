//! A noun's document as a form.
//!
//! Invariants: a field's name is its JSON pointer, so that a fault finds it, and a fault that finds none stands at the head of the
//! form; a field that does not belong to the kind is shown all the same when something stands in it, so that nothing is sent
//! unseen; a heading is open when something below it is filled or wrong. Deliberately absent: reading what is sent (the document).

use std::collections::{BTreeMap, BTreeSet};

use super::document::{Typed, is_filled, places};
use super::layout::{self, FOLDED_FROM, grouped, within};
use super::probe::{KIND, Suited, pattern};
use super::schema::{Property, Shape};
use super::shown::{Control, FieldShown, FormShown, Group, Item, Offer, Offers, SetShown};
use crate::base::FieldError;

/// A select has no more options than this; beyond, a code is typed, and the browser offers what there is.
const OPTIONS_MAX: usize = 60;
/// The most codes that a browser is told to offer.
const OFFERS_MAX: usize = 300;

/// What a form is made of.
#[derive(Debug, Clone, Default)]
pub(super) struct Given<'a> {
    /// What stands in it.
    pub(super) typed: Typed,
    /// What belongs to its kind.
    pub(super) suited: Suited,
    /// What never changes.
    pub(super) fixed: BTreeSet<String>,
    /// What fields may name, by the pattern of their pointers.
    pub(super) offers: BTreeMap<String, Offers>,
    /// What is wrong.
    pub(super) faults: &'a [FieldError],
    /// What is to be known of a field, by its pointer.
    pub(super) notes: BTreeMap<String, String>,
    /// What amounts are in.
    pub(super) currency: String,
}

/// Makes a form.
pub(super) fn form(properties: &[Property], given: Given<'_>) -> FormShown {
    let mut form = Forming::new(properties, given);
    let shown: Vec<&Property> = properties
        .iter()
        .filter(|property| form.is_shown(property))
        .collect();
    let first = |property: &&&Property| {
        property.required || form.given.suited.wanted.contains(&property.name)
    };
    let (open, rest): (Vec<&Property>, Vec<&Property>) =
        shown.iter().copied().partition(|property| first(&property));
    let folds = rest.len() >= FOLDED_FROM;
    let mut groups = vec![form.group("", false, &open)];
    for (title, properties) in grouped(&rest) {
        groups.push(form.group(title, folds, &properties));
    }
    form.finish(groups)
}

struct Forming<'a> {
    given: Given<'a>,
    properties: &'a [Property],
    /// What is wrong with each field, and what has none.
    faults: BTreeMap<String, Vec<String>>,
    astray: Vec<String>,
    wrong: Vec<(String, String)>,
    lists: BTreeMap<String, Vec<Offer>>,
}

impl<'a> Forming<'a> {
    fn new(properties: &'a [Property], given: Given<'a>) -> Self {
        let mut forming = Self {
            faults: BTreeMap::new(),
            astray: Vec::new(),
            wrong: Vec::new(),
            lists: BTreeMap::new(),
            properties,
            given,
        };
        for fault in forming.given.faults {
            match forming.field_of(&fault.pointer) {
                Some(field) => forming
                    .faults
                    .entry(field)
                    .or_default()
                    .push(fault.detail.clone()),
                None if fault.pointer.is_empty() => forming.astray.push(fault.detail.clone()),
                None => forming
                    .astray
                    .push(format!("{}: {}", fault.pointer, fault.detail)),
            }
        }
        forming
    }

    /// The pointer of the field where a fault is shown: its own, or that of the nearest around it.
    fn field_of(&self, pointer: &str) -> Option<String> {
        let mut parts = pointer.strip_prefix('/')?.split('/');
        let name = parts.next()?;
        let property = self.properties.iter().find(|one| one.name == name)?;
        if self.given.fixed.contains(name) {
            return None;
        }
        let own = format!("/{name}");
        let (at, part) = match &property.shape {
            Shape::Object(_) => (own.clone(), parts.next()),
            Shape::List(_) => match parts.next() {
                Some(place) => (format!("{own}/{place}"), parts.next()),
                None => (own.clone(), None),
            },
            _ => (own.clone(), None),
        };
        let known = |part: &&str| {
            property
                .parts()
                .is_some_and(|all| all.iter().any(|one| one.name == **part))
        };
        Some(
            part.filter(known)
                .map_or(own, |part| format!("{at}/{part}")),
        )
    }

    fn is_shown(&self, property: &Property) -> bool {
        let pointer = format!("/{}", property.name);
        if self.given.fixed.contains(&property.name) {
            return false;
        }
        !self.given.suited.barred.contains(&property.name)
            || is_filled(&self.given.typed, &pointer)
            || self.faults.contains_key(&pointer)
    }

    fn group(&mut self, title: &'static str, folds: bool, properties: &[&Property]) -> Group {
        let wrong = self.wrong.len();
        let items = properties
            .iter()
            .map(|property| self.item(property))
            .collect();
        let filled = properties.iter().any(|property| {
            let pointer = format!("/{}", property.name);
            is_filled(&self.given.typed, &pointer) || self.noted(&pointer)
        });
        Group {
            title,
            folds,
            open: filled || self.wrong.len() > wrong,
            items,
        }
    }

    fn noted(&self, pointer: &str) -> bool {
        let below = format!("{pointer}/");
        self.given
            .notes
            .keys()
            .any(|known| known == pointer || known.starts_with(&below))
    }

    fn item(&mut self, property: &Property) -> Item {
        let pointer = format!("/{}", property.name);
        let (parts, list) = match &property.shape {
            Shape::Object(parts) => (parts, false),
            Shape::List(parts) => (parts, true),
            _ => return Item::Field(self.field(property, pointer, property.required, 1)),
        };
        let label = layout::label(property);
        let required = property.required || self.given.suited.wanted.contains(&property.name);
        let fault = self.fault(&pointer, &label);
        let places = match list {
            // Rows are always one more than those that hold something.
            true => places(&self.given.typed, &pointer).len() + 1,
            false => 1,
        };
        let mut wrong = self.wrong.len();
        let rows = (0..places).map(|place| {
            let (at, needed) = match list {
                // A row of several may be emptied, which takes it away.
                true => (
                    format!("{pointer}/{place}"),
                    property.required && places == 1,
                ),
                false => (pointer.clone(), required),
            };
            let mut row: Vec<FieldShown> = within(parts)
                .into_iter()
                .map(|part| {
                    self.field(
                        part,
                        format!("{at}/{}", part.name),
                        needed && part.required,
                        places,
                    )
                })
                .collect();
            if place > 0 {
                row.iter_mut().for_each(|field| field.hint.clear());
            }
            let of = match list {
                true => format!("{label} {}", place + 1),
                false => label.clone(),
            };
            for (_, part) in &mut self.wrong[wrong..] {
                *part = format!("{of}: {part}");
            }
            wrong = self.wrong.len();
            row
        });
        let rows = rows.collect();
        Item::Set(SetShown {
            rows,
            id: id(&pointer),
            hint: layout::hint(&property.hint),
            label,
            fault,
            required,
            list,
        })
    }

    /// What is wrong at a pointer.
    fn fault(&mut self, pointer: &str, label: &str) -> Option<String> {
        let details = self.faults.remove(pointer)?;
        self.wrong.push((id(pointer), label.to_owned()));
        Some(details.join("; "))
    }

    fn field(
        &mut self,
        property: &Property,
        pointer: String,
        required: bool,
        rows: usize,
    ) -> FieldShown {
        let label = self.label(property);
        let hint = match self.given.offers.contains_key(&pattern(&pointer)) {
            true => layout::choice_hint(&property.hint),
            false => layout::hint(&property.hint),
        };
        let value = self.given.typed.get(&pointer).cloned().unwrap_or_default();
        let line = |kind, keys, value| Control::Line {
            kind,
            keys,
            value,
            list: None,
        };
        let mut make = None;
        let control = match &property.shape {
            Shape::Code => {
                let (control, made) = self.code(&pointer, value, required, rows);
                make = made;
                control
            }
            // Some keyboards for decimals have no minus.
            Shape::Decimal(_) if hint.contains("negative") => line("text", "text", value),
            Shape::Decimal(_) => line("text", "decimal", value),
            Shape::Whole => line("text", "numeric", value),
            Shape::Day => line("date", "text", value),
            Shape::Text { long: false } if property.name == "email" => line("text", "email", value),
            Shape::Text { long: true } | Shape::Lines => Control::Long(value),
            Shape::Choice(words) => self.choice(&property.name, words, &value, required),
            Shape::Tick => Control::Tick(!value.is_empty()),
            _ => line("text", "text", value),
        };
        FieldShown {
            id: id(&pointer),
            fault: self.fault(&pointer, &label),
            note: self.given.notes.get(&pointer).cloned(),
            name: pointer,
            label,
            hint,
            required,
            control,
            make,
        }
    }

    /// What a field is called, with the unit that only the form knows.
    fn label(&self, property: &Property) -> String {
        let label = layout::label(property);
        match &property.shape {
            Shape::Decimal(of) if of == "Money" => format!("{label}, {}", self.given.currency),
            Shape::Decimal(of) if of == "Quantity" && !layout::has_unit(&property.name) => {
                match self.unit() {
                    Some("each") => format!("{label}, pieces"),
                    Some(unit) => format!("{label}, {unit}"),
                    None => label,
                }
            }
            _ => label,
        }
    }

    /// The unit that quantities are in, once it can only be one.
    fn unit(&self) -> Option<&str> {
        let typed = self.given.typed.get("/unit").map(String::as_str);
        let only = match self.given.suited.words.get("unit").map(Vec::as_slice) {
            Some([only]) => Some(only.as_str()),
            _ => None,
        };
        typed.filter(|unit| !unit.is_empty()).or(only)
    }

    fn choice(&self, name: &str, words: &[String], value: &str, required: bool) -> Control {
        let suited = self.given.suited.words.get(name);
        let fits =
            |word: &&String| suited.is_none_or(|suited| suited.contains(word)) || *word == value;
        let fitting: Vec<&String> = words.iter().filter(fits).collect();
        // Where one word alone fits, it need not be chosen.
        let only = required && fitting.len() == 1 && value.is_empty() && name != KIND;
        let mut options = match only {
            true => Vec::new(),
            false => vec![(String::new(), empty_words(required), value.is_empty())],
        };
        options.extend(
            fitting
                .into_iter()
                .map(|word| (word.clone(), layout::word(word), only || word == value)),
        );
        if !value.is_empty() && !words.iter().any(|word| word == value) {
            options.push((value.to_owned(), value.to_owned(), true));
        }
        Control::Choice(options)
    }

    fn code(
        &mut self,
        pointer: &str,
        value: String,
        required: bool,
        rows: usize,
    ) -> (Control, Option<(String, String)>) {
        let pattern = pattern(pointer);
        let Some(offers) = self.given.offers.get(&pattern) else {
            let line = Control::Line {
                kind: "text",
                keys: "text",
                value,
                list: None,
            };
            return (line, None);
        };
        let make = offers
            .there
            .is_empty()
            .then(|| (offers.address.clone(), offers.one.clone()));
        if offers.there.len() * rows > OPTIONS_MAX {
            let list = id(&pattern.replace('*', "n"));
            let offered = offers.there.iter().take(OFFERS_MAX).cloned().collect();
            self.lists.insert(list.clone(), offered);
            let line = Control::Line {
                kind: "text",
                keys: "text",
                value,
                list: Some(list),
            };
            return (line, make);
        }
        let only = required && offers.there.len() == 1 && value.is_empty();
        let mut options = vec![(
            String::new(),
            empty_words(required),
            value.is_empty() && !only,
        )];
        options.extend(offers.there.iter().map(|offer| {
            let words = match offer.name == offer.code {
                true => offer.code.clone(),
                false => format!("{} ({})", offer.name, offer.code),
            };
            (offer.code.clone(), words, only || offer.code == value)
        }));
        if !value.is_empty() && !offers.there.iter().any(|offer| offer.code == value) {
            options.push((value.clone(), format!("{value} (not in use)"), true));
        }
        (Control::Choice(options), make)
    }

    fn finish(mut self, groups: Vec<Group>) -> FormShown {
        // What is wrong with something that no field shows is told all the same.
        let untold = std::mem::take(&mut self.faults).into_iter();
        let untold = untold.map(|(pointer, details)| format!("{pointer}: {}", details.join("; ")));
        self.astray.extend(untold);
        let fixed = self
            .properties
            .iter()
            .filter(|one| self.given.fixed.contains(&one.name) && one.name != "code");
        let fixed = fixed.filter_map(|one| {
            let value = self.given.typed.get(&format!("/{}", one.name))?;
            let value = match &one.shape {
                Shape::Choice(_) => layout::word(value),
                _ => value.clone(),
            };
            Some((self.label(one), value))
        });
        FormShown {
            fixed: fixed.collect(),
            faults: self.astray,
            wrong: self.wrong,
            groups,
            lists: self.lists.into_iter().collect(),
        }
    }
}

fn empty_words(required: bool) -> String {
    match required {
        true => "choose".to_owned(),
        false => "not said".to_owned(),
    }
}

/// A pointer as the name of an element.
fn id(pointer: &str) -> String {
    pointer.trim_start_matches('/').replace('/', "-")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{ElastomerBody, MaterialBody};
    use crate::pages::catalogue::document::{told, typed_from};
    use crate::pages::catalogue::probe::suited;
    use crate::pages::catalogue::schema::properties;
    use serde_json::json;

    fn offers(count: usize) -> Offers {
        let offer = |at: usize| Offer {
            code: format!("base-{at}"),
            name: format!("Base {at}"),
        };
        Offers {
            there: (0..count).map(offer).collect(),
            one: "a base".to_owned(),
            address: "/new".to_owned(),
        }
    }

    fn field<'a>(form: &'a FormShown, name: &str) -> &'a FieldShown {
        let items = form.groups.iter().flat_map(|group| &group.items);
        let fields = items.flat_map(|item| match item {
            Item::Field(field) => vec![field],
            Item::Set(set) => set.rows.iter().flatten().collect(),
        });
        let mut found = fields.filter(|field| field.name == name);
        found
            .next()
            .unwrap_or_else(|| panic!("no {name} in {form:?}"))
    }

    #[test]
    fn a_fault_stands_at_its_field_else_around_it_else_at_the_head() {
        let all = properties::<ElastomerBody>();
        let faults = [
            FieldError::new("/ratio/base", "too little"),
            FieldError::new("/cure/0/minutes", "too long"),
            FieldError::new("/cure/0/temperature_c/x", "odd"),
            FieldError::new("/cure", "too many"),
            FieldError::new("/soup", "unknown"),
            FieldError::new("", "as a whole"),
        ];
        let cure = json!({"cure": [{"minutes": "9"}]});
        let given = Given {
            typed: typed_from(&all, &cure),
            faults: &faults,
            ..Given::default()
        };
        let form = form(&all, given);
        let fault = |name: &str| field(&form, name).fault.as_deref();
        assert_eq!(fault("/ratio/base"), Some("too little"));
        assert_eq!(fault("/cure/0/minutes"), Some("too long"));
        assert_eq!(fault("/cure/0/temperature_c"), Some("odd"));
        assert_eq!(fault("/cure/1/minutes"), None);
        let wrong: Vec<&str> = form.wrong.iter().map(|(_, label)| label.as_str()).collect();
        let expected = [
            "Ratio: Base",
            "Cure point",
            "Cure point 1: Temperature, °C",
            "Cure point 1: Minutes",
        ];
        assert_eq!(wrong, expected);
        assert_eq!(form.faults, ["/soup: unknown", "as a whole"]);
    }

    #[test]
    fn what_a_field_may_name_is_chosen_from_or_typed_where_it_is_too_much() {
        let all = properties::<ElastomerBody>();
        let with = |count: usize, typed: &[(&str, &str)]| {
            let own = |(name, text): &(&str, &str)| ((*name).to_owned(), (*text).to_owned());
            let given = Given {
                offers: [("/base".to_owned(), offers(count))].into(),
                typed: typed.iter().map(own).collect(),
                ..Given::default()
            };
            form(&all, given)
        };
        let none = with(0, &[]);
        let make = Some(("/new".to_owned(), "a base".to_owned()));
        assert_eq!(field(&none, "/base").make, make);
        // The only one is chosen by itself, and one that is not in use any more stands all the same.
        let chosen = |form: &FormShown| match &field(form, "/base").control {
            Control::Choice(options) => {
                let chosen = options.iter().filter(|(_, _, chosen)| *chosen);
                chosen.map(|(value, ..)| value.clone()).collect()
            }
            _ => Vec::new(),
        };
        assert_eq!(chosen(&with(1, &[])), ["base-0"]);
        assert_eq!(chosen(&with(2, &[])), [""]);
        assert_eq!(chosen(&with(2, &[("/base", "gone")])), ["gone"]);
        let many = with(1_000, &[("/base", "base-7")]);
        assert_eq!(many.lists[0].1.len(), OFFERS_MAX);
        let list = Some("base".to_owned());
        let typed = matches!(&field(&many, "/base").control, Control::Line { list: found, value, .. } if *found == list && value == "base-7");
        assert!(typed, "{many:?}");
    }

    #[test]
    fn what_does_not_belong_to_the_kind_is_shown_when_it_holds_something() {
        let all = properties::<MaterialBody>();
        let shown = |document: serde_json::Value| {
            let typed = told(&all, &typed_from(&all, &document)).typed;
            let given = Given {
                suited: suited::<MaterialBody>(&all, "tape"),
                typed,
                ..Given::default()
            };
            let form = form(&all, given);
            let set = |item: &Item| matches!(item, Item::Set(set) if set.id == "container");
            form.groups.iter().any(|group| group.items.iter().any(set))
        };
        assert!(!shown(json!({"kind": "tape"})));
        assert!(shown(
            json!({"kind": "tape", "container": {"depth_mm": "1"}})
        ));
    }
}
