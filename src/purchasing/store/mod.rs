//! The purchasing room's statements: the only user of diesel in this room.
//!
//! Invariant: what grows with a file is read and written in lists, never row by row. Deliberately absent: lots (the
//! stock room receives them).

mod budgets;
mod drafts;
mod imports;
mod orders;
mod rates;

pub(super) use budgets::{
    BudgetRow, SpendingRow, budget_fetch, budget_insert, budget_withdraw, budgets_from,
    budgets_page, lines_corrected_by, lines_ordered_in,
};
pub(super) use drafts::{
    DraftRow, DraftSettings, draft_fetch, draft_file, draft_insert, draft_remove, draft_restate,
    draft_settle, draft_waiting, drafts_forget, drafts_waiting,
};
pub(super) use imports::{
    ImportRow, import_by_file, import_fetch, import_insert, import_keep, imports_after,
    imports_latest,
};
pub(super) use orders::{
    LineRow, NewLine, OrderRow, line_receive, lines_cancel, lines_insert, lines_of_orders,
    lots_of_lines, order_by_code, orders_after, orders_by_codes, orders_expected, orders_insert,
    orders_lock, period_closed_through,
};
pub(super) use rates::{
    RateRow, rate_fetch, rate_put, rates_after, rates_between, rates_lock, rates_put,
};
