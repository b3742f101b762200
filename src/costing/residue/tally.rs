//! Adding weighed cups up, exactly: in whole millionths, each cup's masses shared over its rows by largest remainder.

use std::collections::BTreeSet;

use super::facts::Judged;
use crate::base::{Error, MICRO_PER_UNIT, Micro, MicroError, Money, Quantity, apportion};

/// A weighed cup with all that is reported of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeighedCup {
    /// The weighing and what was known before it.
    pub judged: Judged,
    /// The masses, in the order of [`MASSES`].
    pub masses: [Quantity; 5],
}

/// What the masses of a cup are: mixed, film, expected, planned, weighed.
pub const MASSES: usize = 5;

impl WeighedCup {
    /// A weighed cup that was mixed of `mixed`, in a cast that was planned at `quantile`.
    ///
    /// # Errors
    /// [`Error::Internal`] for a quantile that is not between 0 and 1.
    ///
    /// ```
    /// use heeltap::base::{Micro, Quantity};
    /// use heeltap::costing::residue::facts::{Observation, judge};
    /// use heeltap::costing::residue::tally::WeighedCup;
    /// let cup = Observation {
    ///     cast_id: 1, batch_no: 1, cup_id: 2, elastomer_id: 3, film: Quantity::from_int(10),
    ///     weighed: Quantity::from_int(9), on: "2026-03-02".parse().unwrap(),
    /// };
    /// let cup = WeighedCup::new(judge(&[cup])?.0[0], Quantity::from_int(60), Micro::parse("0.5")?)?;
    /// assert_eq!(cup.masses.map(|mass| mass.to_string()), ["60", "10", "10", "10", "9"]);
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn new(judged: Judged, mixed: Quantity, quantile: Micro) -> Result<Self, Error> {
        let Judged {
            observation,
            expected,
            ..
        } = judged;
        let planned = judged.planned(quantile)?;
        Ok(Self {
            judged,
            masses: [
                mixed,
                observation.film,
                expected,
                planned,
                observation.weighed,
            ],
        })
    }

    /// Shares the masses by weights, one share for each, so that the shares add up.
    ///
    /// # Errors
    /// [`Error::Invalid`] when no weight is above 0.
    ///
    /// ```
    /// # use heeltap::base::{Micro, Quantity};
    /// # use heeltap::costing::residue::facts::{Observation, judge};
    /// # use heeltap::costing::residue::tally::WeighedCup;
    /// # let cup = Observation {
    /// #     cast_id: 1, batch_no: 1, cup_id: 2, elastomer_id: 3, film: Quantity::from_int(10),
    /// #     weighed: Quantity::from_int(10), on: "2026-03-02".parse().unwrap(),
    /// # };
    /// # let cup = WeighedCup::new(judge(&[cup])?.0[0], Quantity::from_int(60), Micro::parse("0.5")?)?;
    /// let thirds = cup.shared(&[1, 1, 1])?;
    /// assert_eq!([0, 1, 2].map(|at| thirds[at][4].to_string()), ["3.333334", "3.333333", "3.333333"]);
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn shared(&self, weights: &[i64]) -> Result<Vec<[Quantity; MASSES]>, Error> {
        let mut shares = vec![[Quantity::ZERO; MASSES]; weights.len()];
        for (at, mass) in self.masses.iter().enumerate() {
            for (share, part) in shares.iter_mut().zip(apportion(mass.micro(), weights)?) {
                share[at] = Quantity::from_micro(part);
            }
        }
        Ok(shares)
    }
}

/// The sums of a row.
#[derive(Debug, Clone, Default)]
pub struct ResidueTally {
    /// Casts with a weighed cup.
    pub casts: BTreeSet<i64>,
    /// Cup and elastomer of the weighed cups.
    pub cups: BTreeSet<(i64, i64)>,
    /// Weighed cups.
    pub cups_weighed: usize,
    /// Of those, cups at or below what was planned for them.
    pub at_or_below: usize,
    /// Of those, outliers.
    pub outliers: usize,
    /// Sum of the distances between expected and weighed, in millionths of a gram.
    pub distance: i128,
    /// Sums of the masses, in millionths of a gram.
    pub masses: [i128; MASSES],
    /// What the residue of the casts cost, in millionths.
    pub value: i128,
}

