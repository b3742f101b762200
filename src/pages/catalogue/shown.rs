//! What a form of the catalogue is made of, as its template shows it.
//!
//! Deliberately absent: how it comes about (the form).

/// Another entry that a field may name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Offer {
    /// Its code.
    pub(super) code: String,
    /// Its name.
    pub(super) name: String,
}

/// What a field may name, and where a new one is made.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Offers {
    /// What there is and is not retired.
    pub(super) there: Vec<Offer>,
    /// What one is called, such as `a tray`.
    pub(super) one: String,
    /// Where one is made.
    pub(super) address: String,
}

/// A form.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct FormShown {
    /// What is wrong and has no field.
    pub(super) faults: Vec<String>,
    /// The fields in which something is wrong, with their labels.
    pub(super) wrong: Vec<(String, String)>,
    /// What never changes besides the code, with its value.
    pub(super) fixed: Vec<(String, String)>,
    /// The headings; the first has none.
    pub(super) groups: Vec<Group>,
    /// Codes to offer where they are typed.
    pub(super) lists: Vec<(String, Vec<Offer>)>,
}

/// Fields under a heading.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Group {
    /// The heading.
    pub(super) title: &'static str,
    /// Whether it folds.
    pub(super) folds: bool,
    /// Whether it is unfolded.
    pub(super) open: bool,
    /// What stands below it.
    pub(super) items: Vec<Item>,
}

/// A field, or several that belong together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Item {
    /// A field.
    Field(FieldShown),
    /// Several.
    Set(SetShown),
}

/// Fields that belong together: one row, or as many as there are and one more.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct SetShown {
    pub(super) id: String,
    pub(super) label: String,
    pub(super) hint: String,
    pub(super) fault: Option<String>,
    pub(super) required: bool,
    pub(super) list: bool,
    pub(super) rows: Vec<Vec<FieldShown>>,
}

/// A field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct FieldShown {
    pub(super) id: String,
    pub(super) name: String,
    pub(super) label: String,
    pub(super) hint: String,
    pub(super) required: bool,
    pub(super) control: Control,
    pub(super) fault: Option<String>,
    pub(super) note: Option<String>,
    /// Where one is made that it could name, when there is none.
    pub(super) make: Option<(String, String)>,
}

impl FieldShown {
    /// Whether anything stands beside it that says more of it.
    pub(super) fn is_described(&self) -> bool {
        self.fault.is_some() || self.note.is_some() || !self.hint.is_empty()
    }
}

/// What a field is typed with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Control {
    /// A line: its type, the keys a phone shows, what stands in it, and the list of codes to offer.
    Line {
        kind: &'static str,
        keys: &'static str,
        value: String,
        list: Option<String>,
    },
    /// Lines.
    Long(String),
    /// One of some: value, words, whether it is chosen.
    Choice(Vec<(String, String, bool)>),
    /// Yes or no.
    Tick(bool),
}
