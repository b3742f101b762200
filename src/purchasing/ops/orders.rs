//! Orders: placed, received, cancelled, shown.
//!
//! Invariants: an order that is placed or received passes the same decision as a row of a file; a line is received
//! whole, once, or cancelled, never both. Deliberately absent: partial deliveries of one line (each delivery is a line).

use std::collections::{BTreeSet, HashMap};

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::imports::{facts_locked, plan_write};
use super::load::{materials_of_items, state_of};
use crate::base::{Error, FieldError, Money, RefusalKind};
use crate::catalogue::{codes_by_ids, materials_mark};
use crate::db::{AnyConnection, Tx, instant};
use crate::http::Page;
use crate::purchasing::facts::LineState;
use crate::purchasing::identity::RowContent;
use crate::purchasing::import::{ImportOptions, ImportPlan, decide};
use crate::purchasing::order_input::{CancelIn, OrderIn, ReceiveIn, field_errors, typed_row};
use crate::purchasing::report::Outcome;
use crate::purchasing::row::COLUMNS;
use crate::purchasing::store::{self, LineRow, OrderRow};

/// Where an order stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum OrderState {
    /// Nothing has arrived yet.
    Ordered,
    /// Some lines have arrived, some are still to come.
    PartlyReceived,
    /// Everything that was not cancelled has arrived.
    Received,
    /// Nothing will arrive.
    Cancelled,
}

/// An order.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct OrderView {
    #[serde(skip)]
    pub(in crate::purchasing) id: i64,
    /// Its number.
    pub order_no: String,
    /// The supplier's code.
    pub supplier: String,
    /// The day of the order.
    pub ordered_on: NaiveDate,
    /// Where it stands.
    pub state: OrderState,
    /// Its lines.
    pub lines: Vec<OrderLineView>,
    /// When it was entered.
    pub created_at: DateTime<Utc>,
    /// Who entered it.
    pub created_by: String,
}

/// A line of an order. Amounts but the landed cost are in its own currency.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct OrderLineView {
    /// Its number within the order.
    pub line_no: u32,
    /// The material's or kit's code.
    pub item: String,
    /// Where it stands.
    pub state: LineState,
    /// Number of packs.
    pub packs: u32,
    /// What one pack holds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pack_quantity: Option<String>,
    /// The unit of that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Price of the whole line.
    pub line_price: String,
    /// The currency of its amounts.
    pub currency: String,
    /// Freight that stands on the line.
    pub freight: String,
    /// When it should arrive, if that can be told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expected_on: Option<NaiveDate>,
    /// When it arrived.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub received_on: Option<NaiveDate>,
    /// The supplier's lot code.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// What it cost, landed, in the base currency; once it has arrived.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub landed_cost: Option<Money>,
    /// The ids of the lots it brought.
    pub lots: Vec<i64>,
}

/// Places an order. `true` when it is new; the same order again is shown as it stands.
///
/// # Errors
/// [`Error::Invalid`] with every fault; [`Error::Refused`] when there is another order of that number.
pub fn order_place(tx: &mut Tx<'_>, input: &OrderIn) -> Result<(OrderView, bool), Error> {
    if input.lines.is_empty() {
        return Err(Error::invalid("/lines", "an order has at least one line"));
    }
    let readings = input.readings(tx.today, tx.base_currency);
    let facts = facts_locked(tx, &readings)?;
    let options = ImportOptions {
        confirm_repeated_freight: input.confirm_repeated_freight,
        spread_by: input.spread_by,
    };
    let plan = decide(&readings, &facts, options);
    let code = readings
        .iter()
        .find_map(|reading| reading.row.as_ref().ok())
        .map(|row| row.order_no.clone());
    if let Some(known) = code
        .as_ref()
        .filter(|code| facts.orders.contains_key(*code))
    {
        let again =
            |row: &crate::purchasing::report::RowReport| row.outcome == Outcome::AlreadyImported;
        if plan.rows.iter().all(again) {
            return Ok((order_get(tx.conn, known)?, false));
        }
        let detail = format!(
            "there is an order \"{known}\" already, and it says something else: take another number; what it lacks can be added by a file"
        );
        return Err(Error::refused(RefusalKind::AlreadyExists, detail).with("code", known.as_str()));
    }
    check(&plan, &["order_no", "supplier", "ordered_on"])?;
    plan_write(tx, plan, &facts, &mut |_| {})?;
    let code = code.ok_or_else(|| Error::internal("an order without lines was placed"))?;
    Ok((order_get(tx.conn, &code)?, true))
}

