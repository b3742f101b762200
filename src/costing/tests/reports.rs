//! Reports against the books they are made from.

use chrono::{Days, NaiveDate};
use diesel::prelude::*;

use super::books::{Cast, cast, entry};
use crate::base::{Currency, Error, Money, apportion};
use crate::casting::cost::{Component, ComponentAmount};
use crate::costing::period::Period;
use crate::costing::replica_cost::grouping::GroupBy;
use crate::costing::replica_cost::ops::replica_cost;
use crate::costing::replica_cost::report::{CostRow, ReplicaCost};
use crate::db::fixture::{on_database, write};
use crate::db::schema::{cast_costs, casts};
use crate::db::{AnyConnection, Tx, sum_bigint};

fn report(
    conn: &mut AnyConnection,
    (from, to): (Option<&str>, Option<&str>),
    by: GroupBy,
) -> Result<ReplicaCost, Error> {
    let period = Period::parse(from, to).unwrap();
    replica_cost(conn, period, by, Currency::parse("EUR").unwrap())
}

/// A number from 0 to `below` - 1 that looks like chance and is always the same.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, below: i64) -> i64 {
        // Constants of Knuth's MMIX generator.
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        i64::try_from(self.0 >> 33).unwrap() % below
    }
}

/// Sixty casts over three months, with charges of every kind and amounts down to the millionth; some still in the tray.
fn busy_books(tx: &mut Tx<'_>) {
    let grants = ["G-c", "G-a", "G-b"].map(|code| entry(tx.conn, "grant", code, code));
    let recipes = ["R-2", "R-1"].map(|code| entry(tx.conn, "recipe", code, code));
    let first: NaiveDate = "2026-01-01".parse().unwrap();
    let mut dice = Dice(7);
    for no in 0..60_u32 {
        let poured_on = first + Days::new(u64::from(no) * 3 / 2);
        let demolded_on = (poured_on + Days::new(2)).to_string();
        let charges: Vec<(i64, i64)> = match no % 4 {
            0 => Vec::new(),
            1 => vec![(grants[0], 100_000_000)],
            2 => vec![(grants[1], 33_333_333), (grants[2], 66_666_667)],
            _ => vec![
                (grants[0], 20_000_000),
                (grants[1], 30_000_000),
                (grants[2], 50_000_000),
            ],
        };
        let shares: Vec<i64> = charges.iter().map(|charge| charge.1).collect();
        let mut costs = Vec::new();
        for component in Component::ALL {
            let amount = dice.roll(9_000_000);
            if charges.is_empty() {
                costs.push((None, component.as_str(), amount));
            } else {
                let parts = apportion(amount, &shares).unwrap();
                let of_grants = charges.iter().zip(parts);
                costs.extend(
                    of_grants.map(|((grant, _), part)| (Some(*grant), component.as_str(), part)),
                );
            }
        }
        let good = if no % 7 == 0 { 0 } else { dice.roll(21) };
        let code = format!("C-{no}");
        let written = Cast {
            code: &code,
            recipe_id: recipes[usize::try_from(no % 2).unwrap()],
            poured_on: &poured_on.to_string(),
            demolded: (no % 10 != 9).then_some((demolded_on.as_str(), good, 20 - good)),
            charges: &charges,
            costs: &costs,
        };
        cast(tx.conn, &written);
    }
}

/// What the books hold for casts that are demoulded, or that are not.
fn booked(conn: &mut AnyConnection, state: &str) -> i64 {
    cast_costs::table
        .inner_join(casts::table)
        .filter(casts::state.eq(state))
        .select(sum_bigint("amount_micro"))
        .get_result(conn)
        .unwrap()
}

fn adds_up(components: &[ComponentAmount], total: Money) {
    let words: Vec<Component> = components.iter().map(|c| c.component).collect();
    assert_eq!(words, Component::ALL);
    let sum: i64 = components.iter().map(|c| c.amount.micro()).sum();
    assert_eq!(sum, total.micro());
    assert_eq!(sum % 10_000, 0, "whole cents");
}

