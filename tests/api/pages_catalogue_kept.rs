//! The pages of the catalogue: what is changed and changed meanwhile, what is retired, who may do what, and what an empty
//! installation is told.

use heeltap::http::Role;
use serde_json::json;

use crate::support::TestApp;
use crate::support::browser::{Browser, form_key};
use crate::support::catalogue_forms::{
    changed, changed_on, escaped, made, send, shown, standing, walk_through,
};
use crate::support::lab::{catalogue, receive, stocked};

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
    assert!(
        page.contains("href=\"/casts/plan\">Plan a cast</a>"),
        "{page}"
    );
    // Who has cast has found the way.
    let app = TestApp::start();
    stocked(&app);
    let booked = json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-10"});
    app.post("/v1/casts", booked).expect(201);
    let page = Browser::signed_in(&app).get("/catalogue").text;
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
