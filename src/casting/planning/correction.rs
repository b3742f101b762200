//! The decision how a mix is corrected, and whether cup and stock can take it. Pure.
//!
//! Invariant: the books hold neither what was weighed into the cup nor the addition, so that what the stock must give is
//! both together. Deliberately absent: posting anything; the pour does that, with what was really weighed.

use super::correction_view::{AdditionOut, CorrectionIn, CorrectionOut, CupOut, LotOut, StockOut};
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

/// Decides the correction of what was weighed.
///
/// # Errors
/// [`Error::Invalid`] when what was weighed cannot be corrected.
///
/// ```
/// use heeltap::base::{Code, Micro};
/// use heeltap::casting::planning::correction::{Bench, PartStock, corrected};
/// use heeltap::casting::planning::correction_view::CorrectionIn;
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
