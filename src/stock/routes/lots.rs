//! Lots: listed, shown with their movements, held back and let go.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, get, post};
use chrono::{DateTime, NaiveDate, Utc};
use serde::Deserialize;
use utoipa::openapi::schema::{AnyOfBuilder, Schema};
use utoipa::openapi::{Ref, RefOr};
use utoipa::{IntoParams, PartialSchema, ToSchema};
use utoipa_actix_web::service_config::ServiceConfig;

use super::event;
use crate::catalogue::material_by_code;
use crate::http::{
    Answer, Body, List, NoBody, PageQuery, Problem, ProblemBody, Query, Reply, Service,
};
use crate::stock::as_of::{AsOf, LotThen, lot_then, lots_then};
use crate::stock::events::{HoldIn, lot_hold, lot_release};
use crate::stock::views::{LotState, LotView, MovementView, lot_show, lots_list, movements_list};

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(lot_list)
        .service(lot_get)
        .service(lot_movements)
        .service(lot_holding)
        .service(lot_releasing);
}

/// Which lots.
#[derive(Debug, Clone, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct LotsQuery {
    /// The code of a material; lots of every material unless said.
    material: Option<String>,
    /// How the lots stand today; in every state unless said. Not together with `as_of` or `known_at`.
    state: Option<LotState>,
}

/// Which moment.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ThenQuery {
    /// A day: what was there at its end, by the days at the bench.
    as_of: Option<NaiveDate>,
    /// An instant: only what had been recorded by then.
    known_at: Option<DateTime<Utc>>,
}

impl ThenQuery {
    fn moment(self) -> Option<AsOf> {
        (self.as_of.is_some() || self.known_at.is_some()).then_some(AsOf {
            day: self.as_of,
            known_at: self.known_at,
        })
    }
}

/// Lists lots, oldest first, spent ones too.
///
/// With `as_of` or `known_at` the answer is what was there then (`LotThen`): quantities and values, without promises and
/// states, of the lots that had movements by then.
#[utoipa::path(
    tag = "stock",
    params(PageQuery, LotsQuery, ThenQuery),
    responses(
        (status = 200, description = "A page of lots", body = inline(LotsShown)),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
        (status = 404, description = "There is no such material", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/lots")]
async fn lot_list(
    service: Data<Service>,
    page: Query<PageQuery>,
    query: Query<LotsQuery>,
    then: Query<ThenQuery>,
    request: HttpRequest,
) -> Answer {
    let page = page.page(service.limits())?;
    let (query, today) = (query.into_inner(), service.today());
    let Some(moment) = then.moment() else {
        let rows = service
            .read(move |conn| {
                let material = query.material.as_deref();
                let material = material.map(|code| material_by_code(conn, code));
                let id = material.transpose()?.map(|entry| entry.id);
                lots_list(conn, id, query.state, page, today)
            })
            .await?;
        return List::from_rows(rows, page, |lot| lot.id).answer_to(&request);
    };
    if query.state.is_some() {
        return Err(Problem::bad_query(
            "`state` is how lots stand today: leave it out with `as_of` or `known_at`",
        ));
    }
    let rows = service
        .read(move |conn| {
            let material = query.material.as_deref();
            let material = material.map(|code| material_by_code(conn, code));
            let id = material.transpose()?.map(|entry| entry.id);
            lots_then(conn, id, page, moment)
        })
        .await?;
    List::from_rows(rows, page, |lot| lot.id).answer_to(&request)
}

/// Shows a lot with its packs.
///
/// With `as_of` or `known_at` the answer is what was there then (`LotThen`), without an `ETag`.
#[utoipa::path(
    tag = "stock",
    params(("id" = i64, Path, description = "The lot's id"), ThenQuery),
    responses(
        (status = 200, description = "The lot", body = inline(LotShown), headers(("ETag" = String, description = "Its version"))),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
        (status = 404, description = "There is no such lot, or was none then", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/lots/{id}")]
async fn lot_get(service: Data<Service>, id: Path<i64>, then: Query<ThenQuery>) -> Answer {
    let today = service.today();
    if let Some(moment) = then.moment() {
        let lot = service
            .read(move |conn| lot_then(conn, *id, moment))
            .await?;
        return Ok(Reply::ok(&lot)?.into_response());
    }
    let lot = service.read(move |conn| lot_show(conn, *id, today)).await?;
    Ok(Reply::ok(&lot)?.with_version(lot.version).into_response())
}

/// A lot now or then, as it shows in the document. Whatever fits the former fits the latter too, which has fewer fields.
struct LotShown;

/// A page of lots now or then, as it shows in the document.
struct LotsShown;

impl PartialSchema for LotShown {
    fn schema() -> RefOr<Schema> {
        let either = AnyOfBuilder::new();
        either
            .item(Ref::from_schema_name("LotView"))
            .item(Ref::from_schema_name("LotThen"))
            .into()
    }
}

impl ToSchema for LotShown {
    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        schemas.push(("LotView".to_owned(), LotView::schema()));
        schemas.push(("LotThen".to_owned(), LotThen::schema()));
        LotView::schemas(schemas);
        LotThen::schemas(schemas);
    }
}

impl PartialSchema for LotsShown {
    fn schema() -> RefOr<Schema> {
        let either = AnyOfBuilder::new();
        either
            .item(List::<LotView>::schema())
            .item(List::<LotThen>::schema())
            .into()
    }
}

impl ToSchema for LotsShown {
    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        LotShown::schemas(schemas);
    }
}

/// Lists a lot's movements in the order in which they were recorded.
#[utoipa::path(
    tag = "stock",
    params(("id" = i64, Path, description = "The lot's id"), PageQuery),
    responses(
        (status = 200, description = "A page of movements", body = List<MovementView>),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
        (status = 404, description = "There is no such lot", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/lots/{id}/movements")]
async fn lot_movements(
    service: Data<Service>,
    id: Path<i64>,
    page: Query<PageQuery>,
    request: HttpRequest,
) -> Answer {
    let page = page.page(service.limits())?;
    let rows = service
        .read(move |conn| movements_list(conn, *id, page))
        .await?;
    List::from_rows(rows, page, |movement| movement.seq).answer_to(&request)
}

/// Holds a whole lot back: nothing is promised from it, and what was is promised from others.
#[utoipa::path(
    tag = "stock",
    params(
        ("id" = i64, Path, description = "The lot's id"),
        ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books"),
    ),
    request_body = HoldIn,
    responses(
        (status = 200, description = "The lot as it is now", body = LotView, headers(("ETag" = String, description = "Its version"))),
        (status = 404, description = "There is no such lot", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "The lot is spent", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/lots/{id}/hold")]
async fn lot_holding(service: Data<Service>, id: Path<i64>, body: Body<HoldIn>) -> Answer {
    let (input, request) = body.split();
    event(&service, request, move |tx| {
        lot_hold(tx, *id, &input).map(|()| *id)
    })
    .await
}

/// Lets every held pack of a lot go.
#[utoipa::path(
    tag = "stock",
    params(
        ("id" = i64, Path, description = "The lot's id"),
        ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books"),
    ),
    responses(
        (status = 200, description = "The lot as it is now", body = LotView, headers(("ETag" = String, description = "Its version"))),
        (status = 404, description = "There is no such lot", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "No pack of it is held", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/lots/{id}/release")]
async fn lot_releasing(service: Data<Service>, id: Path<i64>, request: NoBody) -> Answer {
    event(&service, request, move |tx| {
        lot_release(tx, *id).map(|()| *id)
    })
    .await
}
