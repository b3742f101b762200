//! The pages of the catalogue: a whole catalogue made in a browser, what is wrong at its field, what changed meanwhile, what is
//! retired, and who may do what.

use std::collections::BTreeMap;

use heeltap::http::Role;
use serde_json::{Value, json};

use crate::support::browser::{Browser, Seen, form_key};
use crate::support::lab::{catalogue, receive, stocked};
use crate::support::{Client, TestApp};

/// The catalogue of the README's walk-through, and a supplier: nouns in addresses with documents.
fn walk_through() -> Vec<(&'static str, Value)> {
    let round = json!({"shape": "round", "diameter_mm": "62", "depth_mm": "70"});
    let tray = json!({"shape": "rectangular", "length_mm": "90", "width_mm": "60", "depth_mm": "15", "draft_deg": "2"});
    vec![
        (
            "materials",
            json!({"code": "base-a", "name": "Silicone base", "kind": "elastomer_base", "unit": "g", "lead_time_days": 14,
                "stated_use_per_month": "1500"}),
        ),
        (
            "materials",
            json!({"code": "agent-a", "name": "Curing agent", "kind": "curing_agent", "unit": "g", "lead_time_days": 14,
                "stated_use_per_month": "150", "hazard_statements": ["H317", "H301+H311"]}),
        ),
        (
            "materials",
            json!({"code": "tray", "name": "Tray 90 x 60", "kind": "container", "unit": "each", "container": tray}),
        ),
        (
            "materials",
            json!({"code": "cup", "name": "Cup 200 mL", "kind": "mixing_cup", "unit": "each", "tare_g": "6.2", "container": round}),
        ),
        (
            "materials",
            json!({"code": "tape", "name": "Tape 25 mm", "kind": "tape", "unit": "m", "tape": {"width_mm": "25", "thickness_mm": "0.1"}}),
        ),
        (
            "materials",
            json!({"code": "glove", "name": "Gloves <M> & \"L\"", "kind": "sundry", "unit": "each"}),
        ),
        (
            "elastomers",
            json!({"code": "soft", "name": "Soft elastomer", "base": "base-a", "curing_agent": "agent-a",
                "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.02", "density_g_per_ml": "1.03",
                "viscosity_pa_s": "3.5", "pot_life_min": "90",
                "cure": [{"temperature_c": "65", "minutes": "240"}, {"temperature_c": "25", "minutes": "2880"}]}),
        ),
        (
            "kits",
            json!({"code": "kit-a", "name": "Kit 1.1 kg", "elastomer": "soft", "base_g": "1000", "curing_agent_g": "100"}),
        ),
        (
            "molds",
            json!({"code": "reef", "name": "Reef tiles", "length_mm": "75", "width_mm": "50", "thickness_mm": "1", "chips": 6,
                "copies": 2, "cost": "180", "rated_casts": 60}),
        ),
        (
            "recipes",
            json!({"code": "reef-chip", "name": "Reef chip", "elastomer": "soft", "mold": "reef", "container": "tray", "cup": "cup",
                "tape": "tape", "chip_thickness_mm": "4", "drain_time_s": "60", "weighing": "cumulative",
                "gauge": {"mass_g": "30", "of": "water", "mold_in": true, "level_mm": "5"},
                "extras": [{"material": "glove", "quantity": "2", "per": "cast"}, {"material": "glove", "quantity": "1", "per": "batch"}]}),
        ),
        (
            "grants",
            json!({"code": "larvae", "name": "Larval settlement"}),
        ),
        (
            "grants",
            json!({"code": "course", "name": "Teaching course", "starts_on": "2026-01-01", "ends_on": "2026-12-31",
                "materials_budget": "500", "beyond": "refuse"}),
        ),
        (
            "suppliers",
            json!({"code": "quill", "name": "Quillmere Polymers", "lead_time_days": 9, "email": "orders@example.org",
                "note": "two\nlines"}),
        ),
    ]
}

/// What is typed for a document: each value at its pointer.
fn typed(document: &Value) -> Vec<(String, String)> {
    let mut fields = Vec::new();
    type_in(document, "", &mut fields);
    fields
}

fn type_in(value: &Value, pointer: &str, fields: &mut Vec<(String, String)>) {
    let mut push = |text: String| fields.push((pointer.to_owned(), text));
    match value {
        Value::String(text) => push(text.replace('\n', "\r\n")),
        Value::Bool(true) => push("on".to_owned()),
        Value::Bool(false) | Value::Null => {}
        Value::Number(number) => push(number.to_string()),
        Value::Array(lines) if lines.iter().all(Value::is_string) => {
            let lines: Vec<&str> = lines.iter().filter_map(Value::as_str).collect();
            push(lines.join("\r\n"));
        }
        Value::Array(rows) => {
            for (at, row) in rows.iter().enumerate() {
                type_in(row, &format!("{pointer}/{at}"), fields);
            }
        }
        Value::Object(members) => {
            for (name, member) in members {
                type_in(member, &format!("{pointer}/{name}"), fields);
            }
        }
    }
}

