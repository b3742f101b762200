//! What a plan of a course is asked for: sessions on days, each of groups with a cup of their own.
//!
//! Invariant: what is wrong names its field by the pointer into the course, also when a session's own plan found it.

use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::request::{Charge, PlanRequest, check_charges};
use crate::base::{Code, Error, FieldError, Micro};

/// A course to be planned.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CourseRequest {
    /// The sessions, in any order.
    #[schema(min_items = 1, max_items = 100)]
    pub sessions: Vec<CourseSession>,
    /// Trays cast in each session beyond those of the groups; they are dealt to the first groups' cups. None unless said.
    #[serde(default)]
    #[schema(maximum = 1000)]
    pub spare_containers_per_session: Option<u32>,
    /// Who pays for the sessions that do not say so themselves.
    #[serde(default)]
    pub charges: Vec<Charge>,
    /// Whether base and curing agent may come from different kit lots.
    #[serde(default)]
    pub allow_mixed_kits: bool,
    /// Whether another grant's stock may be used.
    #[serde(default)]
    pub allow_cross_charge: bool,
    /// The quantile of the residue to plan for, above 0 and below 1; the recipe's unless said.
    #[serde(default)]
    pub residue_quantile: Option<Micro>,
}

/// One session of a course.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CourseSession {
    /// The recipe's code.
    pub recipe: Code,
    /// The day.
    pub cast_on: NaiveDate,
    /// Groups, each with cups of its own.
    #[schema(minimum = 1, maximum = 1000)]
    pub groups: u32,
    /// How many trays each group casts; or say how many good chips it wants.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 1000)]
    pub containers_per_group: Option<u32>,
    /// How many good chips each group wants: its trays are chosen so that it has as many with probability 0.90.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub good_chips_per_group: Option<u32>,
    /// Who pays for this session; the course's charges unless said.
    #[serde(default)]
    pub charges: Vec<Charge>,
    /// Why a cure above what tray or mould bears is wanted all the same.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 200, pattern = r"\S")]
    pub heat_override_reason: Option<String>,
}

const SESSIONS_MAX: usize = 100;
const TRAYS_MAX: u32 = 1_000;
const CHIPS_MAX: u32 = 1_000_000;

impl CourseRequest {
    /// What is wrong with the request in itself, each with its JSON pointer.
    ///
    /// # Errors
    /// [`Error::Invalid`] with every fault found.
    ///
    /// ```
    /// use heeltap::casting::planning::course_request::CourseRequest;
    /// let course = |groups: u32| serde_json::from_value::<CourseRequest>(serde_json::json!({
    ///     "sessions": [{"recipe": "chip-a", "cast_on": "2026-03-10", "groups": groups, "containers_per_group": 2}]
    /// }));
    /// assert!(course(6)?.check().is_ok());
    /// assert!(course(0)?.check().unwrap_err().to_string().contains("/sessions/0/groups"));
    /// # Ok::<(), serde_json::Error>(())
    /// ```
    pub fn check(&self) -> Result<(), Error> {
        let mut faults = Vec::new();
        let sessions = self.sessions.len();
        if sessions == 0 || sessions > SESSIONS_MAX {
            faults.push(FieldError::new(
                "/sessions",
                format!("{sessions} sessions are out of range: 1 to {SESSIONS_MAX}"),
            ));
        }
        out_of(
            "/spare_containers_per_session",
            self.spare_containers_per_session,
            (0, TRAYS_MAX),
            "trays",
            &mut faults,
        );
        if let Some(quantile) = self
            .residue_quantile
            .filter(|q| *q <= Micro::ZERO || *q >= Micro::from_int(1))
        {
            faults.push(FieldError::new(
                "/residue_quantile",
                format!("{quantile} is out of range: above 0 and below 1"),
            ));
        }
        faults.extend(check_charges(&self.charges));
        for (index, session) in self.sessions.iter().enumerate().take(SESSIONS_MAX) {
            session.check(&format!("/sessions/{index}"), &mut faults);
        }
        if faults.is_empty() {
            Ok(())
        } else {
            Err(Error::Invalid(faults))
        }
    }

    /// The request for the plan of a session of so many trays.
    pub(super) fn of_session(&self, session: &CourseSession, containers: u32) -> PlanRequest {
        let charges = match session.charges.as_slice() {
            [] => &self.charges,
            _ => &session.charges,
        };
        PlanRequest {
            recipe: session.recipe.clone(),
            containers: Some(containers),
            good_chips_wanted: None,
            groups: Some(session.groups),
            containers_per_batch: None,
            cast_on: session.cast_on,
            charges: charges.clone(),
            residue_quantile: self.residue_quantile,
            allow_mixed_kits: self.allow_mixed_kits,
            allow_cross_charge: self.allow_cross_charge,
            allow_short: false,
            take_from_later: false,
            heat_override_reason: session.heat_override_reason.clone(),
        }
    }

    /// An error of a session's plan, with its pointers into the course.
    pub(super) fn at_session(&self, index: usize, error: Error) -> Error {
        let Error::Invalid(faults) = error else {
            return error;
        };
        let session = self.sessions.get(index);
        let per_group = match session.and_then(|session| session.good_chips_per_group) {
            Some(_) => "/good_chips_per_group",
            None => "/containers_per_group",
        };
        let own_charges = session.is_some_and(|session| !session.charges.is_empty());
        let moved = |fault: FieldError| {
            let pointer = match fault.pointer.as_str() {
                "/residue_quantile" => fault.pointer,
                charges if charges.starts_with("/charges") && !own_charges => fault.pointer,
                "/containers" | "/good_chips_wanted" => format!("/sessions/{index}{per_group}"),
                other => format!("/sessions/{index}{other}"),
            };
            FieldError::new(pointer, fault.detail)
        };
        Error::Invalid(faults.into_iter().map(moved).collect())
    }
}

impl CourseSession {
    fn check(&self, at: &str, faults: &mut Vec<FieldError>) {
        let trays = (1, TRAYS_MAX);
        out_of(
            &format!("{at}/groups"),
            Some(self.groups),
            trays,
            "groups",
            faults,
        );
        match (self.containers_per_group, self.good_chips_per_group) {
            (None, None) | (Some(_), Some(_)) => faults.push(FieldError::new(
                format!("{at}/containers_per_group"),
                "give either `containers_per_group` or `good_chips_per_group`",
            )),
            (containers, chips) => {
                out_of(
                    &format!("{at}/containers_per_group"),
                    containers,
                    trays,
                    "trays",
                    faults,
                );
                out_of(
                    &format!("{at}/good_chips_per_group"),
                    chips,
                    (1, CHIPS_MAX),
                    "chips",
                    faults,
                );
            }
        }
        let charges = check_charges(&self.charges).into_iter();
        faults.extend(
            charges.map(|fault| FieldError::new(format!("{at}{}", fault.pointer), fault.detail)),
        );
    }
}

fn out_of(
    pointer: &str,
    value: Option<u32>,
    (least, most): (u32, u32),
    what: &str,
    faults: &mut Vec<FieldError>,
) {
    if let Some(value) = value.filter(|value| !(least..=most).contains(value)) {
        let detail = format!("{value} is out of range: {least} to {most} {what}");
        faults.push(FieldError::new(pointer, detail));
    }
}
