//! Verification over HTTP.

use actix_web::get;
use actix_web::web::Data;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::http::{Answer, Reply, Service};
use crate::stock::verify::{Verified, verify};

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(books_verify);
}

/// Proves the invariants of the stock from the books themselves.
///
/// Reads every movement on one snapshot; `ok` says whether nothing is broken.
#[utoipa::path(
    tag = "stock",
    responses((status = 200, description = "What was read, and everything that is broken", body = Verified))
)]
#[get("/v1/verify")]
async fn books_verify(service: Data<Service>) -> Answer {
    let found = service.read(verify).await?;
    Ok(Reply::ok(&found)?.into_response())
}
