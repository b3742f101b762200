//! The room's addresses: purchase files, orders, budgets, exchange rates.
//!
//! Deliberately absent: who may call what (the table of doors says).

mod budgets;
mod exchange;
mod imports;
mod orders;
mod rate_imports;

use utoipa_actix_web::service_config::ServiceConfig;

/// Adds the room's operations.
pub fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.configure(imports::routes)
        .configure(orders::routes)
        .configure(budgets::routes)
        .configure(exchange::routes)
        .configure(rate_imports::routes);
}
