//! Adds every page to the service. A page is added here, and its door to the table of doors.

use utoipa_actix_web::service_config::ServiceConfig;

use super::{assets, buy, lot, shelf, sign_in};

/// Adds the pages.
pub fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.map(|config| {
        assets::routes(config);
        sign_in::routes(config);
        shelf::routes(config);
        buy::routes(config);
        lot::routes(config);
        config
    });
}
