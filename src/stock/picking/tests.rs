//! Tables of cases: which packs are picked, and why the others are passed over.

use super::*;
use crate::stock::needs::Purpose;
use crate::stock::shelf::tests::{day, pack};
use proptest::prelude::*;

const DAY: &str = "2026-02-01";

fn rules() -> PickRules {
    PickRules {
        day: day(DAY),
        grants: vec![7],
        allow_mixed_kits: false,
        allow_cross_charge: false,
    }
}

fn need(material_id: i64, purpose: Purpose, quantity: i32) -> Need {
    Need {
        material_id,
        purpose,
        batch_no: 1,
        quantity: Quantity::from_int(quantity),
        piece: Quantity::from_micro(1),
    }
}

fn picked(mut shelf: Vec<PackFacts>, needs: &[Need], rules: &PickRules) -> String {
    let list = pick(&mut shelf, needs, rules);
    let picks: Vec<String> = list
        .picks
        .iter()
        .map(|p| format!("{}:{}", shelf[p.pack].pack_id, p.quantity))
        .collect();
    let short: Vec<String> = list
        .shortfalls
        .iter()
        .map(|s| format!("short {}: {}/{}", s.material_id, s.available, s.needed))
        .collect();
    [picks, short].concat().join(" ")
}

#[track_caller]
fn check(shelf: Vec<PackFacts>, quantity: i32, expected: &str) {
    assert_eq!(
        picked(shelf, &[need(1, Purpose::Sundry, quantity)], &rules()),
        expected
    );
}

#[test]
fn the_order_of_preference() {
    let opened = |id, on_hand| PackFacts {
        opened_on: Some(day("2026-01-05")),
        ..pack(id, on_hand)
    };
    let expiring = |id, on_hand, on: &str| PackFacts {
        expires_on: Some(day(on)),
        ..pack(id, on_hand)
    };
    let of_grant = |id, on_hand, grant| PackFacts {
        funded_by_id: Some(grant),
        ..pack(id, on_hand)
    };
    check(vec![pack(1, 5), pack(2, 9)], 7, "2:7");
    check(vec![pack(1, 5), opened(2, 9)], 4, "2:4");
    check(vec![opened(1, 3), pack(2, 9)], 4, "2:4");
    check(
        vec![expiring(1, 9, "2026-09-01"), expiring(2, 9, "2026-03-01")],
        4,
        "2:4",
    );
    check(vec![expiring(1, 9, "2026-01-31"), pack(2, 9)], 4, "2:4");
    check(vec![of_grant(1, 9, 8), pack(2, 9)], 4, "2:4");
    check(vec![of_grant(1, 9, 8)], 4, "short 1: 0/4");
    check(vec![of_grant(1, 9, 7)], 4, "1:4");
    check(vec![pack(1, 3), pack(2, 3)], 5, "1:3 2:2");
    check(vec![pack(1, 3)], 5, "short 1: 3/5");
    check(
        vec![
            PackFacts {
                received_on: day("2025-12-01"),
                ..pack(2, 9)
            },
            pack(1, 9),
        ],
        4,
        "2:4",
    );
}

/// What was picked, and why each other pack was passed over.
#[track_caller]
fn explained(mut shelf: Vec<PackFacts>, needs: &[Need], expected: &[(i64, &str)]) {
    let list = pick(&mut shelf, needs, &rules());
    let found: Vec<(i64, &str)> = list
        .passed_over
        .iter()
        .map(|(index, why)| (shelf[*index].pack_id, why.as_str()))
        .collect();
    assert_eq!(found, expected);
}

/// Why the first pack was picked.
fn why(mut shelf: Vec<PackFacts>, needs: &[Need]) -> String {
    pick(&mut shelf, needs, &rules()).picks[0].why.clone()
}

