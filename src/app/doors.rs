//! Who may call what: every operation of the service with the roles it allows, in one table.
//!
//! Invariants: an operation that is not listed is answered 404 at the door; an administrator passes every door; the
//! tests hold the table against the OpenAPI document in both directions. Where two paths match, the first counts.

use crate::http::{Door, Role, Way};

type Allowed = Option<&'static [Role]>;

/// Open: without a token.
const ANYONE: Allowed = None;
/// Administrators only: they need not be named.
const ADMINISTRATOR: Allowed = Some(&[]);

/// Whoever only looks: a program that watches the service has a token of its own.
const READER: Allowed = Some(&[Role::Reader]);
/// Whoever works here.
const EVERYONE: Allowed = Some(&[Role::Reader, Role::Bench, Role::Buyer]);
/// Whoever buys.
const BUYER: Allowed = Some(&[Role::Buyer]);
/// Whoever casts.
const BENCH: Allowed = Some(&[Role::Bench]);
/// Whoever handles the stock: at the bench, or to buy for it.
const HANDLERS: Allowed = Some(&[Role::Bench, Role::Buyer]);

const fn door(method: &'static str, path: &'static str, roles: Allowed) -> Door {
    Door {
        way: Way::Api,
        method,
        path,
        roles,
    }
}

const fn page(method: &'static str, path: &'static str, roles: Allowed) -> Door {
    Door {
        way: Way::Page,
        method,
        path,
        roles,
    }
}

/// The pages: people come through these doors with a session.
pub const PAGES: &[Door] = &[
    page("GET", "/sign-in", ANYONE),
    page("POST", "/sign-in", ANYONE),
    page("POST", "/sign-out", EVERYONE),
    page("GET", "/assets/{file}", ANYONE),
    page("GET", "/", EVERYONE),
    page("GET", "/warnings", EVERYONE),
    page("POST", "/warnings/{id}/acknowledge", HANDLERS),
    page("GET", "/casts", EVERYONE),
    page("GET", "/casts/plan", HANDLERS),
    page("POST", "/casts/plan", BENCH),
    page("GET", "/casts/{code}", EVERYONE),
    page("POST", "/casts/{code}/move", BENCH),
    page("POST", "/casts/{code}/cancel", BENCH),
    page("POST", "/casts/{code}/undo", BENCH),
    page("GET", "/casts/{code}/bench-sheet", EVERYONE),
    page("POST", "/casts/{code}/coats/{copies}", BENCH),
    page("POST", "/casts/{code}/pour", BENCH),
    page("POST", "/casts/{code}/demold", BENCH),
    page("GET", "/buy", EVERYONE),
    page("GET", "/cost", EVERYONE),
    page("GET", "/cost/report.csv", EVERYONE),
    page("GET", "/cost/report.xlsx", EVERYONE),
    page("GET", "/lots/{id}", EVERYONE),
    page("GET", "/lots/{id}/label", EVERYONE),
    page("POST", "/lots/{lot}/packs/{pack}/{deed}", HANDLERS),
    page("GET", "/catalogue", EVERYONE),
    page("GET", "/catalogue/{noun}/new", BUYER),
    page("POST", "/catalogue/{noun}", BUYER),
    page("GET", "/catalogue/{noun}/{code}", EVERYONE),
    page("POST", "/catalogue/{noun}/{code}", BUYER),
    page("POST", "/catalogue/{noun}/{code}/retire", BUYER),
    page("GET", "/receive", EVERYONE),
    page("POST", "/receive/files", BUYER),
    page("GET", "/receive/files/{id}", BUYER),
    page("POST", "/receive/files/{id}/{deed}", BUYER),
    page("GET", "/receive/imports/{id}", EVERYONE),
    page("GET", "/receive/orders/{code}", EVERYONE),
    page("POST", "/receive/orders/{code}", BUYER),
    page("POST", "/receive/orders/{code}/cancel", BUYER),
    page("GET", "/receive/delivery", BUYER),
    page("POST", "/receive/delivery", BUYER),
    page("POST", "/lots/{lot}/{deed}", HANDLERS),
];

