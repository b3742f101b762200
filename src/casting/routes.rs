//! The casting room's doors: plans, casts and their steps, mix corrections.

use actix_web::web::{Data, Path};
use actix_web::{HttpResponse, get, patch, post};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::casting::life::book::{Booking, cast_book, cast_plan};
use crate::casting::life::charges_input::ChargesIn;
use crate::casting::life::demold::cast_demold;
use crate::casting::life::demold_input::DemoldIn;
use crate::casting::life::pour::cast_pour;
use crate::casting::life::pour_input::PourIn;
use crate::casting::life::recharge::cast_recharge;
use crate::casting::life::reschedule::cast_reschedule;
use crate::casting::life::undo::{UndoIn, cast_cancel, cast_undo};
use crate::casting::life::view::{CastView, cast_show, casts_list};
use crate::casting::planning::correct::mix_correct;
use crate::casting::planning::correction_view::{CorrectionIn, CorrectionOut};
use crate::casting::planning::request::PlanRequest;
use crate::casting::planning::what_if::PlanAnswer;
use crate::casting::variance::cast_cost;
use crate::casting::variance::view::CastCost;
use crate::catalogue::recipe_by_code;
use crate::http::{
    Answer, Body, IfMatch, List, MergePatch, NoBody, PageQuery, Problem, ProblemBody, Query, Reply,
    Service,
};

/// Adds the casting room's operations.
pub fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(cast_plans_post)
        .service(mix_corrections_post)
        .service(casts_post)
        .service(casts_get)
        .service(cast_get)
        .service(cast_patch)
        .service(cast_charges_post)
        .service(cast_cost_get)
        .service(cast_pour_post)
        .service(cast_demold_post)
        .service(cast_cancel_post)
        .service(cast_undo_post);
    super::treatment_routes::routes(cfg);
    super::bench::routes(cfg);
    super::trace::routes(cfg);
    super::course_routes::routes(cfg);
}

/// A change of what a cast was asked for.
type PlanPatch = MergePatch<PlanRequest>;

/// The query of the list of casts.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
struct CastsQuery {
    /// `booked`, `poured`, `demolded` or `cancelled`; all unless said.
    #[param(pattern = "^(booked|poured|demolded|cancelled)$")]
    state: Option<String>,
    /// Only casts of this recipe.
    recipe: Option<String>,
    /// Where the page begins: the `next` of the page before.
    #[param(pattern = "^[0-9]{1,18}$")]
    cursor: Option<String>,
    /// How many rows at most, 1 to 1000; 100 unless said.
    #[param(minimum = 1, maximum = 1000)]
    limit: Option<i64>,
}

/// The query of a plan.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
struct PlanQuery {
    /// Whether to plan it with every number of trays in a cup too, so that their costs can be compared; false unless said.
    what_if: Option<bool>,
}

