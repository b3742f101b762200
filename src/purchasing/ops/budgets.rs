//! Budgets: set, withdrawn, shown with what is left of them.
//!
//! Deliberately absent: the refusal of an order beyond its budget (whoever buys decides; the advice only keeps within it).

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::load::rate_on;
use crate::base::{Currency, Error, Money, RefusalKind};
use crate::db::{AnyConnection, Tx, instant};
use crate::http::Page;
use crate::purchasing::budget::{BudgetDays, Spending, Spent, faults, spent};
use crate::purchasing::identity::RowContent;
use crate::purchasing::store::{self, BudgetRow, SpendingRow};

/// A budget to be set.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BudgetIn {
    /// The first of its days; no day may lie in two budgets.
    pub first_day: NaiveDate,
    /// The last of its days.
    pub last_day: NaiveDate,
    /// What may be ordered in these days, in the base currency: 0 to 10^9.
    pub amount: Money,
}

/// A budget as it is shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct BudgetView {
    /// Its id.
    pub id: i64,
    /// The first of its days.
    pub first_day: NaiveDate,
    /// The last of its days.
    pub last_day: NaiveDate,
    /// The base currency.
    pub currency: Currency,
    /// What may be ordered in these days.
    pub amount: Money,
    /// What was: the landed cost of what has arrived with its later corrections, and what the rest was ordered for.
    pub spent: Money,
    /// What is left; below 0 when more was ordered.
    pub remaining: Money,
    /// Lines on order in a currency without a known rate: they are not in `spent`.
    pub lines_without_rate: u64,
    /// When it was set.
    pub recorded_at: DateTime<Utc>,
    /// Who set it.
    pub recorded_by: String,
    /// When it was withdrawn; null while it stands.
    pub withdrawn_at: Option<DateTime<Utc>>,
}

/// Sets a budget.
///
/// # Errors
/// [`Error::Invalid`] for days the wrong way round or those of another budget, or an amount out of range.
pub fn budget_set(tx: &mut Tx<'_>, input: &BudgetIn) -> Result<BudgetView, Error> {
    // Nobody else sets a budget of the same days meanwhile.
    store::orders_lock(tx.conn)?;
    let days = BudgetDays {
        first: input.first_day,
        last: input.last_day,
    };
    let standing: Vec<(i64, BudgetDays)> = store::budgets_from(tx.conn, days.first)?
        .iter()
        .map(|row| (row.id, row.days()))
        .collect();
    let found = faults(days, input.amount, &standing);
    if !found.is_empty() {
        return Err(Error::Invalid(found));
    }
    let at = tx.stored_now();
    let id = store::budget_insert(tx.conn, days, input.amount, (tx.actor, at))?;
    budget_get(tx.conn, id, tx.base_currency)
}

/// Withdraws a budget: it caps nothing from now on. It stays in the list.
///
/// # Errors
/// [`Error::NotFound`] without such a budget; [`Error::Refused`] when it is withdrawn already.
pub fn budget_withdraw(tx: &mut Tx<'_>, id: i64) -> Result<(), Error> {
    let row =
        store::budget_fetch(tx.conn, id)?.ok_or_else(|| Error::not_found("purchase budget", id))?;
    if row.withdrawn_at.is_some() {
        let detail = format!("budget {id} is withdrawn already");
        return Err(Error::refused(RefusalKind::WrongState, detail));
    }
    let at = tx.stored_now();
    store::budget_withdraw(tx.conn, id, at)
}

/// One budget.
///
/// # Errors
/// [`Error::NotFound`] without such a budget.
pub fn budget_get(conn: &mut AnyConnection, id: i64, base: Currency) -> Result<BudgetView, Error> {
    let row =
        store::budget_fetch(conn, id)?.ok_or_else(|| Error::not_found("purchase budget", id))?;
    shown(conn, row, base)
}

/// A page of budgets, oldest first, and one more when there are more.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn budget_list(
    conn: &mut AnyConnection,
    page: Page,
    base: Currency,
) -> Result<Vec<BudgetView>, Error> {
    store::budgets_page(conn, page.after, page.limit + 1)?
        .into_iter()
        .map(|row| shown(conn, row, base))
        .collect()
}

/// What is left, on a day, of the budget of that day: 0 when more was ordered, none when there is no budget.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn budget_left(
    conn: &mut AnyConnection,
    day: NaiveDate,
    base: Currency,
) -> Result<Option<Money>, Error> {
    let standing = store::budgets_from(conn, day)?;
    let Some(row) = standing.into_iter().find(|row| row.first_day <= day) else {
        return Ok(None);
    };
    let view = shown(conn, row, base)?;
    Ok(Some(view.remaining.max(Money::ZERO)))
}

fn shown(conn: &mut AnyConnection, row: BudgetRow, base: Currency) -> Result<BudgetView, Error> {
    let spent = spent_in(conn, row.days(), base)?;
    Ok(BudgetView {
        id: row.id,
        first_day: row.first_day,
        last_day: row.last_day,
        currency: base,
        amount: row.amount,
        spent: spent.amount,
        remaining: Money::from_micro(row.amount.micro().saturating_sub(spent.amount.micro())),
        lines_without_rate: spent.lines_without_rate,
        recorded_at: instant(row.recorded_at),
        recorded_by: row.actor,
        withdrawn_at: row.withdrawn_at.map(instant),
    })
}

fn spent_in(conn: &mut AnyConnection, days: BudgetDays, base: Currency) -> Result<Spent, Error> {
    let rows = store::lines_ordered_in(conn, days)?;
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let corrected = store::lines_corrected_by(conn, &ids)?;
    let mut lines = Vec::with_capacity(rows.len());
    for row in &rows {
        lines.push(match (spending(conn, row, base)?, corrected.get(&row.id)) {
            // A credit frees the budget again, a surcharge uses it.
            (Spending::Landed(value), Some(by_micro)) => {
                Spending::Landed(Money::from_micro(value.micro().saturating_add(*by_micro)))
            }
            (line, _) => line,
        });
    }
    Ok(spent(&lines, base))
}

fn spending(
    conn: &mut AnyConnection,
    row: &SpendingRow,
    base: Currency,
) -> Result<Spending, Error> {
    if row.state == "received" {
        return Ok(Spending::Landed(row.landed));
    }
    let unreadable = |what: String| {
        Error::internal(format!(
            "line {} of order {}: {what}",
            row.line_no, row.order
        ))
    };
    let content = RowContent::parse(&row.content).map_err(|e| unreadable(e.to_string()))?;
    let mut spending = Spending::ordered(&content).map_err(unreadable)?;
    if let Spending::Ordered { currency, rate, .. } = &mut spending
        && rate.is_none()
        && *currency != base
    {
        *rate = rate_on(conn, *currency, row.ordered_on)?;
    }
    Ok(spending)
}
