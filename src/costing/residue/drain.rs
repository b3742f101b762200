//! What longer draining would save: grams and money for each minute more. Pure.
//!
//! Invariants: masses are rounded to the millionth of a gram before they are subtracted, so that what the minutes save
//! adds up; money is what the saved base and curing agent are worth, each half to even. Deliberately absent: what a
//! minute of bench time costs.

use serde::Serialize;
use utoipa::ToSchema;

use super::facts::PouredCast;
use crate::base::{Code, Error, Micro, MicroError, Money, Quantity, round_half_even_div};
use crate::casting::planning::geometry::{draining, tray_of};
use crate::casting::sums::learned::FactorPosterior;
use crate::casting::sums::residue::{CupDraining, drain_trade_off, solve_mix};
use crate::catalogue::{RatioBody, RecipeFacts};

/// How many minutes more are looked at.
pub const MINUTES_MORE: u32 = 10;

/// What longer draining would save for a recipe.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct DrainTime {
    /// The recipe's code.
    pub recipe: Code,
    /// The cup's code.
    pub cup: Code,
    /// The elastomer's code.
    pub elastomer: Code,
    /// How long the recipe lets the cup drain now, in s.
    pub drain_time_s: Micro,
    /// Casts of the recipe poured in the period.
    pub casts: usize,
    /// Cups of a cast: the mean of those casts' plans; 1 without a cast.
    pub cups_per_cast: Micro,
    /// What a cup has to give, in g: the mean over the cups of those casts' plans, or one tray with its allowance.
    pub needed_g: Micro,
    /// `casts` or `one_tray`.
    pub needed_basis: &'static str,
    /// Mean of the factor on the film, as learned so far.
    pub k_mean: Micro,
    /// What stays in a cup now, in g, without the stirrer's loss; absent when the cup cannot give what is needed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub residue_g: Option<Quantity>,
    /// What a gram of the mix is worth at the recipe's ratio; absent when a part was never received.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mix_value_per_g: Option<Money>,
    /// Where the value of a gram of each part comes from.
    pub price_basis: MixBasis,
    /// For each minute more, per cup.
    pub rows: Vec<DrainRow>,
    /// What to know of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A drain time and what it saves, per cup.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct DrainRow {
    /// How long the cup drains, in s.
    pub drain_time_s: Micro,
    /// What then stays in it, in g.
    pub residue_g: Quantity,
    /// What this minute saves, in g.
    pub saved_g: Quantity,
    /// What all minutes so far save, in g.
    pub saved_in_all_g: Quantity,
    /// What this minute's grams are worth.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub saved_value: Option<Money>,
    /// The sum of that over the minutes so far.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub saved_value_in_all: Option<Money>,
}

/// Where the value of each part comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct MixBasis {
    /// Of the base.
    pub base: PriceBasis,
    /// Of the curing agent.
    pub curing_agent: PriceBasis,
}

/// Where the value of a gram comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PriceBasis {
    /// The remaining value of all lots on hand over what they hold.
    OnHand,
    /// Nothing is on hand: the landed cost of the lot received last over what it held then.
    LastReceived,
    /// Never received.
    Unknown,
}

/// What a quantity of a part is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PartPrice {
    /// The value of `quantity`.
    pub value: Money,
    /// More than 0.
    pub quantity: Quantity,
    /// Where both come from.
    pub basis: PriceBasis,
}

/// What the parts of a mix are worth, and in which ratio they stand in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MixPrice {
    /// The base, if it was ever received.
    pub base: Option<PartPrice>,
    /// The curing agent, if it was ever received.
    pub curing_agent: Option<PartPrice>,
    /// Base to curing agent, by mass.
    pub ratio: RatioBody,
}

impl MixPrice {
    /// What `mix` is worth: its base and its curing agent (the rest), each at its own price, half to even.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves the range of money.
    ///
    /// ```
    /// use heeltap::base::{Micro, Money, Quantity};
    /// use heeltap::catalogue::RatioBody;
    /// use heeltap::costing::residue::drain::{MixPrice, PartPrice, PriceBasis};
    /// let part = |value, quantity| Some(PartPrice {
    ///     value: Money::from_int(value), quantity: Quantity::from_int(quantity), basis: PriceBasis::OnHand,
    /// });
    /// let ratio = RatioBody { base: Micro::from_int(10), curing_agent: Micro::from_int(1) };
    /// let price = MixPrice { base: part(100, 1000), curing_agent: part(20, 100), ratio };
    /// // 10 g of base at 0.1 and 1 g of curing agent at 0.2.
    /// assert_eq!(price.worth(Quantity::from_int(11))?, Some(Money::parse("1.2")?));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn worth(&self, mix: Quantity) -> Result<Option<Money>, Error> {
        let (Some(base), Some(agent)) = (&self.base, &self.curing_agent) else {
            return Ok(None);
        };
        let parts = self.ratio.base.checked_add(self.ratio.curing_agent)?;
        let of_base = mix.mul_div_half_even(self.ratio.base.micro(), parts.micro())?;
        let of_agent = mix.checked_sub(of_base)?;
        let value = base.worth(of_base)?.checked_add(agent.worth(of_agent)?)?;
        Ok(Some(value))
    }

    fn basis(&self) -> MixBasis {
        let of = |part: &Option<PartPrice>| part.map_or(PriceBasis::Unknown, |part| part.basis);
        MixBasis {
            base: of(&self.base),
            curing_agent: of(&self.curing_agent),
        }
    }
}

