//! Lots, packs and movements as they are shown.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::load::shelf;
use super::shelf::PackFacts;
use super::store::{self, LotRow, MovementRow, PackRow};
use crate::base::{Error, Money, Quantity};
use crate::catalogue::codes_by_ids;
use crate::db::{AnyConnection, instant};
use crate::http::Page;

/// How a lot or a pack stands today.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LotState {
    /// Something of it may be used.
    Usable,
    /// It is held back.
    Held,
    /// It has expired, or its open life has ended.
    Expired,
    /// Nothing is left.
    Spent,
}

/// A pack of a lot.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct PackView {
    /// The pack's id.
    pub id: i64,
    /// Its number in the lot, from 1.
    pub no: i32,
    /// What it holds.
    pub on_hand: Quantity,
    /// What of it is promised.
    pub reserved: Quantity,
    /// When it was opened.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub opened_on: Option<NaiveDate>,
    /// Why it is held.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub held_reason: Option<String>,
    /// When it was last counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub counted_on: Option<NaiveDate>,
    /// How it stands today.
    pub state: LotState,
    /// What it held when it came.
    #[serde(skip)]
    pub received: Quantity,
    /// What it weighs empty, in grams, where that is kept.
    #[serde(skip)]
    pub tare_g: Option<Quantity>,
}

/// A lot.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct LotView {
    /// The lot's id.
    pub id: i64,
    /// The material's code.
    pub material: String,
    /// The supplier's lot code.
    pub lot: String,
    /// The code that both parts of a kit share.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kit_lot: Option<String>,
    /// The supplier's code.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supplier: Option<String>,
    /// When it was received.
    pub received_on: NaiveDate,
    /// When it expires.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expires_on: Option<NaiveDate>,
    /// When its first pack was opened.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub opened_on: Option<NaiveDate>,
    /// The grant that paid for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub funded_by: Option<String>,
    /// How it stands today.
    pub state: LotState,
    /// What its packs hold.
    pub on_hand: Quantity,
    /// What of that is promised.
    pub reserved: Quantity,
    /// The difference.
    pub available: Quantity,
    /// What it cost, freight, duty and fees included.
    pub landed_cost: Money,
    /// What the rest is worth.
    pub remaining_value: Money,
    /// The head of its chain of movements.
    pub head_hash: String,
    /// How many movements it has.
    pub movements: i64,
    /// Its packs.
    pub packs: Vec<PackView>,
    #[serde(skip)]
    pub(super) version: i64,
}

/// A movement.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MovementView {
    /// The movement's id.
    pub id: i64,
    /// Its place in the lot, from 1.
    pub seq: i64,
    /// The pack.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pack_id: Option<i64>,
    /// What it stands for.
    pub kind: String,
    /// The change of quantity.
    pub quantity: Quantity,
    /// The change of value.
    pub value: Money,
    /// Why.
    pub reason: String,
    /// Who.
    pub actor: String,
    /// The id of the cast it belongs to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cast_id: Option<i64>,
    /// The batch of that cast.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub batch_no: Option<i32>,
    /// What the cast took it for. On a count that evens out an entry which was recorded later but lies before it:
    /// `offset:` and the movement of that count.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub purpose: Option<String>,
    /// The movement it takes back.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reverses: Option<i64>,
    /// The day at the bench.
    pub effective_on: NaiveDate,
    /// When it was typed.
    pub recorded_at: DateTime<Utc>,
    /// The hash that covers it and all before it.
    pub hash: String,
}

impl From<MovementRow> for MovementView {
    fn from(row: MovementRow) -> Self {
        Self {
            id: row.id,
            seq: row.seq,
            pack_id: row.pack_id,
            kind: row.kind,
            quantity: row.quantity,
            value: row.value,
            reason: row.reason,
            actor: row.actor,
            cast_id: row.cast_id,
            batch_no: row.batch_no,
            purpose: row.purpose,
            reverses: row.reverses_id,
            effective_on: row.effective_on,
            recorded_at: instant(row.recorded_at),
            hash: row.hash,
        }
    }
}

/// A pack's state on a day. `facts` are those of a pack in stock; a pack that is not among them is spent.
fn pack_state(facts: Option<&PackFacts>, today: NaiveDate) -> LotState {
    match facts {
        None => LotState::Spent,
        Some(pack) if pack.held_reason.is_some() => LotState::Held,
        Some(pack) if pack.effective_expiry().is_some_and(|expiry| expiry < today) => {
            LotState::Expired
        }
        Some(_) => LotState::Usable,
    }
}

/// A lot's state: usable when one of its packs is, else held, else expired, else spent.
fn lot_state(packs: &[PackView]) -> LotState {
    [LotState::Usable, LotState::Held, LotState::Expired]
        .into_iter()
        .find(|state| packs.iter().any(|pack| pack.state == *state))
        .unwrap_or(LotState::Spent)
}

/// How many lots are read at a time when a state is looked for.
const LOTS_AT_A_TIME: i64 = 200;

/// A page of lots of one material, or of all, in one state, or in any; and one more when there are more.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn lots_list(
    conn: &mut AnyConnection,
    material_id: Option<i64>,
    state: Option<LotState>,
    page: Page,
    today: NaiveDate,
) -> Result<Vec<LotView>, Error> {
    let wanted = page.limit + 1;
    let in_stock = state.map(|state| state != LotState::Spent);
    let at_a_time = match state {
        None | Some(LotState::Spent) => wanted,
        // The rest is told apart by the packs and the day, not by a column: read on until the page is full.
        Some(_) => wanted.max(LOTS_AT_A_TIME),
    };
    let (mut found, mut after) = (Vec::new(), page.after);
    loop {
        let rows = store::lots_page(conn, material_id, in_stock, after, at_a_time)?;
        let last_read = rows.last().map(|row| row.id);
        let more = i64::try_from(rows.len()).is_ok_and(|read| read == at_a_time);
        let shown = lots_shown(conn, rows, today)?;
        found.extend(
            shown
                .into_iter()
                .filter(|lot| state.is_none_or(|state| lot.state == state)),
        );
        found.truncate(usize::try_from(wanted).unwrap_or(usize::MAX));
        let full = i64::try_from(found.len()).is_ok_and(|found| found == wanted);
        match last_read {
            Some(last) if more && !full => after = last,
            _ => return Ok(found),
        }
    }
}

