//! A period as it is sent and shown.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A period to be closed.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PeriodIn {
    /// Its first day: the day after the last closed period's, and only that, once one is closed. For the first period,
    /// open to the past unless said.
    pub first_day: Option<NaiveDate>,
    /// Its last day, before today.
    pub last_day: NaiveDate,
}

/// A closed period.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ClosedPeriod {
    /// Its id.
    pub id: i64,
    /// Its first day; null when it is open to the past.
    pub first_day: Option<NaiveDate>,
    /// Its last day.
    pub last_day: NaiveDate,
    /// When it was closed.
    pub closed_at: DateTime<Utc>,
    /// Who closed it.
    pub closed_by: String,
    /// SHA-256 of the heads of all lots as they stood then; printed, it proves the file of heads.
    pub heads_digest: String,
    /// The reports that were kept.
    pub reports: Vec<KeptReport>,
}

/// A report that was kept; asked for over the period's days, it is given as it was written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct KeptReport {
    /// Its name, such as `replica-cost`.
    pub report: String,
    /// How it is grouped.
    pub group_by: String,
    /// In which formats.
    pub formats: Vec<String>,
}
