//! What the form of a plan says: how it was typed, the document that the API would be sent, and what is wrong at which field.
//!
//! Invariants: a field that is empty is left out of the document; an error's pointer finds its field; what was typed stays, in
//! its place. The address has all of it, and the same address asks for the same. Deliberately absent: what is right (the
//! operation knows).

use chrono::NaiveDate;
use serde_json::{Map, Value, json};

use crate::base::FieldError;
use crate::casting::planning::request::{Charge, PlanRequest};

/// The address of the page.
pub(super) const ADDRESS: &str = "/casts/plan";
/// The counts, as the document names them, with their words.
pub(super) const COUNTED: [(&str, &str); 2] =
    [("containers", "trays"), ("good_chips_wanted", "good chips")];

/// What was typed into a field, and what is wrong with it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Field {
    /// As it was typed.
    pub(super) typed: String,
    /// What would be right.
    pub(super) fault: Option<String>,
}

impl Field {
    fn of(typed: &str) -> Self {
        Self {
            typed: typed.trim().to_owned(),
            fault: None,
        }
    }

    /// Whether something was typed.
    pub(super) fn is_given(&self) -> bool {
        !self.typed.is_empty()
    }

    fn mark(&mut self, detail: &str) {
        match &mut self.fault {
            Some(fault) => {
                fault.push_str("; ");
                fault.push_str(detail);
            }
            None => self.fault = Some(detail.to_owned()),
        }
    }

    /// The number that was typed; what is none is marked.
    fn whole(&mut self) -> Option<Value> {
        match self.typed.parse::<u32>() {
            Ok(number) => Some(json!(number)),
            Err(_) => {
                let fault = format!(
                    "`{}` is no whole number: write digits, such as 6",
                    self.typed
                );
                self.mark(&fault);
                None
            }
        }
    }
}

/// A grant with its share.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Payer {
    /// The grant's code.
    pub(super) grant: Field,
    /// Its share in per cent.
    pub(super) share: Field,
}

impl Payer {
    fn is_given(&self) -> bool {
        self.grant.is_given() || self.share.is_given()
    }
}

/// A leave that the plan may be given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Leave {
    /// Its name in the document.
    pub(super) name: &'static str,
    /// What it allows, in words.
    pub(super) says: &'static str,
    /// Whether it is given.
    pub(super) given: bool,
}

const LEAVES: [(&str, &str); 4] = [
    (
        "allow_mixed_kits",
        "Take base and curing agent from different kit lots",
    ),
    ("allow_cross_charge", "Use another grant's stock too"),
    (
        "take_from_later",
        "Take stock that is promised to later casts",
    ),
    ("allow_short", "Book it although stock is short"),
];

/// What is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Asked {
    /// The recipe's code.
    pub(super) recipe: Field,
    /// How many.
    pub(super) count: Field,
    /// Of what: a name of [`COUNTED`].
    pub(super) of: &'static str,
    /// The day.
    pub(super) cast_on: Field,
    /// Who pays, row by row, with rows that were left empty between them.
    pub(super) payers: Vec<Payer>,
    /// What is wrong with who pays as a whole.
    pub(super) payers_fault: Option<String>,
    /// Most trays that a cup fills.
    pub(super) containers_per_batch: Field,
    /// Groups of a course.
    pub(super) groups: Field,
    /// The quantile of the residue.
    pub(super) residue_quantile: Field,
    /// Why a cure is wanted that tray or mould does not bear.
    pub(super) heat_override_reason: Field,
    /// What is allowed.
    pub(super) leaves: Vec<Leave>,
    /// What is wrong and at no field.
    pub(super) faults: Vec<String>,
    /// Whether a day was among what was sent, be it empty.
    dated: bool,
}

impl Default for Asked {
    fn default() -> Self {
        let leave = |(name, says)| Leave {
            name,
            says,
            given: false,
        };
        Self {
            recipe: Field::default(),
            count: Field::default(),
            of: COUNTED[0].0,
            cast_on: Field::default(),
            payers: Vec::new(),
            payers_fault: None,
            containers_per_batch: Field::default(),
            groups: Field::default(),
            residue_quantile: Field::default(),
            heat_override_reason: Field::default(),
            leaves: LEAVES.map(leave).into(),
            faults: Vec::new(),
            dated: false,
        }
    }
}

