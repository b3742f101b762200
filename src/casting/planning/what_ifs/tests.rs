//! What if, by hand: prices, trays, yields; and what must hold whatever is asked.

use proptest::prelude::*;
use serde_json::{Value, json};

use super::*;
use crate::base::{Currency, Micro, Money, Quantity};
use crate::casting::cost::Component;
use crate::stock::shelf::PackFacts;

/// A pack of each material of the sample recipe: 1000 of its unit for 100.
fn facts() -> PlanFacts {
    let recipe = include_str!("../../samples/recipe.json");
    let recipe = serde_json::from_str(recipe).unwrap();
    let mut facts = PlanFacts::bare(recipe, Currency::parse("EUR").unwrap());
    facts.shelf = (10..16).chain(20..26).map(pack).collect();
    facts
}

fn pack(material_id: i64) -> PackFacts {
    let quantity = Quantity::from_int(1_000);
    PackFacts {
        pack_id: material_id,
        no: 1,
        lot_id: material_id,
        lot_code: format!("L-{material_id}"),
        kit_lot: (material_id < 12).then(|| "K-1".to_owned()),
        material_id,
        funded_by_id: None,
        received_on: "2026-01-01".parse().unwrap(),
        expires_on: None,
        opened_on: None,
        open_life_days: None,
        held_reason: None,
        on_hand: quantity,
        reserved: Quantity::ZERO,
        heel: Quantity::ZERO,
        lot_on_hand: quantity,
        lot_value: Money::from_int(100),
    }
}

fn asked(containers: u32, more: Value) -> WhatIfIn {
    let mut body =
        json!({"plan": {"recipe": "chip", "containers": containers, "cast_on": "2026-03-02"}});
    for (name, value) in more.as_object().unwrap() {
        body[name] = value.clone();
    }
    serde_json::from_value(body).unwrap()
}

fn ask(containers: u32, more: Value) -> WhatIfOut {
    what_ifs(&facts(), &asked(containers, more), &[]).unwrap()
}

fn line(outcome: &Outcome) -> &PlanLine {
    let why = outcome.not_possible.as_deref();
    let line = outcome.line.as_ref();
    line.unwrap_or_else(|| panic!("{}", why.unwrap_or_default()))
}

fn amount(line: &PlanLine, component: Component) -> i64 {
    let found = line
        .components
        .iter()
        .find(|part| part.component == component);
    found.unwrap().amount.micro()
}

#[test]
fn a_dearer_base_costs_its_mass_times_the_difference() {
    let found = ask(
        4,
        json!({"prices": [{"material": "base", "change": "0.10"}, {"material": "tray", "change": "-0.5"}]}),
    );
    assert!(found.unchanged.in_stock);
    // 0.10 a gram, and a tenth of that more: a hundredth for each gram of base, which is taken for two batches.
    let (before, dearer) = (&found.unchanged, line(&found.prices[0].outcome));
    let more = dearer.total.micro() - before.total.micro();
    let by_hand = found.plan.mix.base_g.micro() / 100;
    assert!((more - by_hand).abs() <= 2, "{more} against {by_hand}");
    assert_eq!((dearer.containers, dearer.total_g), (4, before.total_g));
    for part in [
        Component::Release,
        Component::Tape,
        Component::Container,
        Component::Cup,
        Component::Sundries,
    ] {
        assert_eq!(amount(dearer, part), amount(before, part), "{part:?}");
    }
    assert!(amount(dearer, Component::Residue) > amount(before, Component::Residue));
    // Four trays of 0.10 each at half the price; 16 chips of which 14.4 are expected to be good.
    let cheaper = line(&found.prices[1].outcome);
    assert_eq!(before.total.micro() - cheaper.total.micro(), 200_000);
    let trays = &found.prices[1].by_component[Component::Container as usize];
    assert_eq!(trays.component, Component::Container);
    assert_eq!(
        (trays.before.to_string(), trays.after.to_string()),
        ("0.027778".to_owned(), "0.013889".to_owned())
    );
    assert_eq!(
        cheaper.per_good_chip.unwrap().micro(),
        (cheaper.total.micro() as f64 / 14.4).round() as i64
    );
}

