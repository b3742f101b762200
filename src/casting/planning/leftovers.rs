//! What a plan leaves in the stock: packs that it empties, and kits whose parts it drains unevenly. Pure.
//!
//! A kit is matched by its maker for the nominal ratio. Mixing softer or stiffer takes more of one part, and what is then
//! left of the other has no partner: usable mix = min(base (1 + 1/r), agent (1 + r)), with r the nominal ratio base : agent;
//! the rest is stranded. Source: the mass balance of the two parts. Deliberately absent: what to do with it (reorder).

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::geometry::durable;
use super::mixing::{mass_ratio, ratio_of};
use super::plan::{PlanFacts, code_of};
use super::sizing::rounded;
use crate::base::{Error, Micro, Quantity};
use crate::catalogue::RecipeFacts;
use crate::stock::needs::Purpose;
use crate::stock::picking::PickList;
use crate::stock::shelf::PackFacts;

/// A pack of which nothing that pours is left.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct EmptiedView {
    /// The material's code.
    pub material: String,
    /// The lot code.
    pub lot: String,
    /// The lot's id.
    pub lot_id: i64,
    /// The pack's id.
    pub pack_id: i64,
    /// Whether every pack of the lot is then empty.
    pub whole_lot: bool,
}

/// The part of a kit of which some has no partner.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = StrandedKitPart)]
pub enum StrandedPart {
    /// The base.
    Base,
    /// The curing agent.
    CuringAgent,
}

/// What is left of a kit lot after the cast, promises to other casts not counted as taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct KitBalance {
    /// The kit lot code.
    pub kit_lot: String,
    /// Base left, in g.
    pub base_left_g: Quantity,
    /// Curing agent left, in g.
    pub curing_agent_left_g: Quantity,
    /// Mix at the maker's ratio that these give, in g.
    pub usable_mix_g: Micro,
    /// The part of which some has no partner then.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stranded_part: Option<StrandedPart>,
    /// How much of it, in g.
    pub stranded_g: Micro,
    /// How much of the same part had no partner before the cast, in g.
    pub stranded_before_g: Micro,
}

/// What has no partner when so much of both parts is there at a nominal ratio base : agent: the part and its mass.
///
/// ```
/// use heeltap::casting::planning::leftovers::{StrandedPart, stranded};
/// let (part, mass_g) = stranded(500.0, 40.0, 10.0).unwrap();
/// assert_eq!((part, mass_g), (StrandedPart::Base, 100.0));
/// assert!(stranded(400.0, 40.0, 10.0).is_none());
/// ```
#[must_use]
pub fn stranded(base_g: f64, curing_agent_g: f64, ratio: f64) -> Option<(StrandedPart, f64)> {
    let base_over_g = base_g - ratio * curing_agent_g;
    // A millionth of a gram is only rounding.
    if base_over_g > 1e-6 {
        Some((StrandedPart::Base, base_over_g))
    } else if base_over_g < -1e-6 * ratio {
        Some((StrandedPart::CuringAgent, -base_over_g / ratio))
    } else {
        None
    }
}

/// Mix at a nominal ratio base : agent that so much of both parts gives, in grams.
///
/// ```
/// use heeltap::casting::planning::leftovers::usable_mix_g;
/// assert_eq!(usable_mix_g(500.0, 40.0, 10.0), 440.0);
/// ```
#[must_use]
pub fn usable_mix_g(base_g: f64, curing_agent_g: f64, ratio: f64) -> f64 {
    (base_g * (1.0 + ratio.recip())).min(curing_agent_g * (1.0 + ratio))
}

/// The packs that the picks leave nothing in but the heel.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of quantities.
pub(super) fn emptied(facts: &PlanFacts, list: &PickList) -> Result<Vec<EmptiedView>, Error> {
    let taken = taken(facts, list)?;
    let kept: BTreeSet<i64> = [
        (Purpose::Container, facts.recipe.container.id),
        (Purpose::Cup, facts.recipe.cup.id),
    ]
    .into_iter()
    .filter(|(purpose, _)| durable(&facts.recipe, *purpose).is_some())
    .map(|(_, material_id)| material_id)
    .collect();
    let is_empty = |pack: &PackFacts| {
        let gone = taken.get(&pack.pack_id).copied().unwrap_or(Quantity::ZERO);
        pack.pourable() <= gone
    };
    Ok(facts
        .shelf
        .iter()
        .filter(|pack| taken.contains_key(&pack.pack_id))
        .filter(|pack| !kept.contains(&pack.material_id) && is_empty(pack))
        .map(|pack| EmptiedView {
            material: code_of(facts, pack.material_id),
            lot: pack.lot_code.clone(),
            lot_id: pack.lot_id,
            pack_id: pack.pack_id,
            whole_lot: facts
                .shelf
                .iter()
                .filter(|other| other.lot_id == pack.lot_id)
                .all(is_empty),
        })
        .collect())
}

