//! Errors as problem documents (RFC 9457): the one place where a domain error meets HTTP.
//!
//! Invariant: each kind of refusal has one stable `type` and one status, in [`refusal_status`] and nowhere else.
//! When several errors apply, the first of these is answered: 429 address, 414, 431, 404 route, 405, 401, 429 token, 403, 415,
//! 413, 408, 400, 422, 404 resource, 428 or 412, 409.

use std::fmt;
use std::time::Duration;

use actix_web::http::StatusCode;
use actix_web::http::header::{ALLOW, HeaderName, HeaderValue, RETRY_AFTER, WWW_AUTHENTICATE};
use actix_web::{HttpResponse, ResponseError};
use serde::Serialize;
use serde_json::{Map, Value};
use utoipa::ToSchema;

use super::request_id::RequestId;
use crate::base::{Error, FieldError, RefusalKind};

/// What a handler returns.
pub type Answer = Result<HttpResponse, Problem>;

/// An error on its way out. Boxed, so that a result that may hold one stays small.
#[derive(Debug, Clone)]
pub struct Problem(Box<Parts>);

#[derive(Debug, Clone)]
struct Parts {
    status: StatusCode,
    kind: &'static str,
    title: &'static str,
    detail: String,
    errors: Vec<FieldError>,
    members: Map<String, Value>,
    headers: Vec<(HeaderName, String)>,
}

/// A problem document as it is written: RFC 9457's members, the fields in error, and what the kind adds.
#[derive(Debug, Serialize, ToSchema)]
pub struct ProblemBody {
    /// A stable name of the kind of problem.
    #[serde(rename = "type")]
    #[schema(example = "urn:heeltap:problem:invalid")]
    kind: String,
    /// The kind in words.
    title: String,
    /// The HTTP status, repeated.
    status: u16,
    /// What is wrong here, for a person.
    detail: String,
    /// The id of the request, under which the log has it; absent outside of one.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "urn:heeltap:request:69a5522c-7")]
    instance: Option<String>,
    /// The fields in error.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(value_type = Vec<Object>)]
    errors: Vec<FieldError>,
    /// What the kind adds, for example `shortages`.
    #[serde(flatten)]
    #[schema(value_type = Object)]
    members: Map<String, Value>,
}

impl Problem {
    fn new(
        status: StatusCode,
        kind: &'static str,
        title: &'static str,
        detail: impl Into<String>,
    ) -> Self {
        Self(Box::new(Parts {
            status,
            kind,
            title,
            detail: detail.into(),
            errors: Vec::new(),
            members: Map::new(),
            headers: Vec::new(),
        }))
    }

    /// 404: no operation has this address.
    #[must_use]
    pub fn no_such_route(path: &str) -> Self {
        Self::new(
            StatusCode::NOT_FOUND,
            "no-such-route",
            "No such address",
            format!("nothing is at `{path}`; /docs lists every address"),
        )
    }

    /// 405, with the methods that the address has.
    #[must_use]
    pub fn method_not_allowed(method: &str, allowed: &str) -> Self {
        let detail = format!("{method} is not possible here; possible: {allowed}");
        let mut problem = Self::new(
            StatusCode::METHOD_NOT_ALLOWED,
            "method-not-allowed",
            "Method not allowed",
            detail,
        );
        problem.0.headers.push((ALLOW, allowed.to_owned()));
        problem
    }

    /// 401: no token, or none that is valid.
    #[must_use]
    pub fn unauthenticated() -> Self {
        Self::unauthenticated_because("send a valid token in the header `Authorization: Bearer …`")
    }

    /// 401 where something else than a token opens the door; `detail` says what is to be sent.
    #[must_use]
    pub fn unauthenticated_because(detail: &str) -> Self {
        let mut problem = Self::new(
            StatusCode::UNAUTHORIZED,
            "unauthenticated",
            "Who is asking?",
            detail,
        );
        problem
            .0
            .headers
            .push((WWW_AUTHENTICATE, "Bearer realm=\"heeltap\"".to_owned()));
        problem
    }

    /// 403: the token has none of the roles that the operation allows.
    #[must_use]
    pub fn forbidden(detail: String) -> Self {
        Self::new(
            StatusCode::FORBIDDEN,
            "forbidden",
            "Not with this token",
            detail,
        )
    }

