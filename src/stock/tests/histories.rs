//! Any history of a lab keeps every invariant, and what each pack holds is what a plain replay of the history says.
//!
//! The replay knows nothing of values, chains or promises: it takes what happened in the order of its days (what happened
//! on one day in the order of recording), adds and takes, and believes every count.

use proptest::prelude::*;
use proptest::test_runner::{Config, TestCaseError, TestRunner, contextualize_config};

use super::events::{found, lost, mistake};
use super::{Bench, cast_book, day, need};
use crate::base::{Error, Money, Quantity};
use crate::db::fixture::on_database;
use crate::db::testing::TestDatabase;
use crate::db::{AnyConnection, Tx};
use crate::stock::counting::{CountIn, pack_count};
use crate::stock::events::{HoldIn, OpenIn, pack_hold, pack_open, pack_release};
use crate::stock::ledger::MovementKind;
use crate::stock::losing::{Loss, LossIn, pack_lose};
use crate::stock::post::{Occasion, Poster};
use crate::stock::promises::{
    cast_holds, cast_lock, cast_movements_reverse, pack_most_on, pack_place, promises_consume,
    promises_release,
};
use crate::stock::reversing::movement_reverse;
use crate::stock::settle::repick_after;
use crate::stock::store::{self, fixture};
use chrono::{Days, NaiveDate};

#[derive(Debug, Clone)]
enum Step {
    Receive {
        material: usize,
        packs: Vec<i32>,
        cost: i32,
    },
    Book {
        in_days: u64,
        needs: Vec<i32>,
        short: bool,
    },
    Cancel(usize),
    Pour {
        cast: usize,
        days_ago: u64,
    },
    Undo(usize),
    Open {
        pack: usize,
        days_ago: u64,
    },
    Count {
        pack: usize,
        found: i32,
        days_ago: u64,
    },
    Lose {
        pack: usize,
        quantity: i32,
        days_ago: u64,
        spilled: bool,
    },
    Hold(usize),
    Release(usize),
    Reverse(usize),
}

fn step() -> impl Strategy<Value = Step> {
    let days_ago = || prop_oneof![2 => Just(0_u64), 3 => 0_u64..12];
    let which = || 0_usize..64;
    prop_oneof![
        2 => (0_usize..2, prop::collection::vec(1_i32..40, 1..4), 0_i32..100)
            .prop_map(|(material, packs, cost)| Step::Receive { material, packs, cost }),
        3 => (0_u64..40, prop::collection::vec(0_i32..25, 2), any::<bool>())
            .prop_map(|(in_days, needs, short)| Step::Book { in_days, needs, short }),
        1 => which().prop_map(Step::Cancel),
        2 => (which(), days_ago()).prop_map(|(cast, days_ago)| Step::Pour { cast, days_ago }),
        1 => which().prop_map(Step::Undo),
        1 => (which(), days_ago()).prop_map(|(pack, days_ago)| Step::Open { pack, days_ago }),
        3 => (which(), 0_i32..40, days_ago()).prop_map(|(pack, found, days_ago)| Step::Count { pack, found, days_ago }),
        3 => (which(), 1_i32..20, days_ago(), any::<bool>())
            .prop_map(|(pack, quantity, days_ago, spilled)| Step::Lose { pack, quantity, days_ago, spilled }),
        1 => which().prop_map(Step::Hold),
        1 => which().prop_map(Step::Release),
        3 => which().prop_map(Step::Reverse),
    ]
}

/// What happened to a pack, by the movement that records it.
#[derive(Debug, Clone, Copy)]
enum Fact {
    Change(i64),
    Counted(i64),
}

#[derive(Debug, Clone, Copy)]
struct Told {
    movement: i64,
    pack: i64,
    on: NaiveDate,
    fact: Fact,
}

/// A lab and what the replay was told of it.
struct Lab<'a> {
    bench: &'a Bench,
    materials: [i64; 2],
    packs: Vec<i64>,
    casts: Vec<i64>,
    told: Vec<Told>,
    today: NaiveDate,
}

