//! The door: every request passes it before its body is read. It knows the route, the roles and the caller.

use std::time::{Duration, Instant};

use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ResourceDef, ServiceRequest, ServiceResponse};
use actix_web::http::header::{AUTHORIZATION, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::web::Data;
use actix_web::{HttpMessage, HttpRequest, HttpResponse, ResponseError};

use tracing::Instrument;

use super::arrival::hurry;
use super::asker::{Asker, TrustedProxies};
use super::caller::{Caller, Role};
use super::limits::Limits;
use super::metrics::{Metrics, Route};
use super::problem::Problem;
use super::rate::Rates;
use super::request_id::RequestId;
use super::service::Service;
use super::sessions::{self, Session};
use super::tls::Certificates;
use super::{safety, store, tokens};
use crate::base::Error;

/// Who comes through a door, and how they are known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// A program with a token; it is answered with problem documents.
    Api,
    /// A person with the cookie of a session; they are answered with pages.
    Page,
}

/// One operation and who may call it.
#[derive(Debug, Clone, Copy)]
pub struct Door {
    /// Who comes through it.
    pub way: Way,
    /// The method, in capitals.
    pub method: &'static str,
    /// The path with its parameters in braces.
    pub path: &'static str,
    /// The roles allowed besides the administrator; `None` when anyone may call it without a token.
    pub roles: Option<&'static [Role]>,
}

/// All operations, ready to be matched, and what every request is held to before.
pub struct Doors {
    entries: Vec<(ResourceDef, Door)>,
    refuse: Refuse,
    started_s: i64,
    limits: Limits,
    rates: Rates,
    proxies: TrustedProxies,
    own_tls: bool,
}

/// How a person is told that a page does not open: the address that was asked, and why.
pub type Refuse = fn(&HttpRequest, &Problem) -> HttpResponse;

enum Found<'a> {
    Nothing,
    Methods(Vec<&'static str>),
    Door(&'a Door),
}

impl Doors {
    /// Prepares the tables, the first that matches counting, for a process that begins to serve. `refuse` answers at the doors
    /// of pages.
    #[must_use]
    pub fn new(tables: &[&[Door]], refuse: Refuse, service: &Service) -> Self {
        let entries = tables
            .iter()
            .copied()
            .flatten()
            .map(|door| (ResourceDef::new(door.path), *door))
            .collect();
        let limits = service.limits();
        Self {
            entries,
            refuse,
            started_s: service.now().timestamp(),
            limits,
            rates: Rates::new(&limits),
            proxies: service
                .part::<TrustedProxies>()
                .cloned()
                .unwrap_or_default(),
            own_tls: service.part::<Certificates>().is_some(),
        }
    }

    /// Holds a request to what needs no table: how often one asks from its address, and how long its head is.
    fn head_checked(&self, request: &ServiceRequest, asker: Asker) -> Result<(), Problem> {
        self.rates.address(asker.address)?;
        let target = request
            .uri()
            .path_and_query()
            .map_or(0, |target| target.as_str().len());
        if target > self.limits.target_bytes {
            return Err(Problem::target_too_long(self.limits.target_bytes));
        }
        let headers = request.headers().iter();
        let head: usize = headers
            .map(|(name, value)| name.as_str().len() + value.len())
            .sum();
        match head > self.limits.head_bytes {
            true => Err(Problem::head_too_long(self.limits.head_bytes)),
            false => Ok(()),
        }
    }

    fn find(&self, method: &str, path: &str) -> Found<'_> {
        let mut methods = Vec::new();
        for (definition, door) in &self.entries {
            if definition.is_match(path) {
                if door.method == method || (method == "HEAD" && door.method == "GET") {
                    return Found::Door(door);
                }
                methods.push(door.method);
            }
        }
        if methods.is_empty() {
            Found::Nothing
        } else {
            Found::Methods(methods)
        }
    }
}

/// Lets a request in, or answers it at the door. In this order: too often from its address, too long a head, no such route,
/// wrong method, no valid token, too often with it, no role.
///
/// # Errors
/// Those of the service behind the door.
pub async fn guard<B: MessageBody + 'static>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<impl MessageBody>, actix_web::Error> {
    let started = Instant::now();
    let doors = request.app_data::<Data<Doors>>().cloned();
    let id = RequestId::next(doors.as_ref().map_or(0, |doors| doors.started_s));
    let asker = doors.map_or_else(
        || Asker::known(&request),
        |doors| Asker::of(&request, &doors.proxies, doors.own_tls),
    );
    request.extensions_mut().insert(asker);
    let (method, path) = (request.method().to_string(), request.path().to_owned());
    // Of the gravest level, so that it stands beside whatever is logged.
    let span = tracing::error_span!("request", id = %id.0);
    let answering = id.clone().over(answer(request, next));
    let mut response = answering.instrument(span).await?;
    if let Ok(value) = HeaderValue::from_str(&id.0) {
        response
            .headers_mut()
            .insert(HeaderName::from_static("x-request-id"), value);
    }
    safety::complete(response.headers_mut(), asker.over_tls);
    let took = started.elapsed();
    count(&response, &method, took);
    let took_us = u64::try_from(took.as_micros()).unwrap_or(u64::MAX);
    tracing::info!(request_id = %id.0, from = %asker.address, method, path, status = response.status().as_u16(), took_us, "request");
    Ok(response)
}