fn columns_add_up(report: &ReplicaCost) {
    let sum = |of: &dyn Fn(&CostRow) -> i64| report.rows.iter().map(of).sum::<i64>();
    for row in report.rows.iter().chain([&report.total]) {
        adds_up(&row.components, row.total);
    }
    for at in 0..10 {
        let column = sum(&|row| row.components[at].amount.micro());
        assert_eq!(column, report.total.components[at].amount.micro());
    }
    assert_eq!(sum(&|row| row.total.micro()), report.total.total.micro());
    assert_eq!(
        sum(&|row| row.exact_total.micro()),
        report.total.exact_total.micro()
    );
    assert_eq!(sum(&|row| row.chips.micro()), report.total.chips.micro());
    assert_eq!(
        sum(&|row| row.good_chips.micro()),
        report.total.good_chips.micro()
    );
}

#[test]
fn totals_are_those_of_the_books_to_the_millionth_however_grouped() {
    on_database(|db| {
        write(&db, |tx| {
            busy_books(tx);
            let demolded = booked(tx.conn, "demolded");
            let open = booked(tx.conn, "poured");
            assert!(demolded > 0 && open > 0);
            let mut totals = Vec::new();
            for by in GroupBy::ALL {
                let report = report(tx.conn, (None, None), by)?;
                columns_add_up(&report);
                assert_eq!(report.total.exact_total.micro(), demolded, "{by:?}");
                let progress = &report.work_in_progress;
                assert_eq!((progress.casts, progress.exact_total.micro()), (6, open));
                adds_up(&progress.components, progress.total);
                totals.push((report.total, report.rows.len()));
            }
            let rows: Vec<usize> = totals.iter().map(|(_, rows)| *rows).collect();
            // These books hold no movements, so that no material stands behind any cost.
            assert_eq!(rows, [4, 3, 2, 1, 54]);
            // What the report says of all rows together does not depend on how they are grouped, but for the cents of
            // single components, which follow the rows.
            for (total, _) in &totals {
                let first = &totals[0].0;
                assert_eq!(
                    (total.casts, total.scrapped_casts),
                    (54, first.scrapped_casts)
                );
                assert_eq!(total.chips.to_string(), (54 * 20).to_string());
                assert_eq!(total.total, first.total);
                assert_eq!(total.per_good_chip, first.per_good_chip);
                assert_eq!(total.planning_interval, first.planning_interval);
                assert_eq!(total.residue_share, first.residue_share);
            }
            assert_eq!(totals[0].0.planning_interval.as_ref().unwrap().casts, 54);
            Ok(())
        })
        .unwrap();
    });
}

#[test]
fn rows_of_grants_are_what_each_was_charged() {
    on_database(|db| {
        write(&db, |tx| {
            busy_books(tx);
            let report = report(tx.conn, (None, None), GroupBy::Grant)?;
            let keys: Vec<&str> = report.rows.iter().map(|row| row.key.as_str()).collect();
            assert_eq!(keys, ["G-a", "G-b", "G-c", "unassigned"]);
            let unassigned: i64 = cast_costs::table
                .inner_join(casts::table)
                .filter(casts::state.eq("demolded"))
                .filter(cast_costs::grant_id.is_null())
                .select(sum_bigint("amount_micro"))
                .get_result(tx.conn)?;
            assert_eq!(report.rows[3].exact_total.micro(), unassigned);
            // Thirds of chips are decimals and still add up with the rest (held by `columns_add_up` as well).
            assert_ne!(report.rows[0].chips.micro() % 1_000_000, 0);
            for row in &report.rows {
                let interval = row.planning_interval.as_ref().unwrap();
                let per = row.per_good_chip.unwrap();
                assert!(interval.low < per && per < interval.high);
                assert_eq!(interval.casts, row.casts);
            }
            Ok(())
        })
        .unwrap();
    });
}

