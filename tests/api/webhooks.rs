//! Webhooks made, shown and removed, and what is sent to them. All addresses and names are invented.

use std::time::{Duration, Instant};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, TimeDelta};
use heeltap::db::{WEBHOOK_TEST, outbox_put_to};
use heeltap::notify::deliveries::attempt::Retries;
use heeltap::notify::deliveries::deliveries_forget;
use heeltap::notify::webhooks::target::Listed;
use heeltap::notify::webhooks::webhooks_turn;
use heeltap::stock::warnings::{Alarm, Subject, warning_clear, warning_raise};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use crate::metrics::metric;
use crate::support::receiver::{Received, Receiver, Say};
use crate::support::{TestApp, TestDatabase};

/// A service that may send to the list, with a time limit of an attempt in milliseconds.
fn app_with(listed: &str, timeout_ms: u64) -> TestApp {
    app_on(TestDatabase::new(), listed, timeout_ms)
}

fn app_on(database: TestDatabase, listed: &str, timeout_ms: u64) -> TestApp {
    TestApp::on(database, |settings| {
        settings.webhooks.listed = Listed::parse(listed).expect("a list");
        settings.webhooks.timeout = Duration::from_millis(timeout_ms);
        settings.webhooks.retries = Retries {
            attempts_max: 3,
            ..Retries::default()
        };
    })
}

/// A service that may send to this machine.
fn app() -> TestApp {
    app_with("127.0.0.1/32", 10_000)
}

/// Makes a webhook.
#[track_caller]
fn made(app: &TestApp, url: &str) -> Value {
    app.post("/v1/webhooks", json!({"url": url}))
        .expect(201)
        .json()
}

/// Puts a message out to a webhook, and returns its delivery.
#[track_caller]
fn tried(app: &TestApp, webhook: &Value) -> Value {
    let path = format!("/v1/webhooks/{}/test", webhook["id"]);
    app.post(&path, json!({})).expect(201).json()
}

/// A delivery as it is now.
#[track_caller]
fn now(app: &TestApp, delivery: &Value) -> Value {
    app.get(&format!("/v1/deliveries/{}", delivery["id"]))
        .expect(200)
        .json()
}