/// Takes in one line as a purchase file with this one row would: a new line of a new order or of one that is there, or the
/// arrival of one that is on order. A line without a day of arrival is then on order; one that is in the books as it is here is
/// left alone. `cell` gives the text of each column. Returns the order.
///
/// # Errors
/// [`Error::Invalid`] with every fault, at the column's pointer.
pub fn line_take(tx: &mut Tx<'_>, cell: impl Fn(&str) -> String) -> Result<OrderView, Error> {
    let readings = typed_row(cell, tx.today);
    let facts = facts_locked(tx, &readings)?;
    let plan = decide(&readings, &facts, ImportOptions::default());
    let columns: Vec<&str> = COLUMNS.iter().map(|column| column.name).collect();
    check(&plan, &columns)?;
    plan_write(tx, plan, &facts, &mut |_| {})?;
    let row = readings.into_iter().find_map(|reading| reading.row.ok());
    let row = row.ok_or_else(|| Error::internal("a line without a row was taken"))?;
    order_get(tx.conn, &row.order_no)
}

/// The faults of a plan, at the fields they come from.
fn check(plan: &ImportPlan, common: &[&str]) -> Result<(), Error> {
    let mut errors: Vec<FieldError> = Vec::new();
    for (index, row) in plan.rows.iter().enumerate() {
        for error in field_errors(index, &row.errors, common) {
            // What every line shares is said once.
            if !errors.contains(&error) {
                errors.push(error);
            }
        }
    }
    if errors.is_empty() {
        Ok(())
    } else {
        Err(Error::Invalid(errors))
    }
}

/// The order of a number with its lines, while whoever else writes orders waits.
fn grasp(tx: &mut Tx<'_>, code: &str) -> Result<(OrderRow, HashMap<u32, LineRow>), Error> {
    store::orders_lock(tx.conn)?;
    let order = order_row(tx.conn, code)?;
    let lines = store::lines_of_orders(tx.conn, &[order.id])?;
    let numbered = lines.into_iter().map(|line| Ok((number(&line)?, line)));
    Ok((order, numbered.collect::<Result<_, Error>>()?))
}

fn order_row(conn: &mut AnyConnection, code: &str) -> Result<OrderRow, Error> {
    store::order_by_code(conn, code)?.ok_or_else(|| Error::not_found("order", code))
}

fn number(line: &LineRow) -> Result<u32, Error> {
    line.line_no
        .parse()
        .map_err(|_| Error::internal(format!("order line {} has no number", line.id)))
}

fn no_such_line(index: usize, line_no: u32, code: &str) -> FieldError {
    FieldError::new(
        format!("/lines/{index}/line_no"),
        format!("order \"{code}\" has no line {line_no}"),
    )
}

/// Receives lines that are on order.
///
/// # Errors
/// [`Error::NotFound`] without such an order; [`Error::Invalid`] with every fault; [`Error::Refused`] when a line has
/// arrived already or was cancelled.
pub fn order_receive(tx: &mut Tx<'_>, code: &str, input: &ReceiveIn) -> Result<OrderView, Error> {
    let (order, lines) = grasp(tx, code)?;
    let mut errors = Vec::new();
    let mut ordered = Vec::with_capacity(input.lines.len());
    let mut seen = BTreeSet::new();
    if input.lines.is_empty() {
        errors.push(FieldError::new("/lines", "name at least one line"));
    }
    for (index, sent) in input.lines.iter().enumerate() {
        match lines.get(&sent.line_no) {
            None => errors.push(no_such_line(index, sent.line_no, code)),
            Some(_) if !seen.insert(sent.line_no) => errors.push(FieldError::new(
                format!("/lines/{index}/line_no"),
                format!("line {} is named twice", sent.line_no),
            )),
            Some(line) => ordered.push(line),
        }
    }
    if !errors.is_empty() {
        return Err(Error::Invalid(errors));
    }
    for line in &ordered {
        on_order(code, line)?;
    }
    let contents = ordered
        .iter()
        .map(|line| RowContent::parse(&line.content).map_err(|e| Error::internal(e.to_string())))
        .collect::<Result<Vec<_>, _>>()?;
    let readings = input.readings(&contents, tx.today);
    let facts = facts_locked(tx, &readings)?;
    let options = ImportOptions {
        confirm_repeated_freight: input.confirm_repeated_freight,
        spread_by: input.spread_by,
    };
    let plan = decide(&readings, &facts, options);
    check(&plan, &["received_on"])?;
    plan_write(tx, plan, &facts, &mut |_| {})?;
    order_get(tx.conn, &order.code)
}

fn on_order(code: &str, line: &LineRow) -> Result<(), Error> {
    match state_of(line)? {
        LineState::Ordered => Ok(()),
        state => Err(Error::refused(
            RefusalKind::WrongState,
            format!(
                "line {} of order \"{code}\" is {}, and only what is on order can be received or cancelled",
                line.line_no,
                state.as_str()
            ),
        )
        .with("line_no", line.line_no.as_str())),
    }
}

