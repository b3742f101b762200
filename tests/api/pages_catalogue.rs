//! The pages of the catalogue: a whole catalogue made in a browser, a field for every property, and what is wrong at its field.

use heeltap::http::Role;
use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::browser::Browser;
use crate::support::catalogue_forms::{
    changed, escaped, made, send, shown, standing, typed, walk_through,
};
use crate::support::lab::catalogue;

#[test]
fn a_whole_catalogue_is_made_by_forms_as_by_the_interface() {
    let (forms, interface) = (TestApp::start(), TestApp::start());
    let buyer = Browser::as_role(&forms, Role::Buyer);
    for (noun, document) in walk_through() {
        let code = document["code"].as_str().expect("a code").to_owned();
        let answer = made(&buyer, noun, &document);
        let expected = format!("/catalogue/{noun}/{code}?done=made");
        assert_eq!(
            (answer.status, answer.location.as_str()),
            (303, expected.as_str()),
            "{}",
            answer.text
        );
        let page = buyer.get(&answer.location);
        assert_eq!(page.status, 200);
        let name = escaped(document["name"].as_str().expect("a name"));
        assert!(
            page.text
                .contains(&format!("<p>{name} is in the catalogue.</p>")),
            "{}",
            page.text
        );
        interface.post(&format!("/v1/{noun}"), document).expect(201);
        // To the last member, but for the instants.
        assert_eq!(shown(&forms, noun, &code), shown(&interface, noun, &code));
        // What the form of an entry shows is what the entry holds: sent as it stands, it changes nothing.
        let same = changed(&buyer, &format!("/catalogue/{noun}/{code}"), &[]);
        assert_eq!(
            (same.status, same.location),
            (303, format!("/catalogue/{noun}/{code}?done=same")),
            "{}",
            same.text
        );
    }
    // The books know who it was.
    let plan = json!({"recipe": "reef-chip", "containers": 1, "cast_on": "2026-03-02"});
    assert_eq!(
        forms
            .post("/v1/cast-plans", plan.clone())
            .expect(200)
            .json()["total_g"],
        interface.post("/v1/cast-plans", plan).expect(200).json()["total_g"]
    );
    let page = buyer.get("/catalogue").text;
    for words in [
        "Gloves &#60;M&#62; &#38; &#34;L&#34;",
        "75 x 50 x 1 mm · 6 chips · 2 copies · 180.00 EUR for 60 casts",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
}

#[test]
fn every_property_of_every_document_has_its_field() {
    let app = TestApp::start();
    catalogue(&app);
    let browser = Browser::as_role(&app, Role::Buyer);
    let kinds = browser.get("/catalogue/materials/new").text;
    let document = serde_json::to_value(heeltap::app::document()).expect("a document");
    let schemas = &document["components"]["schemas"];
    for (noun, body) in [
        ("materials", "MaterialBody"),
        ("elastomers", "ElastomerBody"),
        ("kits", "KitBody"),
        ("molds", "MoldBody"),
        ("recipes", "RecipeBody"),
        ("grants", "GrantBody"),
        ("suppliers", "SupplierBody"),
    ] {
        let mut names = std::collections::BTreeSet::new();
        let addresses: Vec<String> = match noun {
            "materials" => {
                let words = schemas["MaterialKind"]["enum"].as_array().expect("kinds");
                let words = words.iter().map(|kind| kind.as_str().expect("a word"));
                words
                    .map(|kind| format!("/catalogue/materials/new?kind={kind}"))
                    .collect()
            }
            noun => vec![format!("/catalogue/{noun}/new")],
        };
        for address in addresses {
            assert!(
                noun != "materials" || kinds.contains(&format!("href=\"{address}\"")),
                "{address}: {kinds}"
            );
            let page = browser.get(&address);
            assert!(page.status == 200 && page.text.len() < 100_000, "{address}");
            let marks = page.text.split(" name=\"/").skip(1);
            names.extend(marks.map(|rest| format!("/{}", rest.split('"').next().expect("a name"))));
        }
        for pointer in pointers(schemas, &schemas[body], "") {
            assert!(
                names.contains(&pointer),
                "{noun} has no field {pointer}: {names:?}"
            );
        }
    }
    // A kind has its own fields only.
    let tape = browser.get("/catalogue/materials/new?kind=tape").text;
    assert!(
        tape.contains("name=\"/tape/width_mm\"") && !tape.contains("/container/"),
        "{tape}"
    );
    assert!(!tape.contains("name=\"/molds_per_vial\""));
    assert!(
        tape.contains("<option value=\"m\" selected>m</option>")
            && !tape.contains("<option value=\"g\""),
        "{tape}"
    );
}

/// The pointers of all that a schema's documents can hold, lists with one place.
fn pointers(schemas: &Value, schema: &Value, at: &str) -> Vec<String> {
    let resolved = |schema: &Value| {
        let set = schema["oneOf"][0].clone();
        let schema = if set.is_null() { schema.clone() } else { set };
        let name = schema["$ref"]
            .as_str()
            .and_then(|address| address.rsplit('/').next());
        name.map_or_else(|| schema.clone(), |name| schemas[name].clone())
    };
    let mut found = Vec::new();
    for (name, property) in schema["properties"].as_object().expect("properties") {
        let (pointer, property) = (format!("{at}/{name}"), resolved(property));
        let items = resolved(&property["items"]);
        match (
            property["properties"].is_object(),
            items["properties"].is_object(),
        ) {
            (true, _) => found.extend(pointers(schemas, &property, &pointer)),
            (_, true) => found.extend(pointers(schemas, &items, &format!("{pointer}/0"))),
            _ => found.push(pointer),
        }
    }
    found
}

#[test]
fn what_is_wrong_stands_at_its_field_and_what_was_typed_stays() {
    let app = TestApp::start();
    catalogue(&app);
    let buyer = Browser::as_role(&app, Role::Buyer);
    let elastomer = json!({"code": "el-b", "name": "E", "base": "base", "curing_agent": "agent", "ratio": {"base": "0", "curing_agent": "1"},
        "ratio_tolerance": "0.02", "density_g_per_ml": "1.03", "viscosity_pa_s": "3.5", "pot_life_min": "90",
        "cure": [{"temperature_c": "65", "minutes": "240"}, {"temperature_c": "65", "minutes": "0"}]});
    #[rustfmt::skip]
    let refused: [(&str, Value); 8] = [
        ("materials", json!({"code": "tray-b", "name": "T", "kind": "container", "unit": "each",
            "container": {"shape": "rectangular", "length_mm": "-1", "diameter_mm": "5", "depth_mm": "15"}})),
        ("materials", json!({"code": "m b", "name": "T", "kind": "sundry", "unit": "g", "heel": "<b>"})),
        ("materials", json!({"code": "m-b", "name": "T", "kind": "sundry", "unit": "g", "lead_time_days": "1.5"})),
        ("materials", json!({"code": "base", "name": "T", "kind": "sundry", "unit": "g"})),
        ("materials", json!({"code": "tape-b", "name": "T", "kind": "tape", "unit": "m", "tape": {"width_mm": "12,5", "thickness_mm": "0.1"}})),
        ("elastomers", elastomer),
        ("grants", json!({"code": "g-b", "name": "G", "starts_on": "30.02.2026"})),
        ("kits", json!({"code": "k-b", "name": "K", "elastomer": "nobody", "base_g": "1", "curing_agent_g": "1"})),
    ];
    for (noun, document) in refused {
        let mut sent = document.clone();
        if let Some(days) = sent.get_mut("lead_time_days") {
            *days = json!(1.5);
        }
        let told = app.post(&format!("/v1/{noun}"), sent);
        let answer = made(&buyer, noun, &document);
        assert_eq!(answer.status, told.status, "{document}: {}", answer.text);
        let told = told.json();
        let errors = told["errors"]
            .as_array()
            .cloned()
            .unwrap_or_else(|| vec![json!({"pointer": "/code", "detail": told["detail"]})]);
        for error in errors {
            let (pointer, detail) = (
                error["pointer"].as_str().expect("a pointer"),
                error["detail"].as_str().expect("words"),
            );
            let id = pointer.trim_start_matches('/').replace('/', "-");
            let fault = format!("id=\"{id}-fault\">{}</p>", escaped(detail));
            assert!(answer.text.contains(&fault), "{fault}: {}", answer.text);
            assert!(
                answer
                    .text
                    .contains(&format!("aria-describedby=\"{id}-fault ")),
                "{id}"
            );
            assert!(answer.text.contains(&format!("<a href=\"#{id}\">")), "{id}");
        }
        let kept = standing(&answer.text);
        for (name, text) in typed(&document) {
            assert_eq!(kept.get(&name), Some(&text), "{name}: {}", answer.text);
        }
        assert!(!answer.text.contains("<b>\""));
    }
    assert_eq!(
        app.get("/v1/materials").json()["items"]
            .as_array()
            .map(Vec::len),
        Some(7)
    );
}

#[test]
fn all_that_is_missing_is_told_at_once_and_empty_rows_are_none() {
    let app = TestApp::start();
    catalogue(&app);
    let buyer = Browser::as_role(&app, Role::Buyer);
    let page = buyer.get("/catalogue/elastomers/new").text;
    let fields = |fields: &[(&str, &str)]| -> Vec<(String, String)> {
        let own = |(name, text): &(&str, &str)| ((*name).to_owned(), (*text).to_owned());
        fields.iter().map(own).collect()
    };
    let some = fields(&[
        ("/name", "E"),
        ("/cure/0/minutes", " "),
        ("/cure/3/minutes", "240"),
    ]);
    let answer = send(&buyer, &page, "/catalogue/elastomers", &some);
    assert_eq!(answer.status, 422);
    for id in [
        "code",
        "base",
        "curing_agent",
        "ratio-base",
        "ratio-curing_agent",
        "pot_life_min",
        "cure-0-temperature_c",
    ] {
        let name = id.rsplit('-').next().expect("a name");
        let fault = format!("id=\"{id}-fault\">missing field `{name}`</p>");
        assert!(answer.text.contains(&fault), "{fault}: {}", answer.text);
    }
    // The row that holds something moved up, and there is one more.
    let kept = standing(&answer.text);
    assert_eq!(kept.get("/cure/0/minutes").map(String::as_str), Some("240"));
    assert_eq!(kept.get("/cure/1/minutes").map(String::as_str), Some(""));
    assert!(!kept.contains_key("/cure/2/minutes"));
    // A list that may not be empty says so.
    let none = json!({"code": "el-b", "name": "E", "base": "base", "curing_agent": "agent", "ratio": {"base": "10", "curing_agent": "1"},
        "ratio_tolerance": "0.02", "density_g_per_ml": "1.03", "viscosity_pa_s": "3.5", "pot_life_min": "90"});
    let answer = made(&buyer, "elastomers", &none);
    assert!(
        answer
            .text
            .contains("<p class=\"fault\">there are 0 of them: send 1 to 50</p>"),
        "{}",
        answer.text
    );
}
