//! The life of a pack: received, opened, counted, spilled, written off, taken back.

use super::{at_bench, day, q};
use crate::base::{Money, Quantity};
use crate::db::Tx;
use crate::stock::counting::{CountIn, pack_count};
use crate::stock::events::{
    HoldIn, OpenIn, lot_hold, lot_release, pack_hold, pack_open, pack_release,
};
use crate::stock::losing::{Loss, LossIn, pack_lose};
use crate::stock::receive::{Receipt, lots_receive};
use crate::stock::reversing::{ReverseIn, movement_reverse};
use crate::stock::views::LotState;

pub(super) fn lost(quantity: &str) -> LossIn {
    LossIn {
        quantity: Some(q(quantity)),
        reason: "dropped".into(),
        on: None,
    }
}

pub(super) fn found(quantity: &str) -> CountIn {
    CountIn {
        on_hand: Some(q(quantity)),
        ..CountIn::default()
    }
}

pub(super) fn mistake() -> ReverseIn {
    ReverseIn {
        reason: "a slip".into(),
    }
}

fn reason(text: &str) -> HoldIn {
    HoldIn {
        reason: text.into(),
    }
}

/// Spills from a pack.
pub(super) fn spill(
    pack_id: i64,
    input: LossIn,
) -> impl FnOnce(&mut Tx<'_>) -> Result<i64, crate::base::Error> {
    move |tx| pack_lose(tx, pack_id, Loss::Spill, &input)
}

#[test]
fn a_pack_from_receipt_to_its_end() {
    at_bench(|bench| {
        let base = bench.base("base", "0");
        let lot = bench.receive(base, &["1000", "500"], "150");
        let (one, two) = (bench.pack(lot, 1), bench.pack(lot, 2));
        assert_eq!(bench.stands(lot), "1500 @ 150");

        bench.run(|tx| pack_open(tx, one, &OpenIn::default()));
        assert_eq!(bench.lot(lot).opened_on, Some(day("2026-03-04")));
        // 950 g gross less 50 g tare: 100 g are missing, a tenth of a unit each.
        let weighing = CountIn {
            gross_g: Some(q("950")),
            tare_g: Some(q("50")),
            ..CountIn::default()
        };
        bench.run(|tx| pack_count(tx, one, &weighing));
        assert_eq!(bench.stands(lot), "1400 @ 140");
        // The tare is remembered.
        let again = CountIn {
            gross_g: Some(q("940")),
            ..CountIn::default()
        };
        bench.run(|tx| pack_count(tx, one, &again));
        assert_eq!(bench.stands(lot), "1390 @ 139");
        bench.run(spill(one, lost("90")));
        assert_eq!(bench.stands(lot), "1300 @ 130");
        let all = LossIn {
            quantity: None,
            reason: "expired".into(),
            on: None,
        };
        bench.run(|tx| pack_lose(tx, two, Loss::WriteOff, &all));
        assert_eq!(bench.stands(lot), "800 @ 80");
        bench.sound();

        let written_off = bench.movements(lot).last().unwrap().id;
        bench.run(|tx| movement_reverse(tx, written_off, &mistake()));
        let view = bench.lot(lot);
        assert_eq!(bench.stands(lot), "1300 @ 130");
        assert_eq!(
            (view.landed_cost.to_string(), view.movements),
            ("150".into(), 7)
        );
        let kinds: Vec<String> = bench.movements(lot).into_iter().map(|m| m.kind).collect();
        assert_eq!(
            kinds.join(" "),
            "receipt receipt count count spill write_off reversal"
        );
        assert_eq!(view.head_hash, bench.movements(lot).last().unwrap().hash);
        bench.sound();
    });
}

#[test]
fn weighing_without_a_tare_goes_by_what_the_full_pack_weighed() {
    at_bench(|bench| {
        let lot = bench.receive(bench.base("base", "0"), &["1000"], "100");
        let pack = bench.pack(lot, 1);
        let weighing = |gross: &str, at_receipt: Option<&str>| CountIn {
            gross_g: Some(q(gross)),
            gross_at_receipt_g: at_receipt.map(q),
            ..CountIn::default()
        };
        let refused = bench.refusal(|tx| pack_count(tx, pack, &weighing("800", None)));
        assert_eq!(refused, "invalid /gross_g");
        bench.run(|tx| pack_count(tx, pack, &weighing("800", Some("1062.5"))));
        assert_eq!(bench.stands(lot), "737.5 @ 73.75");
        let more = bench.refusal(|tx| pack_count(tx, pack, &weighing("1200", None)));
        assert_eq!(more, "invalid /gross_g");
        // A maker may fill generously, within a tenth.
        bench.run(|tx| pack_count(tx, pack, &weighing("1072.5", None)));
        assert_eq!(bench.stands(lot), "1010 @ 73.75");
        bench.sound();
    });
}