/// The address of the form for a document.
fn form_of(noun: &str, document: &Value) -> String {
    match document["kind"].as_str() {
        Some(kind) => format!("/catalogue/{noun}/new?kind={kind}"),
        None => format!("/catalogue/{noun}/new"),
    }
}

/// The text of an attribute as it is.
fn plain(text: &str) -> String {
    let text = text.replace("&#34;", "\"").replace("&#39;", "'");
    text.replace("&#60;", "<")
        .replace("&#62;", ">")
        .replace("&#38;", "&")
}

fn escaped(text: &str) -> String {
    let text = text.replace('&', "&#38;").replace('<', "&#60;");
    text.replace('>', "&#62;")
        .replace('"', "&#34;")
        .replace('\'', "&#39;")
}

fn hidden(page: &str, name: &str) -> String {
    let mark = format!("name=\"{name}\" value=\"");
    let (_, rest) = page
        .split_once(&mark)
        .unwrap_or_else(|| panic!("no {name} in {page}"));
    plain(rest.split('"').next().expect("a value"))
}

/// What stands in the form of a page, by the name of the field: as a browser would send it.
fn standing(page: &str) -> BTreeMap<String, String> {
    let mut fields = BTreeMap::new();
    let attribute = |tag: &str, name: &str| {
        let (_, rest) = tag.split_once(&format!(" {name}=\""))?;
        rest.split('"').next().map(plain)
    };
    for part in page.split('<') {
        let tag = part.split('>').next().expect("a tag");
        let Some(name) = attribute(tag, "name").filter(|name| name.starts_with('/')) else {
            continue;
        };
        let text = match tag.split(' ').next() {
            Some("input") if tag.contains("type=\"checkbox\"") => {
                tag.contains(" checked").then(|| "on".to_owned())
            }
            Some("input") => attribute(tag, "value"),
            Some("textarea") => part
                .split_once('>')
                .map(|(_, text)| plain(text.strip_prefix('\n').unwrap_or(text))),
            Some("select") => {
                let (_, rest) = page.split_once(tag).expect("the tag");
                let options = rest.split("</select>").next().expect("its end");
                let chosen = options
                    .split('<')
                    .find(|option| option.contains(" selected"));
                chosen.and_then(|option| attribute(option, "value"))
            }
            _ => None,
        };
        fields.extend(text.map(|text| (name, text)));
    }
    fields
}

/// Sends a form that holds `fields`, with what the page hides in it.
fn send(browser: &Browser<'_>, page: &str, path: &str, fields: &[(String, String)]) -> Seen {
    let key = form_key(page).to_owned();
    let mut form = vec![("form_key".to_owned(), key)];
    for name in ["version", "read"] {
        if page.contains(&format!("name=\"{name}\"")) {
            form.push((name.to_owned(), hidden(page, name)));
        }
    }
    form.extend(fields.iter().cloned());
    let form: Vec<(&str, &str)> = form
        .iter()
        .map(|(name, text)| (name.as_str(), text.as_str()))
        .collect();
    browser.send(path, &form)
}

/// Makes an entry by its form.
fn made(browser: &Browser<'_>, noun: &str, document: &Value) -> Seen {
    let page = browser.get(&form_of(noun, document));
    assert_eq!(page.status, 200, "{}", page.text);
    send(
        browser,
        &page.text,
        &format!("/catalogue/{noun}"),
        &typed(document),
    )
}

/// Opens an entry, changes some fields, and sends the form.
fn changed(browser: &Browser<'_>, path: &str, changes: &[(&str, &str)]) -> Seen {
    let page = browser.get(path).text;
    changed_on(browser, &page, path, changes)
}

fn changed_on(browser: &Browser<'_>, page: &str, path: &str, changes: &[(&str, &str)]) -> Seen {
    let mut fields = standing(page);
    let changes = changes
        .iter()
        .map(|(name, text)| ((*name).to_owned(), (*text).to_owned()));
    fields.extend(changes);
    let fields: Vec<(String, String)> = fields.into_iter().collect();
    send(browser, page, path, &fields)
}

fn shown(app: &Client, noun: &str, code: &str) -> Value {
    app.get(&format!("/v1/{noun}/{code}")).expect(200).json()
}

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

