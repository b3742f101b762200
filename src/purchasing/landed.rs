//! What a purchase cost once it stands on the shelf, line by line, exact to the millionth.
//!
//! Landed cost = price + tax that is not recovered + the line's part of the order's freight, duty and fees
//! (scope as in IAS 2 paragraphs 10-11, from memory). Invariants: the parts of a spread amount add up to it
//! (largest remainder, ties to the first line); an amount that nothing can be spread over is an error, never a
//! division by zero; all amounts are in the base currency before anything is spread. Deliberately absent:
//! exchange rates, and the movements that carry the value.

use crate::base::{ApportionError, MicroError, Money, Quantity, apportion};

/// What freight, duty and fees are spread by.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    serde::Serialize,
    serde::Deserialize,
    utoipa::ToSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum SpreadBasis {
    /// By the lines' prices.
    #[default]
    Value,
    /// By the lines' masses.
    Mass,
    /// By the number of packs.
    Count,
}

impl SpreadBasis {
    /// Reads `value`, `mass` or `count`.
    ///
    /// ```
    /// use heeltap::purchasing::landed::SpreadBasis;
    /// assert_eq!(SpreadBasis::parse("mass"), Some(SpreadBasis::Mass));
    /// ```
    #[must_use]
    pub fn parse(name: &str) -> Option<SpreadBasis> {
        match name {
            "value" => Some(SpreadBasis::Value),
            "mass" => Some(SpreadBasis::Mass),
            "count" => Some(SpreadBasis::Count),
            _ => None,
        }
    }

    /// The name of the parameter's value.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            SpreadBasis::Value => "value",
            SpreadBasis::Mass => "mass",
            SpreadBasis::Count => "count",
        }
    }
}

/// The amounts on one line of an order, in the base currency, and what it may be weighted by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LineAmounts {
    /// The price of the whole line.
    pub price: Money,
    /// Tax of the line that is not recovered.
    pub tax: Money,
    /// Freight entered on the line; summed over the order. Below zero for a rebate.
    pub freight: Money,
    /// Duty entered on the line; summed over the order.
    pub duty: Money,
    /// Fees entered on the line; summed over the order.
    pub fees: Money,
    /// Mass of the line in grams, where it is known.
    pub mass_g: Option<Quantity>,
    /// Number of packs.
    pub packs: u32,
}

/// The landed cost of one line and what it is made of, in the base currency.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LandedLine {
    /// The price of the line.
    pub price: Money,
    /// Tax that is not recovered.
    pub tax: Money,
    /// Its part of the order's freight.
    pub freight: Money,
    /// Its part of the order's duty.
    pub duty: Money,
    /// Its part of the order's fees.
    pub fees: Money,
    /// The sum of the above.
    pub landed: Money,
}

/// Why an order could not be costed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LandedError {
    /// There is an amount to spread and nothing to spread it over.
    #[error(
        "no positive base to allocate over: {column} of {amount} cannot be spread, as every line's {basis} is zero; spread it by mass or count, or enter it as the price of a line"
    )]
    NoPositiveBase {
        /// `freight`, `duty` or `fees`.
        column: &'static str,
        /// The amount of the order.
        amount: Money,
        /// What it was to be spread by.
        basis: &'static str,
    },
    /// A line has a negative weight.
    #[error("line {index} of the order has a negative {basis}: it must be zero or more")]
    NegativeBase {
        /// Position of the line, from 1.
        index: usize,
        /// What was to be spread by.
        basis: &'static str,
    },
    /// A line has no mass.
    #[error(
        "line {index} of the order has no mass to spread {column} by: spread it by value or count"
    )]
    NoMass {
        /// `freight`, `duty` or `fees`.
        column: &'static str,
        /// Position of the line, from 1.
        index: usize,
    },
    /// The amounts do not fit.
    #[error(transparent)]
    OutOfRange(#[from] MicroError),
}