#[test]
fn a_count_that_finds_nothing_new_is_in_the_books_too() {
    at_bench(|bench| {
        let lot = bench.receive(bench.base("base", "0"), &["100"], "10");
        let pack = bench.pack(lot, 1);
        bench.run(|tx| pack_count(tx, pack, &found("100")));
        let last = bench.movements(lot).pop().unwrap();
        assert_eq!(
            (last.kind.as_str(), last.quantity),
            ("count", Quantity::ZERO)
        );
        assert_eq!(bench.lot(lot).packs[0].counted_on, Some(day("2026-03-04")));
        bench.run(|tx| movement_reverse(tx, last.id, &mistake()));
        assert_eq!(bench.lot(lot).packs[0].counted_on, None);
        bench.sound();
    });
}

#[test]
fn a_count_that_makes_no_sense_is_refused() {
    at_bench(|bench| {
        let (base, gloves) = (bench.base("base", "0"), bench.pieces("gloves"));
        let lot = bench.receive(base, &["100"], "10");
        let pack = bench.pack(lot, 1);
        let pairs = bench.receive(gloves, &["10"], "5");
        let pair = bench.pack(pairs, 1);
        let counts = [
            (pack, CountIn::default(), "invalid "),
            (
                pack,
                CountIn {
                    gross_g: Some(q("1")),
                    ..found("1")
                },
                "invalid ",
            ),
            (pack, found("-1"), "invalid /on_hand"),
            (
                pack,
                CountIn {
                    tare_g: Some(q("1")),
                    ..found("1")
                },
                "invalid /tare_g",
            ),
            (
                pack,
                CountIn {
                    reason: "x".repeat(201),
                    ..found("1")
                },
                "invalid /reason",
            ),
            (
                pack,
                CountIn {
                    counted_on: Some(day("2026-03-05")),
                    ..found("1")
                },
                "invalid /counted_on",
            ),
            (
                pack,
                CountIn {
                    counted_on: Some(day("2026-01-31")),
                    ..found("1")
                },
                "invalid /counted_on",
            ),
            (
                pair,
                CountIn {
                    gross_g: Some(q("1")),
                    ..CountIn::default()
                },
                "invalid /gross_g",
            ),
            (pair, found("1.5"), "invalid /on_hand"),
            (77, found("1"), "no pack"),
        ];
        for (pack, input, expected) in counts {
            assert_eq!(
                bench.refusal(|tx| pack_count(tx, pack, &input)),
                expected,
                "{input:?}"
            );
        }
        assert_eq!(bench.stands(lot), "100 @ 10");
        bench.sound();
    });
}

#[test]
fn a_loss_that_makes_no_sense_is_refused() {
    at_bench(|bench| {
        let (base, gloves) = (bench.base("base", "0"), bench.pieces("gloves"));
        let lot = bench.receive(base, &["100"], "10");
        let pack = bench.pack(lot, 1);
        let pairs = bench.receive(gloves, &["10"], "5");
        let pair = bench.pack(pairs, 1);
        let losses = [
            (pack, lost("0"), "invalid /quantity"),
            (pack, lost("100.000001"), "invalid /quantity"),
            (
                pack,
                LossIn {
                    reason: " ".into(),
                    ..lost("1")
                },
                "invalid /reason",
            ),
            (
                pack,
                LossIn {
                    on: Some(day("2026-03-05")),
                    ..lost("1")
                },
                "invalid /on",
            ),
            (pair, lost("0.5"), "invalid /quantity"),
            (77, lost("1"), "no pack"),
            (77, lost("0"), "invalid /quantity"),
        ];
        for (pack, input, expected) in losses {
            assert_eq!(
                bench.refusal(spill(pack, input.clone())),
                expected,
                "{input:?}"
            );
        }
        assert_eq!(bench.stands(lot), "100 @ 10");
        bench.sound();
    });
}

