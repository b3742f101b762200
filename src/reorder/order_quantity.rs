//! How much to order: the economic quantity, in whole packs, within what can be used and paid for.
//!
//! Source: F. W. Harris, "How many parts to make at once", Factory, The Magazine of Management 10(2) (1913) 135-136,
//! 152: sqrt(2 D K / h) (formula from memory). The cost is convex, so that only the two multiples of a pack
//! around it can be best, and the nearer one is not always the cheaper. Invariants: whole packs only; a budget is never
//! exceeded; a cap by expiry leaves at least the smallest order. Absent: discounts; freight by weight.

use super::demand::rounded_micro;

/// Days of demand to order when order cost or holding cost is not known (assumption).
pub const COVER_DAYS_DEFAULT: u16 = 90;
/// Smallest pack when none is stated: one unit, in millionths.
pub const PACK_MICRO_DEFAULT: i64 = 1_000_000;

/// What ordering and keeping costs, in one currency and unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CostCurve {
    annual_demand: f64,
    order_cost: f64,
    holding_cost_per_unit_year: f64,
}

impl CostCurve {
    /// The cost of `annual_demand` units a year, `order_cost` for each order and `holding_cost_per_unit_year`; none
    /// unless all are
    /// finite and above 0.
    ///
    /// ```
    /// use heeltap::reorder::order_quantity::CostCurve;
    /// assert!(CostCurve::new(1200.0, 50.0, 6.0).is_some());
    /// assert!(CostCurve::new(1200.0, 50.0, 0.0).is_none());
    /// ```
    #[must_use]
    pub fn new(
        annual_demand: f64,
        order_cost: f64,
        holding_cost_per_unit_year: f64,
    ) -> Option<CostCurve> {
        [annual_demand, order_cost, holding_cost_per_unit_year]
            .iter()
            .all(|value| value.is_finite() && *value > 0.0)
            .then_some(CostCurve {
                annual_demand,
                order_cost,
                holding_cost_per_unit_year,
            })
    }

    /// The economic order quantity, in units: sqrt(2 D K / h).
    ///
    /// ```
    /// use heeltap::reorder::order_quantity::CostCurve;
    /// let curve = CostCurve::new(1200.0, 50.0, 6.0).unwrap();
    /// assert!((curve.economic_quantity() - 141.421_356_237_309_5).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn economic_quantity(&self) -> f64 {
        (2.0 * self.annual_demand * self.order_cost / self.holding_cost_per_unit_year).sqrt()
    }

    /// Ordering cost of a year when `quantity` (above 0) is ordered each time.
    #[must_use]
    pub fn ordering_cost(&self, quantity: f64) -> f64 {
        self.annual_demand / quantity * self.order_cost
    }

    /// Holding cost of a year when `quantity` is ordered each time.
    #[must_use]
    pub fn holding_cost(&self, quantity: f64) -> f64 {
        self.holding_cost_per_unit_year * quantity / 2.0
    }

    /// Both together.
    ///
    /// ```
    /// use heeltap::reorder::order_quantity::CostCurve;
    /// assert_eq!(CostCurve::new(8.0, 60.0, 20.0).unwrap().relevant_cost(8.0), 140.0);
    /// ```
    #[must_use]
    pub fn relevant_cost(&self, quantity: f64) -> f64 {
        self.ordering_cost(quantity) + self.holding_cost(quantity)
    }

    /// The cheapest number of packs of `pack_size` units (above 0): the cheaper of the two around the economic
    /// quantity, the smaller
    /// when they cost the same.
    ///
    /// ```
    /// use heeltap::reorder::order_quantity::CostCurve;
    /// assert_eq!(CostCurve::new(1200.0, 50.0, 6.0).unwrap().best_packs(48.0), 3);
    /// ```
    #[must_use]
    pub fn best_packs(&self, pack_size: f64) -> u64 {
        let fewer = (self.economic_quantity() / pack_size).floor().max(1.0);
        let more = fewer + 1.0;
        if self.relevant_cost(more * pack_size) < self.relevant_cost(fewer * pack_size) {
            more as u64
        } else {
            fewer as u64
        }
    }
}

