//! The catalogue's addresses through the door.

use std::sync::Arc;

use actix_web::http::StatusCode;
use actix_web::middleware::from_fn;
use actix_web::test::{TestRequest, call_service, init_service, read_body_json};
use actix_web::web::Data;
use actix_web::{App, body::MessageBody, dev::ServiceResponse};
use serde_json::{Value, json};
use utoipa_actix_web::AppExt;

use super::material;
use crate::base::{Clock, Currency, ManualClock, SeededEntropy};
use crate::catalogue::routes;
use crate::db::Db;
use crate::db::fixture::{on_database, write};
use crate::http::tokens::{TokenIn, token_create};
use crate::http::{Door, Doors, Limits, Role, Service, guard};

const READ: Option<&[Role]> = Some(&[Role::Reader, Role::Bench, Role::Buyer]);
const WRITE: Option<&[Role]> = Some(&[Role::Buyer]);

const fn door(method: &'static str, path: &'static str, roles: Option<&'static [Role]>) -> Door {
    Door {
        method,
        path,
        roles,
    }
}

const TABLE: [Door; 5] = [
    door("GET", "/v1/materials", READ),
    door("POST", "/v1/materials", WRITE),
    door("GET", "/v1/materials/{code}", READ),
    door("PATCH", "/v1/materials/{code}", WRITE),
    door("POST", "/v1/materials/{code}/retire", WRITE),
];

fn service(db: Db) -> Service {
    let now = "2026-03-04T10:00:00Z".parse().expect("an instant");
    let clock: Arc<dyn Clock> = Arc::new(ManualClock::new(now));
    let euro = Currency::parse("EUR").expect("a currency");
    let entropy = Arc::new(SeededEntropy::new(1));
    Service::new(db, clock, entropy, euro, chrono_tz::UTC, Limits::default())
}

fn token(db: &Db, role: Role) -> String {
    let input = TokenIn {
        name: role.as_str().to_owned(),
        roles: vec![role],
        expires_at: None,
    };
    let seed = SeededEntropy::new(role as u64 + 10);
    write(db, |tx| token_create(tx, &seed, input))
        .expect("a token")
        .token
        .expect("a token shown once")
}

/// What an answer is made of: status, `ETag`, `Location`, `Link`, body.
struct Seen {
    status: StatusCode,
    etag: String,
    location: String,
    link: String,
    body: Value,
}

async fn seen<B: MessageBody>(response: ServiceResponse<B>) -> Seen {
    let header = |name: &str| {
        let value = response.headers().get(name).and_then(|v| v.to_str().ok());
        value.unwrap_or_default().to_owned()
    };
    Seen {
        status: response.status(),
        etag: header("etag"),
        location: header("location"),
        link: header("link"),
        body: read_body_json(response).await,
    }
}

