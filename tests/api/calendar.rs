//! The calendar: who gets in, what stands in it, and that it says what the API says.

use std::collections::BTreeMap;

use chrono::TimeDelta;
use heeltap::http::Role;
use serde_json::{Value, json};

use crate::support::lab::{catalogue, receive, stocked};
use crate::support::{Answer, Client, Heeltap, TestApp, TestDatabase, send};

/// Makes a key and returns the calendar's address.
fn key(app: &Client) -> String {
    let made = app
        .post("/v1/calendar-keys", json!({"name": "wall"}))
        .expect(201);
    made.json()["path"].as_str().expect("a path").to_owned()
}

/// The events of a feed: what each is known by, without the installation, and its properties.
fn events(feed: &Answer) -> BTreeMap<String, BTreeMap<String, String>> {
    let unfolded = feed.text.replace("\r\n ", "");
    let mut events = BTreeMap::new();
    for event in unfolded.split("BEGIN:VEVENT\r\n").skip(1) {
        let event = event.split("END:VEVENT").next().expect("an event");
        let properties: BTreeMap<String, String> = event
            .lines()
            .filter_map(|line| line.split_once(':'))
            .map(|(name, value)| (name.to_owned(), value.to_owned()))
            .collect();
        let uid = properties["UID"]
            .split('.')
            .next()
            .expect("a uid")
            .to_owned();
        assert!(
            events.insert(uid, properties).is_none(),
            "a uid stands twice"
        );
    }
    events
}

/// The days of the events whose names begin so.
fn days(feed: &Answer, start: &str) -> Vec<String> {
    events(feed)
        .iter()
        .filter(|(uid, _)| uid.starts_with(start))
        .map(|(uid, event)| format!("{uid} {}", event["DTSTART;VALUE=DATE"]))
        .collect()
}

fn book(app: &TestApp, cast_on: &str) -> (String, String) {
    let body = json!({"recipe": "chip", "containers": 4, "cast_on": cast_on});
    let booked = app.post("/v1/casts", body).expect(201);
    let code = booked.json()["code"].as_str().expect("a code").to_owned();
    (code, booked.header("etag").to_owned())
}

#[test]
fn a_key_is_shown_once_and_opens_the_calendar_alone() {
    let app = TestApp::start();
    let body = json!({"name": " front desk "});
    let made = app
        .post_once("/v1/calendar-keys", "one", body.clone())
        .expect(201);
    let key = made.json()["key"].as_str().expect("a key").to_owned();
    assert!(
        key.starts_with("hc_") && key.len() == 67,
        "256 bits in hexadecimal"
    );
    let path = format!("/v1/calendar.ics?key={key}");
    assert_eq!(made.json()["path"], path);
    let again = app.post_once("/v1/calendar-keys", "one", body).expect(201);
    assert_eq!(again.json(), json!({"id": 1, "name": "front desk"}));

    let shown = app.get(made.header("location")).expect(200).json();
    let expected = json!({"id": 1, "name": "front desk", "created_at": "2026-03-02T09:00:00Z", "created_by": "administrator"});
    assert_eq!(shown, expected);
    let list = app.get("/v1/calendar-keys").expect(200);
    assert_eq!(list.json()["items"], json!([expected]));
    assert!(!list.text.contains(&key));

    let feed = app.nobody().get(&path).expect(200);
    assert_eq!(feed.header("content-type"), "text/calendar; charset=utf-8");
    assert_eq!(feed.header("cache-control"), "private, no-cache");
    assert!(
        feed.text
            .starts_with("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:")
    );
    // As a token it opens nothing, and a token is no key.
    let client = Client::new(app.address, Some(key));
    client.get("/v1/lots").expect(401);
    let token = app.token();
    app.nobody()
        .get(&format!("/v1/calendar.ics?key={token}"))
        .expect(401);
}

