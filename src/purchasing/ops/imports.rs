//! Imports: a file is read, decided on, and written whole or not at all; a dry run stops before writing.
//!
//! Invariants: what a dry run shows is what a commit of the same file does at the same moment, as both make the same
//! decision; on PostgreSQL whoever writes orders waits for who came first, so that one line never makes two lots.
//! Deliberately absent: how lots come to be (the stock room receives them).

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use utoipa::ToSchema;

use super::load::{facts_load, named_load};
use crate::base::{Currency, Error, Quantity, RefusalKind, kept_read};
use crate::catalogue::{entries_hold, materials_mark, supplier_ensure};
use crate::db::{AnyConnection, Tx, instant};
use crate::http::Page;
use crate::purchasing::csv_file::{FileError, FileFormat};
use crate::purchasing::facts::{ImportFacts, LineState, SupplierKey};
use crate::purchasing::import::{ImportOptions, ImportPlan, PlannedLine, decide};
use crate::purchasing::number::DecimalMark;
use crate::purchasing::report::{ImportReport, Outcome, RowReport};
use crate::purchasing::row::{ReadContext, RowReading, read_purchases};
use crate::purchasing::store::{self, NewLine};
use crate::stock::receive::{Receipt, lots_receive_watched};
use crate::stock::settle::lock_reach;

/// How a purchase file is to be read and taken.
#[derive(Clone, Copy, Debug, Default)]
pub struct ImportSettings {
    /// How the file is written.
    pub format: FileFormat,
    /// Its decimal mark.
    pub decimal: DecimalMark,
    /// What its sender says about it.
    pub options: ImportOptions,
}

/// How far an import is in making its lots, which is what takes time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Lots made.
    pub done: u64,
    /// Lots to be made.
    pub all: u64,
}

/// An import in a list.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ImportSummary {
    /// The import's id.
    pub id: i64,
    /// SHA-256 of the file, in hexadecimal.
    pub file_sha256: String,
    /// Lots it made.
    pub lots_created: u64,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// Who made it.
    pub created_by: String,
}

/// An import with its report.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ImportDetail {
    /// What it did.
    #[serde(flatten)]
    pub report: ImportReport,
    /// SHA-256 of the file, in hexadecimal.
    pub file_sha256: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// Who made it.
    pub created_by: String,
}

/// What is kept of a report.
#[derive(Debug, Serialize, Deserialize)]
struct KeptReport<R> {
    lots_created: u64,
    rows: R,
}

/// What an import of the file would do. Rows in error are part of the answer.
///
/// # Errors
/// [`Error::Refused`] when the file as a whole cannot be used.
pub fn import_preview(
    conn: &mut AnyConnection,
    bytes: &[u8],
    settings: &ImportSettings,
    (today, base_currency): (NaiveDate, Currency),
) -> Result<ImportReport, Error> {
    let readings = read(bytes, settings, today)?;
    let facts = facts_load(conn, &readings, base_currency)?;
    Ok(decide(&readings, &facts, settings.options).into_preview())
}

/// Imports the file. Where it brings nothing new, nothing is written.
///
/// # Errors
/// [`Error::Refused`] ([`RefusalKind::ImportRejected`]) when the file cannot be used or a row is in error; its member
/// `rows` has every such row.
pub fn import_commit(
    tx: &mut Tx<'_>,
    bytes: &[u8],
    settings: &ImportSettings,
) -> Result<ImportReport, Error> {
    import_commit_watched(tx, bytes, settings, &mut |_| {})
}

/// As [`import_commit`], and tells `watch` how far it is.
///
/// # Errors
/// As [`import_commit`].
pub fn import_commit_watched(
    tx: &mut Tx<'_>,
    bytes: &[u8],
    settings: &ImportSettings,
    watch: &mut dyn FnMut(Progress),
) -> Result<ImportReport, Error> {
    let readings = read(bytes, settings, tx.today)?;
    let facts = facts_locked(tx, &readings)?;
    let plan = decide(&readings, &facts, settings.options);
    if plan.has_errors() {
        let mut bad = plan.rows;
        let all = bad.len();
        bad.retain(|row| row.outcome == Outcome::Error);
        return Err(rows_refused(&bad, all));
    }
    let file_sha256 = hex::encode(Sha256::digest(bytes));
    if plan.lines.is_empty() {
        return Ok(ImportReport {
            id: store::import_by_file(tx.conn, &file_sha256)?,
            dry_run: false,
            lots_created: 0,
            rows: plan.rows,
        });
    }
    let id = store::import_insert(tx, &file_sha256)?;
    let (lots_created, rows) = plan_write(tx, plan, &facts, watch)?;
    let kept = KeptReport { lots_created, rows };
    let text = serde_json::to_string(&kept)
        .map_err(|e| Error::internal(format!("a report could not be written: {e}")))?;
    store::import_keep(tx.conn, id, &text)?;
    Ok(ImportReport {
        id: Some(id),
        dry_run: false,
        lots_created,
        rows: kept.rows,
    })
}