async fn the_life_of_a_material(db: Db) {
    let (buyer, reader) = (token(&db, Role::Buyer), token(&db, Role::Reader));
    let (app, _) = App::new()
        .into_utoipa_app()
        .configure(routes)
        .split_for_parts();
    let app = init_service(
        app.app_data(Data::new(service(db)))
            .app_data(Data::new(Doors::new(&TABLE, 0)))
            .wrap(from_fn(guard)),
    )
    .await;
    let call = async |token: &str, request: TestRequest| {
        let bearer = ("Authorization", format!("Bearer {token}"));
        seen(call_service(&app, request.insert_header(bearer).to_request()).await).await
    };
    let post = |body: Value| TestRequest::post().uri("/v1/materials").set_json(body);
    let glove = material("glove", "sundry", "each", json!({"heel": "1"}));

    assert_eq!(call("", post(glove.clone())).await.status, 401);
    assert_eq!(call(&reader, post(glove.clone())).await.status, 403);
    let made = call(&buyer, post(glove.clone())).await;
    assert_eq!(
        (made.status, made.etag.as_str()),
        (StatusCode::CREATED, "\"1\"")
    );
    assert_eq!(made.location, "/v1/materials/glove");
    let expected = json!({"code": "glove", "name": "Material glove", "kind": "sundry", "unit": "each", "heel": "1",
        "version": 1, "created_at": "2026-03-04T10:00:00Z", "updated_at": "2026-03-04T10:00:00Z"});
    assert_eq!(made.body, expected);
    assert_eq!(call(&buyer, post(glove)).await.status, 409);
    let unknown = call(&buyer, post(json!({"code": "x", "colour": "red"}))).await;
    assert_eq!(
        (
            unknown.status.as_u16(),
            &unknown.body["errors"][0]["pointer"]
        ),
        (422, &json!("/colour"))
    );

    let one = TestRequest::get().uri(&made.location);
    let one = call(&reader, one).await;
    assert_eq!(
        (one.status.as_u16(), one.etag.as_str(), one.body),
        (200, "\"1\"", expected)
    );
    let patch = |tag: Option<&str>, body: Value| {
        let request = TestRequest::patch()
            .uri("/v1/materials/glove")
            .set_payload(body.to_string());
        let request = request.insert_header(("content-type", "application/merge-patch+json"));
        match tag {
            Some(tag) => request.insert_header(("If-Match", tag)),
            None => request,
        }
    };
    assert_eq!(
        call(&buyer, patch(None, json!({"heel": null})))
            .await
            .status,
        428
    );
    assert_eq!(
        call(&buyer, patch(Some("\"9\""), json!({"heel": null})))
            .await
            .status,
        412
    );
    assert_eq!(call(&buyer, patch(None, json!([]))).await.status, 422);
    let changed = call(&buyer, patch(Some("\"1\""), json!({"heel": null}))).await;
    assert_eq!(
        (changed.status.as_u16(), changed.etag.as_str()),
        (200, "\"2\"")
    );
    assert_eq!(changed.body.get("heel"), None);

    let other = material("wipe", "sundry", "each", json!({}));
    assert_eq!(call(&buyer, post(other)).await.status, 201);
    let list = |query: &str| TestRequest::get().uri(&format!("/v1/materials{query}"));
    let first = call(&reader, list("?limit=1&state=active")).await;
    assert_eq!(first.body["items"][0]["code"], "glove");
    let next = first.body["next"].as_str().unwrap_or_default();
    assert_eq!(
        first.link,
        format!("</v1/materials?limit=1&state=active&cursor={next}>; rel=\"next\"")
    );
    let second = call(&reader, list(&format!("?limit=1&cursor={next}"))).await;
    assert_eq!(second.body["items"][0]["code"], "wipe");
    assert_eq!(second.body.get("next"), None);

    let retire = || TestRequest::post().uri("/v1/materials/glove/retire");
    assert_eq!(call(&reader, retire()).await.status, 403);
    let retired = call(&buyer, retire()).await;
    assert_eq!(
        (retired.status.as_u16(), retired.etag.as_str()),
        (200, "\"3\"")
    );
    assert_eq!(retired.body["retired_at"], "2026-03-04T10:00:00Z");
    assert_eq!(
        call(&reader, list("?state=retired")).await.body["items"]
            .as_array()
            .map(Vec::len),
        Some(1)
    );
    assert_eq!(
        call(&buyer, TestRequest::get().uri("/v1/materials/none"))
            .await
            .status,
        404
    );
}

#[test]
fn a_material_lives_behind_its_addresses() {
    on_database(|db| actix_web::rt::System::new().block_on(the_life_of_a_material(db)));
}

#[test]
fn every_noun_shows_in_the_documentation() {
    let (_, api) = App::new()
        .into_utoipa_app()
        .configure(routes)
        .split_for_parts();
    let api = serde_json::to_value(api).expect("a document");
    let paths = api["paths"].as_object().expect("paths");
    assert_eq!(paths.len(), 21);
    let operations = paths
        .values()
        .filter_map(Value::as_object)
        .map(serde_json::Map::len);
    assert_eq!(operations.sum::<usize>(), 35);
    let schemas = api["components"]["schemas"].as_object().expect("schemas");
    for noun in [
        "Material",
        "Elastomer",
        "Kit",
        "Mold",
        "Recipe",
        "Grant",
        "Supplier",
    ] {
        for end in ["Body", "Entry", "Page", "Patch"] {
            assert!(schemas.contains_key(&format!("{noun}{end}")), "{noun}{end}");
        }
    }
    let text = api.to_string();
    let names = text
        .split("#/components/schemas/")
        .skip(1)
        .filter_map(|rest| rest.split('"').next());
    for name in names {
        assert!(schemas.contains_key(name), "{name} is named but not there");
    }
}
