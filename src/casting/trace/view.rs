//! A trace as it is shown.

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use crate::base::{Micro, Money, Quantity};
use crate::casting::life::demold_input::Reject;
use crate::casting::planning::request::Charge;
use crate::stock::trace::LotOrigin;

/// Where a lot, or one pack of it, went.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct LotTrace {
    /// The lot and where it came from.
    pub lot: LotOrigin,
    /// The pack that was asked for; the whole lot without.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pack_id: Option<i64>,
    /// The casts it reached, in the order of booking.
    pub casts: Vec<TracedCast>,
    /// The treatments its vials were used for.
    pub treatments: Vec<TracedTreatment>,
    /// The casts that count on it, or use its trays until they are demoulded.
    pub outstanding: Vec<OutstandingView>,
    /// What left it for no cast: spilled, written off, missed by a count (negative: found).
    pub losses: Vec<LossView>,
    /// All casts together.
    pub total: TraceTotal,
    /// For whom: the chips by grant, by the shares of the charges.
    pub grants: Vec<GrantChips>,
}

/// A cast that a lot reached.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct TracedCast {
    /// The cast's code.
    pub cast: String,
    /// `poured` or `demolded`.
    pub state: String,
    /// The recipe's code.
    pub recipe: String,
    /// The mould's code.
    pub mold: String,
    /// The day of the pour.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub poured_on: Option<NaiveDate>,
    /// The day of the demould.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub demolded_on: Option<NaiveDate>,
    /// What was taken for it.
    pub uses: Vec<UseView>,
    /// The treatments through which it was reached: its moulds stood on their coats.
    pub through_treatments: Vec<i64>,
    /// Good chips, once demoulded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub good_chips: Option<i64>,
    /// Rejected chips, once demoulded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rejected_chips: Option<i64>,
    /// Rejected chips by reason.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub rejects: Vec<Reject>,
    /// Who paid.
    pub charges: Vec<Charge>,
}

/// What a cast took, by pack, purpose and batch.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct UseView {
    /// The pack; none for the wear of trays and cups that are used again.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pack_id: Option<i64>,
    /// What for.
    pub purpose: String,
    /// The batch; none for what belongs to the whole cast.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub batch_no: Option<i32>,
    /// How much.
    pub quantity: Quantity,
    /// What it was worth.
    pub value: Money,
}

/// A treatment that vials of a lot were used for.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct TracedTreatment {
    /// Its id.
    pub id: i64,
    /// The day.
    pub treated_on: NaiveDate,
    /// How much of the lot it took.
    pub quantity: Quantity,
    /// The coats it made, with the casts that were poured on them.
    pub coats: Vec<TracedCoat>,
}

/// A coat and the casts that were poured on it.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct TracedCoat {
    /// The mould's code.
    pub mold: String,
    /// The copy, from 1.
    pub copy: u32,
    /// The casts, in the order in which they were poured.
    pub casts: Vec<String>,
}

/// What a cast counts on or has in use.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct OutstandingView {
    /// The cast's code.
    pub cast: String,
    /// `booked`, or `poured` when it is in use.
    pub state: String,
    /// The day of the cast.
    pub cast_on: NaiveDate,
    /// The pack.
    pub pack_id: i64,
    /// How much.
    pub quantity: Quantity,
}

/// What left a lot for no cast.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct LossView {
    /// The movement.
    pub movement_id: i64,
    /// `spill`, `write_off`, `count`, or `consumption` for what no cast accounts for.
    pub kind: String,
    /// The pack.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pack_id: Option<i64>,
    /// How much; negative for what a count found.
    pub quantity: Quantity,
    /// What it was worth.
    pub value: Money,
    /// Why.
    pub reason: String,
    /// The day.
    pub on: NaiveDate,
}

/// The chips of all casts that a lot reached.
#[derive(Debug, Clone, Default, PartialEq, Serialize, ToSchema)]
pub struct TraceTotal {
    /// How many casts.
    pub casts: usize,
    /// Of these, poured and not demoulded yet: their chips are not counted.
    pub not_demolded: usize,
    /// Good chips.
    pub good_chips: i64,
    /// Rejected chips.
    pub rejected_chips: i64,
}

/// A grant's part of the chips.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct GrantChips {
    /// The grant's code, or `unassigned`.
    pub grant: String,
    /// The casts it was charged for, in whole or in part.
    pub casts: usize,
    /// Its share of their good chips.
    pub good_chips: Micro,
    /// Its share of their rejected chips.
    pub rejected_chips: Micro,
}

/// What went into a cast.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct CastTrace {
    /// The cast's code.
    pub cast: String,
    /// `booked`, `poured`, `demolded` or `cancelled`.
    pub state: String,
    /// The recipe's code.
    pub recipe: String,
    /// The mould's code.
    pub mold: String,
    /// The day of the cast.
    pub cast_on: NaiveDate,
    /// The day of the pour.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub poured_on: Option<NaiveDate>,
    /// The day of the demould.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub demolded_on: Option<NaiveDate>,
    /// Good chips.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub good_chips: Option<i64>,
    /// Rejected chips.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rejected_chips: Option<i64>,
    /// Rejected chips by reason.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub rejects: Vec<Reject>,
    /// Who pays.
    pub charges: Vec<Charge>,
    /// `promised` before the pour (what it counts on now), `taken` after it.
    pub basis: &'static str,
    /// Whether base and curing agent of a batch are of different kit lots.
    pub mixed_kits: bool,
    /// What it took, or counts on.
    pub materials: Vec<MaterialTrace>,
    /// The coats its moulds stood on.
    pub coats: Vec<CoatTrace>,
}

/// A quantity that a cast took, or counts on, with where it came from.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct MaterialTrace {
    /// What for.
    pub purpose: String,
    /// The batch; none for what belongs to the whole cast.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub batch_no: Option<i32>,
    /// The pack; none for the wear of trays and cups that are used again.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pack_id: Option<i64>,
    /// How much.
    pub quantity: Quantity,
    /// What it was worth; none before the pour.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<Money>,
    /// The lot and where it came from.
    pub lot: LotOrigin,
}

/// A coat that a cast was poured on.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct CoatTrace {
    /// The mould's code.
    pub mold: String,
    /// The copy, from 1.
    pub copy: u32,
    /// What the cast paid for it.
    pub value: Money,
    /// The treatment that made it; none for a coat from before treatments were kept.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub treatment: Option<i64>,
    /// The day of that treatment.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub treated_on: Option<NaiveDate>,
    /// The vials it took.
    pub vials: Vec<VialTrace>,
}

/// Vials of one pack that a coat was made of.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct VialTrace {
    /// The pack.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pack_id: Option<i64>,
    /// How much the whole treatment took of it.
    pub quantity: Quantity,
    /// The lot and where it came from.
    pub lot: LotOrigin,
}
