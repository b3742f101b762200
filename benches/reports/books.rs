//! Books of many casts, written in batches straight into the tables that the report reads: what the service itself writes
//! for casts that were poured and demoulded, without ledger, mould pools and journal.
//!
//! Invariants: the same number of casts gives the same books; triggers and constraints stand as they are. The texts that a
//! cast keeps are as long as real ones, since the database has to pass over them.

use std::fmt::Write;

use chrono::{Days, NaiveDate};
use diesel::connection::SimpleConnection;
use heeltap::base::{Error, apportion};
use heeltap::casting::cost::Component;
use heeltap::db::Db;

/// The first day of the books.
pub(crate) const FIRST_DAY: NaiveDate = NaiveDate::from_ymd_opt(2016, 1, 4).expect("a day");
const DAYS: u64 = 3_650;
const GRANTS: i64 = 12;
const RECIPES: i64 = 8;
/// The ids of grants begin here, those of recipes and moulds follow.
const FIRST_GRANT: i64 = 1;
const FIRST_RECIPE: i64 = FIRST_GRANT + GRANTS;
const FIRST_MOLD: i64 = FIRST_RECIPE + RECIPES;
/// Casts in one statement, and in one transaction.
const CASTS_PER_STATEMENT: u64 = 250;
const CASTS_PER_TRANSACTION: u64 = 5_000;
/// How long a recipe's facts and a plan are, in bytes: as those of a recipe with six materials.
const FACTS_BYTES: usize = 2_400;
const PLAN_BYTES: usize = 5_500;
const SHARES: [&[i64]; 4] = [
    &[100_000_000],
    &[60_000_000, 40_000_000],
    &[33_333_333, 66_666_667],
    &[20_000_000, 30_000_000, 50_000_000],
];

/// What was written.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Written {
    /// Rows of costs.
    pub(crate) cost_rows: u64,
    /// Their sum, in millionths.
    pub(crate) cost_micro: i64,
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
        i64::try_from(self.0 >> 33).expect("31 bits") % below
    }
}

/// The rows of one statement each for casts, charges and costs.
#[derive(Default)]
struct Batch {
    casts: String,
    charges: String,
    costs: String,
}

/// Fills a fresh database with so many demoulded casts over ten years.
pub(crate) fn fill(db: &Db, casts: u64) -> Result<Written, Error> {
    db.write(|conn| Ok(conn.batch_execute(&catalogue())?))?;
    let mut dice = Dice(7);
    let mut written = Written::default();
    let mut next = 0;
    while next < casts {
        let until = casts.min(next + CASTS_PER_TRANSACTION);
        db.write(|conn| {
            while next < until {
                let mut batch = Batch::default();
                let last = until.min(next + CASTS_PER_STATEMENT);
                for no in next..last {
                    batch.add(no, DAYS * no / casts, &mut dice, &mut written);
                }
                conn.batch_execute(&batch.sql())?;
                next = last;
            }
            Ok(())
        })?;
    }
    Ok(written)
}

fn catalogue() -> String {
    let mut sql = String::new();
    let nouns = [
        ("grant", FIRST_GRANT, GRANTS),
        ("recipe", FIRST_RECIPE, RECIPES),
        ("mold", FIRST_MOLD, RECIPES),
    ];
    for (noun, first, count) in nouns {
        for id in first..first + count {
            let _ = writeln!(
                sql,
                "INSERT INTO catalogue_entries (id, noun, namespace, code, name, body, created_at, updated_at) VALUES \
                 ({id}, '{noun}', '{noun}', '{noun}-{id}', 'The {noun} {id}', '{{}}', '2016-01-01 08:00:00', '2016-01-01 08:00:00');"
            );
        }
    }
    sql
}

impl Batch {
    /// Adds a cast that was poured so many days after the first and demoulded on the next.
    fn add(&mut self, no: u64, days: u64, dice: &mut Dice, written: &mut Written) {
        let id = no + 1;
        let poured_on = FIRST_DAY + Days::new(days);
        let demolded_on = poured_on + Days::new(1);
        let recipe = dice.roll(RECIPES);
        let chips = 20;
        let scrapped = dice.roll(25) == 0;
        let good = if scrapped { 0 } else { chips - dice.roll(6) };
        let _ = write!(
            self.casts,
            "{}({id}, 'C-{id:06}', 'demolded', {}, {}, 1, '{poured_on}', FALSE, FALSE, '{{}}', '{{\"bench\":\"{:f$}\"}}', \
             '{{\"tape\":{{\"offcut_share\":\"0.05\"}},\"bench\":\"{:p$}\"}}', '{poured_on} 08:00:00', 'bench', '{{}}', \
             '{poured_on}', 'bench', '{{}}', '{demolded_on}', 'bench', {good}, {})",
            comma(&self.casts),
            FIRST_RECIPE + recipe,
            FIRST_MOLD + recipe,
            no,
            no,
            chips - good,
            f = FACTS_BYTES,
            p = PLAN_BYTES,
        );
        let kind = usize::try_from(dice.roll(4)).expect("small");
        let first_grant = dice.roll(GRANTS);
        let charged: Vec<(i64, i64)> = (0..)
            .map(|at| FIRST_GRANT + (first_grant + at) % GRANTS)
            .zip(SHARES[kind].iter().copied())
            .collect();
        for (grant, share) in &charged {
            let comma = comma(&self.charges);
            let _ = write!(self.charges, "{comma}({id}, {grant}, {share})");
        }
        for component in Component::ALL {
            self.add_cost(id, component, &charged, dice, written);
        }
    }

    /// One row for each grant whose part is not 0. Tape and release agent are not used by every cast.
    fn add_cost(
        &mut self,
        id: u64,
        component: Component,
        charged: &[(i64, i64)],
        dice: &mut Dice,
        written: &mut Written,
    ) {
        let optional = matches!(component, Component::Tape | Component::Release);
        if optional && dice.roll(3) == 0 {
            return;
        }
        let shares: Vec<i64> = charged.iter().map(|charge| charge.1).collect();
        let parts = apportion(dice.roll(9_000_000), &shares).expect("shares above 0");
        for ((grant, _), part) in charged.iter().zip(parts).filter(|(_, part)| *part != 0) {
            let comma = comma(&self.costs);
            let word = component.as_str();
            let _ = write!(self.costs, "{comma}({id}, {grant}, '{word}', {part})");
            written.cost_rows += 1;
            written.cost_micro += part;
        }
    }

    fn sql(&self) -> String {
        format!(
            "INSERT INTO casts (id, code, state, recipe_id, mold_id, containers, cast_on, allow_mixed_kits, \
             allow_cross_charge, request, facts, plan, booked_at, booked_by, pour, poured_on, poured_by, demold, demolded_on, \
             demolded_by, good_chips, rejected_chips) VALUES {};\n\
             INSERT INTO cast_charges (cast_id, grant_id, share_micro) VALUES {};\n\
             INSERT INTO cast_costs (cast_id, grant_id, component, amount_micro) VALUES {};",
            self.casts, self.charges, self.costs
        )
    }
}

/// What stands between rows.
fn comma(rows: &str) -> &'static str {
    if rows.is_empty() { "" } else { ",\n" }
}
