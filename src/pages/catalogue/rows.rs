//! What matters of an entry, in one line; and what things are called.
//!
//! Invariant: a line says only what the document holds. Deliberately absent: the rest of the document (the form has it).

use crate::base::Currency;
use crate::catalogue::{
    CatalogueBody, ElastomerBody, GrantBody, KitBody, MaterialBody, MaterialKind, MoldBody, Noun,
    RecipeBody, SupplierBody, VesselBody, VesselShape,
};
use crate::pages::words::{amount, money};

/// A noun as it is read: one of it with its article, and many.
pub(super) fn noun_words(noun: Noun) -> (&'static str, &'static str) {
    match noun {
        Noun::Material => ("a material", "Materials"),
        Noun::Elastomer => ("an elastomer", "Elastomers"),
        Noun::Kit => ("a kit", "Kits"),
        Noun::Mold => ("a mould", "Moulds"),
        Noun::Recipe => ("a recipe", "Recipes"),
        Noun::Grant => ("a grant", "Grants"),
        Noun::Supplier => ("a supplier", "Suppliers"),
    }
}

/// What a noun is there for.
pub(super) fn noun_says(noun: Noun) -> &'static str {
    match noun {
        Noun::Material => {
            "What is bought and kept: the parts of an elastomer, trays, cups, tape, release agent, the rest."
        }
        Noun::Elastomer => {
            "A base and a curing agent that belong together, with their ratio and how they cure."
        }
        Noun::Kit => "A pack of base and curing agent that is bought as one.",
        Noun::Mold => "The master that is replicated.",
        Noun::Recipe => "How one kind of chip is cast: what of, in which tray, how thick.",
        Noun::Grant => "Who pays for a cast.",
        Noun::Supplier => "Who delivers. A delivery makes its supplier by itself.",
    }
}

/// A kind of material with its article.
pub(super) fn kind_words(kind: MaterialKind) -> &'static str {
    match kind {
        MaterialKind::ElastomerBase => "a base",
        MaterialKind::CuringAgent => "a curing agent",
        MaterialKind::ReleaseAgent => "a release agent",
        MaterialKind::Container => "a tray",
        MaterialKind::MixingCup => "a cup",
        MaterialKind::Tape => "a tape",
        MaterialKind::Sundry => "something else",
    }
}

/// Without its article.
pub(super) fn bare(words: &str) -> &str {
    words.trim_start_matches("an ").trim_start_matches("a ")
}

/// Several things in a sentence, such as `a tray, a cup and a mould`.
pub(super) fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// A document that says in one line what matters of it.
pub(super) trait Line: CatalogueBody {
    /// The line.
    fn line(&self, currency: Currency) -> String;
}

fn joined(parts: impl IntoIterator<Item = Option<String>>) -> String {
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    parts.join(" · ")
}

fn takes(days: Option<u32>) -> Option<String> {
    days.map(|days| match days {
        1 => "a day to arrive".to_owned(),
        days => format!("{days} days to arrive"),
    })
}

fn inside(vessel: &VesselBody) -> String {
    let said = |length: Option<crate::base::Micro>| {
        length.map_or_else(|| "?".to_owned(), |length| length.to_string())
    };
    match vessel.shape {
        VesselShape::Rectangular => format!(
            "{} x {} x {} mm inside",
            said(vessel.length_mm),
            said(vessel.width_mm),
            vessel.depth_mm
        ),
        VesselShape::Round => format!(
            "{} mm across, {} mm deep",
            said(vessel.diameter_mm),
            vessel.depth_mm
        ),
    }
}

impl Line for MaterialBody {
    fn line(&self, _: Currency) -> String {
        let unit = match self.unit.as_str() {
            "each" => "counted in pieces".to_owned(),
            unit => format!("kept in {unit}"),
        };
        joined([
            (self.kind != MaterialKind::Sundry).then(|| bare(kind_words(self.kind)).to_owned()),
            Some(self.container.as_ref().map_or(unit, inside)),
            self.tape
                .as_ref()
                .map(|tape| format!("{} mm wide", tape.width_mm)),
            takes(self.lead_time_days),
            (!self.hazard_statements.is_empty()).then(|| self.hazard_statements.join(" ")),
        ])
    }
}

