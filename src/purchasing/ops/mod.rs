//! The room's operations: facts are loaded, decided on, and what was decided is written, in the caller's transaction.
//!
//! Deliberately absent: decisions (the pure files make them), and lots (the stock room receives them).

mod budgets;
mod commits;
mod drafts;
mod exchange;
mod imports;
mod limits;
mod load;
mod orders;
mod rate_imports;

pub use budgets::{
    BudgetIn, BudgetView, budget_get, budget_left, budget_list, budget_set, budget_withdraw,
};
pub use commits::{Commits, Standing};
pub use drafts::{
    DRAFT_HOURS, DRAFTS_MAX, DraftView, Look, Settled, draft_commit, draft_forget, draft_get,
    draft_keep, draft_look, draft_restate, drafts_forget, drafts_waiting,
};
pub(in crate::purchasing) use exchange::place;
pub use exchange::{ExchangeRate, rate_enter, rate_list};
pub use imports::{
    ImportDetail, ImportSettings, ImportSummary, Progress, import_commit, import_commit_watched,
    import_get, import_list, import_preview, imports_latest,
};
pub use limits::csv_limits;
pub use load::rate_on;
pub use orders::{
    OrderLineView, OrderState, OrderView, line_take, order_cancel, order_get, order_list,
    order_place, order_receive, orders_expected,
};
pub use rate_imports::{RateImportSettings, rate_import_commit, rate_import_preview};
pub(in crate::purchasing) use rate_imports::{kept_load, row_of};