#[test]
fn a_change_is_kept_and_only_what_was_changed() {
    let app = TestApp::start();
    for (noun, document) in walk_through() {
        app.post(&format!("/v1/{noun}"), document).expect(201);
    }
    let buyer = Browser::as_role(&app, Role::Buyer);
    let path = "/catalogue/recipes/reef-chip";
    let answer = changed(
        &buyer,
        path,
        &[
            ("/name", "Reef chip, thick"),
            ("/chip_thickness_mm", "5"),
            ("/tape", ""),
            ("/extras/0/material", ""),
            ("/extras/0/quantity", ""),
            ("/extras/0/per", ""),
            ("/cure/temperature_c", "65"),
            ("/cure/minutes", "200"),
        ],
    );
    assert_eq!(
        (answer.status, answer.location),
        (303, format!("{path}?done=changed")),
        "{}",
        answer.text
    );
    let recipe = shown(&app, "recipes", "reef-chip");
    assert_eq!(
        (&recipe["name"], &recipe["chip_thickness_mm"]),
        (&json!("Reef chip, thick"), &json!("5"))
    );
    assert_eq!(
        recipe["extras"],
        json!([{"material": "glove", "quantity": "1", "per": "batch"}])
    );
    assert_eq!(
        recipe["cure"],
        json!({"temperature_c": "65", "minutes": "200"})
    );
    assert!(
        recipe.get("tape").is_none() && recipe["version"] == 2,
        "{recipe}"
    );
    assert_eq!(recipe["gauge"]["mold_in"], true);
    // What never changes is shown and has no field.
    let page = buyer.get("/catalogue/molds/reef").text;
    for name in ["/code", "/cost", "/copies", "/rated_casts"] {
        assert!(!page.contains(&format!("name=\"{name}\"")), "{name}");
    }
    assert!(
        page.contains("<dt>Cost of one copy, EUR</dt><dd>180</dd>"),
        "{page}"
    );
    // And what leads on from it, and to it.
    assert!(
        page.contains("<a href=\"/catalogue/recipes/reef-chip\">Reef chip, thick (reef-chip)</a>"),
        "{page}"
    );
    // A fault of a change stands at its field too, and what was read is kept beside.
    let answer = changed(
        &buyer,
        "/catalogue/materials/tray",
        &[("/container/depth_mm", "0"), ("/name", "Tray, new")],
    );
    assert_eq!(answer.status, 422);
    assert!(
        answer
            .text
            .contains("id=\"container-depth_mm-fault\">0 is out of range"),
        "{}",
        answer.text
    );
    assert_eq!(standing(&answer.text)["/name"], "Tray, new");
    let again = changed_on(
        &buyer,
        &answer.text,
        "/catalogue/materials/tray",
        &[("/container/depth_mm", "16")],
    );
    assert_eq!(again.status, 303, "{}", again.text);
    let tray = shown(&app, "materials", "tray");
    assert_eq!(
        (&tray["name"], &tray["container"]["depth_mm"]),
        (&json!("Tray, new"), &json!("16"))
    );
}

#[test]
fn what_changed_meanwhile_is_told_and_nothing_is_lost() {
    let app = TestApp::start();
    catalogue(&app);
    let buyer = Browser::as_role(&app, Role::Buyer);
    let path = "/catalogue/materials/cup";
    let page = buyer.get(path).text;
    let patch = json!({"name": "Cup, blue", "tare_g": "9", "container": {"draft_deg": "3"}});
    app.patch("/v1/materials/cup", "\"1\"", patch).expect(200);
    let mine = [("/name", "Cup, red"), ("/lead_time_days", "5")];
    let answer = changed_on(&buyer, &page, path, &mine);
    assert_eq!(answer.status, 412);
    for words in [
        "<b>It has changed meanwhile</b>",
        "Changed meanwhile from “8” to “9”.</p>",
        "Changed meanwhile from nothing to “3”.</p>",
        "Changed meanwhile from “Cup” to “Cup, blue”. What you sent stands here.</p>",
    ] {
        assert!(answer.text.contains(words), "{words}: {}", answer.text);
    }
    let stands = standing(&answer.text);
    for (name, text) in [
        ("/name", "Cup, red"),
        ("/lead_time_days", "5"),
        ("/tare_g", "9"),
        ("/container/draft_deg", "3"),
    ] {
        assert_eq!(stands[name], text, "{name}");
    }
    assert_eq!(
        shown(&app, "materials", "cup")["name"],
        "Cup, blue",
        "nothing is kept yet"
    );
    assert_eq!(changed_on(&buyer, &answer.text, path, &[]).status, 303);
    let cup = shown(&app, "materials", "cup");
    let found = (
        &cup["name"],
        &cup["lead_time_days"],
        &cup["tare_g"],
        &cup["container"]["draft_deg"],
        &cup["version"],
    );
    assert_eq!(
        found,
        (
            &json!("Cup, red"),
            &json!(5),
            &json!("9"),
            &json!("3"),
            &json!(3)
        )
    );
}

