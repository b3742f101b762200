//! What a cast cost, by the materials that were used for it, or by who had paid for them.
//!
//! Invariant: the parts of every component add up to it, split by largest remainder over what the ledger issued of each
//! source for it. Moulds and coats are no materials: their components stay without a source.

use std::collections::BTreeMap;

use crate::base::{Error, Money, apportion};
use crate::casting::cost::{Component, Components};

/// What materials of a cast were used for, as far as costs tell them apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum UsedFor {
    /// Poured.
    Poured,
    /// Left in the cups.
    Residue,
    /// Any other component.
    Component(Component),
}

impl UsedFor {
    /// What a movement's material was used for, by the words of its kind and purpose; none for vials, which make coats.
    ///
    /// ```
    /// use heeltap::casting::cost::Component;
    /// use heeltap::costing::by_source::UsedFor;
    /// assert_eq!(UsedFor::of("residue", "base"), Some(UsedFor::Residue));
    /// assert_eq!(UsedFor::of("wear", "container"), Some(UsedFor::Component(Component::Container)));
    /// assert_eq!(UsedFor::of("consumption", "release"), None);
    /// ```
    #[must_use]
    pub fn of(kind: &str, purpose: &str) -> Option<Self> {
        match (kind, purpose) {
            ("residue", _) => Some(Self::Residue),
            ("consumption", "base" | "curing_agent") => Some(Self::Poured),
            ("consumption" | "wear", "tape") => Some(Self::Component(Component::Tape)),
            ("consumption" | "wear", "container") => Some(Self::Component(Component::Container)),
            ("consumption" | "wear", "cup") => Some(Self::Component(Component::Cup)),
            ("consumption" | "wear", "sundry") => Some(Self::Component(Component::Sundries)),
            _ => None,
        }
    }

    /// What a component's materials were used for.
    fn from_component(component: Component) -> Self {
        match component {
            Component::Chip | Component::Trim | Component::Overfill => Self::Poured,
            Component::Residue => Self::Residue,
            other => Self::Component(other),
        }
    }
}

/// A source (a material, or who paid for the lot), what it was used for, and what that was worth (0 or more).
pub type Used<K = i64> = (K, UsedFor, Money);

/// The cost of a cast by source, what has none first.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of money.
///
/// ```
/// use heeltap::base::Money;
/// use heeltap::casting::cost::{Component, Components};
/// use heeltap::costing::by_source::{UsedFor, by_source};
/// let mut cost = Components::default();
/// cost.add(Component::Chip, Money::from_int(8))?;
/// cost.add(Component::Mold, Money::from_int(1))?;
/// let used = [(1, UsedFor::Poured, Money::from_int(6)), (2, UsedFor::Poured, Money::from_int(2))];
/// let parts = by_source(&cost, &used)?;
/// assert_eq!(parts.iter().map(|(id, part)| Ok((*id, part.total()?))).collect::<Result<Vec<_>, heeltap::base::Error>>()?,
///     [(None, Money::from_int(1)), (Some(1), Money::from_int(6)), (Some(2), Money::from_int(2))]);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn by_source<K: Copy + Ord>(
    cost: &Components,
    used: &[Used<K>],
) -> Result<Vec<(Option<K>, Components)>, Error> {
    let mut parts: BTreeMap<Option<K>, Components> = BTreeMap::new();
    for (component, amount) in cost.iter().filter(|(_, amount)| !amount.is_zero()) {
        let used_for = UsedFor::from_component(component);
        let of_it: Vec<&Used<K>> = used
            .iter()
            .filter(|used| used.1 == used_for && used.2 > Money::ZERO)
            .collect();
        if of_it.is_empty() {
            parts.entry(None).or_default().add(component, amount)?;
            continue;
        }
        let weights: Vec<i64> = of_it.iter().map(|used| used.2.micro()).collect();
        let shares = apportion(amount.micro(), &weights).map_err(Error::internal)?;
        for (used, share) in of_it.into_iter().zip(shares) {
            parts
                .entry(Some(used.0))
                .or_default()
                .add(component, Money::from_micro(share))?;
        }
    }
    Ok(parts.into_iter().collect())
}
