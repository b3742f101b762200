//! Pages: signing in and out, what a session opens and what it does not, and what the shelf shows.

use heeltap::app::PAGES;
use heeltap::http::Role;

use crate::support::TestApp;
use crate::support::browser::{Browser, form_key};
use crate::support::lab::{receive, stocked};

#[test]
fn whoever_is_not_signed_in_is_led_to_the_page_to_sign_in_and_back() {
    let app = TestApp::start();
    let browser = Browser::open(&app);
    let led = browser.get("/?from=label");
    assert_eq!(
        (led.status, led.location.as_str()),
        (303, "/sign-in?next=%2F%3Ffrom%3Dlabel")
    );
    let page = browser.get(&led.location);
    assert_eq!(page.status, 200);
    assert!(
        page.text.contains("value=\"/?from=label\""),
        "{}",
        page.text
    );
    let wrong = browser.send(
        "/sign-in",
        &[("token", "ht_nothing"), ("next", "/?from=label")],
    );
    assert_eq!(wrong.status, 422);
    assert!(
        wrong
            .text
            .contains("This is no token that opens anything now")
    );
    assert!(!wrong.text.contains("ht_nothing"), "a token is never shown");
    let right = browser.send(
        "/sign-in",
        &[("token", app.token()), ("next", "/?from=label")],
    );
    assert_eq!(
        (right.status, right.location.as_str()),
        (303, "/?from=label")
    );
    assert_eq!(browser.get("/?from=label").status, 200);
}

#[test]
fn the_cookie_is_for_pages_only_and_out_of_reach_of_scripts() {
    let app = TestApp::start();
    let browser = Browser::open(&app);
    let answer = browser.send("/sign-in", &[("token", app.token())]);
    let cookie = answer.headers["set-cookie"].to_str().expect("a cookie");
    for part in ["HttpOnly", "SameSite=Lax", "Path=/", "Max-Age=43200"] {
        assert!(cookie.contains(part), "{cookie}");
    }
    assert_eq!(browser.get("/").status, 200);
    assert_eq!(browser.get("/v1/materials").status, 401);
    // A token in the address signs in nobody but in a demo.
    let other = Browser::open(&app);
    let asked = other.get(&format!("/sign-in?token={}", app.token()));
    assert_eq!((asked.status, asked.headers.get("set-cookie")), (200, None));
    assert_eq!(other.get("/").status, 303);
}

#[test]
fn a_session_ends_with_its_hours_with_its_token_and_when_signed_out() {
    let app = TestApp::start();
    let browser = Browser::signed_in(&app);
    app.clock.advance(chrono::TimeDelta::hours(11));
    assert_eq!(browser.get("/").status, 200);
    app.clock.advance(chrono::TimeDelta::hours(1));
    assert_eq!(browser.get("/").status, 303);

    let browser = Browser::signed_in(&app);
    let page = browser.get("/").text;
    let key = form_key(&page).to_owned();
    for wrong in ["", "0", &key[1..]] {
        let refused = browser.send("/sign-out", &[("form_key", wrong)]);
        assert_eq!(refused.status, 403, "{}", refused.text);
    }
    let elsewhere = browser
        .http
        .post(browser.address("/sign-out"))
        .header("sec-fetch-site", "cross-site")
        .form(&[("form_key", key.as_str())]);
    assert_eq!(elsewhere.send().expect("an answer").status().as_u16(), 403);
    assert_eq!(browser.get("/").status, 200);
    let out = browser.send("/sign-out", &[("form_key", &key)]);
    assert_eq!((out.status, out.location.as_str()), (303, "/sign-in"));
    assert_eq!(browser.get("/").status, 303);

    let bench = app.role(Role::Bench);
    let own = Browser::open(&app);
    own.send("/sign-in", &[("token", bench.token())]);
    assert_eq!(own.get("/").status, 200);
    let tokens = app.get("/v1/tokens").expect(200).json();
    let id = tokens["items"]
        .as_array()
        .expect("tokens")
        .last()
        .expect("one")["id"]
        .clone();
    crate::support::send(app.request("DELETE", &format!("/v1/tokens/{id}"))).expect(204);
    assert_eq!(own.get("/").status, 303);
}

