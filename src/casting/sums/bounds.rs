//! The range check every pure file of the casting room shares.
//!
//! Invariant: an [`OutOfRange`] names the parameter, the value and the bound, so that whoever shows it need
//! add nothing. Absent: parsing and rounding, which happen before and after the sums of this room.

/// A parameter outside the range in which a formula holds.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{parameter} is {value}, but must be {bound}")]
pub struct OutOfRange {
    /// The parameter's name, with its unit.
    pub parameter: &'static str,
    /// The value that was given.
    pub value: f64,
    /// What would be right, in words.
    pub bound: String,
}

/// Passes a finite `value` above zero.
///
/// # Errors
/// [`OutOfRange`] for zero, a negative value or one that is not finite.
///
/// ```
/// use heeltap::casting::sums::bounds::positive;
/// assert_eq!(positive("depth_mm", 4.0), Ok(4.0));
/// assert_eq!(positive("depth_mm", 0.0).unwrap_err().to_string(), "depth_mm is 0, but must be greater than 0");
/// ```
pub fn positive(parameter: &'static str, value: f64) -> Result<f64, OutOfRange> {
    if value.is_finite() && value > 0.0 {
        return Ok(value);
    }
    Err(OutOfRange {
        parameter,
        value,
        bound: "greater than 0".to_owned(),
    })
}

/// Passes a finite `value` of zero or more.
///
/// # Errors
/// [`OutOfRange`] for a negative value or one that is not finite.
///
/// ```
/// use heeltap::casting::sums::bounds::non_negative;
/// assert!(non_negative("drain_time_s", 0.0).is_ok());
/// assert!(non_negative("drain_time_s", -1.0).is_err());
/// ```
pub fn non_negative(parameter: &'static str, value: f64) -> Result<f64, OutOfRange> {
    if value.is_finite() && value >= 0.0 {
        return Ok(value);
    }
    Err(OutOfRange {
        parameter,
        value,
        bound: "0 or greater".to_owned(),
    })
}

/// Passes a `value` from `low` to `high`, both included.
///
/// # Errors
/// [`OutOfRange`] outside that range or when the value is not a number.
///
/// ```
/// use heeltap::casting::sums::bounds::between;
/// assert!(between("draft_deg", 5.0, 0.0, 60.0).is_ok());
/// assert!(between("draft_deg", 75.0, 0.0, 60.0).is_err());
/// ```
pub fn between(
    parameter: &'static str,
    value: f64,
    low: f64,
    high: f64,
) -> Result<f64, OutOfRange> {
    if value >= low && value <= high {
        return Ok(value);
    }
    Err(OutOfRange {
        parameter,
        value,
        bound: format!("from {low} to {high}"),
    })
}

/// Passes a count of at least one.
///
/// # Errors
/// [`OutOfRange`] for zero.
///
/// ```
/// use heeltap::casting::sums::bounds::at_least_one;
/// assert_eq!(at_least_one("copies", 3), Ok(3));
/// assert!(at_least_one("copies", 0).is_err());
/// ```
pub fn at_least_one(parameter: &'static str, count: u32) -> Result<u32, OutOfRange> {
    if count >= 1 {
        return Ok(count);
    }
    Err(OutOfRange {
        parameter,
        value: f64::from(count),
        bound: "1 or more".to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(input: Result<f64, OutOfRange>, expected: &str) {
        let shown = match input {
            Ok(value) => format!("ok {value}"),
            Err(error) => error.to_string(),
        };
        assert_eq!(shown, expected);
    }

    #[test]
    fn names_parameter_value_and_bound() {
        check(positive("a_mm", 2.5), "ok 2.5");
        check(
            positive("a_mm", -1.0),
            "a_mm is -1, but must be greater than 0",
        );
        check(
            positive("a_mm", f64::NAN),
            "a_mm is NaN, but must be greater than 0",
        );
        check(non_negative("b_g", 0.0), "ok 0");
        check(
            non_negative("b_g", f64::INFINITY),
            "b_g is inf, but must be 0 or greater",
        );
        check(between("c", 1.0, 0.0, 1.0), "ok 1");
        check(
            between("c", 1.1, 0.0, 1.0),
            "c is 1.1, but must be from 0 to 1",
        );
        check(
            between("c", f64::NAN, 0.0, 1.0),
            "c is NaN, but must be from 0 to 1",
        );
        check(
            at_least_one("n", 0).map(f64::from),
            "n is 0, but must be 1 or more",
        );
    }
}
