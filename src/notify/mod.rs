//! The notify room: what happened is told to those who asked: by webhook, by mail, in a calendar.
//!
//! Invariants: what is told was written to the outbox in the transaction in which it happened; a delivery is claimed with a
//! lease and sent at least once, each time under the same message id; a receiver's trouble never keeps a request or another
//! receiver waiting; nothing is sent to anybody who was not configured. Deliberately absent: what is worth telling (the rooms
//! below decide).

pub mod calendar;
pub mod deliveries;
pub mod mail;
pub mod webhooks;
pub mod words;

use utoipa_actix_web::service_config::ServiceConfig;

/// Adds the notify room's operations.
pub fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.configure(calendar::routes)
        .configure(deliveries::routes)
        .configure(webhooks::routes);
}
