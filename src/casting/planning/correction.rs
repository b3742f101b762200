//! A correction of a mix as it is asked for and shown, and the decision whether cup and stock can take it. Pure.
//!
//! Invariant: the books hold neither what was weighed into the cup nor the addition, so that what the stock must give is
//! both together. Deliberately absent: posting anything; the pour does that, with what was really weighed.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::sizing::rounded;
use crate::base::{Code, Error, Micro, Quantity};
use crate::casting::sums::correction::{
    Addition, Part, WeighableAddition, correct_mix, weigh_addition,
};
use crate::casting::sums::cup_room::cup_room;
use crate::casting::sums::mix::MassRatio;
use crate::stock::needs::{Need, Purpose};
use crate::stock::picking::{PickList, PickRules, pick};
use crate::stock::shelf::PackFacts;

/// What was weighed, and for what. The ratio is known from exactly one of `elastomer`, `recipe` and `cast`; an `elastomer`
/// beside one of the others must be theirs.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CorrectionIn {
    /// The elastomer's code: its nominal ratio counts, and a balance that reads 0.01 g.
    #[serde(default)]
    pub elastomer: Option<Code>,
    /// The recipe's code: its own ratio, cup and balance count.
    #[serde(default)]
    pub recipe: Option<Code>,
    /// The code of a booked cast: the recipe as it was at the booking counts, and what it was promised is free for it.
    #[serde(default)]
    pub cast: Option<Code>,
    /// The code of the cup it was weighed in; the recipe's unless said.
    #[serde(default)]
    pub cup: Option<Code>,
    /// Base weighed, in g; more than 0.
    pub base_g: Micro,
    /// Curing agent weighed, in g; more than 0.
    pub curing_agent_g: Micro,
}

/// An addition of one part, with whether cup and stock can take it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct AdditionOut {
    /// `base` or `curing_agent`.
    pub part: &'static str,
    /// How much is called for, in g, exactly.
    pub mass_g: Micro,
    /// The mix after exactly that, in g.
    pub total_g: Micro,
    /// The ratio after exactly that, base over curing agent.
    pub ratio_after: Micro,
    /// How much to weigh, in g: the next count of the balance above it if the ratio is then within the tolerance, else
    /// the nearest count.
    pub weigh_g: Micro,
    /// The ratio after what is weighed.
    pub weighed_ratio: Micro,
    /// Whether that ratio is within the tolerance.
    pub weighed_within_tolerance: bool,
    /// The cup with what is weighed in it; absent when no cup is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cup: Option<CupOut>,
    /// The stock of the part to add.
    pub stock: StockOut,
}

/// A mix in its cup.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct CupOut {
    /// The cup's code.
    pub code: Code,
    /// What it holds to the rim, in mL.
    pub capacity_ml: Micro,
    /// What of it may be filled so that neither foam nor stirring runs over, in mL.
    pub usable_ml: Micro,
    /// The mix, in mL.
    pub mix_ml: Micro,
    /// Whether the mix is within what may be filled.
    pub fits: bool,
    /// Whether it is at least below the rim.
    pub below_rim: bool,
    /// What stands against it, and what would help.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// Whether the stock gives the part to add. The books hold neither what was weighed of it nor the addition.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct StockOut {
    /// The material's code.
    pub material: Code,
    /// What was weighed of it and what is to be added, together, in g.
    pub needed_g: Quantity,
    /// What is free of it today, in g; what the cast itself was promised is free for it.
    pub available_g: Quantity,
    /// Whether that is enough.
    pub enough: bool,
    /// The packs that would give it, in the order of use; none when there is not enough.
    pub lots: Vec<LotOut>,
    /// What stands against it, and what would help.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A quantity of a pack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct LotOut {
    /// The lot code.
    pub lot: String,
    /// The lot's id.
    pub lot_id: i64,
    /// The pack's id.
    pub pack_id: i64,
    /// How much of it, in g.
    pub quantity: Quantity,
    /// Why this pack.
    pub why: String,
}

/// A correction.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct CorrectionOut {
    /// The smallest addition that restores the nominal ratio; null when it is met exactly.
    pub add: Option<AdditionOut>,
    /// The smallest addition that just reaches the tolerance; null when the mix is within it as weighed.
    pub add_to_tolerance: Option<AdditionOut>,
    /// The mix after `add`, in g.
    pub total_g: Micro,
    /// The ratio as weighed, base over curing agent.
    pub ratio_before: Micro,
    /// The ratio after `add`.
    pub ratio_after: Micro,
    /// Whether the mix as weighed is within the elastomer's tolerance.
    pub within_tolerance: bool,
    /// The step of the balance that `weigh_g` is counted in, in g.
    pub readability_g: Micro,
    /// What stands against the additions and what to do instead; absent when `add` can be made or nothing is to be added.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A cup that a mix was weighed in.
