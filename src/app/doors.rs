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
/// Whoever may look.
const READERS: Allowed = Some(&[Role::Reader, Role::Bench, Role::Buyer]);
/// Whoever handles stock, at the bench or on arrival.
const HANDLERS: Allowed = Some(&[Role::Bench, Role::Buyer]);

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
    // stock
    door("GET", "/v1/lots", READERS),
    door("GET", "/v1/lots/{id}", READERS),
    door("GET", "/v1/lots/{id}/movements", READERS),
    door("POST", "/v1/lots/{id}/hold", HANDLERS),
    door("POST", "/v1/lots/{id}/release", HANDLERS),
    door("POST", "/v1/packs/{id}/open", HANDLERS),
    door("POST", "/v1/packs/{id}/count", HANDLERS),
    door("POST", "/v1/packs/{id}/spill", HANDLERS),
    door("POST", "/v1/packs/{id}/write-off", HANDLERS),
    door("POST", "/v1/packs/{id}/hold", HANDLERS),
    door("POST", "/v1/packs/{id}/release", HANDLERS),
    door("POST", "/v1/movements/{id}/reverse", HANDLERS),
    door("GET", "/v1/verify", ADMINISTRATOR),
    // warnings
    door("GET", "/v1/warnings", READERS),
    door("POST", "/v1/warnings/{id}/acknowledge", HANDLERS),
];
