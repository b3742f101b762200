//! The catalogue's addresses in the document. What they do is tested over real HTTP.

use actix_web::App;
use serde_json::Value;
use utoipa_actix_web::AppExt;

use crate::catalogue::routes;

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