#[test]
fn without_a_valid_key_it_is_401_and_a_revoked_key_is_none() {
    let app = TestApp::start();
    let path = key(&app);
    for wrong in [
        "",
        "?key=",
        "?key=hc_0000",
        &path.replace("hc_", "hc_0")[16..],
    ] {
        let answer = app.get(&format!("/v1/calendar.ics{wrong}")).expect(401);
        assert_eq!(answer.problem(), "unauthenticated");
        assert!(answer.detail().contains("calendar key"), "{}", answer.text);
        assert!(!answer.header("www-authenticate").is_empty());
    }
    app.nobody().get(&path).expect(200);
    app.delete("/v1/calendar-keys/1").expect(204);
    app.nobody().get(&path).expect(401);
    let revoked_at = app.get("/v1/calendar-keys/1").json()["revoked_at"].clone();
    app.clock.advance(TimeDelta::hours(1));
    app.delete("/v1/calendar-keys/1").expect(204);
    assert_eq!(
        app.get("/v1/calendar-keys/1").json()["revoked_at"],
        revoked_at
    );
    assert_eq!(
        app.delete("/v1/calendar-keys/2").expect(404).problem(),
        "not-found"
    );
    assert_eq!(
        app.get("/v1/calendar-keys/2").expect(404).problem(),
        "not-found"
    );
    let nameless = app
        .post("/v1/calendar-keys", json!({"name": " "}))
        .expect(422);
    assert_eq!(nameless.pointers(), ["/name"]);
    app.role(Role::Buyer).get("/v1/calendar-keys").expect(403);
}

#[test]
fn a_cast_appears_moves_and_vanishes_when_it_is_cancelled_or_poured() {
    let app = TestApp::start();
    stocked(&app);
    let (nobody, path) = (app.nobody(), key(&app));
    assert!(days(&nobody.get(&path).expect(200), "cast-").is_empty());
    let (code, etag) = book(&app, "2026-03-10");
    let feed = nobody.get(&path).expect(200);
    let event = &events(&feed)[&format!("cast-{code}")];
    let uid = event["UID"].clone();
    assert_eq!(event["DTEND;VALUE=DATE"], "20260311");
    assert_eq!(
        event["SUMMARY"],
        format!("Cast {code}: 4 trays of chip (Chip)")
    );
    assert_eq!(event["SEQUENCE"], "0");
    assert_eq!(event["DTSTAMP"], "20260302T090000Z");
    assert_eq!(
        (&*event["STATUS"], &*event["TRANSP"], &*event["CATEGORIES"]),
        ("CONFIRMED", "TRANSPARENT", "Cast")
    );

    app.patch(
        &format!("/v1/casts/{code}"),
        &etag,
        json!({"cast_on": "2026-03-12"}),
    )
    .expect(200);
    let feed = nobody.get(&path).expect(200);
    assert_eq!(days(&feed, "cast-"), [format!("cast-{code} 20260312")]);
    let event = &events(&feed)[&format!("cast-{code}")];
    assert_eq!((&event["UID"], &*event["SEQUENCE"]), (&uid, "1"));

    app.post(&format!("/v1/casts/{code}/cancel"), json!({}))
        .expect(200);
    assert!(days(&nobody.get(&path).expect(200), "cast-").is_empty());
    let (code, _) = book(&app, "2026-03-02");
    assert_eq!(
        days(&nobody.get(&path).expect(200), "cast-"),
        [format!("cast-{code} 20260302")]
    );
    let plan = app.get(&format!("/v1/casts/{code}")).json();
    let batches = plan["plan"]["batches"].as_array().map_or(1, Vec::len);
    let one = json!({"base_g": "49.20", "curing_agent_g": "4.92"});
    let pour = json!({"poured_on": "2026-03-02", "batches": vec![one; batches]});
    app.post(&format!("/v1/casts/{code}/pour"), pour)
        .expect(200);
    assert!(days(&nobody.get(&path).expect(200), "cast-").is_empty());
}

