//! Tokens: made, listed, revoked. A token is 256 random bits; only its SHA-256 is kept, so it can be shown once.

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use utoipa::ToSchema;

use super::caller::{Role, Roles};
use super::paging::Page;
use super::store;
use crate::base::Entropy;
use crate::base::Error;
use crate::db::{AnyConnection, Tx, instant, stored_instant};

/// A token to be made.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TokenIn {
    /// The name that will stand as `actor` on what the token writes; 1 to 100 characters.
    #[schema(
        min_length = 1,
        max_length = 100,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub name: String,
    /// What the token may do; at least one role.
    #[schema(min_items = 1)]
    pub roles: Vec<Role>,
    /// When the token ends; never unless said.
    pub expires_at: Option<DateTime<Utc>>,
}

/// A token without its secret.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct TokenOut {
    /// The token's id.
    pub id: i64,
    /// The token's name.
    pub name: String,
    /// What it may do.
    pub roles: Vec<Role>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it ends.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expires_at: Option<DateTime<Utc>>,
    /// When it was revoked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub revoked_at: Option<DateTime<Utc>>,
}

/// A token just made, with its secret: shown this once.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct TokenMade {
    /// The token's id.
    pub id: i64,
    /// The token's name.
    pub name: String,
    /// What it may do.
    pub roles: Vec<Role>,
    /// The secret, to be sent as `Authorization: Bearer …`. It cannot be read again: the answer to a repeat under the
    /// same idempotency key is without it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub token: Option<String>,
}

impl TokenMade {
    /// The same without the secret.
    #[must_use]
    pub fn without_secret(&self) -> Self {
        Self {
            token: None,
            ..self.clone()
        }
    }
}

/// The hash under which a secret is kept.
#[must_use]
pub fn hash(secret: &str) -> String {
    hex::encode(Sha256::digest(secret.as_bytes()))
}

/// A new secret of 256 random bits, which begins with `prefix`.
///
/// # Errors
/// [`Error::Internal`] when the operating system gives no random bytes.
pub fn secret_make(entropy: &dyn Entropy, prefix: &str) -> Result<String, Error> {
    let mut secret = [0_u8; 32];
    entropy.fill(&mut secret)?;
    Ok(format!("{prefix}{}", hex::encode(secret)))
}

/// The name of something that opens a door, without blanks around it.
///
/// # Errors
/// [`Error::Invalid`] at `/name` when it is empty or too long.
pub fn name_checked(name: &str) -> Result<String, Error> {
    let trimmed = name.trim();
    if trimmed.is_empty() || trimmed.chars().count() > 100 || trimmed.chars().any(char::is_control)
    {
        return Err(Error::invalid(
            "/name",
            format!("`{name}` is no name: 1 to 100 characters, none of them a control character"),
        ));
    }
    Ok(trimmed.to_owned())
}

/// Makes a token.
///
/// # Errors
/// [`Error::Invalid`] when the name is empty or too long, no role is given, or it would end in the past.
pub fn token_create(
    tx: &mut Tx<'_>,
    entropy: &dyn Entropy,
    input: TokenIn,
) -> Result<TokenMade, Error> {
    let name = name_checked(&input.name)?;
    if input.roles.is_empty() {
        return Err(Error::invalid(
            "/roles",
            "no role is given: name at least one of reader, bench, buyer, administrator",
        ));
    }
    if let Some(at) = input.expires_at.filter(|at| *at <= tx.now) {
        return Err(Error::invalid(
            "/expires_at",
            format!("{at} is not in the future"),
        ));
    }
    let token = secret_make(entropy, "ht_")?;
    let roles = Roles::new(input.roles);
    let id = store::token_insert(
        tx.conn,
        &name,
        &hash(&token),
        &roles,
        tx.stored_now(),
        input.expires_at.map(stored_instant),
    )?;
    Ok(TokenMade {
        id,
        name,
        roles: roles.as_slice().to_vec(),
        token: Some(token),
    })
}

/// Whether no token was ever made.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn none_yet(conn: &mut AnyConnection) -> Result<bool, Error> {
    Ok(store::token_count(conn)? == 0)
}

/// One page of the tokens, with one row more than asked for.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn token_list(conn: &mut AnyConnection, page: Page) -> Result<Vec<TokenOut>, Error> {
    store::tokens_after(conn, page.after, page.limit + 1)?
        .into_iter()
        .map(shown)
        .collect()
}

/// One token.
///
/// # Errors
/// [`Error::NotFound`] when there is no such token.
pub fn token_get(conn: &mut AnyConnection, id: i64) -> Result<TokenOut, Error> {
    let row = store::token_fetch(conn, id)?;
    row.map_or_else(|| Err(Error::not_found("token", id)), shown)
}

fn shown(row: store::TokenRow) -> Result<TokenOut, Error> {
    let roles: Roles = row.roles.parse().map_err(Error::Internal)?;
    let at = |at: Option<NaiveDateTime>| at.map(instant);
    Ok(TokenOut {
        id: row.id,
        name: row.name,
        roles: roles.as_slice().to_vec(),
        created_at: instant(row.created_at),
        expires_at: at(row.expires_at),
        revoked_at: at(row.revoked_at),
    })
}

/// Revokes a token: it opens nothing from now on.
///
/// # Errors
/// [`Error::NotFound`] when there is no such token.
pub fn token_revoke(tx: &mut Tx<'_>, id: i64) -> Result<(), Error> {
    let now = tx.stored_now();
    if store::token_revoke(tx.conn, id, now)? {
        Ok(())
    } else {
        Err(Error::NotFound {
            noun: "token",
            key: id.to_string(),
        })
    }
}