/// A rectangular tray with straight walls.
fn tray(code: &str, (length, width, depth): (&str, &str, &str)) -> OtherTray {
    let mut material = facts().recipe.container;
    material.id = 99;
    material.code = code.parse().unwrap();
    material.body.code = material.code.clone();
    material.body.container = serde_json::from_value(
        json!({"shape": "rectangular", "length_mm": length, "width_mm": width, "depth_mm": depth}),
    )
    .unwrap();
    OtherTray {
        shelf: vec![pack(material.id)],
        on_order: None,
        material,
    }
}

#[test]
fn another_tray_has_its_own_level_fill_and_trim() {
    let mut facts = facts();
    facts.experience.fill_factors = vec![1.05];
    let own = OtherTray {
        material: facts.recipe.container.clone(),
        shelf: vec![],
        on_order: None,
    };
    let trays = [
        tray("wide", ("100", "70", "15")),
        tray("narrow", ("70", "60", "15")),
        tray("shallow", ("100", "70", "5")),
        own,
    ];
    let found = what_ifs(&facts, &asked(2, json!({"yield": ["0.5"]})), &trays).unwrap();
    let wide = &found.container[0];
    let fill = wide.fill.as_ref().unwrap();
    // Level: mould 1, tape 0.1, chip 4. 100 x 70 x 5.1 less 75 x 50 x 1.1 mm3; of that 75 x 50 x 4 is chip; 1.03 g/mL.
    assert_eq!(fill.level_mm.to_string(), "5.1");
    assert_eq!(fill.volume_ml.to_string(), "31.575");
    assert_eq!(fill.mass_g.to_string(), "32.52225");
    assert_eq!(fill.chip_g.to_string(), "15.45");
    assert_eq!(wide.trim_g.unwrap().to_string(), "17.07225");
    assert_eq!(
        fill.basis, "geometry",
        "what was learned of the own tray says nothing of this one"
    );
    assert!(line(&wide.outcome).in_stock);
    let reason = |at: usize| found.container[at].outcome.not_possible.clone().unwrap();
    assert!(reason(1).contains("75"), "{}", reason(1));
    assert!(reason(2).contains("5.1"), "{}", reason(2));
    assert_eq!(found.container[1].fill, None);
    // Its own tray is the plan itself, with what was learned of it.
    assert_eq!(line(&found.container[3].outcome), &found.unchanged);
    assert_eq!(found.container[3].fill.as_ref().unwrap().basis, "learned");
}

#[test]
fn another_yield_spreads_the_same_cost_and_asks_for_other_trays() {
    let wanted: WhatIfIn =
        serde_json::from_value(json!({"plan": {"recipe": "chip", "good_chips_wanted": 4,
        "cast_on": "2026-03-02"}, "yield": ["0.5", "0.9"]}))
        .unwrap();
    let found = what_ifs(&facts(), &wanted, &[]).unwrap();
    // Beta(9, 1) and trays of 4: one gives 4 good with 0.692, two with 0.997.
    assert_eq!(found.unchanged.containers, 2);
    let half = line(&found.yields[0].outcome);
    assert_eq!((half.containers, half.total), (2, found.unchanged.total));
    assert_eq!(half.expected_good_chips.to_string(), "4");
    assert_eq!(
        half.per_good_chip.unwrap().micro(),
        (half.total.micro() as f64 / 4.0).round_ties_even() as i64
    );
    // Beta(5, 5): at least 4 of 12 are good with 0.898, of 16 with 0.979 (exact fractions).
    let trays = |at: usize| line(found.yields[at].for_wanted.as_ref().unwrap()).containers;
    assert_eq!((trays(0), trays(1)), (4, 2));
    let by_trays = ask(2, json!({"yield": ["0.5"]}));
    assert_eq!(by_trays.yields[0].for_wanted, None);
}

