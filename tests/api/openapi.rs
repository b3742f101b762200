//! The document: fresh in the repository, the same when served, browsable without the internet.

use std::path::Path;

use crate::support::{TestApp, filled, send};

#[test]
fn the_committed_document_is_the_one_that_the_code_makes() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("openapi/heeltap.json");
    let committed = std::fs::read_to_string(path).expect("openapi/heeltap.json");
    let made = heeltap::app::document().to_pretty_json().unwrap() + "\n";
    assert!(
        committed == made,
        "openapi/heeltap.json is stale: run `cargo run -- openapi > openapi/heeltap.json`"
    );
}

#[test]
fn the_served_document_is_the_same() {
    let app = TestApp::start();
    let served = app.nobody().get("/openapi.json").expect(200).json();
    assert_eq!(
        served,
        serde_json::to_value(heeltap::app::document()).unwrap()
    );
    assert_eq!(served["openapi"], "3.1.0");
}

#[test]
fn every_post_that_writes_reads_its_idempotency_key() {
    let app = TestApp::start();
    let document = serde_json::to_value(heeltap::app::document()).unwrap();
    let takes_key = |operation: &serde_json::Value| {
        let parameters = operation["parameters"].as_array();
        parameters.is_some_and(|all| all.iter().any(|one| one["name"] == "Idempotency-Key"))
    };
    let paths = document["paths"].as_object().unwrap();
    let writing = || paths.iter().filter(|(_, item)| takes_key(&item["post"]));
    assert!(writing().any(|(path, _)| path == "/v1/tokens"));
    for (path, item) in writing() {
        let content = item["post"]["requestBody"]["content"].as_object();
        let kind = content.and_then(|kinds| kinds.keys().next());
        let request = app
            .request("POST", &filled(path))
            .header(
                "Content-Type",
                kind.map_or("application/json", String::as_str),
            )
            .header("Idempotency-Key", "k".repeat(201))
            .body("{}");
        // A key that is none is refused before any value is looked at, by whoever looks at the key at all.
        assert_eq!(send(request).expect(400).problem(), "malformed", "{path}");
    }
}

#[test]
fn every_operation_is_described_and_every_reference_resolves() {
    let document = serde_json::to_value(heeltap::app::document()).unwrap();
    let described = document["tags"].as_array().unwrap().iter();
    let tags: Vec<&str> = described.filter_map(|tag| tag["name"].as_str()).collect();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            let told = format!("{method} {path}");
            assert!(
                operation["summary"].as_str().is_some_and(|s| !s.is_empty()),
                "{told}"
            );
            let tag = operation["tags"][0].as_str().unwrap_or_default();
            assert!(
                tags.contains(&tag),
                "{told}: the tag `{tag}` has no description"
            );
            assert_eq!(
                operation["tags"].as_array().map(Vec::len),
                Some(1),
                "{told}"
            );
            for name in path.split('/').filter_map(|part| part.strip_prefix('{')) {
                let wanted = name.trim_end_matches('}');
                let parameters = operation["parameters"]
                    .as_array()
                    .cloned()
                    .unwrap_or_default();
                assert!(
                    parameters
                        .iter()
                        .any(|p| p["name"] == wanted && p["in"] == "path"),
                    "{told}"
                );
            }
        }
    }
    let text = document.to_string();
    for part in text.split("\"$ref\":\"#").skip(1) {
        let pointer = part.split('"').next().unwrap_or_default();
        assert!(
            document.pointer(pointer).is_some(),
            "{pointer} does not exist"
        );
    }
}

#[test]
fn the_page_fetches_everything_from_the_service_itself() {
    let app = TestApp::start();
    let nobody = app.nobody();
    let page = nobody.get("/docs").expect(200);
    assert_eq!(page.header("content-type"), "text/html; charset=utf-8");
    let addresses: Vec<&str> = page
        .text
        .split(['"'])
        .filter(|text| text.starts_with("docs/"))
        .collect();
    assert_eq!(addresses.len(), 6);
    for address in &addresses {
        nobody.get(&format!("/{address}")).expect(200);
    }
    assert!(
        !page.text.contains("//"),
        "an address on the page leads elsewhere"
    );
    let initializer = nobody.get("/docs/swagger-initializer.js").expect(200);
    assert!(
        initializer.text.contains("\"url\": \"openapi.json\""),
        "{}",
        initializer.text
    );
    assert!(initializer.text.contains("\"validatorUrl\": \"none\""));
    assert!(!initializer.text.contains("http"), "{}", initializer.text);
    let slash = nobody.get("/docs/").expect(308);
    assert_eq!(slash.header("location"), "../docs");
    nobody.get("/docs/no-such-file.js").expect(404);
}