/// The lots that were taken in last, the latest first.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn lots_latest(
    conn: &mut AnyConnection,
    limit: i64,
    today: NaiveDate,
) -> Result<Vec<LotView>, Error> {
    let rows = store::lots_latest(conn, limit)?;
    lots_shown(conn, rows, today)
}

/// Some lots by their ids; what does not exist is left out.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn lots_by_ids(
    conn: &mut AnyConnection,
    ids: &[i64],
    today: NaiveDate,
) -> Result<Vec<LotView>, Error> {
    let rows = store::lots_by_ids(conn, ids)?;
    lots_shown(conn, rows, today)
}

/// One lot.
///
/// # Errors
/// [`Error::NotFound`] without such a lot.
pub fn lot_show(conn: &mut AnyConnection, id: i64, today: NaiveDate) -> Result<LotView, Error> {
    let row = store::lot_fetch(conn, id)?.ok_or_else(|| Error::not_found("lot", id))?;
    let shown = lots_shown(conn, vec![row], today)?.pop();
    shown.ok_or_else(|| Error::not_found("lot", id))
}

/// A page of a lot's movements, after a sequence number; and one more when there are more.
///
/// # Errors
/// [`Error::NotFound`] without such a lot.
pub fn movements_list(
    conn: &mut AnyConnection,
    lot_id: i64,
    page: Page,
) -> Result<Vec<MovementView>, Error> {
    store::lot_fetch(conn, lot_id)?.ok_or_else(|| Error::not_found("lot", lot_id))?;
    Ok(
        store::movements_of_lot(conn, lot_id, page.after, page.limit + 1)?
            .into_iter()
            .map(MovementView::from)
            .collect(),
    )
}

/// A lot's movements, the latest first, of those before a sequence number when one is given; and one more when there are more
/// than `limit`.
///
/// # Errors
/// [`Error::NotFound`] without such a lot.
pub fn movements_latest(
    conn: &mut AnyConnection,
    lot_id: i64,
    before: Option<i64>,
    limit: i64,
) -> Result<Vec<MovementView>, Error> {
    store::lot_fetch(conn, lot_id)?.ok_or_else(|| Error::not_found("lot", lot_id))?;
    let before = before.unwrap_or(i64::MAX);
    let rows = store::movements_before(conn, lot_id, before, limit + 1)?;
    Ok(rows.into_iter().map(MovementView::from).collect())
}

fn lots_shown(
    conn: &mut AnyConnection,
    rows: Vec<LotRow>,
    today: NaiveDate,
) -> Result<Vec<LotView>, Error> {
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let mut materials: Vec<i64> = rows.iter().map(|row| row.material_id).collect();
    materials.sort_unstable();
    materials.dedup();
    let facts: HashMap<i64, PackFacts> = shelf(conn, &materials)?
        .into_iter()
        .map(|pack| (pack.pack_id, pack))
        .collect();
    let mut packs: HashMap<i64, Vec<PackRow>> = HashMap::new();
    for pack in store::packs_of_lots(conn, &ids)? {
        packs.entry(pack.lot_id).or_default().push(pack);
    }
    let mut named = materials;
    named.extend(
        rows.iter()
            .flat_map(|row| [row.supplier_id, row.funded_by_id])
            .flatten(),
    );
    let codes = codes_by_ids(conn, &named)?;
    let code = |id: i64| {
        codes
            .get(&id)
            .map(|(code, _)| code.to_string())
            .unwrap_or_default()
    };
    Ok(rows
        .into_iter()
        .map(|row| {
            let packs: Vec<PackView> = packs
                .remove(&row.id)
                .unwrap_or_default()
                .into_iter()
                .map(|pack| pack_shown(pack, &facts, today))
                .collect();
            let reserved: i64 = packs.iter().map(|pack| pack.reserved.micro()).sum();
            LotView {
                id: row.id,
                material: code(row.material_id),
                lot: row.code,
                kit_lot: row.kit_lot,
                supplier: row.supplier_id.map(code),
                received_on: row.received_on,
                expires_on: row.expires_on,
                opened_on: packs.iter().filter_map(|pack| pack.opened_on).min(),
                funded_by: row.funded_by_id.map(code),
                state: lot_state(&packs),
                on_hand: row.on_hand,
                reserved: Quantity::from_micro(reserved),
                available: Quantity::from_micro(row.on_hand.micro() - reserved),
                landed_cost: row.landed_cost,
                remaining_value: row.remaining_value,
                head_hash: row.head_hash,
                movements: row.head_seq,
                packs,
                version: row.version,
            }
        })
        .collect())
}

fn pack_shown(pack: PackRow, facts: &HashMap<i64, PackFacts>, today: NaiveDate) -> PackView {
    PackView {
        id: pack.id,
        no: pack.no,
        on_hand: pack.on_hand,
        reserved: pack.reserved,
        opened_on: pack.opened_on,
        held_reason: pack.held_reason,
        counted_on: pack.counted_on,
        state: pack_state(facts.get(&pack.id), today),
        received: pack.received,
        tare_g: pack.tare,
    }
}
