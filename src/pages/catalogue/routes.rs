//! The addresses of the catalogue's pages and forms.

use std::collections::HashMap;

use actix_web::http::StatusCode;
use actix_web::http::header::LOCATION;
use actix_web::web::{Data, Form, Path, Query, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, ResponseError, get, post};
use askama::Template;
use serde::Deserialize;

use super::document::Typed;
use super::guide::{Step, catalogue_path};
use super::kinds::{kinds, kinds_of};
use super::lists::{SHOWN_OF_ALL, SHOWN_OF_ONE, Section, section};
use super::ops::{
    EntryFacts, Refusal, Sent, entry_changed, entry_facts, entry_made, entry_retired, faults,
    new_form, rows, standing,
};
use super::probe::KIND;
use super::rows::{bare, kind_words, noun_words};
use super::said::Done;
use super::shown::{Control, FormShown, Item};
use crate::base::FieldError;
use crate::catalogue::{MaterialKind, Noun};
use crate::http::sessions::Session;
use crate::http::{Problem, Role, Service};
use crate::pages::figure::Figure;
use crate::pages::form::of_session;
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;
use crate::pages::vessel::Shape;

/// Who may change the catalogue, as at the doors of the API.
const KEEPERS: &[Role] = &[Role::Buyer];

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config
        .service(catalogue_get)
        .service(new_get)
        .service(new_post)
        .service(entry_get)
        .service(entry_post)
        .service(retire_post);
}

#[derive(Template)]
#[template(path = "catalogue/catalogue.html", config = "src/pages/askama.toml")]
struct CataloguePage {
    frame: Frame,
    may: bool,
    /// The way to a first cast, where it is not made yet.
    steps: Vec<Step>,
    sections: Vec<Section>,
    /// Whether one noun alone is shown.
    one: bool,
}

#[derive(Template)]
#[template(path = "catalogue/new.html", config = "src/pages/askama.toml")]
struct NewPage {
    frame: Frame,
    form_key: String,
    title: String,
    back: (String, &'static str),
    path: String,
    /// What has to be there first, and where it is made.
    wanting: Option<(String, Vec<(String, String)>)>,
    form: FormShown,
}

#[derive(Template)]
#[template(path = "catalogue/kinds.html", config = "src/pages/askama.toml")]
struct KindsPage {
    frame: Frame,
    kinds: Vec<(&'static str, Figure)>,
}

#[derive(Template)]
#[template(path = "catalogue/entry.html", config = "src/pages/askama.toml")]
struct EntryPage {
    frame: Frame,
    form_key: String,
    back: (String, &'static str),
    code: String,
    path: String,
    said: Option<String>,
    /// What comes next, where a first cast is not made yet.
    next: Option<Step>,
    another: Option<(String, String)>,
    /// What its form showed does not stand any more.
    meanwhile: Option<String>,
    entry: EntryFacts,
    changing: bool,
    stays: Option<String>,
}

/// What of the catalogue is shown. What is not understood is passed over: a page is better than a complaint about its address.
#[derive(Default, Deserialize)]
struct Asked {
    of: Option<String>,
    page: Option<String>,
    kind: Option<String>,
    done: Option<String>,
}

/// The noun of an address.
fn noun(request: &HttpRequest, word: &str) -> Result<Noun, Refused> {
    named(word).ok_or_else(|| Refused::new(request, Problem::no_such_route(request.path())))
}

fn named(word: &str) -> Option<Noun> {
    Noun::ALL
        .into_iter()
        .find(|noun| catalogue_path(*noun).trim_start_matches("/catalogue/") == word)
}

fn is_keeper(session: &Session) -> bool {
    session.caller.roles.allows(KEEPERS)
}

#[get("/catalogue")]
async fn catalogue_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    asked: Query<Asked>,
) -> Result<HttpResponse, Refused> {
    let (currency, today) = (service.base_currency(), service.today());
    let only = asked.of.as_deref().and_then(named);
    let at = asked
        .page
        .as_deref()
        .and_then(|page| page.parse().ok())
        .unwrap_or(0);
    let (standing, sections) = service
        .read(move |conn| {
            let standing = standing(conn, (today, currency))?;
            let mut sections = Vec::new();
            for noun in Noun::ALL
                .into_iter()
                .filter(|noun| only.is_none_or(|only| only == *noun))
            {
                let (page, shown) = match only {
                    Some(_) => (at, SHOWN_OF_ONE),
                    None => (0, SHOWN_OF_ALL),
                };
                sections.push(Section {
                    wanting: standing.wanting(noun),
                    ..section(noun, rows(conn, noun, Some(currency))?, page, shown)
                });
            }
            Ok((standing, sections))
        })
        .await
        .map_err(|problem| Refused::new(&request, problem))?;
    let shown = CataloguePage {
        frame: Frame::new("Catalogue", Place::Shelf, &service, Some(&session)),
        may: is_keeper(&session),
        steps: match only.is_some() || standing.is_gone() {
            true => Vec::new(),
            false => standing.steps(),
        },
        sections,
        one: only.is_some(),
    };
    page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error))
}

