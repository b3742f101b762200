//! What comes first where nothing is yet: the way from an empty installation to a first cast.
//!
//! Invariants: a step is done when what it makes is there, and waits for what the documents' own links require; what is not needed
//! for a first cast says so. Deliberately absent: which links a document has (the probe asks it).

use std::collections::BTreeMap;

use super::rows::{bare, kind_words, listed, noun_words};
use crate::catalogue::{MaterialKind, Noun};

/// What there is.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(in crate::pages) struct Standing {
    /// How many entries in use each noun has.
    pub(super) entries: BTreeMap<Noun, usize>,
    /// How many materials of each kind.
    pub(super) kinds: BTreeMap<MaterialKind, usize>,
    /// What each noun must name, by noun and kinds.
    pub(super) needs: BTreeMap<Noun, Vec<Need>>,
    /// Whether anything was ever received.
    pub(super) stocked: bool,
    /// Whether anything was ever cast, or is booked.
    pub(super) cast: bool,
}

/// Something that a document must name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Need {
    /// What it is.
    pub(super) noun: Noun,
    /// The kinds of material that it may be; empty when it is none.
    pub(super) kinds: &'static [MaterialKind],
}

/// How a step stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::pages) enum State {
    /// What it makes is there.
    Done,
    /// It can be done now.
    Now,
    /// It waits for another.
    Waits,
    /// It can be left out.
    Free,
}

/// A step on the way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::pages) struct Step {
    /// What it is about.
    pub(in crate::pages) title: &'static str,
    /// How it stands.
    pub(in crate::pages) state: State,
    /// What is to be known, in a sentence.
    pub(in crate::pages) says: String,
    /// Where it is done: address and words.
    pub(in crate::pages) links: Vec<(String, String)>,
}

impl Step {
    /// The class that the style sheet knows, and the word that stands for it.
    pub(in crate::pages) fn class(&self) -> &'static str {
        match self.state {
            State::Done => "done",
            State::Now => "now",
            State::Waits => "waits",
            State::Free => "free",
        }
    }

    /// How it stands, in a word.
    pub(in crate::pages) fn word(&self) -> &'static str {
        match self.state {
            State::Done => "done",
            State::Now => "next",
            State::Waits => "waits",
            State::Free => "if you like",
        }
    }
}

impl Need {
    /// What it is called.
    pub(super) fn words(&self) -> &'static str {
        match self.kinds.first() {
            Some(kind) => kind_words(*kind),
            None => noun_words(self.noun).0,
        }
    }

    /// Where one is made.
    pub(super) fn address(&self) -> String {
        match self.kinds.first() {
            Some(kind) => format!("{}/new?kind={}", catalogue_path(self.noun), kind.as_str()),
            None => format!("{}/new", catalogue_path(self.noun)),
        }
    }
}

/// The address of a noun's pages, such as `/catalogue/molds`.
pub(super) fn catalogue_path(noun: Noun) -> String {
    format!("/catalogue/{}", noun.path().trim_start_matches("/v1/"))
}

impl Standing {
    fn has(&self, need: &Need) -> bool {
        match need.kinds {
            [] => self.count(need.noun) > 0,
            kinds => kinds.iter().any(|kind| self.kinds.contains_key(kind)),
        }
    }

    fn count(&self, noun: Noun) -> usize {
        self.entries.get(&noun).copied().unwrap_or(0)
    }

    /// What a noun needs and is not there.
    pub(super) fn missing(&self, noun: Noun) -> Vec<Need> {
        let needs = self.needs.get(&noun).into_iter().flatten();
        needs.filter(|need| !self.has(need)).copied().collect()
    }

    /// What a noun needs and what of it is missing, in a sentence; nothing when nothing is.
    pub(super) fn wanting(&self, noun: Noun) -> Option<String> {
        let words = |needs: &[Need]| listed(&needs.iter().map(Need::words).collect::<Vec<_>>());
        let missing = self.missing(noun);
        let needs = self.needs.get(&noun)?;
        (!missing.is_empty()).then(|| {
            let one = noun_words(noun).0;
            let said = match missing.len() == needs.len() {
                true => String::new(),
                false => format!("; still missing: {}", words(&missing)),
            };
            format!(
                "{}{} needs {}{said}.",
                one[..1].to_uppercase(),
                &one[1..],
                words(needs)
            )
        })
    }

    /// Whether the way to a first cast is behind us.
    pub(super) fn is_gone(&self) -> bool {
        self.cast
    }