impl ResidueTally {
    /// Adds a weighed cup with the row's share of its masses. Cups, distances and outliers count whole in every row.
    ///
    /// ```
    /// # use heeltap::base::{Micro, Quantity};
    /// # use heeltap::costing::residue::facts::{Observation, judge};
    /// # use heeltap::costing::residue::tally::{ResidueTally, WeighedCup};
    /// # let cup = Observation {
    /// #     cast_id: 1, batch_no: 1, cup_id: 2, elastomer_id: 3, film: Quantity::from_int(10),
    /// #     weighed: Quantity::from_int(9), on: "2026-03-02".parse().unwrap(),
    /// # };
    /// # let cup = WeighedCup::new(judge(&[cup])?.0[0], Quantity::from_int(60), Micro::parse("0.5")?)?;
    /// let mut tally = ResidueTally::default();
    /// tally.add(&cup, &cup.masses);
    /// assert_eq!((tally.cups_weighed, tally.at_or_below, tally.distance), (1, 1, 1_000_000));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn add(&mut self, cup: &WeighedCup, share: &[Quantity; MASSES]) {
        let observation = &cup.judged.observation;
        let [_, _, expected, planned, weighed] = cup.masses;
        self.casts.insert(observation.cast_id);
        self.cups
            .insert((observation.cup_id, observation.elastomer_id));
        self.cups_weighed += 1;
        self.at_or_below += usize::from(weighed <= planned);
        self.outliers += usize::from(cup.judged.outlier);
        self.distance += i128::from((weighed.micro() - expected.micro()).abs());
        for (sum, mass) in self.masses.iter_mut().zip(share) {
            *sum += i128::from(mass.micro());
        }
    }

    /// The sums of the masses.
    ///
    /// # Errors
    /// [`Error::Invalid`] when a sum leaves the range of quantities.
    ///
    /// ```
    /// use heeltap::base::Quantity;
    /// use heeltap::costing::residue::tally::ResidueTally;
    /// assert_eq!(ResidueTally::default().sums()?, [Quantity::ZERO; 5]);
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn sums(&self) -> Result<[Quantity; MASSES], Error> {
        let mut sums = [Quantity::ZERO; MASSES];
        for (sum, micro) in sums.iter_mut().zip(self.masses) {
            *sum = Quantity::from_micro(narrow(Some(micro))?);
        }
        Ok(sums)
    }

    /// What the residue cost.
    ///
    /// # Errors
    /// [`Error::Invalid`] when the sum leaves the range of money.
    ///
    /// ```
    /// use heeltap::base::Money;
    /// use heeltap::costing::residue::tally::ResidueTally;
    /// assert_eq!(ResidueTally::default().value()?, Money::ZERO);
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn value(&self) -> Result<Money, Error> {
        Ok(Money::from_micro(narrow(Some(self.value))?))
    }

    /// Weighed over expected, half to even; none when nothing was expected.
    ///
    /// ```
    /// use heeltap::costing::residue::tally::ResidueTally;
    /// let tally = ResidueTally { masses: [60, 0, 8, 0, 6], ..ResidueTally::default() };
    /// assert_eq!(tally.weighed_over_expected()?.map(|ratio| ratio.to_string()), Some("0.75".to_owned()));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves the range.
    pub fn weighed_over_expected(&self) -> Result<Option<Micro>, Error> {
        ratio(self.masses[4], self.masses[2])
    }

    /// Weighed over mixed, half to even; none when nothing was mixed.
    ///
    /// ```
    /// use heeltap::costing::residue::tally::ResidueTally;
    /// let tally = ResidueTally { masses: [60, 0, 0, 0, 6], ..ResidueTally::default() };
    /// assert_eq!(tally.residue_share()?.map(|share| share.to_string()), Some("0.1".to_owned()));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves the range.
    pub fn residue_share(&self) -> Result<Option<Micro>, Error> {
        ratio(self.masses[4], self.masses[0])
    }

    /// Cups at or below what was planned over all cups, half to even; none without a cup.
    ///
    /// ```
    /// use heeltap::costing::residue::tally::ResidueTally;
    /// let tally = ResidueTally { cups_weighed: 3, at_or_below: 2, ..ResidueTally::default() };
    /// assert_eq!(tally.within_planned()?.map(|share| share.to_string()), Some("0.666667".to_owned()));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves the range.
    pub fn within_planned(&self) -> Result<Option<Micro>, Error> {
        ratio(self.at_or_below as i128, self.cups_weighed as i128)
    }

    /// The mean distance between expected and weighed, half to even; none without a cup.
    ///
    /// ```
    /// use heeltap::costing::residue::tally::ResidueTally;
    /// let tally = ResidueTally { cups_weighed: 2, distance: 3_000_000, ..ResidueTally::default() };
    /// assert_eq!(tally.mean_distance_g()?.map(|mean| mean.to_string()), Some("1.5".to_owned()));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves the range.
    pub fn mean_distance_g(&self) -> Result<Option<Quantity>, Error> {
        if self.cups_weighed == 0 {
            return Ok(None);
        }
        let mean = crate::base::round_half_even_div(self.distance, self.cups_weighed as i128);
        narrow(mean).map(|micro| Some(Quantity::from_micro(micro)))
    }
}

fn ratio(part: i128, whole: i128) -> Result<Option<Micro>, Error> {
    if whole == 0 {
        return Ok(None);
    }
    let quotient = crate::base::round_half_even_div(part * i128::from(MICRO_PER_UNIT), whole);
    narrow(quotient).map(|micro| Some(Micro::from_micro(micro)))
}

fn narrow(value: Option<i128>) -> Result<i64, Error> {
    value
        .and_then(|value| i64::try_from(value).ok())
        .ok_or_else(|| MicroError::Overflow.into())
}