/// The landed cost of every line of an order.
///
/// Freight, duty and fees are each summed over the order and spread over its lines by `basis` with the largest
/// remainder in millionths.
///
/// # Errors
/// [`LandedError`]: nothing to spread over, a line without mass, or amounts that do not fit.
///
/// ```
/// use heeltap::base::Money;
/// use heeltap::purchasing::landed::{LineAmounts, SpreadBasis, land_order};
/// let line = |price, freight| LineAmounts {
///     price: Money::from_int(price),
///     freight: Money::from_int(freight),
///     ..LineAmounts::default()
/// };
/// let landed = land_order(&[line(30, 10), line(10, 0)], SpreadBasis::Value)?;
/// assert_eq!(landed[0].landed.to_string(), "37.5");
/// assert_eq!(landed[1].landed.to_string(), "12.5");
/// assert!(land_order(&[line(0, 5)], SpreadBasis::Value).is_err());
/// # Ok::<(), heeltap::purchasing::landed::LandedError>(())
/// ```
pub fn land_order(
    lines: &[LineAmounts],
    basis: SpreadBasis,
) -> Result<Vec<LandedLine>, LandedError> {
    let freight = spread("freight", lines, basis, |line| line.freight)?;
    let duty = spread("duty", lines, basis, |line| line.duty)?;
    let fees = spread("fees", lines, basis, |line| line.fees)?;
    let mut landed = Vec::with_capacity(lines.len());
    for (i, line) in lines.iter().enumerate() {
        let parts = [line.price, line.tax, freight[i], duty[i], fees[i]];
        landed.push(LandedLine {
            price: line.price,
            tax: line.tax,
            freight: freight[i],
            duty: duty[i],
            fees: fees[i],
            landed: Money::checked_sum(parts)?,
        });
    }
    Ok(landed)
}

/// The parts of one column's sum.
fn spread(
    column: &'static str,
    lines: &[LineAmounts],
    basis: SpreadBasis,
    amount: impl Fn(&LineAmounts) -> Money,
) -> Result<Vec<Money>, LandedError> {
    let total = Money::checked_sum(lines.iter().map(amount))?;
    if total.is_zero() {
        return Ok(vec![Money::ZERO; lines.len()]);
    }
    let mut weights = Vec::with_capacity(lines.len());
    for (i, line) in lines.iter().enumerate() {
        weights.push(match basis {
            SpreadBasis::Value => line.price.micro(),
            SpreadBasis::Count => i64::from(line.packs),
            SpreadBasis::Mass => {
                let index = i + 1;
                let mass = line.mass_g.ok_or(LandedError::NoMass { column, index })?;
                mass.micro()
            }
        });
    }
    let name = match basis {
        SpreadBasis::Value => "price",
        SpreadBasis::Mass => "mass",
        SpreadBasis::Count => "number of packs",
    };
    let parts = apportion(total.micro(), &weights).map_err(|error| match error {
        ApportionError::NoPositiveBase { .. } => LandedError::NoPositiveBase {
            column,
            amount: total,
            basis: name,
        },
        ApportionError::NegativeWeight { index, .. } => LandedError::NegativeBase {
            index: index + 1,
            basis: name,
        },
    })?;
    Ok(parts.into_iter().map(Money::from_micro).collect())
}

/// The cost of a kit split over its parts by their masses, in the order given.
///
/// # Errors
/// [`ApportionError`] if no mass is above zero, or one is below.
///
/// ```
/// use heeltap::base::{Money, Quantity};
/// use heeltap::purchasing::landed::split_kit;
/// let parts = split_kit(Money::from_int(110), &[Quantity::from_int(1000), Quantity::from_int(100)])?;
/// assert_eq!(parts, [Money::from_int(100), Money::from_int(10)]);
/// # Ok::<(), heeltap::base::ApportionError>(())
/// ```
pub fn split_kit(cost: Money, masses_g: &[Quantity]) -> Result<Vec<Money>, ApportionError> {
    let weights: Vec<i64> = masses_g.iter().map(|mass| mass.micro()).collect();
    let parts = apportion(cost.micro(), &weights)?;
    Ok(parts.into_iter().map(Money::from_micro).collect())
}