fn read(
    bytes: &[u8],
    settings: &ImportSettings,
    today: NaiveDate,
) -> Result<Vec<RowReading>, Error> {
    let context = ReadContext {
        decimal: settings.decimal,
        today,
    };
    read_purchases(bytes, &settings.format, &context).map_err(|error| file_refused(&error))
}

/// The refusal of a file that as a whole cannot be used.
pub(super) fn file_refused(error: &FileError) -> Error {
    let refusal = Error::refused(RefusalKind::ImportRejected, error.to_string())
        .with("rows", Vec::<serde_json::Value>::new());
    match error.line() {
        Some(line) => refusal.with("line", line),
        None => refusal,
    }
}

/// The refusal of a file of `all` rows with these in error.
pub(super) fn rows_refused(bad: &[impl Serialize], all: usize) -> Error {
    let detail = format!(
        "{} of {all} rows are in error, so nothing was written: correct them and send the file again",
        bad.len()
    );
    match serde_json::to_value(bad) {
        Ok(rows) => Error::refused(RefusalKind::ImportRejected, detail).with("rows", rows),
        Err(error) => Error::internal(format!("a report could not be written: {error}")),
    }
}

/// Takes the locks that a decision on these rows needs, in the order that keeps writers from deadlock, then loads the
/// facts: nothing they say changes until the transaction ends.
pub(super) fn facts_locked(tx: &mut Tx<'_>, readings: &[RowReading]) -> Result<ImportFacts, Error> {
    store::orders_lock(tx.conn)?;
    let named = named_load(tx.conn, readings)?;
    lock_reach(tx, &named.material_ids())?;
    entries_hold(tx.conn, &named.entry_ids())?;
    let base_currency = tx.base_currency;
    facts_load(tx.conn, readings, base_currency)
}

/// Writes a plan without errors: orders, lines, lots. Gives the number of lots and the rows with the lots' ids.
pub(super) fn plan_write(
    tx: &mut Tx<'_>,
    plan: ImportPlan,
    facts: &ImportFacts,
    watch: &mut dyn FnMut(Progress),
) -> Result<(u64, Vec<RowReport>), Error> {
    let orders = orders_write(tx, &plan, facts)?;
    let line_ids = lines_write(tx, &plan.lines, &orders)?;
    let packs: Vec<Vec<Quantity>> = plan
        .lots
        .iter()
        .map(|lot| vec![lot.pack_quantity; usize::try_from(lot.packs).unwrap_or(usize::MAX)])
        .collect();
    let receipts: Vec<Receipt<'_>> = plan
        .lots
        .iter()
        .zip(&packs)
        .map(|(lot, packs)| Receipt {
            material_id: lot.material_id,
            lot_code: &lot.lot,
            kit_lot: lot.kit_lot.as_deref(),
            kit_id: lot.kit_id,
            supplier_id: orders
                .get(plan.lines[lot.line].order_no.as_str())
                .map(|order| order.supplier_id),
            order_line_id: Some(line_ids[lot.line]),
            funded_by_id: lot.funded_by_id,
            received_on: lot.received_on,
            expires_on: lot.expires_on,
            packs,
            landed_cost: lot.landed_cost,
        })
        .collect();
    let lot_ids = if receipts.is_empty() {
        Vec::new()
    } else {
        let all = receipts.len() as u64;
        lots_receive_watched(tx, &receipts, &mut |done| watch(Progress { done, all }))?
    };
    let mut rows = plan.rows;
    let mut next = vec![0_usize; rows.len()];
    for (lot, id) in plan.lots.iter().zip(&lot_ids) {
        if let Some(report) = rows[lot.row].lots.get_mut(next[lot.row]) {
            report.id = Some(*id);
        }
        next[lot.row] += 1;
    }
    Ok((lot_ids.len() as u64, rows))
}

/// An order that is in the books.
struct Standing {
    id: i64,
    supplier_id: i64,
}

