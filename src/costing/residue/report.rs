//! Gathering weighed cups into the report. Pure.

use std::collections::{BTreeMap, HashMap};

use super::drain::DrainTime;
use super::facts::{Judged, Known, Observation, PouredCast};
use super::grouping::{ResidueBy, ResidueKey, residue_value, row_parts};
use super::tally::{ResidueTally, WeighedCup};
use super::view::{ResidueReport, ResidueRow, WEIGHINGS_MAX, WeighingRow, WithoutWeighing};
use crate::base::{Code, Currency, Error, Micro};
use crate::catalogue::UNASSIGNED;
use crate::costing::period::Period;
use crate::costing::replica_cost::grouping::{Part, WHOLE_SHARE};
use crate::costing::replica_cost::report::{Names, TOTAL};

/// A weighing beyond this is shown as this far away, in predictive standard deviations.
const Z_SHOWN_MAX: f64 = 1e6;

/// The names that the report shows, by id.
#[derive(Debug, Clone, Default)]
pub struct ResidueNames {
    /// Of materials.
    pub materials: Names,
    /// Of elastomers.
    pub elastomers: Names,
    /// Of what the rows are grouped by: recipes or grants.
    pub rows: Names,
}

/// Gathers casts into the report.
#[derive(Debug)]
pub struct ResidueGathering {
    by: ResidueBy,
    rows: BTreeMap<ResidueKey, ResidueTally>,
    codes: HashMap<i64, Code>,
    total: ResidueTally,
    unweighed: (usize, i128),
    weighings: Vec<(i64, WeighedCup)>,
}

impl ResidueGathering {
    /// An empty report.
    ///
    /// ```
    /// use heeltap::base::Currency;
    /// use heeltap::costing::period::Period;
    /// use heeltap::costing::residue::grouping::ResidueBy;
    /// use heeltap::costing::residue::report::{ResidueGathering, ResidueNames};
    /// let euro = Currency::parse("EUR").map_err(heeltap::base::Error::internal)?;
    /// let empty = ResidueGathering::new(ResidueBy::Cup);
    /// let report = empty.report(Period::default(), euro, &ResidueNames::default(), &Default::default(), vec![])?;
    /// assert_eq!((report.rows.len(), report.total.within_planned_share), (0, None));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    #[must_use]
    pub fn new(by: ResidueBy) -> Self {
        Self {
            by,
            rows: BTreeMap::new(),
            codes: HashMap::new(),
            total: ResidueTally::default(),
            unweighed: (0, 0),
            weighings: Vec::new(),
        }
    }

    /// Adds a cast poured in the period, with its weighed cups and its parts by who pays; each cast once.
    ///
    /// `cups` come with the place of each in the order of learning.
    ///
    /// # Errors
    /// [`Error::Internal`] when a weighed cup is not in the cast's pour; [`Error::Invalid`] when a sum leaves its range.
    ///
    /// ```
    /// use heeltap::base::{Code, Error};
    /// use heeltap::costing::residue::{facts::PouredCast, grouping::ResidueBy, report::{ResidueGathering, whole}};
    /// let mut gathering = ResidueGathering::new(ResidueBy::Month);
    /// let code = Code::parse("C-00007").map_err(Error::internal)?;
    /// let cast = PouredCast::read((7, code, 3), "2026-03-02".parse().unwrap(), "{}", "{}")?;
    /// gathering.add(&cast, &[], &[whole(Default::default())])?; // None of its cups was weighed.
    /// # Ok::<(), Error>(())
    /// ```
    pub fn add(
        &mut self,
        cast: &PouredCast,
        cups: &[(i64, Judged)],
        payers: &[Part],
    ) -> Result<(), Error> {
        let Some((_, first)) = cups.first() else {
            self.unweighed.0 += 1;
            self.unweighed.1 += i128::from(residue_value(payers)?.micro());
            return Ok(());
        };
        let parts = row_parts(self.by, cast, &first.observation, payers)?;
        let weights: Vec<i64> = parts.iter().map(|part| part.share.micro()).collect();
        for (place, judged) in cups {
            let mixed = mixed(cast, &judged.observation)?;
            let cup = WeighedCup::new(*judged, mixed, cast.quantile)?;
            let shares = cup.shared(&weights)?;
            for (part, share) in parts.iter().zip(&shares) {
                self.rows.entry(part.key).or_default().add(&cup, share);
            }
            self.total.add(&cup, &cup.masses);
            self.weighings.push((*place, cup));
        }
        for part in &parts {
            let value = i128::from(part.value.micro());
            self.rows.entry(part.key).or_default().value += value;
            self.total.value += value;
        }
        self.codes.insert(cast.id, cast.code.clone());
        Ok(())
    }

