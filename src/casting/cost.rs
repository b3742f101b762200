//! The cost of a cast by component: a closed list, in the order of the work.
//!
//! Invariant: the components add up to what ledger and pools issued to the cast, to the millionth; whatever is split is
//! split by largest remainder. Deliberately absent: who pays (costing).

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::base::{Error, Money, apportion};
use crate::casting::sums::split::MixShares;

/// A component of the cost of a cast.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Component {
    /// Elastomer that became chips.
    Chip,
    /// Elastomer poured beside the mould.
    Trim,
    /// Elastomer poured beyond what the trays need, and batches that were discarded.
    Overfill,
    /// Elastomer left in the cups.
    Residue,
    /// Release coats.
    Release,
    /// Tape.
    Tape,
    /// Trays.
    Container,
    /// Mixing cups.
    Cup,
    /// The mould's own cost, spread over its rated casts.
    Mold,
    /// Extras of the recipe.
    Sundries,
}

impl Component {
    /// Every component, in the order in which they are shown.
    pub const ALL: [Self; 10] = [
        Self::Chip,
        Self::Trim,
        Self::Overfill,
        Self::Residue,
        Self::Release,
        Self::Tape,
        Self::Container,
        Self::Cup,
        Self::Mold,
        Self::Sundries,
    ];

    /// The component's word, as it is stored and shown.
    ///
    /// ```
    /// assert_eq!(heeltap::casting::cost::Component::Trim.as_str(), "trim");
    /// ```
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Chip => "chip",
            Self::Trim => "trim",
            Self::Overfill => "overfill",
            Self::Residue => "residue",
            Self::Release => "release",
            Self::Tape => "tape",
            Self::Container => "container",
            Self::Cup => "cup",
            Self::Mold => "mold",
            Self::Sundries => "sundries",
        }
    }

    /// The component of a stored word; none when the word is unknown.
    ///
    /// ```
    /// use heeltap::casting::cost::Component;
    /// assert_eq!(Component::from_word("residue"), Some(Component::Residue));
    /// assert_eq!(Component::from_word("glue"), None);
    /// ```
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL
            .into_iter()
            .find(|component| component.as_str() == word)
    }
}

/// An amount under each component.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Components([i64; 10]);

impl Components {
    /// Adds an amount to a component.
    ///
    /// # Errors
    /// [`Error::Invalid`] when the sum leaves the range of money.
    ///
    /// ```
    /// use heeltap::base::Money;
    /// use heeltap::casting::cost::{Component, Components};
    /// let mut cost = Components::default();
    /// cost.add(Component::Tape, Money::from_int(2))?;
    /// cost.add(Component::Tape, Money::from_int(3))?;
    /// assert_eq!(cost.get(Component::Tape), Money::from_int(5));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn add(&mut self, component: Component, amount: Money) -> Result<(), Error> {
        let place = &mut self.0[component as usize];
        *place = Money::from_micro(*place).checked_add(amount)?.micro();
        Ok(())
    }

    /// The amount under a component.
    ///
    /// ```
    /// use heeltap::base::Money;
    /// use heeltap::casting::cost::{Component, Components};
    /// assert_eq!(Components::default().get(Component::Cup), Money::ZERO);
    /// ```
    #[must_use]
    pub fn get(&self, component: Component) -> Money {
        Money::from_micro(self.0[component as usize])
    }

    /// Component and amount, in order.
    ///
    /// ```
    /// use heeltap::casting::cost::{Component, Components};
    /// assert_eq!(Components::default().iter().map(|(component, _)| component).next(), Some(Component::Chip));
    /// ```
    pub fn iter(&self) -> impl Iterator<Item = (Component, Money)> + '_ {
        Component::ALL
            .into_iter()
            .map(|component| (component, self.get(component)))
    }

    /// The sum of all components.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves the range of money.
    ///
    /// ```
    /// use heeltap::base::Money;
    /// use heeltap::casting::cost::{Component, Components};
    /// let mut cost = Components::default();
    /// cost.add(Component::Tape, Money::from_int(2))?;
    /// cost.add(Component::Mold, Money::from_int(3))?;
    /// assert_eq!(cost.total()?, Money::from_int(5));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn total(&self) -> Result<Money, Error> {
        Ok(Money::checked_sum(
            self.0.into_iter().map(Money::from_micro),
        )?)
    }

    /// Spreads the value of elastomer over chip, trim, overfill and residue by mass.
    ///
    /// With `poured_only`, residue is left out: its value is known by its own movement.
    ///
    /// # Errors
    /// [`Error::Invalid`] when there is no mass to spread a value over.
    ///
    /// ```
    /// use heeltap::base::Money;
    /// use heeltap::casting::cost::{Component, Components};
    /// use heeltap::casting::sums::split::split_mix;
    /// let shares = split_mix(30.0, 20.0, 60.0, 6.0).map_err(heeltap::base::Error::internal)?;
    /// let mut cost = Components::default();
    /// cost.add_elastomer(Money::from_int(6), &shares, false)?;
    /// assert_eq!(cost.get(Component::Chip), Money::from_int(3));
    /// assert_eq!(cost.get(Component::Residue).to_string(), "0.6");
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn add_elastomer(
        &mut self,
        value: Money,
        shares: &MixShares,
        poured_only: bool,
    ) -> Result<(), Error> {
        let residue_g = if poured_only { 0.0 } else { shares.residue_g };
        let masses = [
            shares.chip_g,
            shares.trim_g,
            shares.overfill_g + shares.discarded_g,
            residue_g,
        ];
        let mut weights = Vec::with_capacity(masses.len());
        for mass in masses {
            weights.push(
                crate::casting::planning::sizing::rounded(mass)?
                    .micro()
                    .max(0),
            );
        }
        if value == Money::ZERO {
            return Ok(());
        }
        let parts = apportion(value.micro(), &weights)?;
        let components = [
            Component::Chip,
            Component::Trim,
            Component::Overfill,
            Component::Residue,
        ];
        components
            .into_iter()
            .zip(parts)
            .try_for_each(|(component, part)| self.add(component, Money::from_micro(part)))
    }
}

