//! The address of the plan, and of its booking.

use actix_web::http::StatusCode;
use actix_web::http::header::LOCATION;
use actix_web::web::{Data, Form, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, ResponseError, get, post};
use askama::Template;

use super::asked::{Asked, COUNTED, Payer};
use super::ops::{Choices, Facts, book, facts, requested};
use super::plan_shown::{PlanShown, plan_shown};
use crate::base::Error;
use crate::casting::planning::request::PlanRequest;
use crate::http::sessions::Session;
use crate::http::{NoBody, Problem, Role, Service};
use crate::pages::form::{can_be_put_right, of_session, once_key};
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;

/// Who may book, as at the door of the API.
const BOOKERS: &[Role] = &[Role::Bench];

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config.service(plan_get).service(plan_post);
}

#[derive(Template)]
#[template(path = "plan/plan.html", config = "src/pages/askama.toml")]
struct PlanPage {
    frame: Frame,
    asked: Asked,
    /// The rows of who pays, with an empty one at the end.
    payers: Vec<Payer>,
    recipes: Choices,
    grants: Choices,
    counted: [(&'static str, &'static str); 2],
    plan: Option<PlanShown>,
    may_book: bool,
    form_key: String,
    once: String,
    /// What the form to book sends along: what was planned.
    sent: Vec<(&'static str, String)>,
    /// Why it was not booked.
    refused: Option<String>,
}

impl PlanPage {
    /// What was chosen and is none of the choices: it stays, as what was typed does.
    fn unknown<'a>(&self, chosen: &'a str, choices: &Choices) -> Option<&'a str> {
        let known = choices.iter().any(|(code, _)| code == chosen);
        Some(chosen).filter(|code| !known && !code.is_empty())
    }
}

#[get("/casts/plan")]
async fn plan_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
) -> Result<HttpResponse, Refused> {
    let query = form_urlencoded::parse(request.query_string().as_bytes());
    let asked = Asked::read(query);
    let shown = answer(&service, &session, asked, None).await;
    shown.map_err(|problem| Refused::new(&request, problem))
}

/// Answers with the page; `refused` is the status of a booking that was refused, and why.
async fn answer(
    service: &Service,
    session: &Session,
    asked: Asked,
    refused: Option<(StatusCode, String)>,
) -> Result<HttpResponse, Problem> {
    let (today, house) = (service.today(), service.house());
    let found = service
        .read(move |conn| facts(conn, asked, today, house))
        .await?;
    let (status, why) = match refused {
        Some((status, why)) => (status, Some(why)),
        None if found.refused => (StatusCode::CONFLICT, None),
        None if !found.asked.is_right() => (StatusCode::UNPROCESSABLE_ENTITY, None),
        None => (StatusCode::OK, None),
    };
    let shown = shown(found, service, session, why)?;
    Ok(page(status, &shown)?)
}

fn shown(
    found: Facts,
    service: &Service,
    session: &Session,
    refused: Option<String>,
) -> Result<PlanPage, Error> {
    let Facts {
        asked,
        recipes,
        grants,
        planned,
        ..
    } = found;
    let planned = planned.map(|planned| plan_shown(&planned, &asked, &grants, service.today()));
    let mut payers = asked.payers.clone();
    payers.push(Payer::default());
    Ok(PlanPage {
        frame: Frame::new("Plan a cast", Place::Casts, service, Some(session)),
        payers,
        recipes,
        grants,
        counted: COUNTED,
        plan: planned.transpose()?,
        may_book: session.caller.roles.allows(BOOKERS),
        form_key: session.form_key.clone(),
        once: once_key(service)?,
        sent: asked.pairs(),
        refused,
        asked,
    })
}

#[post("/casts/plan")]
async fn plan_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    form: Form<Vec<(String, String)>>,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    let sent = form.into_inner();
    let value = |name: &str| {
        let found = sent.iter().find(|(known, _)| known == name);
        found.map_or("", |(_, value)| value.as_str())
    };
    of_session(&request, &session, value("form_key")).map_err(refused)?;
    let mut asked = Asked::read(sent.iter().map(|(name, value)| (name, value)));
    let wanted = match requested(&mut asked) {
        Ok(Some(wanted)) => wanted,
        // What is wrong is marked when it is planned again.
        Ok(None) | Err(Error::Invalid(_)) => {
            let why = "something of it is not right: look at what is marked".to_owned();
            let refusal = Some((StatusCode::UNPROCESSABLE_ENTITY, why));
            let shown = answer(&service, &session, asked, refusal).await;
            return shown.map_err(refused);
        }
        Err(other) => return Err(refused(other.into())),
    };
    let kept =
        serde_json::to_vec(&wanted).map_err(|error| refused(Error::internal(error).into()))?;
    let once = NoBody::of_form(&request, &session.caller, value("once"), &kept).map_err(refused)?;
    match booked(&service, once, wanted).await {
        Ok(address) => Ok(HttpResponse::SeeOther()
            .insert_header((LOCATION, address))
            .finish()),
        Err(Refusal::PutRight(status, why)) => {
            let shown = answer(&service, &session, asked, Some((status, why))).await;
            shown.map_err(refused)
        }
        Err(Refusal::Problem(problem)) => Err(refused(problem)),
    }
}

/// Why a cast was not booked.
enum Refusal {
    /// What may be put right: the status, and why.
    PutRight(StatusCode, String),
    /// Anything else.
    Problem(Problem),
}

/// Books, and leads to the cast.
async fn booked(service: &Service, once: NoBody, wanted: PlanRequest) -> Result<String, Refusal> {
    let reply = service.reply(once, move |tx| book(tx, &wanted)).await;
    match reply {
        Ok(reply) => match (reply.refusal(), reply.location()) {
            (Some(why), _) => Err(Refusal::PutRight(reply.status(), why.to_owned())),
            (None, Some(address)) => Ok(address.to_owned()),
            (None, None) => Err(Refusal::Problem(
                Error::internal("a booking leads to no cast").into(),
            )),
        },
        Err(problem) if can_be_put_right(&problem) => Err(Refusal::PutRight(
            problem.status_code(),
            problem.words().1.to_owned(),
        )),
        Err(problem) => Err(Refusal::Problem(problem)),
    }
}