#[test]
fn last_good_days_are_those_of_lots_in_stock_and_of_open_packs() {
    let app = TestApp::start();
    catalogue(&app);
    let lot = receive(&app, "base", "B1", None, &["1000"], "100");
    let vials = receive(&app, "vial", "V1", None, &["1", "1"], "12");
    let (nobody, path) = (app.nobody(), key(&app));
    let feed = nobody.get(&path).expect(200);
    assert_eq!(
        days(&feed, "lot-"),
        [
            format!("lot-{lot} 20270131"),
            format!("lot-{vials} 20270131")
        ]
    );
    let said = |feed: &Answer, uid: String| events(feed)[&uid]["DESCRIPTION"].clone();
    assert_eq!(
        said(&feed, format!("lot-{lot}")),
        "Lot B1 of base is good until 2027-01-31 and holds 1000 g (worth 100 EUR)."
    );

    // An open vial keeps a day; the other one keeps as long as its lot.
    let packs = app.get(&format!("/v1/lots/{vials}")).json()["packs"].clone();
    let pack = packs[1]["id"].as_i64().expect("an id");
    app.post(&format!("/v1/packs/{pack}/open"), json!({}))
        .expect(200);
    let feed = nobody.get(&path).expect(200);
    assert_eq!(days(&feed, "pack-"), [format!("pack-{pack} 20260303")]);
    assert_eq!(
        said(&feed, format!("pack-{pack}")),
        "Pack 2 of lot V1 of vial\\, which is open\\, is good until 2026-03-03 and holds 1 each (worth 6 EUR)."
    );
    assert_eq!(
        said(&feed, format!("lot-{vials}")),
        "Lot V1 of vial is good until 2027-01-31 and holds 1 each (worth 6 EUR)."
    );

    // What is held is out of use; what is written off is gone.
    app.post(&format!("/v1/lots/{lot}/hold"), json!({"reason": "cloudy"}))
        .expect(200);
    assert_eq!(
        days(&nobody.get(&path).expect(200), "lot-"),
        [format!("lot-{vials} 20270131")]
    );
    app.post(&format!("/v1/lots/{lot}/release"), json!({}))
        .expect(200);
    assert_eq!(days(&nobody.get(&path).expect(200), "lot-").len(), 2);
    let base = app.get(&format!("/v1/lots/{lot}")).json()["packs"][0]["id"].clone();
    app.post(
        &format!("/v1/packs/{base}/write-off"),
        json!({"reason": "spoilt"}),
    )
    .expect(200);
    assert_eq!(
        days(&nobody.get(&path).expect(200), "lot-"),
        [format!("lot-{vials} 20270131")]
    );

    // A month later the past is left out.
    app.clock.advance(TimeDelta::days(31));
    assert_eq!(days(&nobody.get(&path).expect(200), "pack-").len(), 1);
    app.clock.advance(TimeDelta::days(1));
    assert!(days(&nobody.get(&path).expect(200), "pack-").is_empty());
}

#[test]
fn days_to_order_by_are_those_of_the_advice_that_is_watched() {
    let app = TestApp::start();
    stocked(&app);
    let kit = json!({"code": "kit-a", "name": "Kit; 1.1 kg, \"blå\"", "elastomer": "el", "base_g": "1000", "curing_agent_g": "100"});
    app.post("/v1/kits", kit).expect(201);
    let base = app.get("/v1/materials/base").expect(200);
    let used = json!({"stated_use_per_month": "800", "pack_quantity": "1000"});
    app.patch("/v1/materials/base", base.header("etag"), used.clone())
        .expect(200);
    let tape = app.get("/v1/materials/tape").expect(200);
    let used = json!({"stated_use_per_month": "6", "pack_quantity": "33", "lead_time_days": 10});
    app.patch("/v1/materials/tape", tape.header("etag"), used)
        .expect(200);

    let (nobody, path) = (app.nobody(), key(&app));
    let feed = nobody.get(&path).expect(200);
    let advice = app.get("/v1/reorder?limit=200").expect(200).json();
    let items = advice["items"].as_array().expect("items").clone();
    let row = |code: &str| -> Value {
        let found = items.iter().find(|item| item["material"] == code);
        found
            .unwrap_or_else(|| panic!("no {code}: {advice}"))
            .clone()
    };
    assert_eq!(
        (&row("base")["watched"], &row("kit-a")["watched"]),
        (&json!(false), &json!(true))
    );
    let expected: Vec<String> = items
        .iter()
        .filter(|item| item["watched"] == true)
        .filter_map(|item| {
            let by = item["order_by"].as_str()?.replace('-', "");
            Some(format!("order-{} {by}", item["material"].as_str()?))
        })
        .collect::<std::collections::BTreeSet<_>>()
        .into_iter()
        .collect();
    assert_eq!(days(&feed, "order-"), expected);
    assert_eq!(expected.len(), 2, "the kit and the tape: {advice}");
    let event = &events(&feed)["order-kit-a"];
    assert!(
        event["SUMMARY"].ends_with("of kit kit-a (Kit\\; 1.1 kg\\, \"blå\")"),
        "{event:?}"
    );
    let reason = row("kit-a")["reason"]
        .as_str()
        .expect("a reason")
        .replace(';', "\\;")
        .replace(',', "\\,");
    assert_eq!(event["DESCRIPTION"], reason);
    for line in feed.text.split("\r\n") {
        assert!(line.len() <= 75, "{line}");
    }

    // What arrives moves the day.
    let before = days(&feed, "order-tape");
    receive(&app, "tape", "P2", None, &["33"], "9.90");
    assert_ne!(days(&nobody.get(&path).expect(200), "order-tape"), before);
}