/// An amount under a component, as it is shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ComponentAmount {
    /// The component.
    pub component: Component,
    /// The amount, in the base currency.
    pub amount: Money,
}

/// The cost of a cast, as it is shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CostView {
    /// The base currency.
    pub currency: String,
    /// `planned` or `actual`.
    pub basis: String,
    /// All components in their order.
    pub components: Vec<ComponentAmount>,
    /// Their sum.
    pub total: Money,
    /// Good chips: counted, or expected in a plan.
    pub good_chips: crate::base::Micro,
    /// Cost per good chip, rounded to the millionth, half to even; absent when no chip is good.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub per_good_chip: Option<Money>,
}

impl CostView {
    /// The view of components over good chips.
    ///
    /// # Errors
    /// [`Error::Invalid`] when a sum leaves the range of money.
    ///
    /// ```
    /// use heeltap::base::{Micro, Money};
    /// use heeltap::casting::cost::{Component, Components, CostView};
    /// let mut cost = Components::default();
    /// cost.add(Component::Chip, Money::from_int(10))?;
    /// let view = CostView::new(&cost, "EUR", "actual", Micro::from_int(3))?;
    /// assert_eq!(view.per_good_chip.map(|amount| amount.to_string()), Some("3.333333".to_owned()));
    /// assert_eq!(CostView::new(&cost, "EUR", "actual", Micro::ZERO)?.per_good_chip, None);
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn new(
        components: &Components,
        currency: &str,
        basis: &str,
        good_chips: crate::base::Micro,
    ) -> Result<Self, Error> {
        let total = components.total()?;
        let per_good_chip = if good_chips > crate::base::Micro::ZERO {
            Some(total.mul_div_half_even(crate::base::MICRO_PER_UNIT, good_chips.micro())?)
        } else {
            None
        };
        Ok(Self {
            currency: currency.to_owned(),
            basis: basis.to_owned(),
            components: components
                .iter()
                .map(|(component, amount)| ComponentAmount { component, amount })
                .collect(),
            total,
            good_chips,
            per_good_chip,
        })
    }

    /// What of the cost per good chip is each component's, in their order: split by largest remainder, so that they add up
    /// to it; none when no chip is good.
    ///
    /// # Errors
    /// [`Error::Invalid`] when a component is below zero.
    ///
    /// ```
    /// use heeltap::base::{Micro, Money};
    /// use heeltap::casting::cost::{Component, Components, CostView};
    /// let mut cost = Components::default();
    /// cost.add(Component::Chip, Money::from_int(10))?;
    /// cost.add(Component::Tape, Money::from_int(10))?;
    /// let view = CostView::new(&cost, "EUR", "actual", Micro::from_int(3))?;
    /// let parts = view.per_good_chip_parts()?.unwrap();
    /// assert_eq!((parts[0].to_string(), parts[5].to_string()), ("3.333334".to_owned(), "3.333333".to_owned()));
    /// assert_eq!(view.per_good_chip.map(|amount| amount.to_string()), Some("6.666667".to_owned()));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn per_good_chip_parts(&self) -> Result<Option<Vec<Money>>, Error> {
        let Some(each) = self.per_good_chip else {
            return Ok(None);
        };
        let of = self.components.iter();
        let weights: Vec<i64> = of.map(|of| of.amount.micro()).collect();
        let parts = apportion(each.micro(), &weights)?;
        Ok(Some(parts.into_iter().map(Money::from_micro).collect()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Micro;
    use crate::casting::sums::split::split_mix;

    #[test]
    fn every_millionth_lands_in_a_component() {
        let shares = split_mix(30.0, 20.0, 60.0, 6.0).unwrap();
        let mut components = Components::default();
        components
            .add_elastomer(Money::from_micro(1_000_001), &shares, false)
            .unwrap();
        let amounts: Vec<i64> = components
            .iter()
            .take(4)
            .map(|(_, amount)| amount.micro())
            .collect();
        // Exact shares 500000.5, 333333.67, 66666.73 and 100000.1: the two left over go to the largest remainders.
        assert_eq!(amounts, [500_000, 333_334, 66_667, 100_000]);
        assert_eq!(components.total().unwrap().micro(), 1_000_001);
    }

    #[test]
    fn no_good_chip_has_no_price() {
        let mut components = Components::default();
        components.add(Component::Tape, Money::from_int(3)).unwrap();
        assert_eq!(
            CostView::new(&components, "EUR", "actual", Micro::ZERO)
                .unwrap()
                .per_good_chip,
            None
        );
        let some = CostView::new(&components, "EUR", "actual", Micro::from_int(7)).unwrap();
        assert_eq!(some.per_good_chip.unwrap().to_string(), "0.428571");
    }
}