#[test]
fn fewer_trays_in_a_cup_leave_more_in_the_cups() {
    let found = ask(4, json!({"containers_per_batch": [1, 2]}));
    let (one, two) = (
        line(&found.containers_per_batch[0].outcome),
        line(&found.containers_per_batch[1].outcome),
    );
    assert_eq!((one.batches, two.batches), (4, 2));
    assert!(one.residue_g > two.residue_g && one.total > two.total);
    assert_eq!(two, &found.unchanged);
}

#[test]
fn what_is_refused_is_named() {
    let refused = |more: Value| match what_ifs(&facts(), &asked(2, more), &[]) {
        Err(Error::Invalid(faults)) => faults[0].pointer.clone(),
        other => panic!("{other:?}"),
    };
    assert_eq!(
        refused(json!({"prices": [{"material": "glue", "change": "1"}]})),
        "/prices/0/material"
    );
    assert_eq!(
        refused(json!({"drain_time_s": ["60", "0"]})),
        "/drain_time_s/1"
    );
    assert_eq!(
        refused(json!({"drain_time_s": ["86401"]})),
        "/drain_time_s/0"
    );
    let too_many =
        json!({"plan": {"recipe": "chip", "containers": 2, "groups": 3, "cast_on": "2026-03-02"}});
    assert_eq!(refused(too_many), "/plan/groups");
}

fn share(micro: i64) -> String {
    Micro::from_micro(micro).to_string()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn the_same_price_costs_the_same_and_the_rest_is_linear(containers in 1_u32..12, change in -999_999_i64..5_000_000,
        material in prop::sample::select(vec!["base", "agent", "vial", "tray", "cup", "tape", "stirrer", "label"])) {
        let price = |change: i64| json!({"material": material, "change": share(change)});
        let found = ask(containers, json!({"prices": [price(0), price(change), price(1_000_000)]}));
        prop_assert_eq!(line(&found.prices[0].outcome), &found.unchanged);
        let before = found.unchanged.total.micro();
        let more = |at: usize| line(&found.prices[at].outcome).total.micro() - before;
        let expected = more(2) as f64 * change as f64 / 1e6;
        // A few roundings of half a millionth each: one of every lot and of every pick.
        prop_assert!((more(1) as f64 - expected).abs() <= 40.0, "{} against {expected}", more(1));
        for component in Component::ALL {
            let parts = |line: &PlanLine| amount(line, component);
            let (part, dearer) = (parts(&found.unchanged), parts(line(&found.prices[2].outcome)));
            prop_assert!(dearer >= part, "{component:?} is cheaper at twice the price");
        }
    }

    #[test]
    fn longer_draining_never_mixes_more(containers in 1_u32..12, first in 1_i64..3_000, more in 1_i64..3_000) {
        let found = ask(containers, json!({"drain_time_s": [first.to_string(), (first + more).to_string()]}));
        let (short, long) = (line(&found.drain_time_s[0].outcome), line(&found.drain_time_s[1].outcome));
        prop_assert!(long.residue_g <= short.residue_g);
        prop_assert!(long.total_g <= short.total_g, "{} after {}", long.total_g, short.total_g);
    }

    #[test]
    fn a_better_yield_never_costs_more(containers in 1_u32..12, low in 1_i64..999_999, high in 1_i64..999_999) {
        let (low, high) = (low.min(high), low.max(high));
        let found = ask(containers, json!({"yield": [share(low), share(high)]}));
        let cost = |at: usize| line(&found.yields[at].outcome).per_good_chip;
        // So few good chips that none is expected have no price.
        prop_assert!(cost(0).is_none() || cost(1).is_some_and(|cost_high| Some(cost_high) <= cost(0)));
        prop_assert_eq!(line(&found.yields[0].outcome).total, found.unchanged.total);
    }
}
