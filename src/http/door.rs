//! The door: every request passes it before its body is read. It knows the route, the roles and the caller.

use std::time::{Duration, Instant};

use actix_web::body::MessageBody;
use actix_web::dev::{ResourceDef, ServiceRequest, ServiceResponse};
use actix_web::http::header::{AUTHORIZATION, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::web::Data;
use actix_web::{HttpMessage, HttpRequest, HttpResponse, ResponseError};

use super::caller::{Caller, Role};
use super::metrics::{Metrics, Route};
use super::problem::Problem;
use super::request_id::RequestId;
use super::service::Service;
use super::sessions::{self, Session};
use super::{store, tokens};
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

/// All operations, ready to be matched.
pub struct Doors {
    entries: Vec<(ResourceDef, Door)>,
    started_s: i64,
    refuse: Refuse,
}

/// How a person is told that a page does not open: the address that was asked, and why.
pub type Refuse = fn(&HttpRequest, &Problem) -> HttpResponse;

enum Found<'a> {
    Nothing,
    Methods(Vec<&'static str>),
    Door(&'a Door),
}

impl Doors {
    /// Prepares the tables, the first that matches counting. `started_s` is the process's start as seconds since 1970, for
    /// request ids; `refuse` answers at the doors of pages.
    #[must_use]
    pub fn new(tables: &[&[Door]], started_s: i64, refuse: Refuse) -> Self {
        let entries = tables
            .iter()
            .copied()
            .flatten()
            .map(|door| (ResourceDef::new(door.path), *door))
            .collect();
        Self {
            entries,
            started_s,
            refuse,
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

/// Lets a request in, or answers it at the door. In this order: no such route, wrong method, no valid token, no role.
///
/// # Errors
/// Those of the service behind the door.
pub async fn guard<B: MessageBody + 'static>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<impl MessageBody>, actix_web::Error> {
    let started = Instant::now();
    let id = RequestId::next(
        request
            .app_data::<Data<Doors>>()
            .map_or(0, |doors| doors.started_s),
    );
    let (method, path) = (request.method().to_string(), request.path().to_owned());
    let mut response = match admit(&request).await {
        Ok(()) => next.call(request).await?.map_into_boxed_body(),
        Err((way, problem)) => {
            let answer = refusal(request.request(), way, &problem);
            request.into_response(answer).map_into_boxed_body()
        }
    };
    if let Ok(value) = HeaderValue::from_str(&id.0) {
        response
            .headers_mut()
            .insert(HeaderName::from_static("x-request-id"), value);
    }
    let took = started.elapsed();
    count(&response, &method, took);
    let took_us = u64::try_from(took.as_micros()).unwrap_or(u64::MAX);
    tracing::info!(request_id = %id.0, method, path, status = response.status().as_u16(), took_us, "request");
    Ok(response)
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

async fn admit(request: &ServiceRequest) -> Result<(), (Way, Problem)> {
    let missing = || {
        let error = Error::Internal("the door has no table".into());
        (Way::Api, Problem::from(error))
    };
    let doors = request
        .app_data::<Data<Doors>>()
        .cloned()
        .ok_or_else(missing)?;
    let service = request
        .app_data::<Data<Service>>()
        .cloned()
        .ok_or_else(missing)?;
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
    enter(request, &service, &door)
        .await
        .and_then(|()| readable(request))
        .map_err(|problem| (door.way, problem))
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
async fn enter(request: &ServiceRequest, service: &Service, door: &Door) -> Result<(), Problem> {
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
