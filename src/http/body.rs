//! Bodies: read to a limit, hashed for the idempotency key, and parsed with the field in error named.

use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::web::{Bytes, BytesMut, Data};
use actix_web::{FromRequest, HttpMessage, HttpRequest};
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};

use super::arrival::was_late;
use super::caller::Caller;
use super::json_depth::too_deep;
use super::problem::{Problem, field_error};
use super::service::Service;
use super::store::Once;
use crate::base::Error;

/// The longest `Idempotency-Key`, in characters.
const KEY_LENGTH_MAX: usize = 200;

/// A JSON body with the request's caller and idempotency key: what every operation that writes is given.
pub struct Body<T> {
    /// The parsed body.
    pub value: T,
    pub(super) caller: Caller,
    pub(super) once: Option<Once>,
}

/// A request that writes and has no body (or one that does not matter).
pub struct NoBody {
    pub(super) caller: Caller,
    pub(super) once: Option<Once>,
}

/// A body taken as bytes, such as a CSV file.
pub struct RawBody {
    /// The bytes.
    pub bytes: Bytes,
    /// The content type without parameters, in lower case; empty when none was sent.
    pub content_type: String,
    pub(super) caller: Caller,
    pub(super) once: Option<Once>,
}

impl<T> Body<T> {
    /// The body and, apart from it, what the write needs to know of the request.
    #[must_use]
    pub fn split(self) -> (T, NoBody) {
        (
            self.value,
            NoBody {
                caller: self.caller,
                once: self.once,
            },
        )
    }
}

impl NoBody {
    /// What the write needs to know of a form that its page gave a key of its own: sent twice, it is answered from the books
    /// as any request is that repeats its `Idempotency-Key`. `body` is what the form asks for.
    ///
    /// # Errors
    /// 400 when the key is none.
    pub fn of_form(
        request: &HttpRequest,
        caller: &Caller,
        key: &str,
        body: &[u8],
    ) -> Result<Self, Problem> {
        Ok(Self {
            once: Some(once_by(request, caller, key, body)?),
            caller: caller.clone(),
        })
    }
}

impl RawBody {
    /// The bytes and, apart from them, what the write needs to know of the request.
    #[must_use]
    pub fn split(self) -> (Bytes, NoBody) {
        (
            self.bytes,
            NoBody {
                caller: self.caller,
                once: self.once,
            },
        )
    }
}

type Reading<T> = Pin<Box<dyn Future<Output = Result<T, Problem>>>>;

fn content_type(request: &HttpRequest) -> String {
    let header = request
        .headers()
        .get(CONTENT_TYPE)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default();
    header
        .split(';')
        .next()
        .unwrap_or_default()
        .trim()
        .to_ascii_lowercase()
}

/// Reads the whole body, refusing it as soon as it passes the limit.
async fn read_all(
    mut payload: Payload,
    announced: Option<usize>,
    limit_bytes: usize,
) -> Result<Bytes, Problem> {
    use futures_core::Stream;
    if announced.is_some_and(|length| length > limit_bytes) {
        return Err(Problem::too_large(limit_bytes));
    }
    let mut body = BytesMut::new();
    while let Some(chunk) = std::future::poll_fn(|cx| Pin::new(&mut payload).poll_next(cx)).await {
        let chunk = chunk.map_err(|error| match was_late(&error) {
            true => Problem::too_slow(),
            false => Problem::malformed(format!("the body could not be read: {error}")),
        })?;
        if body.len() + chunk.len() > limit_bytes {
            return Err(Problem::too_large(limit_bytes));
        }
        body.extend_from_slice(&chunk);
    }
    Ok(body.freeze())
}

/// What identifies a request for its idempotency key; none when no key was sent.
fn once(request: &HttpRequest, caller: &Caller, body: &[u8]) -> Result<Option<Once>, Problem> {
    let Some(header) = request.headers().get("Idempotency-Key") else {
        return Ok(None);
    };
    let key = header.to_str().unwrap_or_default();
    once_by(request, caller, key, body).map(Some)
}

/// What identifies a request by the key that it was sent with.
fn once_by(
    request: &HttpRequest,
    caller: &Caller,
    key: &str,
    body: &[u8],
) -> Result<Once, Problem> {
    if key.is_empty() || key.len() > KEY_LENGTH_MAX {
        return Err(Problem::malformed(format!(
            "Idempotency-Key must be 1 to {KEY_LENGTH_MAX} visible ASCII characters"
        )));
    }
    let path = request
        .uri()
        .path_and_query()
        .map_or_else(|| request.path().to_owned(), ToString::to_string);
    Ok(Once {
        token_id: caller.token_id,
        method: request.method().to_string(),
        path,
        key: key.to_owned(),
        body_hash: hex::encode(Sha256::digest(body)),
    })
}

/// Reads a document that did not come as JSON text, such as the fields of a form; the error is that of the same document in a
/// body.
///
/// # Errors
/// [`Error::Invalid`] at the field.
pub fn document_read<T: DeserializeOwned>(document: serde_json::Value) -> Result<T, Error> {
    serde_path_to_error::deserialize(document.clone())
        .map_err(|error| Error::Invalid(vec![field_error(&error, &document)]))
}

