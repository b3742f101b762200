//! Making the report of the stock's value from the books.

use std::collections::{BTreeMap, HashMap};

use super::flow::{Flow, LotKnown};
use super::grouping::{StockBy, StockKey};
use super::report::{PoolRow, StockLabel, StockRows, StockTally, StockValue, key_of, stock_report};
use crate::base::{Currency, Error, Money};
use crate::catalogue::material_all;
use crate::costing::period::Period;
use crate::costing::replica_cost::report::Names;
use crate::costing::store;
use crate::db::AnyConnection;

/// What the stock is worth at the end of a period, by the days at the bench, and what changed it since the beginning.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of money; [`Error::Unavailable`] when the database does not answer.
pub fn stock_value(
    conn: &mut AnyConnection,
    period: Period,
    by: StockBy,
    currency: Currency,
) -> Result<StockValue, Error> {
    let lots = store::lots_known(conn)?;
    let by_lot = by_lot(conn, period)?;
    let mut rows = StockRows::new();
    for (lot_id, tally) in &by_lot {
        let lot = lots
            .get(lot_id)
            .ok_or_else(|| Error::internal(format!("the lot {lot_id} is not there")))?;
        let row = rows.entry(StockKey::of(by, *lot_id, lot)).or_default();
        row.lots += 1;
        row.quantity = row.quantity.checked_add(tally.quantity)?;
        row.flows.add_all(&tally.flows)?;
    }
    let labels = Labels::read(conn, by, lots)?;
    let mut gathered = Vec::with_capacity(rows.len());
    for (key, tally) in rows {
        gathered.push((key == StockKey::Unassigned, labels.of(key), tally));
    }
    stock_report(by, period, currency, gathered, pools(conn, period)?)
}

/// Each lot that was worth something, held something, or changed in the period.
fn by_lot(conn: &mut AnyConnection, period: Period) -> Result<BTreeMap<i64, StockTally>, Error> {
    let days = period.days();
    let mut by_lot: BTreeMap<i64, StockTally> = BTreeMap::new();
    if let Some(before) = period.from().and_then(|first| first.pred_opt()) {
        for (lot_id, on_hand) in store::value_until(conn, before)? {
            let empty = on_hand.value.is_zero() && on_hand.quantity.is_zero();
            if !empty {
                let row = by_lot.entry(lot_id).or_default();
                row.flows.add(Flow::Opening, on_hand.value)?;
            }
        }
    }
    for (lot_id, kind, value) in store::value_between(conn, days)? {
        let row = by_lot.entry(lot_id).or_default();
        row.flows.add(Flow::of(&kind)?, value)?;
    }
    for (lot_id, on_hand) in store::value_until(conn, days.1)? {
        if let Some(row) = by_lot.get_mut(&lot_id) {
            row.quantity = on_hand.quantity;
            if row.flows.closing()? != on_hand.value {
                let detail = format!("the lot {lot_id} does not close at what its movements leave");
                return Err(Error::internal(detail));
            }
        }
    }
    Ok(by_lot)
}

/// What rows are called.
struct Labels {
    by: StockBy,
    names: Names,
    units: HashMap<i64, String>,
    lots: HashMap<i64, LotKnown>,
}

impl Labels {
    fn read(
        conn: &mut AnyConnection,
        by: StockBy,
        lots: HashMap<i64, LotKnown>,
    ) -> Result<Self, Error> {
        let names = match by {
            StockBy::Material | StockBy::Lot => store::names(conn, "material")?,
            StockBy::Grant => store::names(conn, "grant")?,
            StockBy::Month => Names::new(),
        };
        let units = match by {
            StockBy::Material | StockBy::Lot => material_all(conn)?
                .into_iter()
                .map(|material| (material.id, material.body.unit.as_str().to_owned()))
                .collect(),
            StockBy::Grant | StockBy::Month => HashMap::new(),
        };
        Ok(Self {
            by,
            names,
            units,
            lots,
        })
    }

    fn of(&self, key: StockKey) -> StockLabel {
        let plain = StockLabel {
            key: key_of(key),
            name: None,
            unit: None,
        };
        let StockKey::Id(id) = key else { return plain };
        match self.by {
            StockBy::Material | StockBy::Grant => {
                self.names.get(&id).map_or(plain, |entry| StockLabel {
                    key: entry.0.as_str().to_owned(),
                    name: Some(entry.1.clone()),
                    unit: self.units.get(&id).cloned(),
                })
            }
            StockBy::Month => plain,
            StockBy::Lot => {
                let Some(lot) = self.lots.get(&id) else {
                    return plain;
                };
                let material = self.names.get(&lot.material_id);
                let material = material.map_or_else(String::new, |entry| entry.0.to_string());
                StockLabel {
                    name: Some(format!("{material} {}", lot.code)),
                    unit: self.units.get(&lot.material_id).cloned(),
                    ..plain
                }
            }
        }
    }
}

/// The kinds of pools, in the order in which they are shown.
const POOLS: [&str; 2] = ["coat", "mold"];

fn pools(conn: &mut AnyConnection, period: Period) -> Result<Vec<PoolRow>, Error> {
    let before = match period.from().and_then(|first| first.pred_opt()) {
        Some(before) => store::pool_value_until(conn, before)?,
        None => Vec::new(),
    };
    let between = store::pool_value_between(conn, period.days())?;
    POOLS
        .into_iter()
        .map(|kind| {
            let opening = before.iter().find(|row| row.0 == kind);
            let opening = opening.map_or(Money::ZERO, |row| row.1);
            let of = |flow: &str| {
                let sums = between.iter().filter(|row| row.0 == kind && row.1 == flow);
                Money::checked_sum(sums.map(|row| row.2))
            };
            let (filled, drawn, wasted) = (of("fill")?, of("issue")?, of("waste")?);
            Ok(PoolRow {
                kind: kind.to_owned(),
                opening,
                filled,
                drawn,
                wasted,
                closing: Money::checked_sum([opening, filled, drawn, wasted])?,
            })
        })
        .collect()
}
