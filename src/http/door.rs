//! The door: every request passes it before its body is read. It knows the route, the roles and the caller.

use std::time::{Duration, Instant};

use actix_web::body::MessageBody;
use actix_web::dev::{ResourceDef, ServiceRequest, ServiceResponse};
use actix_web::http::header::{AUTHORIZATION, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::web::Data;
use actix_web::{HttpMessage, ResponseError};

use super::caller::{Caller, Role};
use super::metrics::{Metrics, Route};
use super::problem::Problem;
use super::request_id::RequestId;
use super::service::Service;
use super::{store, tokens};
use crate::base::Error;

/// One operation and who may call it.
#[derive(Debug, Clone, Copy)]
pub struct Door {
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
}

enum Found<'a> {
    Nothing,
    Methods(Vec<&'static str>),
    Door(&'a Door),
}

impl Doors {
    /// Prepares the table. `started_s` is the process's start as seconds since 1970, for request ids.
    #[must_use]
    pub fn new(table: &[Door], started_s: i64) -> Self {
        let entries = table
            .iter()
            .map(|door| (ResourceDef::new(door.path), *door))
            .collect();
        Self { entries, started_s }
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
        Err(problem) => request
            .into_response(problem.error_response())
            .map_into_boxed_body(),
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

async fn admit(request: &ServiceRequest) -> Result<(), Problem> {
    let missing = || Problem::from(Error::Internal("the door has no table".into()));
    let doors = request
        .app_data::<Data<Doors>>()
        .cloned()
        .ok_or_else(missing)?;
    let service = request
        .app_data::<Data<Service>>()
        .cloned()
        .ok_or_else(missing)?;
    let door = match doors.find(request.method().as_str(), request.path()) {
        Found::Nothing => return Err(Problem::no_such_route(request.path())),
        Found::Methods(methods) => {
            return Err(Problem::method_not_allowed(
                request.method().as_str(),
                &methods.join(", "),
            ));
        }
        Found::Door(door) => *door,
    };
    request.extensions_mut().insert(Route(door.path));
    let Some(roles) = door.roles else {
        return Ok(());
    };
    let caller = caller(request, &service).await?;
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