    /// 415: the body is of another kind.
    #[must_use]
    pub fn unsupported_media_type(found: &str, wanted: &str) -> Self {
        let detail = format!("the content type is `{found}`; send `{wanted}`");
        Self::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "unsupported-media-type",
            "Another kind of body is expected",
            detail,
        )
    }

    /// 413: the body is longer than allowed.
    #[must_use]
    pub fn too_large(limit_bytes: usize) -> Self {
        let detail = format!("the body is longer than {limit_bytes} bytes");
        Self::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            "too-large",
            "Body too large",
            detail,
        )
    }

    /// 429: asked too often; `what` is what there are too many of, and `wait` how long until the next is answered.
    #[must_use]
    pub fn too_many(what: &str, wait: Duration) -> Self {
        let wait_s = wait.as_millis().div_ceil(1000).max(1);
        let mut problem = Self::new(
            StatusCode::TOO_MANY_REQUESTS,
            "too-many-requests",
            "Too many at once",
            format!("there were too many {what}: ask again in {wait_s} s"),
        );
        problem.0.headers.push((RETRY_AFTER, wait_s.to_string()));
        problem
    }

    /// 408: the body did not arrive in time.
    #[must_use]
    pub fn too_slow() -> Self {
        Self::new(
            StatusCode::REQUEST_TIMEOUT,
            "too-slow",
            "It took too long to arrive",
            "the body did not arrive in time: send it again, over a better connection or in parts",
        )
    }

    /// 414: path and query are longer than allowed.
    #[must_use]
    pub fn target_too_long(limit_bytes: usize) -> Self {
        Self::new(
            StatusCode::URI_TOO_LONG,
            "address-too-long",
            "Address too long",
            format!("path and query are longer than {limit_bytes} bytes"),
        )
    }

    /// 431: the headers are longer than allowed.
    #[must_use]
    pub fn head_too_long(limit_bytes: usize) -> Self {
        Self::new(
            StatusCode::REQUEST_HEADER_FIELDS_TOO_LARGE,
            "headers-too-long",
            "Headers too long",
            format!("the headers are longer than {limit_bytes} bytes together"),
        )
    }

    /// 400: the body or the query is not well formed.
    #[must_use]
    pub fn malformed(detail: String) -> Self {
        Self::new(
            StatusCode::BAD_REQUEST,
            "malformed",
            "Malformed request",
            detail,
        )
    }

    /// 400: a value in the query is not understood.
    #[must_use]
    pub fn bad_query(detail: &str) -> Self {
        Self::new(
            StatusCode::BAD_REQUEST,
            "bad-query",
            "A query value is not understood",
            detail,
        )
    }

    /// The kind and what is wrong here, in words for a person.
    #[must_use]
    pub fn words(&self) -> (&str, &str) {
        (self.0.title, &self.0.detail)
    }

    /// The headers that belong to it, such as `Retry-After`.
    pub fn headers(&self) -> impl Iterator<Item = (HeaderName, HeaderValue)> {
        let headers = self.0.headers.iter();
        headers.filter_map(|(name, value)| Some((name.clone(), HeaderValue::from_str(value).ok()?)))
    }

    /// The fields in error.
    #[must_use]
    pub fn errors(&self) -> &[FieldError] {
        &self.0.errors
    }

    /// The document.
    #[must_use]
    pub fn body(&self) -> ProblemBody {
        ProblemBody {
            kind: format!("urn:heeltap:problem:{}", self.0.kind),
            title: self.0.title.to_owned(),
            status: self.0.status.as_u16(),
            detail: self.0.detail.clone(),
            instance: RequestId::current().map(|id| format!("urn:heeltap:request:{}", id.0)),
            errors: self.0.errors.clone(),
            members: self.0.members.clone(),
        }
    }
}

/// The one table of refusals: kind, `type`, title, status.
fn refusal_status(kind: RefusalKind) -> (&'static str, &'static str, StatusCode) {
    match kind {
        RefusalKind::AlreadyExists => ("already-exists", "It exists already", StatusCode::CONFLICT),
        RefusalKind::InUse => ("in-use", "It is in use", StatusCode::CONFLICT),
        RefusalKind::Retired => ("retired", "It is retired", StatusCode::CONFLICT),
        RefusalKind::Shortage => ("shortage", "Not enough stock", StatusCode::CONFLICT),
        RefusalKind::WrongState => (
            "wrong-state",
            "Not possible in this state",
            StatusCode::CONFLICT,
        ),
        RefusalKind::PeriodClosed => (
            "period-closed",
            "The period is closed",
            StatusCode::CONFLICT,
        ),
        RefusalKind::HistoryConflict => (
            "history-conflict",
            "Later entries stand against it",
            StatusCode::CONFLICT,
        ),
        RefusalKind::AllowanceMissing => (
            "allowance-missing",
            "It needs an explicit leave",
            StatusCode::CONFLICT,
        ),
        RefusalKind::BeyondGrant => (
            "beyond-grant",
            "A grant does not pay for it",
            StatusCode::CONFLICT,
        ),
        RefusalKind::KeyReused => (
            "key-reused",
            "The idempotency key belongs to another request",
            StatusCode::UNPROCESSABLE_ENTITY,
        ),
        RefusalKind::ImportRejected => (
            "import-rejected",
            "The file has rows in error",
            StatusCode::UNPROCESSABLE_ENTITY,
        ),
    }
}

