//! The routes of the calendar: its keys, for administrators, and the feed, for whoever has a key.
//!
//! Invariant: the feed is open in the table of doors and asks for its key itself, before anything is computed.

use actix_web::http::header::{CACHE_CONTROL, ETAG, EntityTag, Header, IfNoneMatch};
use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse, delete, get, post};
use chrono::DateTime;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::events::events;
use super::feed::feed_text;
use super::ops::{self, CalendarKeyIn, CalendarKeyMade, CalendarKeyOut};
use crate::http::tokens::hash;
use crate::http::{
    Answer, Body, List, NoBody, PageQuery, Problem, ProblemBody, Query, Reply, Service,
};
use crate::reorder::refreshed;

/// Adds the calendar's operations.
pub fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(calendar_key_create)
        .service(calendar_key_list)
        .service(calendar_key_get)
        .service(calendar_key_revoke)
        .service(calendar_get);
}

/// Makes a key for a calendar. The key opens the calendar and nothing else; it is in this answer and nowhere else.
#[utoipa::path(
    tag = "notify",
    request_body = CalendarKeyIn,
    params(("Idempotency-Key" = Option<String>, Header, description = "A repeat with the same key makes no second calendar key; its answer is without the secret")),
    responses(
        (status = 201, description = "The key, with its secret", body = CalendarKeyMade, headers(("Location" = String, description = "Its address"))),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/calendar-keys")]
async fn calendar_key_create(service: Data<Service>, body: Body<CalendarKeyIn>) -> Answer {
    let (input, request) = body.split();
    service
        .write(request, move |tx| {
            let made = ops::key_create(tx, &input)?;
            Reply::created(format!("/v1/calendar-keys/{}", made.id), &made)?
                .kept_as(&made.without_secret())
        })
        .await
}

/// Lists the calendar's keys, without their secrets; those revoked too.
#[utoipa::path(
    tag = "notify",
    params(PageQuery),
    responses(
        (status = 200, description = "A page of keys", body = List<CalendarKeyOut>),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/calendar-keys")]
async fn calendar_key_list(
    service: Data<Service>,
    query: Query<PageQuery>,
    request: HttpRequest,
) -> Answer {
    let page = query.page(service.limits())?;
    let rows = service.read(move |conn| ops::key_list(conn, page)).await?;
    List::from_rows(rows, page, |key| key.id).answer_to(&request)
}

/// Shows a key, without its secret.
#[utoipa::path(
    tag = "notify",
    params(("id" = i64, Path, description = "The key's id")),
    responses(
        (status = 200, description = "The key", body = CalendarKeyOut),
        (status = 404, description = "There is no such key", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/calendar-keys/{id}")]
async fn calendar_key_get(service: Data<Service>, id: Path<i64>) -> Answer {
    let key = service.read(move |conn| ops::key_get(conn, *id)).await?;
    Ok(HttpResponse::Ok().json(key))
}

/// Revokes a key: it opens nothing from now on.
#[utoipa::path(
    tag = "notify",
    params(("id" = i64, Path, description = "The key's id")),
    responses(
        (status = 204, description = "It is revoked"),
        (status = 404, description = "There is no such key", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[delete("/v1/calendar-keys/{id}")]
async fn calendar_key_revoke(service: Data<Service>, id: Path<i64>, request: NoBody) -> Answer {
    service
        .write(request, move |tx| {
            ops::key_revoke(tx, *id)?;
            Ok(Reply::nothing())
        })
        .await
}

/// The query of the calendar.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct CalendarQuery {
    /// A key, as `POST /v1/calendar-keys` gave it.
    #[param(required = true)]
    key: Option<String>,
}

/// The calendar, for a program to subscribe to: a day for each last day to order, each last good day of what is in stock and
/// each booked cast, from 30 days back on. It needs a key and no token.
#[utoipa::path(
    tag = "notify",
    params(
        CalendarQuery,
        ("If-None-Match" = Option<String>, Header, description = "The `ETag` of what the program has"),
    ),
    responses(
        (status = 200, description = "The calendar (RFC 5545)", body = String, content_type = "text/calendar; charset=utf-8",
            headers(("ETag" = String, description = "Weak; the same until an event changes"))),
        (status = 304, description = "Nothing has changed"),
        (status = 401, description = "No key, or none that is valid", body = ProblemBody, content_type = "application/problem+json"),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/calendar.ics")]
async fn calendar_get(
    service: Data<Service>,
    query: Query<CalendarQuery>,
    request: HttpRequest,
) -> Answer {
    let key = query.into_inner().key.unwrap_or_default();
    if !service.read(move |conn| ops::key_opens(conn, &key)).await? {
        return Err(Problem::unauthenticated_because(
            "send a valid calendar key in the query, as `?key=…`: `POST /v1/calendar-keys` makes one",
        ));
    }
    refreshed(&service).await?;
    let (today, currency, now) = (service.today(), service.base_currency(), service.now());
    let facts = service
        .read(move |conn| ops::calendar_facts(conn, today, currency))
        .await?;
    let events = events(&facts, today);
    // The stamp of the events is the moment they were read, so that it must not count.
    let tag = EntityTag::new_weak(hash(&feed_text(&events, DateTime::UNIX_EPOCH)));
    let same = match IfNoneMatch::parse(&request) {
        Ok(IfNoneMatch::Any) => true,
        Ok(IfNoneMatch::Items(tags)) => tags.iter().any(|known| known.weak_eq(&tag)),
        Err(_) => false,
    };
    let mut response = match same {
        true => HttpResponse::NotModified(),
        false => HttpResponse::Ok(),
    };
    // The address has a secret in it: no cache on the way may keep what it opens.
    response
        .insert_header((ETAG, tag.to_string()))
        .insert_header((CACHE_CONTROL, "private, no-cache"));
    Ok(match same {
        true => response.finish(),
        false => response
            .content_type("text/calendar; charset=utf-8")
            .body(feed_text(&events, now)),
    })
}
