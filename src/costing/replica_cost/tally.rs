//! Adding casts up, exactly: casts, chips, amounts by component, and the pairs the interval is made from.
//!
//! Invariants: money is summed in whole millionths, chips in whole parts of [`CHIP_PARTS`]; a payer's chips are the
//! cast's chips by its share, so that cost over good chips means the same in every row; a cast without a good chip
//! adds its cost and no good chip. Deliberately absent: rounding for print.

use super::grouping::Part;
use super::interval::CostAndChips;
use crate::base::{Error, Micro, Money};
use crate::casting::cost::Components;

/// A whole chip, in parts: a share of 100 per cent in millionths, so that shares of chips stay whole numbers.
pub const CHIP_PARTS: i128 = 100_000_000;

/// The sums of a row.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    /// Casts that have a part in it.
    pub casts: usize,
    /// Of those, casts without a good chip.
    pub scrapped_casts: usize,
    /// Chips, good and rejected, in parts of [`CHIP_PARTS`].
    pub chip_parts: i128,
    /// Good chips, in parts of [`CHIP_PARTS`].
    pub good_parts: i128,
    /// Amounts by component.
    pub amounts: Components,
    /// Cost and good chips, cast by cast.
    pub pairs: Vec<CostAndChips>,
}

impl Tally {
    /// Adds one payer's part of a cast with `good` and `rejected` chips, 0 or more each.
    ///
    /// # Errors
    /// [`Error::Invalid`] when a sum leaves the range of money.
    ///
    /// ```
    /// use heeltap::base::Micro;
    /// use heeltap::costing::replica_cost::grouping::Part;
    /// use heeltap::costing::replica_cost::tally::{CHIP_PARTS, Tally};
    /// let mut tally = Tally::default();
    /// let part = Part { grant_id: Some(1), material_id: None, share: Micro::from_int(25), amounts: Default::default() };
    /// tally.add((18, 2), &part)?;
    /// assert_eq!((tally.good_parts, tally.chip_parts), (CHIP_PARTS * 9 / 2, CHIP_PARTS * 5));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn add(&mut self, (good, rejected): (i64, i64), part: &Part) -> Result<(), Error> {
        let share = i128::from(part.share.micro());
        let good_parts = i128::from(good) * share;
        self.casts += 1;
        self.scrapped_casts += usize::from(good == 0);
        self.chip_parts += good_parts + i128::from(rejected) * share;
        self.good_parts += good_parts;
        for (component, amount) in part.amounts.iter() {
            self.amounts.add(component, amount)?;
        }
        self.pairs.push(CostAndChips {
            cost: part.amounts.total()?.to_f64(),
            good_chips: good_parts as f64 / CHIP_PARTS as f64,
        });
        Ok(())
    }

    /// Cost per good chip, from the exact sums, to the millionth, half to even; none without a good chip.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves the range of money.
    pub fn per_good_chip(&self) -> Result<Option<Money>, Error> {
        if self.good_parts == 0 {
            return Ok(None);
        }
        let product = i128::from(self.amounts.total()?.micro()) * CHIP_PARTS;
        quotient(product, self.good_parts).map(|micro| Some(Money::from_micro(micro)))
    }

    /// Good chips over chips, 0 to 1, to the millionth, half to even; none without a chip.
    ///
    /// # Errors
    /// [`Error::Invalid`] when the counts are beyond all bounds.
    pub fn chip_yield(&self) -> Result<Option<Micro>, Error> {
        if self.chip_parts == 0 {
            return Ok(None);
        }
        let product = self.good_parts * i128::from(crate::base::MICRO_PER_UNIT);
        quotient(product, self.chip_parts).map(|micro| Some(Micro::from_micro(micro)))
    }

    /// A part of the cost over all of it, to the millionth, half to even; none when nothing was spent.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves the range.
    pub fn share_of_cost(&self, amount: Money) -> Result<Option<Micro>, Error> {
        let total = self.amounts.total()?;
        if total.is_zero() {
            return Ok(None);
        }
        let share = amount.mul_div_half_even(crate::base::MICRO_PER_UNIT, total.micro())?;
        Ok(Some(share.value()))
    }
}

fn quotient(num: i128, den: i128) -> Result<i64, Error> {
    crate::base::round_half_even_div(num, den)
        .and_then(|quotient| i64::try_from(quotient).ok())
        .ok_or_else(|| crate::base::MicroError::Overflow.into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::casting::cost::Component;
    use crate::costing::replica_cost::grouping::WHOLE_SHARE;

    fn part(share: Micro, residue: &str, chip: &str) -> Part {
        let mut amounts = Components::default();
        amounts
            .add(Component::Residue, Money::parse(residue).unwrap())
            .unwrap();
        amounts
            .add(Component::Chip, Money::parse(chip).unwrap())
            .unwrap();
        Part {
            material_id: None,
            grant_id: Some(1),
            share,
            amounts,
        }
    }

    #[test]
    fn a_scrapped_cast_costs_and_brings_nothing() {
        let mut tally = Tally::default();
        tally.add((9, 1), &part(WHOLE_SHARE, "2", "7")).unwrap();
        assert_eq!(tally.per_good_chip().unwrap(), Some(Money::from_int(1)));
        tally.add((0, 10), &part(WHOLE_SHARE, "2", "7")).unwrap();
        assert_eq!(tally.per_good_chip().unwrap(), Some(Money::from_int(2)));
        assert_eq!((tally.casts, tally.scrapped_casts), (2, 1));
        assert_eq!(
            tally.chip_yield().unwrap(),
            Some(Micro::parse("0.45").unwrap())
        );
        let residue = tally.amounts.get(Component::Residue);
        assert_eq!(
            tally.share_of_cost(residue).unwrap(),
            Some(Micro::parse("0.222222").unwrap())
        );
    }

    #[test]
    fn a_third_of_a_cast_has_its_third_of_the_chips() {
        let third = Micro::parse("33.333333").unwrap();
        let mut tally = Tally::default();
        tally
            .add((10, 0), &part(third, "0.333333", "3.333333"))
            .unwrap();
        // 3.666666 over 3.3333333 chips is 1.10000000...
        assert_eq!(tally.good_parts, 333_333_330);
        assert_eq!(
            tally.per_good_chip().unwrap(),
            Some(Money::parse("1.1").unwrap())
        );
    }

    #[test]
    fn nothing_over_nothing_is_nothing() {
        let tally = Tally::default();
        assert_eq!(tally.per_good_chip().unwrap(), None);
        assert_eq!(tally.chip_yield().unwrap(), None);
        assert_eq!(tally.share_of_cost(Money::ZERO).unwrap(), None);
    }
}
