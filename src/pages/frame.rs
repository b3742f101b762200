//! What every page has in common: the head with the five places, who is signed in, and how a page leaves.
//!
//! Invariants: a page is HTML in UTF-8, kept by no cache, shown in no frame of another's page, and may load nothing but what
//! this service serves; it holds no script and no style of its own, and needs no script for any task.

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_TYPE, REFERRER_POLICY};
use askama::Template;

use super::words;
use crate::base::Error;
use crate::http::Service;
use crate::http::sessions::Session;

/// What may be loaded, and by whom: nothing from elsewhere, nothing inline.
const CONTENT_POLICY: &str = "default-src 'none'; script-src 'self'; connect-src 'self'; style-src 'self'; \
    img-src 'self' data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// The place of a page among the five, or none of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    /// What stands on the shelf, and what is to do.
    Shelf,
    /// What is cast.
    Casts,
    /// What comes in.
    Receive,
    /// What to order.
    Buy,
    /// What replicas cost.
    Cost,
    /// None of them.
    Elsewhere,
}

/// The head of a page.
#[derive(Debug, Clone)]
pub(super) struct Frame {
    /// What the page is, for the window.
    pub(super) title: &'static str,
    /// Where it belongs.
    pub(super) place: Place,
    /// Today, in words.
    pub(super) today: String,
    /// Who is signed in.
    pub(super) visitor: Option<Visitor>,
}

/// Who is signed in.
#[derive(Debug, Clone)]
pub(super) struct Visitor {
    /// The name of their token.
    pub(super) name: String,
    /// What a form of theirs must send along.
    pub(super) form_key: String,
}

impl Frame {
    /// The frame of a page.
    pub(super) fn new(
        title: &'static str,
        place: Place,
        service: &Service,
        session: Option<&Session>,
    ) -> Self {
        let today = service.today();
        Self {
            title,
            place,
            today: words::day(today, today),
            visitor: session.map(|session| Visitor {
                name: session.caller.name.clone(),
                form_key: session.form_key.clone(),
            }),
        }
    }

    /// The places with their addresses, and whether the page belongs there.
    pub(super) fn places(&self) -> [(&'static str, &'static str, bool); 5] {
        [
            ("Shelf", "/", Place::Shelf),
            ("Casts", "/casts", Place::Casts),
            ("Receive", "/receive", Place::Receive),
            ("Buy", "/buy", Place::Buy),
            ("Cost", "/cost", Place::Cost),
        ]
        .map(|(name, address, place)| (name, address, self.place == place))
    }
}

/// A page as it is answered.
///
/// # Errors
/// [`Error::Internal`] when the template fails.
pub(super) fn page(status: StatusCode, template: &impl Template) -> Result<HttpResponse, Error> {
    let body = template.render().map_err(Error::internal)?;
    Ok(HttpResponse::build(status)
        .insert_header((CONTENT_TYPE, "text/html; charset=utf-8"))
        .insert_header((CACHE_CONTROL, "no-store"))
        .insert_header((REFERRER_POLICY, "same-origin"))
        .insert_header(("content-security-policy", CONTENT_POLICY))
        .insert_header(("x-content-type-options", "nosniff"))
        .insert_header(("x-frame-options", "DENY"))
        .insert_header(("cross-origin-opener-policy", "same-origin"))
        .insert_header((
            "permissions-policy",
            "camera=(), geolocation=(), microphone=()",
        ))
        .body(body))
}