fn chosen<T: Copy>(list: &[T], index: usize) -> Option<T> {
    (!list.is_empty()).then(|| list[index % list.len()])
}

impl Lab<'_> {
    /// Runs a step; a refusal leaves everything as it was, anything worse fails the test.
    fn attempt<T>(
        &self,
        work: impl FnOnce(&mut Tx<'_>) -> Result<T, Error>,
    ) -> Result<Option<T>, TestCaseError> {
        match self.bench.try_do(work) {
            Ok(done) => Ok(Some(done)),
            Err(Error::Invalid(_) | Error::Refused(_)) => Ok(None),
            Err(error) => Err(TestCaseError::fail(error.to_string())),
        }
    }

    fn ago(&self, days: u64) -> NaiveDate {
        self.today.checked_sub_days(Days::new(days)).expect("a day")
    }

    fn tell(&mut self, pack: i64, on: NaiveDate, fact: Fact) {
        let movement = self.bench.run(|tx| fixture::last_entry(tx.conn, pack));
        self.told.push(Told {
            movement,
            pack,
            on,
            fact,
        });
    }

    fn take(&mut self, step: &Step) -> Result<(), TestCaseError> {
        match step {
            Step::Receive {
                material,
                packs,
                cost,
            } => self.receive(*material, packs, *cost),
            Step::Book {
                in_days,
                needs,
                short,
            } => self.book(*in_days, needs, *short)?,
            Step::Cancel(index) => self.cancel(*index)?,
            Step::Pour { cast, days_ago } => self.pour(*cast, self.ago(*days_ago))?,
            Step::Undo(index) => self.undo(*index)?,
            Step::Count {
                pack,
                found,
                days_ago,
            } => self.count(*pack, *found, self.ago(*days_ago))?,
            Step::Lose {
                pack,
                quantity,
                days_ago,
                spilled,
            } => {
                let loss = if *spilled {
                    Loss::Spill
                } else {
                    Loss::WriteOff
                };
                self.lose(*pack, *quantity, self.ago(*days_ago), loss)?;
            }
            Step::Reverse(index) => self.reverse(*index)?,
            Step::Open { pack, days_ago } => {
                let input = OpenIn {
                    opened_on: Some(self.ago(*days_ago)),
                };
                if let Some(pack) = chosen(&self.packs, *pack) {
                    self.attempt(|tx| pack_open(tx, pack, &input))?;
                }
            }
            Step::Hold(index) => {
                let input = HoldIn {
                    reason: "cloudy".into(),
                };
                if let Some(pack) = chosen(&self.packs, *index) {
                    self.attempt(|tx| pack_hold(tx, pack, &input))?;
                }
            }
            Step::Release(index) => {
                if let Some(pack) = chosen(&self.packs, *index) {
                    self.attempt(|tx| pack_release(tx, pack))?;
                }
            }
        }
        Ok(())
    }

    fn receive(&mut self, material: usize, packs: &[i32], cost: i32) {
        let texts: Vec<String> = packs.iter().map(ToString::to_string).collect();
        let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
        let lot = self
            .bench
            .receive(self.materials[material], &texts, &cost.to_string());
        for (view, quantity) in self.bench.lot(lot).packs.iter().zip(packs) {
            self.packs.push(view.id);
            let fact = Fact::Change(Quantity::from_int(*quantity).micro());
            self.tell(view.id, day("2026-02-01"), fact);
        }
    }

    fn book(&mut self, in_days: u64, needs: &[i32], short: bool) -> Result<(), TestCaseError> {
        let on = self
            .today
            .checked_add_days(Days::new(in_days))
            .expect("a day");
        let needs: Vec<_> = needs
            .iter()
            .zip(self.materials)
            .filter(|(quantity, _)| **quantity > 0)
            .map(|(quantity, material)| need(material, &quantity.to_string()))
            .collect();
        if needs.is_empty() {
            return Ok(());
        }
        let code = format!("C{}", self.casts.len());
        let booked = self.attempt(|tx| cast_book(tx, &code, on, &needs, short))?;
        self.casts.extend(booked.flatten());
        Ok(())
    }

    fn cancel(&mut self, index: usize) -> Result<(), TestCaseError> {
        let Some(cast) = chosen(&self.casts, index).filter(|cast| self.state(*cast) == "booked")
        else {
            return Ok(());
        };
        self.attempt(|tx| {
            let materials = cast_lock(tx, cast, &[])?;
            let held: Vec<i64> = cast_holds(tx.conn, cast)?
                .iter()
                .map(|h| h.reservation_id)
                .collect();
            promises_release(tx, &held)?;
            fixture::cast_state(tx, cast, "cancelled")?;
            repick_after(tx, &materials)
        })?;
        Ok(())
    }

    fn state(&self, cast: i64) -> String {
        self.bench.run(|tx| fixture::cast_state_of(tx.conn, cast))
    }

    /// Pours a cast as casting does: what was promised is taken, unless it was not there on that day.
    fn pour(&mut self, index: usize, on: NaiveDate) -> Result<(), TestCaseError> {
        let Some(cast) = chosen(&self.casts, index).filter(|cast| self.state(*cast) == "booked")
        else {
            return Ok(());
        };
        let taken = self.attempt(|tx| {
            let materials = cast_lock(tx, cast, &[])?;
            let held = cast_holds(tx.conn, cast)?;
            let ids: Vec<i64> = held.iter().map(|h| h.reservation_id).collect();
            promises_consume(tx, &ids)?;
            let (mut poster, mut cost, mut taken) = (Poster::new(), 0_i64, Vec::new());
            for held in &held {
                let place = pack_place(tx.conn, held.pack_id)?;
                if on < place.received_on || pack_most_on(tx, held.pack_id, on)? < held.quantity {
                    return Err(Error::invalid("", "not there on that day"));
                }
                let occasion = Occasion {
                    effective_on: on,
                    cast_id: Some(cast),
                    ..Occasion::default()
                };
                let at = (place.lot_id, held.pack_id);
                let posted =
                    poster.issue(tx, at, MovementKind::Consumption, held.quantity, &occasion)?;
                cost -= posted.value.micro();
                taken.push((posted.id, held.pack_id, held.quantity.micro()));
            }
            fixture::cast_cost(tx, cast, Some(Money::from_micro(cost)))?;
            fixture::cast_state(tx, cast, "poured")?;
            repick_after(tx, &materials)?;
            Ok(taken)
        })?;
        for (movement, pack, quantity) in taken.into_iter().flatten() {
            self.told.push(Told {
                movement,
                pack,
                on,
                fact: Fact::Change(-quantity),
            });
        }
        Ok(())
    }

    fn undo(&mut self, index: usize) -> Result<(), TestCaseError> {
        let Some(cast) = chosen(&self.casts, index).filter(|cast| self.state(*cast) == "poured")
        else {
            return Ok(());
        };
        let undone = self.attempt(|tx| {
            let materials = cast_lock(tx, cast, &[])?;
            let standing = store::movements_standing(tx.conn, cast)?;
            cast_movements_reverse(tx, cast, "undone")?;
            fixture::cast_cost(tx, cast, None)?;
            fixture::cast_state(tx, cast, "booked")?;
            repick_after(tx, &materials)?;
            Ok(standing.into_iter().map(|row| row.id).collect::<Vec<i64>>())
        })?;
        let undone = undone.unwrap_or_default();
        self.told.retain(|told| !undone.contains(&told.movement));
        Ok(())
    }

    fn count(&mut self, index: usize, quantity: i32, on: NaiveDate) -> Result<(), TestCaseError> {
        let Some(pack) = chosen(&self.packs, index) else {
            return Ok(());
        };
        let input = CountIn {
            counted_on: Some(on),
            ..found(&quantity.to_string())
        };
        if self.attempt(|tx| pack_count(tx, pack, &input))?.is_some() {
            self.tell(
                pack,
                on,
                Fact::Counted(Quantity::from_int(quantity).micro()),
            );
        }
        Ok(())
    }

    fn lose(
        &mut self,
        index: usize,
        quantity: i32,
        on: NaiveDate,
        loss: Loss,
    ) -> Result<(), TestCaseError> {
        let Some(pack) = chosen(&self.packs, index) else {
            return Ok(());
        };
        let input = LossIn {
            on: Some(on),
            ..lost(&quantity.to_string())
        };
        if self
            .attempt(|tx| pack_lose(tx, pack, loss, &input))?
            .is_some()
        {
            self.tell(
                pack,
                on,
                Fact::Change(-Quantity::from_int(quantity).micro()),
            );
        }
        Ok(())
    }

    fn reverse(&mut self, index: usize) -> Result<(), TestCaseError> {
        let Some(told) = chosen(&self.told, index) else {
            return Ok(());
        };
        let done = self.attempt(|tx| movement_reverse(tx, told.movement, &mistake()))?;
        if done.is_some() {
            self.told.retain(|other| other.movement != told.movement);
        }
        Ok(())
    }

    /// What a pack holds by the replay.
    fn replayed(&self, pack: i64) -> i64 {
        let mut facts: Vec<&Told> = self.told.iter().filter(|told| told.pack == pack).collect();
        facts.sort_by_key(|told| (told.on, told.movement));
        facts.iter().fold(0, |held, told| match told.fact {
            Fact::Change(change) => held + change,
            Fact::Counted(found) => found,
        })
    }

    fn check(&self) -> Result<(), TestCaseError> {
        let found = self.bench.verified();
        prop_assert!(found.ok, "{:#?}", found.breaches);
        for pack in &self.packs {
            let held = self
                .bench
                .run(|tx| pack_place(tx.conn, *pack))
                .on_hand
                .micro();
            prop_assert_eq!(held, self.replayed(*pack), "pack {}", pack);
            let by_day = self.bench.run(|tx| store::movements_by_day(tx.conn, *pack));
            let mut balance = 0;
            for (on, change) in by_day {
                balance += change;
                prop_assert!(
                    balance >= 0,
                    "pack {} holds {} at the end of {}",
                    pack,
                    balance,
                    on
                );
            }
        }
        Ok(())
    }
}