    /// The step that comes next.
    pub(super) fn next(&self) -> Option<Step> {
        if self.is_gone() {
            return None;
        }
        self.steps()
            .into_iter()
            .find(|step| step.state == State::Now)
    }

    /// The way, step by step.
    pub(in crate::pages) fn steps(&self) -> Vec<Step> {
        vec![
            self.materials(),
            self.step(
                Noun::Elastomer,
                "It names base and curing agent, their ratio and how they cure.",
            ),
            self.free(
                Noun::Kit,
                "Where base and curing agent are bought in one pack.",
            ),
            self.step(Noun::Mold, "Its size, and how many chips it gives."),
            self.step(
                Noun::Recipe,
                "Which elastomer goes over which mould, in which tray, how thick.",
            ),
            self.free(
                Noun::Grant,
                "Who pays for a cast; without one, it is charged to nobody in particular.",
            ),
            self.delivery(),
            self.cast(),
        ]
    }

    fn cast(&self) -> Step {
        let ready = self.count(Noun::Recipe) > 0 && self.stocked;
        let (state, says) = match (self.cast, ready) {
            (true, _) => (State::Done, "There is one."),
            (false, true) => (
                State::Now,
                "Its plan says what to weigh, and from which packs.",
            ),
            (false, false) => (
                State::Waits,
                "Once there is a recipe and something to cast with, it is planned.",
            ),
        };
        let links = match state {
            State::Now => vec![("/casts/plan".to_owned(), "Plan a cast".to_owned())],
            _ => Vec::new(),
        };
        Step {
            title: "A cast",
            state,
            says: says.to_owned(),
            links,
        }
    }

    fn materials(&self) -> Step {
        let parts = [Noun::Elastomer, Noun::Recipe];
        let of_material = |need: &Need| need.noun == Noun::Material;
        let needs = parts
            .iter()
            .flat_map(|noun| self.needs.get(noun).into_iter().flatten())
            .copied();
        let needs: Vec<Need> = needs.filter(of_material).collect();
        // A cup may be a tray, but who has no cup yet is asked for one until there is a recipe without.
        let own = |need: &&Need| {
            let kind = need.kinds.first();
            kind.is_none_or(|kind| self.kinds.contains_key(kind))
        };
        let there: Vec<Need> = needs.iter().filter(own).copied().collect();
        let missing: Vec<Need> = match self.count(Noun::Recipe) {
            0 => needs.iter().filter(|need| !own(need)).copied().collect(),
            _ => Vec::new(),
        };
        let words = |needs: &[Need]| listed(&needs.iter().map(Need::words).collect::<Vec<_>>());
        let first = "Tape, release agent, gloves and the rest can follow.";
        let (state, says) = match missing.is_empty() {
            true => (State::Done, format!("There is {}. {first}", words(&there))),
            false => (
                State::Now,
                format!("A first cast still needs {}. {first}", words(&missing)),
            ),
        };
        let links = missing
            .iter()
            .map(|need| (need.address(), new(need.words())));
        Step {
            title: "Materials",
            state,
            says,
            links: links.collect(),
        }
    }

    fn step(&self, noun: Noun, what: &str) -> Step {
        let (one, _) = noun_words(noun);
        let address = format!("{}/new", catalogue_path(noun));
        let (state, says, links) = match (self.count(noun), self.wanting(noun)) {
            (0, Some(wanting)) => (State::Waits, wanting, Vec::new()),
            (0, None) => (State::Now, what.to_owned(), vec![(address, new(one))]),
            (1, _) => (State::Done, "There is one.".to_owned(), Vec::new()),
            (count, _) => (State::Done, format!("There are {count}."), Vec::new()),
        };
        Step {
            title: title(noun),
            state,
            says,
            links,
        }
    }

    fn free(&self, noun: Noun, what: &str) -> Step {
        let step = self.step(noun, what);
        match step.state {
            State::Now => Step {
                state: State::Free,
                ..step
            },
            _ => step,
        }
    }

    fn delivery(&self) -> Step {
        let ready = [Noun::Elastomer, Noun::Mold, Noun::Recipe]
            .iter()
            .all(|noun| self.count(*noun) > 0);
        let link = || vec![("/receive".to_owned(), "Receive a delivery".to_owned())];
        let (state, links) = match (self.stocked, ready, self.count(Noun::Material)) {
            (true, ..) => (State::Done, Vec::new()),
            (false, true, _) => (State::Now, link()),
            (false, false, 0) => (State::Waits, Vec::new()),
            (false, false, _) => (State::Free, link()),
        };
        let says = match self.stocked {
            true => "Something was received.",
            false => "What was bought comes onto the shelf, lot by lot, with what it cost.",
        };
        Step {
            title: "A delivery",
            state,
            says: says.to_owned(),
            links,
        }
    }
}

