//! What can be done to a pack, or to the whole of a lot, each as a form.
//!
//! Invariants: a field is named as in the API's body, so that an error's pointer finds it; what is left empty is not sent on.
//! Deliberately absent: what is right (the operations know).

use std::collections::{BTreeMap, HashMap};

use serde_json::{Map, Value};

use crate::base::{FieldError, Quantity, Unit};
use crate::stock::ledger::MovementKind;
use crate::stock::views::{LotView, PackView};

/// What was typed, by the name of the field.
pub(super) type Typed = HashMap<String, String>;

/// What can be done to a pack.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Deed {
    /// It is counted or weighed.
    Count,
    /// The day is set on which it was opened.
    Open,
    /// Something of it was spilled.
    Spill,
    /// Something of it was thrown away.
    WriteOff,
    /// It is held back.
    Hold,
    /// It is let go.
    Release,
}

impl Deed {
    const ALL: [Self; 6] = [
        Self::Count,
        Self::Open,
        Self::Spill,
        Self::WriteOff,
        Self::Hold,
        Self::Release,
    ];

    /// Its word in the address.
    pub(super) fn as_str(self) -> &'static str {
        match self {
            Self::Count => "count",
            Self::Open => "open",
            Self::Spill => "spill",
            Self::WriteOff => "write-off",
            Self::Hold => "hold",
            Self::Release => "release",
        }
    }

    /// The deed of a word, if it is one.
    pub(super) fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|deed| deed.as_str() == word)
    }

    /// The kind of the movement that it leaves, if it leaves one.
    pub(super) fn movement(self) -> Option<MovementKind> {
        match self {
            Self::Count => Some(MovementKind::Count),
            Self::Spill => Some(MovementKind::Spill),
            Self::WriteOff => Some(MovementKind::WriteOff),
            Self::Open | Self::Hold | Self::Release => None,
        }
    }

    /// Whether it makes sense for the pack as it stands.
    fn fits(self, pack: &PackView) -> bool {
        let filled = pack.on_hand > Quantity::ZERO;
        match self {
            Self::Count => true,
            Self::Open => filled && pack.opened_on.is_none(),
            Self::Spill | Self::WriteOff => filled,
            Self::Hold => filled && pack.held_reason.is_none(),
            Self::Release => pack.held_reason.is_some(),
        }
    }

    fn names(self, unit: Unit) -> &'static [&'static str] {
        match (self, unit) {
            (Self::Count, Unit::G) => &["gross_g", "tare_g", "counted_on", "reason"],
            (Self::Count, _) => &["on_hand", "counted_on", "reason"],
            (Self::Open, _) => &["opened_on"],
            (Self::Spill | Self::WriteOff, _) => &["quantity", "reason", "on"],
            (Self::Hold, _) => &["reason"],
            (Self::Release, _) => &[],
        }
    }

    /// The body that the API would have been sent.
    pub(super) fn document(self, unit: Unit, typed: &Typed) -> Value {
        let mut document = Map::new();
        for name in self.names(unit) {
            let value = typed.get(*name).map_or("", |value| value.trim());
            // A reason that must be given is missed by the operation in its own words.
            if !value.is_empty() || *name == "reason" {
                document.insert((*name).to_owned(), Value::from(value));
            }
        }
        Value::Object(document)
    }
}

/// A deed as a form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct DeedForm {
    /// Its word, which begins the ids of its fields.
    pub(super) word: &'static str,
    /// The address that it is sent to.
    pub(super) action: String,
    /// What it does, in words.
    pub(super) title: &'static str,
    /// What the button says.
    pub(super) button: &'static str,
    /// Whether it is unfolded.
    pub(super) open: bool,
    /// What is wrong with it as a whole.
    pub(super) fault: Option<String>,
    /// The fields.
    pub(super) fields: Vec<FieldShown>,
}

/// A field of a form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct FieldShown {
    /// Its name.
    pub(super) name: &'static str,
    /// What to type.
    pub(super) label: String,
    /// `text` or `date`.
    pub(super) kind: &'static str,
    /// Which keyboard a phone shows.
    pub(super) keys: &'static str,
    /// Whether it must be filled.
    pub(super) required: bool,
    /// What stands in it.
    pub(super) value: String,
    /// What is wrong with it.
    pub(super) fault: Option<String>,
}