    /// The report, with what is known of the factors now.
    ///
    /// # Errors
    /// [`Error::Internal`] when a name is missing; [`Error::Invalid`] when a sum leaves its range.
    ///
    /// ```
    /// # use heeltap::costing::residue::{grouping::ResidueBy, report::{ResidueGathering, ResidueNames}};
    /// # let (period, names) = (Default::default(), ResidueNames::default());
    /// # let euro = heeltap::base::Currency::parse("EUR").map_err(heeltap::base::Error::internal)?;
    /// let empty = ResidueGathering::new(ResidueBy::Cast);
    /// let report = empty.report(period, euro, &names, &Default::default(), vec![])?;
    /// assert_eq!((report.currency.as_str(), report.total.casts), ("EUR", 0));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn report(
        mut self,
        period: Period,
        currency: Currency,
        names: &ResidueNames,
        known: &Known,
        drain_time: Vec<DrainTime>,
    ) -> Result<ResidueReport, Error> {
        let mut rows = Vec::with_capacity(self.rows.len());
        for (key, tally) in &self.rows {
            let (text, name) = self.label(*key, names)?;
            rows.push((*key, row(text, name, tally, names, known)?));
        }
        if !matches!(self.by, ResidueBy::Month | ResidueBy::Cast) {
            let last = |key: ResidueKey| key == ResidueKey::Unassigned;
            rows.sort_by(|a, b| (last(a.0), &a.1.key).cmp(&(last(b.0), &b.1.key)));
        }
        let total = row(TOTAL.to_owned(), None, &self.total, names, known)?;
        self.weighings
            .sort_by_key(|(place, _)| std::cmp::Reverse(*place));
        let newest = self.weighings.iter().take(WEIGHINGS_MAX);
        let weighings = newest
            .map(|(_, cup)| weighing(cup, &self.codes, names))
            .collect::<Result<_, _>>()?;
        Ok(ResidueReport {
            from: period.from(),
            to: period.to(),
            group_by: self.by,
            currency,
            rounding: ROUNDING.to_owned(),
            rows: rows.into_iter().map(|(_, row)| row).collect(),
            total,
            without_weighing: WithoutWeighing {
                casts: self.unweighed.0,
                residue_value: crate::costing::rounding::money(self.unweighed.1)?,
            },
            weighings,
            weighings_limit: WEIGHINGS_MAX,
            drain_time,
        })
    }

    fn label(
        &self,
        key: ResidueKey,
        names: &ResidueNames,
    ) -> Result<(String, Option<String>), Error> {
        Ok(match key {
            ResidueKey::Unassigned => (UNASSIGNED.to_owned(), None),
            ResidueKey::Month(year, month) => (format!("{year:04}-{month:02}"), None),
            ResidueKey::Cast(id) => (self.code(id)?.to_string(), None),
            ResidueKey::Cup(cup_id, elastomer_id) => {
                let cup = named(&names.materials, cup_id)?;
                let elastomer = named(&names.elastomers, elastomer_id)?;
                let key = format!("{}/{}", cup.0.as_str(), elastomer.0.as_str());
                (key, None)
            }
            ResidueKey::Recipe(id) | ResidueKey::Grant(id) => {
                let (code, name) = named(&names.rows, id)?;
                (code.as_str().to_owned(), Some(name.clone()))
            }
        })
    }

    fn code(&self, cast_id: i64) -> Result<&Code, Error> {
        self.codes
            .get(&cast_id)
            .ok_or_else(|| Error::internal(format!("the cast {cast_id} came without its code")))
    }
}

