//! `heeltap token`: makes, lists and revokes tokens in the database itself, for whoever can reach it. The way back in
//! when the last administrator's token is lost.

use chrono::{DateTime, Utc};
use clap::Subcommand;

use super::failure::Failure;
use super::output::say;
use super::settings::Given;
use crate::app::{self, Outside};
use crate::http::tokens::{TokenIn, TokenOut, token_create, token_list, token_revoke};
use crate::http::{Page, Role, Roles, Service};

/// Who acts, in the books.
const ACTOR: &str = "command line";

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Make a token and print its secret, which cannot be read again.
    Create {
        /// The name that will stand on what the token writes.
        #[arg(long)]
        name: String,
        /// What it may do: reader, bench, buyer, administrator. May be given several times, or with commas.
        #[arg(long, required = true, value_delimiter = ',')]
        role: Vec<Role>,
        /// When it ends, as an instant such as 2027-01-31T00:00:00Z. Never unless said.
        #[arg(long)]
        expires_at: Option<DateTime<Utc>>,
    },
    /// List all tokens, without their secrets.
    List,
    /// Revoke a token: it opens nothing from now on.
    Revoke {
        /// Its id, as `list` shows it.
        id: i64,
    },
}

pub(super) fn run(given: &Given, command: &Command) -> Result<(), Failure> {
    let service = app::open(&given.settings()?, Outside::default())?;
    match command {
        Command::Create {
            name,
            role,
            expires_at,
        } => {
            let input = TokenIn {
                name: name.clone(),
                roles: role.clone(),
                expires_at: *expires_at,
            };
            let made = service.as_actor(ACTOR, |tx| token_create(tx, service.entropy(), input))?;
            say(&made.token.unwrap_or_default())?;
        }
        Command::List => list(&service)?,
        Command::Revoke { id } => service.as_actor(ACTOR, |tx| token_revoke(tx, *id))?,
    }
    Ok(())
}

fn list(service: &Service) -> Result<(), Failure> {
    let mut page = Page {
        after: 0,
        limit: 1000,
    };
    say("id\tname\troles\tstate")?;
    loop {
        let tokens = service.db().read(|conn| token_list(conn, page))?;
        for token in &tokens {
            say(&line(token, service.now()))?;
        }
        match tokens.last() {
            Some(last) => page.after = last.id,
            None => return Ok(()),
        }
    }
}

fn line(token: &TokenOut, now: DateTime<Utc>) -> String {
    let state = match (token.revoked_at, token.expires_at) {
        (Some(at), _) => format!("revoked at {}", at.to_rfc3339()),
        (None, Some(at)) if at <= now => format!("ended at {}", at.to_rfc3339()),
        (None, Some(at)) => format!("until {}", at.to_rfc3339()),
        (None, None) => "open".to_owned(),
    };
    let roles = Roles::new(token.roles.clone());
    format!("{}\t{}\t{roles}\t{state}", token.id, token.name)
}