/// A form that was refused: which, what was typed, and what is wrong.
pub(super) struct Failed {
    /// The deed.
    pub(super) deed: Deed,
    /// Whether it was of the whole lot.
    pub(super) whole: bool,
    /// What was typed.
    pub(super) typed: Typed,
    /// What is wrong, where fields are at fault.
    pub(super) errors: Vec<FieldError>,
    /// What is wrong as a whole.
    pub(super) detail: String,
}

/// The forms for a pack of a lot as it stands; the one that was refused unfolded, with what was typed.
pub(super) fn forms(
    (lot_id, pack): (i64, &PackView),
    unit: Unit,
    failed: Option<&Failed>,
) -> Vec<DeedForm> {
    let failed = failed.filter(|failed| !failed.whole);
    let shown = |deed: &Deed| deed.fits(pack) || failed.is_some_and(|failed| failed.deed == *deed);
    Deed::ALL
        .into_iter()
        .filter(shown)
        .map(|deed| {
            let action = format!("/lots/{lot_id}/packs/{}/{}", pack.id, deed.as_str());
            let blank = |name| field(deed, name, pack.tare_g, unit);
            let failed = failed.filter(|failed| failed.deed == deed);
            let (title, button) = words(deed, unit);
            DeedForm {
                title,
                button,
                ..form((deed, action), deed.names(unit), blank, failed)
            }
        })
        .collect()
}

/// The forms for the whole of a lot: its packs are held back together, and let go together.
pub(super) fn whole_forms(lot: &LotView, unit: Unit, failed: Option<&Failed>) -> Vec<DeedForm> {
    let failed = failed.filter(|failed| failed.whole);
    let fits = |deed: Deed| lot.packs.iter().any(|pack| deed.fits(pack));
    let known = [
        (
            Deed::Hold,
            "lot-hold",
            "Hold the whole lot back",
            "Hold all of it back",
        ),
        (
            Deed::Release,
            "lot-release",
            "Let the whole lot go",
            "Let all of it go",
        ),
    ];
    known
        .into_iter()
        .filter(|(deed, ..)| fits(*deed) || failed.is_some_and(|failed| failed.deed == *deed))
        .map(|(deed, word, title, button)| {
            let action = format!("/lots/{}/{}", lot.id, deed.as_str());
            let blank = |name| field(deed, name, None, unit);
            let failed = failed.filter(|failed| failed.deed == deed);
            DeedForm {
                word,
                title,
                button,
                ..form((deed, action), deed.names(unit), blank, failed)
            }
        })
        .collect()
}

