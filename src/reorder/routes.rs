//! The reorder room's doors: the advice, and the warnings. Whoever reads brings them up to date first.

use actix_web::web::{Data, Path, block};
use actix_web::{HttpRequest, HttpResponse, get};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};
use utoipa_actix_web::service_config::ServiceConfig;

use super::ops::{forecast_settings, refresh, reorder_show};
use super::store;
use super::view::{ReorderDetail, ReorderView};
use crate::base::{Error, kept_read};
use crate::db::AnyConnection;
use crate::http::{Answer, List, Page, PageQuery, Problem, ProblemBody, Query, Service};
use crate::stock::warnings::{Warning, warnings_list};

/// Adds the reorder room's operations.
pub fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(reorder_list_get)
        .service(reorder_get)
        .service(warnings_get);
}

/// Brings the advice up to date. A database that cannot be written keeps nobody from reading: each row says of which day
/// it is.
///
/// # Errors
/// As [`refresh`], but for a database that cannot be written.
pub async fn refreshed(service: &Service) -> Result<(), Problem> {
    let service = service.clone();
    let outcome = block(move || refresh(&service))
        .await
        .map_err(|_| Error::internal("the refresh ended before it answered"))?;
    match outcome {
        Err(error @ (Error::ReadOnly { .. } | Error::StorageFull { .. })) => {
            tracing::warn!(%error, "the advice is shown as it was");
            Ok(())
        }
        other => Ok(other?),
    }
}

/// A row of advice as it was kept.
#[derive(Serialize)]
struct Kept {
    #[serde(skip)]
    item_id: i64,
    #[serde(flatten)]
    body: Value,
}

fn kept_list(conn: &mut AnyConnection, page: Page) -> Result<Vec<Kept>, Error> {
    store::advice_page(conn, page.after, page.limit + 1)?
        .into_iter()
        .map(|(item_id, body)| {
            let body = kept_read(&body).map_err(Error::internal)?;
            Ok(Kept { item_id, body })
        })
        .collect()
}

/// List the advice on every material and kit in use: when it runs out, by when to order, and how much.
#[utoipa::path(
    tag = "reorder",
    params(PageQuery),
    responses(
        (status = 200, description = "A page of advice", body = List<ReorderView>),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/reorder")]
async fn reorder_list_get(
    service: Data<Service>,
    query: Query<PageQuery>,
    request: HttpRequest,
) -> Answer {
    let page = query.page(service.limits())?;
    refreshed(&service).await?;
    let rows = service.read(move |conn| kept_list(conn, page)).await?;
    List::from_rows(rows, page, |kept| kept.item_id).answer_to(&request)
}

/// Read the advice on a material or kit with all that it rests on: the series, the method's inputs, the stock to come.
#[utoipa::path(
    tag = "reorder",
    params(("material" = String, Path, description = "The code of the material or kit")),
    responses(
        (status = 200, description = "The advice", body = ReorderDetail),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/reorder/{material}")]
async fn reorder_get(service: Data<Service>, material: Path<String>) -> Answer {
    refreshed(&service).await?;
    let day = (service.today(), service.base_currency());
    let forecast = forecast_settings(&service);
    let detail = service
        .read(move |conn| reorder_show(conn, &material, day, forecast))
        .await?;
    Ok(HttpResponse::Ok().json(detail))
}

/// Which warnings.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
enum Which {
    /// Those whose cause stands, acknowledged or not.
    Open,
    /// Those that cleared themselves too.
    #[default]
    All,
}

/// The query of the list of warnings.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct WarningsQuery {
    /// `open` for those whose cause stands; `all` unless said.
    #[param(inline)]
    #[serde(default)]
    state: Which,
}

/// List warnings: each was raised once, and clears itself when its cause is gone.
#[utoipa::path(
    tag = "warnings",
    params(PageQuery, WarningsQuery),
    responses(
        (status = 200, description = "A page of warnings", body = List<Warning>),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/warnings")]
async fn warnings_get(
    service: Data<Service>,
    page: Query<PageQuery>,
    query: Query<WarningsQuery>,
    request: HttpRequest,
) -> Answer {
    let page = page.page(service.limits())?;
    let open_only = query.state == Which::Open;
    refreshed(&service).await?;
    let rows = service
        .read(move |conn| warnings_list(conn, open_only, page))
        .await?;
    List::from_rows(rows, page, |warning| warning.id).answer_to(&request)
}