fn title(noun: Noun) -> &'static str {
    match noun {
        Noun::Material => "A material",
        Noun::Elastomer => "An elastomer",
        Noun::Kit => "A kit",
        Noun::Mold => "A mould",
        Noun::Recipe => "A recipe",
        Noun::Grant => "A grant",
        Noun::Supplier => "A supplier",
    }
}

/// What a link to a new one says.
pub(super) fn new(one: &str) -> String {
    match one {
        "something else" => "New material of another kind".to_owned(),
        one => format!("New {}", bare(one)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BASE: &[MaterialKind] = &[MaterialKind::ElastomerBase];
    const TRAY: &[MaterialKind] = &[MaterialKind::Container];
    const CUP: &[MaterialKind] = &[MaterialKind::MixingCup, MaterialKind::Container];

    fn standing(entries: &[(Noun, usize)], kinds: &[MaterialKind], stocked: bool) -> Standing {
        let material = |kinds| Need {
            noun: Noun::Material,
            kinds,
        };
        let other = |noun| Need { noun, kinds: &[] };
        let recipe = vec![
            other(Noun::Elastomer),
            other(Noun::Mold),
            material(TRAY),
            material(CUP),
        ];
        Standing {
            entries: entries.iter().copied().collect(),
            kinds: kinds.iter().map(|kind| (*kind, 1)).collect(),
            needs: [
                (Noun::Elastomer, vec![material(BASE)]),
                (Noun::Kit, vec![other(Noun::Elastomer)]),
                (Noun::Recipe, recipe),
            ]
            .into(),
            stocked,
            cast: false,
        }
    }

    fn states(standing: &Standing) -> Vec<State> {
        standing.steps().iter().map(|step| step.state).collect()
    }

    #[test]
    fn an_empty_installation_begins_with_materials() {
        use State::{Free, Now, Waits};
        let empty = standing(&[], &[], false);
        assert_eq!(
            states(&empty),
            [Now, Waits, Waits, Now, Waits, Free, Waits, Waits]
        );
        let steps = empty.steps();
        assert_eq!(
            steps[0].says,
            "A first cast still needs a base, a tray and a cup. Tape, release agent, gloves and the rest can follow."
        );
        let link = (
            "/catalogue/materials/new?kind=elastomer_base".to_owned(),
            "New base".to_owned(),
        );
        assert_eq!(steps[0].links[0], link);
        assert_eq!(
            steps[4].says,
            "A recipe needs an elastomer, a mould, a tray and a cup."
        );
        assert_eq!(empty.next().map(|step| step.title), Some("Materials"));
    }

    #[test]
    fn what_is_missing_is_named_until_nothing_is() {
        use State::{Done, Free, Now, Waits};
        let kinds = [MaterialKind::ElastomerBase, MaterialKind::Container];
        let begun = standing(&[(Noun::Material, 2), (Noun::Mold, 1)], &kinds, false);
        assert_eq!(
            states(&begun),
            [Now, Now, Waits, Done, Waits, Free, Free, Waits]
        );
        let asked = "A first cast still needs a cup. ";
        assert!(begun.steps()[0].says.starts_with(asked));
        assert_eq!(
            begun.wanting(Noun::Recipe).as_deref(),
            Some(
                "A recipe needs an elastomer, a mould, a tray and a cup; still missing: an elastomer."
            )
        );
        let all = [
            (Noun::Material, 2),
            (Noun::Mold, 1),
            (Noun::Elastomer, 1),
            (Noun::Recipe, 2),
        ];
        let made = standing(&all, &kinds, false);
        assert_eq!(
            states(&made),
            [Done, Done, Free, Done, Done, Free, Now, Waits]
        );
        assert_eq!(made.next().map(|step| step.title), Some("A delivery"));
        let ready = standing(&all, &kinds, true);
        assert_eq!(ready.next().map(|step| step.title), Some("A cast"));
        assert_eq!(ready.steps()[7].state, Now);
        let gone = Standing {
            cast: true,
            ..ready
        };
        assert!(gone.is_gone() && gone.next().is_none());
        assert_eq!(gone.steps()[7].state, Done);
    }
}
