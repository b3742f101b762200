//! What one good chip costs by component, as a row of the report says it.
//!
//! Invariant: the parts add up to the row's cost per good chip as it is printed. Deliberately absent: parts of a row without
//! a good chip, since it has no such cost.

use super::report::CostRow;
use crate::base::{Currency, Error, Money, apportion, round_half_even_div};
use crate::casting::cost::Component;

/// How much finer than the minor unit the cost of one chip is printed.
const FINER: i64 = 100;

/// The step in which the cost of one good chip is printed, in millionths: a hundredth of the minor unit.
///
/// ```
/// use heeltap::base::Currency;
/// use heeltap::costing::replica_cost::per_chip::chip_step_micro;
/// assert_eq!(chip_step_micro(Currency::parse("EUR").unwrap()), 100);
/// ```
#[must_use]
pub const fn chip_step_micro(currency: Currency) -> i64 {
    currency.minor_unit_micro() / FINER
}

/// The cost of one good chip as printed, half to even.
///
/// # Errors
/// [`Error::Invalid`] at the very edge of money.
///
/// ```
/// use heeltap::base::{Currency, Money};
/// use heeltap::costing::replica_cost::per_chip::chip_printed;
/// let printed = chip_printed(Money::parse("1.23455")?, Currency::parse("EUR").unwrap())?;
/// assert_eq!(printed.to_string(), "1.2346");
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn chip_printed(amount: Money, currency: Currency) -> Result<Money, Error> {
    let step = i128::from(chip_step_micro(currency));
    let steps = round_half_even_div(i128::from(amount.micro()), step).unwrap_or_default();
    crate::costing::rounding::money(steps * step)
}

/// What of the cost of one good chip is for which component, in their order: the printed cost, shared out as the row's printed
/// amounts are, by largest remainder. None without a good chip, and where all printed amounts are 0.
///
/// # Errors
/// [`Error::Invalid`] for an amount below 0, which no component has.
pub fn parts_per_good_chip(
    row: &CostRow,
    currency: Currency,
) -> Result<Option<Vec<(Component, Money)>>, Error> {
    let weights = row.components.iter().map(|part| part.amount.micro());
    let weights: Vec<i64> = weights.collect();
    let Some(cost) = row
        .per_good_chip
        .filter(|_| weights.iter().any(|weight| *weight != 0))
    else {
        return Ok(None);
    };
    let step = chip_step_micro(currency);
    let steps = chip_printed(cost, currency)?.micro() / step;
    let parts = apportion(steps, &weights).map_err(Error::internal)?;
    let components = row.components.iter().map(|part| part.component);
    Ok(Some(
        components
            .zip(
                parts
                    .into_iter()
                    .map(|steps| Money::from_micro(steps * step)),
            )
            .collect(),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Micro;
    use crate::casting::cost::ComponentAmount;

    fn row(amounts: &[(Component, &str)], per_good_chip: Option<&str>) -> CostRow {
        let money = |text: &str| Money::parse(text).unwrap();
        let of = |component| {
            let found = amounts.iter().find(|(named, _)| *named == component);
            money(found.map_or("0", |(_, amount)| amount))
        };
        CostRow {
            key: "R".to_owned(),
            name: None,
            casts: 1,
            scrapped_casts: 0,
            chips: Micro::from_int(7),
            good_chips: Micro::from_int(7),
            r#yield: None,
            components: Component::ALL
                .map(|component| ComponentAmount {
                    component,
                    amount: of(component),
                })
                .to_vec(),
            total: Money::ZERO,
            exact_total: Money::ZERO,
            per_good_chip: per_good_chip.map(money),
            planning_interval: None,
            residue_share: None,
            trim_share: None,
        }
    }

    #[track_caller]
    fn check(row: &CostRow, expected: Option<&[(Component, &str)]>) {
        let found = parts_per_good_chip(row, Currency::parse("EUR").unwrap()).unwrap();
        let shown = found.map(|parts| {
            let more = parts.into_iter().filter(|(_, amount)| !amount.is_zero());
            more.map(|(component, amount)| (component, amount.to_string()))
                .collect::<Vec<_>>()
        });
        let expected = expected.map(|parts| {
            let parts = parts.iter();
            parts
                .map(|(component, amount)| (*component, (*amount).to_owned()))
                .collect::<Vec<_>>()
        });
        assert_eq!(shown, expected);
    }

    #[test]
    fn parts_add_up_to_the_printed_cost_of_a_chip() {
        let amounts = [(Component::Chip, "5"), (Component::Residue, "2")];
        // 1.428571 is printed as 1.4286: 10204.3 and 4081.7 steps of the 14286 are 1.0204 and 0.4082.
        let parts = [(Component::Chip, "1.0204"), (Component::Residue, "0.4082")];
        check(
            &row(&amounts, Some("1")),
            Some(&[(Component::Chip, "0.7143"), (Component::Residue, "0.2857")]),
        );
        check(&row(&amounts, Some("1.428571")), Some(&parts));
    }

    #[test]
    fn without_a_good_chip_or_an_amount_there_are_no_parts() {
        check(&row(&[(Component::Tape, "1")], None), None);
        check(&row(&[], Some("0.0004")), None);
    }
}
