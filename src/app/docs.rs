//! The API's document and a page to browse it, served from the binary: nothing is fetched from elsewhere.
//!
//! Invariant: every address on the page is relative, so that it also works behind a proxy that adds a path.

use std::sync::Arc;

use actix_web::http::header::{CONTENT_ENCODING, LOCATION};
use actix_web::web::{Bytes, Data, Path};
use actix_web::{HttpResponse, get, web};
use utoipa_actix_web::service_config::ServiceConfig;
use utoipa_swagger_ui::Config;

use super::openapi;
use crate::base::Error;
use crate::http::{Answer, Problem};

/// What is served at `/openapi.json` and under `/docs`: written once, at the start.
pub(super) struct Documentation {
    document: Bytes,
    browser: Arc<Config<'static>>,
}

impl Documentation {
    /// Writes the document.
    ///
    /// # Errors
    /// [`Error::Internal`] when it cannot be written as JSON.
    pub(super) fn new() -> Result<Self, Error> {
        let document = serde_json::to_vec(&openapi::document()).map_err(Error::internal)?;
        let browser = Config::new(["openapi.json"])
            .deep_linking(true)
            .display_request_duration(true)
            .try_it_out_enabled(true)
            // The browser would else ask a public service on the internet whether the document is valid.
            .validator_url("none");
        Ok(Self {
            document: document.into(),
            browser: Arc::new(browser),
        })
    }
}

const PAGE: &str = r#"<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>heeltap: the API</title>
<link rel="stylesheet" href="docs/swagger-ui.css">
<link rel="stylesheet" href="docs/index.css">
<link rel="icon" type="image/png" href="docs/favicon-32x32.png" sizes="32x32">
</head>
<body>
<div id="swagger-ui"></div>
<script src="docs/swagger-ui-bundle.js"></script>
<script src="docs/swagger-ui-standalone-preset.js"></script>
<script src="docs/swagger-initializer.js"></script>
</body>
</html>
"#;

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(openapi_json)
        .route("/docs", web::get().to(page))
        .route("/docs/", web::get().to(to_page))
        .route("/docs/{file}", web::get().to(asset));
}

/// This document.
#[utoipa::path(
    tag = "operation",
    responses((status = 200, description = "The OpenAPI 3.1 document of this service", body = Object))
)]
#[get("/openapi.json")]
async fn openapi_json(documentation: Data<Documentation>) -> HttpResponse {
    HttpResponse::Ok()
        .content_type("application/json")
        .body(documentation.document.clone())
}

/// What the browser of the API may load: this service's own, and the styles that it writes into its elements.
const CONTENT_POLICY: &str = "default-src 'none'; script-src 'self'; connect-src 'self'; style-src 'self' 'unsafe-inline'; \
    img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

async fn page() -> HttpResponse {
    HttpResponse::Ok()
        .insert_header(("content-security-policy", CONTENT_POLICY))
        .content_type("text/html; charset=utf-8")
        .body(PAGE)
}

/// With the slash, the page's relative addresses would not resolve.
async fn to_page() -> HttpResponse {
    HttpResponse::PermanentRedirect()
        .insert_header((LOCATION, "../docs"))
        .finish()
}

async fn asset(file: Path<String>, documentation: Data<Documentation>) -> Answer {
    let found = utoipa_swagger_ui::serve(&file, Arc::clone(&documentation.browser))
        .map_err(|e| Problem::from(Error::internal(e)))?
        .ok_or_else(|| Problem::from(Error::not_found("file", &*file)))?;
    let mut response = HttpResponse::Ok();
    if found.gzpipped {
        response.insert_header((CONTENT_ENCODING, "gzip"));
    }
    Ok(response
        .content_type(found.content_type)
        .body(found.bytes.into_owned()))
}
