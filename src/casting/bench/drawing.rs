//! Handing out what a cast holds to the steps that use it, pack by pack.
//!
//! Invariant: nothing is handed out twice; what a step wants and no promise covers is said to be missing.

use std::collections::BTreeMap;

use super::sheet::{Missing, SheetLot};
use crate::base::Quantity;
use crate::stock::holdings::Holding;
use crate::stock::needs::Purpose;

/// What a step wants.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wanted {
    pub(super) material_id: i64,
    pub(super) purpose: Purpose,
    /// The batch, from 1; 0 for what is held for the whole cast.
    pub(super) batch_no: i32,
    pub(super) quantity: Quantity,
}

/// What is left to hand out.
pub(super) struct Drawing<'a> {
    holdings: &'a [Holding],
    left: Vec<i64>,
    codes: &'a BTreeMap<i64, String>,
    /// A cast that is poured has taken what it used: nothing is handed out, and nothing is missing.
    open: bool,
}

/// What a step is given.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Drawn {
    pub(super) lots: Vec<SheetLot>,
    pub(super) missing: Vec<Missing>,
}

impl<'a> Drawing<'a> {
    pub(super) fn new(
        holdings: &'a [Holding],
        codes: &'a BTreeMap<i64, String>,
        open: bool,
    ) -> Self {
        Self {
            left: holdings
                .iter()
                .map(|holding| holding.quantity.micro())
                .collect(),
            holdings,
            codes,
            open,
        }
    }

    /// Hands out what is wanted, as far as it is there.
    pub(super) fn draw(&mut self, wanted: &[Wanted]) -> Drawn {
        let mut drawn = Drawn::default();
        if self.open {
            wanted
                .iter()
                .for_each(|wanted| self.draw_one(wanted, &mut drawn));
        }
        drawn
    }

    fn draw_one(&mut self, wanted: &Wanted, drawn: &mut Drawn) {
        let mut want = wanted.quantity.micro();
        for (holding, left) in self.holdings.iter().zip(&mut self.left) {
            let serves = holding.material_id == wanted.material_id
                && holding.purpose == wanted.purpose
                && holding.batch_no == wanted.batch_no;
            let portion = want.min(*left);
            if serves && portion > 0 {
                want -= portion;
                *left -= portion;
                drawn
                    .lots
                    .push(lot(holding, self.codes, Quantity::from_micro(portion)));
            }
        }
        if want > 0 {
            drawn.missing.push(Missing {
                material: code(self.codes, wanted.material_id),
                quantity: Quantity::from_micro(want),
            });
        }
    }
}

fn code(codes: &BTreeMap<i64, String>, material_id: i64) -> String {
    codes.get(&material_id).cloned().unwrap_or_default()
}

/// A quantity of a held pack as it is shown.
pub(super) fn lot(
    holding: &Holding,
    codes: &BTreeMap<i64, String>,
    quantity: Quantity,
) -> SheetLot {
    SheetLot {
        material: code(codes, holding.material_id),
        lot: holding.lot_code.clone(),
        kit_lot: holding.kit_lot.clone(),
        lot_id: holding.lot_id,
        pack_id: holding.pack_id,
        pack_no: holding.pack_no,
        quantity,
        expires_on: holding.expires_on,
        opened_on: holding.opened_on,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn holding(pack_id: i64, quantity: i32) -> Holding {
        Holding {
            material_id: 1,
            purpose: Purpose::Tape,
            batch_no: 0,
            lot_id: 1,
            lot_code: "L".to_owned(),
            kit_lot: None,
            expires_on: None,
            pack_id,
            pack_no: 1,
            opened_on: None,
            quantity: Quantity::from_int(quantity),
        }
    }

    /// Expected: pack and quantity of what is handed out, and what is missing.
    #[track_caller]
    fn check(drawing: &mut Drawing<'_>, quantity: i32, lots: &[(i64, i32)], missing: Option<i32>) {
        let drawn = drawing.draw(&[Wanted {
            material_id: 1,
            purpose: Purpose::Tape,
            batch_no: 0,
            quantity: Quantity::from_int(quantity),
        }]);
        let shown: Vec<(i64, Quantity)> = drawn
            .lots
            .iter()
            .map(|lot| (lot.pack_id, lot.quantity))
            .collect();
        let lots: Vec<(i64, Quantity)> = lots
            .iter()
            .map(|(pack, quantity)| (*pack, Quantity::from_int(*quantity)))
            .collect();
        assert_eq!(shown, lots);
        assert_eq!(
            drawn.missing.first().map(|missing| missing.quantity),
            missing.map(Quantity::from_int)
        );
    }

    #[test]
    fn nothing_is_handed_out_twice() {
        let codes = BTreeMap::from([(1, "tape".to_owned())]);
        let holdings = [holding(7, 3), holding(8, 2)];
        let mut drawing = Drawing::new(&holdings, &codes, true);
        check(&mut drawing, 2, &[(7, 2)], None);
        check(&mut drawing, 2, &[(7, 1), (8, 1)], None);
        check(&mut drawing, 2, &[(8, 1)], Some(1));
        let mut poured = Drawing::new(&holdings, &codes, false);
        check(&mut poured, 2, &[], None);
    }
}
