//! In which order and under which heading the fields of a form stand, and what a field is called.
//!
//! Invariants: these tables only order and name what the documents have: a property that none of them lists stands under the
//! last heading, under its own name. Deliberately absent: which properties there are (the schema says).

use super::schema::{Property, Shape};

/// A noun with no more optional fields than this shows them at once.
pub(super) const FOLDED_FROM: usize = 5;

/// The heading of what no table lists.
pub(super) const ELSE: &str = "Besides";

/// Headings with the optional properties below them, of all nouns together.
const GROUPS: &[(&str, &[&str])] = &[
    (
        "Safety and heat",
        &["hazard_statements", "max_temperature_c"],
    ),
    (
        "A pack of it",
        &[
            "pack_quantity",
            "tare_g",
            "heel",
            "open_life_days",
            "shelf_life_days",
            "molds_per_vial",
            "density_g_per_ml",
        ],
    ),
    (
        "Ordering it",
        &[
            "lead_time_days",
            "stated_use_per_month",
            "min_packs",
            "order_cost",
            "approval_days",
            "review_days",
            "service_level",
            "service_measure",
            "holding_rate",
        ],
    ),
    (
        "Copies and what they cost",
        &["copies", "cost", "rated_casts"],
    ),
    ("Its surface", &["engraved_volume_mm3", "coat_life_casts"]),
    (
        "Tape and release agent",
        &[
            "tape",
            "trim_allowance_mm",
            "casts_per_setup",
            "release_agent",
        ],
    ),
    (
        "Weighing and mixing",
        &[
            "ratio",
            "balance_readability_g",
            "weighing",
            "stirrer_loss_g",
            "degas_in",
        ],
    ),
    (
        "Pouring",
        &[
            "overfill",
            "residue_quantile",
            "prep_min",
            "pour_min_per_container",
        ],
    ),
    ("The fill as it was gauged", &["gauge"]),
    ("Curing", &["cure", "oven_containers"]),
    ("What else a cast uses up", &["extras"]),
    (
        ELSE,
        &[
            "starts_on",
            "ends_on",
            "materials_budget",
            "beyond",
            "email",
            "note",
        ],
    ),
];

/// The order within an object; what is not listed comes after, as it comes.
const WITHIN: &[&str] = &[
    "shape",
    "depth_mm",
    "diameter_mm",
    "length_mm",
    "width_mm",
    "corner_radius_mm",
    "draft_deg",
    "rated_uses",
    "fill_limit",
];

/// What a field is called where its name does not say it; of a property that is an object where the last says so.
const CALLED: &[(&str, &str, bool)] = &[
    ("container", "Its inside", true),
    ("container", "Tray", false),
    ("tape", "The tape", true),
    ("mold", "Mould", false),
    ("kind", "What it is for", false),
    ("unit", "Unit it is kept in", false),
    ("of", "What was poured", false),
    ("per", "Counted", false),
    ("mold_in", "The mould was in the tray", false),
    ("chips", "Chips in one copy", false),
    ("beyond", "Outside its days or beyond its budget", false),
    ("min_packs", "Least packs in an order", false),
    ("molds_per_vial", "Moulds coated by one vial", false),
    ("prep_min", "From mixing to the first pour, minutes", false),
    ("pour_min_per_container", "Pouring one tray, minutes", false),
    ("oven_containers", "Trays in the oven at once", false),
    ("degas_in", "De-gassed in", false),
    ("cost", "Cost of one copy", false),
    (
        "max_temperature_c",
        "Highest temperature it stands, °C",
        false,
    ),
    ("coat_life_casts", "Casts that a coat lasts", false),
    ("casts_per_setup", "Casts between two tapings", false),
    ("gauge", "Gauged", true),
    ("cure", "Cure point", true),
    ("extras", "Extra", true),
];

/// The units that end a name, the longer before the shorter.
const UNITS: &[(&str, &str)] = &[
    ("_g_per_ml", "g/mL"),
    ("_pa_s", "Pa s"),
    ("_mm3", "mm³"),
    ("_mm", "mm"),
    ("_deg", "degrees"),
    ("_days", "days"),
    ("_min", "minutes"),
    ("_g", "g"),
    ("_c", "°C"),
    ("_s", "s"),
];

/// What a property is called, its unit last.
pub(super) fn label(property: &Property) -> String {
    let name = property.name.as_str();
    let object = property.parts().is_some();
    if let Some((_, words, _)) = CALLED
        .iter()
        .find(|(known, _, of_object)| *known == name && *of_object == object)
    {
        return (*words).to_owned();
    }
    let unit = UNITS.iter().find(|(ending, _)| name.ends_with(ending));
    match unit.filter(|_| !matches!(property.shape, Shape::Object(_) | Shape::List(_))) {
        Some((ending, unit)) => format!(
            "{}, {unit}",
            sentence(name.strip_suffix(ending).unwrap_or(name))
        ),
        None => sentence(name),
    }
}

/// Whether a property's name ends in its unit.
pub(super) fn has_unit(name: &str) -> bool {
    UNITS.iter().any(|(ending, _)| name.ends_with(ending))
}

/// A word of the API as it is read.
pub(super) fn word(name: &str) -> String {
    match name {
        "each" => "each (pieces)".to_owned(),
        "container" => "tray".to_owned(),
        "sundry" => "something else".to_owned(),
        name => name.replace('_', " "),
    }
}

