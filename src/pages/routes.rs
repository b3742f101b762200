//! Adds every page to the service. A page is added here, and its door to the table of doors.

use actix_web::error::QueryPayloadError;
use actix_web::web::QueryConfig;
use actix_web::{Error, HttpRequest};
use utoipa_actix_web::service_config::ServiceConfig;

use super::refusal::Refused;
use super::{
    assets, bench_sheet, buy, cast, casts, catalogue, cost, lot, plan, receive, shelf, sign_in,
    warnings,
};
use crate::http::Problem;

fn query_fault(error: QueryPayloadError, request: &HttpRequest) -> Error {
    let detail = format!("the address was not understood: {error}");
    Refused::new(request, Problem::bad_query(&detail)).into()
}

/// Adds the pages.
pub fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.map(|config| {
        config.app_data(QueryConfig::default().error_handler(query_fault));
        assets::routes(config);
        sign_in::routes(config);
        shelf::routes(config);
        casts::routes(config);
        // Before the cast of a code: no code is `plan`.
        plan::routes(config);
        cast::routes(config);
        bench_sheet::routes(config);
        buy::routes(config);
        cost::routes(config);
        lot::routes(config);
        catalogue::routes(config);
        receive::routes(config);
        warnings::routes(config);
        config
    });
}
