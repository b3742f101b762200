//! The plan of a course as it is shown.

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use super::plan_view::CastPlan;
use crate::base::{Code, Micro, Money, Quantity};
use crate::casting::cost::CostView;

/// Everything a course needs, computed against one shelf: what an earlier session takes, a later one does not find.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct CoursePlan {
    /// The sessions, in the order in which they were sent.
    pub sessions: Vec<SessionPlan>,
    /// What all of them come to.
    pub totals: CourseTotals,
    /// The first day on which something is missing; absent when nothing is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub first_short_on: Option<NaiveDate>,
    /// What is missing, summed over the sessions.
    pub shortages: Vec<CourseShortage>,
}

/// One session with its plan.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SessionPlan {
    /// The day.
    pub cast_on: NaiveDate,
    /// The recipe's code.
    pub recipe: Code,
    /// The groups.
    pub groups: Vec<GroupPlan>,
    /// The plan of the whole session.
    pub plan: CastPlan,
}

/// What one group casts and weighs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct GroupPlan {
    /// The group, from 1.
    pub group: u32,
    /// Its trays.
    pub containers: u32,
    /// Chips cast, good or not.
    pub chips: u32,
    /// The numbers of its batches in the plan.
    pub batches: Vec<i32>,
    /// Base to weigh, in g.
    pub base_g: Micro,
    /// Curing agent to weigh, in g.
    pub curing_agent_g: Micro,
    /// Both, in g.
    pub total_g: Micro,
}

/// What all sessions come to.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct CourseTotals {
    /// Trays.
    pub containers: u32,
    /// Chips cast, good or not.
    pub chips: u32,
    /// Good chips to expect.
    pub expected_good_chips: Micro,
    /// All that is mixed, in g.
    pub mix_g: Micro,
    /// Base, in g.
    pub base_g: Micro,
    /// Curing agent, in g.
    pub curing_agent_g: Micro,
    /// The planned cost of all sessions; what is short is not in it.
    pub cost: CostView,
    /// The planned cost per good chip to expect.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub per_good_chip: Option<Money>,
    /// What is needed of each material.
    pub by_material: Vec<MaterialTotal>,
}

/// What is needed of one material.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct MaterialTotal {
    /// The material's code.
    pub material: String,
    /// What all sessions need, in the material's unit; of trays and cups that come back, the most in use at a time.
    pub needed: Quantity,
    /// What is free and usable on the first day it is needed, before the course takes any of it.
    pub available: Quantity,
    /// What is missing.
    pub short: Quantity,
}

/// A material of which there is not enough for the course.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct CourseShortage {
    /// The material's code.
    pub material: String,
    /// What is missing over all sessions; 0 when only the kit lots do not match.
    pub short: Quantity,
    /// The first day on which it is.
    pub first_short_on: NaiveDate,
    /// What is on order.
    pub on_order: Quantity,
    /// When the first of that is expected.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub arrives_on: Option<NaiveDate>,
    /// What would help besides buying.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hint: Option<String>,
}
