//! Tests of the stock room on both databases.

mod backdating;
mod doors;
mod events;
mod guards;
mod histories;
mod locks;
mod orders;
mod settling;
mod tamper;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use serde_json::{Value, json};

use super::load::shelf;
use super::needs::{Need, Purpose};
use super::picking::{PickRules, pick};
use super::promises::cast_promise;
use super::receive::{Receipt, lots_receive};
use super::repicking::Promise;
use super::settle::lock_reach;
use super::store;
use super::verify::{Verified, verify};
use super::views::{LotView, MovementView, lot_show, movements_list};
use crate::base::{Error, Money, Quantity};
use crate::catalogue::{CatalogueBody, MaterialBody, entry_create};
use crate::db::fixture::{on_database, write_at};
use crate::db::{Db, Tx};
use crate::http::Page;

pub(super) fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

pub(super) fn q(text: &str) -> Quantity {
    Quantity::parse(text).expect("a quantity")
}

/// The day on which everything happens unless said otherwise.
const TODAY: &str = "2026-03-04";

/// A lab's bench on a fresh database.
pub(super) struct Bench {
    pub(super) db: Db,
    now: DateTime<Utc>,
}

/// Runs a test on a bench of its own.
pub(super) fn at_bench(test: impl Fn(&Bench)) {
    on_database(|db| test(&Bench::new(db)));
}

impl Bench {
    pub(super) fn new(db: Db) -> Self {
        let now = format!("{TODAY}T10:00:00Z").parse().expect("an instant");
        Self { db, now }
    }

    /// The same bench some days later.
    pub(super) fn days_later(&self, days: i64) -> Self {
        Self {
            db: self.db.clone(),
            now: self.now + TimeDelta::days(days),
        }
    }