/// What an order is sized from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrderQuantityFacts {
    /// Expected demand of a year, in millionths of the unit, 0 or more.
    pub annual_demand_micro: f64,
    /// Cost of placing an order, in millionths of the currency, if known.
    pub order_cost_micro: Option<i64>,
    /// Cost of keeping stock, in millionths of its value per year, if known.
    pub holding_rate_micro: Option<i64>,
    /// Value of one unit, in millionths of the currency, if known.
    pub unit_value_micro: Option<i64>,
    /// Days of demand to order when a cost is missing.
    pub cover_days: u16,
    /// What the order must bring at least, in millionths of the unit.
    pub needed_micro: i64,
    /// What can be used of the order before it expires, in millionths of the unit; none for what keeps.
    pub usable_micro: Option<i64>,
    /// Content of a pack, in millionths of the unit; one unit when none.
    pub pack_quantity_micro: Option<i64>,
    /// Fewest packs of an order.
    pub min_packs: u32,
    /// What the period may still spend on it, in millionths of the currency, if set.
    pub budget_micro: Option<i64>,
}

/// What an order quantity rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum QuantityBasis {
    /// The economic order quantity.
    Economic,
    /// A stated number of days of demand, because a cost is missing.
    Cover,
    /// What is needed until the next order, because it is more than either.
    Needed,
    /// The smallest order.
    Minimum,
    /// Nothing is needed.
    Nothing,
}

/// What held an order down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum QuantityCap {
    /// More would expire unused.
    Expiry,
    /// More would exceed the budget.
    Budget,
}

/// How much to order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OrderQuantity {
    /// Number of packs.
    pub packs: u64,
    /// The same in millionths of the unit.
    pub quantity_micro: i64,
    /// The economic order quantity before packs and caps, in millionths of the unit, if the costs are known.
    pub economic_micro: Option<i64>,
    /// What the number rests on.
    pub basis: QuantityBasis,
    /// What held it down, if anything; the budget before expiry.
    pub capped_by: Option<QuantityCap>,
    /// Whether the smallest order is more than can be used before it expires.
    pub part_will_expire: bool,
}

/// Sizes an order.
///
/// ```
/// use heeltap::reorder::order_quantity::{OrderQuantityFacts, QuantityBasis, order_quantity};
/// let facts = OrderQuantityFacts {
///     annual_demand_micro: 26.4e6,
///     order_cost_micro: Some(18_000_000),
///     holding_rate_micro: Some(200_000),
///     unit_value_micro: Some(63_000_000),
///     cover_days: 90,
///     needed_micro: 0,
///     usable_micro: None,
///     pack_quantity_micro: Some(1_100_000),
///     min_packs: 1,
///     budget_micro: None,
/// };
/// let order = order_quantity(&facts);
/// assert_eq!((order.packs, order.quantity_micro, order.basis), (8, 8_800_000, QuantityBasis::Economic));
/// ```
#[must_use]
pub fn order_quantity(facts: &OrderQuantityFacts) -> OrderQuantity {
    let pack_micro = facts
        .pack_quantity_micro
        .filter(|pack| *pack > 0)
        .unwrap_or(PACK_MICRO_DEFAULT);
    let curve = cost_curve(facts);
    let annual = facts.annual_demand_micro.max(0.0);
    let wish = match curve {
        Some(curve) => (
            curve.best_packs(pack_micro as f64 / 1e6),
            QuantityBasis::Economic,
        ),
        None => {
            let cover = rounded_micro(annual * f64::from(facts.cover_days) / 365.0);
            (packs_over(cover, pack_micro), QuantityBasis::Cover)
        }
    };
    let needed = (
        packs_over(facts.needed_micro, pack_micro),
        QuantityBasis::Needed,
    );
    let least = u64::from(facts.min_packs.max(1));
    let (mut packs, mut basis) = if needed.0 > wish.0 { needed } else { wish };
    if packs == 0 {
        basis = QuantityBasis::Nothing;
    } else if packs < least {
        (packs, basis) = (least, QuantityBasis::Minimum);
    }

    let mut capped_by = None;
    let usable_packs = facts
        .usable_micro
        .map(|usable| packs_that_fit(usable, pack_micro));
    if let Some(most) = usable_packs.filter(|most| packs > least.max(*most)) {
        packs = most.max(least);
        capped_by = Some(QuantityCap::Expiry);
    }
    if let Some(most) = packs_paid(facts, pack_micro).filter(|most| packs > *most) {
        packs = if most < least { 0 } else { most };
        capped_by = Some(QuantityCap::Budget);
    }
    OrderQuantity {
        packs,
        quantity_micro: i64::try_from(i128::from(packs) * i128::from(pack_micro))
            .unwrap_or(i64::MAX),
        economic_micro: curve.map(|curve| rounded_micro(curve.economic_quantity() * 1e6)),
        basis,
        capped_by,
        part_will_expire: usable_packs.is_some_and(|most| packs > most),
    }
}