/// How many histories unless `PROPTEST_CASES` says: many on SQLite, some on PostgreSQL, where each takes a database of
/// its own.
fn cases(conn: &mut AnyConnection) -> u32 {
    match conn {
        AnyConnection::Sqlite(_) => 200,
        AnyConnection::Postgres(_) => 30,
    }
}

#[test]
fn any_history_keeps_every_invariant() {
    on_database(|db| {
        let config = Config {
            cases: db.read(|conn| Ok(cases(conn))).expect("a database"),
            failure_persistence: None,
            max_shrink_iters: 300,
            ..Config::default()
        };
        let config = contextualize_config(config);
        let history = prop::collection::vec(step(), 1..30);
        let outcome = TestRunner::new(config).run(&history, |steps| {
            let database = TestDatabase::new();
            lived(&Bench::new(database.open()), &steps)
        });
        if let Err(failure) = outcome {
            panic!("{failure}");
        }
    });
}

/// Lives a history and checks the books at its end.
fn lived(bench: &Bench, steps: &[Step]) -> Result<(), TestCaseError> {
    let mut lab = Lab {
        bench,
        materials: [bench.base("base", "2"), bench.base("other", "0")],
        packs: Vec::new(),
        casts: Vec::new(),
        told: Vec::new(),
        today: day(super::TODAY),
    };
    for step in steps {
        lab.take(step)?;
    }
    lab.check()
}
