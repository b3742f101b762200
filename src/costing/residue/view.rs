//! The report as it is shown.

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use super::drain::DrainTime;
use super::grouping::ResidueBy;
use crate::base::{Code, Currency, Micro, Money, Quantity};

/// How many weighings a report lists at most, newest first.
pub const WEIGHINGS_MAX: usize = 500;

/// What stayed in the cups of a period: prediction against measurement, and what longer draining would save.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ResidueReport {
    /// The first day, by the day of the pour; null when the period is open to the past.
    pub from: Option<NaiveDate>,
    /// The last day, by the day of the pour; null when the period is open to the future.
    pub to: Option<NaiveDate>,
    /// By what the rows are grouped.
    pub group_by: ResidueBy,
    /// The base currency, in which every amount is.
    pub currency: Currency,
    /// How the figures were rounded.
    pub rounding: String,
    /// The rows, by key; what nobody is charged for comes last.
    pub rows: Vec<ResidueRow>,
    /// All rows together. A cast charged to several grants counts once here, and once in the row of each; its masses are
    /// shared between them.
    pub total: ResidueRow,
    /// Casts poured in the period of which no cup was weighed. They are in no row.
    pub without_weighing: WithoutWeighing,
    /// The newest weighings of the period, newest first, at most `weighings_limit` of them.
    pub weighings: Vec<WeighingRow>,
    /// How many weighings are listed at most.
    pub weighings_limit: usize,
    /// What longer draining would save, for each recipe in use.
    pub drain_time: Vec<DrainTime>,
}

/// A row of the report: weighed cups, and the casts they belong to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ResidueRow {
    /// `cup/elastomer`, a recipe's, grant's or cast's code, a month (`YYYY-MM`), `unassigned`, or `total`.
    pub key: String,
    /// The name of the recipe or grant.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The cup's code, when the row is about one cup with one elastomer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cup: Option<Code>,
    /// The elastomer's code, when the row is about one cup with one elastomer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub elastomer: Option<Code>,
    /// Casts with a weighed cup.
    pub casts: usize,
    /// Weighed cups. By grant, a cup counts whole for each grant; masses are shared.
    pub cups_weighed: usize,
    /// What was mixed in them, in g.
    pub mixed_g: Quantity,
    /// What the draining film alone would have left, in g.
    pub film_g: Quantity,
    /// What was expected just before each weighing, in g: the factor's mean then x the film.
    pub expected_g: Quantity,
    /// What a plan would have allowed for each cup by itself just before its weighing, in g: its cast's quantile.
    pub planned_g: Quantity,
    /// What was weighed, in g, without the stirrer's loss.
    pub weighed_g: Quantity,
    /// Weighed over expected; absent when nothing was expected.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weighed_over_expected: Option<Micro>,
    /// The mean over the cups of the distance between weighed and expected, in g.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mean_absolute_error_g: Option<Quantity>,
    /// The share of the cups, 0 to 1, at or below what was planned for them: where plans are right, their quantile.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub within_planned_share: Option<Micro>,
    /// Weighed over mixed, 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub residue_share: Option<Micro>,
    /// What the residue of the row's casts cost, weighed cups and others.
    pub residue_value: Money,
    /// Mean of the factor on the film as learned so far, when the row is about one cup with one elastomer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub k_mean: Option<Micro>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub k_sd: Option<Micro>,
    /// Weighings it rests on, over all time.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub observations: Option<u32>,
    /// Weighed cups of the row that are outliers.
    pub outliers: usize,
}

/// Casts of which no cup was weighed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct WithoutWeighing {
    /// Casts.
    pub casts: usize,
    /// What their residue cost, as it was estimated.
    pub residue_value: Money,
}

/// A weighed cup.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct WeighingRow {
    /// The cast's code.
    pub cast: Code,
    /// The batch, from 1.
    pub batch: i32,
    /// The day of the pour.
    pub on: NaiveDate,
    /// The cup's code.
    pub cup: Code,
    /// The elastomer's code.
    pub elastomer: Code,
    /// What was mixed, in g.
    pub mixed_g: Quantity,
    /// What the draining film alone would have left, in g.
    pub film_g: Quantity,
    /// What was expected just before, in g.
    pub expected_g: Quantity,
    /// What a plan would have allowed for it by itself just before, in g.
    pub planned_g: Quantity,
    /// What was weighed, in g, without the stirrer's loss.
    pub weighed_g: Quantity,
    /// How far that is from what was expected, in predictive standard deviations.
    pub z: Micro,
    /// Whether it is an outlier: more than 3.5 either way.
    pub outlier: bool,
}
