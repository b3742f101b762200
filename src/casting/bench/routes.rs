//! The door of the bench sheet.

use actix_web::web::{Data, Path};
use actix_web::{HttpResponse, get};
use chrono::{DateTime, Utc};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::sheet::BenchSheet;
use super::show::{Clocked, sheet_show};
use crate::http::{Answer, Problem, ProblemBody, Query, Service};

/// Adds the operation.
pub(in crate::casting) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(bench_sheet_get);
}

/// What is known of when the work is done.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
struct SheetQuery {
    /// When the work begins (RFC 3339): the steps then carry clock times.
    start_at: Option<DateTime<Utc>>,
    /// When the mixing of a batch ended (RFC 3339): the clock times from there on, and when its pot life ends.
    mixed_at: Option<DateTime<Utc>>,
    /// The batch that was mixed then; the first unless said.
    #[param(minimum = 1)]
    batch: Option<i32>,
}

impl SheetQuery {
    fn clocked(self) -> Result<Clocked, Problem> {
        if self.batch.is_some() && self.mixed_at.is_none() {
            return Err(Problem::bad_query(
                "`batch` says which batch was mixed at `mixed_at`: give both, or leave it out",
            ));
        }
        if let (Some(start), Some(mixed)) = (self.start_at, self.mixed_at)
            && mixed < start
        {
            return Err(Problem::bad_query(&format!(
                "mixed_at {mixed} is before start_at {start}: the work begins before the first batch is mixed"
            )));
        }
        let batch = self.batch.unwrap_or(1);
        Ok(Clocked {
            start_at: self.start_at,
            mixed: self.mixed_at.map(|at| (batch, at)).into_iter().collect(),
        })
    }
}

/// Read the bench sheet of a cast: its steps in working order, with times, masses, lots and cautions.
///
/// A booked cast's steps name the packs that are promised to it now, after any re-picking, and say what is missing. A cast
/// that is poured keeps its sheet, with what was recorded beside it. A cancelled cast has none (409).
#[utoipa::path(
    tag = "casts",
    params(("code" = String, Path, description = "The cast's code"), SheetQuery),
    responses(
        (status = 200, description = "The sheet", body = BenchSheet),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "The cast was cancelled", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/casts/{code}/bench-sheet")]
async fn bench_sheet_get(
    service: Data<Service>,
    code: Path<String>,
    query: Query<SheetQuery>,
) -> Answer {
    let query = query.into_inner();
    let (batch, clocked) = (query.batch.unwrap_or(1), query.clocked()?);
    let house = service.house();
    let sheet = service
        .read(move |conn| sheet_show(conn, &code, &clocked, house))
        .await?;
    let absent = || {
        let detail = format!("batch {batch} is not one of the cast's batches");
        Problem::bad_query(&detail)
    };
    Ok(HttpResponse::Ok().json(sheet.ok_or_else(absent)?))
}
