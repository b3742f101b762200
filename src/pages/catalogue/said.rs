//! What was done to an entry, in a sentence.
//!
//! Invariant: what an address says was done is one of these words, and nothing of an address is repeated. Deliberately absent: what
//! stands against it (the operations' own words are shown).

/// What was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Done {
    /// It was made.
    Made,
    /// It was changed.
    Changed,
    /// Nothing of it was changed.
    Same,
    /// It was retired.
    Retired,
}

impl Done {
    /// Its word in an address.
    pub(super) fn as_str(self) -> &'static str {
        match self {
            Self::Made => "made",
            Self::Changed => "changed",
            Self::Same => "same",
            Self::Retired => "retired",
        }
    }

    /// What a word says was done, if it is one.
    pub(super) fn from_word(word: &str) -> Option<Self> {
        let all = [Self::Made, Self::Changed, Self::Same, Self::Retired];
        all.into_iter().find(|done| done.as_str() == word)
    }

    /// It in a sentence.
    pub(super) fn said(self, name: &str) -> String {
        match self {
            Self::Made => format!("{name} is in the catalogue."),
            Self::Changed => "The change is kept.".to_owned(),
            Self::Same => "Nothing was changed: it stands as it was.".to_owned(),
            Self::Retired => format!("{name} is retired: nothing new may name it."),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_says_what_was_done_and_no_other() {
        for done in [Done::Made, Done::Changed, Done::Same, Done::Retired] {
            assert_eq!(Done::from_word(done.as_str()), Some(done));
            assert!(done.said("Cup").ends_with('.'));
        }
        assert_eq!(Done::from_word("<b>"), None);
    }
}
