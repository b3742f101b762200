//! The address of a file that waits: the look at it, and what is decided about it.

use std::collections::HashMap;
use std::time::Duration;

use actix_web::http::StatusCode;
use actix_web::http::header::LOCATION;
use actix_web::web::{self, Data, Form, Path, Query, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, ResponseError, get, post};
use askama::Template;
use serde::Deserialize;

use super::dry_run::{DryRun, dry_run};
use super::ops::{circumstances, look};
use super::options::{Options, options, said};
use super::overview::moment;
use super::routes::{UploadForm, settings_of};
use crate::base::Error;
use crate::http::sessions::Session;
use crate::http::{Problem, Service};
use crate::pages::form::of_session;
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;
use crate::purchasing::csv_limits;
use crate::purchasing::ops::{
    Commits, DraftView, Look, Progress, Settled, Standing, draft_forget, draft_get, draft_restate,
};

/// How long an answer waits for a file to be received: a small one is done by then, and no page is shown in between.
const WAIT_MS: u64 = 400;

pub(super) fn routes(config: &mut ServiceConfig) {
    config.service(file_get).service(deed_post);
}

#[derive(Template)]
#[template(path = "receive/file.html", config = "src/pages/askama.toml")]
struct FilePage {
    frame: Frame,
    form_key: String,
    id: i64,
    name: String,
    sent: String,
    read: String,
    options: Options,
    refused: Option<String>,
    unusable: Option<String>,
    look: Option<DryRun>,
    to_mend: bool,
    from_the_top: bool,
    upload: UploadForm,
}

#[derive(Template)]
#[template(path = "receive/under_way.html", config = "src/pages/askama.toml")]
struct UnderWayPage {
    frame: Frame,
    name: String,
    progress: Progress,
    words: String,
}

#[derive(Template)]
#[template(path = "receive/nothing_new.html", config = "src/pages/askama.toml")]
struct NothingNewPage {
    frame: Frame,
    name: String,
}

/// Which of the rows are shown. What is not understood is passed over.
#[derive(Default, Deserialize)]
struct Asked {
    after: Option<String>,
}

/// A number in an address; else there is nothing there.
pub(super) fn number(
    request: &HttpRequest,
    noun: &'static str,
    text: &str,
) -> Result<i64, Refused> {
    text.parse()
        .map_err(|_| Refused::new(request, Error::not_found(noun, text)))
}

/// What is being received.
fn commits(service: &Service) -> Result<&Commits, Problem> {
    let missing = || Problem::from(Error::internal("nothing receives files here"));
    service.part::<Commits>().ok_or_else(missing)
}

fn led(address: String) -> HttpResponse {
    HttpResponse::SeeOther()
        .insert_header((LOCATION, address))
        .finish()
}

#[get("/receive/files/{id}")]
async fn file_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    id: Path<String>,
    asked: Query<Asked>,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    let id = number(&request, "file", &id)?;
    let after = asked.after.as_ref().and_then(|after| after.parse().ok());
    let after = after.unwrap_or(0);
    let why = match commits(&service).map_err(refused)?.standing(id) {
        Some(Standing::UnderWay(progress)) => {
            let draft = service.read(move |conn| draft_get(conn, id)).await;
            let draft = draft.map_err(refused)?;
            let shown = under_way(&service, &session, draft, progress);
            return page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error));
        }
        Some(Standing::Refused(problem)) => Some(problem.words().1.to_owned()),
        None => None,
    };
    file_page(
        &service,
        &request,
        &session,
        (id, after),
        (StatusCode::OK, why),
    )
    .await
}

fn under_way(
    service: &Service,
    session: &Session,
    draft: DraftView,
    progress: Progress,
) -> UnderWayPage {
    UnderWayPage {
        frame: Frame::new("Receiving", Place::Receive, service, Some(session)),
        name: draft.name,
        words: match progress.all {
            0 => "It is read, and decided on.".to_owned(),
            all => format!("{} of {all} lots are made.", progress.done),
        },
        progress,
    }
}