/// The operations of the API.
pub const DOORS: &[Door] = &[
    // operation
    door("GET", "/healthz", ANYONE),
    door("GET", "/readyz", ANYONE),
    door("GET", "/openapi.json", ANYONE),
    door("GET", "/docs", ANYONE),
    door("GET", "/docs/", ANYONE),
    door("GET", "/docs/{file}", ANYONE),
    door("GET", "/metrics", READER),
    // tokens
    door("GET", "/v1/tokens", ADMINISTRATOR),
    door("POST", "/v1/tokens", ADMINISTRATOR),
    door("GET", "/v1/tokens/{id}", ADMINISTRATOR),
    door("DELETE", "/v1/tokens/{id}", ADMINISTRATOR),
    // catalogue
    door("GET", "/v1/materials", EVERYONE),
    door("POST", "/v1/materials", BUYER),
    door("GET", "/v1/materials/{code}", EVERYONE),
    door("PATCH", "/v1/materials/{code}", BUYER),
    door("POST", "/v1/materials/{code}/retire", BUYER),
    door("GET", "/v1/elastomers", EVERYONE),
    door("POST", "/v1/elastomers", BUYER),
    door("GET", "/v1/elastomers/{code}", EVERYONE),
    door("PATCH", "/v1/elastomers/{code}", BUYER),
    door("POST", "/v1/elastomers/{code}/retire", BUYER),
    door("GET", "/v1/kits", EVERYONE),
    door("POST", "/v1/kits", BUYER),
    door("GET", "/v1/kits/{code}", EVERYONE),
    door("PATCH", "/v1/kits/{code}", BUYER),
    door("POST", "/v1/kits/{code}/retire", BUYER),
    door("GET", "/v1/molds", EVERYONE),
    door("POST", "/v1/molds", BUYER),
    door("GET", "/v1/molds/{code}", EVERYONE),
    door("PATCH", "/v1/molds/{code}", BUYER),
    door("POST", "/v1/molds/{code}/retire", BUYER),
    door("GET", "/v1/recipes", EVERYONE),
    door("POST", "/v1/recipes", BUYER),
    door("GET", "/v1/recipes/{code}", EVERYONE),
    door("PATCH", "/v1/recipes/{code}", BUYER),
    door("POST", "/v1/recipes/{code}/retire", BUYER),
    door("GET", "/v1/grants", EVERYONE),
    door("POST", "/v1/grants", BUYER),
    door("GET", "/v1/grants/{code}", EVERYONE),
    door("PATCH", "/v1/grants/{code}", BUYER),
    door("POST", "/v1/grants/{code}/retire", BUYER),
    door("GET", "/v1/suppliers", EVERYONE),
    door("POST", "/v1/suppliers", BUYER),
    door("GET", "/v1/suppliers/{code}", EVERYONE),
    door("PATCH", "/v1/suppliers/{code}", BUYER),
    door("POST", "/v1/suppliers/{code}/retire", BUYER),
    // casts
    door("POST", "/v1/cast-plans", HANDLERS),
    door("POST", "/v1/course-plans", HANDLERS),
    door("POST", "/v1/what-ifs", HANDLERS),
    door("POST", "/v1/mix-corrections", HANDLERS),
    door("GET", "/v1/casts", EVERYONE),
    door("POST", "/v1/casts", BENCH),
    door("GET", "/v1/casts/{code}", EVERYONE),
    door("PATCH", "/v1/casts/{code}", BENCH),
    door("GET", "/v1/casts/{code}/cost", EVERYONE),
    door("GET", "/v1/casts/{code}/bench-sheet", EVERYONE),
    door("GET", "/v1/casts/{code}/trace", EVERYONE),
    door("POST", "/v1/casts/{code}/charges", BUYER),
    door("POST", "/v1/casts/{code}/pour", BENCH),
    door("POST", "/v1/casts/{code}/demold", BENCH),
    door("POST", "/v1/casts/{code}/cancel", BENCH),
    door("POST", "/v1/casts/{code}/undo", BENCH),
    // treatments
    door("GET", "/v1/treatments", EVERYONE),
    door("POST", "/v1/treatments", BENCH),
    door("GET", "/v1/treatments/{id}", EVERYONE),
    door("POST", "/v1/treatments/{id}/inspect", BENCH),
    door("POST", "/v1/treatments/{id}/undo", BENCH),
    // purchasing
    door("POST", "/v1/purchase-imports", BUYER),
    door("GET", "/v1/purchase-imports", EVERYONE),
    door("GET", "/v1/purchase-imports/{id}", EVERYONE),
    door("POST", "/v1/orders", BUYER),
    door("GET", "/v1/orders", EVERYONE),
    door("GET", "/v1/orders/{code}", EVERYONE),
    door("POST", "/v1/orders/{code}/receive", BUYER),
    door("POST", "/v1/orders/{code}/cancel", BUYER),
    door("POST", "/v1/purchase-budgets", BUYER),
    door("GET", "/v1/purchase-budgets", EVERYONE),
    door("GET", "/v1/purchase-budgets/{id}", EVERYONE),
    door("DELETE", "/v1/purchase-budgets/{id}", BUYER),
    door("POST", "/v1/exchange-rates", BUYER),
    door("GET", "/v1/exchange-rates", EVERYONE),
    door("POST", "/v1/exchange-rates/imports", BUYER),
    // stock
    door("GET", "/v1/lots", EVERYONE),
    door("GET", "/v1/lots/{id}", EVERYONE),
    door("GET", "/v1/lots/{id}/movements", EVERYONE),
    door("GET", "/v1/lots/{id}/trace", EVERYONE),
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
    door("GET", "/v1/warnings", EVERYONE),
    door("POST", "/v1/warnings/{id}/acknowledge", HANDLERS),
    // costing
    door("POST", "/v1/price-corrections", BUYER),
    door("GET", "/v1/price-corrections", EVERYONE),
    door("GET", "/v1/price-corrections/{id}", EVERYONE),
    door("POST", "/v1/periods", ADMINISTRATOR),
    door("GET", "/v1/periods", EVERYONE),
    door("GET", "/v1/periods/{id}", EVERYONE),
    door("GET", "/v1/periods/{id}/heads", EVERYONE),
    // reports
    door("GET", "/v1/reports/replica-cost", EVERYONE),
    door("GET", "/v1/reports/waste", EVERYONE),
    door("GET", "/v1/reports/stock-value", EVERYONE),
    door("GET", "/v1/reports/residue", EVERYONE),
    door("GET", "/v1/reports/charges", EVERYONE),
    // reorder
    door("GET", "/v1/reorder", EVERYONE),
    door("GET", "/v1/reorder/{material}", EVERYONE),
    // notify: the calendar asks for a key of its own
    door("POST", "/v1/calendar-keys", ADMINISTRATOR),
    door("GET", "/v1/calendar-keys", ADMINISTRATOR),
    door("GET", "/v1/calendar-keys/{id}", ADMINISTRATOR),
    door("DELETE", "/v1/calendar-keys/{id}", ADMINISTRATOR),
    door("GET", "/v1/calendar.ics", ANYONE),
    // notify
    door("POST", "/v1/webhooks", ADMINISTRATOR),
    door("GET", "/v1/webhooks", ADMINISTRATOR),
    door("GET", "/v1/webhooks/{id}", ADMINISTRATOR),
    door("DELETE", "/v1/webhooks/{id}", ADMINISTRATOR),
    door("POST", "/v1/webhooks/{id}/test", ADMINISTRATOR),
    door("GET", "/v1/deliveries", ADMINISTRATOR),
    door("GET", "/v1/deliveries/{id}", ADMINISTRATOR),
    door("POST", "/v1/deliveries/{id}/resend", ADMINISTRATOR),
];