/// A word of the API as a sentence begins.
pub(super) fn sentence(name: &str) -> String {
    let words = word(name);
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// Documentation as it is read beside a field: the API's words are quoted as the form shows them.
pub(super) fn hint(documentation: &str) -> String {
    let said = documentation.replace("mold", "mould");
    let parts: Vec<String> = said
        .split('`')
        .enumerate()
        .map(|(at, part)| match at % 2 {
            0 => part.to_owned(),
            _ => format!("“{}”", word(part)),
        })
        .collect();
    parts.concat()
}

/// What is said beside a field in which another entry is chosen: nothing, where the documentation says no more than that it is
/// one's code.
pub(super) fn choice_hint(documentation: &str) -> String {
    let said = hint(documentation);
    let rest = said.strip_prefix("The code of ").unwrap_or(&said);
    let rest = rest.split_once(": ").map_or(rest, |(_, rest)| rest);
    match rest.len() == said.len() || rest.contains([',', '“']) {
        true => sentence(rest),
        false => String::new(),
    }
}

/// The properties in the order within an object.
pub(super) fn within(parts: &[Property]) -> Vec<&Property> {
    let mut parts: Vec<&Property> = parts.iter().collect();
    let place = |name: &str| WITHIN.iter().position(|known| *known == name);
    parts.sort_by_key(|part| place(&part.name).unwrap_or(usize::MAX));
    parts
}

/// Properties under their headings, each once; headings without any are left out.
pub(super) fn grouped<'a>(properties: &[&'a Property]) -> Vec<(&'static str, Vec<&'a Property>)> {
    let listed = |name: &str| GROUPS.iter().any(|(_, names)| names.contains(&name));
    let mut groups: Vec<(&str, Vec<&Property>)> = Vec::new();
    for (title, names) in GROUPS {
        let of_name = |name: &&str| {
            properties
                .iter()
                .copied()
                .find(|property| property.name == **name)
        };
        let mut found: Vec<&Property> = names.iter().filter_map(of_name).collect();
        if *title == ELSE {
            found.extend(
                properties
                    .iter()
                    .copied()
                    .filter(|property| !listed(&property.name)),
            );
        }
        if !found.is_empty() {
            groups.push((*title, found));
        }
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{
        ElastomerBody, GrantBody, KitBody, MaterialBody, MoldBody, RecipeBody, SupplierBody,
    };
    use crate::pages::catalogue::schema::properties;

    fn all() -> Vec<Vec<Property>> {
        vec![
            properties::<MaterialBody>(),
            properties::<ElastomerBody>(),
            properties::<KitBody>(),
            properties::<MoldBody>(),
            properties::<RecipeBody>(),
            properties::<GrantBody>(),
            properties::<SupplierBody>(),
        ]
    }

    #[test]
    fn the_tables_name_only_what_there_is() {
        let all: Vec<Property> = all().concat();
        let inner: Vec<Property> = all
            .iter()
            .filter_map(Property::parts)
            .flatten()
            .cloned()
            .collect();
        let mut seen = std::collections::BTreeSet::new();
        for name in GROUPS.iter().flat_map(|(_, names)| *names) {
            assert!(
                all.iter()
                    .any(|known| known.name == *name && !known.required),
                "{name}"
            );
            assert!(seen.insert(name), "{name} stands twice");
        }
        for name in WITHIN {
            assert!(inner.iter().any(|known| known.name == *name), "{name}");
        }
        for (name, _, object) in CALLED {
            let known = |one: &&Property| one.name == *name && one.parts().is_some() == *object;
            assert!(all.iter().chain(&inner).any(|one| known(&one)), "{name}");
        }
        for (ending, _) in UNITS {
            assert!(
                all.iter()
                    .chain(&inner)
                    .any(|one| one.name.ends_with(ending)),
                "{ending}"
            );
        }
    }

    #[test]
    fn every_optional_property_stands_under_one_heading() {
        for noun in all() {
            let optional: Vec<&Property> = noun.iter().filter(|one| !one.required).collect();
            let mut found: Vec<&str> = grouped(&optional)
                .iter()
                .flat_map(|(_, properties)| properties.iter().map(|one| one.name.as_str()))
                .collect();
            found.sort_unstable();
            let mut expected: Vec<&str> = optional.iter().map(|one| one.name.as_str()).collect();
            expected.sort_unstable();
            assert_eq!(found, expected);
            // A form has objects, but none within them.
            let nested = noun.iter().filter_map(Property::parts).flatten();
            assert!(nested.clone().all(|part| part.parts().is_none()));
        }
    }

    #[test]
    fn a_label_has_its_unit_last() {
        let named = |name: &str| {
            label(&Property {
                name: name.to_owned(),
                required: false,
                hint: String::new(),
                shape: Shape::Whole,
            })
        };
        assert_eq!(named("lead_time_days"), "Lead time, days");
        assert_eq!(named("density_g_per_ml"), "Density, g/mL");
        assert_eq!(named("viscosity_pa_s"), "Viscosity, Pa s");
        assert_eq!(named("rated_casts"), "Rated casts");
        assert_eq!(
            hint("a mold of kind `curing_agent`."),
            "a mould of kind “curing agent”."
        );
        assert_eq!(choice_hint("The code of the mold."), "");
        assert_eq!(
            choice_hint("The code of the tray: a material of kind `container`."),
            "A material of kind “tray”."
        );
        assert_eq!(
            choice_hint("The code of the tape under the mold, if there is one."),
            "The tape under the mould, if there is one."
        );
    }
}
