//! Who may call what: every operation of the service with the roles it allows, in one table.
//!
//! Invariants: an operation that is not listed is answered 404 at the door; an administrator passes every door; the
//! tests hold the table against the OpenAPI document in both directions. Where two paths match, the first counts.

use crate::http::{Door, Role};

type Allowed = Option<&'static [Role]>;

/// Open: without a token.
const ANYONE: Allowed = None;
/// Administrators only: they need not be named.
const ADMINISTRATOR: Allowed = Some(&[]);

/// Whoever reads.
const READERS: Allowed = Some(&[Role::Reader, Role::Bench, Role::Buyer]);
/// Whoever buys.
const BUYER: Allowed = Some(&[Role::Buyer]);

const fn door(method: &'static str, path: &'static str, roles: Allowed) -> Door {
    Door {
        method,
        path,
        roles,
    }
}

/// The table.
pub const DOORS: &[Door] = &[
    // operation
    door("GET", "/healthz", ANYONE),
    door("GET", "/readyz", ANYONE),
    door("GET", "/openapi.json", ANYONE),
    door("GET", "/docs", ANYONE),
    door("GET", "/docs/", ANYONE),
    door("GET", "/docs/{file}", ANYONE),
    // tokens
    door("GET", "/v1/tokens", ADMINISTRATOR),
    door("POST", "/v1/tokens", ADMINISTRATOR),
    door("GET", "/v1/tokens/{id}", ADMINISTRATOR),
    door("DELETE", "/v1/tokens/{id}", ADMINISTRATOR),
    // purchasing
    door("POST", "/v1/purchase-imports", BUYER),
    door("GET", "/v1/purchase-imports", READERS),
    door("GET", "/v1/purchase-imports/{id}", READERS),
    door("POST", "/v1/orders", BUYER),
    door("GET", "/v1/orders", READERS),
    door("GET", "/v1/orders/{code}", READERS),
    door("POST", "/v1/orders/{code}/receive", BUYER),
    door("POST", "/v1/orders/{code}/cancel", BUYER),
    door("POST", "/v1/exchange-rates", BUYER),
    door("GET", "/v1/exchange-rates", READERS),
];