#[test]
fn what_is_in_use_is_not_retired_and_what_is_retired_changes_no_more() {
    let app = TestApp::start();
    stocked(&app);
    let buyer = Browser::as_role(&app, Role::Buyer);
    let retire = |path: &str| {
        let page = buyer.get(path).text;
        send(&buyer, &page, &format!("{path}/retire"), &[])
    };
    for (noun, code) in [("molds", "mold"), ("materials", "stirrer")] {
        let path = format!("/catalogue/{noun}/{code}");
        let answer = retire(&path);
        let told = app
            .post(&format!("/v1/{noun}/{code}/retire"), json!({}))
            .expect(409)
            .json();
        assert_eq!(answer.status, 409);
        let detail = escaped(told["detail"].as_str().expect("words"));
        assert!(
            answer.text.contains(&format!("autofocus>{detail}</p>")),
            "{detail}: {}",
            answer.text
        );
    }
    let opened = buyer.get("/catalogue/recipes/chip").text;
    let answer = retire("/catalogue/recipes/chip");
    assert_eq!(
        (answer.status, answer.location.as_str()),
        (303, "/catalogue/recipes/chip?done=retired")
    );
    let page = buyer.get(&answer.location).text;
    assert!(
        page.contains("It is retired: nothing new may name it.") && !page.contains("name=\"read\""),
        "{page}"
    );
    assert!(
        page.contains("<dt>Chip thickness, mm</dt><dd>4</dd>"),
        "{page}"
    );
    assert!(shown(&app, "recipes", "chip")["retired_at"].is_string());
    // Whoever had its form open is told, and keeps what they typed.
    let late = changed_on(
        &buyer,
        &opened,
        "/catalogue/recipes/chip",
        &[("/name", "Late")],
    );
    assert_eq!(late.status, 412, "{}", late.text);
    let later = changed_on(&buyer, &late.text, "/catalogue/recipes/chip", &[]);
    assert_eq!(later.status, 409);
    assert!(
        later
            .text
            .contains("<p>the recipe &#34;chip&#34; is retired and changes no more</p>"),
        "{}",
        later.text
    );
    assert_eq!(standing(&later.text)["/name"], "Late");
    // It stands apart in the list, and nothing new may name what is retired.
    let list = buyer.get("/catalogue").text;
    assert!(list.contains("<summary>Retired: 1</summary>"), "{list}");
    assert_eq!(retire("/catalogue/molds/mold").status, 303);
    let new = buyer.get("/catalogue/recipes/new").text;
    assert!(
        !new.contains("<option value=\"mold\"") && new.contains("make a mould</a> first"),
        "{new}"
    );
    assert!(new.contains("still missing: a mould."), "{new}");
}

#[test]
fn whoever_only_looks_sees_no_form_and_sends_none() {
    let app = TestApp::start();
    catalogue(&app);
    for role in [Role::Reader, Role::Bench] {
        let browser = Browser::as_role(&app, role);
        let page = browser.get("/catalogue").text;
        assert!(
            !page.contains("/new") && page.contains("href=\"/catalogue/materials/cup\""),
            "{page}"
        );
        let entry = browser.get("/catalogue/materials/cup").text;
        assert!(
            entry.contains("<dt>Its inside</dt><dd>Shape: round;")
                && !entry.contains("action=\"/catalogue"),
            "{entry}"
        );
        assert_eq!(browser.get("/catalogue/materials/new").status, 403);
        let form = [
            ("form_key", form_key(&entry)),
            ("/code", "x"),
            ("/name", "x"),
        ];
        for path in [
            "/catalogue/grants",
            "/catalogue/grants/grant-a",
            "/catalogue/grants/grant-a/retire",
        ] {
            assert_eq!(browser.send(path, &form).status, 403, "{path}");
        }
    }
    // Not without the key of the session, nor with another's.
    let (buyer, other) = (
        Browser::as_role(&app, Role::Buyer),
        Browser::signed_in(&app),
    );
    let key = form_key(&other.get("/catalogue").text).to_owned();
    for key in ["", key.as_str()] {
        let form = [("form_key", key), ("/code", "g"), ("/name", "G")];
        for path in [
            "/catalogue/grants",
            "/catalogue/grants/grant-a",
            "/catalogue/grants/grant-a/retire",
        ] {
            assert_eq!(buyer.send(path, &form).status, 403, "{path}");
        }
    }
    let own = buyer.get("/catalogue").text;
    let form = [("form_key", form_key(&own)), ("/name", "x")];
    for path in [
        "/catalogue/soups",
        "/catalogue/grants/none",
        "/catalogue/soups/none/retire",
        "/catalogue/grants/none/retire",
    ] {
        assert_eq!(buyer.send(path, &form).status, 404, "{path}");
    }
    for path in [
        "/catalogue/soups/new",
        "/catalogue/materials/none",
        "/catalogue/kits/cup",
    ] {
        assert_eq!(buyer.get(path).status, 404, "{path}");
    }
    assert_eq!(
        app.get("/v1/grants").json()["items"]
            .as_array()
            .map(Vec::len),
        Some(2)
    );
}