#[test]
fn held_back_and_let_go() {
    at_bench(|bench| {
        let lot = bench.receive(bench.base("base", "0"), &["100", "100"], "10");
        let one = bench.pack(lot, 1);
        bench.run(|tx| pack_hold(tx, one, &reason("cloudy")));
        let view = bench.lot(lot);
        assert_eq!(view.packs[0].held_reason.as_deref(), Some("cloudy"));
        assert_eq!(
            (view.packs[0].state, view.state),
            (LotState::Held, LotState::Usable)
        );
        bench.run(|tx| lot_hold(tx, lot, &reason("recalled")));
        assert_eq!(bench.lot(lot).state, LotState::Held);
        bench.run(|tx| lot_release(tx, lot));
        assert_eq!(bench.lot(lot).state, LotState::Usable);
        assert_eq!(bench.refusal(|tx| lot_release(tx, lot)), "wrong-state");
        assert_eq!(bench.refusal(|tx| pack_release(tx, one)), "wrong-state");
        assert_eq!(
            bench.refusal(|tx| pack_hold(tx, one, &reason(""))),
            "invalid /reason"
        );
        assert_eq!(bench.refusal(|tx| lot_hold(tx, 77, &reason("x"))), "no lot");
        bench.run(|tx| pack_open(tx, one, &OpenIn::default()));
        assert_eq!(
            bench.refusal(|tx| pack_open(tx, one, &OpenIn::default())),
            "wrong-state"
        );
    });
}

#[test]
fn what_can_be_taken_back_and_what_cannot() {
    at_bench(|bench| {
        let lot = bench.receive(bench.base("base", "0"), &["100"], "10");
        let pack = bench.pack(lot, 1);
        let receipt = bench.movements(lot)[0].id;
        bench.run(spill(pack, lost("40")));
        let spilled = bench.movements(lot)[1].id;
        let reverse = |id: i64| move |tx: &mut Tx<'_>| movement_reverse(tx, id, &mistake());
        assert_eq!(bench.refusal(reverse(receipt)), "history-conflict");
        bench.run(reverse(spilled));
        assert_eq!(bench.refusal(reverse(spilled)), "wrong-state");
        let reversal = bench.movements(lot)[2].id;
        assert_eq!(bench.refusal(reverse(reversal)), "wrong-state");
        assert_eq!(bench.refusal(reverse(777)), "no movement");
        // What was taken back stands on nothing: the receipt can go now.
        bench.run(reverse(receipt));
        let view = bench.lot(lot);
        assert_eq!(
            (bench.stands(lot), view.state),
            ("0 @ 0".to_owned(), LotState::Spent)
        );
        assert_eq!(view.landed_cost.to_string(), "0");
        bench.sound();
    });
}

#[test]
fn value_is_never_left_without_stock() {
    at_bench(|bench| {
        let lot = bench.receive(bench.base("base", "0"), &["10"], "10");
        let pack = bench.pack(lot, 1);
        bench.run(|tx| pack_count(tx, pack, &found("15")));
        let count = bench.movements(lot)[1].id;
        bench.run(spill(pack, lost("10")));
        assert_eq!(bench.stands(lot), "5 @ 3.333333");
        let taken_back = bench.refusal(|tx| movement_reverse(tx, count, &mistake()));
        assert_eq!(taken_back, "history-conflict");
        bench.run(|tx| pack_count(tx, pack, &found("0")));
        assert_eq!(bench.stands(lot), "0 @ 0");
        bench.sound();
    });
}

#[test]
fn a_delivery_has_a_day_a_cost_and_something_in_every_pack() {
    at_bench(|bench| {
        let material_id = bench.base("base", "0");
        let receive = |on: &str, packs: &[&str], cost: &str| {
            let packs: Vec<Quantity> = packs.iter().map(|text| q(text)).collect();
            bench.refusal(|tx| {
                let receipt = Receipt {
                    material_id,
                    lot_code: "L-1",
                    kit_lot: None,
                    kit_id: None,
                    supplier_id: None,
                    order_line_id: None,
                    funded_by_id: None,
                    received_on: day(on),
                    expires_on: None,
                    packs: &packs,
                    landed_cost: Money::parse(cost)?,
                };
                lots_receive(tx, &[receipt])
            })
        };
        assert_eq!(receive("2026-03-05", &["1"], "1"), "invalid /received_on");
        assert_eq!(receive("2026-03-04", &["1"], "-1"), "invalid /line_price");
        assert_eq!(receive("2026-03-04", &[], "1"), "invalid /packs");
        assert_eq!(receive("2026-03-04", &["1", "0"], "1"), "invalid /packs");
        bench.sound();
    });
}
