//! The address at which the process tells what it counts.

use actix_web::web::Data;
use actix_web::{HttpResponse, get};
use utoipa_actix_web::service_config::ServiceConfig;

use super::gauges::{Gauges, waiting};
use crate::base::Error;
use crate::http::metrics::{METRICS_FORMAT, Metrics};
use crate::http::{Answer, Problem, Service};

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(metrics);
}

/// What this process counts since its start, in the text format of Prometheus: requests, their duration, database
/// connections, webhooks and, where rates are fetched, how that goes. Each process of several on one database counts its own;
/// what stands in the database itself (warnings, what waits to be delivered) is told by each.
#[utoipa::path(
    tag = "operation",
    responses((status = 200, description = "The metrics, one a line", body = String, content_type = "text/plain; version=0.0.4"))
)]
#[get("/metrics")]
async fn metrics(service: Data<Service>) -> Answer {
    let metrics = service
        .part::<Metrics>()
        .ok_or_else(|| Problem::from(Error::internal("this service counts nothing")))?;
    if let Some(gauges) = service.part::<Gauges>() {
        gauges.set(service.read(waiting).await.ok().as_ref());
    }
    let text = metrics.text(service.db())?;
    Ok(HttpResponse::Ok().content_type(METRICS_FORMAT).body(text))
}
