//! A worked example, small enough for a pencil, redone with exact fractions.

use super::books::{Cast, cast, entry};
use crate::base::{Currency, Micro, Money};
use crate::costing::period::Period;
use crate::costing::replica_cost::grouping::GroupBy;
use crate::costing::replica_cost::ops::replica_cost;
use crate::costing::replica_cost::report::{CostRow, ReplicaCost};
use crate::db::fixture::{on_database, write};

/// A fraction.
#[derive(Clone, Copy)]
struct Fraction(i128, i128);

/// A decimal as a fraction.
fn f(text: &str) -> Fraction {
    let (whole, places) = text.split_once('.').unwrap_or((text, ""));
    Fraction(
        format!("{whole}{places}").parse().unwrap(),
        10_i128.pow(u32::try_from(places.len()).unwrap()),
    )
}

impl std::ops::Add for Fraction {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 * other.1 + other.0 * self.1, self.1 * other.1)
    }
}

impl std::ops::Mul for Fraction {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        Self(self.0 * other.0, self.1 * other.1)
    }
}

impl std::ops::Div for Fraction {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        Self(self.0 * other.1, self.1 * other.0)
    }
}

impl Fraction {
    /// In millionths, to the nearest, a half to the even one; written out, so that it stands on its own.
    fn micro(self) -> i64 {
        let (num, den) = (self.0 * 1_000_000, self.1);
        let (floor, rest) = (num.div_euclid(den), num.rem_euclid(den));
        let up = rest * 2 > den || (rest * 2 == den && floor % 2 == 1);
        i64::try_from(floor + i128::from(up)).unwrap()
    }
}

/// Three casts: one shared 60 to 40, one scrapped, one that nobody is charged for.
///
/// | cast | who | chip | trim | residue | tape | chips | good |
/// | --- | --- | --- | --- | --- | --- | --- | --- |
/// | W-1 | G-a 60 %, G-b 40 % | 10 | 4 | 2 | 0.5 | 20 | 18 |
/// | W-2 | G-a | 9.333333 | 3.1 | 1.77 | - | 20 | 0 |
/// | W-3 | nobody | 7.004 | 2.004 | 1.004 | 0.004 | 20 | 20 |
fn example(check: impl Fn(ReplicaCost)) {
    on_database(|db| {
        let report = write(&db, |tx| {
            let a = entry(tx.conn, "grant", "G-a", "Larvae");
            let b = entry(tx.conn, "grant", "G-b", "Flow");
            let recipe_id = entry(tx.conn, "recipe", "R-1", "Chip");
            let base = Cast {
                recipe_id,
                poured_on: "2026-01-10",
                ..Cast::default()
            };
            cast(
                tx.conn,
                &Cast {
                    code: "W-1",
                    demolded: Some(("2026-01-12", 18, 2)),
                    charges: &[(a, 60_000_000), (b, 40_000_000)],
                    costs: &[
                        (Some(a), "chip", 6_000_000),
                        (Some(b), "chip", 4_000_000),
                        (Some(a), "trim", 2_400_000),
                        (Some(b), "trim", 1_600_000),
                        (Some(a), "residue", 1_200_000),
                        (Some(b), "residue", 800_000),
                        (Some(a), "tape", 300_000),
                        (Some(b), "tape", 200_000),
                    ],
                    ..base
                },
            );
            cast(
                tx.conn,
                &Cast {
                    code: "W-2",
                    demolded: Some(("2026-01-13", 0, 20)),
                    charges: &[(a, 100_000_000)],
                    costs: &[
                        (Some(a), "chip", 9_333_333),
                        (Some(a), "trim", 3_100_000),
                        (Some(a), "residue", 1_770_000),
                    ],
                    ..base
                },
            );
            cast(
                tx.conn,
                &Cast {
                    code: "W-3",
                    demolded: Some(("2026-02-01", 20, 0)),
                    costs: &[
                        (None, "chip", 7_004_000),
                        (None, "trim", 2_004_000),
                        (None, "residue", 1_004_000),
                        (None, "tape", 4_000),
                    ],
                    ..base
                },
            );
            let euro = Currency::parse("EUR").unwrap();
            replica_cost(tx.conn, Period::default(), GroupBy::Grant, euro)
        });
        check(report.unwrap());
    });
}

