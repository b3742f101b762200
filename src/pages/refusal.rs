//! A page that does not open: whoever is not signed in is led to the page to sign in; else the page says why.

use actix_web::http::header::LOCATION;
use actix_web::http::{Method, StatusCode};
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse, ResponseError};
use askama::Template;

use super::frame::{Frame, Place, page};
use crate::http::{Problem, Service};

/// A page that says why another did not open.
#[derive(Template)]
#[template(path = "refusal.html", config = "src/pages/askama.toml")]
struct RefusalPage {
    frame: Frame,
    title: String,
    detail: String,
}

/// Answers for a page that does not open.
#[must_use]
pub fn refuse(request: &HttpRequest, problem: &Problem) -> HttpResponse {
    let status = problem.status_code();
    if status == StatusCode::UNAUTHORIZED {
        // A form that was sent cannot be opened again.
        let asked = match *request.method() == Method::GET {
            true => request.uri().to_string(),
            false => "/".to_owned(),
        };
        let next: String = form_urlencoded::byte_serialize(asked.as_bytes()).collect();
        let address = format!("/sign-in?next={next}");
        return HttpResponse::SeeOther()
            .insert_header((LOCATION, address))
            .finish();
    }
    let Some(service) = request.app_data::<Data<Service>>() else {
        return problem.error_response();
    };
    let (title, detail) = problem.words();
    let shown = RefusalPage {
        frame: Frame::new("Not opened", Place::Elsewhere, service, None),
        title: title.to_owned(),
        detail: detail.to_owned(),
    };
    let Ok(mut answer) = page(status, &shown) else {
        return problem.error_response();
    };
    for (name, value) in problem.headers() {
        answer.headers_mut().insert(name, value);
    }
    answer
}

/// A page's handler that failed: as [`refuse`], from within.
#[derive(Debug)]
pub(super) struct Refused(HttpRequest, Problem);

impl Refused {
    /// The refusal of a request.
    pub(super) fn new(request: &HttpRequest, problem: impl Into<Problem>) -> Self {
        Self(request.clone(), problem.into())
    }
}

impl std::fmt::Display for Refused {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.1.fmt(f)
    }
}

impl ResponseError for Refused {
    fn status_code(&self) -> StatusCode {
        self.1.status_code()
    }

    fn error_response(&self) -> HttpResponse {
        refuse(&self.0, &self.1)
    }
}