/// A purchase file of one row.
fn purchases(order_no: &str) -> String {
    format!(
        "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on\n\
         {order_no},1,North,2026-02-20,2026-03-01,tray,T9,1,50,each,25.00,EUR,,\n"
    )
}

#[test]
fn every_page_is_kept_from_frames_caches_and_scripts() {
    let app = TestApp::start();
    stocked(&app);
    let booked = serde_json::json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-10"});
    app.post("/v1/casts", booked).expect(201);
    let order = serde_json::json!({"order_no": "O-1", "supplier": "North", "ordered_on": "2026-02-20", "lines": [
        {"line_no": 1, "item": "tray", "packs": 1, "pack_quantity": "50", "unit": "each", "line_price": "25"}]});
    app.post("/v1/orders", order).expect(201);
    let browser = Browser::signed_in(&app);
    // A file that waits, and one that is received.
    for (name, deed) in [("one.csv", None), ("two.csv", Some("receive"))] {
        let waits = browser.drop_file(name, purchases(name), &[]).location;
        let key = form_key(&browser.get("/receive").text).to_owned();
        if let Some(deed) = deed {
            browser.send(&format!("{waits}/{deed}"), &[("form_key", &key)]);
        }
    }
    for door in PAGES.iter().filter(|door| door.method == "GET") {
        let path = door.path.replace("{file}", "heeltap.css");
        let path = path.replace("/catalogue/{noun}/{code}", "/catalogue/molds/mold");
        let path = path.replace("{noun}", "recipes");
        let path = path.replace("/orders/{code}", "/orders/O-1");
        let path = path.replace("/files/{id}", "/files/1");
        let path = path.replace("/imports/{id}", "/imports/1");
        let path = path.replace("{code}", "C-00001");
        let path = path.replace("/lots/{id}", "/lots/1");
        let page = browser.get(&path);
        assert_eq!(page.status, 200, "{path}");
        assert_eq!(page.headers["x-content-type-options"], "nosniff", "{path}");
        if !page.headers["content-type"]
            .to_str()
            .unwrap_or("")
            .starts_with("text/html")
        {
            continue;
        }
        let policy = page.headers["content-security-policy"]
            .to_str()
            .expect("a policy");
        assert!(policy.starts_with("default-src 'none'") && !policy.contains("unsafe"));
        assert_eq!(page.headers["cache-control"], "no-store", "{path}");
        assert_eq!(page.headers["x-frame-options"], "DENY", "{path}");
        // A label says the page's own address; nothing is loaded from it.
        let own = format!("http://{}/lots/1", app.address);
        let text = page.text.replace(&own, "");
        // The one script is the service's own, and every page has it.
        let script = r#"<script src="/assets/heeltap.js" defer></script>"#;
        assert_eq!(text.matches(script).count(), 1, "{path}");
        let text = text.replace(script, "");
        for inline in [
            "<script",
            " style=",
            " onclick",
            "javascript:",
            "http://",
            "https://",
        ] {
            assert!(!text.contains(inline), "{path} has {inline}");
        }
        assert!(
            page.text.len() < 100_000,
            "{path}: {} bytes",
            page.text.len()
        );
    }
}

#[test]
fn an_asset_is_asked_for_again_only_when_it_changed() {
    let app = TestApp::start();
    let browser = Browser::open(&app);
    let first = browser.get("/assets/heeltap.css");
    let tag = first.headers["etag"].clone();
    let again = browser
        .http
        .get(browser.address("/assets/heeltap.css"))
        .header("if-none-match", tag)
        .send()
        .expect("an answer");
    assert_eq!(again.status().as_u16(), 304);
    assert_eq!(browser.get("/assets/nothing").status, 404);
}

