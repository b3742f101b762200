//! Whether the service lives and whether it can work: two open operations for whoever watches it.

use actix_web::web::Data;
use actix_web::{HttpResponse, get};
use serde::Serialize;
use utoipa::ToSchema;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::base::Error;
use crate::db::installation_fetch;
use crate::http::{Answer, Problem, ProblemBody, Service};

/// That all is well.
#[derive(Debug, Serialize, ToSchema)]
struct Health {
    /// Always `ok`: anything else is a problem document.
    #[schema(example = "ok")]
    status: &'static str,
}

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(healthz).service(readyz);
}

fn well() -> HttpResponse {
    HttpResponse::Ok().json(Health { status: "ok" })
}

/// Whether the process lives. It asks nothing of the database.
#[utoipa::path(
    tag = "operation",
    responses((status = 200, description = "The process lives", body = Health))
)]
#[get("/healthz")]
async fn healthz() -> HttpResponse {
    well()
}

/// Whether requests can be served: the database answers and is this program's.
#[utoipa::path(
    tag = "operation",
    responses(
        (status = 200, description = "The database answers", body = Health),
        (status = 503, description = "The database does not answer", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/readyz")]
async fn readyz(service: Data<Service>) -> Answer {
    let standing = service
        .read(installation_fetch)
        .await
        .map_err(|problem| not_ready(problem.to_string()))?;
    match standing {
        Some(_) => Ok(well()),
        None => Err(not_ready("the installation's row is missing".to_owned())),
    }
}

/// Whatever is wrong with the database, the answer to this question is that the service is not available.
fn not_ready(detail: String) -> Problem {
    Problem::from(Error::Unavailable { detail })
}