/// Parses JSON text; the error names the field by a JSON pointer.
fn parse<T: DeserializeOwned>(bytes: &[u8], depth_max: usize) -> Result<T, Problem> {
    if let Some(at) = too_deep(bytes, depth_max) {
        return Err(Problem::malformed(format!(
            "the body is nested deeper than {depth_max} arrays and objects, at byte {at}"
        )));
    }
    // First the whole text, then its meaning: text that is not well formed is 400, whatever its first part says.
    serde_json::from_slice::<serde::de::IgnoredAny>(bytes).map_err(|error| {
        Problem::malformed(format!("the body is not well-formed JSON: {error}"))
    })?;
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    let value = serde_path_to_error::deserialize(&mut reader).map_err(|error| {
        let inner = error.inner();
        if inner.is_data() {
            let document = serde_json::from_slice(bytes).unwrap_or_default();
            Problem::from(Error::Invalid(vec![field_error(&error, &document)]))
        } else {
            Problem::malformed(format!("the body is not well-formed JSON: {inner}"))
        }
    })?;
    Ok(value)
}

fn service_of(request: &HttpRequest) -> Result<&Service, Problem> {
    let service = request.app_data::<Data<Service>>();
    service
        .map(|service| service.get_ref())
        .ok_or_else(|| Problem::from(Error::Internal("no service".into())))
}

struct Read {
    bytes: Bytes,
    caller: Caller,
    once: Option<Once>,
}

async fn read(
    request: HttpRequest,
    payload: Payload,
    limit: fn(&Service) -> usize,
) -> Result<Read, Problem> {
    let caller = request
        .extensions()
        .get::<Caller>()
        .cloned()
        .ok_or_else(Problem::unauthenticated)?;
    let service = service_of(&request)?;
    let announced = request
        .headers()
        .get("content-length")
        .and_then(|v| v.to_str().ok())
        .and_then(|v| v.parse().ok());
    let bytes = read_all(payload, announced, limit(service)).await?;
    let once = once(&request, &caller, &bytes)?;
    Ok(Read {
        bytes,
        caller,
        once,
    })
}

impl<T: DeserializeOwned + 'static> FromRequest for Body<T> {
    type Error = Problem;
    type Future = Reading<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, payload) = (request.clone(), payload.take());
        Box::pin(async move {
            let kind = content_type(&request);
            if !(kind == "application/json" || kind == "application/merge-patch+json") {
                return Err(Problem::unsupported_media_type(&kind, "application/json"));
            }
            let depth_max = service_of(&request)?.limits().json_depth;
            let read = read(request, payload, |service| service.limits().json_bytes).await?;
            Ok(Self {
                value: parse(&read.bytes, depth_max)?,
                caller: read.caller,
                once: read.once,
            })
        })
    }
}

impl FromRequest for NoBody {
    type Error = Problem;
    type Future = Reading<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, payload) = (request.clone(), payload.take());
        Box::pin(async move {
            let read = read(request, payload, |service| service.limits().json_bytes).await?;
            Ok(Self {
                caller: read.caller,
                once: read.once,
            })
        })
    }
}

impl FromRequest for RawBody {
    type Error = Problem;
    type Future = Reading<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, payload) = (request.clone(), payload.take());
        Box::pin(async move {
            let content_type = content_type(&request);
            let read = read(request, payload, |service| service.limits().file_bytes).await?;
            Ok(Self {
                bytes: read.bytes,
                content_type,
                caller: read.caller,
                once: read.once,
            })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, serde::Deserialize)]
    struct Sample {
        #[allow(dead_code)]
        batches: Vec<u8>,
        #[serde(default)]
        #[allow(dead_code)]
        day_on: Option<chrono::NaiveDate>,
    }

    #[track_caller]
    fn check(text: &str, expected: &str) {
        let problem = parse::<Sample>(text.as_bytes(), 32).expect_err("the sample must be refused");
        assert!(problem.to_string().starts_with(expected), "{problem}");
    }

    #[test]
    fn what_is_nested_too_deep_is_not_built() {
        let text = format!(r#"{{"batches": {}"#, "[".repeat(40));
        let told = parse::<Sample>(text.as_bytes(), 5).unwrap_err().to_string();
        let wanted =
            "400 malformed: the body is nested deeper than 5 arrays and objects, at byte 16";
        assert_eq!(told, wanted);
    }

    #[test]
    fn the_field_in_error_is_named() {
        check(
            r#"{"batches": [1, "x"]}"#,
            "422 invalid: /batches/1: invalid type: string \"x\", expected u8",
        );
        check(r#"{"batches": [1,"#, "400 malformed");
        check(r#"{"batches": []} x"#, "400 malformed");
        check(r#"{"batches": 7, "#, "400 malformed");
        check(r"{}", "422 invalid: /batches: missing field `batches`");
        check(
            r#"{"batches": [], "day_on": "30.02.2026"}"#,
            "422 invalid: /day_on: \"30.02.2026\": input contains invalid characters; a day is written YYYY-MM-DD",
        );
    }
}
