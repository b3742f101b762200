//! Lots in pages, by material and by state.

use super::at_bench;
use super::events::{lost, spill};
use crate::http::Page;
use crate::stock::events::{HoldIn, lot_hold};
use crate::stock::views::{LotState, lots_list};

#[test]
fn a_page_in_one_state_is_filled_from_as_many_lots_as_it_takes() {
    at_bench(|bench| {
        let (base, other) = (bench.base("base", "0"), bench.base("other", "0"));
        let lots: Vec<i64> = (0..6).map(|_| bench.receive(base, &["10"], "1")).collect();
        let elsewhere = bench.receive(other, &["10"], "1");
        for held in [1, 4] {
            let why = HoldIn {
                reason: "cloudy".into(),
            };
            bench.run(|tx| lot_hold(tx, lots[held], &why));
        }
        bench.run(spill(bench.pack(lots[2], 1), lost("10")));
        let list = |material: Option<i64>, state: Option<LotState>, after: i64, limit: i64| {
            let page = Page { after, limit };
            let found = bench.run(|tx| lots_list(tx.conn, material, state, page, tx.today));
            found.iter().map(|lot| lot.id).collect::<Vec<i64>>()
        };
        let usable = Some(LotState::Usable);
        assert_eq!(list(None, None, 0, 10).len(), 7);
        assert_eq!(list(Some(other), None, 0, 10), [elsewhere]);
        assert_eq!(list(Some(base), usable, 0, 10), [lots[0], lots[3], lots[5]]);
        assert_eq!(
            list(Some(base), usable, 0, 1),
            [lots[0], lots[3]],
            "one more than asked for"
        );
        assert_eq!(list(Some(base), usable, lots[3], 1), [lots[5]]);
        assert_eq!(list(None, Some(LotState::Held), 0, 10), [lots[1], lots[4]]);
        assert_eq!(list(None, Some(LotState::Spent), 0, 10), [lots[2]]);
        assert_eq!(
            list(None, Some(LotState::Expired), 0, 10),
            Vec::<i64>::new()
        );
        let later = bench.days_later(365);
        assert_eq!(
            later.lot(lots[0]).state,
            LotState::Usable,
            "without a date it keeps"
        );
    });
}