#[get("/catalogue/{noun}/new")]
async fn new_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    word: Path<String>,
    asked: Query<Asked>,
) -> Result<HttpResponse, Refused> {
    let noun = noun(&request, &word)?;
    let kind = asked.kind.as_deref().and_then(MaterialKind::parse);
    if noun == Noun::Material && kind.is_none() {
        let shown = KindsPage {
            frame: Frame::new("New material", Place::Shelf, &service, Some(&session)),
            kinds: kinds(),
        };
        return page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error));
    }
    let mut typed = Typed::new();
    if let Some(kind) = kind.filter(|_| noun == Noun::Material) {
        typed.insert(format!("/{KIND}"), kind.as_str().to_owned());
    }
    let shown = new_page(&service, &session, noun, typed, Vec::new()).await;
    let shown = shown.map_err(|problem| Refused::new(&request, problem))?;
    page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error))
}

/// Makes the page of a new entry, with what was typed and what is wrong with it.
async fn new_page(
    service: &Service,
    session: &Session,
    noun: Noun,
    typed: Typed,
    faults: Vec<FieldError>,
) -> Result<NewPage, Problem> {
    let (currency, today) = (service.base_currency(), service.today());
    let kind = typed
        .get(&format!("/{KIND}"))
        .and_then(|kind| MaterialKind::parse(kind));
    let (form, wanting) = service
        .read(move |conn| {
            let standing = standing(conn, (today, currency))?;
            let links = standing.missing(noun).into_iter();
            let links = links.map(|need| (need.address(), super::guide::new(need.words())));
            let wanting = standing.wanting(noun).map(|words| (words, links.collect()));
            Ok((new_form(conn, noun, &typed, &faults, currency)?, wanting))
        })
        .await?;
    let one = kind
        .filter(|kind| *kind != MaterialKind::Sundry)
        .map_or(noun_words(noun).0, kind_words);
    Ok(NewPage {
        frame: Frame::new("New in the catalogue", Place::Shelf, service, Some(session)),
        form_key: session.form_key.clone(),
        title: format!("New {}", bare(one)),
        back: back(noun),
        path: catalogue_path(noun),
        wanting,
        form,
    })
}

/// Where the entries of a noun are listed, and what that is called.
fn back(noun: Noun) -> (String, &'static str) {
    let word = catalogue_path(noun);
    (
        format!("/catalogue#{}", word.trim_start_matches("/catalogue/")),
        noun_words(noun).1,
    )
}

/// What a form sends: the key, and what was typed.
type Sending = Form<HashMap<String, String>>;

fn key(sent: &HashMap<String, String>) -> &str {
    sent.get("form_key").map_or("", String::as_str)
}

fn typed(sent: HashMap<String, String>) -> Typed {
    sent.into_iter()
        .filter(|(name, _)| name.starts_with('/'))
        .collect()
}

/// Whether another value, or another look, may put it right: then the form is shown again.
fn can_be_put_right(problem: &Problem) -> bool {
    matches!(
        problem.status_code(),
        StatusCode::CONFLICT
            | StatusCode::UNPROCESSABLE_ENTITY
            | StatusCode::PRECONDITION_FAILED
            | StatusCode::PRECONDITION_REQUIRED
    )
}

fn led_to(address: &str) -> HttpResponse {
    HttpResponse::SeeOther()
        .insert_header((LOCATION, address))
        .finish()
}

#[post("/catalogue/{noun}")]
async fn new_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    word: Path<String>,
    sending: Sending,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    let sent = sending.into_inner();
    of_session(&request, &session, key(&sent)).map_err(refused)?;
    let noun = noun(&request, &word)?;
    let typed = typed(sent);
    let making = typed.clone();
    let made = service
        .run(session.caller.name.clone(), move |tx| {
            entry_made(tx, noun, &making)
        })
        .await;
    match made {
        Ok(code) => Ok(led_to(&format!(
            "{}/{code}?done={}",
            catalogue_path(noun),
            Done::Made.as_str()
        ))),
        Err(problem) if can_be_put_right(&problem) => {
            let shown = new_page(&service, &session, noun, typed, faults(&problem));
            let shown = shown.await.map_err(refused)?;
            page(problem.status_code(), &shown).map_err(|error| Refused::new(&request, error))
        }
        Err(problem) => Err(refused(problem)),
    }
}

