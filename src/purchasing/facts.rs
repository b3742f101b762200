//! What the books know when an import is decided.
//!
//! Invariant: facts are complete for the rows they were loaded for: a code, a supplier or an order that is not here
//! does not exist. Deliberately absent: how they are loaded, and what is decided.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::quoted::RateTable;
use crate::base::{Code, Currency, Micro, Quantity, Unit};

/// Everything that a decision needs besides the rows.
#[derive(Clone, Debug)]
pub struct ImportFacts {
    /// The currency of the books.
    pub base_currency: Currency,
    /// The last day of the last closed period.
    pub closed_through: Option<NaiveDate>,
    /// Materials and kits by code.
    pub items: HashMap<String, ItemFacts>,
    /// Grants by code.
    pub grants: HashMap<String, GrantFacts>,
    /// Suppliers by the text that names them; those that are to be created too.
    pub suppliers: HashMap<String, SupplierFacts>,
    /// Orders by number.
    pub orders: HashMap<String, OrderFacts>,
    /// Exchange rates.
    pub rates: RateTable,
}

/// A material or a kit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ItemFacts {
    /// Its id.
    pub id: i64,
    /// Its code.
    pub code: Code,
    /// Whether nothing new may name it.
    pub retired: bool,
    /// Days from ordering to arrival, if known.
    pub lead_time_days: Option<u32>,
    /// Which of the two it is.
    pub kind: ItemKind,
}

/// What a pack of an item consists of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ItemKind {
    /// A material, kept in a unit.
    Material {
        /// The unit.
        unit: Unit,
        /// Its density, in g/mL, if known.
        density_g_per_ml: Option<Micro>,
    },
    /// A kit: what one of it holds of base and of curing agent.
    Kit([PartFacts; 2]),
}

/// A part of a kit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartFacts {
    /// The material.
    pub material_id: i64,
    /// Its code.
    pub code: Code,
    /// What one kit holds of it, in g.
    pub mass_g: Quantity,
}

/// A grant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GrantFacts {
    /// Its id.
    pub id: i64,
    /// Whether nothing new may name it.
    pub retired: bool,
}

/// A supplier.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SupplierFacts {
    /// Which one it is.
    pub key: SupplierKey,
    /// Whether nothing new may name it.
    pub retired: bool,
    /// Days from ordering to arrival, if known.
    pub lead_time_days: Option<u32>,
}

/// Which supplier a text names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SupplierKey {
    /// One that is in the books.
    Known(i64),
    /// One that is to be created under this code.
    New(String),
}

/// An order in the books.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OrderFacts {
    /// Its id.
    pub id: i64,
    /// Its supplier.
    pub supplier_id: i64,
    /// The supplier's name.
    pub supplier_name: String,
    /// The day of the order.
    pub ordered_on: NaiveDate,
    /// Its lines by number.
    pub lines: HashMap<u32, LineFacts>,
}

/// A line of an order in the books.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineFacts {
    /// Its id.
    pub id: i64,
    /// Whether it has arrived.
    pub state: LineState,
    /// What it says, as [`super::identity::RowContent::text`] wrote it.
    pub content: String,
}

/// Where a line of an order stands.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    serde::Serialize,
    serde::Deserialize,
    utoipa::ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum LineState {
    /// On order.
    Ordered,
    /// It has arrived.
    Received,
    /// It will not arrive.
    Cancelled,
}

impl LineState {
    /// Every state, in a fixed order.
    pub const ALL: [LineState; 3] = [
        LineState::Ordered,
        LineState::Received,
        LineState::Cancelled,
    ];

    /// The state's word.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            LineState::Ordered => "ordered",
            LineState::Received => "received",
            LineState::Cancelled => "cancelled",
        }
    }

    /// The state of a word.
    ///
    /// ```
    /// use heeltap::purchasing::facts::LineState;
    /// assert_eq!(LineState::parse("received"), Some(LineState::Received));
    /// ```
    #[must_use]
    pub fn parse(word: &str) -> Option<LineState> {
        LineState::ALL
            .into_iter()
            .find(|state| state.as_str() == word)
    }
}