#[test]
fn a_pick_says_by_when_the_rest_is_to_be_used() {
    let one = [need(1, Purpose::Sundry, 4)];
    // The cast is on 2026-02-01.
    assert_eq!(rules().day, day("2026-02-01"));
    let says = |expires_on: &str, open_life_days, opened_on: Option<&str>| {
        let pack = PackFacts {
            expires_on: Some(day(expires_on)),
            open_life_days,
            opened_on: opened_on.map(day),
            ..pack(1, 9)
        };
        let words = why(vec![pack], &one);
        words.rsplit(", ").next().map(str::to_owned).unwrap()
    };
    assert_eq!(says("2026-05-01", None, None), "keeps until 2026-05-01");
    assert_eq!(says("2026-03-04", None, None), "keeps until 2026-03-04");
    assert_eq!(says("2026-03-03", None, None), "use by 2026-03-03");
    assert_eq!(
        says("2026-05-01", Some(20), Some("2026-01-25")),
        "use by 2026-02-14"
    );
    let sealed = why(
        vec![PackFacts {
            open_life_days: Some(20),
            ..pack(1, 9)
        }],
        &one,
    );
    assert!(
        sealed.ends_with("once opened, use by 2026-02-21"),
        "{sealed}"
    );
}

#[test]
fn a_pack_that_cannot_serve_says_why() {
    let one = [need(1, Purpose::Sundry, 4)];
    let opened = PackFacts {
        opened_on: Some(day("2026-01-05")),
        ..pack(1, 9)
    };
    let lived = |id| PackFacts {
        opened_on: Some(day("2026-01-05")),
        open_life_days: Some(20),
        ..pack(id, 9)
    };
    explained(
        vec![opened.clone(), pack(2, 9)],
        &one,
        &[(2, "not opened yet; lot L1 is open")],
    );
    explained(
        vec![opened.clone(), lived(2)],
        &one,
        &[(2, "keeps only until 2026-01-25")],
    );
    let held = PackFacts {
        held_reason: Some("cloudy".into()),
        ..pack(2, 9)
    };
    explained(vec![pack(1, 9), held], &one, &[(2, "held: cloudy")]);
    let heel = PackFacts {
        heel: Quantity::from_int(9),
        ..pack(2, 9)
    };
    explained(
        vec![pack(1, 9), heel],
        &one,
        &[(2, "nothing but the heel is left")],
    );
    let foreign = PackFacts {
        funded_by_id: Some(8),
        ..pack(2, 9)
    };
    explained(
        vec![pack(1, 9), foreign],
        &one,
        &[(
            2,
            "paid for by another grant; allow_cross_charge would use it",
        )],
    );
    let promised = PackFacts {
        reserved: Quantity::from_int(9),
        ..pack(2, 9)
    };
    explained(
        vec![pack(1, 9), promised],
        &one,
        &[(2, "all promised to other casts")],
    );
}

#[test]
fn a_pack_that_could_have_served_says_what_told_it_apart() {
    let one = [need(1, Purpose::Sundry, 4)];
    explained(
        vec![pack(1, 3), pack(2, 9)],
        &one,
        &[(1, "does not hold all that is needed; lot L2 does")],
    );
    let keeping = |id, on: &str| PackFacts {
        expires_on: Some(day(on)),
        ..pack(id, 9)
    };
    explained(
        vec![keeping(1, "2026-05-01"), keeping(2, "2026-03-01")],
        &one,
        &[(
            1,
            "keeps longer; lot L2 goes first, since it keeps until 2026-03-01",
        )],
    );
    let came = |id, on: &str| PackFacts {
        received_on: day(on),
        ..pack(id, 9)
    };
    explained(
        vec![came(1, "2026-01-20"), came(2, "2026-01-10")],
        &one,
        &[(1, "came later; lot L2 was received on 2026-01-10")],
    );
    explained(
        vec![came(1, "2026-02-02"), pack(2, 9)],
        &one,
        &[(1, "received only on 2026-02-02")],
    );
    explained(
        vec![pack(1, 9), pack(2, 9)],
        &one,
        &[(
            2,
            "as good as what was picked: taken in the order of lot codes and packs",
        )],
    );
    explained(
        vec![pack(1, 3)],
        &one,
        &[(1, "there is not enough of it in all")],
    );
    let strip = Need {
        piece: Quantity::from_int(4),
        ..need(1, Purpose::Tape, 4)
    };
    explained(
        vec![pack(1, 3), pack(2, 9)],
        &[strip],
        &[(1, "holds no whole piece of 4")],
    );
}

