//! Amounts by kind of waste, added up exactly.

use super::category::{CATEGORIES, Category};
use crate::base::{Error, MICRO_PER_UNIT, Micro, Money};

/// An amount under each kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Amounts([i64; CATEGORIES]);

impl Amounts {
    /// Adds an amount to a kind.
    ///
    /// # Errors
    /// [`Error::Invalid`] when the sum leaves the range of money.
    pub fn add(&mut self, category: Category, amount: Money) -> Result<(), Error> {
        let place = &mut self.0[category as usize];
        *place = Money::from_micro(*place).checked_add(amount)?.micro();
        Ok(())
    }

    /// Adds all of another.
    ///
    /// # Errors
    /// As [`Amounts::add`].
    pub fn add_all(&mut self, other: &Self) -> Result<(), Error> {
        Category::ALL
            .into_iter()
            .try_for_each(|category| self.add(category, other.get(category)))
    }

    /// The amount under a kind.
    #[must_use]
    pub const fn get(&self, category: Category) -> Money {
        Money::from_micro(self.0[category as usize])
    }

    /// All amounts, in the order of the kinds.
    #[must_use]
    pub fn in_order(&self) -> [Money; CATEGORIES] {
        self.0.map(Money::from_micro)
    }

    /// All of it.
    ///
    /// # Errors
    /// As [`Amounts::add`].
    pub fn total(&self) -> Result<Money, Error> {
        Ok(Money::checked_sum(self.in_order())?)
    }

    /// The part within casts.
    ///
    /// # Errors
    /// As [`Amounts::add`].
    pub fn in_casts(&self) -> Result<Money, Error> {
        let within = Category::ALL.into_iter().filter(|kind| kind.is_in_casts());
        Ok(Money::checked_sum(within.map(|kind| self.get(kind)))?)
    }
}

/// The sums of a row.
#[derive(Debug, Clone, Copy, Default)]
pub struct WasteTally {
    /// Casts that have a part in it.
    pub casts: usize,
    /// What those casts cost, the row's part.
    pub spent: Money,
    /// What was wasted.
    pub amounts: Amounts,
}

impl WasteTally {
    /// Adds a cast's part: what it cost and what of that was wasted.
    ///
    /// # Errors
    /// [`Error::Invalid`] when a sum leaves the range of money.
    pub fn add_cast(&mut self, spent: Money, wasted: &Amounts) -> Result<(), Error> {
        self.casts += 1;
        self.spent = self.spent.checked_add(spent)?;
        self.amounts.add_all(wasted)
    }

    /// What casts wasted over what they cost, 0 to 1, to the millionth, half to even; none when nothing was spent.
    ///
    /// # Errors
    /// As [`WasteTally::add_cast`].
    ///
    /// ```
    /// use heeltap::base::{Micro, Money};
    /// use heeltap::costing::waste::category::Category;
    /// use heeltap::costing::waste::tally::{Amounts, WasteTally};
    /// let mut wasted = Amounts::default();
    /// wasted.add(Category::Trim, Money::from_int(1))?;
    /// wasted.add(Category::Spilled, Money::from_int(1))?;
    /// let mut tally = WasteTally::default();
    /// tally.add_cast(Money::from_int(4), &wasted)?;
    /// assert_eq!(tally.share()?, Some(Micro::parse("0.25")?));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn share(&self) -> Result<Option<Micro>, Error> {
        if self.spent.is_zero() {
            return Ok(None);
        }
        let wasted = self.amounts.in_casts()?;
        let share = wasted.mul_div_half_even(MICRO_PER_UNIT, self.spent.micro())?;
        Ok(Some(share.value()))
    }
}