fn taken(facts: &PlanFacts, list: &PickList) -> Result<BTreeMap<i64, Quantity>, Error> {
    let mut taken: BTreeMap<i64, Quantity> = BTreeMap::new();
    for picked in &list.picks {
        let sum = taken
            .entry(facts.shelf[picked.pack].pack_id)
            .or_insert(Quantity::ZERO);
        *sum = sum.checked_add(picked.quantity)?;
    }
    Ok(taken)
}

/// What is left of each kit lot that the picks take elastomer from.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of quantities.
pub(super) fn kit_balances(facts: &PlanFacts, list: &PickList) -> Result<Vec<KitBalance>, Error> {
    let taken = taken(facts, list)?;
    let recipe = &facts.recipe;
    let ratio = ratio_of(&recipe.elastomer.body.ratio)?.value();
    let parts = [recipe.base.id, recipe.curing_agent.id];
    let of_kit = |pack: &&PackFacts| parts.contains(&pack.material_id);
    let kits: BTreeSet<&String> = facts
        .shelf
        .iter()
        .filter(of_kit)
        .filter(|pack| taken.contains_key(&pack.pack_id))
        .filter_map(|pack| pack.kit_lot.as_ref())
        .collect();
    let mut balances = Vec::new();
    for kit_lot in kits {
        let sum = |material: i64, less_taken: bool| {
            let left = facts
                .shelf
                .iter()
                .filter(|pack| {
                    pack.material_id == material && pack.kit_lot.as_ref() == Some(kit_lot)
                })
                .map(|pack| {
                    let gone = taken.get(&pack.pack_id).filter(|_| less_taken);
                    let gone = gone.map_or(0, |gone| gone.micro());
                    Quantity::from_micro((pack.pourable().micro() - gone).max(0))
                });
            Quantity::checked_sum(left)
        };
        let (base_left, agent_left) = (sum(parts[0], true)?, sum(parts[1], true)?);
        let (base_was, agent_was) = (sum(parts[0], false)?, sum(parts[1], false)?);
        let (base_g, agent_g) = (base_left.to_f64(), agent_left.to_f64());
        let after = stranded(base_g, agent_g, ratio);
        let before = stranded(base_was.to_f64(), agent_was.to_f64(), ratio)
            .filter(|(part, _)| after.is_some_and(|(now, _)| now == *part));
        balances.push(KitBalance {
            kit_lot: kit_lot.clone(),
            base_left_g: base_left,
            curing_agent_left_g: agent_left,
            usable_mix_g: rounded(usable_mix_g(base_g, agent_g, ratio))?,
            stranded_part: after.map(|(part, _)| part),
            stranded_g: rounded(after.map_or(0.0, |(_, mass_g)| mass_g))?,
            stranded_before_g: rounded(before.map_or(0.0, |(_, mass_g)| mass_g))?,
        });
    }
    Ok(balances)
}

impl KitBalance {
    /// What to say when a mix at another ratio than the maker's leaves more of one part without a partner.
    ///
    /// Only a recipe that mixes at another ratio is told: at the maker's own, rounding alone moves the balance.
    ///
    /// ```
    /// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
    /// # let mut facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
    /// use heeltap::casting::planning::leftovers::KitBalance;
    /// let kit: KitBalance = serde_json::from_value(serde_json::json!({
    ///     "kit_lot": "K1", "base_left_g": "900", "curing_agent_left_g": "95", "usable_mix_g": "990",
    ///     "stranded_part": "curing_agent", "stranded_g": "5", "stranded_before_g": "0"
    /// }))?;
    /// assert!(kit.caution(&facts).is_none());
    /// // Softer than the maker's 10 : 1.
    /// facts.recipe.body.ratio = serde_json::from_value(serde_json::json!({"base": "20", "curing_agent": "1"}))?;
    /// assert!(kit.caution(&facts).unwrap().contains("5 g of curing agent will have no partner"));
    /// # Ok::<(), serde_json::Error>(())
    /// ```
    #[must_use]
    pub fn caution(&self, facts: &RecipeFacts) -> Option<String> {
        let nominal = ratio_of(&facts.elastomer.body.ratio).ok()?.value();
        let ratio = mass_ratio(facts).ok()?.value();
        let part = match self.stranded_part? {
            StrandedPart::Base => "base",
            StrandedPart::CuringAgent => "curing agent",
        };
        let other_ratio = (ratio / nominal - 1.0).abs() > 1e-9;
        (other_ratio && self.stranded_g > self.stranded_before_g).then(|| {
            format!(
                "mixing at {ratio:.3} : 1 drains kit lot {} unevenly: {} g of {part} will have no partner ({} g before)",
                self.kit_lot, self.stranded_g, self.stranded_before_g
            )
        })
    }
}