#[test]
fn a_pack_without_its_partner_says_why() {
    let parts = [need(1, Purpose::Base, 10), need(2, Purpose::CuringAgent, 1)];
    let loose = PackFacts {
        kit_lot: None,
        ..part(0, 1, 20, "")
    };
    explained(
        vec![
            part(1, 1, 20, "K1"),
            part(2, 2, 0, "K1"),
            part(3, 1, 20, "K2"),
            part(4, 2, 5, "K2"),
            loose,
        ],
        &parts,
        &[
            (1, "kit lot K1 does not hold enough of both parts"),
            (2, "empty"),
            (
                0,
                "belongs to no kit lot, and both parts of a batch are to be of one",
            ),
        ],
    );
}

#[test]
fn only_whole_pieces() {
    let strip = Need {
        piece: Quantity::from_int(4),
        ..need(1, Purpose::Tape, 8)
    };
    assert_eq!(
        picked(
            vec![pack(1, 7), pack(2, 7)],
            std::slice::from_ref(&strip),
            &rules()
        ),
        "1:4 2:4"
    );
    assert_eq!(
        picked(
            vec![pack(1, 7), pack(2, 3)],
            std::slice::from_ref(&strip),
            &rules()
        ),
        "short 1: 4/8"
    );
}

fn part(id: i64, material_id: i64, on_hand: i32, kit_lot: &str) -> PackFacts {
    PackFacts {
        material_id,
        kit_lot: Some(kit_lot.into()),
        ..pack(id, on_hand)
    }
}

#[test]
fn parts_of_a_batch_come_from_one_kit_lot() {
    let needs = [need(1, Purpose::Base, 10), need(2, Purpose::CuringAgent, 1)];
    let shelf = vec![
        part(1, 1, 20, "K1"),
        part(2, 2, 0, "K1"),
        part(3, 1, 20, "K2"),
        part(4, 2, 5, "K2"),
    ];
    assert_eq!(picked(shelf, &needs, &rules()), "3:10 4:1");
    let apart = vec![part(1, 1, 20, "K1"), part(4, 2, 5, "K2")];
    assert_eq!(
        picked(apart.clone(), &needs, &rules()),
        "short 1: 20/10 short 2: 5/1"
    );
    let mixed = PickRules {
        allow_mixed_kits: true,
        ..rules()
    };
    assert_eq!(picked(apart, &needs, &mixed), "1:10 4:1");
}

#[test]
fn a_cross_charge_needs_leave_and_comes_last() {
    let other = PackFacts {
        funded_by_id: Some(8),
        opened_on: Some(day("2026-01-05")),
        ..pack(1, 9)
    };
    let allowed = PickRules {
        allow_cross_charge: true,
        ..rules()
    };
    assert_eq!(
        picked(
            vec![other, pack(2, 9)],
            &[need(1, Purpose::Sundry, 4)],
            &allowed
        ),
        "2:4"
    );
}

proptest! {
    #[test]
    fn never_more_than_is_free(
        amounts in prop::collection::vec((0_i32..50, 0_i32..50), 1..8),
        wants in prop::collection::vec(1_i32..60, 1..5),
    ) {
        let mut shelf: Vec<PackFacts> = amounts.iter().enumerate().map(|(i, (on_hand, reserved))| PackFacts {
            reserved: Quantity::from_int((*reserved).min(*on_hand)),
            ..pack(i64::try_from(i).unwrap() + 1, *on_hand)
        }).collect();
        let free: i64 = shelf.iter().map(|p| p.free().micro()).sum();
        let needs: Vec<Need> = wants.iter().enumerate().map(|(i, want)| Need { batch_no: i32::try_from(i).unwrap(), ..need(1, Purpose::Sundry, *want) }).collect();
        let list = pick(&mut shelf, &needs, &rules());
        let picked: i64 = list.picks.iter().map(|p| p.quantity.micro()).sum();
        prop_assert!(picked <= free);
        prop_assert!(shelf.iter().all(|p| p.reserved <= p.on_hand));
        for (index, need) in needs.iter().enumerate() {
            let got: i64 = list.picks.iter().filter(|p| p.need == index).map(|p| p.quantity.micro()).sum();
            prop_assert_eq!(got, if list.unserved.contains(&index) { 0 } else { need.quantity.micro() });
        }
    }
}
