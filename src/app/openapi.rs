//! The OpenAPI document, made from the code: the rooms' annotated handlers, and what the table of doors says of each.
//!
//! Invariants: it is made without a server or a database, and the same code gives the same bytes. What holds for every
//! operation (token, roles, the common problems) is added here from [`DOORS`], so that no handler can state it wrongly.

use actix_web::App;
use utoipa::openapi::Required;
use utoipa::openapi::extensions::ExtensionsBuilder;
use utoipa::openapi::path::Operation;
use utoipa::openapi::path::{Parameter, ParameterBuilder, ParameterIn};
use utoipa::openapi::schema::{ObjectBuilder, Schema, SchemaType, Type};
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

/// The header by which a write is done once.
const KEY: &str = "Idempotency-Key";

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

/// Adds to an operation what its door says, and the problems that any operation of its shape may answer.
fn complete(operation: &mut Operation, door: &Door) {
    parameters(operation);
    let Some(roles) = door.roles else {
        return;
    };
    headers(operation, door);
    refusals(operation, door);
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

/// Says of what stands in an address and of what may be left out what the handlers' types do not: ids count from 1, and
/// what is left out is not there, as neither an address nor a header can hold `null`.
fn parameters(operation: &mut Operation) {
    for parameter in operation.parameters.iter_mut().flatten() {
        let RefOr::T(parameter) = parameter else {
            continue;
        };
        match &mut parameter.schema {
            Some(RefOr::T(Schema::Object(schema))) => {
                if let SchemaType::Array(types) = &mut schema.schema_type {
                    types.retain(|one| *one != Type::Null);
                    if let [only] = types.as_slice() {
                        schema.schema_type = SchemaType::Type(only.clone());
                    }
                }
                let id = parameter.parameter_in == ParameterIn::Path
                    && schema.schema_type == SchemaType::Type(Type::Integer);
                if id {
                    schema.minimum = Some(1.into());
                }
            }
            Some(RefOr::T(Schema::OneOf(choice))) => {
                choice.items.retain(|one| !is_null(one));
                if let [only] = choice.items.as_slice() {
                    parameter.schema = Some(only.clone());
                }
            }
            _ => {}
        }
    }
}

fn is_null(schema: &RefOr<Schema>) -> bool {
    matches!(schema, RefOr::T(Schema::Object(object)) if object.schema_type == SchemaType::Type(Type::Null))
}

/// Adds the headers that every operation of its method takes, and says of each what it may hold.
fn headers(operation: &mut Operation, door: &Door) {
    let text = || ObjectBuilder::new().schema_type(Type::String);
    let (name, required, description, schema) = match door.method {
        "POST" if writes(door) => (
            KEY,
            Required::False,
            "Any text of 1 to 200 characters. A repeat with the same key and body within 7 days is answered as the first was, and done once",
            // Blanks at an end of a header are no part of it, so that something else has to be there.
            text()
                .pattern(Some(r"^[\t -~]*[!-~][\t -~]*$"))
                .max_length(Some(200)),
        ),
        "PATCH" => (
            "If-Match",
            Required::True,
            "The `ETag` of the version that the change is based on",
            text(),
        ),
        _ => return,
    };
    let parameters = operation.parameters.get_or_insert_default();
    let same =
        |known: &&mut RefOr<Parameter>| matches!(known, RefOr::T(known) if known.name == name);
    if let Some(RefOr::T(known)) = parameters.iter_mut().find(same) {
        known.schema = Some(schema.into());
        return;
    }
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

/// Whether an operation is a POST that writes, so that it takes an `Idempotency-Key`.
fn writes(door: &Door) -> bool {
    door.method == "POST" && !COMPUTES.contains(&door.path)
}

/// Adds the refusals that follow from what an operation takes, in the order in which they are answered.
fn refusals(operation: &mut Operation, door: &Door) {
    let takes = |place: ParameterIn| {
        let mut parameters = operation.parameters.iter().flatten();
        parameters.any(|known| matches!(known, RefOr::T(known) if known.parameter_in == place))
    };
    let body = operation.request_body.is_some();
    let foreseen = [
        ("415", body, "The body is of another kind"),
        ("413", body || writes(door), "The body is too long"),
        (
            "400",
            body || writes(door) || takes(ParameterIn::Query),
            "The body, a value of the query or the `Idempotency-Key` is malformed",
        ),
        (
            "422",
            body || writes(door),
            "A value is not right, or the `Idempotency-Key` belongs to another request",
        ),
        ("404", takes(ParameterIn::Path), "There is none"),
        ("412", door.method == "PATCH", "It has changed meanwhile"),
        ("428", door.method == "PATCH", "`If-Match` is missing"),
    ];
    let responses = &mut operation.responses.responses;
    for (status, _, description) in foreseen.iter().filter(|(_, applies, _)| *applies) {
        responses
            .entry((*status).to_owned())
            .or_insert_with(|| RefOr::T(problem((*description).to_owned())));
    }
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
