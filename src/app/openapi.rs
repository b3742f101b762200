//! The OpenAPI document, made from the code: the rooms' annotated handlers, and what the table of doors says of each.
//!
//! Invariants: it is made without a server or a database, and the same code gives the same bytes. What holds for every
//! operation (token, roles, the common problems) is added here from [`DOORS`], so that no handler can state it wrongly.

use actix_web::App;
use utoipa::openapi::Required;
use utoipa::openapi::extensions::ExtensionsBuilder;
use utoipa::openapi::path::Operation;
use utoipa::openapi::path::{Parameter, ParameterBuilder, ParameterIn};
use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::security::{Http, HttpAuthScheme, SecurityRequirement, SecurityScheme};
use utoipa::openapi::{ContentBuilder, OpenApi, PathItem, Ref, RefOr, Response, ResponseBuilder};
use utoipa::{Modify, OpenApi as _};
use utoipa_actix_web::AppExt;

use super::doors::DOORS;
use crate::http::{Door, ProblemBody, Role};

#[derive(utoipa::OpenApi)]
#[openapi(
    info(
        title = "heeltap",
        description = "Inventory and cost for labs that cast replicas in two-part silicone elastomer.\n\n\
            Decimals are strings with at most 6 decimal places. A field name carries its unit; `_on` is a date in the \
            installation's time zone, `_at` an instant in UTC. Errors are problem documents (RFC 9457). A POST that writes \
            takes an `Idempotency-Key`; a PATCH is a merge patch (RFC 7396) and needs `If-Match` with the `ETag` that was read."
    ),
    components(schemas(ProblemBody)),
    modifiers(&Bearer),
    tags(
        (name = "operation", description = "Whether the service lives, what it counts, and this document"),
        (name = "catalogue", description = "Materials, elastomers, kits, molds, recipes, grants, suppliers"),
        (name = "casts", description = "What a cast needs, and its life from booking to demoulding"),
        (name = "treatments", description = "Release coats: moulds vapour-coated, looked at, coated again"),
        (name = "tokens", description = "Who may come in"),
        (name = "purchasing", description = "Purchase files, orders, exchange rates"),
        (name = "stock", description = "Lots and packs, bench events, and the proof of the books"),
        (name = "warnings", description = "What needs somebody's attention"),
        (name = "costing", description = "Prices that turned out otherwise, and periods that are closed"),
        (name = "reports", description = "What replicas cost and what was wasted, for those who pay; what the stock is worth; what stays in the cups"),
        (name = "notify", description = "Who is told what happened, and what became of each message"),
        (name = "reorder", description = "What runs out when, by when to order, and how much"),
    )
)]
struct ApiDoc;

const SCHEME: &str = "bearer";

/// POSTs that only compute: they write nothing, so that a key has nothing to keep.
const COMPUTES: &[&str] = &[
    "/v1/cast-plans",
    "/v1/course-plans",
    "/v1/what-ifs",
    "/v1/mix-corrections",
];

struct Bearer;

impl Modify for Bearer {
    fn modify(&self, openapi: &mut OpenApi) {
        let mut http = Http::new(HttpAuthScheme::Bearer);
        http.description =
            Some("A token, as `POST /v1/tokens` or the first start gave it".to_owned());
        openapi
            .components
            .get_or_insert_default()
            .add_security_scheme(SCHEME, SecurityScheme::Http(http));
    }
}

/// The document.
#[must_use]
pub fn document() -> OpenApi {
    let (_, mut document) = App::new()
        .into_utoipa_app()
        .openapi(ApiDoc::openapi())
        .configure(super::routes)
        .split_for_parts();
    for door in DOORS {
        if let Some(operation) = document
            .paths
            .paths
            .get_mut(door.path)
            .and_then(|item| operation_mut(item, door.method))
        {
            complete(operation, door);
        }
    }
    document
}

fn operation_mut<'a>(item: &'a mut PathItem, method: &str) -> Option<&'a mut Operation> {
    match method {
        "GET" => item.get.as_mut(),
        "POST" => item.post.as_mut(),
        "PUT" => item.put.as_mut(),
        "PATCH" => item.patch.as_mut(),
        "DELETE" => item.delete.as_mut(),
        _ => None,
    }
}

/// Adds to an operation what its door says, and the problems that any operation may answer.
fn complete(operation: &mut Operation, door: &Door) {
    let Some(roles) = door.roles else {
        return;
    };
    headers(operation, door);
    let no_scopes: [&str; 0] = [];
    operation.security = Some(vec![SecurityRequirement::new(SCHEME, no_scopes)]);
    let words: Vec<&str> = roles
        .iter()
        .chain([&Role::Administrator])
        .map(|role| role.as_str())
        .collect();
    operation.extensions.get_or_insert_default().merge(
        ExtensionsBuilder::new()
            .add("x-roles", words.as_slice())
            .build(),
    );
    let responses = &mut operation.responses.responses;
    let common = [
        ("401", "No valid token".to_owned()),
        (
            "403",
            format!("The token has none of the roles {}", words.join(", ")),
        ),
        ("default", "Any other problem".to_owned()),
    ];
    for (status, description) in common {
        responses
            .entry(status.to_owned())
            .or_insert_with(|| RefOr::T(problem(description)));
    }
}

/// Adds the headers that every operation of its method takes.
fn headers(operation: &mut Operation, door: &Door) {
    let (name, required, description) = match door.method {
        "POST" if !COMPUTES.contains(&door.path) => (
            "Idempotency-Key",
            Required::False,
            "Any text of 1 to 200 characters. A repeat with the same key and body within 7 days is answered as the first was, and done once",
        ),
        "PATCH" => (
            "If-Match",
            Required::True,
            "The `ETag` of the version that the change is based on",
        ),
        _ => return,
    };
    let parameters = operation.parameters.get_or_insert_default();
    let same = |known: &RefOr<Parameter>| matches!(known, RefOr::T(known) if known.name == name);
    if parameters.iter().any(same) {
        return;
    }
    let schema = ObjectBuilder::new().schema_type(Type::String).build();
    parameters.push(RefOr::T(
        ParameterBuilder::new()
            .name(name)
            .parameter_in(ParameterIn::Header)
            .required(required)
            .description(Some(description))
            .schema(Some(schema))
            .build(),
    ));
}

fn problem(description: String) -> Response {
    ResponseBuilder::new()
        .description(description)
        .content(
            "application/problem+json",
            ContentBuilder::new()
                .schema(Some(Ref::from_schema_name("ProblemBody")))
                .build(),
        )
        .build()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_only_computes_is_an_operation() {
        for path in COMPUTES {
            let listed = DOORS
                .iter()
                .any(|door| door.method == "POST" && door.path == *path);
            assert!(listed, "{path}");
        }
    }
}