#[test]
fn an_empty_installation_says_what_comes_first_until_a_cast_can_be_planned() {
    let app = TestApp::start();
    let buyer = Browser::as_role(&app, Role::Buyer);
    let shelf = buyer.get("/").text;
    for words in [
        "Nothing is on the shelf yet.",
        "href=\"/catalogue\"",
        "A first cast still needs a base, a curing agent, a tray and a cup.",
    ] {
        assert!(shelf.contains(words), "{words}: {shelf}");
    }
    let page = buyer.get("/catalogue").text;
    assert!(
        page.contains("A recipe needs an elastomer, a mould, a tray and a cup."),
        "{page}"
    );
    assert!(
        page.contains("href=\"/catalogue/materials/new?kind=curing_agent\">New curing agent</a>"),
        "{page}"
    );
    let reader = Browser::as_role(&app, Role::Reader).get("/catalogue").text;
    assert!(
        reader.contains("The way to a first cast") && !reader.contains("/new"),
        "{reader}"
    );
    // After each entry, the page says what comes next.
    let mut next = Vec::new();
    for (noun, document) in walk_through()
        .into_iter()
        .filter(|(noun, _)| !matches!(*noun, "grants" | "suppliers" | "kits"))
    {
        let answer = made(&buyer, noun, &document);
        let page = buyer.get(&answer.location).text;
        let said = page
            .split_once("Next, ")
            .and_then(|(_, rest)| rest.split(':').next());
        next.push(said.expect("a step").to_owned());
    }
    assert_eq!(next[0], "materials");
    assert_eq!(
        next[5..],
        ["an elastomer", "a mould", "a recipe", "a delivery"],
        "{next:?}"
    );
    receive(&app, "base-a", "B1", None, &["1000"], "100");
    let page = buyer.get("/catalogue").text;
    assert!(!page.contains("The way to a first cast"), "{page}");
}

#[test]
fn a_long_catalogue_stays_short_on_each_page() {
    let app = TestApp::start();
    catalogue(&app);
    let made = app.service.as_actor("test", |tx| {
        for at in 0..400 {
            let name = format!("Stirrer of the longer kind, number {at:03}");
            let body = json!({"code": format!("stirrer-{at:03}"), "name": name, "kind": "sundry", "unit": "each"});
            let body: heeltap::catalogue::MaterialBody = serde_json::from_value(body).expect("a material");
            heeltap::catalogue::entry_create(tx, body)?;
        }
        Ok(())
    });
    made.expect("a catalogue");
    let buyer = Browser::as_role(&app, Role::Buyer);
    let page = buyer.get("/catalogue").text;
    assert!(
        page.len() < 100_000 && page.contains("All of them: 383 more</a>"),
        "{} {page}",
        page.len()
    );
    let mut address = "/catalogue?of=materials".to_owned();
    let mut seen = 0;
    for _ in 0..3 {
        let page = buyer.get(&address).text;
        assert!(page.len() < 100_000, "{}", page.len());
        seen += page.matches("href=\"/catalogue/materials/stirrer-").count();
        if let Some((_, rest)) = page.split_once("href=\"/catalogue?of=materials&amp;page=") {
            address = format!(
                "/catalogue?of=materials&page={}",
                rest.split('"').next().expect("a page")
            );
        }
    }
    assert_eq!(seen, 400);
    // Where a select would be too long, a code is typed, and the browser offers what there is.
    let recipe = buyer.get("/catalogue/recipes/new").text;
    assert!(recipe.len() < 100_000, "{}", recipe.len());
    assert!(
        recipe.contains("list=\"extras-n-material\"")
            && recipe.contains("<datalist id=\"extras-n-material\">")
    );
    assert!(recipe.contains("<select id=\"mold\""));
}
