//! The plan of a cast: everything it needs, computed from loaded facts, nothing written.
//!
//! Decide, then act: [`plan`] is a pure function; booking writes what it decided and decides nothing itself.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::charging::{ChargedGrant, charge_warnings, planned_shares};
use super::coating::coats_pass;
use super::cure::{cure_cautions, cure_view};
use super::day::{DayFacts, day_caution, day_view};
use super::leftovers::{emptied, kit_balances};
use super::mixing::{HeadRoomView, head_room_view, mix_view};
use super::plan_view::{
    BatchView, CastPlan, FillView, LoadView, PassedOver, PickView, ReleaseView, ResidueView,
    ShortageView, TapeView,
};
use super::request::PlanRequest;
use super::sizing::{Experience, SizeWish, Sizing, basis_word, rounded, size};
use crate::base::{Code, Currency, Error, Money, Quantity};
use crate::casting::cost::{Component, Components, CostView};
use crate::casting::sums::coats::drawn;
use crate::casting::sums::learned::FactorPosterior;
use crate::casting::sums::pool::PoolState;
use crate::casting::sums::split::split_mix;
use crate::casting::sums::yields::{ChipCount, DEFAULT_PROBABILITY, YieldPosterior, trays_for};
use crate::catalogue::{Entry, MaterialBody, RecipeFacts};
use crate::stock::needs::{Need, Purpose};
use crate::stock::picking::{PickList, PickRules, pick};
use crate::stock::shelf::PackFacts;

/// What is on order of a material.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct OnOrder {
    /// How much.
    pub quantity: Quantity,
    /// When the first of it is expected.
    pub arrives_on: Option<NaiveDate>,
}

/// Everything a plan is made of.
#[derive(Debug, Clone)]
pub struct PlanFacts {
    /// The recipe with all it names.
    pub recipe: RecipeFacts,
    /// What the lab has learned.
    pub experience: Experience,
    /// The yield of the recipe.
    pub yields: YieldPosterior,
    /// Every pack in stock of the materials needed.
    pub shelf: Vec<PackFacts>,
    /// The grants charged.
    pub grants: Vec<ChargedGrant>,
    /// The mould's cost pool.
    pub mold_pool: PoolState,
    /// What is on order, by material.
    pub on_order: BTreeMap<i64, OnOrder>,
    /// Later casts that hold a material, by material: their codes.
    pub later_holders: BTreeMap<i64, Vec<String>>,
    /// The base currency.
    pub currency: Currency,
    /// The other casts of the day.
    pub day: DayFacts,
}

impl PlanFacts {
    /// The facts of a recipe in a lab that has nothing in stock and has cast nothing yet, with a working day of eight hours.
    ///
    /// ```
    /// use heeltap::casting::planning::plan::PlanFacts;
    /// let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
    /// let euro = heeltap::base::Currency::parse("EUR").unwrap();
    /// assert!(PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro).shelf.is_empty());
    /// ```
    #[must_use]
    pub fn bare(recipe: RecipeFacts, currency: Currency) -> Self {
        Self {
            recipe,
            experience: Experience {
                residue: FactorPosterior::prior(),
                fill_factors: Vec::new(),
                coats: Vec::new(),
            },
            yields: YieldPosterior::from_history(ChipCount::default(), ChipCount::default()),
            shelf: Vec::new(),
            grants: Vec::new(),
            mold_pool: PoolState::default(),
            on_order: BTreeMap::new(),
            later_holders: BTreeMap::new(),
            currency,
            day: DayFacts {
                working_min: 480,
                others: Vec::new(),
            },
        }
    }

    /// Whether a pack is common stock or was paid for by a grant that is charged.
    pub(super) fn own(&self, pack: &PackFacts) -> bool {
        let charged = |id| self.grants.iter().any(|grant| grant.id == id);
        pack.funded_by_id.is_none_or(charged)
    }
}

/// A plan with what booking needs besides what is shown.
#[derive(Debug, Clone)]
pub struct Planned {
    /// What is shown and kept.
    pub view: CastPlan,
    /// The sums.
    pub sizing: Sizing,
    /// The packs.
    pub list: PickList,
}

