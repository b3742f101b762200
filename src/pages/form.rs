//! Forms: read as they are sent, and only from a page of the session's own.
//!
//! Invariants: a form without the key of its session is refused, whatever else it says (OWASP, Cross-Site Request Forgery
//! Prevention Cheat Sheet: synchronizer token), and so is one that the browser says another site sent (the same sheet: fetch
//! metadata). Deliberately absent: what a form means.

use actix_web::error::UrlencodedError;
use actix_web::http::StatusCode;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::{HttpRequest, ResponseError};

use super::refusal::Refused;
use crate::base::Error;
use crate::http::sessions::Session;
use crate::http::{Problem, Service};

/// A key for a form that may be sent once: what it writes is written once, however often it is sent.
///
/// # Errors
/// [`Error::Internal`] when the operating system gives no random bytes.
pub(super) fn once_key(service: &Service) -> Result<String, Error> {
    let mut bytes = [0; 16];
    let filled = service.entropy().fill(&mut bytes);
    filled.map_err(Error::internal)?;
    Ok(hex::encode(bytes))
}

/// Whether another value, or another look, may put right what an operation refused: then its form is shown again.
pub(super) fn can_be_put_right(problem: &Problem) -> bool {
    matches!(
        problem.status_code(),
        StatusCode::CONFLICT | StatusCode::PRECONDITION_FAILED | StatusCode::UNPROCESSABLE_ENTITY
    )
}

/// What is answered to a form that cannot be read.
pub fn form_error(error: UrlencodedError, request: &HttpRequest) -> actix_web::Error {
    let problem = match error {
        UrlencodedError::Overflow { limit, .. } => Problem::too_large(limit),
        UrlencodedError::ContentType => {
            let sent = request.headers().get(CONTENT_TYPE);
            let sent = sent.and_then(|sent| sent.to_str().ok()).unwrap_or_default();
            Problem::unsupported_media_type(sent, "application/x-www-form-urlencoded")
        }
        other => Problem::malformed(format!("the form was not understood: {other}")),
    };
    Refused::new(request, problem).into()
}

/// Checks that the browser did not send the form from another site.
///
/// # Errors
/// 403.
pub(super) fn from_here(request: &HttpRequest) -> Result<(), Problem> {
    let site = request.headers().get("sec-fetch-site");
    match site.and_then(|site| site.to_str().ok()) {
        Some("same-origin" | "none") => Ok(()),
        None => of_own_origin(request),
        Some(other) => Err(Problem::forbidden(format!(
            "the form was sent from elsewhere (`{other}`): open the page here and send it again"
        ))),
    }
}

/// Checks the origin of a form of which the browser says no site (over plain http it does not): where it names an origin, it is
/// the host that was asked.
fn of_own_origin(request: &HttpRequest) -> Result<(), Problem> {
    let header = |name| {
        request
            .headers()
            .get(name)
            .and_then(|value| value.to_str().ok())
    };
    let (origin, host) = (header("origin"), header("host").unwrap_or_default());
    match origin.map(|origin| origin.split_once("://").map_or(origin, |(_, rest)| rest)) {
        None => Ok(()),
        Some(own) if own == host => Ok(()),
        Some(other) => Err(Problem::forbidden(format!(
            "the form was sent from elsewhere (`{other}`): open the page here and send it again"
        ))),
    }
}

/// Checks that the form came from a page of the session.
///
/// # Errors
/// 403.
pub(super) fn of_session(
    request: &HttpRequest,
    session: &Session,
    form_key: &str,
) -> Result<(), Problem> {
    from_here(request)?;
    match session.sent(form_key) {
        true => Ok(()),
        false => Err(Problem::forbidden(
            "the form is not one of this session: open the page again and send it once more"
                .to_owned(),
        )),
    }
}
