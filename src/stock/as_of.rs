//! Lots as they were: at the end of any past day by the days at the bench, and as known at any instant by when it was
//! recorded.
//!
//! Deliberately absent: promises and states of the past (what was held or promised then is in no movement).

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::ledger::MovementKind;
use super::store::{self, LotRow, MovementRow};
use crate::base::{Error, Money, Quantity};
use crate::catalogue::codes_by_ids;
use crate::db::{AnyConnection, stored_instant};
use crate::http::Page;

/// A moment of the past; all that stands in the books where both are left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AsOf {
    /// Movements of the bench up to the end of this day.
    pub day: Option<NaiveDate>,
    /// Movements recorded up to this instant.
    pub known_at: Option<DateTime<Utc>>,
}

/// A pack as it was.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PackThen {
    /// The pack's id.
    pub id: i64,
    /// Its number in the lot, from 1.
    pub no: i32,
    /// What it held.
    pub on_hand: Quantity,
}

/// A lot as it was.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct LotThen {
    /// The lot's id.
    pub id: i64,
    /// The material's code.
    pub material: String,
    /// The supplier's lot code.
    pub lot: String,
    /// The code that both parts of a kit share.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kit_lot: Option<String>,
    /// When it was received.
    pub received_on: NaiveDate,
    /// When it expires.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expires_on: Option<NaiveDate>,
    /// The grant that paid for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub funded_by: Option<String>,
    /// What its packs held.
    pub on_hand: Quantity,
    /// What it had cost by then, price corrections included.
    pub landed_cost: Money,
    /// What the rest was worth.
    pub remaining_value: Money,
    /// How many of its movements count for this moment.
    pub movements: i64,
    /// Its packs.
    pub packs: Vec<PackThen>,
}

/// What movements add up to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct Sums {
    movements: i64,
    on_hand: i64,
    value: i64,
    landed: i64,
    packs: BTreeMap<i64, i64>,
}

/// Adds up the movements of one lot. A reversal counts as landed cost when what it takes back does; it names a movement
/// recorded before it, though maybe one of a later day, so all of the lot's kinds are needed.
fn sums(all: &[MovementRow], counts: impl Fn(&MovementRow) -> bool) -> Sums {
    let landed =
        |kind: &str| MovementKind::from_word(kind).is_some_and(MovementKind::is_landed_cost);
    let kinds: HashMap<i64, &str> = all.iter().map(|row| (row.id, row.kind.as_str())).collect();
    let mut sums = Sums::default();
    for row in all.iter().filter(|row| counts(row)) {
        sums.movements += 1;
        sums.on_hand += row.quantity.micro();
        sums.value += row.value.micro();
        let source = row.reverses_id.and_then(|id| kinds.get(&id).copied());
        if landed(source.unwrap_or(&row.kind)) {
            sums.landed += row.value.micro();
        }
        if let Some(pack) = row.pack_id {
            *sums.packs.entry(pack).or_default() += row.quantity.micro();
        }
    }
    sums
}

/// A page of lots, of one material or of all, as they were; and one more when there are more. Lots without a movement by
/// then are left out.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn lots_then(
    conn: &mut AnyConnection,
    material_id: Option<i64>,
    page: Page,
    moment: AsOf,
) -> Result<Vec<LotThen>, Error> {
    let wanted = usize::try_from(page.limit + 1).unwrap_or(usize::MAX);
    let (mut found, mut after) = (Vec::new(), page.after);
    loop {
        let rows = store::lots_page(conn, material_id, None, after, page.limit + 1)?;
        let Some(last) = rows.last().map(|row| row.id) else {
            return Ok(found);
        };
        found.extend(shown(conn, rows, moment)?);
        if found.len() >= wanted {
            found.truncate(wanted);
            return Ok(found);
        }
        after = last;
    }
}

/// One lot as it was.
///
/// # Errors
/// [`Error::NotFound`] without such a lot, or when it had no movement by then.
pub fn lot_then(conn: &mut AnyConnection, id: i64, moment: AsOf) -> Result<LotThen, Error> {
    let row = store::lot_fetch(conn, id)?.ok_or_else(|| Error::not_found("lot", id))?;
    let lot = shown(conn, vec![row], moment)?.pop();
    lot.ok_or_else(|| Error::not_found("lot", id))
}

fn shown(conn: &mut AnyConnection, rows: Vec<LotRow>, moment: AsOf) -> Result<Vec<LotThen>, Error> {
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let mut movements: HashMap<i64, Vec<MovementRow>> = HashMap::new();
    for row in store::movements_of_lots(conn, &ids)? {
        movements.entry(row.lot_id).or_default().push(row);
    }
    let mut numbers: HashMap<i64, Vec<(i64, i32)>> = HashMap::new();
    for pack in store::packs_of_lots(conn, &ids)? {
        let packs = numbers.entry(pack.lot_id).or_default();
        packs.push((pack.id, pack.no));
    }
    let named: Vec<i64> = rows
        .iter()
        .flat_map(|row| [Some(row.material_id), row.funded_by_id])
        .flatten()
        .collect();
    let codes = codes_by_ids(conn, &named)?;
    let code = |id: i64| codes.get(&id).map(|(code, _)| code.to_string());
    let known_at = moment.known_at.map(stored_instant);
    let counts = |row: &MovementRow| {
        moment.day.is_none_or(|day| row.effective_on <= day)
            && known_at.is_none_or(|at| row.recorded_at <= at)
    };
    let then = rows.into_iter().filter_map(|row| {
        let sums = sums(&movements.remove(&row.id).unwrap_or_default(), counts);
        (sums.movements > 0).then(|| LotThen {
            id: row.id,
            material: code(row.material_id).unwrap_or_default(),
            lot: row.code,
            kit_lot: row.kit_lot,
            received_on: row.received_on,
            expires_on: row.expires_on,
            funded_by: row.funded_by_id.and_then(code),
            on_hand: Quantity::from_micro(sums.on_hand),
            landed_cost: Money::from_micro(sums.landed),
            remaining_value: Money::from_micro(sums.value),
            movements: sums.movements,
            packs: numbers
                .remove(&row.id)
                .unwrap_or_default()
                .into_iter()
                .map(|(id, no)| PackThen {
                    id,
                    no,
                    on_hand: Quantity::from_micro(sums.packs.get(&id).copied().unwrap_or(0)),
                })
                .collect(),
        })
    });
    Ok(then.collect())
}
