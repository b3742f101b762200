//! The doors of release coats: treatments, the look at a coat, and taking a treatment back.

use actix_web::web::{Data, Path};
use actix_web::{get, post};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::casting::life::inspect::{InspectIn, Inspected, treatment_inspect};
use crate::casting::life::treat::{treatment_apply, treatment_undo};
use crate::casting::life::treatment_input::TreatmentIn;
use crate::casting::life::treatment_view::{TreatmentView, treatment_show, treatments_list};
use crate::casting::life::undo::UndoIn;
use crate::catalogue::mold_by_code;
use crate::http::{Answer, Body, List, PageQuery, ProblemBody, Query, Reply, Service};

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(treatments_post)
        .service(treatments_get)
        .service(treatment_get)
        .service(treatment_inspect_post)
        .service(treatment_undo_post);
}

/// Record a treatment: one load of moulds vapour-coated together. A treatment for a booked cast uses its promised vials.
#[utoipa::path(
    tag = "treatments",
    request_body = TreatmentIn,
    params(("Idempotency-Key" = Option<String>, Header, description = "Repeats of the same request are answered from the books")),
    responses(
        (status = 201, description = "The treatment", body = TreatmentView, headers(("Location" = String, description = "Its address"))),
        (status = 409, description = "A pack does not hold what was taken, a period is closed, or a cast is not booked", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[post("/v1/treatments")]
async fn treatments_post(service: Data<Service>, body: Body<TreatmentIn>) -> Answer {
    let (input, request) = body.split();
    service
        .write(request, move |tx| {
            let treatment = treatment_apply(tx, &input)?;
            Reply::created(format!("/v1/treatments/{}", treatment.id), &treatment)
        })
        .await
}

/// The query of the list of treatments.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
struct TreatmentsQuery {
    /// Only treatments of this mould.
    mold: Option<String>,
    /// Where the page begins: the `next` of the page before.
    #[param(pattern = "^[0-9]{1,18}$")]
    cursor: Option<String>,
    /// How many rows at most, 1 to 1000; 100 unless said.
    #[param(minimum = 1, maximum = 1000)]
    limit: Option<i64>,
}

/// List treatments with the state of their coats.
#[utoipa::path(
    tag = "treatments",
    params(TreatmentsQuery),
    responses(
        (status = 200, description = "A page of treatments", body = List<TreatmentView>),
        (status = 404, description = "There is no such mould", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/treatments")]
async fn treatments_get(service: Data<Service>, query: Query<TreatmentsQuery>) -> Answer {
    let TreatmentsQuery {
        mold,
        cursor,
        limit,
    } = query.into_inner();
    let page = PageQuery { cursor, limit }.page(service.limits())?;
    let path = mold.as_ref().map_or_else(
        || "/v1/treatments".to_owned(),
        |code| format!("/v1/treatments?mold={code}"),
    );
    let rows = service
        .read(move |conn| {
            let mold_id = mold
                .map(|code| mold_by_code(conn, &code).map(|entry| entry.id))
                .transpose()?;
            treatments_list(conn, mold_id, (page.after, page.limit + 1))
        })
        .await?;
    List::from_rows(rows, page, |treatment| treatment.id).answer(&path)
}

/// Read a treatment.
#[utoipa::path(
    tag = "treatments",
    params(("id" = i64, Path, description = "The treatment's id")),
    responses(
        (status = 200, description = "The treatment", body = TreatmentView),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/treatments/{id}")]
async fn treatment_get(service: Data<Service>, id: Path<i64>) -> Answer {
    let id = id.into_inner();
    let treatment = service.read(move |conn| treatment_show(conn, id)).await?;
    Ok(Reply::ok(&treatment)?.into_response())
}

/// Look at the coats of a treatment: seen, or to be coated again before the next cast.
#[utoipa::path(
    tag = "treatments",
    request_body = InspectIn,
    params(
        ("id" = i64, Path, description = "The treatment's id"),
        ("Idempotency-Key" = Option<String>, Header, description = "Repeats of the same request are answered from the books"),
    ),
    responses(
        (status = 200, description = "The treatment after the look", body = Inspected),
        (status = 409, description = "The coat has ended, or a period is closed", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[post("/v1/treatments/{id}/inspect")]
async fn treatment_inspect_post(
    service: Data<Service>,
    id: Path<i64>,
    body: Body<InspectIn>,
) -> Answer {
    let (input, request) = body.split();
    let id = id.into_inner();
    service
        .write(request, move |tx| {
            Reply::ok(&treatment_inspect(tx, id, &input)?)
        })
        .await
}

/// Take a treatment back that was recorded wrong, as long as nothing stands on it.
#[utoipa::path(
    tag = "treatments",
    request_body = UndoIn,
    params(
        ("id" = i64, Path, description = "The treatment's id"),
        ("Idempotency-Key" = Option<String>, Header, description = "Repeats of the same request are answered from the books"),
    ),
    responses(
        (status = 200, description = "The treatment, taken back", body = TreatmentView),
        (status = 409, description = "A cast was poured on it, it was taken back already, or a period is closed", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[post("/v1/treatments/{id}/undo")]
async fn treatment_undo_post(service: Data<Service>, id: Path<i64>, body: Body<UndoIn>) -> Answer {
    let (input, request) = body.split();
    let id = id.into_inner();
    service
        .write(request, move |tx| {
            Reply::ok(&treatment_undo(tx, id, &input)?)
        })
        .await
}