impl Asked {
    /// Reads what was sent; what else is among it is not read.
    pub(super) fn read<N: AsRef<str>, V: AsRef<str>>(
        sent: impl IntoIterator<Item = (N, V)>,
    ) -> Self {
        let mut asked = Self::default();
        let (mut grants, mut shares) = (Vec::new(), Vec::new());
        for (name, value) in sent {
            let (name, value) = (name.as_ref(), value.as_ref());
            match name {
                "grant" => grants.push(Field::of(value)),
                "share" => shares.push(Field::of(value)),
                "of" => {
                    let known = COUNTED.iter().find(|(word, _)| *word == value);
                    asked.of = known.map_or(asked.of, |(word, _)| word);
                }
                _ => {
                    asked.dated |= name == "cast_on";
                    if let Some(leave) = asked.leaves.iter_mut().find(|leave| leave.name == name) {
                        leave.given = value == "true";
                    } else if let Some(field) = asked.field(name) {
                        *field = Field::of(value);
                    }
                }
            }
        }
        let most = grants.len().max(shares.len());
        grants.resize(most, Field::default());
        shares.resize(most, Field::default());
        let rows = grants.into_iter().zip(shares);
        asked.payers = rows.map(|(grant, share)| Payer { grant, share }).collect();
        while asked.payers.last().is_some_and(|payer| !payer.is_given()) {
            asked.payers.pop();
        }
        asked
    }

    /// Puts in what is asked for most likely where nothing was said: today, and the only recipe.
    pub(super) fn with_defaults(&mut self, today: NaiveDate, recipes: &[(String, String)]) {
        if !self.dated {
            self.cast_on = Field::of(&today.to_string());
        }
        if let ([(only, _)], false) = (recipes, self.recipe.is_given()) {
            self.recipe = Field::of(only);
        }
    }

    /// Whether enough is said to plan.
    pub(super) fn is_asked(&self) -> bool {
        self.recipe.is_given() && self.count.is_given()
    }

    /// Whether a part of the form is used that is folded away.
    pub(super) fn has_more(&self) -> bool {
        let fields = [
            &self.containers_per_batch,
            &self.groups,
            &self.residue_quantile,
            &self.heat_override_reason,
        ];
        fields.iter().any(|field| field.is_given()) || self.leaves.iter().any(|leave| leave.given)
    }

    /// Whether nothing is wrong.
    pub(super) fn is_right(&self) -> bool {
        let single = [
            &self.recipe,
            &self.count,
            &self.cast_on,
            &self.containers_per_batch,
            &self.groups,
            &self.residue_quantile,
            &self.heat_override_reason,
        ];
        let rows = self.payers.iter().flat_map(|row| [&row.grant, &row.share]);
        let mut fields = single.into_iter().chain(rows);
        fields.all(|field| field.fault.is_none())
            && self.payers_fault.is_none()
            && self.faults.is_empty()
    }

    fn field(&mut self, name: &str) -> Option<&mut Field> {
        Some(match name {
            "recipe" => &mut self.recipe,
            "count" | "containers" | "good_chips_wanted" => &mut self.count,
            "cast_on" => &mut self.cast_on,
            "containers_per_batch" => &mut self.containers_per_batch,
            "groups" => &mut self.groups,
            "residue_quantile" => &mut self.residue_quantile,
            "heat_override_reason" => &mut self.heat_override_reason,
            _ => return None,
        })
    }

    /// The document that the API would be sent; none when a count is no number, which is marked.
    pub(super) fn document(&mut self) -> Option<Value> {
        let mut document = Map::new();
        for (name, field) in [
            ("recipe", &self.recipe),
            ("cast_on", &self.cast_on),
            ("residue_quantile", &self.residue_quantile),
            ("heat_override_reason", &self.heat_override_reason),
        ] {
            if field.is_given() {
                document.insert(name.to_owned(), json!(field.typed));
            }
        }
        let counts = [
            (self.of, &mut self.count),
            ("containers_per_batch", &mut self.containers_per_batch),
            ("groups", &mut self.groups),
        ];
        let mut right = true;
        for (name, field) in counts.into_iter().filter(|(_, field)| field.is_given()) {
            match field.whole() {
                Some(number) => drop(document.insert(name.to_owned(), number)),
                None => right = false,
            }
        }
        let charges: Vec<Value> = self.filled().map(|(_, payer)| charge(payer)).collect();
        if !charges.is_empty() {
            document.insert("charges".to_owned(), Value::Array(charges));
        }
        for leave in self.leaves.iter().filter(|leave| leave.given) {
            document.insert(leave.name.to_owned(), Value::Bool(true));
        }
        right.then_some(Value::Object(document))
    }