/// Cancels lines that are on order: they will not arrive.
///
/// # Errors
/// [`Error::NotFound`] without such an order; [`Error::Invalid`] for a line it has not; [`Error::Refused`] when a line
/// is not on order, or none is.
pub fn order_cancel(tx: &mut Tx<'_>, code: &str, input: &CancelIn) -> Result<OrderView, Error> {
    let (order, lines) = grasp(tx, code)?;
    let chosen: Vec<&LineRow> = match &input.lines {
        None => {
            let open = |line: &&LineRow| line.state == LineState::Ordered.as_str();
            lines.values().filter(open).collect()
        }
        Some(numbers) => numbers
            .iter()
            .enumerate()
            .map(|(index, line_no)| {
                lines.get(line_no).ok_or_else(|| {
                    let error = no_such_line(index, *line_no, code);
                    Error::invalid(format!("/lines/{index}"), error.detail)
                })
            })
            .collect::<Result<_, _>>()?,
    };
    if chosen.is_empty() {
        let detail = format!("nothing of order \"{code}\" is on order any more");
        return Err(Error::refused(RefusalKind::WrongState, detail));
    }
    for line in &chosen {
        on_order(code, line)?;
    }
    let ids: Vec<i64> = chosen.iter().map(|line| line.id).collect();
    store::lines_cancel(tx.conn, &ids)?;
    let items: Vec<i64> = chosen.iter().map(|line| line.item_id).collect();
    let materials = materials_of_items(tx.conn, &items)?;
    materials_mark(tx, &materials)?;
    order_get(tx.conn, &order.code)
}

/// One order.
///
/// # Errors
/// [`Error::NotFound`] when there is none of that number.
pub fn order_get(conn: &mut AnyConnection, code: &str) -> Result<OrderView, Error> {
    let row = order_row(conn, code)?;
    shown(conn, vec![row])?
        .pop()
        .ok_or_else(|| Error::not_found("order", code))
}

/// A page of the orders and one more, in the order they were entered.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn order_list(conn: &mut AnyConnection, page: Page) -> Result<Vec<OrderView>, Error> {
    let rows = store::orders_after(conn, page.after, page.limit + 1)?;
    shown(conn, rows)
}

/// The orders of which something is still to come, the oldest first.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn orders_expected(conn: &mut AnyConnection, limit: i64) -> Result<Vec<OrderView>, Error> {
    let rows = store::orders_expected(conn, limit)?;
    shown(conn, rows)
}

fn shown(conn: &mut AnyConnection, rows: Vec<OrderRow>) -> Result<Vec<OrderView>, Error> {
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let lines = store::lines_of_orders(conn, &ids)?;
    let line_ids: Vec<i64> = lines.iter().map(|line| line.id).collect();
    let mut lots: HashMap<i64, Vec<i64>> = HashMap::new();
    for (line, lot) in store::lots_of_lines(conn, &line_ids)? {
        lots.entry(line).or_default().push(lot);
    }
    let suppliers: Vec<i64> = rows.iter().map(|row| row.supplier_id).collect();
    let names = codes_by_ids(conn, &suppliers)?;
    let mut by_order: HashMap<i64, Vec<OrderLineView>> = HashMap::new();
    for line in &lines {
        let brought = lots.remove(&line.id).unwrap_or_default();
        by_order
            .entry(line.order_id)
            .or_default()
            .push(line_shown(line, brought)?);
    }
    let order = |row: OrderRow| {
        let mut lines = by_order.remove(&row.id).unwrap_or_default();
        lines.sort_by_key(|line| line.line_no);
        let supplier = names
            .get(&row.supplier_id)
            .map(|(code, _)| code.to_string());
        OrderView {
            id: row.id,
            order_no: row.code,
            supplier: supplier.unwrap_or_default(),
            ordered_on: row.ordered_on,
            state: state(&lines),
            lines,
            created_at: instant(row.created_at),
            created_by: row.created_by,
        }
    };
    Ok(rows.into_iter().map(order).collect())
}

fn state(lines: &[OrderLineView]) -> OrderState {
    let any = |state: LineState| lines.iter().any(|line| line.state == state);
    match (any(LineState::Ordered), any(LineState::Received)) {
        (true, false) => OrderState::Ordered,
        (true, true) => OrderState::PartlyReceived,
        (false, true) => OrderState::Received,
        (false, false) => OrderState::Cancelled,
    }
}

fn line_shown(line: &LineRow, lots: Vec<i64>) -> Result<OrderLineView, Error> {
    let content = RowContent::parse(&line.content).map_err(|e| Error::internal(e.to_string()))?;
    let text = |column: &str| content.get(column).to_owned();
    let some = |column: &str| Some(text(column)).filter(|value| !value.is_empty());
    Ok(OrderLineView {
        line_no: number(line)?,
        item: text("item"),
        state: state_of(line)?,
        packs: text("packs").parse().unwrap_or(0),
        pack_quantity: some("pack_quantity"),
        unit: some("unit"),
        line_price: text("line_price"),
        currency: text("currency"),
        freight: text("freight"),
        expected_on: line.expected_on,
        received_on: line.received_on,
        lot: some("lot"),
        landed_cost: line.received_on.map(|_| line.value),
        lots,
    })
}
