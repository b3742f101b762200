//! Budgets of purchases, and the order lines that use them.

use std::collections::HashMap;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;

use crate::base::{Error, Money};
use crate::db::AnyConnection;
use crate::db::schema::{lots, order_lines, orders, price_corrections, purchase_budgets};
use crate::purchasing::budget::BudgetDays;

/// A budget as it is kept.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = purchase_budgets)]
pub(in crate::purchasing) struct BudgetRow {
    pub(in crate::purchasing) id: i64,
    pub(in crate::purchasing) first_day: NaiveDate,
    pub(in crate::purchasing) last_day: NaiveDate,
    #[diesel(column_name = amount_micro)]
    pub(in crate::purchasing) amount: Money,
    pub(in crate::purchasing) actor: String,
    pub(in crate::purchasing) recorded_at: NaiveDateTime,
    pub(in crate::purchasing) withdrawn_at: Option<NaiveDateTime>,
}

impl BudgetRow {
    /// Its days.
    pub(in crate::purchasing) fn days(&self) -> BudgetDays {
        BudgetDays {
            first: self.first_day,
            last: self.last_day,
        }
    }
}

/// Keeps a budget; returns its id.
pub(in crate::purchasing) fn budget_insert(
    conn: &mut AnyConnection,
    days: BudgetDays,
    amount: Money,
    (actor, now): (&str, NaiveDateTime),
) -> Result<i64, Error> {
    Ok(diesel::insert_into(purchase_budgets::table)
        .values((
            purchase_budgets::first_day.eq(days.first),
            purchase_budgets::last_day.eq(days.last),
            purchase_budgets::amount_micro.eq(amount),
            purchase_budgets::actor.eq(actor),
            purchase_budgets::recorded_at.eq(now),
        ))
        .returning(purchase_budgets::id)
        .get_result(conn)?)
}

/// Withdraws a budget.
pub(in crate::purchasing) fn budget_withdraw(
    conn: &mut AnyConnection,
    id: i64,
    now: NaiveDateTime,
) -> Result<(), Error> {
    diesel::update(purchase_budgets::table.find(id))
        .set(purchase_budgets::withdrawn_at.eq(Some(now)))
        .execute(conn)?;
    Ok(())
}

pub(in crate::purchasing) fn budget_fetch(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<BudgetRow>, Error> {
    Ok(purchase_budgets::table
        .find(id)
        .select(BudgetRow::as_select())
        .first(conn)
        .optional()?)
}

/// The budgets that stand and whose last day is a day or later.
pub(in crate::purchasing) fn budgets_from(
    conn: &mut AnyConnection,
    day: NaiveDate,
) -> Result<Vec<BudgetRow>, Error> {
    Ok(purchase_budgets::table
        .filter(purchase_budgets::withdrawn_at.is_null())
        .filter(purchase_budgets::last_day.ge(day))
        .order(purchase_budgets::first_day)
        .select(BudgetRow::as_select())
        .load(conn)?)
}

/// A page of budgets by their ids, the withdrawn ones too.
pub(in crate::purchasing) fn budgets_page(
    conn: &mut AnyConnection,
    after: i64,
    limit: i64,
) -> Result<Vec<BudgetRow>, Error> {
    Ok(purchase_budgets::table
        .filter(purchase_budgets::id.gt(after))
        .order(purchase_budgets::id)
        .limit(limit)
        .select(BudgetRow::as_select())
        .load(conn)?)
}

/// What corrections of prices changed each line by, over all its lots.
pub(in crate::purchasing) fn lines_corrected_by(
    conn: &mut AnyConnection,
    line_ids: &[i64],
) -> Result<HashMap<i64, i64>, Error> {
    let of_lines: Vec<(Option<i64>, i64)> = price_corrections::table
        .filter(price_corrections::order_line_id.eq_any(line_ids))
        .select((
            price_corrections::order_line_id,
            price_corrections::value_micro,
        ))
        .load(conn)?;
    let of_lots: Vec<(Option<i64>, i64)> = price_corrections::table
        .inner_join(lots::table)
        .filter(lots::order_line_id.eq_any(line_ids))
        .select((lots::order_line_id, price_corrections::value_micro))
        .load(conn)?;
    let mut found: HashMap<i64, i64> = HashMap::new();
    for (line, value_micro) in of_lines.into_iter().chain(of_lots) {
        let Some(line) = line else { continue };
        let sum = found.entry(line).or_default();
        *sum = sum.saturating_add(value_micro);
    }
    Ok(found)
}

/// A line that uses a budget.
#[derive(Debug, Clone, Queryable)]
pub(in crate::purchasing) struct SpendingRow {
    pub(in crate::purchasing) id: i64,
    pub(in crate::purchasing) order: String,
    pub(in crate::purchasing) line_no: String,
    pub(in crate::purchasing) ordered_on: NaiveDate,
    pub(in crate::purchasing) state: String,
    pub(in crate::purchasing) landed: Money,
    pub(in crate::purchasing) content: String,
}

/// The lines of the orders that were placed in some days, without the cancelled ones.
pub(in crate::purchasing) fn lines_ordered_in(
    conn: &mut AnyConnection,
    days: BudgetDays,
) -> Result<Vec<SpendingRow>, Error> {
    Ok(order_lines::table
        .inner_join(orders::table)
        .filter(orders::ordered_on.between(days.first, days.last))
        .filter(order_lines::state.ne("cancelled"))
        .order(order_lines::id)
        .select((
            order_lines::id,
            orders::code,
            order_lines::line_no,
            orders::ordered_on,
            order_lines::state,
            order_lines::value_micro,
            order_lines::content,
        ))
        .load(conn)?)
}
