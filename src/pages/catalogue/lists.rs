//! The entries of a noun as they are listed.
//!
//! Invariants: those in use come first, by kind and name; what is not shown is counted, and has a page. Deliberately absent: the
//! entries' documents.

use super::guide::catalogue_path;
use super::rows::{noun_says, noun_words};
use crate::catalogue::Noun;

/// How many entries of each noun stand on the page of all.
pub(super) const SHOWN_OF_ALL: usize = 24;
/// How many stand on a page of one noun.
pub(super) const SHOWN_OF_ONE: usize = 150;

/// An entry in a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    /// Its code.
    pub(super) code: String,
    /// Its name.
    pub(super) name: String,
    /// What matters of it.
    pub(super) line: String,
    /// The kind's word of a material, which chooses the hue.
    pub(super) kind: &'static str,
    /// Whether it is retired.
    pub(super) retired: bool,
    /// Where its kind stands in the order of the work.
    pub(super) place: usize,
}

/// A noun with entries.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Section {
    /// The noun's word in addresses.
    pub(super) word: String,
    /// Its heading.
    pub(super) title: &'static str,
    /// What it is there for.
    pub(super) says: &'static str,
    /// Where its pages begin.
    pub(super) path: String,
    /// What a new one is called.
    pub(super) new: String,
    /// How many are in use.
    pub(super) count: usize,
    /// Those that are in use and shown.
    pub(super) rows: Vec<Row>,
    /// Those that are retired and shown.
    pub(super) retired: Vec<Row>,
    /// How many are not shown.
    pub(super) more: usize,
    /// What it needs first, in a sentence.
    pub(super) wanting: Option<String>,
    /// The next page, if there is one.
    pub(super) next: Option<usize>,
}

/// A section with the entries of a page, counted from 0, with so many to a page.
pub(super) fn section(noun: Noun, mut rows: Vec<Row>, page: usize, shown: usize) -> Section {
    let lower = |row: &Row| {
        (
            row.retired,
            row.place,
            row.name.to_lowercase(),
            row.code.clone(),
        )
    };
    rows.sort_by_cached_key(lower);
    let all = rows.len();
    let count = rows.iter().filter(|row| !row.retired).count();
    let first = page.saturating_mul(shown);
    let rows: Vec<Row> = rows.into_iter().skip(first).take(shown).collect();
    let last = first.saturating_add(rows.len());
    let (retired, rows): (Vec<Row>, Vec<Row>) = rows.into_iter().partition(|row| row.retired);
    let (one, title) = noun_words(noun);
    let path = catalogue_path(noun);
    Section {
        word: path.trim_start_matches("/catalogue/").to_owned(),
        title,
        says: noun_says(noun),
        path,
        new: super::guide::new(one),
        count,
        rows,
        retired,
        more: all.saturating_sub(last),
        wanting: None,
        next: (last < all && last > first).then_some(page + 1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(name: &str, place: usize, retired: bool) -> Row {
        Row {
            code: name.to_lowercase(),
            name: name.to_owned(),
            line: String::new(),
            kind: "",
            retired,
            place,
        }
    }

    #[test]
    fn those_in_use_come_first_by_kind_and_name() {
        let rows = vec![
            row("a", 1, true),
            row("Cup", 4, false),
            row("Base", 0, false),
            row("a tray", 3, false),
        ];
        let found = section(Noun::Material, rows.clone(), 0, 3);
        let names: Vec<&str> = found.rows.iter().map(|row| row.name.as_str()).collect();
        assert_eq!(names, ["Base", "a tray", "Cup"]);
        assert_eq!(
            (found.count, found.more, found.next, found.retired.len()),
            (3, 1, Some(1), 0)
        );
        let next = section(Noun::Material, rows.clone(), 1, 3);
        assert_eq!(
            (next.rows.len(), next.retired.len(), next.next),
            (0, 1, None)
        );
        assert_eq!(section(Noun::Material, rows, 9, 3).next, None);
        assert_eq!(found.path, "/catalogue/materials");
    }
}
