//! Who is to be charged for a cast instead, and how a change of that is shown.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::base::{Error, FieldError, short_words};
use crate::casting::planning::request::{Charge, check_charges};

/// Who is to be charged for a cast instead.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChargesIn {
    /// Who pays: shares that add up to exactly 100, or an empty list when nobody in particular does.
    pub charges: Vec<Charge>,
    /// Why, in words; kept with the change.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub reason: String,
    /// Whether stock that a grant paid for may be charged to others; as the cast was booked unless said.
    #[serde(default)]
    pub allow_cross_charge: bool,
}

impl ChargesIn {
    /// The reason, when nothing is wrong.
    ///
    /// # Errors
    /// [`Error::Invalid`] with every fault found.
    ///
    /// ```
    /// use heeltap::casting::life::charges_input::ChargesIn;
    /// let asked = |body: &str| serde_json::from_str::<ChargesIn>(body).unwrap();
    /// assert_eq!(asked(r#"{"charges": [], "reason": " a mistake "}"#).check().unwrap(), "a mistake");
    /// assert!(asked(r#"{"charges": [], "reason": " "}"#).check().is_err());
    /// ```
    pub fn check(&self) -> Result<String, Error> {
        let mut faults = check_charges(&self.charges);
        let reason = short_words("/reason", "a reason", &self.reason);
        match &reason {
            Ok(reason) if reason.is_empty() => {
                let detail = "say why the charges change, in 1 to 200 characters";
                faults.push(FieldError::new("/reason", detail));
            }
            Ok(_) => {}
            Err(fault) => faults.push(fault.clone()),
        }
        match reason {
            Ok(reason) if faults.is_empty() => Ok(reason),
            _ => Err(Error::Invalid(faults)),
        }
    }
}

/// A change of who is charged for a cast.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ChargeChange {
    /// When.
    pub recorded_at: DateTime<Utc>,
    /// Who changed it.
    pub actor: String,
    /// Why.
    pub reason: String,
    /// Who was charged.
    pub before: Vec<Charge>,
    /// Who is charged since.
    pub after: Vec<Charge>,
}