/// Chip, trim, residue, tape and the total of a row as printed.
fn printed(row: &CostRow) -> [String; 5] {
    let euro = Currency::parse("EUR").unwrap();
    let cell = |at: usize| euro.format(row.components[at].amount);
    [cell(0), cell(1), cell(3), cell(5), euro.format(row.total)]
}

#[test]
fn the_printed_table_is_the_one_done_by_hand() {
    example(|report| {
        // Grand total 40.719333, printed 40.72. Rows 24.103333, 6.60 and 10.016 cut to 24.10, 6.60 and 10.01 leave one
        // cent, which goes to the largest remainder, the third. Its cells 7.004, 2.004, 1.004 and 0.004 cut to 10.00
        // leave two of 10.02; the remainders are alike, so the first two get them.
        assert_eq!(
            printed(&report.rows[0]),
            ["15.33", "5.50", "2.97", "0.30", "24.10"]
        );
        assert_eq!(
            printed(&report.rows[1]),
            ["4.00", "1.60", "0.80", "0.20", "6.60"]
        );
        assert_eq!(
            printed(&report.rows[2]),
            ["7.01", "2.01", "1.00", "0.00", "10.02"]
        );
        assert_eq!(
            printed(&report.total),
            ["26.34", "9.11", "4.77", "0.50", "40.72"]
        );
        let keys: Vec<&str> = report.rows.iter().map(|row| row.key.as_str()).collect();
        assert_eq!(keys, ["G-a", "G-b", "unassigned"]);
        assert_eq!(report.rows[0].name.as_deref(), Some("Larvae"));
    });
}

#[test]
fn the_figures_are_those_of_exact_fractions() {
    example(|report| {
        let (a, b) = (f("0.6"), f("0.4"));
        let (w1, w2, w3) = (
            f("10") + f("4") + f("2") + f("0.5"),
            f("9.333333") + f("3.1") + f("1.77"),
            f("7.004") + f("2.004") + f("1.004") + f("0.004"),
        );
        let (good, chips) = (f("18"), f("20"));
        #[rustfmt::skip]
        let expected = [
            // casts, scrapped, total, good chips, chips, residue, trim
            (2, 1, a * w1 + w2, a * good, a * chips + chips, a * f("2") + f("1.77"), a * f("4") + f("3.1")),
            (1, 0, b * w1, b * good, b * chips, b * f("2"), b * f("4")),
            (1, 0, w3, chips, chips, f("1.004"), f("2.004")),
            (3, 1, w1 + w2 + w3, good + chips, f("60"), f("4.774"), f("9.104")),
        ];
        let rows = report.rows.iter().chain([&report.total]);
        for (row, (casts, scrapped, total, good, chips, residue, trim)) in rows.zip(expected) {
            assert_eq!((row.casts, row.scrapped_casts), (casts, scrapped));
            assert_eq!(row.exact_total.micro(), total.micro());
            assert_eq!(row.good_chips.micro(), good.micro());
            assert_eq!(row.chips.micro(), chips.micro());
            let per = row.per_good_chip.map(Money::micro);
            assert_eq!(per, Some((total / good).micro()));
            let of =
                |part: Fraction, whole: Fraction| Some(Micro::from_micro((part / whole).micro()));
            assert_eq!(row.r#yield, of(good, chips));
            assert_eq!(row.residue_share, of(residue, total));
            assert_eq!(row.trim_share, of(trim, total));
            assert_eq!(row.planning_interval, None, "fewer than five casts");
        }
        // As a pencil writes them: 24.103333 / 10.8 and 40.719333 / 38.
        assert_eq!(report.rows[0].per_good_chip.unwrap().to_string(), "2.23179");
        assert_eq!(report.total.per_good_chip.unwrap().to_string(), "1.071561");
    });
}
