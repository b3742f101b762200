//! A price correction as it is shown.

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use crate::base::Money;

/// A price correction.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PriceCorrection {
    /// Its id.
    pub id: i64,
    /// The order's number, when a line of it was corrected.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order_no: Option<String>,
    /// The line's number within the order.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub line_no: Option<String>,
    /// The lot's id, when one lot was corrected.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<i64>,
    /// What it costs more, in `currency`; below 0 for a credit.
    pub amount: Money,
    /// The currency of that.
    pub currency: String,
    /// The rate it was converted at; absent in the base currency. `1/` stands before a number of foreign units for one
    /// of the base currency.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rate: Option<String>,
    /// The same in the base currency: the sum of the shares.
    pub value: Money,
    /// The day under which it was posted.
    pub corrected_on: NaiveDate,
    /// Why.
    pub reason: String,
    /// Who entered it.
    pub actor: String,
    /// When.
    pub recorded_at: DateTime<Utc>,
    /// Who bears it.
    pub shares: Vec<PriceShare>,
}

/// A share of a price correction.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PriceShare {
    /// The lot's id.
    pub lot: i64,
    /// `stock` on what is left of the lot, `price_variance` on a cast or on coats still on moulds, `waste` on what had
    /// been lost.
    #[schema(pattern = "^(stock|price_variance|waste)$")]
    pub kind: String,
    /// The movement by which the lot's value was changed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub movement: Option<i64>,
    /// The cast's code.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cast: Option<String>,
    /// The code of the grant that was charged for the cast; absent when none was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub grant: Option<String>,
    /// How much, in the base currency.
    pub amount: Money,
    /// The day under which it was posted.
    pub posted_on: NaiveDate,
}
