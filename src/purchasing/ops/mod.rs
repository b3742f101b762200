//! The room's operations: facts are loaded, decided on, and what was decided is written, in the caller's transaction.
//!
//! Deliberately absent: decisions (the pure files make them), and lots (the stock room receives them).

mod budgets;
mod exchange;
mod imports;
mod load;
mod orders;
mod rate_imports;

pub use budgets::{
    BudgetIn, BudgetView, budget_get, budget_left, budget_list, budget_set, budget_withdraw,
};
pub(in crate::purchasing) use exchange::place;
pub use exchange::{ExchangeRate, rate_enter, rate_list};
pub use imports::{
    ImportDetail, ImportSettings, ImportSummary, Progress, import_commit, import_commit_watched,
    import_get, import_list, import_preview,
};
pub use load::rate_on;
pub use orders::{
    OrderLineView, OrderState, OrderView, order_cancel, order_get, order_list, order_place,
    order_receive,
};
pub use rate_imports::{RateImportSettings, rate_import_commit, rate_import_preview};
pub(in crate::purchasing) use rate_imports::{kept_load, row_of};