/// Makes what orders and suppliers are new, and gives every order that a line is written to.
fn orders_write<'a>(
    tx: &mut Tx<'_>,
    plan: &'a ImportPlan,
    facts: &'a ImportFacts,
) -> Result<HashMap<&'a str, Standing>, Error> {
    let mut suppliers: HashMap<&str, i64> = facts
        .suppliers
        .iter()
        .filter_map(|(name, supplier)| match supplier.key {
            SupplierKey::Known(id) => Some((name.as_str(), id)),
            SupplierKey::New(_) => None,
        })
        .collect();
    let mut made = Vec::with_capacity(plan.orders.len());
    for order in &plan.orders {
        let name = order.supplier.as_str();
        let supplier_id = match suppliers.get(name) {
            Some(id) => *id,
            None => supplier_ensure(tx, name)?,
        };
        suppliers.insert(name, supplier_id);
        made.push((order.order_no.as_str(), supplier_id, order.ordered_on));
    }
    let ids = store::orders_insert(tx, &made)?;
    let known = facts.orders.iter().map(|(code, order)| {
        let standing = Standing {
            id: order.id,
            supplier_id: order.supplier_id,
        };
        (code.as_str(), standing)
    });
    let mut orders: HashMap<&str, Standing> = known.collect();
    for (code, supplier_id, _) in made {
        let id = ids
            .get(code)
            .copied()
            .ok_or_else(|| Error::internal(format!("order {code} was not kept")))?;
        orders.insert(code, Standing { id, supplier_id });
    }
    Ok(orders)
}

/// Makes new lines, receives those on order, and gives the id of each.
fn lines_write(
    tx: &mut Tx<'_>,
    lines: &[PlannedLine],
    orders: &HashMap<&str, Standing>,
) -> Result<Vec<i64>, Error> {
    let order_id = |line: &PlannedLine| {
        orders
            .get(line.order_no.as_str())
            .map(|order| order.id)
            .ok_or_else(|| Error::internal(format!("order {} was not kept", line.order_no)))
    };
    let mut made = Vec::with_capacity(lines.len());
    for line in lines.iter().filter(|line| line.known_id.is_none()) {
        let state = match line.received_on {
            Some(_) => LineState::Received,
            None => LineState::Ordered,
        };
        made.push(NewLine {
            order_id: order_id(line)?,
            line_no: line.line_no.to_string(),
            item_id: line.item_id,
            packs: line.packs.into(),
            pack_quantity: line.pack_quantity,
            value: line.value,
            state: state.as_str(),
            expected_on: line.expected_on,
            received_on: line.received_on,
            content: &line.content,
        });
    }
    let ids = store::lines_insert(tx.conn, &made)?;
    let mut all = Vec::with_capacity(lines.len());
    let mut expected = Vec::new();
    for line in lines {
        let id = match line.known_id {
            Some(id) => {
                let arrived = (line.received_on, line.value);
                store::line_receive(tx.conn, id, arrived, &line.content)?;
                Some(id)
            }
            None => ids
                .get(&(order_id(line)?, line.line_no.to_string()))
                .copied(),
        };
        all.push(id.ok_or_else(|| Error::internal("an order line was not kept"))?);
        if line.received_on.is_none() {
            expected.extend(&line.material_ids);
        }
    }
    materials_mark(tx, &expected)?;
    Ok(all)
}

/// One import with its report.
///
/// # Errors
/// [`Error::NotFound`] when there is none.
pub fn import_get(conn: &mut AnyConnection, id: i64) -> Result<ImportDetail, Error> {
    let row = store::import_fetch(conn, id)?.ok_or_else(|| Error::not_found("import", id))?;
    let kept: KeptReport<Vec<RowReport>> = kept(&row)?;
    Ok(ImportDetail {
        report: ImportReport {
            id: Some(row.id),
            dry_run: false,
            lots_created: kept.lots_created,
            rows: kept.rows,
        },
        file_sha256: row.file_sha256,
        created_at: instant(row.created_at),
        created_by: row.created_by,
    })
}

/// A page of the imports and one more, oldest first.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn import_list(conn: &mut AnyConnection, page: Page) -> Result<Vec<ImportSummary>, Error> {
    store::imports_after(conn, page.after, page.limit + 1)?
        .into_iter()
        .map(|row| {
            let kept: KeptReport<serde::de::IgnoredAny> = kept(&row)?;
            Ok(ImportSummary {
                id: row.id,
                file_sha256: row.file_sha256,
                lots_created: kept.lots_created,
                created_at: instant(row.created_at),
                created_by: row.created_by,
            })
        })
        .collect()
}

/// The last imports, the newest first: id, when and by whom.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn imports_latest(
    conn: &mut AnyConnection,
    limit: i64,
) -> Result<Vec<(i64, DateTime<Utc>, String)>, Error> {
    let rows = store::imports_latest(conn, limit)?.into_iter();
    Ok(rows.map(|(id, at, by)| (id, instant(at), by)).collect())
}

fn kept<'a, R: Deserialize<'a>>(row: &'a store::ImportRow) -> Result<KeptReport<R>, Error> {
    kept_read(&row.outcome)
        .map_err(|error| Error::internal(format!("import {} does not read back: {error}", row.id)))
}
