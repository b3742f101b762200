//! Lots: listed, shown now and then, held back and let go.

use serde_json::{Value, json};

use crate::support::{Answer, TestApp, receive, send};

fn ids(answer: &Answer) -> Vec<i64> {
    let body = answer.json();
    let items = body["items"].as_array().expect("a list");
    items
        .iter()
        .map(|lot| lot["id"].as_i64().unwrap())
        .collect()
}

#[test]
fn a_lot_is_shown_with_its_packs_and_its_version() {
    let app = TestApp::start();
    let lot = receive(&app.service, "base", &["1000", "500"], "150.5");
    let shown = app.get(&format!("/v1/lots/{lot}")).expect(200);
    assert_ne!(shown.header("etag"), "");
    let mut body = shown.json();
    let hash = body["head_hash"].take();
    assert_eq!(hash.as_str().map(str::len), Some(64));
    let expected = json!({
        "id": lot, "material": "base", "lot": "L-1", "received_on": "2026-02-01", "state": "usable",
        "on_hand": "1500", "reserved": "0", "available": "1500", "landed_cost": "150.5", "remaining_value": "150.5",
        "head_hash": null, "movements": 2,
        "packs": [
            {"id": 1, "no": 1, "on_hand": "1000", "reserved": "0", "state": "usable"},
            {"id": 2, "no": 2, "on_hand": "500", "reserved": "0", "state": "usable"},
        ]
    });
    assert_eq!(body, expected);
    assert_eq!(app.get("/v1/lots/77").expect(404).problem(), "not-found");
    assert_eq!(app.get("/v1/lots/one").expect(404).problem(), "not-found");
}

#[test]
fn lots_come_in_pages_by_material_and_by_state() {
    let app = TestApp::start();
    let lots: Vec<i64> = (0..4)
        .map(|_| receive(&app.service, "base", &["10"], "1"))
        .collect();
    let other = receive(&app.service, "other", &["10"], "1");
    app.post(
        &format!("/v1/lots/{}/hold", lots[1]),
        json!({"reason": "cloudy"}),
    )
    .expect(200);
    assert_eq!(ids(&app.get("/v1/lots").expect(200)).len(), 5);
    assert_eq!(
        ids(&app.get("/v1/lots?material=other").expect(200)),
        [other]
    );
    assert_eq!(ids(&app.get("/v1/lots?state=held").expect(200)), [lots[1]]);
    let first = app
        .get("/v1/lots?material=base&state=usable&limit=2")
        .expect(200);
    assert_eq!(ids(&first), [lots[0], lots[2]]);
    let next = first.json()["next"].clone();
    assert_eq!(next, lots[2].to_string());
    let link = format!(
        "</v1/lots?material=base&state=usable&limit=2&cursor={}>; rel=\"next\"",
        lots[2]
    );
    assert_eq!(first.header("link"), link);
    let last = app.get(&format!(
        "/v1/lots?material=base&state=usable&limit=2&cursor={}",
        lots[2]
    ));
    assert_eq!(ids(&last), [lots[3]]);
    assert_eq!(last.json().get("next"), None);
    for query in [
        "state=lost",
        "limit=0",
        "as_of=yesterday",
        "known_at=noon",
        "state=held&as_of=2026-03-01",
    ] {
        let answer = app.get(&format!("/v1/lots?{query}")).expect(400);
        assert_eq!(answer.problem(), "bad-query", "{query}");
    }
    assert_eq!(
        app.get("/v1/lots?material=none").expect(404).problem(),
        "not-found"
    );
}