fn cost_curve(facts: &OrderQuantityFacts) -> Option<CostCurve> {
    let value = facts.unit_value_micro? as f64 / 1e6;
    let rate = facts.holding_rate_micro? as f64 / 1e6;
    CostCurve::new(
        facts.annual_demand_micro / 1e6,
        facts.order_cost_micro? as f64 / 1e6,
        rate * value,
    )
}

/// Packs that hold at least `quantity_micro`.
fn packs_over(quantity_micro: i64, pack_micro: i64) -> u64 {
    let quantity = quantity_micro.max(0).unsigned_abs();
    quantity.div_ceil(pack_micro.max(1).unsigned_abs())
}

/// Packs that hold at most `quantity_micro`.
fn packs_that_fit(quantity_micro: i64, pack_micro: i64) -> u64 {
    quantity_micro.max(0).unsigned_abs() / pack_micro.max(1).unsigned_abs()
}

fn packs_paid(facts: &OrderQuantityFacts, pack_micro: i64) -> Option<u64> {
    packs_within(facts.budget_micro?, facts.unit_value_micro?, pack_micro)
}

impl OrderQuantity {
    /// Holds the order down to what a budget pays for, where it is more: packs of `pack_micro` at `unit_value_micro`, and none
    /// when that is fewer than `min_packs`.
    pub fn keep_within(
        &mut self,
        budget_micro: Option<i64>,
        unit_value_micro: Option<i64>,
        (pack_micro, min_packs): (i64, u32),
    ) {
        let paid = budget_micro
            .zip(unit_value_micro)
            .and_then(|(budget, value)| packs_within(budget, value, pack_micro));
        if let Some(most) = paid.filter(|most| self.packs > *most) {
            self.packs = if most < u64::from(min_packs.max(1)) {
                0
            } else {
                most
            };
            self.capped_by = Some(QuantityCap::Budget);
        }
        let quantity = i128::from(self.packs) * i128::from(pack_micro);
        self.quantity_micro = i64::try_from(quantity).unwrap_or(i64::MAX);
    }
}