/// Plans a cast.
///
/// # Errors
/// [`Error::Invalid`] when the request makes no sense or the recipe cannot be cast so.
///
/// ```
/// # use heeltap::casting::planning::plan::{PlanFacts, plan};
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// let request = r#"{"recipe": "chip", "containers": 3, "cast_on": "2026-03-02"}"#;
/// let planned = plan(&facts, &serde_json::from_str(request).unwrap())?.view;
/// assert_eq!((planned.chips, planned.rounds), (12, 2)); // Three trays of four chips on two copies of the mould.
/// assert_eq!(planned.largest_bookable, 0, "nothing is in stock");
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn plan(facts: &PlanFacts, request: &PlanRequest) -> Result<Planned, Error> {
    request.check()?;
    let containers = trays(facts, request)?;
    let groups = request.groups.unwrap_or(1);
    if groups > containers {
        return Err(Error::invalid(
            "/groups",
            format!("{groups} groups cannot share {containers} trays: at most one group a tray"),
        ));
    }
    let sized = |containers: u32| sizing_of(facts, request, containers);
    let sizing = sized(containers)?;
    let rules = PickRules {
        day: request.cast_on,
        grants: facts.grants.iter().map(|grant| grant.id).collect(),
        allow_mixed_kits: request.allow_mixed_kits,
        allow_cross_charge: request.allow_cross_charge,
    };
    let mut shelf = facts.shelf.clone();
    let list = pick(&mut shelf, &sizing.needs, &rules);
    let largest_bookable = largest(facts, &rules, containers, list.unserved.is_empty(), &sized);
    let expected_good = facts
        .yields
        .expected_good(containers, facts.recipe.mold.body.chips);
    let cost = planned_cost(facts, &sizing, &list)?;
    let expected_good = rounded(expected_good)?;
    let shares = planned_shares(cost.total()?, &facts.grants)?;
    let cure = cure_view(&facts.recipe)?;
    let mut cautions = cautions(facts, &sizing, &list);
    let day = day_view(&facts.recipe, containers, &facts.day)?;
    let kits = kit_balances(facts, &list)?;
    let head_room = head_room_view(&facts.recipe, &sizing)?;
    let foam = head_room.iter().filter_map(HeadRoomView::caution);
    let uneven = kits.iter().filter_map(|kit| kit.caution(&facts.recipe));
    cautions.splice(0..0, foam.chain(uneven));
    let early = cure.iter().flat_map(cure_cautions);
    cautions.splice(0..0, early.chain(day.iter().filter_map(day_caution)));
    let view = CastPlan {
        recipe: facts.recipe.recipe.code.clone(),
        containers,
        cast_on: request.cast_on,
        chips: containers * facts.recipe.mold.body.chips,
        expected_good_chips: expected_good,
        rounds: sizing.rounds,
        fill: fill_view(&sizing)?,
        residue: residue_view(&sizing)?,
        mix: mix_view(&facts.recipe, &sizing)?,
        head_room,
        batches: batch_views(facts, &sizing)?,
        tape: tape_view(&sizing)?,
        release: sizing.release.as_ref().map(|coats| ReleaseView {
            needed: coats.vials > 0,
            vials: coats.vials,
            coatings: coats.coatings,
            before_casting: coats.before_casting,
            during_casting: coats.during_casting,
            loads: coats.loads.iter().map(LoadView::of).collect(),
        }),
        cure,
        day,
        picks: pick_views(facts, &sizing, &list),
        passed_over: passed_over(facts, &list),
        empties: emptied(facts, &list)?,
        kits,
        shortages: shortages(facts, &list),
        largest_bookable,
        cost: CostView::new(&cost, facts.currency.as_str(), "planned", expected_good)?,
        charge_warnings: charge_warnings(request.cast_on, &shares)?,
        cautions,
    };
    Ok(Planned { view, sizing, list })
}

fn trays(facts: &PlanFacts, request: &PlanRequest) -> Result<u32, Error> {
    match (request.containers, request.good_chips_wanted) {
        (Some(containers), _) => Ok(containers),
        (None, Some(wanted)) => trays_for(
            &facts.yields,
            wanted,
            facts.recipe.mold.body.chips,
            DEFAULT_PROBABILITY,
        )
        .map(|needed| needed.trays)
        .map_err(|e| Error::invalid("/good_chips_wanted", e.to_string())),
        (None, None) => Err(Error::invalid(
            "/containers",
            "give either `containers` or `good_chips_wanted`",
        )),
    }
}

fn sizing_of(facts: &PlanFacts, request: &PlanRequest, containers: u32) -> Result<Sizing, Error> {
    let quantile = request
        .residue_quantile
        .unwrap_or_else(|| facts.recipe.recipe.body.residue_quantile())
        .to_f64();
    let wish = SizeWish {
        containers,
        groups: request.groups.unwrap_or(1).min(containers),
        containers_per_batch: request.containers_per_batch,
        quantile,
        heat_override: request.heat_override_reason.as_deref(),
    };
    size(&facts.recipe, &facts.experience, &wish)
}

