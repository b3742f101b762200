//! Who makes a request: a token's id, name and roles.

use std::fmt;
use std::future::{Ready, ready};
use std::str::FromStr;

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpMessage, HttpRequest};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::problem::Problem;

/// What a token may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Reads reports, stock and the catalogue.
    Reader,
    /// Plans, books, pours, demoulds and counts.
    Bench,
    /// Orders, imports, and keeps the catalogue.
    Buyer,
    /// Does everything, tokens and periods included.
    Administrator,
}

impl Role {
    /// All roles, in the order in which they are written.
    pub const ALL: [Self; 4] = [Self::Reader, Self::Bench, Self::Buyer, Self::Administrator];

    /// The role's word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Reader => "reader",
            Self::Bench => "bench",
            Self::Buyer => "buyer",
            Self::Administrator => "administrator",
        }
    }
}

impl FromStr for Role {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|role| role.as_str() == text)
            .ok_or_else(|| {
                format!("`{text}` is no role: write reader, bench, buyer or administrator")
            })
    }
}

/// A set of roles.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Roles(Vec<Role>);

impl Roles {
    /// A set of the roles given; repeats fall together.
    #[must_use]
    pub fn new(mut roles: Vec<Role>) -> Self {
        roles.sort_unstable();
        roles.dedup();
        Self(roles)
    }

    /// Whether one of `allowed` is in the set; an administrator always is let through.
    #[must_use]
    pub fn allows(&self, allowed: &[Role]) -> bool {
        self.0
            .iter()
            .any(|role| *role == Role::Administrator || allowed.contains(role))
    }

    /// The roles, in order.
    #[must_use]
    pub fn as_slice(&self) -> &[Role] {
        &self.0
    }
}

impl fmt::Display for Roles {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words: Vec<&str> = self.0.iter().map(|role| role.as_str()).collect();
        f.write_str(&words.join(","))
    }
}

impl FromStr for Roles {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        text.split(',')
            .map(|word| word.trim().parse())
            .collect::<Result<Vec<Role>, _>>()
            .map(Self::new)
    }
}

/// The token behind a request. Put there by the door, before any body is read.
#[derive(Debug, Clone)]
pub struct Caller {
    /// The token's id.
    pub token_id: i64,
    /// The token's name, which stands as `actor` on what the request writes.
    pub name: String,
    /// What the token may do.
    pub roles: Roles,
}

impl FromRequest for Caller {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roles_are_a_set_and_the_administrator_passes() {
        let roles: Roles = "buyer, reader,buyer".parse().unwrap();
        assert_eq!(roles.to_string(), "reader,buyer");
        assert!(roles.allows(&[Role::Buyer]));
        assert!(!roles.allows(&[Role::Bench]));
        assert!(
            "administrator"
                .parse::<Roles>()
                .unwrap()
                .allows(&[Role::Bench])
        );
        assert!("owner".parse::<Roles>().is_err());
    }
}