#[derive(Debug, Clone, PartialEq)]
pub struct CupFacts {
    /// Its code.
    pub code: Code,
    /// What it holds to the rim.
    pub capacity_ml: f64,
    /// Share of it that may be filled.
    pub fill_limit: f64,
}

/// The stock of both parts, with what the mix may use of it.
#[derive(Debug, Clone)]
pub struct PartStock {
    /// The base: id and code.
    pub base: (i64, Code),
    /// The curing agent: id and code.
    pub curing_agent: (i64, Code),
    /// The packs of both; what the cast itself was promised is not counted as reserved.
    pub shelf: Vec<PackFacts>,
    /// Whose stock may be used, and on which day.
    pub rules: PickRules,
}

/// Everything a correction is decided on, besides what was weighed.
#[derive(Debug, Clone)]
pub struct Bench {
    /// The ratio to restore.
    pub nominal: MassRatio,
    /// How far it may be off, relative to it.
    pub tolerance: f64,
    /// Density of the mix.
    pub density_g_per_ml: f64,
    /// The step of the balance, more than 0.
    pub readability_g: Micro,
    /// The cup, if it is known.
    pub cup: Option<CupFacts>,
    /// The stock.
    pub stock: PartStock,
}

impl CorrectionIn {
    /// What is wrong with the request in itself.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it is not known for what was weighed, or a mass is not above 0.
    ///
    /// ```
    /// use heeltap::casting::planning::correction::CorrectionIn;
    /// let told = |body: &str| serde_json::from_str::<CorrectionIn>(body).unwrap();
    /// assert!(told(r#"{"recipe": "chip", "base_g": "33", "curing_agent_g": "3"}"#).check().is_ok());
    /// assert!(told(r#"{"base_g": "33", "curing_agent_g": "3"}"#).check().is_err());
    /// ```
    pub fn check(&self) -> Result<(), Error> {
        match (&self.elastomer, &self.recipe, &self.cast) {
            (None, None, None) => {
                return Err(Error::invalid(
                    "/elastomer",
                    "it is not known which ratio counts: give `elastomer`, `recipe` or `cast`",
                ));
            }
            (_, Some(_), Some(_)) => {
                return Err(Error::invalid(
                    "/recipe",
                    "give either `recipe` or `cast`: a cast keeps its recipe as it was at the booking",
                ));
            }
            _ => {}
        }
        for (pointer, mass) in [
            ("/base_g", self.base_g),
            ("/curing_agent_g", self.curing_agent_g),
        ] {
            if mass <= Micro::ZERO {
                return Err(Error::invalid(
                    pointer,
                    format!("{mass} g is out of range: more than 0"),
                ));
            }
        }
        Ok(())
    }

    /// Whether the elastomer that was named, if one was, is the one that is mixed.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it is another one.
    ///
    /// ```
    /// use heeltap::base::Code;
    /// use heeltap::casting::planning::correction::CorrectionIn;
    /// let told = r#"{"recipe": "chip", "elastomer": "el", "base_g": "33", "curing_agent_g": "3"}"#;
    /// let told: CorrectionIn = serde_json::from_str(told).unwrap();
    /// assert!(told.agrees_with(&Code::parse("el").unwrap()).is_ok());
    /// assert!(told.agrees_with(&Code::parse("other").unwrap()).is_err());
    /// ```
    pub fn agrees_with(&self, mixed: &Code) -> Result<(), Error> {
        match &self.elastomer {
            Some(named) if named != mixed => {
                let what = if self.recipe.is_some() {
                    "recipe"
                } else {
                    "cast"
                };
                let detail = format!(
                    "the {what} is mixed from `{}`, not from `{}`: name that one, or leave `elastomer` out",
                    mixed.as_str(),
                    named.as_str()
                );
                Err(Error::invalid("/elastomer", detail))
            }
            _ => Ok(()),
        }
    }
}

