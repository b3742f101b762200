//! The addresses of purchase imports: a file in, what became of each row out.
//!
//! Invariant: a query value that is not known is refused, since a misspelt `dry_run` would write. Deliberately absent:
//! who may call what (the table of doors says), and the orders' addresses.

use std::future::{Ready, ready};

use actix_web::dev::Payload;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::web::{Data, Path};
use actix_web::{FromRequest, HttpRequest, HttpResponse, get, post};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::http::{Answer, List, PageQuery, Problem, ProblemBody, Query, RawBody, Reply, Service};
use crate::purchasing::csv_file::{Delimiter, Encoding, FileFormat, Limits};
use crate::purchasing::import::ImportOptions;
use crate::purchasing::landed::SpreadBasis;
use crate::purchasing::number::DecimalMark;
use crate::purchasing::ops::{self, ImportDetail, ImportSettings, ImportSummary, csv_limits};
use crate::purchasing::report::ImportReport;

const CSV: &str = "text/csv";

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(import_create)
        .service(import_list)
        .service(import_show);
}

/// How a file is written and how it is to be taken.
#[derive(Debug, Clone, Copy, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields, default)]
struct ImportQuery {
    /// Whether to show only what would happen.
    dry_run: bool,
    /// What stands between two cells.
    #[param(inline)]
    delimiter: Delimiter,
    /// What stands before the decimals.
    #[param(inline)]
    decimal: DecimalMark,
    /// How the bytes stand for characters.
    #[param(inline)]
    encoding: Encoding,
    /// That the same freight on every row of an order is each row's own, and not the order's repeated.
    confirm_repeated_freight: bool,
    /// What freight, duty and fees of an order are spread over its lines by.
    #[param(inline)]
    spread_by: SpreadBasis,
}

impl ImportQuery {
    fn settings(self, limits: Limits) -> ImportSettings {
        ImportSettings {
            format: FileFormat {
                delimiter: self.delimiter,
                encoding: self.encoding,
                limits,
            },
            decimal: self.decimal,
            options: ImportOptions {
                confirm_repeated_freight: self.confirm_repeated_freight,
                spread_by: self.spread_by,
            },
        }
    }
}

/// That the body is CSV; looked at before the body is read.
pub(super) struct CsvBody;

impl FromRequest for CsvBody {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let header = request.headers().get(CONTENT_TYPE);
        let text = header.and_then(|v| v.to_str().ok()).unwrap_or_default();
        let kind = text.split(';').next().unwrap_or_default().trim();
        ready(if kind.eq_ignore_ascii_case(CSV) {
            Ok(Self)
        } else {
            Err(Problem::unsupported_media_type(kind, CSV))
        })
    }
}

/// Imports a purchase file, all of it or nothing.
///
/// Columns, in any order: order_no, line_no, supplier, ordered_on, received_on, item, lot, packs, pack_quantity, unit,
/// line_price, currency, freight, expires_on; and, where there is something to say, rate, duty, fees, tax,
/// tax_recoverable, kit_lot, funded_by. A blank received_on means on order; a later file with the day receives the line.
/// A line that is in the books makes nothing new. Nothing about the file is guessed: what is not said by a parameter has
/// its default.
#[utoipa::path(
    tag = "purchasing",
    params(ImportQuery, ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books")),
    request_body(content = String, content_type = "text/csv", description = "The file"),
    responses(
        (status = 200, description = "What would happen (`dry_run`), rows in error included; or nothing of the file was new", body = ImportReport),
        (status = 201, description = "It was imported", body = ImportReport, headers(("Location" = String, description = "The import's address"))),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
        (status = 413, description = "The file is too long", body = ProblemBody, content_type = "application/problem+json"),
        (status = 415, description = "The body is not text/csv", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "Nothing was written: `rows` has every row in error, and is empty when the file as a whole cannot be used", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/purchase-imports")]
async fn import_create(
    service: Data<Service>,
    _kind: CsvBody,
    body: RawBody,
    query: Query<ImportQuery>,
) -> Answer {
    let settings = query.settings(csv_limits(&service));
    let (bytes, request) = body.split();
    if query.dry_run {
        let circumstances = (service.today(), service.base_currency());
        let report = service
            .read(move |conn| ops::import_preview(conn, &bytes, &settings, circumstances))
            .await?;
        return Ok(HttpResponse::Ok().json(report));
    }
    service
        .write(request, move |tx| {
            let report = ops::import_commit(tx, &bytes, &settings)?;
            match report.id.filter(|_| report.brought_news()) {
                Some(id) => Reply::created(format!("/v1/purchase-imports/{id}"), &report),
                None => Reply::ok(&report),
            }
        })
        .await
}

/// Lists the imports that brought something, oldest first.
#[utoipa::path(
    tag = "purchasing",
    params(PageQuery),
    responses(
        (status = 200, description = "A page of imports", body = List<ImportSummary>),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/purchase-imports")]
async fn import_list(
    service: Data<Service>,
    query: Query<PageQuery>,
    request: HttpRequest,
) -> Answer {
    let page = query.page(service.limits())?;
    let rows = service
        .read(move |conn| ops::import_list(conn, page))
        .await?;
    List::from_rows(rows, page, |import| import.id).answer_to(&request)
}

/// Shows an import with what became of each row.
#[utoipa::path(
    tag = "purchasing",
    params(("id" = i64, Path, description = "The import's id")),
    responses(
        (status = 200, description = "The import", body = ImportDetail),
        (status = 404, description = "There is none", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/purchase-imports/{id}")]
async fn import_show(service: Data<Service>, id: Path<i64>) -> Answer {
    let import = service.read(move |conn| ops::import_get(conn, *id)).await?;
    Ok(HttpResponse::Ok().json(import))
}
