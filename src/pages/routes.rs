//! Adds every page to the service. A page is added here, and its door to the table of doors.

use actix_web::error::{QueryPayloadError, UrlencodedError};
use actix_web::web::{FormConfig, QueryConfig};
use actix_web::{Error, HttpRequest};
use utoipa_actix_web::service_config::ServiceConfig;

use super::refusal::Refused;
use super::{assets, bench_sheet, buy, cast, casts, cost, lot, receive, shelf, sign_in};
use crate::http::Problem;

fn form_fault(error: UrlencodedError, request: &HttpRequest) -> Error {
    let detail = format!("the form was not understood: {error}");
    Refused::new(request, Problem::malformed(detail)).into()
}

fn query_fault(error: QueryPayloadError, request: &HttpRequest) -> Error {
    let detail = format!("the address was not understood: {error}");
    Refused::new(request, Problem::bad_query(&detail)).into()
}

/// Adds the pages.
pub fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.map(|config| {
        config
            .app_data(FormConfig::default().error_handler(form_fault))
            .app_data(QueryConfig::default().error_handler(query_fault));
        assets::routes(config);
        sign_in::routes(config);
        shelf::routes(config);
        casts::routes(config);
        cast::routes(config);
        bench_sheet::routes(config);
        buy::routes(config);
        cost::routes(config);
        lot::routes(config);
        receive::routes(config);
        config
    });
}