#[test]
fn movements_come_in_the_order_of_recording() {
    let app = TestApp::start();
    let lot = receive(&app.service, "base", &["10", "10"], "4");
    app.post(
        "/v1/packs/1/spill",
        json!({"quantity": "5", "reason": "dropped"}),
    )
    .expect(200);
    let path = format!("/v1/lots/{lot}/movements");
    let first = app.get(&format!("{path}?limit=2")).expect(200).json();
    assert_eq!(first["next"], "2");
    let last = app
        .get(&format!("{path}?limit=2&cursor=2"))
        .expect(200)
        .json();
    let mut spilled = last["items"][0].clone();
    spilled["hash"].take();
    let expected = json!({
        "id": 3, "seq": 3, "pack_id": 1, "kind": "spill", "quantity": "-5", "value": "-1", "reason": "dropped",
        "actor": "administrator", "effective_on": "2026-03-02", "recorded_at": "2026-03-02T09:00:00Z", "hash": null
    });
    assert_eq!((spilled, last.get("next")), (expected, None));
    assert_eq!(
        app.get("/v1/lots/77/movements").expect(404).problem(),
        "not-found"
    );
}

#[test]
fn a_lot_as_it_was_and_as_it_was_known() {
    let app = TestApp::start();
    let lot = receive(&app.service, "base", &["10"], "4");
    app.clock.advance(chrono::TimeDelta::days(1));
    app.post(
        "/v1/packs/1/spill",
        json!({"quantity": "5", "reason": "dropped", "on": "2026-02-20"}),
    )
    .expect(200);
    let path = format!("/v1/lots/{lot}");
    let on_hand = |query: &str| -> Value {
        let answer = app.get(&format!("{path}?{query}")).expect(200);
        assert_eq!(answer.header("etag"), "");
        answer.json()["on_hand"].clone()
    };
    assert_eq!(on_hand("as_of=2026-02-19"), "10");
    assert_eq!(on_hand("as_of=2026-02-20"), "5");
    assert_eq!(
        on_hand("as_of=2026-02-20&known_at=2026-03-02T23:00:00Z"),
        "10"
    );
    assert_eq!(on_hand("known_at=2026-03-03T09:00:00Z"), "5");
    let then = app.get("/v1/lots?as_of=2026-02-20").expect(200).json();
    let expected = json!({"items": [{
        "id": lot, "material": "base", "lot": "L-1", "received_on": "2026-02-01", "on_hand": "5", "landed_cost": "4",
        "remaining_value": "2", "movements": 2, "packs": [{"id": 1, "no": 1, "on_hand": "5"}]
    }]});
    assert_eq!(then, expected);
    assert_eq!(
        app.get("/v1/lots?as_of=2026-01-31").json(),
        json!({"items": []})
    );
    let before = app.get(&format!("{path}?as_of=2026-01-31")).expect(404);
    assert_eq!(before.problem(), "not-found");
}

#[test]
fn a_lot_is_held_back_and_let_go() {
    let app = TestApp::start();
    let lot = receive(&app.service, "base", &["10", "10"], "4");
    let (hold, release) = (
        format!("/v1/lots/{lot}/hold"),
        format!("/v1/lots/{lot}/release"),
    );
    let held = app
        .post_once(&hold, "k", json!({"reason": "cloudy"}))
        .expect(200);
    assert_eq!(held.json()["state"], "held");
    assert_eq!(held.json()["packs"][1]["held_reason"], "cloudy");
    let again = app
        .post_once(&hold, "k", json!({"reason": "cloudy"}))
        .expect(200);
    assert_eq!(
        (again.text, again.headers["etag"].clone()),
        (held.text, held.headers["etag"].clone())
    );
    let let_go = send(app.request("POST", &release)).expect(200);
    assert_eq!(let_go.json()["state"], "usable");
    assert_eq!(
        send(app.request("POST", &release)).expect(409).problem(),
        "wrong-state"
    );
    let empty = app.post(&hold, json!({"reason": " "})).expect(422);
    assert_eq!(empty.pointers(), ["/reason"]);
    let missing = app
        .post("/v1/lots/77/hold", json!({"reason": "x"}))
        .expect(404);
    assert_eq!(missing.problem(), "not-found");
}
