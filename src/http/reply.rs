//! What an operation answers, before it becomes a response: kept as plain data so that it can be stored for a repeat.

use actix_web::http::StatusCode;
use actix_web::http::header::{ETAG, LOCATION};
use actix_web::{HttpResponse, ResponseError};
use serde::Serialize;

use super::etag::etag_text;
use super::problem::Problem;
use crate::base::Error;

/// An answer: status, headers that matter, and the body as JSON text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reply {
    pub(super) status: u16,
    pub(super) location: Option<String>,
    pub(super) etag: Option<String>,
    pub(super) body: String,
    /// The body to keep for a repeat, where it must not be the one that is sent.
    pub(super) kept_body: Option<String>,
    /// What a refusal says, in words; never kept, since no refusal is.
    pub(super) refusal: Option<String>,
}

impl Reply {
    /// 200 with a body.
    ///
    /// # Errors
    /// [`Error::Internal`] when the body cannot be written as JSON.
    pub fn ok(body: &impl Serialize) -> Result<Self, Error> {
        let body = serde_json::to_string(body)
            .map_err(|e| Error::Internal(format!("an answer could not be written: {e}")))?;
        Ok(Self {
            status: 200,
            location: None,
            etag: None,
            body,
            kept_body: None,
            refusal: None,
        })
    }

    /// 201 with the address of what was created.
    ///
    /// # Errors
    /// As [`Reply::ok`].
    pub fn created(location: String, body: &impl Serialize) -> Result<Self, Error> {
        Ok(Self {
            status: 201,
            location: Some(location),
            ..Self::ok(body)?
        })
    }

    /// A refusal that is an answer: what the operation noted besides is kept, and the answer is not repeated from the books.
    ///
    /// # Errors
    /// As [`Reply::ok`].
    pub fn problem(error: Error) -> Result<Self, Error> {
        let problem = Problem::from(error);
        let body = problem.body();
        Ok(Self {
            status: problem.status_code().as_u16(),
            refusal: Some(problem.words().1.to_owned()),
            ..Self::ok(&body)?
        })
    }

    /// The status.
    #[must_use]
    pub fn status(&self) -> StatusCode {
        StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    /// The address of what was created.
    #[must_use]
    pub fn location(&self) -> Option<&str> {
        self.location.as_deref()
    }

    /// What it says in words when it is a refusal.
    #[must_use]
    pub fn refusal(&self) -> Option<&str> {
        self.refusal.as_deref()
    }

    /// 204 without a body.
    #[must_use]
    pub fn nothing() -> Self {
        Self {
            status: 204,
            location: None,
            etag: None,
            body: String::new(),
            kept_body: None,
            refusal: None,
        }
    }

    /// The same answer with a strong `ETag` made of a version.
    #[must_use]
    pub fn with_version(mut self, version: i64) -> Self {
        self.etag = Some(etag_text(version));
        self
    }

    /// The same answer, but a repeat under the same idempotency key is answered with `body`: for answers that hold a
    /// secret, which must never stand in the database.
    ///
    /// # Errors
    /// As [`Reply::ok`].
    pub fn kept_as(mut self, body: &impl Serialize) -> Result<Self, Error> {
        self.kept_body = Some(Self::ok(body)?.body);
        Ok(self)
    }

    /// The response to send.
    #[must_use]
    pub fn into_response(self) -> HttpResponse {
        let mut response = HttpResponse::build(self.status());
        if let Some(location) = self.location {
            response.insert_header((LOCATION, location));
        }
        if let Some(etag) = self.etag {
            response.insert_header((ETAG, etag));
        }
        if self.status == 204 {
            response.finish()
        } else {
            {
                let kind = if self.status >= 400 {
                    "application/problem+json"
                } else {
                    "application/json"
                };
                response.content_type(kind).body(self.body)
            }
        }
    }
}