#[test]
fn a_calendar_that_has_not_changed_is_304() {
    let app = TestApp::start();
    stocked(&app);
    let (nobody, path) = (app.nobody(), key(&app));
    let first = nobody.get(&path).expect(200);
    let etag = first.header("etag").to_owned();
    assert!(etag.starts_with("W/\""), "{etag}");
    let ask = |tag: &str| send(nobody.request("GET", &path).header("If-None-Match", tag));
    let same = ask(&etag).expect(304);
    assert_eq!(
        (same.text.as_str(), same.header("etag")),
        ("", etag.as_str())
    );
    ask("*").expect(304);
    ask(&format!("\"other\", {etag}")).expect(304);
    ask("\"other\"").expect(200);
    // Another moment is another stamp, but no other calendar.
    app.clock.advance(TimeDelta::minutes(5));
    ask(&etag).expect(304);
    assert_ne!(nobody.get(&path).expect(200).text, first.text);
    book(&app, "2026-03-10");
    let changed = ask(&etag).expect(200);
    assert_ne!(changed.header("etag"), etag);
    let head = send(nobody.request("HEAD", &path)).expect(200);
    assert_eq!(
        (head.text.as_str(), head.header("etag")),
        ("", changed.header("etag"))
    );
}

#[test]
fn two_installations_never_name_an_event_alike() {
    let uid = |app: &TestApp| {
        stocked(app);
        let (code, _) = book(app, "2026-03-10");
        let feed = app.nobody().get(&key(app)).expect(200);
        events(&feed)[&format!("cast-{code}")]["UID"].clone()
    };
    let one = TestApp::start();
    let first = uid(&one);
    assert!(
        first.starts_with("cast-C-00001.") && first.ends_with("@heeltap"),
        "{first}"
    );
    // The first start of the other was at another moment: its database is made here, before its service begins.
    let database = TestDatabase::new();
    let settings = TestApp::settings(&database);
    let outside = heeltap::app::Outside {
        clock: std::sync::Arc::new(heeltap::base::ManualClock::new(
            "2026-03-01T09:00:00Z".parse().expect("an instant"),
        )),
        ..heeltap::app::Outside::default()
    };
    drop(heeltap::app::open(&settings, outside).expect("a service"));
    let other = TestApp::on(database, |_| {});
    assert_ne!(uid(&other), first);
}

#[test]
fn the_key_stands_in_no_log() {
    let database = TestDatabase::new();
    let (running, log) = Heeltap::serve_logged(&database, &["--log", "trace"]);
    let app = Client::new(running.address, running.token.clone());
    let address = key(&app);
    let nobody = Client::new(running.address, None);
    nobody.get(&address).expect(200);
    nobody.get(&format!("{address}&limit=1")).expect(200);
    nobody.get(&address.replace("hc_", "hc_wrong")).expect(401);
    // Even where the address is no operation of ours.
    nobody
        .get(&address.replace("calendar.ics", "calendar"))
        .expect(404);
    running.signal("TERM");
    assert!(running.ended().0.success());
    let log = std::fs::read_to_string(log.path()).expect("the log");
    assert!(log.contains("/v1/calendar.ics"), "{log}");
    let secret = address.split("hc_").nth(1).expect("a key");
    assert!(!log.contains(secret), "{log}");
}
