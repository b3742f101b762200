//! The kinds of material as vessels on a plank, each leading to the form for a new one.
//!
//! Invariant: every kind is there. Deliberately absent: what each kind must have (the probe asks the checks).

use super::guide::catalogue_path;
use super::rows::{bare, kind_words};
use crate::catalogue::{MaterialKind, Noun};
use crate::pages::figure::Figure;
use crate::pages::vessel::{Filling, vessel};

/// How full the vessels are drawn, and of how many pieces a stack.
const FILLING: (f64, f64) = (0.62, 5.0);

/// The kinds with their words, in the order of the work.
pub(super) fn kinds() -> Vec<(&'static str, Figure)> {
    MaterialKind::ALL
        .into_iter()
        .map(|kind| {
            let filling = Filling {
                free: FILLING.0,
                ..Filling::default()
            };
            let words = kind_words(kind).to_owned();
            let figure = Figure {
                vessel: vessel(kind, filling, FILLING.1, words.clone()),
                label: vec![words[..1].to_uppercase() + &words[1..]],
                address: address(kind),
                barred: None,
            };
            (kind.as_str(), figure)
        })
        .collect()
}

/// Where another of a kind is made, and what that is called.
pub(super) fn kinds_of(kind: MaterialKind) -> (String, String) {
    let words = match kind {
        MaterialKind::Sundry => "material".to_owned(),
        kind => bare(kind_words(kind)).to_owned(),
    };
    (address(kind), format!("Another {words}"))
}

fn address(kind: MaterialKind) -> String {
    format!(
        "{}/new?kind={}",
        catalogue_path(Noun::Material),
        kind.as_str()
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_a_vessel_and_a_form() {
        let found = kinds();
        assert_eq!(found.len(), MaterialKind::ALL.len());
        assert_eq!(found[1].1.label, ["A curing agent"]);
        assert_eq!(
            found[1].1.address,
            "/catalogue/materials/new?kind=curing_agent"
        );
        assert_eq!(kinds_of(MaterialKind::Tape).1, "Another tape");
    }
}
