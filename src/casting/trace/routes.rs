//! The doors of the trace, from a lot and from a cast.

use actix_web::web::{Data, Path};
use actix_web::{HttpResponse, get};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::show::{cast_trace_show, lot_trace_show};
use super::view::{CastTrace, LotTrace};
use crate::http::{Answer, ProblemBody, Query, Service};

/// Adds the operations.
pub(in crate::casting) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(lot_trace_get).service(cast_trace_get);
}

/// What of the lot is traced.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
struct TraceQuery {
    /// Only this pack of the lot, by its id.
    pack: Option<i64>,
}

/// Trace a lot forward: every cast it reached, with its chips, its rejects and who paid; what counts on it; what was lost.
///
/// A release agent reaches casts through the treatments whose coats they were poured on. What was taken back went nowhere.
#[utoipa::path(
    tag = "stock",
    params(("id" = i64, Path, description = "The lot's id"), TraceQuery),
    responses(
        (status = 200, description = "Where it went", body = LotTrace),
        (status = 404, description = "There is no such lot, or the pack is not one of its packs", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/lots/{id}/trace")]
async fn lot_trace_get(service: Data<Service>, id: Path<i64>, query: Query<TraceQuery>) -> Answer {
    let pack_id = query.into_inner().pack;
    let trace = service
        .read(move |conn| lot_trace_show(conn, *id, pack_id))
        .await?;
    Ok(HttpResponse::Ok().json(trace))
}

/// Trace a cast back: every lot and pack that went into it, the coats its moulds stood on, and where each came from.
///
/// Before the pour these are the packs that it counts on now.
#[utoipa::path(
    tag = "casts",
    params(("code" = String, Path, description = "The cast's code")),
    responses(
        (status = 200, description = "What went into it", body = CastTrace),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/casts/{code}/trace")]
async fn cast_trace_get(service: Data<Service>, code: Path<String>) -> Answer {
    let trace = service
        .read(move |conn| cast_trace_show(conn, &code))
        .await?;
    Ok(HttpResponse::Ok().json(trace))
}