/// Takes turns until something holds.
#[track_caller]
fn until(app: &TestApp, holds: impl Fn() -> bool) {
    let started = Instant::now();
    while !holds() {
        webhooks_turn(&app.service).expect("a turn");
        assert!(
            started.elapsed() < Duration::from_secs(20),
            "it never holds"
        );
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// Takes turns until so many attempts have been settled in all, and returns a delivery as it is then.
#[track_caller]
fn attempted(app: &TestApp, delivery: &Value, attempts: i64) -> Value {
    let settled = || figure(app, "delivered_total") + figure(app, "failed_total");
    until(app, || settled() == attempts);
    now(app, delivery)
}

fn figure(app: &TestApp, name: &str) -> i64 {
    let text = app.get("/metrics").expect(200).text;
    metric(&text, &format!("heeltap_webhook_{name}")).unwrap_or_else(|| panic!("no {name}: {text}"))
}

/// Takes some turns in which nothing is to be sent.
#[track_caller]
fn rests(app: &TestApp) {
    let before = figure(app, "attempts_total");
    for _ in 0..3 {
        webhooks_turn(&app.service).expect("a turn");
        std::thread::sleep(Duration::from_millis(10));
    }
    assert_eq!(figure(app, "attempts_total"), before);
}

/// HMAC by its definition (RFC 2104), apart from the library that the service uses.
fn hmac(key: &[u8], text: &[u8]) -> Vec<u8> {
    let mut block = [0; 64];
    block[..key.len()].copy_from_slice(key);
    let pad = |byte: u8| block.map(|one| one ^ byte);
    let inner = Sha256::new().chain_update(pad(0x36)).chain_update(text);
    let outer = Sha256::new().chain_update(pad(0x5c));
    outer.chain_update(inner.finalize()).finalize().to_vec()
}

/// Whether a message is signed with a secret.
fn verifies(received: &Received, secret: &Value) -> bool {
    let secret = secret.as_str().expect("a secret").strip_prefix("whsec_");
    let key = STANDARD
        .decode(secret.expect("its beginning"))
        .expect("base64");
    assert_eq!(key.len(), 32);
    let (id, at) = (received.id(), received.header("webhook-timestamp"));
    let text = format!("{id}.{at}.{}", received.body);
    let expected = STANDARD.encode(hmac(&key, text.as_bytes()));
    received.header("webhook-signature") == format!("v1,{expected}")
}

const SUBJECT: Subject<'static> = Subject {
    kind: "order_by",
    noun: "material",
    code: "base",
};

fn raise(app: &TestApp) {
    let alarm = Alarm {
        severity: 2,
        due_on: "2026-03-10".parse().ok(),
        reason: "Base runs out on 2026-03-20.".into(),
    };
    app.service
        .as_actor("worker", |tx| warning_raise(tx, &SUBJECT, &alarm))
        .expect("a warning");
}

#[test]
fn a_warning_arrives_signed_at_each_that_asks_for_it() {
    let (first, second) = (Receiver::of(204), Receiver::of(200));
    let app = app();
    let all = made(&app, &first.url());
    let body = json!({"url": second.url(), "topics": ["warning.cleared", "warning.raised", "warning.cleared"]});
    let some = app.post("/v1/webhooks", body).expect(201).json();
    assert_eq!(some["topics"], json!(["warning.raised", "warning.cleared"]));
    raise(&app);
    app.clock.advance(TimeDelta::seconds(1));
    let id = app.get("/v1/warnings").json()["items"][0]["id"].clone();
    app.post(
        &format!("/v1/warnings/{id}/acknowledge"),
        json!({"note": "ordered"}),
    )
    .expect(200);
    app.clock.advance(TimeDelta::seconds(1));
    app.service
        .as_actor("worker", |tx| warning_clear(tx, &SUBJECT))
        .expect("cleared");
    app.clock.advance(TimeDelta::seconds(1));
    until(&app, || figure(&app, "delivered_total") == 5);
    let types = |receiver: &Receiver| -> Vec<String> {
        let of = |one: &Received| {
            let body: Value = serde_json::from_str(&one.body).expect("JSON");
            body["type"].as_str().expect("a type").to_owned()
        };
        receiver.received().iter().map(of).collect()
    };
    // One run sends in the order in which things happened.
    let topics = ["warning.raised", "warning.acknowledged", "warning.cleared"];
    assert_eq!(types(&first), topics);
    assert_eq!(types(&second), [topics[0], topics[2]]);
    let (raised, again) = (&first.received()[0], &second.received()[0]);
    assert_eq!((raised.id(), &raised.body), (again.id(), &again.body));
    assert!(
        raised
            .head
            .starts_with("POST /hook?key=of-the-receiver HTTP/1.1\r\n")
    );
    assert_eq!(raised.header("content-type"), "application/json");
    // 2026-03-02T09:00:03Z: of the attempt, not of the message.
    assert_eq!(raised.header("webhook-timestamp"), "1772442003");
    assert!(verifies(raised, &all["secret"]) && verifies(again, &some["secret"]));
    assert!(!verifies(raised, &some["secret"]));
    let body: Value = serde_json::from_str(&raised.body).expect("JSON");
    assert_eq!(body["timestamp"], "2026-03-02T09:00:00Z");
    assert_eq!(body["data"]["reason"], "Base runs out on 2026-03-20.");
    let kept = app.get("/v1/deliveries/1").expect(200).json();
    assert_eq!(kept["payload"], raised.body.as_str());
    let expected = json!({"id": 1, "message_id": raised.id(), "topic": "warning.raised", "channel": "webhook",
        "webhook": 1, "state": "delivered", "attempts": 1, "settled_at": "2026-03-02T09:00:03Z",
        "last_outcome": "answered 204"});
    let list = app.get("/v1/deliveries?limit=1").expect(200).json();
    assert_eq!(list["items"], json!([expected]));
    rests(&app);
    assert_eq!(figure(&app, "waiting"), 0);
    assert_eq!(figure(&app, "failed_total"), 0);
}

#[test]
fn a_receiver_in_trouble_gets_the_same_message_again_after_a_pause() {
    let mut answers = [500, 429, 200].into_iter();
    let receiver = Receiver::start(move |_| match answers.next() {
        Some(429) => Say::With(429, "Retry-After: 100".to_owned()),
        other => Say::Status(other.unwrap_or(200)),
    });
    let app = app();
    let webhook = made(&app, &receiver.url());
    let delivery = tried(&app, &webhook);
    assert_eq!(delivery["state"], "waiting");
    let failed = attempted(&app, &delivery, 1);
    assert_eq!(failed["state"], "waiting");
    assert_eq!(failed["last_outcome"], "answered 500");
    // The first pause is at least half of 30 s, and at most the whole.
    app.clock.advance(TimeDelta::milliseconds(14_999));
    rests(&app);
    app.clock.advance(TimeDelta::milliseconds(15_001));
    let failed = attempted(&app, &delivery, 2);
    assert_eq!(failed["last_outcome"], "answered 429");
    // The second one would be a minute at most.
    assert_eq!(failed["next_attempt_at"], "2026-03-02T09:02:10Z");
    app.clock.advance(TimeDelta::milliseconds(99_999));
    rests(&app);
    app.clock.advance(TimeDelta::milliseconds(1));
    let done = attempted(&app, &delivery, 3);
    assert_eq!(done["state"], "delivered");
    let received = receiver.received();
    assert_eq!(received.len(), 3);
    for (one, second) in received.iter().zip([0, 30, 130]) {
        assert_eq!((one.id(), &one.body), (received[0].id(), &received[0].body));
        assert_eq!(one.id(), delivery["message_id"]);
        let at: i64 = one.header("webhook-timestamp").parse().expect("a second");
        assert_eq!(at - 1_772_442_000, second);
        assert!(verifies(one, &webhook["secret"]));
    }
    let figures = [
        "attempts_total",
        "delivered_total",
        "failed_total",
        "dead_total",
    ];
    assert_eq!(figures.map(|name| figure(&app, name)), [3, 1, 2, 0]);
}

#[test]
fn a_redirect_is_a_failure_and_is_not_followed() {
    let elsewhere = Receiver::of(200);
    let to = format!("Location: {}", elsewhere.url());
    let receiver = Receiver::start(move |_| Say::With(307, to.clone()));
    let app = app();
    let delivery = tried(&app, &made(&app, &receiver.url()));
    let failed = attempted(&app, &delivery, 1);
    assert_eq!(failed["state"], "waiting");
    let said = failed["last_outcome"].as_str().expect("words");
    assert!(
        said.starts_with("answered 307, which points elsewhere"),
        "{said}"
    );
    assert_eq!(elsewhere.received(), []);
}

#[test]
fn what_is_given_up_is_dead_until_it_is_resent() {
    let mut count = 0;
    let receiver = Receiver::start(move |_| {
        count += 1;
        Say::Status(if count <= 3 { 502 } else { 201 })
    });
    let app = app();
    let delivery = tried(&app, &made(&app, &receiver.url()));
    let resend = format!("/v1/deliveries/{}/resend", delivery["id"]);
    assert_eq!(
        app.post(&resend, json!({})).expect(409).problem(),
        "wrong-state"
    );
    for attempt in 1..=3 {
        attempted(&app, &delivery, attempt);
        app.clock.advance(TimeDelta::hours(1));
    }
    let dead = now(&app, &delivery);
    assert_eq!(
        (&dead["state"], &dead["attempts"]),
        (&json!("dead"), &json!(3))
    );
    assert_eq!(dead["settled_at"], "2026-03-02T11:00:00Z");
    assert_eq!(dead["last_outcome"], "answered 502");
    assert_eq!(dead.get("next_attempt_at"), None);
    rests(&app);
    assert_eq!(figure(&app, "dead_total"), 1);
    let listed = app.get("/v1/deliveries?state=dead").expect(200).json();
    assert_eq!(listed["items"].as_array().map(Vec::len), Some(1));
    // What is dead is not forgotten.
    app.clock.advance(TimeDelta::days(100));
    deliveries_forget(&app.service).expect("forgotten");
    let again = app.post(&resend, json!({})).expect(200).json();
    assert_eq!(
        (&again["state"], &again["attempts"]),
        (&json!("waiting"), &json!(0))
    );
    assert_eq!(again.get("settled_at"), None);
    until(&app, || now(&app, &delivery)["state"] == "delivered");
    let done = now(&app, &delivery);
    assert_eq!(
        (&done["attempts"], &done["last_outcome"]),
        (&json!(1), &json!("answered 201"))
    );
    // What was delivered may be sent again, too: the receiver has lost it.
    app.post(&resend, json!({})).expect(200);
    until(&app, || receiver.received().len() == 5);
    until(&app, || now(&app, &delivery)["state"] == "delivered");
    for one in receiver.received() {
        assert_eq!(one.id(), delivery["message_id"]);
    }
    app.clock.advance(TimeDelta::days(31));
    deliveries_forget(&app.service).expect("forgotten");
    app.get(&format!("/v1/deliveries/{}", delivery["id"]))
        .expect(404);
    assert_eq!(
        app.post(&resend, json!({})).expect(404).problem(),
        "not-found"
    );
}

#[test]
fn a_receiver_that_is_gone_is_not_asked_again() {
    let receiver = Receiver::of(410);
    let app = app();
    let delivery = tried(&app, &made(&app, &receiver.url()));
    until(&app, || now(&app, &delivery)["state"] == "dead");
    let dead = now(&app, &delivery);
    assert_eq!(
        dead["last_outcome"],
        "answered 410: the receiver is gone and wants no more"
    );
    assert_eq!(dead["attempts"], 1);
}

#[test]
fn a_receiver_that_hangs_keeps_no_other_waiting() {
    let (hanging, good) = (Receiver::start(|_| Say::Hang), Receiver::of(200));
    let app = app_with("127.0.0.1/32", 3_000);
    let (one, other) = (made(&app, &hanging.url()), made(&app, &good.url()));
    let stuck: Vec<Value> = (0..3).map(|_| tried(&app, &one)).collect();
    let quick: Vec<Value> = (0..20).map(|_| tried(&app, &other)).collect();
    until(&app, || figure(&app, "delivered_total") == 20);
    assert_eq!(good.received().len(), quick.len());
    // Not even the first attempt at the other has ended by then.
    assert_eq!(figure(&app, "failed_total"), 0);
    let failed = attempted(&app, &stuck[0], 21);
    assert_eq!(failed["last_outcome"], "no answer within 3 s");
    assert_eq!(failed["state"], "waiting");
}

#[test]
fn a_receiver_that_trickles_runs_into_the_time_limit() {
    let receiver = Receiver::start(|_| Say::Trickle);
    let app = app_with("127.0.0.1/32", 300);
    let delivery = tried(&app, &made(&app, &receiver.url()));
    let failed = attempted(&app, &delivery, 1);
    assert_eq!(failed["last_outcome"], "no answer within 0.3 s");
}

#[test]
fn a_webhook_that_is_removed_gets_nothing_more() {
    let receiver = Receiver::of(200);
    let app = app();
    let webhook = made(&app, &receiver.url());
    let delivered = tried(&app, &webhook);
    attempted(&app, &delivered, 1);
    let waiting = tried(&app, &webhook);
    let path = format!("/v1/webhooks/{}", webhook["id"]);
    app.clock.advance(TimeDelta::seconds(5));
    app.delete(&path).expect(204);
    app.delete(&path).expect(204);
    raise(&app);
    rests(&app);
    assert_eq!(receiver.received().len(), 1);
    let dropped = now(&app, &waiting);
    assert_eq!(dropped["state"], "dropped");
    assert_eq!(dropped["settled_at"], "2026-03-02T09:00:05Z");
    assert_eq!(dropped["last_outcome"], "the webhook was removed");
    for delivery in [&waiting, &delivered] {
        let resend = format!("/v1/deliveries/{}/resend", delivery["id"]);
        assert_eq!(
            app.post(&resend, json!({})).expect(409).problem(),
            "wrong-state"
        );
    }
    let shown = app.get(&path).expect(200).json();
    assert_eq!(shown["removed_at"], "2026-03-02T09:00:05Z");
    let test = app.post(&format!("{path}/test"), json!({})).expect(409);
    assert_eq!(test.problem(), "wrong-state");
    // What another transaction was just putting out when it was removed.
    let id = webhook["id"].as_i64().expect("an id");
    let late = app
        .service
        .as_actor("test", |tx| outbox_put_to(tx, WEBHOOK_TEST, &"late", id))
        .expect("a delivery");
    let late = json!({"id": late});
    until(&app, || now(&app, &late)["state"] == "dropped");
    assert_eq!(receiver.received().len(), 1);
    // The warning was put out for nobody.
    let all = app.get("/v1/deliveries").json();
    assert_eq!(all["items"].as_array().map(Vec::len), Some(3));
    assert_eq!(
        app.delete("/v1/webhooks/77").expect(404).problem(),
        "not-found"
    );
    let missing = app.post("/v1/webhooks/77/test", json!({}));
    assert_eq!(missing.expect(404).problem(), "not-found");
}

#[test]
fn deliveries_are_listed_by_state_and_webhook_in_pages() {
    let (good, bad) = (Receiver::of(200), Receiver::of(410));
    let app = app();
    let hooks = [made(&app, &good.url()), made(&app, &bad.url())];
    for _ in 0..3 {
        hooks.iter().for_each(|hook| {
            tried(&app, hook);
        });
    }
    until(&app, || {
        figure(&app, "delivered_total") + figure(&app, "dead_total") == 6
    });
    let ids = |path: &str| -> Vec<i64> {
        let list = app.get(path).expect(200).json();
        let items = list["items"].as_array().expect("items").iter();
        items
            .map(|one| one["id"].as_i64().expect("an id"))
            .collect()
    };
    assert_eq!(ids("/v1/deliveries"), [1, 2, 3, 4, 5, 6]);
    assert_eq!(ids("/v1/deliveries?state=delivered"), [1, 3, 5]);
    assert_eq!(ids("/v1/deliveries?state=dead&webhook=2"), [2, 4, 6]);
    assert_eq!(ids("/v1/deliveries?state=dead&webhook=1"), [] as [i64; 0]);
    let page = app.get("/v1/deliveries?webhook=2&limit=2").expect(200);
    let next = "</v1/deliveries?webhook=2&limit=2&cursor=4>; rel=\"next\"";
    assert_eq!(page.header("link"), next);
    assert_eq!(ids("/v1/deliveries?webhook=2&limit=2&cursor=4"), [6]);
    let wrong = app.get("/v1/deliveries?state=lost").expect(400);
    assert_eq!(wrong.problem(), "bad-query");
    let first: DateTime<chrono::Utc> = "2026-03-02T09:00:00Z".parse().expect("an instant");
    assert_eq!(
        app.get("/v1/deliveries").json()["items"][0]["settled_at"],
        json!(first)
    );
}