/// Packs that a budget pays for; none without a value.
fn packs_within(budget_micro: i64, unit_value_micro: i64, pack_micro: i64) -> Option<u64> {
    let budget = i128::from(budget_micro.max(0));
    let value = i128::from(Some(unit_value_micro).filter(|value| *value > 0)?);
    // The price of a pack has 12 decimals: millionths of a unit times millionths of the currency.
    Some(
        u64::try_from(budget * 1_000_000 / (i128::from(pack_micro.max(1)) * value))
            .unwrap_or(u64::MAX),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const PLAIN: OrderQuantityFacts = OrderQuantityFacts {
        annual_demand_micro: 1_200e6,
        order_cost_micro: Some(50_000_000),
        holding_rate_micro: Some(200_000),
        unit_value_micro: Some(30_000_000),
        cover_days: 73,
        needed_micro: 0,
        usable_micro: None,
        pack_quantity_micro: Some(48_000_000),
        min_packs: 1,
        budget_micro: None,
    };

    #[track_caller]
    fn check(
        facts: &OrderQuantityFacts,
        packs: u64,
        basis: QuantityBasis,
        cap: Option<QuantityCap>,
    ) {
        let order = order_quantity(facts);
        assert_eq!(
            (order.packs, order.basis, order.capped_by),
            (packs, basis, cap)
        );
        assert_eq!(order.quantity_micro, packs as i64 * 48_000_000);
    }

    #[test]
    fn each_basis() {
        check(&PLAIN, 3, QuantityBasis::Economic, None);
        // 1200 x 73/365 = 240 are five packs.
        let no_cost = OrderQuantityFacts {
            order_cost_micro: None,
            ..PLAIN
        };
        check(&no_cost, 5, QuantityBasis::Cover, None);
        let needed = OrderQuantityFacts {
            needed_micro: 200_000_000,
            ..PLAIN
        };
        check(&needed, 5, QuantityBasis::Needed, None);
        let least = OrderQuantityFacts {
            min_packs: 4,
            ..PLAIN
        };
        check(&least, 4, QuantityBasis::Minimum, None);
        let nothing = OrderQuantityFacts {
            annual_demand_micro: 0.0,
            ..PLAIN
        };
        check(&nothing, 0, QuantityBasis::Nothing, None);
    }

    #[test]
    fn expiry_and_budget_hold_it_down() {
        let expiry = OrderQuantityFacts {
            usable_micro: Some(100_000_000),
            ..PLAIN
        };
        check(
            &expiry,
            2,
            QuantityBasis::Economic,
            Some(QuantityCap::Expiry),
        );
        let little = OrderQuantityFacts {
            usable_micro: Some(1),
            ..PLAIN
        };
        check(
            &little,
            1,
            QuantityBasis::Economic,
            Some(QuantityCap::Expiry),
        );
        assert!(order_quantity(&little).part_will_expire);
        // A pack costs 48 x 30 = 1440.
        let budget = OrderQuantityFacts {
            budget_micro: Some(2_880_000_000),
            ..PLAIN
        };
        check(
            &budget,
            2,
            QuantityBasis::Economic,
            Some(QuantityCap::Budget),
        );
        let poor = OrderQuantityFacts {
            min_packs: 3,
            ..budget
        };
        check(&poor, 0, QuantityBasis::Economic, Some(QuantityCap::Budget));
    }

    #[test]
    fn absurd_figures_do_not_overflow() {
        let huge = OrderQuantityFacts {
            annual_demand_micro: f64::MAX,
            needed_micro: i64::MAX,
            pack_quantity_micro: Some(i64::MAX),
            unit_value_micro: Some(i64::MAX),
            budget_micro: Some(i64::MAX),
            usable_micro: Some(i64::MIN),
            ..PLAIN
        };
        assert_eq!(order_quantity(&huge).packs, 0);
        assert_eq!(
            order_quantity(&OrderQuantityFacts {
                pack_quantity_micro: Some(0),
                ..PLAIN
            })
            .packs,
            141
        );
    }

    proptest! {
        #[test]
        fn no_other_number_of_packs_is_cheaper(
            demand in 1.0..1e5_f64, order in 0.1..1e3_f64, holding in 0.01..1e3_f64, pack in 0.1..1e3_f64,
        ) {
            let curve = CostCurve::new(demand, order, holding).unwrap();
            let best = curve.best_packs(pack);
            let cost = curve.relevant_cost(best as f64 * pack);
            for other in [1, 2, best.saturating_sub(1).max(1), best + 1, best * 2] {
                prop_assert!(cost <= curve.relevant_cost(other as f64 * pack) * (1.0 + 1e-12));
            }
        }
    }
}
