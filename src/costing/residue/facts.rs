//! Weighed cups and poured casts as the books hold them, and each weighing held against what was known before it. Pure.

use std::collections::HashMap;

use chrono::NaiveDate;
use serde::Deserialize;

use crate::base::{Code, Error, Micro, Quantity, kept_read};
use crate::casting::sums::learned::{FactorPosterior, Noise};
use crate::catalogue::RESIDUE_QUANTILE_DEFAULT;

/// A weighed cup, as it was learned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Observation {
    /// The cast.
    pub cast_id: i64,
    /// The batch, from 1.
    pub batch_no: i32,
    /// The cup's material.
    pub cup_id: i64,
    /// The elastomer.
    pub elastomer_id: i64,
    /// What the draining film alone would leave, in g; more than 0.
    pub film: Quantity,
    /// What was weighed, without the stirrer's loss, in g; 0 or more.
    pub weighed: Quantity,
    /// The day of the pour.
    pub on: NaiveDate,
}

/// A weighed cup with what was known just before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    /// The cup.
    pub observation: Observation,
    /// What was known of the factor of its cup and elastomer.
    pub before: FactorPosterior,
    /// The mean then x the film, in g; never below 0.
    pub expected: Quantity,
    /// How far the weighing was from that, in predictive standard deviations.
    pub z: f64,
    /// Whether it counted as an outlier.
    pub outlier: bool,
}

/// What is known of the factor, by cup and elastomer.
pub type Known = HashMap<(i64, i64), FactorPosterior>;

/// Holds every weighing against what those before it taught, cup and elastomer by themselves.
///
/// `observations` are all that stand, in the order in which they were learned.
///
/// # Errors
/// [`Error::Internal`] when an observation makes no sense.
///
/// ```
/// use heeltap::base::Quantity;
/// use heeltap::costing::residue::facts::{Observation, judge};
/// let cup = |weighed: i32| Observation {
///     cast_id: 1, batch_no: 1, cup_id: 2, elastomer_id: 3, film: Quantity::from_int(10),
///     weighed: Quantity::from_int(weighed), on: "2026-03-02".parse().unwrap(),
/// };
/// let (judged, known) = judge(&[cup(16), cup(16)])?;
/// assert_eq!(judged[0].expected, Quantity::from_int(10)); // Nothing is known yet but the film.
/// assert_eq!(judged[1].expected.to_string(), "15.504587"); // (1/0.25 + 1.6/0.0225) / (1/0.25 + 1/0.0225) x 10 g
/// assert_eq!(known[&(2, 3)].observations, 2);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn judge(observations: &[Observation]) -> Result<(Vec<Judged>, Known), Error> {
    let noise = Noise::default();
    let mut known = Known::new();
    let mut judged = Vec::with_capacity(observations.len());
    for observation in observations {
        let posterior = known
            .entry((observation.cup_id, observation.elastomer_id))
            .or_insert_with(FactorPosterior::prior);
        let before = *posterior;
        let film_g = observation.film.to_f64();
        let learned = before
            .learn(film_g, observation.weighed.to_f64(), &noise)
            .map_err(Error::internal)?;
        *posterior = learned.posterior;
        judged.push(Judged {
            observation: *observation,
            before,
            expected: Quantity::from_f64_half_even((before.mean * film_g).max(0.0))?,
            z: learned.z,
            outlier: learned.outlier,
        });
    }
    Ok((judged, known))
}

impl Judged {
    /// The quantile of what was predicted for this cup alone, in g; never below 0.
    ///
    /// A plan shares the quantile of the sum over its cups, which for each of them is less: the noise of several cups
    /// averages out in part.
    ///
    /// # Errors
    /// [`Error::Internal`] for a quantile that is not between 0 and 1.
    ///
    /// ```
    /// use heeltap::base::{Micro, Quantity};
    /// use heeltap::costing::residue::facts::{Observation, judge};
    /// let cup = Observation {
    ///     cast_id: 1, batch_no: 1, cup_id: 2, elastomer_id: 3, film: Quantity::from_int(10),
    ///     weighed: Quantity::from_int(9), on: "2026-03-02".parse().unwrap(),
    /// };
    /// let planned = judge(&[cup])?.0[0].planned(Micro::parse("0.9")?)?;
    /// // 10 + 1.281552 x 10 x sqrt(0.5^2 + 0.15^2)
    /// assert_eq!(planned.to_string(), "16.689896");
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn planned(&self, quantile: Micro) -> Result<Quantity, Error> {
        let film_g = self.observation.film.to_f64();
        let prediction = self
            .before
            .predict(&[film_g], quantile.to_f64(), &Noise::default())
            .map_err(Error::internal)?;
        Ok(Quantity::from_f64_half_even(prediction.planned_g)?)
    }
}

/// A poured cast with what of its documents the report needs.
#[derive(Debug, Clone, PartialEq)]
pub struct PouredCast {
    /// Its id.
    pub id: i64,
    /// Its code.
    pub code: Code,
    /// Its recipe.
    pub recipe_id: i64,
    /// The day of the pour.
    pub poured_on: NaiveDate,
    /// The quantile of the residue it was planned at.
    pub quantile: Micro,
    /// What each planned cup had to give, in g.
    pub needed_g: Vec<Micro>,
    /// What each poured cup was mixed of, in g, by batch.
    pub mixed: HashMap<i32, Quantity>,
}

#[derive(Deserialize)]
struct PlanDocument {
    residue: Option<PlanResidue>,
    #[serde(default)]
    batches: Vec<PlanBatch>,
}

#[derive(Deserialize)]
struct PlanResidue {
    quantile: Micro,
}

#[derive(Deserialize)]
struct PlanBatch {
    needed_g: Micro,
}

#[derive(Deserialize)]
struct PourDocument {
    #[serde(default)]
    batches: Vec<PourBatch>,
}

#[derive(Deserialize)]
struct PourBatch {
    no: i32,
    total_g: Quantity,
}

impl PouredCast {
    /// Reads a cast's plan and pour as they are kept: what else they hold is passed over.
    ///
    /// # Errors
    /// [`Error::Internal`] when a document does not read back.
    ///
    /// ```
    /// use heeltap::base::Code;
    /// use heeltap::costing::residue::facts::PouredCast;
    /// let cast = PouredCast::read(
    ///     (7, Code::parse("C-00007").unwrap(), 3), "2026-03-02".parse().unwrap(),
    ///     r#"{"residue": {"quantile": "0.95"}, "batches": [{"needed_g": "40"}]}"#,
    ///     r#"{"batches": [{"no": 1, "total_g": "44.5"}]}"#,
    /// )?;
    /// assert_eq!((cast.quantile.to_string(), cast.mixed[&1].to_string()), ("0.95".into(), "44.5".into()));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn read(
        (id, code, recipe_id): (i64, Code, i64),
        poured_on: NaiveDate,
        plan: &str,
        pour: &str,
    ) -> Result<Self, Error> {
        let plan: PlanDocument = kept_read(plan).map_err(Error::internal)?;
        let pour: PourDocument = kept_read(pour).map_err(Error::internal)?;
        Ok(Self {
            id,
            code,
            recipe_id,
            poured_on,
            quantile: plan
                .residue
                .map_or(RESIDUE_QUANTILE_DEFAULT, |residue| residue.quantile),
            needed_g: plan.batches.iter().map(|batch| batch.needed_g).collect(),
            mixed: pour
                .batches
                .iter()
                .map(|batch| (batch.no, batch.total_g))
                .collect(),
        })
    }
}