/// The page of a file that waits; one that waits no longer leads on.
async fn file_page(
    service: &Service,
    request: &HttpRequest,
    session: &Session,
    (id, after): (i64, u64),
    (status, why): (StatusCode, Option<String>),
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(request, problem);
    let failed = |error: Error| Refused::new(request, error);
    let day = circumstances(service);
    let limits = csv_limits(service);
    let found = service.read(move |conn| look(conn, id, day, limits)).await;
    let (draft, look, items) = found.map_err(refused)?;
    if let Some(settled) = draft.settled {
        return afterwards(service, session, draft.name, settled).map_err(failed);
    }
    let mut shown = FilePage {
        frame: Frame::new("A purchase file", Place::Receive, service, Some(session)),
        form_key: session.form_key.clone(),
        id,
        sent: format!(
            "{}, by {}",
            moment(draft.created_at, service.time_zone(), day.0),
            draft.created_by
        ),
        read: said(&draft.settings),
        options: options(&draft.settings),
        refused: why,
        unusable: None,
        look: None,
        to_mend: false,
        from_the_top: after == 0,
        upload: UploadForm::new(&draft.settings, service),
        name: draft.name,
    };
    match look {
        Look::Rows { report, table } => {
            let rows = web::block(move || dry_run(&report, &table, after, (&items, day.1))).await;
            let rows = rows.map_err(|error| failed(Error::internal(error)))?;
            shown.to_mend = rows.in_error;
            shown.look = Some(rows);
        }
        Look::Unusable { detail } => {
            shown.to_mend = true;
            shown.unusable = Some(detail);
        }
        Look::Settled => {}
    }
    page(status, &shown).map_err(failed)
}

/// Where a file leads that is in the books.
fn afterwards(
    service: &Service,
    session: &Session,
    name: String,
    settled: Settled,
) -> Result<HttpResponse, Error> {
    match settled.import_id {
        Some(import) => Ok(led(format!("/receive/imports/{import}"))),
        None => {
            let frame = Frame::new("Nothing new", Place::Receive, service, Some(session));
            page(StatusCode::OK, &NothingNewPage { frame, name })
        }
    }
}

#[post("/receive/files/{id}/{deed}")]
async fn deed_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    path: Path<(String, String)>,
    form: Form<HashMap<String, String>>,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    let key = form.get("form_key").map_or("", String::as_str);
    of_session(&request, &session, key).map_err(refused)?;
    let id = number(&request, "file", &path.0)?;
    let (known, actor) = (
        commits(&service).map_err(refused)?,
        session.caller.name.clone(),
    );
    match path.1.as_str() {
        "receive" => received(&service, &request, &session, id).await,
        "read" => {
            let settings = settings_of(&form).map_err(refused)?;
            let changed = service.run(actor, move |tx| draft_restate(tx, id, &settings));
            changed.await.map_err(refused)?;
            known.forgive(id);
            Ok(led(format!("/receive/files/{id}")))
        }
        "forget" => {
            let forgotten = service.run(actor, move |tx| draft_forget(tx, id));
            forgotten.await.map_err(refused)?;
            known.forgive(id);
            Ok(led("/receive".to_owned()))
        }
        _ => Err(refused(Problem::no_such_route(request.path()))),
    }
}

/// Begins to receive a file, and answers when it is done or takes longer.
async fn received(
    service: &Service,
    request: &HttpRequest,
    session: &Session,
    id: i64,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(request, problem);
    let known = commits(service).map_err(refused)?.clone();
    let begun = known.begin(service, &session.caller.name, id);
    let standing = match begun {
        Ok(()) => {
            let wait = Duration::from_millis(WAIT_MS);
            web::block(move || known.settled(id, wait))
                .await
                .map_err(|error| Refused::new(request, Error::internal(error)))?
        }
        Err(error) => Some(Standing::Refused(error.into())),
    };
    match standing {
        Some(Standing::UnderWay(_)) | None => Ok(led(format!("/receive/files/{id}"))),
        Some(Standing::Refused(problem)) => match problem.status_code() {
            status @ (StatusCode::CONFLICT | StatusCode::UNPROCESSABLE_ENTITY) => {
                let why = Some(problem.words().1.to_owned());
                file_page(service, request, session, (id, 0), (status, why)).await
            }
            _ => Err(refused(problem)),
        },
    }
}