    /// The rows of who pays that are filled, with their places.
    fn filled(&self) -> impl Iterator<Item = (usize, &Payer)> {
        let rows = self.payers.iter().enumerate();
        rows.filter(|(_, payer)| payer.is_given())
    }

    /// Marks what an operation found wrong.
    pub(super) fn mark(&mut self, errors: &[FieldError]) {
        let places: Vec<usize> = self.filled().map(|(place, _)| place).collect();
        for error in errors {
            let detail = error.detail.as_str();
            let parts: Vec<&str> = error.pointer.split('/').skip(1).collect();
            match parts.as_slice() {
                ["charges", row, name] => {
                    let place = row.parse().ok().and_then(|row: usize| places.get(row));
                    let payer = place.and_then(|place| self.payers.get_mut(*place));
                    match (payer, *name) {
                        (Some(payer), "share") => payer.share.mark(detail),
                        (Some(payer), _) => payer.grant.mark(detail),
                        (None, _) => self.faults.push(detail.to_owned()),
                    }
                }
                ["charges", ..] => self.payers_fault = Some(detail.to_owned()),
                [name] => match self.field(name) {
                    Some(field) => field.mark(detail),
                    None => self.faults.push(detail.to_owned()),
                },
                _ => self.faults.push(detail.to_owned()),
            }
        }
    }

    /// All that was said, as names and values.
    pub(super) fn pairs(&self) -> Vec<(&'static str, String)> {
        let mut pairs = Vec::new();
        let mut say = |name, field: &Field| {
            if field.is_given() {
                pairs.push((name, field.typed.clone()));
            }
        };
        say("recipe", &self.recipe);
        say("count", &self.count);
        say("of", &Field::of(self.of));
        say("cast_on", &self.cast_on);
        say("containers_per_batch", &self.containers_per_batch);
        say("groups", &self.groups);
        say("residue_quantile", &self.residue_quantile);
        say("heat_override_reason", &self.heat_override_reason);
        for (_, payer) in self.filled() {
            pairs.push(("grant", payer.grant.typed.clone()));
            pairs.push(("share", payer.share.typed.clone()));
        }
        let given = self.leaves.iter().filter(|leave| leave.given);
        pairs.extend(given.map(|leave| (leave.name, "true".to_owned())));
        pairs
    }

    /// The address that asks for the same with some of it otherwise: a field by its name, a leave with `true`.
    pub(super) fn otherwise(&self, changes: &[(&str, &str)]) -> String {
        let mut changed = self.clone();
        for (name, value) in changes {
            if let Some(leave) = changed.leaves.iter_mut().find(|leave| leave.name == *name) {
                leave.given = *value == "true";
                continue;
            }
            if let Some((word, _)) = COUNTED.iter().find(|(word, _)| word == name) {
                changed.of = word;
            }
            if let Some(field) = changed.field(name) {
                *field = Field::of(value);
            }
        }
        let mut query = form_urlencoded::Serializer::new(String::new());
        query.extend_pairs(changed.pairs());
        format!("{ADDRESS}?{}", query.finish())
    }
}

/// The address that plans the same today, with no leave.
pub(in crate::pages) fn address_like(request: &PlanRequest) -> String {
    let field = |text: Option<String>| Field::of(&text.unwrap_or_default());
    let number = |number: Option<u32>| field(number.map(|number| number.to_string()));
    let (of, count) = match request.good_chips_wanted {
        Some(chips) => (COUNTED[1].0, Some(chips)),
        None => (COUNTED[0].0, request.containers),
    };
    let payer = |charge: &Charge| Payer {
        grant: Field::of(charge.grant.as_str()),
        share: Field::of(&charge.share.to_string()),
    };
    let asked = Asked {
        recipe: Field::of(request.recipe.as_str()),
        count: number(count),
        of,
        payers: request.charges.iter().map(payer).collect(),
        containers_per_batch: number(request.containers_per_batch),
        groups: number(request.groups),
        residue_quantile: field(
            request
                .residue_quantile
                .map(|quantile| quantile.to_string()),
        ),
        heat_override_reason: field(request.heat_override_reason.clone()),
        ..Asked::default()
    };
    asked.otherwise(&[])
}