/// How the figures are rounded, in words.
const ROUNDING: &str = "masses and amounts are sums of whole millionths and are not rounded for print; expected and planned masses are \
    rounded half to even to the millionth cup by cup before they are added, ratios, means and shares after; a cast's \
    masses are shared over its grants by largest remainder";

fn named(names: &Names, id: i64) -> Result<&(Code, String), Error> {
    names
        .get(&id)
        .ok_or_else(|| Error::internal(format!("the catalogue has no name for {id}")))
}

/// What a weighed cup was mixed of.
fn mixed(cast: &PouredCast, observation: &Observation) -> Result<crate::base::Quantity, Error> {
    cast.mixed
        .get(&observation.batch_no)
        .copied()
        .ok_or_else(|| {
            Error::internal(format!(
                "batch {} of cast {} was weighed and is not in its pour",
                observation.batch_no,
                cast.code.as_str()
            ))
        })
}

fn row(
    key: String,
    name: Option<String>,
    tally: &ResidueTally,
    names: &ResidueNames,
    known: &Known,
) -> Result<ResidueRow, Error> {
    let mut only = tally.cups.iter();
    let only = match (only.next(), only.next()) {
        (Some(pair), None) => Some(pair),
        _ => None,
    };
    let code = |names: &Names, id: i64| named(names, id).map(|(code, _)| code.clone());
    let factor = only.and_then(|pair| known.get(pair));
    let rounded = |value: f64| Micro::from_f64_half_even(value);
    let [mixed_g, film_g, expected_g, planned_g, weighed_g] = tally.sums()?;
    Ok(ResidueRow {
        key,
        name,
        cup: only
            .map(|(cup, _)| code(&names.materials, *cup))
            .transpose()?,
        elastomer: only
            .map(|(_, elastomer)| code(&names.elastomers, *elastomer))
            .transpose()?,
        casts: tally.casts.len(),
        cups_weighed: tally.cups_weighed,
        mixed_g,
        film_g,
        expected_g,
        planned_g,
        weighed_g,
        weighed_over_expected: tally.weighed_over_expected()?,
        mean_absolute_error_g: tally.mean_distance_g()?,
        within_planned_share: tally.within_planned()?,
        residue_share: tally.residue_share()?,
        residue_value: tally.value()?,
        k_mean: factor.map(|factor| rounded(factor.mean)).transpose()?,
        k_sd: factor.map(|factor| rounded(factor.sd)).transpose()?,
        observations: factor.map(|factor| factor.observations),
        outliers: tally.outliers,
    })
}

fn weighing(
    cup: &WeighedCup,
    codes: &HashMap<i64, Code>,
    names: &ResidueNames,
) -> Result<WeighingRow, Error> {
    let Judged {
        observation,
        z,
        outlier,
        ..
    } = cup.judged;
    let [mixed_g, film_g, expected_g, planned_g, weighed_g] = cup.masses;
    let cast = codes
        .get(&observation.cast_id)
        .ok_or_else(|| Error::internal("a weighed cup came without its cast"))?;
    Ok(WeighingRow {
        cast: cast.clone(),
        batch: observation.batch_no,
        on: observation.on,
        cup: named(&names.materials, observation.cup_id)?.0.clone(),
        elastomer: named(&names.elastomers, observation.elastomer_id)?
            .0
            .clone(),
        mixed_g,
        film_g,
        expected_g,
        planned_g,
        weighed_g,
        z: Micro::from_f64_half_even(z.clamp(-Z_SHOWN_MAX, Z_SHOWN_MAX))?,
        outlier,
    })
}

/// The whole of a cast as one payer's part, where who pays makes no difference.
///
/// ```
/// use heeltap::costing::residue::report::whole;
/// assert_eq!(whole(Default::default()).share, heeltap::costing::replica_cost::grouping::WHOLE_SHARE);
/// ```
#[must_use]
pub fn whole(amounts: crate::casting::cost::Components) -> Part {
    Part {
        material_id: None,
        grant_id: None,
        share: WHOLE_SHARE,
        amounts,
    }
}
