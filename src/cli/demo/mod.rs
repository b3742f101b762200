//! `heeltap demo`: fills a database of its own with an invented lab and serves it.
//!
//! Invariants: a database that is not a demo's is refused before anything in it is changed; only the demo's own file in
//! the working directory is ever made anew, and not while a process has it open; what a demo in another database holds
//! stays as it is. Standard output has a link that signs in, the address, an administrator's token and three calls to try, in this order.
//! Deliberately absent: what happens in the lab (the files in seeds-demo/ say it).

mod day;
mod replay;
mod seeds;
mod sheet;

use std::io::IsTerminal;
use std::net::TcpListener;
use std::sync::Arc;

use chrono::DateTime;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

pub use replay::{Replayed, replay};

use super::failure::Failure;
use super::output::say;
use super::serve::until_signal;
use super::settings::Given;
use crate::app::{self, Outside, Settings};
use crate::base::{Clock, ManualClock, SystemClock};
use crate::db::{DatabaseUrl, installation_peek, job_claim, job_give_back, sqlite_remove};
use crate::http::tokens::{TokenIn, token_create};
use crate::http::{Role, Service};

/// Who makes the demo's token, in the books.
const ACTOR: &str = "demo";
/// Marks in the table of jobs: the filling began, and the filling is done. Their day only makes them one of a kind.
const BEGUN: &str = "demo-begun";
const DONE: &str = "demo-done";

pub(super) fn run(given: &Given) -> Result<(), Failure> {
    let (settings, own_file) = given.demo_settings()?;
    address_free(&given.listen)?;
    make_way(&settings.database, own_file)?;
    fill(&settings)?;
    let service = app::open(&settings, Outside::default())?;
    let token = token(&service)?;
    until_signal(service, given, |origin| tell(origin, &token))
}

/// Says early that the address is taken, before the filling is waited for.
fn address_free(listen: &str) -> Result<(), Failure> {
    TcpListener::bind(listen).map(drop).map_err(|e| {
        Failure::Failed(format!(
            "cannot listen on `{listen}`: {e}. If another program has the port, such as an earlier demo, end it, or choose another address: HEELTAP_LISTEN=127.0.0.1:0 takes any port that is free"
        ))
    })
}

/// Refuses a database that is not a demo's, and removes the demo's own file of an earlier start.
fn make_way(database: &DatabaseUrl, own_file: bool) -> Result<(), Failure> {
    let standing = installation_peek(database)?;
    if standing.as_ref().is_some_and(|standing| !standing.demo) {
        return Err(Failure::Failed(format!(
            "{database} holds somebody's own data, not a demo's, and is left as it is: name another database in DATABASE_URL, or start the demo in another directory"
        )));
    }
    match database {
        DatabaseUrl::Sqlite { path, .. } if own_file && standing.is_some() => {
            tracing::info!(%database, "the file of an earlier demo is made anew");
            sqlite_remove(path)?;
        }
        _ => {}
    }
    Ok(())
}

/// Fills the database unless a demo filled it before.
fn fill(settings: &Settings) -> Result<(), Failure> {
    let clock = Arc::new(ManualClock::new(SystemClock.now()));
    let outside = Outside {
        clock: Arc::clone(&clock) as _,
        ..Outside::default()
    };
    let service = app::open(settings, outside)?;
    let (today, now) = (service.today(), service.now());
    let mark_day = DateTime::UNIX_EPOCH.date_naive();
    let mark = |name: &str| {
        service
            .db()
            .write(|conn| job_claim(conn, name, mark_day, now))
    };
    if !mark(BEGUN)? {
        if !mark(DONE)? {
            return Ok(());
        }
        service
            .db()
            .write(|conn| job_give_back(conn, DONE, mark_day))?;
        return Err(Failure::Failed(format!(
            "{} is being filled by another demo, or the filling was interrupted: name an empty database in DATABASE_URL",
            settings.database
        )));
    }
    let bar = progress();
    let outcome = replay(&service, &clock, today, &mut |done, of| {
        bar.set_length(of as u64);
        bar.set_position(done as u64);
    });
    bar.finish_and_clear();
    let replayed = outcome?;
    mark(DONE)?;
    tracing::info!(
        entries = replayed.entries,
        deliveries = replayed.deliveries,
        casts = replayed.casts,
        events = replayed.events,
        "the demo lab is filled"
    );
    Ok(())
}

/// A bar while the database is filled, on a terminal only.
fn progress() -> ProgressBar {
    if !std::io::stderr().is_terminal() {
        return ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
    }
    let bar = ProgressBar::new(0);
    if let Ok(style) =
        ProgressStyle::with_template("filling the demo lab {bar:40} {pos}/{len} {elapsed}")
    {
        bar.set_style(style);
    }
    bar
}

/// A new administrator's token for this start.
fn token(service: &Service) -> Result<String, Failure> {
    let input = TokenIn {
        name: ACTOR.to_owned(),
        roles: vec![Role::Administrator],
        expires_at: None,
    };
    let made = service.as_actor(ACTOR, |tx| token_create(tx, service.entropy(), input))?;
    made.token
        .ok_or_else(|| Failure::Failed("the token was made without its secret".to_owned()))
}

/// What to try, ready to be pasted.
const CALLS: [(&str, &str); 3] = [
    ("what stands on the shelf", "/v1/lots?limit=100"),
    ("what to order, and by when", "/v1/warnings"),
    ("what a chip costs, by grant", "/v1/reports/replica-cost"),
];

fn tell(origin: &str, token: &str) -> Result<(), Failure> {
    say(&format!("open {origin}/sign-in?token={token} in a browser"))?;
    say(&format!("listening on {origin}"))?;
    say(&format!("administrator token: {token}"))?;
    CALLS.iter().try_for_each(|(what, path)| {
        say(&format!(
            "curl -s -H 'Authorization: Bearer {token}' '{origin}{path}'  # {what}"
        ))
    })
}