#[test]
fn a_cast_counts_whole_in_the_month_of_its_demold_and_is_in_progress_before() {
    on_database(|db| {
        write(&db, |tx| {
            let recipe_id = entry(tx.conn, "recipe", "R-1", "Chip");
            let over_the_turn = Cast {
                code: "C-1",
                recipe_id,
                poured_on: "2026-01-30",
                demolded: Some(("2026-02-01", 9, 1)),
                costs: &[(None, "chip", 5_005_000)],
                ..Cast::default()
            };
            cast(tx.conn, &over_the_turn);
            let last_day = Cast {
                code: "C-2",
                poured_on: "2026-01-29",
                demolded: Some(("2026-01-31", 10, 0)),
                costs: &[(None, "tape", 1_000_000)],
                ..over_the_turn
            };
            cast(tx.conn, &last_day);
            let mut check = |period: (Option<&str>, Option<&str>),
                             keys: &[&str],
                             exact: &str,
                             open: (usize, &str)| {
                let report = report(tx.conn, period, GroupBy::Month).unwrap();
                let found: Vec<&str> = report.rows.iter().map(|row| row.key.as_str()).collect();
                assert_eq!(found, keys, "{period:?}");
                assert_eq!(report.total.exact_total.to_string(), exact, "{period:?}");
                let progress = &report.work_in_progress;
                assert_eq!(
                    (progress.casts, progress.exact_total.to_string()),
                    (open.0, open.1.to_owned())
                );
            };
            check(
                (Some("2026-01-01"), Some("2026-01-31")),
                &["2026-01"],
                "1",
                (1, "5.005"),
            );
            check(
                (Some("2026-02-01"), Some("2026-02-28")),
                &["2026-02"],
                "5.005",
                (0, "0"),
            );
            check((None, Some("2026-01-30")), &[], "0", (2, "6.005"));
            check((None, Some("2026-01-29")), &[], "0", (1, "1"));
            check(
                (Some("2026-01-31"), None),
                &["2026-01", "2026-02"],
                "6.005",
                (0, "0"),
            );
            check((None, None), &["2026-01", "2026-02"], "6.005", (0, "0"));
            Ok(())
        })
        .unwrap();
    });
}

#[test]
fn empty_books_give_an_empty_report() {
    on_database(|db| {
        write(&db, |tx| {
            for by in GroupBy::ALL {
                let report = report(tx.conn, (None, None), by)?;
                assert!(report.rows.is_empty());
                assert_eq!(
                    (report.total.casts, report.total.exact_total),
                    (0, Money::ZERO)
                );
                assert_eq!(
                    (report.total.r#yield, report.total.residue_share),
                    (None, None)
                );
                assert_eq!(report.work_in_progress.casts, 0);
                adds_up(&report.total.components, Money::ZERO);
            }
            Ok(())
        })
        .unwrap();
    });
}

#[test]
fn free_material_counts_its_chips_and_a_stray_cost_is_not_lost() {
    on_database(|db| {
        write(&db, |tx| {
            let recipe_id = entry(tx.conn, "recipe", "R-1", "Chip");
            let charged = entry(tx.conn, "grant", "G-1", "One");
            let stray = entry(tx.conn, "grant", "G-2", "Two");
            let free = Cast {
                code: "C-1",
                recipe_id,
                poured_on: "2026-01-01",
                demolded: Some(("2026-01-02", 4, 0)),
                charges: &[(charged, 100_000_000)],
                ..Cast::default()
            };
            cast(tx.conn, &free);
            let costs = [(Some(stray), "cup", 250_000)];
            cast(
                tx.conn,
                &Cast {
                    code: "C-2",
                    costs: &costs,
                    ..free
                },
            );
            let report = report(tx.conn, (None, None), GroupBy::Grant)?;
            let found: Vec<_> = report
                .rows
                .iter()
                .map(|row| {
                    (
                        row.key.as_str(),
                        row.casts,
                        row.good_chips.to_string(),
                        row.exact_total.to_string(),
                    )
                })
                .collect();
            assert_eq!(
                found,
                [
                    ("G-1", 2, "8".to_owned(), "0".to_owned()),
                    ("G-2", 1, "0".to_owned(), "0.25".to_owned()),
                ]
            );
            assert_eq!(report.rows[0].per_good_chip, Some(Money::ZERO));
            assert_eq!(report.rows[1].per_good_chip, None);
            assert_eq!(report.total.exact_total.to_string(), "0.25");
            Ok(())
        })
        .unwrap();
    });
}
