//! Browser sessions: a token is exchanged for a cookie, once; the cookie opens the pages, and never the API.
//!
//! Invariants: the cookie's secret is 256 random bits and stands nowhere but in the browser (its SHA-256 is kept); a session
//! ends when it is signed out, after [`SESSION_HOURS`], and with its token; every form carries a value that only the pages of
//! its session know. Deliberately absent: what the pages show.

use actix_web::cookie::{Cookie, SameSite, time::Duration as CookieDuration};
use actix_web::dev::{Payload, ServiceRequest};
use actix_web::{FromRequest, HttpMessage, HttpRequest};
use chrono::{DateTime, TimeDelta, Utc};
use sha2::{Digest, Sha256};
use std::future::{Ready, ready};

use super::asker::Asker;
use super::caller::Caller;
use super::problem::Problem;
use super::service::Service;
use super::{store, tokens};
use crate::base::Error;
use crate::db::{AnyConnection, Tx, stored_instant};

/// The cookie's name.
const COOKIE: &str = "heeltap_session";
/// The cookie's name over TLS: a browser takes it only with `Secure`, for this host and no other (RFC 6265bis, section 4.1.3).
const COOKIE_OVER_TLS: &str = "__Host-heeltap_session";
/// How long a session lasts, in hours (*assumption*): a working day with its evening.
pub const SESSION_HOURS: i64 = 12;

/// A session, found by its cookie. Put there by the door.
#[derive(Debug, Clone)]
pub struct Session {
    /// Whose it is.
    pub caller: Caller,
    /// What every form of its pages must send along.
    pub form_key: String,
    secret: String,
}

impl Session {
    /// Whether a form came from a page of this session.
    #[must_use]
    pub fn sent(&self, form_key: &str) -> bool {
        // Both are hashes of the same length, of which one follows from a secret that the other side cannot know: the time
        // of the comparison tells nothing that helps.
        self.form_key == form_key
    }
}

impl FromRequest for Session {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(
            request
                .extensions()
                .get::<Self>()
                .cloned()
                .ok_or_else(Problem::unauthenticated),
        )
    }
}

fn form_key(secret: &str) -> String {
    hex::encode(Sha256::digest(format!("form {secret}").as_bytes()))
}

/// Opens a session for a token's secret; none when the token is not valid. Returns the cookie, which a browser that came over TLS
/// sends over TLS alone.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer; [`Error::Internal`] when the operating system gives no random
/// bytes.
pub fn session_open(
    tx: &mut Tx<'_>,
    token: &str,
    asker: Asker,
) -> Result<Option<Cookie<'static>>, Error> {
    let Some(caller) = store::token_by_hash(tx.conn, &tokens::hash(token.trim()), tx.now)? else {
        return Ok(None);
    };
    let mut bytes = [0; 32];
    tx.entropy.fill(&mut bytes).map_err(Error::internal)?;
    let secret = hex::encode(bytes);
    let expires_at = tx.now + TimeDelta::hours(SESSION_HOURS);
    let (now, until) = (tx.stored_now(), stored_instant(expires_at));
    store::session_insert(tx.conn, caller.token_id, &tokens::hash(&secret), now, until)?;
    Ok(Some(cookie(
        secret,
        CookieDuration::hours(SESSION_HOURS),
        asker,
    )))
}

/// Whether a token's secret opens anything now, looked up without writing.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn token_opens(
    conn: &mut AnyConnection,
    token: &str,
    now: DateTime<Utc>,
) -> Result<bool, Error> {
    let caller = store::token_by_hash(conn, &tokens::hash(token.trim()), now)?;
    Ok(caller.is_some())
}

/// Forgets sessions that ended, or whose hours are over.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn sessions_forget(service: &Service) -> Result<(), Error> {
    let now = stored_instant(service.now());
    service.db().write(|conn| store::sessions_forget(conn, now))
}

/// Ends a session. Returns the cookie that takes the browser's away.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn session_end(
    tx: &mut Tx<'_>,
    session: &Session,
    asker: Asker,
) -> Result<Cookie<'static>, Error> {
    let now = tx.stored_now();
    store::session_end(tx.conn, &tokens::hash(&session.secret), now)?;
    Ok(cookie(String::new(), CookieDuration::ZERO, asker))
}

fn name(asker: Asker) -> &'static str {
    match asker.over_tls {
        true => COOKIE_OVER_TLS,
        false => COOKIE,
    }
}

fn cookie(secret: String, lasts: CookieDuration, asker: Asker) -> Cookie<'static> {
    Cookie::build(name(asker), secret)
        .path("/")
        .secure(asker.over_tls)
        .http_only(true)
        .same_site(SameSite::Lax)
        .max_age(lasts)
        .finish()
}

/// The secret in a request's cookie.
pub(super) fn secret_of(request: &ServiceRequest) -> Option<String> {
    request
        .cookie(name(Asker::known(request)))
        .map(|cookie| cookie.value().to_owned())
        .filter(|secret| !secret.is_empty())
}

/// The session of a cookie's secret, if it is open.
pub(super) fn session_find(
    conn: &mut AnyConnection,
    secret: String,
    now: DateTime<Utc>,
) -> Result<Option<Session>, Error> {
    let caller = store::session_by_hash(conn, &tokens::hash(&secret), now)?;
    Ok(caller.map(|caller| Session {
        caller,
        form_key: form_key(&secret),
        secret,
    }))
}