/// Plan a cast: compute everything it needs, write nothing. A plan short of stock is still a plan.
#[utoipa::path(
    tag = "casts",
    request_body = PlanRequest,
    params(PlanQuery),
    responses(
        (status = 200, description = "The plan", body = PlanAnswer),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[post("/v1/cast-plans")]
async fn cast_plans_post(
    service: Data<Service>,
    query: Query<PlanQuery>,
    body: Body<PlanRequest>,
) -> Answer {
    let (request, _) = body.split();
    let (house, other_cups) = (service.house(), query.what_if.unwrap_or(false));
    let plan = service
        .read(move |conn| cast_plan(conn, &request, house, other_cups))
        .await?;
    Ok(HttpResponse::Ok().json(plan))
}

/// Correct a mix: from what was weighed, the smallest addition that restores the ratio, and whether cup and stock can take
/// it. Writes nothing.
#[utoipa::path(
    tag = "casts",
    request_body = CorrectionIn,
    responses(
        (status = 200, description = "The correction", body = CorrectionOut),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[post("/v1/mix-corrections")]
async fn mix_corrections_post(service: Data<Service>, body: Body<CorrectionIn>) -> Answer {
    let (input, _) = body.split();
    let today = service.today();
    let correction = service
        .read(move |conn| mix_correct(conn, &input, today))
        .await?;
    Ok(HttpResponse::Ok().json(correction))
}

/// Book a cast: plan it and promise it what was picked.
#[utoipa::path(
    tag = "casts",
    request_body = PlanRequest,
    responses(
        (status = 201, description = "The cast", body = CastView, headers(("Location" = String, description = "Its address"), ("ETag" = String, description = "Its version"))),
        (status = 409, description = "A shortage or a grant that does not pay, which says what is missing; or something it names is retired", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    params(("Idempotency-Key" = Option<String>, Header, description = "Repeats of the same request are answered from the books")),
    security(("bearer" = []))
)]
#[post("/v1/casts")]
async fn casts_post(service: Data<Service>, body: Body<PlanRequest>) -> Answer {
    let (input, request) = body.split();
    service
        .write(request, move |tx| match cast_book(tx, &input)? {
            Booking::Booked(cast) => Ok(Reply::created(format!("/v1/casts/{}", cast.code), &cast)?
                .with_version(cast.version)),
            Booking::Refused(error) => Reply::problem(error),
        })
        .await
}

/// List casts.
#[utoipa::path(
    tag = "casts",
    params(CastsQuery),
    responses(
        (status = 200, description = "A page of casts", body = List<CastView>),
        (status = 404, description = "There is no such recipe", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/casts")]
async fn casts_get(service: Data<Service>, query: Query<CastsQuery>) -> Answer {
    let CastsQuery {
        state,
        recipe,
        cursor,
        limit,
    } = query.into_inner();
    if let Some(word) = state
        .as_ref()
        .filter(|s| !matches!(s.as_str(), "booked" | "poured" | "demolded" | "cancelled"))
    {
        return Err(Problem::bad_query(&format!(
            "state `{word}` is not one of booked, poured, demolded, cancelled"
        )));
    }
    let page = PageQuery { cursor, limit }.page(service.limits())?;
    let currency = service.base_currency();
    let address = [("state", &state), ("recipe", &recipe)]
        .into_iter()
        .filter_map(|(name, value)| value.as_ref().map(|value| format!("{name}={value}")))
        .collect::<Vec<_>>()
        .join("&");
    let rows = service
        .read(move |conn| {
            let recipe_id = recipe
                .map(|code| recipe_by_code(conn, &code).map(|entry| entry.id))
                .transpose()?;
            casts_list(
                conn,
                (state.as_deref(), recipe_id),
                (page.after, page.limit + 1),
                currency,
            )
        })
        .await?;
    let path = if address.is_empty() {
        "/v1/casts".to_owned()
    } else {
        format!("/v1/casts?{address}")
    };
    List::from_rows(rows, page, |cast| cast.id).answer(&path)
}

/// Read a cast.
#[utoipa::path(
    tag = "casts",
    params(("code" = String, Path, description = "The cast's code")),
    responses(
        (status = 200, description = "The cast", body = CastView),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/casts/{code}")]
async fn cast_get(service: Data<Service>, code: Path<String>) -> Answer {
    let currency = service.base_currency();
    let cast = service
        .read(move |conn| cast_show(conn, &code, currency))
        .await?;
    Ok(Reply::ok(&cast)?.with_version(cast.version).into_response())
}

/// Reschedule a booked cast: change its day, its trays, who pays or what it allows, and plan it again.
///
/// A merge patch (RFC 7396) of what it was asked for, against the version named in `If-Match`. The catalogue counts as it is
/// now. When stock is short and `allow_short` is not set, the cast stays as it was.
#[utoipa::path(
    tag = "casts",
    params(
        ("code" = String, Path, description = "The cast's code"),
        ("If-Match" = String, Header, description = "The `ETag` that was read"),
    ),
    request_body(content = PlanPatch, content_type = "application/merge-patch+json"),
    responses(
        (status = 200, description = "The cast, planned again", body = CastView, headers(("ETag" = String, description = "Its version"))),
        (status = 409, description = "It is not booked, a grant does not pay for it, or there is not enough", body = ProblemBody, content_type = "application/problem+json"),
        (status = 412, description = "It has changed meanwhile", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
        (status = 428, description = "`If-Match` is missing", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[patch("/v1/casts/{code}")]
async fn cast_patch(
    service: Data<Service>,
    code: Path<String>,
    if_match: IfMatch,
    body: Body<PlanPatch>,
) -> Answer {
    let (patch, request) = body.split();
    service
        .write(request, move |tx| {
            answer(cast_reschedule(tx, &code, &patch, &if_match)?)
        })
        .await
}

/// Change who is charged for a cast: before the pour or after it, as long as its days are not in a closed period.
///
/// A booked cast is planned again, as if it were rescheduled. What a poured cast cost is split again by the new shares, each
/// component as at the pour; prices that were corrected since stay with whom they were posted to. The change is kept with
/// its reason.
#[utoipa::path(
    tag = "casts",
    request_body = ChargesIn,
    params(
        ("code" = String, Path, description = "The cast's code"),
        ("If-Match" = String, Header, description = "The `ETag` that was read"),
        ("Idempotency-Key" = Option<String>, Header, description = "Repeats of the same request are answered from the books"),
    ),
    responses(
        (status = 200, description = "The cast, charged otherwise", body = CastView, headers(("ETag" = String, description = "Its version"))),
        (status = 409, description = "It is cancelled, its period is closed, a grant refuses it, or stock of another grant would be charged without leave", body = ProblemBody, content_type = "application/problem+json"),
        (status = 412, description = "It has changed meanwhile", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
        (status = 428, description = "`If-Match` is missing", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[post("/v1/casts/{code}/charges")]
async fn cast_charges_post(
    service: Data<Service>,
    code: Path<String>,
    if_match: IfMatch,
    body: Body<ChargesIn>,
) -> Answer {
    let (input, request) = body.split();
    service
        .write(request, move |tx| {
            answer(cast_recharge(tx, &code, &input, &if_match)?)
        })
        .await
}

/// Read the cost of a cast by component and per good chip, actual once poured, beside what was planned, what makes the
/// difference, and what its rejected chips cost.
#[utoipa::path(
    tag = "casts",
    params(("code" = String, Path, description = "The cast's code")),
    responses(
        (status = 200, description = "The cost", body = CastCost),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/casts/{code}/cost")]
async fn cast_cost_get(service: Data<Service>, code: Path<String>) -> Answer {
    let currency = service.base_currency();
    let cost = service
        .read(move |conn| cast_cost(conn, &code, currency))
        .await?;
    Ok(HttpResponse::Ok().json(cost))
}

/// Pour: what was really weighed leaves the stock, and the rest is given back.
#[utoipa::path(
    tag = "casts",
    request_body = PourIn,
    params(
        ("code" = String, Path, description = "The cast's code"),
        ("Idempotency-Key" = Option<String>, Header, description = "Repeats of the same request are answered from the books"),
    ),
    responses(
        (status = 200, description = "The cast, poured", body = CastView),
        (status = 409, description = "It is not booked, a period is closed, or a pack does not hold what was taken", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[post("/v1/casts/{code}/pour")]
async fn cast_pour_post(service: Data<Service>, code: Path<String>, body: Body<PourIn>) -> Answer {
    let (input, request) = body.split();
    service
        .write(request, move |tx| answer(cast_pour(tx, &code, &input)?))
        .await
}

/// Demould: count good and rejected chips.
#[utoipa::path(
    tag = "casts",
    request_body = DemoldIn,
    params(
        ("code" = String, Path, description = "The cast's code"),
        ("Idempotency-Key" = Option<String>, Header, description = "Repeats of the same request are answered from the books"),
    ),
    responses(
        (status = 200, description = "The cast, demoulded", body = CastView),
        (status = 409, description = "It is not poured, or a period is closed", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[post("/v1/casts/{code}/demold")]
async fn cast_demold_post(
    service: Data<Service>,
    code: Path<String>,
    body: Body<DemoldIn>,
) -> Answer {
    let (input, request) = body.split();
    service
        .write(request, move |tx| answer(cast_demold(tx, &code, &input)?))
        .await
}

/// Cancel a booked cast: what was promised to it is free again.
#[utoipa::path(
    tag = "casts",
    params(
        ("code" = String, Path, description = "The cast's code"),
        ("Idempotency-Key" = Option<String>, Header, description = "Repeats of the same request are answered from the books"),
    ),
    responses(
        (status = 200, description = "The cast, cancelled", body = CastView),
        (status = 409, description = "It is not booked", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[post("/v1/casts/{code}/cancel")]
async fn cast_cancel_post(service: Data<Service>, code: Path<String>, request: NoBody) -> Answer {
    service
        .write(request, move |tx| answer(cast_cancel(tx, &code)?))
        .await
}

/// Undo the last step of a cast, its demould or its pour, with all its movements and what it taught.
#[utoipa::path(
    tag = "casts",
    request_body = UndoIn,
    params(
        ("code" = String, Path, description = "The cast's code"),
        ("Idempotency-Key" = Option<String>, Header, description = "Repeats of the same request are answered from the books"),
    ),
    responses(
        (status = 200, description = "The cast, one step back", body = CastView),
        (status = 409, description = "It was neither poured nor demoulded, a period is closed, or later entries stand against it", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[post("/v1/casts/{code}/undo")]
async fn cast_undo_post(service: Data<Service>, code: Path<String>, body: Body<UndoIn>) -> Answer {
    let (input, request) = body.split();
    service
        .write(request, move |tx| answer(cast_undo(tx, &code, &input)?))
        .await
}

fn answer(cast: CastView) -> Result<Reply, crate::base::Error> {
    Ok(Reply::ok(&cast)?.with_version(cast.version))
}
