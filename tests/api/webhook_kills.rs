//! What holds when processes are killed, and when several share a database: the real binary, ended by its own handle.

use std::collections::{BTreeMap, BTreeSet};
use std::time::{Duration, Instant};

use heeltap::base::{Entropy, SeededEntropy};
use serde_json::{Value, json};

use crate::metrics::metric;
use crate::support::receiver::{Received, Receiver, Say};
use crate::support::{Client, Heeltap, TestDatabase};

const FLAGS: [&str; 8] = [
    "--webhook-allow",
    "127.0.0.1/32",
    "--webhook-timeout-s",
    "1",
    "--webhook-backoff-s",
    "1",
    "--webhook-attempts",
    "100",
];

/// How many times the process is killed.
const KILLS: usize = 6;

/// A number below a limit, by chance.
fn drawn(entropy: &SeededEntropy, below: u64) -> u64 {
    let mut bytes = [0; 8];
    entropy.fill(&mut bytes).expect("bytes");
    u64::from_le_bytes(bytes) % below
}

/// Puts messages out to a webhook, and returns their ids.
fn put(app: &Client, webhook: &Value, count: usize) -> Vec<String> {
    let path = format!("/v1/webhooks/{webhook}/test");
    let put = |_| {
        let delivery = app.post(&path, json!({})).expect(201).json();
        delivery["message_id"].as_str().expect("an id").to_owned()
    };
    (0..count).map(put).collect()
}

fn made(app: &Client, url: &str) -> Value {
    let made = app.post("/v1/webhooks", json!({"url": url})).expect(201);
    made.json()["id"].clone()
}

/// Waits until nothing waits any more.
fn until_done(app: &Client, patience: Duration) {
    let started = Instant::now();
    loop {
        let waiting = app.get("/v1/deliveries?state=waiting").expect(200).json();
        if waiting["items"] == json!([]) {
            return;
        }
        assert!(started.elapsed() < patience, "{waiting}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// The payloads of all messages, by id.
fn payloads(app: &Client) -> BTreeMap<String, String> {
    let list = app.get("/v1/deliveries?limit=1000").expect(200).json();
    let items = list["items"].as_array().expect("items");
    let payload = |item: &Value| {
        let path = format!("/v1/deliveries/{}", item["id"]);
        let shown = app.get(&path).expect(200).json();
        let text = |name: &str| shown[name].as_str().expect("a text").to_owned();
        (text("message_id"), text("payload"))
    };
    items.iter().map(payload).collect()
}

/// No delivery is lost, and every repeat carries the same message id, when the receiver fails half of the time and the
/// service is killed in between.
#[test]
fn no_message_is_lost_when_receivers_fail_and_the_process_is_killed() {
    let chance = SeededEntropy::new(7);
    let mut failures: BTreeMap<String, u32> = BTreeMap::new();
    // Half of the attempts fail, though not more than three of one message, whose pauses would only grow.
    let receiver = Receiver::start(move |one| {
        // Slow enough that a kill strikes while an attempt is under way.
        std::thread::sleep(Duration::from_millis(20));
        let failed = failures.entry(one.id().to_owned()).or_default();
        if *failed < 3 && drawn(&chance, 2) == 0 {
            *failed += 1;
            Say::Status(500)
        } else {
            Say::Status(200)
        }
    });
    let (database, moments) = (TestDatabase::new(), SeededEntropy::new(8));
    let (mut token, mut hooks, mut put_out) = (None, Vec::new(), BTreeSet::new());
    for _ in 0..KILLS {
        let process = Heeltap::serve_with(&database, &FLAGS);
        token = token.or_else(|| process.token.clone());
        let app = Client::new(process.address, token.clone());
        if hooks.is_empty() {
            hooks = vec![made(&app, &receiver.url()), made(&app, &receiver.url())];
        }
        for hook in &hooks {
            put_out.extend(put(&app, hook, 4));
        }
        std::thread::sleep(Duration::from_millis(300 + drawn(&moments, 1_000)));
        process.kill();
    }
    let process = Heeltap::serve_with(&database, &FLAGS);
    let app = Client::new(process.address, token);
    until_done(&app, Duration::from_secs(90));
    let received = receiver.received();
    let taken: BTreeSet<String> = received
        .iter()
        .filter(|one| one.status == 200)
        .map(|one| one.id().to_owned())
        .collect();
    assert_eq!(put_out.len(), KILLS * 8);
    assert_eq!(taken, put_out, "every message was taken, and no other");
    let payloads = payloads(&app);
    assert_eq!(payloads.keys().cloned().collect::<BTreeSet<_>>(), put_out);
    for one in &received {
        assert_eq!(payloads.get(one.id()), Some(&one.body));
    }
    let failed = received.iter().filter(|one| one.status == 500).count();
    assert!(failed * 4 > put_out.len(), "{failed} attempts failed");
    eprintln!(
        "{} messages, {} attempts, {failed} of them failed, {} taken twice",
        put_out.len(),
        received.len(),
        received.len() - failed - taken.len()
    );
}

#[test]
fn two_processes_send_each_message_once() {
    // Slow enough that both are at it at the same time.
    let receiver = Receiver::start(|_| {
        std::thread::sleep(Duration::from_millis(30));
        Say::Status(204)
    });
    let database = TestDatabase::new();
    let flags = ["--webhook-allow", "127.0.0.1/32"];
    let first = Heeltap::serve_with(&database, &flags);
    let second = Heeltap::serve_with(&database, &flags);
    let token = first.token.clone();
    let (one, other) = (
        Client::new(first.address, token.clone()),
        Client::new(second.address, token),
    );
    let hooks: Vec<Value> = (0..3).map(|_| made(&one, &receiver.url())).collect();
    let mut put_out = Vec::new();
    for _ in 0..5 {
        for hook in &hooks {
            put_out.extend(put(&one, hook, 2));
            put_out.extend(put(&other, hook, 2));
        }
    }
    until_done(&one, Duration::from_secs(60));
    let mut received: Vec<String> = receiver
        .received()
        .iter()
        .map(|one| Received::id(one).to_owned())
        .collect();
    received.sort();
    put_out.sort();
    assert_eq!(put_out.len(), 60);
    let attempts = [&one, &other].map(|app| {
        let text = app.get("/metrics").expect(200).text;
        metric(&text, "heeltap_webhook_attempts_total").expect("a figure")
    });
    assert!(attempts.iter().all(|count| *count > 0), "{attempts:?}");
    assert_eq!(attempts.iter().sum::<i64>(), 60);
    assert_eq!(received, put_out);
}

#[test]
fn the_end_waits_for_no_receiver_that_hangs() {
    let receiver = Receiver::start(|_| Say::Hang);
    let database = TestDatabase::new();
    let flags = ["--webhook-allow", "127.0.0.1", "--webhook-timeout-s", "60"];
    let process = Heeltap::serve_with(&database, &flags);
    let app = Client::new(process.address, process.token.clone());
    let hook = made(&app, &receiver.url());
    put(&app, &hook, 1);
    let started = Instant::now();
    while receiver.received().is_empty() {
        assert!(started.elapsed() < Duration::from_secs(20), "nothing came");
        std::thread::sleep(Duration::from_millis(20));
    }
    let asked = Instant::now();
    process.signal("TERM");
    let (status, _) = process.ended();
    assert!(status.success());
    assert!(
        asked.elapsed() < Duration::from_secs(15),
        "{:?}",
        asked.elapsed()
    );
}