/// Decides the correction of what was weighed.
///
/// # Errors
/// [`Error::Invalid`] when what was weighed cannot be corrected.
///
/// ```
/// use heeltap::base::{Code, Micro};
/// use heeltap::casting::planning::correction::{Bench, CorrectionIn, PartStock, corrected};
/// use heeltap::casting::sums::mix::MassRatio;
/// use heeltap::stock::picking::PickRules;
/// let rules = PickRules {
///     day: "2026-03-02".parse().unwrap(), grants: vec![], allow_mixed_kits: false, allow_cross_charge: true,
/// };
/// let stock = PartStock {
///     base: (1, Code::parse("base").unwrap()), curing_agent: (2, Code::parse("agent").unwrap()), shelf: vec![], rules,
/// };
/// let bench = Bench {
///     nominal: MassRatio::new(10.0, 1.0).unwrap(), tolerance: 0.02, density_g_per_ml: 1.03,
///     readability_g: Micro::parse("0.01")?, cup: None, stock,
/// };
/// let told: CorrectionIn = serde_json::from_str(r#"{"elastomer": "el", "base_g": "33", "curing_agent_g": "3"}"#).unwrap();
/// let add = corrected(&told, &bench)?.add.unwrap();
/// assert_eq!((add.part, add.weigh_g.to_string()), ("curing_agent", "0.3".to_owned()));
/// assert!(!add.stock.enough, "the shelf is bare");
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn corrected(input: &CorrectionIn, bench: &Bench) -> Result<CorrectionOut, Error> {
    let (base_g, agent_g) = (input.base_g.to_f64(), input.curing_agent_g.to_f64());
    let found = correct_mix(base_g, agent_g, bench.nominal, bench.tolerance)
        .map_err(|e| Error::invalid("", e.to_string()))?;
    let shown = |addition: &Addition| shown(input, bench, addition);
    let add = found.to_nominal.as_ref().map(shown).transpose()?;
    let add_to_tolerance = found.to_tolerance.as_ref().map(shown).transpose()?;
    let after = found.to_nominal.as_ref();
    Ok(CorrectionOut {
        total_g: rounded(after.map_or(base_g + agent_g, |add| add.total_g))?,
        ratio_before: rounded(base_g / agent_g)?,
        ratio_after: rounded(after.map_or(base_g / agent_g, |add| add.ratio_after))?,
        within_tolerance: found.within_tolerance,
        readability_g: bench.readability_g,
        note: note(add.as_ref(), add_to_tolerance.as_ref()),
        add,
        add_to_tolerance,
    })
}

fn shown(input: &CorrectionIn, bench: &Bench, addition: &Addition) -> Result<AdditionOut, Error> {
    let weighed = weigh_addition(
        (input.base_g.to_f64(), input.curing_agent_g.to_f64()),
        addition,
        bench.nominal,
        bench.tolerance,
        bench.readability_g.to_f64(),
    )
    .map_err(|e| Error::invalid("", e.to_string()))?;
    let weigh_g = whole_counts(&weighed, bench.readability_g)?;
    Ok(AdditionOut {
        part: match addition.part {
            Part::Base => "base",
            Part::CuringAgent => "curing_agent",
        },
        mass_g: rounded(addition.mass_g)?,
        total_g: rounded(addition.total_g)?,
        ratio_after: rounded(addition.ratio_after)?,
        weigh_g,
        weighed_ratio: rounded(weighed.ratio_after)?,
        weighed_within_tolerance: weighed.within_tolerance,
        cup: bench
            .cup
            .as_ref()
            .map(|cup| in_cup(cup, weighed.total_g, bench.density_g_per_ml))
            .transpose()?,
        stock: in_stock(input, &bench.stock, addition.part, weigh_g)?,
    })
}

/// Counts x readability, in whole millionths.
fn whole_counts(weighed: &WeighableAddition, readability_g: Micro) -> Result<Micro, Error> {
    let counts = i64::try_from(weighed.counts).map_err(Error::internal)?;
    Ok(readability_g.mul_div_half_even(counts, 1)?)
}

fn in_cup(cup: &CupFacts, total_g: f64, density_g_per_ml: f64) -> Result<CupOut, Error> {
    let room = cup_room(total_g, density_g_per_ml, cup.capacity_ml, cup.fill_limit)
        .map_err(|e| Error::invalid("/cup", e.to_string()))?;
    let (mix_ml, usable_ml) = (rounded(room.mix_ml)?, rounded(room.usable_ml)?);
    let capacity_ml = rounded(room.capacity_ml)?;
    let help = format!(
        "use a larger vessel, divide it among {} cups of `{}`, or discard it and weigh a smaller batch",
        room.cups,
        cup.code.as_str()
    );
    let note = match (room.fits, room.below_rim) {
        (true, _) => None,
        (false, true) => Some(format!(
            "{mix_ml} mL stay below the rim of `{}` ({capacity_ml} mL), but above the {usable_ml} mL that may be filled before foam or stirring runs over: {help}",
            cup.code.as_str()
        )),
        (false, false) => Some(format!(
            "{mix_ml} mL run over the rim of `{}`, which holds {capacity_ml} mL: {help}",
            cup.code.as_str()
        )),
    };
    Ok(CupOut {
        code: cup.code.clone(),
        capacity_ml,
        usable_ml,
        mix_ml,
        fits: room.fits,
        below_rim: room.below_rim,
        note,
    })
}