#[test]
fn an_empty_shelf_says_what_to_do_next() {
    let app = TestApp::start();
    let page = Browser::signed_in(&app).get("/").text;
    assert!(page.contains("Nothing is to do today."), "{page}");
    assert!(page.contains("Nothing is on the shelf yet."), "{page}");
}

#[test]
fn the_shelf_shows_every_lot_as_its_vessel_and_what_is_to_do() {
    let app = TestApp::start();
    stocked(&app);
    let booked = serde_json::json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-02",
        "charges": [{"grant": "grant-a", "share": "100"}]});
    app.post("/v1/casts", booked).expect(201);
    // An order that is late, and a lot that will expire with something in it.
    receive(&app, "stirrer", "S-old", None, &["7"], "1");
    let page = Browser::signed_in(&app).get("/").text;
    assert!(page.contains("Pour C-00001, 2 trays of Chip."), "{page}");
    let lots = app.get("/v1/lots?limit=100").expect(200).json();
    for lot in lots["items"].as_array().expect("lots") {
        let code = lot["lot"].as_str().expect("a code");
        assert!(page.contains(&format!("lot {code}: ")), "{code}");
    }
    // What the base's vessel says is what the lot holds.
    let base = &lots["items"][0];
    let promised = base["reserved"].as_str().expect("a quantity");
    let promised: f64 = promised.parse().expect("a number");
    assert!(promised > 0.0);
    let words = format!("bottle, lot B1: 1,000 g of 1,000 g, {promised:.1} g promised");
    assert!(page.contains(&words), "{words}");
    assert!(page.contains("<b>") && page.contains("class=\"horizon\""));
    // A name with an angle in it is text.
    let sneaky = serde_json::json!({"code": "odd", "name": "<b>Odd</b> & co", "kind": "sundry", "unit": "each"});
    app.post("/v1/materials", sneaky).expect(201);
    receive(&app, "odd", "O<1>", None, &["3"], "1");
    let page = Browser::signed_in(&app).get("/").text;
    assert!(!page.contains("<b>Odd</b>") && !page.contains("O<1>"));
    assert!(
        page.contains("Odd") && page.contains("O&#60;1&#62;"),
        "{page}"
    );
}

#[test]
fn a_pack_that_is_drawn_from_is_to_be_counted_after_a_month() {
    let app = TestApp::start();
    stocked(&app);
    let booked = serde_json::json!({"recipe": "chip", "containers": 1, "cast_on": "2026-03-02"});
    let cast = app.post("/v1/casts", booked).expect(201).json();
    let page = Browser::signed_in(&app).get("/").text;
    assert!(
        page.contains("<a href=\"/casts/C-00001/bench-sheet\">Its bench sheet</a>"),
        "{page}"
    );
    let batch = &cast["plan"]["batches"][0];
    let batch =
        serde_json::json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"]});
    let poured = serde_json::json!({"poured_on": "2026-03-02", "batches": [batch]});
    app.post("/v1/casts/C-00001/pour", poured).expect(200);
    app.clock.advance(chrono::TimeDelta::days(29));
    let page = Browser::signed_in(&app).get("/").text;
    assert!(!page.contains("Count pack"), "{page}");
    app.clock.advance(chrono::TimeDelta::days(1));
    let page = Browser::signed_in(&app).get("/").text;
    let says = "Count pack 1 of Base, lot B1: it was never counted, and drawn from Mon 2 Mar.";
    assert!(page.contains(says), "{page}");
    assert!(
        page.contains("<a href=\"/lots/1?pack=1#pack\">Count it</a>"),
        "{page}"
    );
    // Counted, it is done.
    let count = serde_json::json!({"on_hand": "950"});
    app.post("/v1/packs/1/count", count).expect(200);
    let page = Browser::signed_in(&app).get("/").text;
    assert!(!page.contains("Count pack 1 of Base"), "{page}");
}
