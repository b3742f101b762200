//! What an operation is given: an open transaction, the moment, the local day and who acts.

use chrono::{DateTime, NaiveDate, NaiveDateTime, SubsecRound, Utc};

use super::connection::AnyConnection;
use crate::base::{Currency, Entropy};

/// How long a working day is, in minutes, unless said: 480 (*assumption*).
pub const WORKING_DAY_MIN_DEFAULT: u32 = 480;

/// What holds for the whole installation and bears on what is decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct House {
    /// The base currency.
    pub base_currency: Currency,
    /// How long a working day is, in minutes.
    pub working_day_min: u32,
}

/// An open transaction and the circumstances of the request. Everything an operation writes in one `Tx` carries the same instant.
pub struct Tx<'a> {
    /// The connection, inside a transaction.
    pub conn: &'a mut AnyConnection,
    /// The instant of the request, to the microsecond.
    pub now: DateTime<Utc>,
    /// The local day of that instant in the installation's time zone.
    pub today: NaiveDate,
    /// Who acts: the token's name, or the command.
    pub actor: &'a str,
    /// Where random bytes come from.
    pub entropy: &'a dyn Entropy,
    /// The installation's base currency.
    pub base_currency: Currency,
    /// How long a working day is, in minutes.
    pub working_day_min: u32,
}

impl Tx<'_> {
    /// What holds for the whole installation.
    #[must_use]
    pub fn house(&self) -> House {
        House {
            base_currency: self.base_currency,
            working_day_min: self.working_day_min,
        }
    }

    /// The instant as it is stored.
    #[must_use]
    pub fn stored_now(&self) -> NaiveDateTime {
        stored_instant(self.now)
    }
}

/// An instant as it is stored: UTC, to the microsecond.
#[must_use]
pub fn stored_instant(at: DateTime<Utc>) -> NaiveDateTime {
    at.naive_utc().trunc_subsecs(6)
}

/// A stored instant as it is shown.
#[must_use]
pub fn instant(at: NaiveDateTime) -> DateTime<Utc> {
    at.and_utc()
}