#[get("/catalogue/{noun}/{code}")]
async fn entry_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    path: Path<(String, String)>,
    asked: Query<Asked>,
) -> Result<HttpResponse, Refused> {
    let (word, code) = path.into_inner();
    let noun = noun(&request, &word)?;
    let done = asked.done.as_deref().and_then(Done::from_word);
    let shown = entry_page(&service, &session, (noun, code), done, None).await;
    let shown = shown.map_err(|problem| Refused::new(&request, problem))?;
    page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error))
}

/// Makes the page of an entry, with a change that was refused.
async fn entry_page(
    service: &Service,
    session: &Session,
    (noun, code): (Noun, String),
    done: Option<Done>,
    refusal: Option<Refusal>,
) -> Result<EntryPage, Problem> {
    let (currency, today, asked) = (service.base_currency(), service.today(), code.clone());
    let refused = refusal.is_some();
    let (entry, next) = service
        .read(move |conn| {
            let next = match done {
                Some(Done::Made) => standing(conn, (today, currency))?.next(),
                _ => None,
            };
            Ok((
                entry_facts(conn, noun, &asked, refusal.as_ref(), currency)?,
                next,
            ))
        })
        .await?;
    let may = is_keeper(session);
    let of_kind = MaterialKind::parse(entry.kind);
    Ok(EntryPage {
        frame: Frame::new("Catalogue", Place::Shelf, service, Some(session)),
        form_key: session.form_key.clone(),
        back: back(noun),
        path: format!("{}/{code}", catalogue_path(noun)),
        said: done.map(|done| done.said(&entry.name)),
        next: next.filter(|_| may),
        another: (may && done == Some(Done::Made)).then(|| match of_kind {
            Some(kind) => kinds_of(kind),
            None => (
                format!("{}/new", catalogue_path(noun)),
                format!("Another {}", bare(noun_words(noun).0)),
            ),
        }),
        meanwhile: None,
        changing: may && (refused || !entry.retired),
        entry,
        code,
        stays: None,
    })
}

#[post("/catalogue/{noun}/{code}")]
async fn entry_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    path: Path<(String, String)>,
    sending: Sending,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    let (word, code) = path.into_inner();
    let form = sending.into_inner();
    of_session(&request, &session, key(&form)).map_err(refused)?;
    let noun = noun(&request, &word)?;
    let read = form
        .get("read")
        .and_then(|read| serde_json::from_str(read).ok());
    let sent = Sent {
        version: form.get("version").and_then(|version| version.parse().ok()),
        read: read.unwrap_or_default(),
        typed: typed(form),
    };
    let (changing, of) = (sent.clone(), code.clone());
    let changed = service
        .run(session.caller.name.clone(), move |tx| {
            entry_changed(tx, noun, &of, &changing)
        })
        .await;
    match changed {
        Ok(changed) => {
            let done = if changed { Done::Changed } else { Done::Same };
            Ok(led_to(&format!(
                "{}/{code}?done={}",
                catalogue_path(noun),
                done.as_str()
            )))
        }
        Err(problem) if can_be_put_right(&problem) => {
            let status = problem.status_code();
            let changed_meanwhile = status == StatusCode::PRECONDITION_FAILED;
            let refusal = Refusal {
                sent,
                faults: match changed_meanwhile {
                    true => Vec::new(),
                    false => faults(&problem),
                },
                changed_meanwhile,
            };
            let shown = entry_page(&service, &session, (noun, code), None, Some(refusal));
            let mut shown = shown.await.map_err(refused)?;
            shown.meanwhile = changed_meanwhile.then(|| problem.words().0.to_owned());
            page(status, &shown).map_err(|error| Refused::new(&request, error))
        }
        Err(problem) => Err(refused(problem)),
    }
}

#[post("/catalogue/{noun}/{code}/retire")]
async fn retire_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    path: Path<(String, String)>,
    sending: Sending,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    let (word, code) = path.into_inner();
    of_session(&request, &session, key(&sending)).map_err(refused)?;
    let noun = noun(&request, &word)?;
    let of = code.clone();
    let retired = service
        .run(session.caller.name.clone(), move |tx| {
            entry_retired(tx, noun, &of)
        })
        .await;
    match retired {
        Ok(()) => Ok(led_to(&format!(
            "{}/{code}?done={}",
            catalogue_path(noun),
            Done::Retired.as_str()
        ))),
        Err(problem) if can_be_put_right(&problem) => {
            let shown = entry_page(&service, &session, (noun, code), None, None);
            let mut shown = shown.await.map_err(refused)?;
            shown.stays = Some(problem.words().1.to_owned());
            page(problem.status_code(), &shown).map_err(|error| Refused::new(&request, error))
        }
        Err(problem) => Err(refused(problem)),
    }
}
