//! Correcting a mix at the bench: reads what the correction is decided on, and decides nothing itself.

use chrono::NaiveDate;

use super::correction::{Bench, CupFacts, PartStock, corrected};
use super::correction_view::{CorrectionIn, CorrectionOut};
use super::geometry::vessel;
use super::load::unknown;
use super::mixing::{cup_limit, mass_ratio, ratio_of};
use crate::base::{Code, Error, Quantity, RefusalKind, kept_read};
use crate::casting::store;
use crate::casting::sums::mix::MassRatio;
use crate::catalogue::{
    BALANCE_READABILITY_G_DEFAULT, ElastomerBody, Entry, MaterialBody, RecipeFacts,
    elastomer_by_code, material_by_code, recipe_facts,
};
use crate::db::AnyConnection;
use crate::stock::load::shelf;
use crate::stock::picking::PickRules;
use crate::stock::promises::cast_holds;
use crate::stock::shelf::give_back;

/// Corrects a mix, and says whether cup and stock can take the addition `today`. Writes nothing.
///
/// # Errors
/// [`Error::Invalid`] for a code that names nothing, codes that do not agree, or masses that are not above 0;
/// [`Error::Refused`] for a cast that is not booked.
pub fn mix_correct(
    conn: &mut AnyConnection,
    input: &CorrectionIn,
    today: NaiveDate,
) -> Result<CorrectionOut, Error> {
    input.check()?;
    let (known, rules, free) = match (&input.recipe, &input.cast) {
        (Some(code), _) => {
            let facts = recipe_facts(conn, code.as_str()).map_err(|e| unknown("/recipe", e))?;
            (Known::of_recipe(facts)?, anyone(today), Vec::new())
        }
        (None, Some(code)) => of_cast(conn, code, today)?,
        (None, None) => (Known::of_elastomer(conn, input)?, anyone(today), Vec::new()),
    };
    input.agrees_with(&known.elastomer.code)?;
    let cup = match &input.cup {
        Some(code) => Some(material_by_code(conn, code.as_str()).map_err(|e| unknown("/cup", e))?),
        None => known.cup,
    };
    let cup = cup
        .map(|cup| cup_facts(&cup, known.recipe.as_ref()))
        .transpose()?;
    let materials = [known.base.id, known.curing_agent.id];
    let mut shelf = shelf(conn, &materials)?;
    give_back(&mut shelf, free);
    let body = &known.elastomer.body;
    let bench = Bench {
        nominal: known.nominal,
        tolerance: body.ratio_tolerance.to_f64(),
        density_g_per_ml: body.density_g_per_ml.to_f64(),
        readability_g: known.readability_g,
        cup,
        stock: PartStock {
            base: (known.base.id, known.base.code.clone()),
            curing_agent: (known.curing_agent.id, known.curing_agent.code.clone()),
            shelf,
            rules,
        },
    };
    corrected(input, &bench)
}

/// What is known of the mix from what was named.
struct Known {
    elastomer: Entry<ElastomerBody>,
    base: Entry<MaterialBody>,
    curing_agent: Entry<MaterialBody>,
    cup: Option<Entry<MaterialBody>>,
    nominal: MassRatio,
    readability_g: crate::base::Micro,
    recipe: Option<RecipeFacts>,
}

impl Known {
    fn of_recipe(facts: RecipeFacts) -> Result<Self, Error> {
        Ok(Self {
            nominal: mass_ratio(&facts)?,
            readability_g: facts.recipe.body.balance_readability_g(),
            elastomer: facts.elastomer.clone(),
            base: facts.base.clone(),
            curing_agent: facts.curing_agent.clone(),
            cup: Some(facts.cup.clone()),
            recipe: Some(facts),
        })
    }

    fn of_elastomer(conn: &mut AnyConnection, input: &CorrectionIn) -> Result<Self, Error> {
        let code = input.elastomer.as_ref().map_or("", Code::as_str);
        let elastomer = elastomer_by_code(conn, code).map_err(|e| unknown("/elastomer", e))?;
        Ok(Self {
            nominal: ratio_of(&elastomer.body.ratio)?,
            readability_g: BALANCE_READABILITY_G_DEFAULT,
            base: material_by_code(conn, elastomer.body.base.as_str())?,
            curing_agent: material_by_code(conn, elastomer.body.curing_agent.as_str())?,
            cup: None,
            recipe: None,
            elastomer,
        })
    }
}

/// Without a cast nobody is charged yet, so that whose stock it is only shows in why a pack was chosen.
fn anyone(today: NaiveDate) -> PickRules {
    PickRules {
        day: today,
        grants: Vec::new(),
        allow_mixed_kits: false,
        allow_cross_charge: true,
    }
}

/// Packs with what of them is promised to the cast itself.
type Own = Vec<(i64, Quantity)>;

/// What a booked cast keeps of the catalogue, whose stock it may use, and what it was promised.
fn of_cast(
    conn: &mut AnyConnection,
    code: &Code,
    today: NaiveDate,
) -> Result<(Known, PickRules, Own), Error> {
    let row = store::cast_by_code(conn, code.as_str())?
        .ok_or_else(|| unknown("/cast", Error::not_found("cast", code.as_str())))?;
    if row.state != "booked" {
        let detail = format!(
            "cast {} is {}; a mix is corrected while its cast is booked, before the pour enters what was weighed",
            row.code, row.state
        );
        return Err(Error::refused(RefusalKind::WrongState, detail).with("state", row.state));
    }
    let facts: RecipeFacts = kept_read(&row.facts).map_err(Error::internal)?;
    let request: super::request::PlanRequest = kept_read(&row.request).map_err(Error::internal)?;
    let charges = store::charges_fetch(conn, row.id)?;
    let rules = PickRules {
        day: today,
        grants: charges.into_iter().map(|(id, _, _)| id).collect(),
        allow_mixed_kits: request.allow_mixed_kits,
        allow_cross_charge: request.allow_cross_charge,
    };
    let own = cast_holds(conn, row.id)?
        .into_iter()
        .map(|held| (held.pack_id, held.quantity))
        .collect();
    Ok((Known::of_recipe(facts)?, rules, own))
}

/// The cup's room; a material that is no vessel cannot be mixed in. Without a recipe the mix is taken to be de-gassed in it.
fn cup_facts(cup: &Entry<MaterialBody>, recipe: Option<&RecipeFacts>) -> Result<CupFacts, Error> {
    let wrong = |detail: String| Error::invalid("/cup", detail);
    let body = cup.body.container.as_ref().ok_or_else(|| {
        wrong(format!(
            "material `{}` has no inner dimensions: name a cup or a tray",
            cup.code.as_str()
        ))
    })?;
    Ok(CupFacts {
        code: cup.code.clone(),
        capacity_ml: vessel(body)
            .capacity_ml()
            .map_err(|e| wrong(e.to_string()))?,
        fill_limit: recipe.map_or_else(
            || body.fill_limit().to_f64(),
            |facts| cup_limit(facts, body),
        ),
    })
}