fn form(
    (deed, action): (Deed, String),
    names: &[&'static str],
    blank: impl Fn(&'static str) -> FieldShown,
    failed: Option<&Failed>,
) -> DeedForm {
    let mut faults: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for error in failed.iter().flat_map(|failed| &failed.errors) {
        let name = error.pointer.trim_start_matches('/');
        let known = names.iter().find(|known| **known == name);
        let place = faults.entry(known.copied().unwrap_or("")).or_default();
        place.push(error.detail.as_str());
    }
    let whole = failed.filter(|failed| failed.errors.is_empty());
    let fault = whole
        .map(|failed| failed.detail.clone())
        .or_else(|| faults.get("").map(|details| details.join("; ")));
    let fields = names.iter().map(|name| {
        let typed = failed.and_then(|failed| failed.typed.get(*name));
        FieldShown {
            value: typed.cloned().unwrap_or_default(),
            fault: faults.get(name).map(|details| details.join("; ")),
            ..blank(name)
        }
    });
    DeedForm {
        word: deed.as_str(),
        action,
        title: "",
        button: "",
        open: failed.is_some(),
        fault,
        fields: fields.collect(),
    }
}

fn words(deed: Deed, unit: Unit) -> (&'static str, &'static str) {
    match (deed, unit) {
        (Deed::Count, Unit::G) => ("Count it by weighing", "Take the weighing in"),
        (Deed::Count, _) => ("Count it", "Take the count in"),
        (Deed::Open, _) => ("It was opened", "Note the day"),
        (Deed::Spill, _) => ("Some of it was spilled", "Note the spill"),
        (Deed::WriteOff, _) => ("Write it off", "Write off"),
        (Deed::Hold, _) => ("Hold it back", "Hold back"),
        (Deed::Release, _) => ("Let it go", "Let go"),
    }
}

fn field(deed: Deed, name: &'static str, tare_known: Option<Quantity>, unit: Unit) -> FieldShown {
    let unit = match unit {
        Unit::Each => "pieces",
        other => other.as_str(),
    };
    let label = match name {
        "gross_g" => "What the balance shows with the pack on it, g".to_owned(),
        "tare_g" => tare_known.map_or_else(
            || "What the pack weighs empty, g".to_owned(),
            |tare| {
                format!(
                    "What the pack weighs empty, g ({tare} is kept: leave it empty to use that)"
                )
            },
        ),
        "on_hand" => format!("What is there, {unit}"),
        "quantity" if deed == Deed::Spill => {
            format!("How much was spilled, {unit}")
        }
        "quantity" => format!("How much, {unit} (empty: all that is not in use)"),
        "reason" if deed == Deed::Count => "Why, if it needs saying".to_owned(),
        "reason" if deed == Deed::WriteOff => {
            "Why (expired, contaminated, lost, heel, or words of your own)".to_owned()
        }
        "reason" => "Why".to_owned(),
        _ => "The day (empty: today)".to_owned(),
    };
    let dated = name.ends_with("on") && !matches!(name, "reason");
    FieldShown {
        name,
        label,
        kind: if dated { "date" } else { "text" },
        keys: match name {
            "gross_g" | "tare_g" | "on_hand" | "quantity" => "decimal",
            _ => "text",
        },
        required: match name {
            "gross_g" | "on_hand" => true,
            "reason" => deed != Deed::Count,
            "quantity" => deed == Deed::Spill,
            _ => false,
        },
        value: String::new(),
        fault: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stock::views::LotState;
    use serde_json::json;

    fn pack(on_hand: &str) -> PackView {
        PackView {
            id: 7,
            no: 1,
            on_hand: Quantity::parse(on_hand).unwrap(),
            reserved: Quantity::ZERO,
            opened_on: None,
            held_reason: None,
            counted_on: None,
            state: LotState::Usable,
            received: Quantity::parse("100").unwrap(),
            tare_g: None,
        }
    }

    fn offered(pack: &PackView) -> Vec<&'static str> {
        let forms = forms((1, pack), Unit::G, None);
        forms.iter().map(|form| form.word).collect()
    }

    #[test]
    fn a_pack_offers_what_makes_sense_for_it() {
        let full = pack("100");
        let every = ["count", "open", "spill", "write-off", "hold"];
        assert_eq!(offered(&full), every);
        let held = PackView {
            held_reason: Some("cloudy".into()),
            opened_on: "2026-03-02".parse().ok(),
            ..full
        };
        assert_eq!(offered(&held), ["count", "spill", "write-off", "release"]);
        assert_eq!(offered(&pack("0")), ["count"]);
    }

    #[test]
    fn what_is_left_empty_is_not_sent_on() {
        let typed: Typed = [("gross_g", " 950 "), ("tare_g", ""), ("form_key", "x")]
            .map(|(name, value)| (name.to_owned(), value.to_owned()))
            .into();
        let sent = Deed::Count.document(Unit::G, &typed);
        assert_eq!(sent, json!({"gross_g": "950", "reason": ""}));
        // A material that is counted is not weighed.
        let sent = Deed::Count.document(Unit::Each, &typed);
        assert_eq!(sent, json!({"reason": ""}));
    }

    #[test]
    fn a_fault_stands_at_its_field_and_what_was_typed_is_kept() {
        let failed = Failed {
            deed: Deed::Count,
            whole: false,
            typed: [("gross_g".to_owned(), "many".to_owned())].into(),
            errors: vec![
                FieldError::new("/gross_g", "no number"),
                FieldError::new("", "give either"),
            ],
            detail: String::new(),
        };
        let forms = forms((1, &pack("100")), Unit::G, Some(&failed));
        let (count, rest) = forms.split_first().unwrap();
        assert!(count.open && rest.iter().all(|form| !form.open));
        assert_eq!(count.fault.as_deref(), Some("give either"));
        let gross = &count.fields[0];
        let shown = (gross.value.as_str(), gross.fault.as_deref());
        assert_eq!(shown, ("many", Some("no number")));
        assert_eq!(count.fields[1].fault, None);
    }

    #[test]
    fn days_are_days_and_reasons_are_words() {
        let kinds = |deed: Deed| -> Vec<&str> {
            let names = deed.names(Unit::G).iter();
            names
                .map(|name| field(deed, name, None, Unit::G).kind)
                .collect()
        };
        assert_eq!(kinds(Deed::Count), ["text", "text", "date", "text"]);
        assert_eq!(kinds(Deed::Spill), ["text", "text", "date"]);
        assert_eq!(kinds(Deed::Open), ["date"]);
    }
}