/// Answers a request, at the door or behind it.
async fn answer<B: MessageBody + 'static>(
    mut request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<BoxBody>, actix_web::Error> {
    match admit(&request).await {
        Ok(body_wait) => {
            hurry(&mut request, body_wait);
            Ok(next.call(request).await?.map_into_boxed_body())
        }
        Err((way, problem)) => {
            let answer = refusal(request.request(), way, &problem);
            Ok(request.into_response(answer).map_into_boxed_body())
        }
    }
}

/// Whether one may try to sign in now, from where a request comes.
///
/// # Errors
/// 429.
pub fn sign_in_allowed(request: &HttpRequest) -> Result<(), Problem> {
    let doors = request.app_data::<Data<Doors>>().ok_or_else(no_table)?;
    doors.rates.sign_in(Asker::known(request).address)
}

fn no_table() -> Problem {
    Problem::from(Error::Internal("the door has no table".into()))
}

/// Counts an answer, where anything is counted.
fn count<B>(response: &ServiceResponse<B>, method: &str, took: Duration) {
    let request = response.request();
    let metrics = request
        .app_data::<Data<Service>>()
        .and_then(|service| service.part::<Metrics>());
    if let Some(metrics) = metrics {
        let route = request.extensions().get::<Route>().copied();
        metrics.answered(method, route, response.status().as_u16(), took);
    }
}

/// A refusal as whoever stands at the door reads it.
fn refusal(request: &HttpRequest, way: Way, problem: &Problem) -> HttpResponse {
    match (way, request.app_data::<Data<Doors>>()) {
        (Way::Page, Some(doors)) => (doors.refuse)(request, problem),
        _ => problem.error_response(),
    }
}

/// Lets a request in: how long its body may take to arrive.
async fn admit(request: &ServiceRequest) -> Result<Duration, (Way, Problem)> {
    let missing = || (Way::Api, no_table());
    let doors = request
        .app_data::<Data<Doors>>()
        .cloned()
        .ok_or_else(missing)?;
    let service = request
        .app_data::<Data<Service>>()
        .cloned()
        .ok_or_else(missing)?;
    doors
        .head_checked(request, Asker::known(request))
        .map_err(|problem| (Way::Api, problem))?;
    let door = match doors.find(request.method().as_str(), request.path()) {
        Found::Nothing => return Err((Way::Api, Problem::no_such_route(request.path()))),
        Found::Methods(methods) => {
            let problem =
                Problem::method_not_allowed(request.method().as_str(), &methods.join(", "));
            return Err((Way::Api, problem));
        }
        Found::Door(door) => *door,
    };
    request.extensions_mut().insert(Route(door.path));
    enter(request, &service, &doors, &door)
        .await
        .and_then(|()| readable(request))
        .map_err(|problem| (door.way, problem))?;
    Ok(doors.limits.body_wait)
}

/// Refuses an address with U+0000 in it, which no text of the books can hold and not every database can be asked for.
fn readable(request: &ServiceRequest) -> Result<(), Problem> {
    const NUL: &str = "%00";
    if request.path().contains(NUL) {
        return Err(Problem::no_such_route(request.path()));
    }
    if request.query_string().contains(NUL) {
        return Err(Problem::bad_query("a value has the character U+0000 in it"));
    }
    Ok(())
}

/// Finds who stands at a door, and whether it opens for them.
async fn enter(
    request: &ServiceRequest,
    service: &Service,
    doors: &Doors,
    door: &Door,
) -> Result<(), Problem> {
    let Some(roles) = door.roles else {
        if door.way == Way::Page
            && let Some(session) = session(request, service).await?
        {
            request.extensions_mut().insert(session);
        }
        return Ok(());
    };
    let caller = match door.way {
        Way::Api => caller(request, service).await?,
        Way::Page => {
            let found = session(request, service).await?;
            let session = found.ok_or_else(Problem::unauthenticated)?;
            let caller = session.caller.clone();
            request.extensions_mut().insert(session);
            caller
        }
    };
    doors.rates.token(caller.token_id)?;
    if !caller.roles.allows(roles) {
        let words: Vec<&str> = roles
            .iter()
            .map(|role| role.as_str())
            .chain(["administrator"])
            .collect();
        let detail = format!(
            "the token `{}` has the roles {}; this needs one of {}",
            caller.name,
            caller.roles,
            words.join(", ")
        );
        return Err(Problem::forbidden(detail));
    }
    request.extensions_mut().insert(caller);
    Ok(())
}

/// Finds the session of the cookie.
async fn session(request: &ServiceRequest, service: &Service) -> Result<Option<Session>, Problem> {
    let Some(secret) = sessions::secret_of(request) else {
        return Ok(None);
    };
    let now = service.now();
    service
        .read(move |conn| sessions::session_find(conn, secret, now))
        .await
}

/// Finds the token of the `Authorization` header. The look-up is by the secret's hash, so that no comparison of the
/// secret itself can leak its length of agreement.
async fn caller(request: &ServiceRequest, service: &Service) -> Result<Caller, Problem> {
    let header = request
        .headers()
        .get(AUTHORIZATION)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default();
    let (scheme, secret) = header
        .split_once(' ')
        .ok_or_else(Problem::unauthenticated)?;
    if !scheme.eq_ignore_ascii_case("bearer") {
        return Err(Problem::unauthenticated());
    }
    let (hash, now) = (tokens::hash(secret.trim()), service.now());
    service
        .read(move |conn| store::token_by_hash(conn, &hash, now))
        .await?
        .ok_or_else(Problem::unauthenticated)
}
