//! What an import will do: a pure decision from the rows of a file and what the books know.
//!
//! Invariants: a row is named by its order and line number, and one that is in the books makes nothing new, whatever
//! else is in the file; the landed costs of what is received add up to the converted amounts of these rows, exactly;
//! with one row in error nothing is done, and every row in error says so. Deliberately absent: the database, and ids
//! of what is yet to be made.

use chrono::{Days, NaiveDate};

use super::csv_file::CellError;
use super::facts::{ImportFacts, LineState, SupplierKey};
use super::goods::{Goods, goods_of};
use super::identity::{Comparison, RowContent, compare, repeats};
use super::landed::{SpreadBasis, split_kit};
use super::landing::land;
use super::report::{ImportReport, LotReport, Outcome, RowReport};
use super::row::{CellWarning, PurchaseRow, RowReading};
use crate::base::{Code, Money, Quantity};

/// Most packs that one file may bring, as each is kept for itself.
pub const FILE_PACKS_MAX: u64 = 1_000_000;

/// What the sender says about the whole file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ImportOptions {
    /// That the same freight on every row of an order is each row's own, and not the order's repeated.
    pub confirm_repeated_freight: bool,
    /// What freight, duty and fees are spread by.
    pub spread_by: SpreadBasis,
}

/// What is to be done; nothing if a row is in error.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ImportPlan {
    /// What becomes of each row, in file order; without ids.
    pub rows: Vec<RowReport>,
    /// Orders to be made.
    pub orders: Vec<PlannedOrder>,
    /// Lines to be made, or received.
    pub lines: Vec<PlannedLine>,
    /// Lots to be made.
    pub lots: Vec<PlannedLot>,
}

/// An order to be made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedOrder {
    /// Its number.
    pub order_no: String,
    /// The text that names its supplier.
    pub supplier: String,
    /// The day of the order.
    pub ordered_on: NaiveDate,
}

/// A line to be made, or one on order that is received.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedLine {
    /// The order's number.
    pub order_no: String,
    /// The line's number in it.
    pub line_no: u32,
    /// The line's id if it is in the books.
    pub known_id: Option<i64>,
    /// The material or kit.
    pub item_id: i64,
    /// The materials it brings.
    pub material_ids: Vec<i64>,
    /// Number of packs.
    pub packs: u32,
    /// What one pack holds, in the material's unit; none for a kit.
    pub pack_quantity: Option<Quantity>,
    /// What it cost, landed, in the base currency; 0 while it is on order.
    pub value: Money,
    /// When it should arrive, if that can be told.
    pub expected_on: Option<NaiveDate>,
    /// When it arrived.
    pub received_on: Option<NaiveDate>,
    /// What the row says.
    pub content: String,
}

/// A lot to be made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedLot {
    /// Place of its line in [`ImportPlan::lines`].
    pub line: usize,
    /// Place of its row in [`ImportPlan::rows`].
    pub row: usize,
    /// The material.
    pub material_id: i64,
    /// The material's code.
    pub material: Code,
    /// The supplier's lot code.
    pub lot: String,
    /// The code that both parts of a kit share.
    pub kit_lot: Option<String>,
    /// The kit it is a part of.
    pub kit_id: Option<i64>,
    /// The grant that pays.
    pub funded_by_id: Option<i64>,
    /// When it arrived.
    pub received_on: NaiveDate,
    /// When it expires.
    pub expires_on: Option<NaiveDate>,
    /// Number of packs.
    pub packs: u32,
    /// What one pack holds.
    pub pack_quantity: Quantity,
    /// What it cost, landed, in the base currency.
    pub landed_cost: Money,
}

/// How a row stands to the books and to the rows before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Standing {
    /// It could not be read.
    Unread,
    /// It is in the books.
    Again,
    /// It stands in the file already.
    Twice,
    /// It is new.
    New,
    /// It is the arrival of the line of this id.
    Arrives(i64),
}