/// Picks what was weighed and what is to be added, so that both parts come from one kit lot where they can.
fn in_stock(
    input: &CorrectionIn,
    stock: &PartStock,
    part: Part,
    weigh_g: Micro,
) -> Result<StockOut, Error> {
    let ((material_id, material), purpose, weighed, (other_id, _), other) = match part {
        Part::Base => (
            &stock.base,
            Purpose::Base,
            input.base_g,
            &stock.curing_agent,
            input.curing_agent_g,
        ),
        Part::CuringAgent => (
            &stock.curing_agent,
            Purpose::CuringAgent,
            input.curing_agent_g,
            &stock.base,
            input.base_g,
        ),
    };
    let needed = Quantity::new(weighed.checked_add(weigh_g)?);
    let need = |material_id: i64, purpose: Purpose, quantity: Quantity| Need {
        material_id,
        purpose,
        batch_no: 1,
        quantity,
        piece: Quantity::from_micro(1),
    };
    let partner = purpose.partner().unwrap_or(purpose);
    let needs = [
        need(*material_id, purpose, needed),
        need(other_id.to_owned(), partner, Quantity::new(other)),
    ];
    let together = pick(&mut stock.shelf.clone(), &needs, &stock.rules);
    let alone = |list: &PickList| list.unserved.contains(&0);
    let (list, note) = if alone(&together) {
        let list = pick(&mut stock.shelf.clone(), &needs[..1], &stock.rules);
        let note = (!alone(&list)).then(|| {
            "no single kit lot holds both parts of this mix: what is added is not matched to the other part".to_owned()
        });
        (list, note)
    } else {
        (together, None)
    };
    let enough = !alone(&list);
    let available = available(stock, *material_id)?;
    let note = note.or_else(|| {
        (!enough).then(|| {
            format!(
                "{needed} g of `{}` are needed and {available} g are free: receive or count in more, free what is held or promised, or discard the mix and weigh a smaller batch",
                material.as_str()
            )
        })
    });
    Ok(StockOut {
        material: material.clone(),
        needed_g: needed,
        available_g: available,
        enough,
        lots: lots(&list, &stock.shelf),
        note,
    })
}

/// What of a material is free on the day, under the rules.
fn available(stock: &PartStock, material_id: i64) -> Result<Quantity, Error> {
    let rules = &stock.rules;
    let may_use = |pack: &&PackFacts| {
        let own = pack
            .funded_by_id
            .is_none_or(|grant| rules.grants.contains(&grant));
        pack.material_id == material_id
            && pack.unusable(rules.day).is_none()
            && (own || rules.allow_cross_charge)
    };
    let free = stock.shelf.iter().filter(may_use).map(PackFacts::free);
    Ok(Quantity::checked_sum(free)?)
}

fn lots(list: &PickList, shelf: &[PackFacts]) -> Vec<LotOut> {
    list.picks
        .iter()
        .filter(|picked| picked.need == 0)
        .map(|picked| {
            let pack = &shelf[picked.pack];
            LotOut {
                lot: pack.lot_code.clone(),
                lot_id: pack.lot_id,
                pack_id: pack.pack_id,
                quantity: picked.quantity,
                why: picked.why.clone(),
            }
        })
        .collect()
}

impl AdditionOut {
    /// What stands against the addition, each in a sentence of its own.
    fn obstacles(&self) -> Vec<String> {
        let mut found = Vec::new();
        found.extend(self.cup.as_ref().and_then(|cup| cup.note.clone()));
        if !self.stock.enough {
            found.extend(self.stock.note.clone());
        }
        if !self.weighed_within_tolerance {
            found.push(
                "the balance is too coarse to bring the ratio within its tolerance: use a finer one, or discard the mix and weigh a larger batch".to_owned(),
            );
        }
        found
    }
}

/// What to do when the addition to the nominal ratio cannot be made.
fn note(add: Option<&AdditionOut>, add_to_tolerance: Option<&AdditionOut>) -> Option<String> {
    let obstacles = add?.obstacles();
    if obstacles.is_empty() {
        return None;
    }
    let Some(edge) = add_to_tolerance else {
        return Some(format!(
            "nothing need be added: the ratio is within its tolerance as weighed; against the nominal ratio stands: {}",
            obstacles.join("; ")
        ));
    };
    let at_the_edge = edge.obstacles();
    if at_the_edge.is_empty() {
        return Some(format!(
            "only the addition that reaches the tolerance can be made; against the nominal ratio stands: {}",
            obstacles.join("; ")
        ));
    }
    Some(format!(
        "neither addition can be made: {}",
        at_the_edge.join("; ")
    ))
}
