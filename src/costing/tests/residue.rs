//! The residue report adds up, however casts, cups and shares fall.

use std::collections::HashMap;

use proptest::prelude::*;

use crate::base::{Code, Currency, Micro, Money, Quantity};
use crate::casting::cost::{Component, Components};
use crate::costing::period::Period;
use crate::costing::replica_cost::grouping::Part;
use crate::costing::residue::facts::{Judged, Observation, PouredCast, judge};
use crate::costing::residue::grouping::ResidueBy;
use crate::costing::residue::report::{ResidueGathering, ResidueNames, whole};
use crate::costing::residue::view::{ResidueReport, ResidueRow};

/// A cast: recipe, day of the year, the cups' film and weighed residue in millionths, shares of three grants in whole per
/// cent (none when nobody is charged), what its residue cost.
type Drawn = (i64, u32, Vec<(i64, i64)>, (u8, u8), bool, i64);

fn drawn() -> impl Strategy<Value = Drawn> {
    let cups = prop::collection::vec((100_000_i64..9_000_000, 0_i64..20_000_000), 0..4);
    let shares = (0_u8..=50, 0_u8..=50);
    (
        0_i64..3,
        0_u32..100,
        cups,
        shares,
        any::<bool>(),
        0_i64..9_000_000,
    )
}

fn names() -> ResidueNames {
    let of = |first: i64| {
        let name = |id: i64| (id, (Code::parse(&format!("N{id}")).unwrap(), String::new()));
        (first..first + 4).map(name).collect::<HashMap<_, _>>()
    };
    ResidueNames {
        materials: of(0),
        elastomers: of(10),
        rows: of(0),
    }
}

/// The parts of a cast's cost by who pays: its residue apportioned by shares.
fn payers(shares: (u8, u8), charged: bool, value: i64) -> Vec<Part> {
    let mut amounts = Components::default();
    let residue = |amounts: &mut Components, micro: i64| {
        amounts
            .add(Component::Residue, Money::from_micro(micro))
            .unwrap()
    };
    if !charged {
        residue(&mut amounts, value);
        return vec![whole(amounts)];
    }
    let shares = [(1, shares.0), (2, shares.1), (3, 100 - shares.0 - shares.1)];
    let shares: Vec<(i64, u8)> = shares.into_iter().filter(|(_, share)| *share > 0).collect();
    let weights: Vec<i64> = shares.iter().map(|(_, share)| i64::from(*share)).collect();
    let values = crate::base::apportion(value, &weights).unwrap();
    shares
        .into_iter()
        .zip(values)
        .map(|((grant, share), value)| {
            let mut amounts = Components::default();
            residue(&mut amounts, value);
            Part {
                material_id: None,
                grant_id: Some(grant),
                share: Micro::from_int(share.into()),
                amounts,
            }
        })
        .collect()
}

fn report(by: ResidueBy, drawn: &[Drawn]) -> ResidueReport {
    let mut casts = Vec::new();
    let mut observations = Vec::new();
    for (id, (recipe_id, day, cups, ..)) in (1..).zip(drawn) {
        let on = chrono::NaiveDate::from_yo_opt(2026, day + 1).unwrap();
        let batches: Vec<String> = (1..=cups.len())
            .map(|no| format!(r#"{{"no": {no}, "total_g": "40.5"}}"#))
            .collect();
        let pour = format!(r#"{{"batches": [{}]}}"#, batches.join(", "));
        let code = Code::parse(&format!("C-{id:05}")).unwrap();
        casts.push(PouredCast::read((id, code, *recipe_id), on, "{}", &pour).unwrap());
        for (batch_no, (film, weighed)) in (1..).zip(cups) {
            observations.push(Observation {
                cast_id: id,
                batch_no,
                cup_id: recipe_id % 2,
                elastomer_id: 10 + recipe_id / 2,
                film: Quantity::from_micro(*film),
                weighed: Quantity::from_micro(*weighed),
                on,
            });
        }
    }
    let (judged, known) = judge(&observations).unwrap();
    let judged: Vec<(i64, Judged)> = (0..).zip(judged).collect();
    let mut gathering = ResidueGathering::new(by);
    for (cast, (.., shares, charged, value)) in casts.iter().zip(drawn) {
        let cups: Vec<(i64, Judged)> = judged
            .iter()
            .filter(|(_, judged)| judged.observation.cast_id == cast.id)
            .copied()
            .collect();
        let parts = payers(*shares, *charged && by == ResidueBy::Grant, *value);
        gathering.add(cast, &cups, &parts).unwrap();
    }
    let euro = Currency::parse("EUR").unwrap();
    gathering
        .report(Period::default(), euro, &names(), &known, Vec::new())
        .unwrap()
}

fn masses(row: &ResidueRow) -> [i64; 6] {
    [
        row.mixed_g.micro(),
        row.film_g.micro(),
        row.expected_g.micro(),
        row.planned_g.micro(),
        row.weighed_g.micro(),
        row.residue_value.micro(),
    ]
}

proptest! {
    #[test]
    fn rows_add_up_to_the_total_and_every_grouping_has_the_same_total(casts in prop::collection::vec(drawn(), 0..12)) {
        let whole = report(ResidueBy::Cup, &casts);
        // What went in, added up here.
        let cups: Vec<(i64, i64)> = casts.iter().flat_map(|cast| cast.2.clone()).collect();
        prop_assert_eq!(whole.total.cups_weighed, cups.len());
        prop_assert_eq!(whole.total.film_g.micro(), cups.iter().map(|cup| cup.0).sum::<i64>());
        prop_assert_eq!(whole.total.weighed_g.micro(), cups.iter().map(|cup| cup.1).sum::<i64>());
        prop_assert_eq!(whole.total.mixed_g.micro(), 40_500_000 * i64::try_from(cups.len()).unwrap());
        let weighed = |cast: &&Drawn| !cast.2.is_empty();
        let value = casts.iter().filter(weighed).map(|cast| cast.5).sum::<i64>();
        prop_assert_eq!(whole.total.residue_value.micro(), value);
        let rest = casts.iter().filter(|cast| !weighed(cast)).map(|cast| cast.5).sum::<i64>();
        prop_assert_eq!(whole.without_weighing.residue_value.micro(), rest);
        prop_assert_eq!(whole.total.casts + whole.without_weighing.casts, casts.len());
        for by in ResidueBy::ALL {
            let found = report(by, &casts);
            prop_assert_eq!(&found.total, &whole.total);
            let mut sums = [0; 6];
            for row in &found.rows {
                for (sum, mass) in sums.iter_mut().zip(masses(row)) {
                    *sum += mass;
                }
            }
            prop_assert_eq!(sums, masses(&found.total), "{:?}", by);
            if by != ResidueBy::Grant {
                prop_assert_eq!(found.rows.iter().map(|row| row.cups_weighed).sum::<usize>(), cups.len());
                prop_assert_eq!(found.rows.iter().map(|row| row.outliers).sum::<usize>(), whole.total.outliers);
            }
            prop_assert_eq!(&found.weighings, &whole.weighings);
        }
    }
}