impl PartPrice {
    fn worth(&self, mass: Quantity) -> Result<Money, Error> {
        Ok(self
            .value
            .mul_div_half_even(mass.micro(), self.quantity.micro())?)
    }
}

/// What a cup of a recipe has to give.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UsualCup {
    /// Casts it is the mean of; 0 when it is one tray.
    pub casts: usize,
    /// Cups of a cast.
    pub cups_per_cast: Micro,
    /// What a cup has to give, in g.
    pub needed_g: Micro,
}

/// The mean over the planned cups of a recipe's casts, half to even; none when they planned no cup.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range.
///
/// ```
/// use heeltap::base::Code;
/// use heeltap::costing::residue::drain::usual_cup;
/// use heeltap::costing::residue::facts::PouredCast;
/// let plan = r#"{"batches": [{"needed_g": "40"}, {"needed_g": "41"}]}"#;
/// let cast = PouredCast::read((7, Code::parse("C-7").unwrap(), 3), "2026-03-02".parse().unwrap(), plan, "{}")?;
/// let cup = usual_cup(&[&cast])?.unwrap();
/// assert_eq!((cup.cups_per_cast.to_string(), cup.needed_g.to_string()), ("2".into(), "40.5".into()));
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn usual_cup(casts: &[&PouredCast]) -> Result<Option<UsualCup>, Error> {
    let needed = || casts.iter().flat_map(|cast| &cast.needed_g);
    let cups = needed().count() as i128;
    let sum: i128 = needed().map(|mass| i128::from(mass.micro())).sum();
    if cups == 0 {
        return Ok(None);
    }
    let one = i128::from(crate::base::MICRO_PER_UNIT);
    Ok(Some(UsualCup {
        casts: casts.len(),
        cups_per_cast: mean(cups * one, casts.len() as i128)?,
        needed_g: mean(sum, cups)?,
    }))
}

fn mean(sum: i128, count: i128) -> Result<Micro, Error> {
    round_half_even_div(sum, count)
        .and_then(|micro| i64::try_from(micro).ok())
        .map(Micro::from_micro)
        .ok_or_else(|| MicroError::Overflow.into())
}

/// One cup that fills one tray, by the geometry of tray and mould, with the recipe's allowance; none when it cannot be
/// filled so.
fn one_tray(facts: &RecipeFacts) -> Option<UsualCup> {
    let recipe = &facts.recipe.body;
    let fill = tray_of(facts)?
        .fill(recipe.chip_thickness_mm.to_f64())
        .ok()?;
    let needed_g = fill.volume_ml
        * facts.elastomer.body.density_g_per_ml.to_f64()
        * (1.0 + recipe.overfill().to_f64());
    Some(UsualCup {
        casts: 0,
        cups_per_cast: Micro::from_int(1),
        needed_g: Micro::from_f64_half_even(needed_g).ok()?,
    })
}

