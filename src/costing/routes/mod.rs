//! The costing room's doors.

mod answer;
mod periods;
mod price_corrections;
mod reports;

pub use answer::report_answer;
use utoipa_actix_web::service_config::ServiceConfig;

/// Adds the costing room's operations.
pub fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.configure(reports::routes)
        .configure(price_corrections::routes)
        .configure(periods::routes);
}
