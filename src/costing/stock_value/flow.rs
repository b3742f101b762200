//! What changes the value of the stock.

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use crate::base::{Error, Money};

/// A line between the opening and the closing value; what leaves is below 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Flow {
    /// The value before the first day.
    Opening,
    /// What purchases brought.
    Received,
    /// Price corrections on what was left.
    Corrected,
    /// What casts and treatments took.
    Used,
    /// What was spilled, written off, or missing when counted.
    Lost,
}

/// How many lines there are.
pub const FLOWS: usize = 5;

impl Flow {
    /// Every line, in the order in which they are shown.
    pub const ALL: [Self; FLOWS] = [
        Self::Opening,
        Self::Received,
        Self::Corrected,
        Self::Used,
        Self::Lost,
    ];

    /// The line's word.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Opening => "opening",
            Self::Received => "received",
            Self::Corrected => "corrected",
            Self::Used => "used",
            Self::Lost => "lost",
        }
    }

    /// The line of a movement, by the word of its kind.
    ///
    /// # Errors
    /// [`Error::Internal`] for a kind that this program does not know.
    ///
    /// ```
    /// use heeltap::costing::stock_value::flow::Flow;
    /// assert_eq!(Flow::of("wear")?, Flow::Used);
    /// assert!(Flow::of("gift").is_err());
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn of(kind: &str) -> Result<Self, Error> {
        match kind {
            "receipt" => Ok(Self::Received),
            "revaluation" => Ok(Self::Corrected),
            "consumption" | "residue" | "wear" => Ok(Self::Used),
            "spill" | "count" | "write_off" => Ok(Self::Lost),
            kind => Err(Error::internal(format!("a movement of the kind `{kind}`"))),
        }
    }
}

/// Values by line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Flows([i64; FLOWS]);

impl Flows {
    /// Adds a value to a line.
    ///
    /// # Errors
    /// [`Error::Invalid`] when the sum leaves the range of money.
    pub fn add(&mut self, flow: Flow, value: Money) -> Result<(), Error> {
        let place = &mut self.0[flow as usize];
        *place = Money::from_micro(*place).checked_add(value)?.micro();
        Ok(())
    }

    /// Adds all of another.
    ///
    /// # Errors
    /// As [`Flows::add`].
    pub fn add_all(&mut self, other: &Self) -> Result<(), Error> {
        Flow::ALL
            .into_iter()
            .zip(other.in_order())
            .try_for_each(|(flow, value)| self.add(flow, value))
    }

    /// All values, in the order of the lines.
    #[must_use]
    pub fn in_order(&self) -> [Money; FLOWS] {
        self.0.map(Money::from_micro)
    }

    /// The closing value: their sum.
    ///
    /// # Errors
    /// As [`Flows::add`].
    pub fn closing(&self) -> Result<Money, Error> {
        Ok(Money::checked_sum(self.in_order())?)
    }
}

/// A lot, as far as reports group by it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotKnown {
    /// Its material's id.
    pub material_id: i64,
    /// The grant that paid for it, if one did.
    pub funded_by_id: Option<i64>,
    /// The supplier's lot code.
    pub code: String,
    /// The code that both parts of a kit share.
    pub kit_lot: Option<String>,
    /// When it was received.
    pub received_on: NaiveDate,
}