/// Whether the same non-zero figure stands on each of two or more lines of an order.
///
/// Freight is summed over the order. The same figure on every line may be each line's own, or the order's
/// total typed on every line, which would count it several times: somebody has to say which.
///
/// ```
/// use heeltap::base::Money;
/// use heeltap::purchasing::landed::is_repeated_figure;
/// let five = Money::from_int(5);
/// assert!(is_repeated_figure(&[five, five]));
/// assert!(!is_repeated_figure(&[five, Money::ZERO]));
/// assert!(!is_repeated_figure(&[five]));
/// ```
#[must_use]
pub fn is_repeated_figure(amounts: &[Money]) -> bool {
    match amounts {
        [first, rest @ ..] => {
            !rest.is_empty() && !first.is_zero() && rest.iter().all(|amount| amount == first)
        }
        [] => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn line(price: i64, freight: i64) -> LineAmounts {
        LineAmounts {
            price: Money::from_micro(price),
            freight: Money::from_micro(freight),
            packs: 1,
            ..LineAmounts::default()
        }
    }

    #[track_caller]
    fn freight(lines: &[LineAmounts], basis: SpreadBasis) -> Result<Vec<i64>, LandedError> {
        land_order(lines, basis).map(|l| l.iter().map(|line| line.freight.micro()).collect())
    }

    #[test]
    fn free_lines_get_no_freight_by_value_but_do_by_count() {
        let lines = [line(100, 9), line(0, 0), line(200, 0)];
        assert_eq!(freight(&lines, SpreadBasis::Value), Ok(vec![3, 0, 6]));
        assert_eq!(freight(&lines, SpreadBasis::Count), Ok(vec![3, 3, 3]));
    }

    #[test]
    fn by_mass_every_line_needs_a_mass() {
        let mut lines = [line(1, 10), line(1, 0)];
        lines[0].mass_g = Some(Quantity::from_int(900));
        let missing = freight(&lines, SpreadBasis::Mass);
        assert_eq!(
            missing,
            Err(LandedError::NoMass {
                column: "freight",
                index: 2
            })
        );
        lines[1].mass_g = Some(Quantity::from_int(100));
        assert_eq!(freight(&lines, SpreadBasis::Mass), Ok(vec![9, 1]));
    }

    #[test]
    fn duty_fees_and_tax_are_part_of_the_cost() {
        let mut lines = [line(300, 0), line(100, 0)];
        lines[0].duty = Money::from_micro(40);
        lines[1].fees = Money::from_micro(8);
        lines[1].tax = Money::from_micro(19);
        let landed = land_order(&lines, SpreadBasis::Value)
            .map(|l| l.iter().map(|line| line.landed.micro()).collect::<Vec<_>>());
        assert_eq!(landed, Ok(vec![300 + 30 + 6, 100 + 10 + 2 + 19]));
    }

    #[test]
    fn nothing_to_spread_over_is_an_error_that_names_the_column() {
        let error =
            freight(&[line(0, 500), line(0, 0)], SpreadBasis::Value).map_err(|e| e.to_string());
        assert!(error.is_err_and(|e| e.starts_with("no positive base to allocate over: freight")));
    }

    proptest! {
        #[test]
        fn landed_cost_adds_up(
            amounts in prop::collection::vec((1_i64..1_000_000_000_000, -1_000_i64..1_000_000), 1..9),
        ) {
            let lines: Vec<LineAmounts> = amounts.iter().map(|(p, f)| line(*p, *f)).collect();
            let landed = land_order(&lines, SpreadBasis::Value)
                .map_err(|e| TestCaseError::fail(e.to_string()))?;
            let sum: i64 = landed.iter().map(|l| l.landed.micro()).sum();
            prop_assert_eq!(sum, amounts.iter().map(|(p, f)| p + f).sum::<i64>());
        }
    }
}
