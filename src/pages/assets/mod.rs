//! What the pages load: embedded in the binary, with a tag by which a browser keeps it.

use actix_web::http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG, IF_NONE_MATCH};
use actix_web::web::{Path, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, get};
use sha2::{Digest, Sha256};

use crate::http::{Answer, Problem};

pub(super) fn routes(config: &mut ServiceConfig) {
    config.service(asset_get);
}

/// The files by name, with their types.
const FILES: [(&str, &str, &str); 3] = [
    (
        "heeltap.css",
        "text/css; charset=utf-8",
        include_str!("heeltap.css"),
    ),
    (
        "heeltap.js",
        "text/javascript; charset=utf-8",
        include_str!("heeltap.js"),
    ),
    ("heeltap.svg", "image/svg+xml", include_str!("heeltap.svg")),
];

#[get("/assets/{file}")]
async fn asset_get(request: HttpRequest, file: Path<String>) -> Answer {
    let known = FILES.iter().find(|(name, _, _)| *name == file.as_str());
    let (_, kind, text) = known.ok_or_else(|| Problem::no_such_route(request.path()))?;
    let tag = format!(
        "\"{}\"",
        hex::encode(&Sha256::digest(text.as_bytes())[..12])
    );
    let kept = request.headers().get(IF_NONE_MATCH);
    let same = kept.is_some_and(|kept| kept.as_bytes() == tag.as_bytes());
    let mut answer = match same {
        true => HttpResponse::NotModified(),
        false => HttpResponse::Ok(),
    };
    answer
        .insert_header((ETAG, tag))
        .insert_header((CACHE_CONTROL, "no-cache"))
        .insert_header((CONTENT_TYPE, *kind))
        .insert_header(("x-content-type-options", "nosniff"));
    Ok(match same {
        true => answer.finish(),
        false => answer.body(*text),
    })
}