/// What [`MINUTES_MORE`] minutes more, one by one, would save for a recipe whose `casts` were poured in the period.
///
/// # Errors
/// [`Error::Invalid`] when a figure leaves its range.
///
/// ```
/// use heeltap::costing::residue::drain::{MixPrice, trade_off};
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// let price = MixPrice { base: None, curing_agent: None, ratio: facts.elastomer.body.ratio };
/// let prior = heeltap::casting::sums::learned::FactorPosterior::prior();
/// let drain = trade_off(&facts, &[], &prior, &price)?;
/// assert_eq!((drain.needed_basis, drain.rows.len()), ("one_tray", 10));
/// // A tray of 90 x 60 mm with 2 degrees of draft, filled 5.1 mm high, less 75 x 50 x 1.1 mm of mould and tape, at
/// // 1.03 g/mL with 5 % more.
/// assert_eq!(drain.needed_g.to_string(), "25.470903");
/// assert!(drain.rows[0].saved_g > drain.rows[9].saved_g);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn trade_off(
    facts: &RecipeFacts,
    casts: &[&PouredCast],
    factor: &FactorPosterior,
    price: &MixPrice,
) -> Result<DrainTime, Error> {
    let (usual, needed_basis) = match usual_cup(casts)? {
        Some(usual) => (Some(usual), "casts"),
        None => (one_tray(facts), "one_tray"),
    };
    let one_gram = Quantity::from_int(1);
    let mut shown = DrainTime {
        recipe: facts.recipe.code.clone(),
        cup: facts.cup.code.clone(),
        elastomer: facts.elastomer.code.clone(),
        drain_time_s: facts.recipe.body.drain_time_s,
        casts: usual.map_or(0, |usual| usual.casts),
        cups_per_cast: usual.map_or(Micro::ZERO, |usual| usual.cups_per_cast),
        needed_g: usual.map_or(Micro::ZERO, |usual| usual.needed_g),
        needed_basis,
        k_mean: Micro::from_f64_half_even(factor.mean)?,
        residue_g: None,
        mix_value_per_g: price.worth(one_gram)?,
        price_basis: price.basis(),
        rows: Vec::new(),
        note: None,
    };
    let (Some(usual), Some(cup)) = (usual, draining(facts)) else {
        shown.note =
            Some("the recipe cannot be filled as it stands: plan it to see why".to_owned());
        return Ok(shown);
    };
    match drain_trade_off(
        usual.needed_g.to_f64(),
        &cup,
        factor.mean.max(0.0),
        MINUTES_MORE,
    ) {
        Ok(rows) => {
            shown.residue_g = rows
                .first()
                .map(|row| Quantity::from_f64_half_even(row.residue_g))
                .transpose()?;
            shown.rows = priced(&rows, price)?;
            let pot_life_s = 60.0 * facts.elastomer.body.pot_life_min.to_f64();
            let late = rows.last().is_some_and(|row| row.drain_time_s > pot_life_s);
            shown.note = late.then(|| {
                format!(
                    "after its pot life of {} min the mix drains no more: the later lines do not hold",
                    facts.elastomer.body.pot_life_min
                )
            });
        }
        Err(error) => shown.note = Some(error.to_string()),
    }
    Ok(shown)
}

/// What would stay in a cup of the recipe at a quarter, half and three quarters of its drain time, beside what [`trade_off`]
/// says of longer draining: drain time in s and residue in g. A time at which the cup could not give what is needed is left
/// out.
///
/// # Errors
/// [`Error::Invalid`] when a figure leaves its range.
///
/// ```
/// use heeltap::costing::residue::drain::{MixPrice, shorter, trade_off};
/// # let facts = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let facts: heeltap::catalogue::RecipeFacts = serde_json::from_str(facts).unwrap();
/// let price = MixPrice { base: None, curing_agent: None, ratio: facts.elastomer.body.ratio };
/// let prior = heeltap::casting::sums::learned::FactorPosterior::prior();
/// let drain = trade_off(&facts, &[], &prior, &price)?;
/// let points = shorter(&facts, &drain)?;
/// assert_eq!(points.len(), 3);
/// // A film thins with the root of the time: a quarter of it leaves about twice as much, a little more as more is mixed.
/// let (quarter, now) = (points[0].1.to_f64(), drain.residue_g.unwrap().to_f64());
/// assert!((2.0..2.3).contains(&(quarter / now)), "{}", quarter / now);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn shorter(facts: &RecipeFacts, drain: &DrainTime) -> Result<Vec<(Micro, Quantity)>, Error> {
    let Some(cup) = draining(facts).filter(|_| drain.residue_g.is_some()) else {
        return Ok(Vec::new());
    };
    let mut points = Vec::new();
    for share in [0.25, 0.5, 0.75] {
        let drain_time_s = cup.drain_time_s * share;
        let sooner = CupDraining {
            drain_time_s,
            ..cup
        };
        let factor = drain.k_mean.to_f64().max(0.0);
        if let Ok(mix) = solve_mix(drain.needed_g.to_f64(), &sooner, factor) {
            points.push((
                Micro::from_f64_half_even(drain_time_s)?,
                Quantity::from_f64_half_even(mix.residue_g)?,
            ));
        }
    }
    Ok(points)
}

/// The lines after the first, which is the recipe as it stands.
fn priced(
    rows: &[crate::casting::sums::residue::DrainRow],
    price: &MixPrice,
) -> Result<Vec<DrainRow>, Error> {
    let mut shown: Vec<DrainRow> = Vec::with_capacity(rows.len());
    let Some((now, later)) = rows.split_first() else {
        return Ok(shown);
    };
    let now_g = Quantity::from_f64_half_even(now.residue_g)?;
    let (mut before_g, mut in_all) = (now_g, Some(Money::ZERO));
    for row in later {
        let residue_g = Quantity::from_f64_half_even(row.residue_g)?;
        let saved_g = before_g.checked_sub(residue_g)?;
        let saved_value = price.worth(saved_g)?;
        in_all = match (in_all, saved_value) {
            (Some(sum), Some(value)) => Some(sum.checked_add(value)?),
            _ => None,
        };
        shown.push(DrainRow {
            drain_time_s: Micro::from_f64_half_even(row.drain_time_s)?,
            residue_g,
            saved_g,
            saved_in_all_g: now_g.checked_sub(residue_g)?,
            saved_value,
            saved_value_in_all: in_all,
        });
        before_g = residue_g;
    }
    Ok(shown)
}