    pub(super) fn try_do<T>(
        &self,
        work: impl FnOnce(&mut Tx<'_>) -> Result<T, Error>,
    ) -> Result<T, Error> {
        write_at(&self.db, self.now, work)
    }

    #[track_caller]
    pub(super) fn run<T>(&self, work: impl FnOnce(&mut Tx<'_>) -> Result<T, Error>) -> T {
        self.try_do(work).unwrap_or_else(|error| panic!("{error}"))
    }

    /// The problem that an operation is refused with: `invalid /pointer`, a refusal's name, or the noun not found.
    #[track_caller]
    pub(super) fn refusal<T>(&self, work: impl FnOnce(&mut Tx<'_>) -> Result<T, Error>) -> String {
        match self.try_do(work).err().expect("a refusal") {
            Error::Invalid(list) => format!("invalid {}", list[0].pointer),
            Error::Refused(refusal) => refusal.kind.name().to_owned(),
            Error::NotFound { noun, .. } => format!("no {noun}"),
            other => panic!("{other}"),
        }
    }

    #[track_caller]
    pub(super) fn entry<B: CatalogueBody>(&self, body: Value) -> i64 {
        let body: B = serde_json::from_value(body).expect("a document");
        self.run(|tx| entry_create(tx, body)).id
    }

    /// A base in grams with 10 g that will not pour when `heel`, and 30 days of open life.
    pub(super) fn base(&self, code: &str, heel: &str) -> i64 {
        self.entry::<MaterialBody>(
            json!({"code": code, "name": code, "kind": "elastomer_base", "unit": "g",
            "heel": heel, "open_life_days": 30}),
        )
    }

    /// A material in pieces.
    pub(super) fn pieces(&self, code: &str) -> i64 {
        self.entry::<MaterialBody>(
            json!({"code": code, "name": code, "kind": "sundry", "unit": "each"}),
        )
    }

    /// A lot received on 2026-02-01 with a pack of each of the quantities. Returns the lot.
    #[track_caller]
    pub(super) fn receive(&self, material_id: i64, packs: &[&str], cost: &str) -> i64 {
        let packs: Vec<Quantity> = packs.iter().map(|text| q(text)).collect();
        self.run(|tx| {
            let receipt = Receipt {
                material_id,
                lot_code: "L-1",
                kit_lot: None,
                kit_id: None,
                supplier_id: None,
                order_line_id: None,
                funded_by_id: None,
                received_on: day("2026-02-01"),
                expires_on: None,
                packs: &packs,
                landed_cost: Money::parse(cost)?,
            };
            Ok(lots_receive(tx, &[receipt])?[0])
        })
    }

    #[track_caller]
    pub(super) fn lot(&self, lot_id: i64) -> LotView {
        self.run(|tx| lot_show(tx.conn, lot_id, tx.today))
    }

    /// The id of a lot's pack by number.
    #[track_caller]
    pub(super) fn pack(&self, lot_id: i64, no: usize) -> i64 {
        self.lot(lot_id).packs[no - 1].id
    }

    /// `on hand @ value` of a lot.
    #[track_caller]
    pub(super) fn stands(&self, lot_id: i64) -> String {
        let lot = self.lot(lot_id);
        format!("{} @ {}", lot.on_hand, lot.remaining_value)
    }

    #[track_caller]
    pub(super) fn movements(&self, lot_id: i64) -> Vec<MovementView> {
        let page = Page {
            after: 0,
            limit: 1000,
        };
        self.run(|tx| movements_list(tx.conn, lot_id, page))
    }

    pub(super) fn verified(&self) -> Verified {
        self.db.read(verify).expect("the books can be read")
    }

    #[track_caller]
    pub(super) fn sound(&self) {
        let found = self.verified();
        assert!(found.ok, "{:#?}", found.breaches);
    }

    /// Books a cast on a day, short when it must be and may be. Returns it unless it was refused.
    #[track_caller]
    pub(super) fn book(
        &self,
        code: &str,
        on: &str,
        needs: &[Need],
        allow_short: bool,
    ) -> Option<i64> {
        self.run(|tx| cast_book(tx, code, day(on), needs, allow_short))
    }

    /// What a cast holds: `pack:quantity`.
    #[track_caller]
    pub(super) fn holds(&self, cast_id: i64) -> String {
        let held = self.run(|tx| super::promises::cast_holds(tx.conn, cast_id));
        let shown: Vec<String> = held
            .iter()
            .map(|held| format!("{}:{}", held.pack_id, held.quantity))
            .collect();
        shown.join(" ")
    }
}

pub(super) fn need(material_id: i64, quantity: &str) -> Need {
    Need {
        material_id,
        purpose: Purpose::Sundry,
        batch_no: 0,
        quantity: q(quantity),
        piece: Quantity::from_micro(1),
    }
}

/// Books a cast as casting does: lock, look, pick, promise.
pub(super) fn cast_book(
    tx: &mut Tx<'_>,
    code: &str,
    on: NaiveDate,
    needs: &[Need],
    allow_short: bool,
) -> Result<Option<i64>, Error> {
    let materials: Vec<i64> = needs.iter().map(|need| need.material_id).collect();
    lock_reach(tx, &materials)?;
    let mut shelf = shelf(tx.conn, &materials)?;
    let rules = PickRules {
        day: on,
        grants: vec![],
        allow_mixed_kits: false,
        allow_cross_charge: false,
    };
    let list = pick(&mut shelf, needs, &rules);
    let short = !list.unserved.is_empty();
    if short && !allow_short {
        return Ok(None);
    }
    let cast_id = store::fixture::cast_row(tx, code, on, materials[0])?;
    let promises: Vec<Promise> = list
        .picks
        .iter()
        .map(|picked| Promise {
            cast_id,
            pack_id: shelf[picked.pack].pack_id,
            purpose: needs[picked.need].purpose,
            batch_no: needs[picked.need].batch_no,
            quantity: picked.quantity,
        })
        .collect();
    cast_promise(tx, cast_id, needs, &promises)?;
    if short {
        store::cast_short_set(tx.conn, cast_id, true)?;
    }
    Ok(Some(cast_id))
}