/// The largest number of trays that the stock serves: more than asked are not looked for.
fn largest(
    facts: &PlanFacts,
    rules: &PickRules,
    asked: u32,
    served: bool,
    sized: &dyn Fn(u32) -> Result<Sizing, Error>,
) -> u32 {
    if served {
        return asked;
    }
    let fits = |containers: u32| {
        let Ok(sizing) = sized(containers) else {
            return false;
        };
        pick(&mut facts.shelf.clone(), &sizing.needs, rules)
            .unserved
            .is_empty()
    };
    // More trays never need less, so the largest number that fits is found by halving.
    let (mut low, mut high) = (0, asked);
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if fits(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

/// What a quantity of a pack is worth at its lot's price, rounded half to even.
pub(in crate::casting) fn worth(pack: &PackFacts, quantity: Quantity) -> Result<Money, Error> {
    if pack.lot_on_hand == Quantity::ZERO {
        return Ok(Money::ZERO);
    }
    Ok(pack
        .lot_value
        .mul_div_half_even(quantity.micro(), pack.lot_on_hand.micro())?)
}

fn planned_cost(facts: &PlanFacts, sizing: &Sizing, list: &PickList) -> Result<Components, Error> {
    let mut components = Components::default();
    let mut elastomer: BTreeMap<i32, Money> = BTreeMap::new();
    let mut vials = Money::ZERO;
    for picked in &list.picks {
        let (need, pack) = (&sizing.needs[picked.need], &facts.shelf[picked.pack]);
        let value = worth(pack, picked.quantity)?;
        match need.purpose {
            Purpose::Base | Purpose::CuringAgent => {
                let sum = elastomer.entry(need.batch_no).or_insert(Money::ZERO);
                *sum = sum.checked_add(value)?;
            }
            Purpose::Release => vials = vials.checked_add(value)?,
            Purpose::Tape => components.add(Component::Tape, value)?,
            Purpose::Container => components.add(
                Component::Container,
                durable(value, &facts.recipe.container.body),
            )?,
            Purpose::Cup => {
                components.add(Component::Cup, durable(value, &facts.recipe.cup.body))?
            }
            Purpose::Sundry => components.add(Component::Sundries, value)?,
        }
    }
    for (batch_no, batch) in (1..).zip(&sizing.batches) {
        let value = elastomer.get(&batch_no).copied().unwrap_or(Money::ZERO);
        let trays = f64::from(batch.containers);
        let shares = split_mix(
            sizing.chip_g * trays,
            (sizing.fill_g - sizing.chip_g) * trays,
            batch.mix.total_g,
            batch.residue_g,
        )
        .map_err(|e| Error::invalid("/recipe", e.to_string()))?;
        components.add_elastomer(value, &shares, false)?;
    }
    let casts = i64::from(sizing.containers);
    let steps = coats_pass(
        &facts.recipe,
        &mut facts.experience.coats.clone(),
        sizing.containers,
        sizing.release.as_ref(),
        vials,
    )?;
    components.add(Component::Release, drawn(&steps)?)?;
    components.add(Component::Mold, facts.mold_pool.clone().issue(casts)?.value)?;
    Ok(components)
}

/// A durable gives up one use's share of its value; what is used up gives up all.
fn durable(value: Money, material: &crate::catalogue::MaterialBody) -> Money {
    let uses = material
        .container
        .as_ref()
        .map_or(1, crate::catalogue::VesselBody::rated_uses);
    value
        .mul_div_half_even(1, i64::from(uses.max(1)))
        .unwrap_or(value)
}

fn fill_view(sizing: &Sizing) -> Result<FillView, Error> {
    Ok(FillView {
        level_mm: rounded(sizing.fill.level_mm)?,
        volume_ml: rounded(sizing.fill.volume_ml * sizing.fill_factor.factor)?,
        mass_g: rounded(sizing.fill_g)?,
        chip_g: rounded(sizing.chip_g)?,
        basis: basis_word(sizing.fill_factor.basis).to_owned(),
        factor: rounded(sizing.fill_factor.factor)?,
    })
}

fn residue_view(sizing: &Sizing) -> Result<ResidueView, Error> {
    let found = &sizing.residue;
    Ok(ResidueView {
        expected_g: rounded(found.prediction.expected_g)?,
        planned_g: rounded(found.prediction.planned_g)?,
        quantile: rounded(sizing.residue_quantile)?,
        basis: if found.observations > 0 {
            "learned"
        } else {
            "film"
        }
        .to_owned(),
        k_mean: rounded(found.factor_mean)?,
        k_sd: rounded(found.factor_sd)?,
        observations: found.observations,
    })
}

fn batch_views(facts: &PlanFacts, sizing: &Sizing) -> Result<Vec<BatchView>, Error> {
    (1..)
        .zip(&sizing.batches)
        .map(|(no, batch)| {
            Ok(BatchView {
                no,
                cup: facts.recipe.cup.code.clone(),
                round: batch.round,
                group: batch.group,
                containers: batch.containers,
                base_g: rounded(batch.mix.base_g)?,
                curing_agent_g: rounded(batch.mix.curing_agent_g)?,
                total_g: rounded(batch.mix.total_g)?,
                needed_g: rounded(batch.needed_g)?,
                film_g: rounded(batch.film_g)?,
                residue_g: rounded(batch.residue_g)?,
            })
        })
        .collect()
}

fn tape_view(sizing: &Sizing) -> Result<Option<TapeView>, Error> {
    let Some((cut, setups)) = &sizing.tape else {
        return Ok(None);
    };
    Ok(Some(TapeView {
        strips: cut.strips * setups,
        strip_length_mm: rounded(cut.strip_length_mm)?,
        total_m: rounded(
            cut.strip_length_mm * f64::from(cut.strips) * f64::from(*setups) / 1000.0,
        )?,
        offcut_share: rounded(cut.offcut_share)?,
        setups: *setups,
    }))
}

/// The materials that a recipe names.
fn named(recipe: &RecipeFacts) -> impl Iterator<Item = &Entry<MaterialBody>> {
    let always = [
        &recipe.base,
        &recipe.curing_agent,
        &recipe.container,
        &recipe.cup,
    ];
    let extras = recipe.extras.iter().map(|(entry, _)| entry);
    always
        .into_iter()
        .chain(&recipe.tape)
        .chain(&recipe.release_agent)
        .chain(extras)
}

/// The code of a material that the recipe names.
pub(super) fn code_of(facts: &PlanFacts, material_id: i64) -> String {
    named(&facts.recipe)
        .find(|entry| entry.id == material_id)
        .map(|entry| entry.code.to_string())
        .unwrap_or_default()
}

/// The id of a material that the recipe names; none when it does not.
pub(super) fn id_of(facts: &PlanFacts, code: &Code) -> Option<i64> {
    let found = named(&facts.recipe).find(|entry| entry.code == *code);
    found.map(|entry| entry.id)
}

fn pick_views(facts: &PlanFacts, sizing: &Sizing, list: &PickList) -> Vec<PickView> {
    list.picks
        .iter()
        .map(|picked| {
            let (need, pack): (&Need, &PackFacts) =
                (&sizing.needs[picked.need], &facts.shelf[picked.pack]);
            PickView {
                material: code_of(facts, need.material_id),
                purpose: need.purpose,
                batch: need.batch_no,
                lot: pack.lot_code.clone(),
                lot_id: pack.lot_id,
                pack_id: pack.pack_id,
                pack_no: pack.no,
                quantity: picked.quantity,
                expires_on: pack.effective_expiry(),
                why: picked.why.clone(),
            }
        })
        .collect()
}

fn passed_over(facts: &PlanFacts, list: &PickList) -> Vec<PassedOver> {
    list.passed_over
        .iter()
        .map(|(index, why)| {
            let pack = &facts.shelf[*index];
            PassedOver {
                material: code_of(facts, pack.material_id),
                lot: pack.lot_code.clone(),
                lot_id: pack.lot_id,
                pack_id: pack.pack_id,
                why: why.clone(),
            }
        })
        .collect()
}

fn shortages(facts: &PlanFacts, list: &PickList) -> Vec<ShortageView> {
    list.shortfalls
        .iter()
        .map(|short| {
            let on_order = facts
                .on_order
                .get(&short.material_id)
                .cloned()
                .unwrap_or_default();
            ShortageView {
                material: code_of(facts, short.material_id),
                needed: short.needed,
                available: short.available,
                on_order: on_order.quantity,
                arrives_on: on_order.arrives_on,
                held_by_later: facts
                    .later_holders
                    .get(&short.material_id)
                    .cloned()
                    .unwrap_or_default(),
                hint: short.hint.clone(),
            }
        })
        .collect()
}

fn cautions(facts: &PlanFacts, sizing: &Sizing, list: &PickList) -> Vec<String> {
    let mut all = sizing.cautions.clone();
    if list.mixed_kits {
        all.push("base and curing agent of a batch come from different kit lots: the maker matched neither to the other".to_owned());
    }
    let picked = list.picks.iter();
    if !picked
        .map(|picked| &facts.shelf[picked.pack])
        .all(|pack| facts.own(pack))
    {
        all.push("stock that another grant paid for is used and will be cross-charged".to_owned());
    }
    all.extend(super::bench_cautions::cautions(
        &facts.recipe,
        sizing.release.as_ref().is_some_and(|coats| coats.vials > 0),
    ));
    all
}
