//! The addresses of signing in and out.
//!
//! Invariants: where one is led afterwards is a page of this service, never another site; a token that is not valid is told
//! nothing more than that; whoever tries too often is not answered for a while.

use actix_web::cookie::Cookie;
use actix_web::http::StatusCode;
use actix_web::http::header::LOCATION;
use actix_web::web::{Data, Form, Query, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, get, post};
use askama::Template;
use serde::Deserialize;

use crate::db::installation_fetch;
use crate::http::sessions::{Session, session_end, session_open, token_opens};
use crate::http::{Asker, Problem, Service, sign_in_allowed};
use crate::pages::form::{from_here, of_session};
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config
        .service(sign_in_get)
        .service(sign_in_post)
        .service(sign_out_post);
}

#[derive(Template)]
#[template(path = "sign_in/sign_in.html", config = "src/pages/askama.toml")]
struct SignInPage {
    frame: Frame,
    next: String,
    fault: Option<&'static str>,
}

/// Where to go afterwards; and, in a demo alone, a token to sign in with at once.
#[derive(Deserialize)]
struct Asked {
    #[serde(default)]
    next: String,
    token: Option<String>,
}

/// What the form sends.
#[derive(Deserialize)]
struct SignIn {
    token: String,
    #[serde(default)]
    next: String,
}

/// A page of this service to go to; the shelf when it is none.
fn own(next: &str) -> &str {
    let path = next.starts_with('/') && !next.starts_with("//") && !next.contains('\\');
    match path && next.chars().all(|c| !c.is_control()) {
        true => next,
        false => "/",
    }
}

#[get("/sign-in")]
async fn sign_in_get(
    service: Data<Service>,
    request: HttpRequest,
    query: Query<Asked>,
) -> Result<HttpResponse, Refused> {
    if let Some(token) = query.token.clone()
        && let Some(cookie) = demo_session(&service, token, Asker::known(&request))
            .await
            .map_err(|problem| Refused::new(&request, problem))?
    {
        return Ok(led_on(cookie, &query.next));
    }
    let shown = SignInPage {
        frame: Frame::new("Sign in", Place::Elsewhere, &service, None),
        next: own(&query.next).to_owned(),
        fault: None,
    };
    page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error))
}

/// A session of a demo for the link that its start prints. Elsewhere a token in an address would stay in the browser's history,
/// so that none is taken from there.
async fn demo_session(
    service: &Service,
    token: String,
    asker: Asker,
) -> Result<Option<Cookie<'static>>, Problem> {
    let demo = service.read(installation_fetch).await?;
    match demo.is_some_and(|standing| standing.demo) {
        true => session(service, token, asker).await,
        false => Ok(None),
    }
}

/// A session for a token that opens something. It is looked up first, so that whoever guesses keeps nobody from writing.
async fn session(
    service: &Service,
    token: String,
    asker: Asker,
) -> Result<Option<Cookie<'static>>, Problem> {
    let (now, asked) = (service.now(), token.clone());
    if !service
        .read(move |conn| token_opens(conn, &asked, now))
        .await?
    {
        return Ok(None);
    }
    service
        .run("sign-in", move |tx| session_open(tx, &token, asker))
        .await
}

/// Leads on to where somebody who is signed in now wanted to go.
fn led_on(cookie: Cookie<'static>, next: &str) -> HttpResponse {
    HttpResponse::SeeOther()
        .cookie(cookie)
        .insert_header((LOCATION, own(next).to_owned()))
        .finish()
}

#[post("/sign-in")]
async fn sign_in_post(
    service: Data<Service>,
    request: HttpRequest,
    form: Form<SignIn>,
) -> Result<HttpResponse, Refused> {
    let refused = |problem| Refused::new(&request, problem);
    from_here(&request).map_err(refused)?;
    sign_in_allowed(&request).map_err(refused)?;
    let SignIn { token, next } = form.into_inner();
    let cookie = session(&service, token, Asker::known(&request))
        .await
        .map_err(refused)?;
    let Some(cookie) = cookie else {
        let shown = SignInPage {
            frame: Frame::new("Sign in", Place::Elsewhere, &service, None),
            next: own(&next).to_owned(),
            fault: Some(
                "This is no token that opens anything now: it may be mistyped, revoked or past its day.",
            ),
        };
        return page(StatusCode::UNPROCESSABLE_ENTITY, &shown)
            .map_err(|error| Refused::new(&request, error));
    };
    Ok(led_on(cookie, &next))
}

/// What the form to sign out sends.
#[derive(Deserialize)]
struct SignOut {
    form_key: String,
}

#[post("/sign-out")]
async fn sign_out_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    form: Form<SignOut>,
) -> Result<HttpResponse, Refused> {
    let refused = |problem| Refused::new(&request, problem);
    of_session(&request, &session, &form.form_key).map_err(refused)?;
    let asker = Asker::known(&request);
    let cookie = service
        .run("sign-out", move |tx| session_end(tx, &session, asker))
        .await
        .map_err(refused)?;
    Ok(HttpResponse::SeeOther()
        .cookie(cookie)
        .insert_header((LOCATION, "/sign-in"))
        .finish())
}

#[cfg(test)]
mod tests {
    use super::own;

    #[test]
    fn one_is_led_to_a_page_of_this_service_only() {
        for (next, expected) in [
            ("/", "/"),
            ("/lots/3?from=label", "/lots/3?from=label"),
            ("", "/"),
            ("https://elsewhere.example/", "/"),
            ("//elsewhere.example/", "/"),
            ("/\\elsewhere.example", "/"),
            ("/a\r\nSet-Cookie: b", "/"),
        ] {
            assert_eq!(own(next), expected);
        }
    }
}
