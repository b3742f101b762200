//! Variations: the facts of a plan with one thing changed. Pure; each returns whole facts, on which the plan is made as
//! ever.
//!
//! Deliberately absent: what the variation costs (`what_ifs`), and where another tray's facts come from.

use super::plan::{OnOrder, PlanFacts};
use crate::base::{Error, FieldError, MICRO_PER_UNIT, Micro};
use crate::casting::sums::yields::YieldPosterior;
use crate::catalogue::{Entry, MaterialBody};
use crate::stock::shelf::PackFacts;

/// The facts when a cup drains for `drain_time_s` seconds.
///
/// # Errors
/// [`Error::Invalid`] at the empty pointer when no recipe may drain so long.
///
/// ```
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = heeltap::casting::planning::plan::PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// use heeltap::base::Micro;
/// use heeltap::casting::planning::variations::drained;
/// assert_eq!(drained(&facts, Micro::from_int(90))?.recipe.recipe.body.drain_time_s, Micro::from_int(90));
/// assert!(drained(&facts, Micro::ZERO).is_err());
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn drained(facts: &PlanFacts, drain_time_s: Micro) -> Result<PlanFacts, Error> {
    let mut varied = facts.clone();
    varied.recipe.recipe.body.drain_time_s = drain_time_s;
    let fault = varied.recipe.recipe.body.check();
    let fault = fault
        .into_iter()
        .find(|fault| fault.pointer == "/drain_time_s");
    match fault {
        Some(fault) => Err(FieldError::new("", fault.detail).into()),
        None => Ok(varied),
    }
}

/// Another tray: the material, its packs, and what of it is on order.
#[derive(Debug, Clone)]
pub struct OtherTray {
    /// The material.
    pub material: Entry<MaterialBody>,
    /// Every pack of it in stock.
    pub shelf: Vec<PackFacts>,
    /// What is on order.
    pub on_order: Option<OnOrder>,
}

/// The facts when the moulds are cast in another tray.
///
/// What was gauged or seen of the level was so in the recipe's own tray, and says nothing of another: its fill is that of
/// its dimensions.
///
/// ```
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = heeltap::casting::planning::plan::PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// use heeltap::casting::planning::variations::{OtherTray, in_tray};
/// let mut material = facts.recipe.container.clone();
/// (material.id, material.code) = (99, "tray-b".parse().unwrap());
/// let varied = in_tray(&facts, &OtherTray { material, shelf: vec![], on_order: None });
/// assert_eq!(varied.recipe.recipe.body.container.as_str(), "tray-b");
/// ```
#[must_use]
pub fn in_tray(facts: &PlanFacts, tray: &OtherTray) -> PlanFacts {
    let mut varied = facts.clone();
    if tray.material.id == facts.recipe.container.id {
        return varied;
    }
    varied.recipe.recipe.body.container = tray.material.code.clone();
    varied.recipe.recipe.body.gauge = None;
    varied.recipe.container = tray.material.clone();
    varied.experience.fill_factors.clear();
    // It may be in the facts already, as the cup.
    if !varied
        .shelf
        .iter()
        .any(|pack| pack.material_id == tray.material.id)
    {
        varied.shelf.extend(tray.shelf.iter().cloned());
    }
    if let Some(on_order) = &tray.on_order {
        varied.on_order.insert(tray.material.id, on_order.clone());
    }
    varied
}

/// The facts when a material had cost a share more, or less: `change` of 0.10 is a tenth more. What a lot is worth is
/// rounded to the millionth, half to even. Coats that stand and the mould were paid for before, and stay.
///
/// # Errors
/// [`Error::Invalid`] when a lot's worth leaves the range of money.
///
/// ```
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = heeltap::casting::planning::plan::PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// use heeltap::base::Micro;
/// use heeltap::casting::planning::variations::priced;
/// assert!(priced(&facts, 10, Micro::parse("0.10")?)?.shelf.is_empty());
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn priced(facts: &PlanFacts, material_id: i64, change: Micro) -> Result<PlanFacts, Error> {
    let mut varied = facts.clone();
    let factor = Micro::from_int(1).checked_add(change)?.micro();
    for pack in &mut varied.shelf {
        if pack.material_id == material_id {
            pack.lot_value = pack.lot_value.mul_div_half_even(factor, MICRO_PER_UNIT)?;
        }
    }
    Ok(varied)
}

/// The facts when a share `mean` of the chips is good, above 0 and below 1, known as well as the recipe's own yield is:
/// trays differ from each other as much as it lets expect.
///
/// ```
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = heeltap::casting::planning::plan::PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// use heeltap::base::Micro;
/// use heeltap::casting::planning::variations::yielding;
/// let half = yielding(&facts, Micro::parse("0.5")?);
/// assert_eq!((half.yields.good, half.yields.rejected), (5.0, 5.0)); // Instead of 9 and 1.
/// # Ok::<(), heeltap::base::Error>(())
/// ```
#[must_use]
pub fn yielding(facts: &PlanFacts, mean: Micro) -> PlanFacts {
    let (share, weight) = (mean.to_f64(), facts.yields.good + facts.yields.rejected);
    PlanFacts {
        yields: YieldPosterior {
            good: weight * share,
            rejected: weight * (1.0 - share),
        },
        ..facts.clone()
    }
}