fn charge(payer: &Payer) -> Value {
    let mut charge = Map::new();
    for (name, field) in [("grant", &payer.grant), ("share", &payer.share)] {
        if field.is_given() {
            charge.insert(name.to_owned(), json!(field.typed));
        }
    }
    Value::Object(charge)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(query: &str) -> Asked {
        Asked::read(form_urlencoded::parse(query.as_bytes()))
    }

    #[test]
    fn what_was_typed_is_the_document_that_the_api_is_sent() {
        let mut all = asked(
            "recipe=chip&count=40&of=good_chips_wanted&cast_on=2026-03-10&grant=&share=&grant=a&share=60&grant=b&share=40\
             &groups=2&residue_quantile=0.5&allow_short=true&take_from_later=no&form_key=x&grant=&share=",
        );
        assert_eq!(
            all.document().unwrap(),
            json!({"recipe": "chip", "good_chips_wanted": 40, "cast_on": "2026-03-10", "groups": 2,
                "residue_quantile": "0.5", "allow_short": true,
                "charges": [{"grant": "a", "share": "60"}, {"grant": "b", "share": "40"}]})
        );
        assert_eq!(
            all.payers.len(),
            3,
            "an empty row keeps its place, but for the last"
        );
        // The address says the same.
        let address = all.otherwise(&[]);
        let query = address.strip_prefix("/casts/plan?").unwrap();
        assert_eq!(asked(query).document(), all.document());
        let fewer = all.otherwise(&[("containers", "2"), ("allow_short", "false")]);
        let fewer = asked(fewer.split_once('?').unwrap().1).document().unwrap();
        assert_eq!(fewer["containers"], 2);
        assert_eq!(
            (fewer.get("good_chips_wanted"), fewer.get("allow_short")),
            (None, None)
        );
    }

    #[test]
    fn what_is_wrong_stands_at_its_field() {
        let mut all = asked("recipe=chip&count=a+few&grant=&share=&grant=a&share=60");
        assert_eq!(all.document(), None);
        assert_eq!(
            all.count.fault.as_deref(),
            Some("`a few` is no whole number: write digits, such as 6")
        );
        let errors = [
            ("/charges/0/share", "too little"),
            ("/charges", "not 100"),
            ("/cast_on", "no day"),
            ("/cast_on", "gone"),
            ("/good_chips_wanted", "too many"),
            ("/mood", "bad"),
        ];
        let errors = errors.map(|(pointer, detail)| FieldError::new(pointer, detail));
        all.mark(&errors);
        assert_eq!(all.payers[1].share.fault.as_deref(), Some("too little"));
        assert_eq!(all.payers_fault.as_deref(), Some("not 100"));
        assert_eq!(all.cast_on.fault.as_deref(), Some("no day; gone"));
        assert!(all.count.fault.as_deref().unwrap().ends_with("; too many"));
        assert_eq!(all.faults, ["bad"]);
        assert!(!all.is_right());
    }

    #[test]
    fn another_like_it_is_asked_for_without_its_day_and_its_leaves() {
        let before = "recipe=chip&count=9&of=good_chips_wanted&grant=a&share=100&groups=3&residue_quantile=0.5";
        let mut all = asked(&format!("{before}&cast_on=2026-03-10&allow_short=true"));
        let request = serde_json::from_value(all.document().unwrap()).unwrap();
        let mut again = asked(address_like(&request).split_once('?').unwrap().1);
        assert_eq!(again.document(), asked(before).document());
        assert!(!again.dated);
    }

    #[test]
    fn nothing_said_is_today_and_the_only_recipe() {
        let today: NaiveDate = "2026-03-02".parse().unwrap();
        let one = [("chip".to_owned(), "Chip".to_owned())];
        let mut none = asked("");
        none.with_defaults(today, &one);
        assert_eq!(
            (none.recipe.typed.as_str(), none.cast_on.typed.as_str()),
            ("chip", "2026-03-02")
        );
        assert!(!none.is_asked() && none.is_right());
        // A day that was taken out is not put back in.
        let mut emptied = asked("cast_on=&count=2");
        emptied.with_defaults(today, &[]);
        assert_eq!(emptied.cast_on.typed, "");
        assert!(!emptied.is_asked());
    }
}