/// A row on its way to a decision.
pub(super) struct Draft<'a> {
    pub(super) line: u64,
    pub(super) row: Option<&'a PurchaseRow>,
    pub(super) standing: Standing,
    pub(super) content: String,
    pub(super) goods: Option<Goods>,
    pub(super) landed: Option<Money>,
    pub(super) errors: Vec<CellError>,
    warnings: Vec<CellWarning>,
}

impl<'a> Draft<'a> {
    fn of(reading: &'a RowReading) -> Draft<'a> {
        let (row, errors) = match &reading.row {
            Ok(row) => (Some(row), Vec::new()),
            Err(errors) => (None, errors.clone()),
        };
        Draft {
            line: reading.line,
            row,
            standing: row.map_or(Standing::Unread, |_| Standing::New),
            content: String::new(),
            goods: None,
            landed: None,
            errors,
            warnings: reading.warnings.clone(),
        }
    }

    /// Whether the row is to be written.
    pub(super) fn is_news(&self) -> bool {
        matches!(self.standing, Standing::New | Standing::Arrives(_))
    }

    fn outcome(&self) -> Outcome {
        match (self.errors.is_empty(), self.is_news(), self.row) {
            (false, ..) | (true, _, None) => Outcome::Error,
            (true, false, Some(_)) => Outcome::AlreadyImported,
            (true, true, Some(row)) if row.received_on.is_some() => Outcome::Created,
            (true, true, Some(_)) => Outcome::Ordered,
        }
    }
}

/// Decides what an import does.
#[must_use]
pub fn decide(readings: &[RowReading], facts: &ImportFacts, options: ImportOptions) -> ImportPlan {
    let mut drafts: Vec<Draft<'_>> = readings.iter().map(Draft::of).collect();
    for draft in &mut drafts {
        compare_with_books(draft, facts);
    }
    mark_repeats(&mut drafts);
    for draft in drafts.iter_mut().filter(|draft| draft.is_news()) {
        let Some(row) = draft.row else { continue };
        match goods_of(row, facts) {
            Ok(goods) => draft.goods = Some(goods),
            Err(errors) => draft.errors.extend(errors),
        }
    }
    check_packs(&mut drafts);
    land(&mut drafts, facts, options);
    plan(drafts, facts)
}

/// A file brings no more packs than can be written at once.
fn check_packs(drafts: &mut [Draft<'_>]) {
    let mut packs = 0_u64;
    for draft in drafts.iter_mut().filter(|draft| draft.is_news()) {
        let Some(row) = draft.row.filter(|row| row.received_on.is_some()) else {
            continue;
        };
        packs = packs.saturating_add(row.packs.into());
        if packs > FILE_PACKS_MAX {
            let detail = format!(
                "the rows of the file down to this one bring {packs} packs; at most {FILE_PACKS_MAX} are taken at once: split the file"
            );
            draft
                .errors
                .push(CellError::new("packs", &row.packs.to_string(), detail));
        }
    }
}

/// Finds out whether the row's line is in the books, and what of it is other.
fn compare_with_books(draft: &mut Draft<'_>, facts: &ImportFacts) {
    let Some(row) = draft.row else { return };
    let content = RowContent::of(row);
    draft.content = content.text();
    let order = facts.orders.get(&row.order_no);
    let Some(line) = order.and_then(|order| order.lines.get(&row.line_no)) else {
        return;
    };
    if line.content == draft.content {
        draft.standing = Standing::Again;
        if line.state == LineState::Cancelled {
            let detail = "the line is in the books, but was cancelled";
            draft.warnings.push(warning("line_no", row.line_no, detail));
        }
        return;
    }
    let old = match RowContent::parse(&line.content) {
        Ok(old) => old,
        Err(error) => {
            let detail = format!("the line is in the books, but {error}");
            draft
                .errors
                .push(CellError::new("line_no", &row.line_no.to_string(), detail));
            return;
        }
    };
    match compare(&old, &content) {
        Comparison::Same => draft.standing = Standing::Again,
        Comparison::Arrival if line.state == LineState::Ordered => {
            draft.standing = Standing::Arrives(line.id);
        }
        Comparison::Arrival => {
            let detail = format!(
                "line {} of order \"{}\" is {}, so it cannot arrive: enter what came under another line number",
                row.line_no,
                row.order_no,
                line.state.as_str()
            );
            draft.errors.push(CellError::new(
                "received_on",
                content.get("received_on"),
                detail,
            ));
        }
        Comparison::Changed(columns) => {
            let changed = |column: &String| {
                CellError::new(column, content.get(column), changed_text(row, &old, column))
            };
            draft.errors.extend(columns.iter().map(changed));
        }
    }
}

fn changed_text(row: &PurchaseRow, old: &RowContent, column: &str) -> String {
    let was = match old.get(column) {
        "" => "blank".to_owned(),
        value => format!("\"{value}\""),
    };
    format!(
        "line {} of order \"{}\" is in the books with another {column}, {was}: give this row a line number of its own if it is another purchase; what is in the books is not changed by an import",
        row.line_no, row.order_no
    )
}

fn warning(column: &str, value: impl ToString, detail: impl Into<String>) -> CellWarning {
    CellWarning {
        column: column.to_owned(),
        value: value.to_string(),
        detail: detail.into(),
    }
}

/// The same order and line number twice in one file: counted once if they say the same, else an error.
fn mark_repeats(drafts: &mut [Draft<'_>]) {
    let places: Vec<usize> = (0..drafts.len())
        .filter(|at| drafts[*at].row.is_some())
        .collect();
    let rows: Vec<&PurchaseRow> = drafts.iter().filter_map(|draft| draft.row).collect();
    for repeat in repeats(&rows) {
        let (row, first_line) = (rows[repeat.later], drafts[places[repeat.first]].line);
        let draft = &mut drafts[places[repeat.later]];
        match repeat.comparison {
            Comparison::Same => {
                let detail = format!(
                    "line {} of order \"{}\" stands on line {first_line} of the file already; it counts once",
                    row.line_no, row.order_no
                );
                draft.warnings.push(warning("line_no", row.line_no, detail));
                // What is wrong with the first is wrong with this one too, and said there.
                draft.standing = Standing::Twice;
            }
            Comparison::Arrival => {
                repeat_error(draft, row, first_line, &["received_on".to_owned()]);
            }
            Comparison::Changed(columns) => repeat_error(draft, row, first_line, &columns),
        }
    }
}

fn repeat_error(draft: &mut Draft<'_>, row: &PurchaseRow, first_line: u64, columns: &[String]) {
    let content = RowContent::of(row);
    for column in columns {
        let detail = format!(
            "line {} of order \"{}\" stands on line {first_line} of the file with another {column}: keep the row that is right, or give this one a line number of its own",
            row.line_no, row.order_no
        );
        draft
            .errors
            .push(CellError::new(column, content.get(column), detail));
    }
}

/// Turns the drafts into what is to be done.
fn plan(mut drafts: Vec<Draft<'_>>, facts: &ImportFacts) -> ImportPlan {
    let mut plan = ImportPlan {
        rows: Vec::with_capacity(drafts.len()),
        orders: Vec::new(),
        lines: Vec::new(),
        lots: Vec::new(),
    };
    let mut started = std::collections::HashSet::new();
    for (at, draft) in drafts.iter_mut().enumerate() {
        if let (true, true, Some(row)) = (draft.is_news(), draft.errors.is_empty(), draft.row)
            && let Some(goods) = &draft.goods
        {
            if !facts.orders.contains_key(&row.order_no) && started.insert(row.order_no.as_str()) {
                plan.orders.push(PlannedOrder {
                    order_no: row.order_no.clone(),
                    supplier: row.supplier.clone(),
                    ordered_on: row.ordered_on,
                });
            }
            let line = plan.lines.len();
            match lots_of(row, goods, draft.landed, (at, line)) {
                Ok(lots) => plan.lots.extend(lots),
                Err(error) => draft.errors.push(error),
            }
            plan.lines.push(line_of(row, goods, draft, facts));
        }
        plan.rows.push(RowReport {
            line: draft.line,
            outcome: draft.outcome(),
            lots: Vec::new(),
            warnings: std::mem::take(&mut draft.warnings),
            errors: std::mem::take(&mut draft.errors),
        });
    }
    for lot in &plan.lots {
        plan.rows[lot.row].lots.push(lot.report());
    }
    // The good rows keep saying what they would have brought.
    if plan.has_errors() {
        plan.orders.clear();
        plan.lines.clear();
        plan.lots.clear();
    }
    plan
}

fn line_of(
    row: &PurchaseRow,
    goods: &Goods,
    draft: &Draft<'_>,
    facts: &ImportFacts,
) -> PlannedLine {
    let supplier = facts.suppliers.get(&row.supplier);
    let lead_time_days = goods
        .lead_time_days
        .or_else(|| supplier.and_then(|supplier| supplier.lead_time_days));
    PlannedLine {
        order_no: row.order_no.clone(),
        line_no: row.line_no,
        known_id: match draft.standing {
            Standing::Arrives(id) => Some(id),
            _ => None,
        },
        item_id: goods.item_id,
        material_ids: goods.parts.iter().map(|part| part.material_id).collect(),
        packs: row.packs,
        pack_quantity: goods.pack_quantity(),
        value: draft.landed.unwrap_or(Money::ZERO),
        expected_on: lead_time_days
            .and_then(|days| row.ordered_on.checked_add_days(Days::new(days.into()))),
        received_on: row.received_on,
        content: draft.content.clone(),
    }
}

/// The lots of a row that was received: one, or the two of a kit, whose cost is split by mass.
fn lots_of(
    row: &PurchaseRow,
    goods: &Goods,
    landed: Option<Money>,
    (at, line): (usize, usize),
) -> Result<Vec<PlannedLot>, CellError> {
    let (Some(received_on), Some(landed)) = (row.received_on, landed) else {
        return Ok(Vec::new());
    };
    let lot = row.lot.clone().unwrap_or_default();
    let masses: Vec<Quantity> = goods.parts.iter().map(|part| part.pack_quantity).collect();
    let costs = match goods.kit_id {
        Some(_) => split_kit(landed, &masses)
            .map_err(|error| CellError::new("item", row.item.as_str(), error.to_string()))?,
        None => vec![landed],
    };
    let kit_lot = match goods.kit_id {
        Some(_) => Some(row.kit_lot.clone().unwrap_or_else(|| lot.clone())),
        None => row.kit_lot.clone(),
    };
    let made = |(part, landed_cost): (&super::goods::Part, Money)| PlannedLot {
        line,
        row: at,
        material_id: part.material_id,
        material: part.code.clone(),
        lot: lot.clone(),
        kit_lot: kit_lot.clone(),
        kit_id: goods.kit_id,
        funded_by_id: goods.funded_by_id,
        received_on,
        expires_on: row.expires_on,
        packs: row.packs,
        pack_quantity: part.pack_quantity,
        landed_cost,
    };
    Ok(goods.parts.iter().zip(costs).map(made).collect())
}

impl PlannedLot {
    fn report(&self) -> LotReport {
        LotReport {
            id: None,
            material: self.material.to_string(),
            lot: self.lot.clone(),
            kit_lot: self.kit_lot.clone(),
            packs: self.packs,
            pack_quantity: self.pack_quantity,
            landed_cost: self.landed_cost,
        }
    }
}

impl ImportPlan {
    /// Whether any row is in error, so that nothing is done.
    #[must_use]
    pub fn has_errors(&self) -> bool {
        self.rows.iter().any(|row| row.outcome == Outcome::Error)
    }

    /// The plan as the report of a dry run.
    #[must_use]
    pub fn into_preview(self) -> ImportReport {
        let lots_created = if self.has_errors() {
            0
        } else {
            self.lots.len() as u64
        };
        ImportReport {
            id: None,
            dry_run: true,
            lots_created,
            rows: self.rows,
        }
    }
}

/// Whether two keys name one supplier.
pub(super) fn same_supplier(one: Option<&SupplierKey>, other: Option<&SupplierKey>) -> bool {
    one.is_some() && one == other
}
