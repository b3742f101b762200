//! How demand is foreseen in this installation, and what else bears on every material alike.
//!
//! Invariants: a bucket has 1 to 366 days, every smoothing constant is above 0 and at most 1. Absent: what a material has of
//! its own (the catalogue states it).

use chrono::NaiveDate;

use super::demand::{BUCKET_DAYS_DEFAULT, BUCKET_DAYS_MAX};
use super::facts::ReorderFacts;
use super::forecast::{Alpha, Smoothing};
use crate::base::{Currency, Money};

/// How demand is foreseen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForecastSettings {
    /// Length of a bucket of demand, in days.
    pub bucket_days: u16,
    /// The smoothing constants.
    pub smoothing: Smoothing,
}

impl Default for ForecastSettings {
    fn default() -> Self {
        Self {
            bucket_days: BUCKET_DAYS_DEFAULT,
            smoothing: Smoothing::default(),
        }
    }
}

/// What is wrong with a setting, in words.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SettingsError {
    /// The length of a bucket is out of range.
    #[error("{0} is no length of a bucket: send 1 to {BUCKET_DAYS_MAX} days")]
    BucketDays(u16),
    /// A part of the constants is not understood.
    #[error(
        "`{0}` is no smoothing constant: write level, size, interval or probability, `=`, and a number above 0 and at most \
         1, with commas between them"
    )]
    Constant(String),
}

impl ForecastSettings {
    /// Reads the settings: the length of a bucket in days (1 to 366), and smoothing constants such as
    /// `level=0.2,interval=0.15`, of which those that are not named keep their default.
    ///
    /// # Errors
    /// [`SettingsError`] naming the part that is not understood.
    ///
    /// ```
    /// use heeltap::reorder::settings::ForecastSettings;
    /// let settings = ForecastSettings::parse(7, "level=0.3, size=0.05").unwrap();
    /// assert_eq!((settings.smoothing.level.get(), settings.smoothing.interval.get()), (0.3, 0.1));
    /// assert!(ForecastSettings::parse(7, "level=2").unwrap_err().to_string().starts_with("`level=2`"));
    /// assert!(ForecastSettings::parse(0, "").is_err());
    /// ```
    pub fn parse(bucket_days: u16, smoothing: &str) -> Result<Self, SettingsError> {
        if bucket_days == 0 || bucket_days > BUCKET_DAYS_MAX {
            return Err(SettingsError::BucketDays(bucket_days));
        }
        let mut found = Smoothing::default();
        for part in smoothing.split(',').map(str::trim) {
            if part.is_empty() {
                continue;
            }
            let fault = || SettingsError::Constant(part.to_owned());
            let (name, value) = part.split_once('=').ok_or_else(fault)?;
            let value = value.trim().parse().map_err(|_| fault())?;
            let value = Alpha::new(value).map_err(|_| fault())?;
            let constant = match name.trim() {
                "level" => &mut found.level,
                "size" => &mut found.size,
                "interval" => &mut found.interval,
                "probability" => &mut found.probability,
                _ => return Err(fault()),
            };
            *constant = value;
        }
        Ok(Self {
            bucket_days,
            smoothing: found,
        })
    }
}

/// What bears on every material and kit alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circumstances {
    /// The local day of the judgement.
    pub today: NaiveDate,
    /// The base currency.
    pub currency: Currency,
    /// How demand is foreseen.
    pub forecast: ForecastSettings,
    /// What is left of the budget of the day, if there is one.
    pub budget_left: Option<Money>,
}

impl Circumstances {
    /// Enters them into the facts of one item.
    pub fn enter(&self, facts: &mut ReorderFacts) {
        facts.bucket_days = self.forecast.bucket_days;
        facts.smoothing = self.forecast.smoothing;
        facts.budget_micro = self.budget_left.map(|left| left.micro());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, expected: Option<[f64; 4]>) {
        let found = ForecastSettings::parse(7, text).ok().map(|settings| {
            let by = settings.smoothing;
            [by.level, by.size, by.interval, by.probability].map(Alpha::get)
        });
        assert_eq!(found, expected);
    }

    #[test]
    fn constants_are_read_or_refused() {
        check("", Some([0.2, 0.1, 0.1, 0.1]));
        check("probability=1", Some([0.2, 0.1, 0.1, 1.0]));
        check(" size = 0.5 ,, interval=0.25", Some([0.2, 0.5, 0.25, 0.1]));
        for wrong in [
            "level",
            "level=",
            "level=0",
            "level=NaN",
            "level=1.01",
            "trend=0.1",
            "0.2",
        ] {
            check(wrong, None);
        }
    }
}