impl From<Error> for Problem {
    fn from(error: Error) -> Self {
        match error {
            Error::Invalid(errors) => {
                let detail = errors
                    .iter()
                    .map(|e| format!("{}: {}", e.pointer, e.detail))
                    .collect::<Vec<_>>()
                    .join("; ");
                let mut problem = Self::new(
                    StatusCode::UNPROCESSABLE_ENTITY,
                    "invalid",
                    "A value is not right",
                    detail,
                );
                problem.0.errors = errors;
                problem
            }
            Error::NotFound { noun, key } => Self::new(
                StatusCode::NOT_FOUND,
                "not-found",
                "Not found",
                format!("there is no {noun} `{key}`"),
            ),
            Error::PreconditionRequired => Self::new(
                StatusCode::PRECONDITION_REQUIRED,
                "precondition-required",
                "If-Match is required",
                "send the ETag you read in the header `If-Match`, so that nobody's change is overwritten",
            ),
            Error::VersionMismatch { current } => Self::new(
                StatusCode::PRECONDITION_FAILED,
                "version-mismatch",
                "It has changed meanwhile",
                format!("it is now at version {current}: read it again and repeat the change"),
            ),
            Error::Refused(refusal) => {
                let (kind, title, status) = refusal_status(refusal.kind);
                let mut problem = Self::new(status, kind, title, refusal.detail);
                problem.0.members = refusal.members;
                problem
            }
            Error::Unavailable { detail } => {
                tracing::warn!(detail, "unavailable");
                let mut problem = Self::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "unavailable",
                    "Not available just now",
                    "the database cannot be reached in time; nothing was changed; try again",
                );
                problem.0.headers.push((RETRY_AFTER, "2".to_owned()));
                problem
            }
            Error::ReadOnly { detail } => {
                tracing::error!(detail, "read-only database");
                Self::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "read-only",
                    "The database is read-only",
                    "the database does not take writes; nothing was changed",
                )
            }
            Error::StorageFull { detail } => {
                tracing::error!(detail, "storage full");
                Self::new(
                    StatusCode::INSUFFICIENT_STORAGE,
                    "storage-full",
                    "No room left",
                    "the disk of the database is full; nothing was changed",
                )
            }
            Error::Internal(context) => {
                tracing::error!(context, "internal error");
                Self::new(
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "internal",
                    "Our fault",
                    "something went wrong inside; the log has it under this request's id",
                )
            }
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} {}: {}",
            self.0.status.as_u16(),
            self.0.kind,
            self.0.detail
        )
    }
}

impl ResponseError for Problem {
    fn status_code(&self) -> StatusCode {
        self.0.status
    }

    fn error_response(&self) -> HttpResponse {
        let mut response = HttpResponse::build(self.0.status);
        for (name, value) in self.headers() {
            response.insert_header((name, value));
        }
        if self.0.status == StatusCode::REQUEST_TIMEOUT {
            // What else may come of the body is nobody's next request.
            response.force_close();
        }
        let body = serde_json::to_string(&self.body()).unwrap_or_default();
        response.content_type("application/problem+json").body(body)
    }
}

/// A value of `document` that serde refused, as a field in error: the value is named, and how a date is written. A field
/// that is missing is named by the pointer it should have had.
pub(crate) fn field_error<E: fmt::Display>(
    error: &serde_path_to_error::Error<E>,
    document: &Value,
) -> FieldError {
    let message = error.inner().to_string();
    // serde_json ends its messages with the position; the pointer says it better.
    let detail = message
        .rfind(" at line ")
        .map_or(message.as_str(), |at| &message[..at]);
    let mut pointer = json_pointer(error.path());
    let missing = detail
        .strip_prefix("missing field `")
        .and_then(|rest| rest.strip_suffix('`'));
    if let Some(name) = missing {
        pointer.push('/');
        pointer.push_str(name);
        return FieldError::new(pointer, detail);
    }
    let refused = document.pointer(&pointer).and_then(Value::as_str);
    match refused.filter(|value| value.len() <= 100 && !detail.contains(*value)) {
        None => FieldError::new(pointer, detail),
        Some(value) => {
            let dated = pointer.ends_with("_on") || pointer.ends_with("/on");
            let right = if dated {
                "; a day is written YYYY-MM-DD"
            } else {
                ""
            };
            FieldError::new(pointer, format!("\"{value}\": {detail}{right}"))
        }
    }
}

/// Turns a path of serde's (`batches[0].base_g`) into a JSON pointer (`/batches/0/base_g`; RFC 6901).
#[must_use]
fn json_pointer(path: &serde_path_to_error::Path) -> String {
    use serde_path_to_error::Segment;
    path.iter().fold(String::new(), |mut pointer, segment| {
        match segment {
            Segment::Seq { index } => pointer.push_str(&format!("/{index}")),
            Segment::Map { key } => {
                pointer.push_str(&format!("/{}", key.replace('~', "~0").replace('/', "~1")))
            }
            Segment::Enum { variant } => pointer.push_str(&format!("/{variant}")),
            Segment::Unknown => {}
        }
        pointer
    })
}

/// What a path that does not parse is answered: nothing is there.
#[must_use]
pub fn path_error(
    error: actix_web::error::PathError,
    request: &actix_web::HttpRequest,
) -> actix_web::Error {
    let _ = error;
    Problem::from(Error::NotFound {
        noun: "entry at",
        key: request.path().to_owned(),
    })
    .into()
}