impl Line for ElastomerBody {
    fn line(&self, _: Currency) -> String {
        joined([
            Some(format!("{} : {}", self.ratio.base, self.ratio.curing_agent)),
            Some(format!("{} with {}", self.base, self.curing_agent)),
            Some(format!("pours for {} minutes", self.pot_life_min)),
        ])
    }
}

impl Line for KitBody {
    fn line(&self, _: Currency) -> String {
        joined([
            Some(format!(
                "{} with {}",
                amount(self.base_g, "g"),
                amount(self.curing_agent_g, "g")
            )),
            Some(format!("of {}", self.elastomer)),
            takes(self.lead_time_days),
        ])
    }
}

impl Line for MoldBody {
    fn line(&self, currency: Currency) -> String {
        let cost = self.cost.zip(self.rated_casts);
        joined([
            Some(format!(
                "{} x {} x {} mm",
                self.length_mm, self.width_mm, self.thickness_mm
            )),
            Some(match self.chips {
                1 => "1 chip".to_owned(),
                chips => format!("{chips} chips"),
            }),
            (self.copies() > 1).then(|| format!("{} copies", self.copies())),
            cost.map(|(cost, casts)| {
                format!("{} for {casts} casts", money(cost, &currency.to_string()))
            }),
        ])
    }
}

impl Line for RecipeBody {
    fn line(&self, _: Currency) -> String {
        joined([
            Some(format!("{} over {}", self.elastomer, self.mold)),
            Some(format!("in {}, mixed in {}", self.container, self.cup)),
            Some(format!("{} mm thick", self.chip_thickness_mm)),
        ])
    }
}

impl Line for GrantBody {
    fn line(&self, currency: Currency) -> String {
        let days = match (self.starts_on, self.ends_on) {
            (None, None) => "on any day".to_owned(),
            (Some(first), None) => format!("from {first}"),
            (None, Some(last)) => format!("until {last}"),
            (Some(first), Some(last)) => format!("from {first} to {last}"),
        };
        let budget = self
            .materials_budget
            .map(|budget| format!("{} for materials", money(budget, &currency.to_string())));
        joined([Some(format!("pays {days}")), budget])
    }
}

impl Line for SupplierBody {
    fn line(&self, _: Currency) -> String {
        joined([takes(self.lead_time_days), self.email.clone()])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::{Value, json};

    #[track_caller]
    fn check<B: Line>(document: Value, expected: &str) {
        let body: B = serde_json::from_value(document).unwrap();
        assert_eq!(body.line(Currency::parse("EUR").unwrap()), expected);
    }

    #[test]
    fn a_line_says_what_matters() {
        check::<MaterialBody>(
            json!({"code": "base", "name": "B", "kind": "elastomer_base", "unit": "g", "lead_time_days": 14, "hazard_statements": ["H317"]}),
            "base · kept in g · 14 days to arrive · H317",
        );
        check::<MaterialBody>(
            json!({"code": "cup", "name": "C", "kind": "mixing_cup", "unit": "each",
                "container": {"shape": "round", "diameter_mm": "62", "depth_mm": "70"}}),
            "cup · 62 mm across, 70 mm deep",
        );
        check::<MoldBody>(
            json!({"code": "m", "name": "M", "length_mm": "75", "width_mm": "50", "thickness_mm": "1", "chips": 6, "copies": 2,
                "cost": "180", "rated_casts": 60}),
            "75 x 50 x 1 mm · 6 chips · 2 copies · 180.00 EUR for 60 casts",
        );
        check::<KitBody>(
            json!({"code": "k", "name": "K", "elastomer": "soft", "base_g": "1000", "curing_agent_g": "100"}),
            "1,000 g with 100 g · of soft",
        );
        check::<GrantBody>(
            json!({"code": "g", "name": "G", "ends_on": "2026-12-31"}),
            "pays until 2026-12-31",
        );
        check::<SupplierBody>(json!({"code": "s", "name": "S"}), "");
    }

    #[test]
    fn several_things_are_said_in_a_sentence() {
        assert_eq!(listed(&[]), "");
        assert_eq!(listed(&["a tray"]), "a tray");
        assert_eq!(
            listed(&["a tray", "a cup", "a mould"]),
            "a tray, a cup and a mould"
        );
        assert_eq!(bare("an elastomer"), "elastomer");
    }
}
