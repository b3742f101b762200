//! Release coats over HTTP: each copy has its own, a treatment makes them, a look may end one, and bookings follow.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{stocked, verified};

fn request(containers: u32, day: &str) -> Value {
    json!({"recipe": "chip", "containers": containers, "cast_on": day})
}

fn book(app: &TestApp, containers: u32, day: &str) -> Value {
    app.post("/v1/casts", request(containers, day))
        .expect(201)
        .json()
}

fn treat(app: &TestApp, more: Value) -> Value {
    let mut body = json!({"treated_on": "2026-03-02", "release_agent": "vial", "vials": 1, "molds": [{"mold": "mold"}]});
    for (name, value) in more.as_object().expect("an object") {
        body[name] = value.clone();
    }
    app.post("/v1/treatments", body).expect(201).json()
}

fn pour(app: &TestApp, cast: &Value, more: Value) -> Value {
    let weighed = |batch: &Value| json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"], "residue_g": "4.2"});
    let batches: Vec<Value> = cast["plan"]["batches"]
        .as_array()
        .expect("batches")
        .iter()
        .map(weighed)
        .collect();
    let mut body = json!({"poured_on": "2026-03-02", "batches": batches});
    for (name, value) in more.as_object().expect("an object") {
        body[name] = value.clone();
    }
    let path = format!("/v1/casts/{}/pour", cast["code"].as_str().expect("a code"));
    app.post(&path, body).expect(200).json()
}

/// What a cast or a plan pays for release coats.
fn release(cost: &Value) -> String {
    let components = cost["components"].as_array().expect("components");
    let found = components.iter().find(|c| c["component"] == "release");
    found.map_or("0".to_owned(), |c| {
        c["amount"].as_str().expect("an amount").to_owned()
    })
}

/// Vials on hand and vials promised.
fn vials(app: &TestApp) -> (String, String) {
    let lots: Value = app.get("/v1/lots?material=vial").expect(200).json();
    let sum = |field: &str| {
        let lots = lots["items"].as_array().expect("lots");
        let values = lots
            .iter()
            .map(|lot| lot[field].as_str().expect("a decimal").parse::<i32>());
        values
            .sum::<Result<i32, _>>()
            .expect("whole vials")
            .to_string()
    };
    (sum("on_hand"), sum("reserved"))
}

fn held(left: &str, promised: &str) -> (String, String) {
    (left.to_owned(), promised.to_owned())
}

#[test]
fn a_treatment_coats_every_copy_and_each_cast_draws_its_share() {
    let app = TestApp::start();
    stocked(&app);
    let treatment = treat(&app, json!({}));
    assert_eq!(treatment["value"], "3");
    // 3 EUR over two copies, five casts each.
    let coat = |copy: u32, left: u32, value: &str| json!({"mold": "mold", "copy": copy, "state": "present", "casts_left": left, "value_left": value});
    assert_eq!(
        treatment["coats"],
        json!([coat(1, 5, "1.5"), coat(2, 5, "1.5")])
    );
    assert_eq!(vials(&app), held("3", "0"));

    let plan: Value = app
        .post("/v1/cast-plans", request(3, "2026-03-02"))
        .expect(200)
        .json();
    assert_eq!(plan["release"]["needed"], false);
    // Three rounds: two on the first copy, one on the second, at 1.5 / 5 each.
    assert_eq!(release(&plan["cost"]), "0.9");
    let cast = book(&app, 3, "2026-03-02");
    let poured = pour(&app, &cast, json!({}));
    assert_eq!(release(&poured["cost_actual"]), "0.9");
    let path = format!("/v1/treatments/{}", treatment["id"]);
    let after: Value = app.get(&path).expect(200).json();
    assert_eq!(
        after["coats"],
        json!([coat(1, 3, "0.9"), coat(2, 4, "1.2")])
    );
    assert_eq!(vials(&app), held("3", "0"));
    verified(&app);

    // Coated again before they are used up: what the old coats had left is wasted, and the cast's cost stands.
    treat(&app, json!({"molds": [{"mold": "mold", "copies": [1]}]}));
    let ended: Value = app.get(&path).expect(200).json();
    assert_eq!(ended["coats"][0]["state"], "ended");
    assert_eq!(ended["coats"][0]["value_left"], "0");
    assert_eq!(ended["coats"][1]["state"], "present");
    let undo = app.post(&format!("{path}/undo"), json!({})).expect(409);
    assert!(
        undo.detail().contains("used, replaced or ended"),
        "{}",
        undo.detail()
    );
    verified(&app);
}

#[test]
fn a_treatment_for_a_booked_cast_uses_the_vials_promised_to_it() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, 2, "2026-03-02");
    assert_eq!(
        cast["plan"]["release"]["loads"],
        json!([{"before_round": 1, "copies": [1, 2], "vials": 1}])
    );
    assert_eq!(vials(&app), held("4", "1"));
    let treatment = treat(&app, json!({"cast": cast["code"], "release_agent": null}));
    assert_eq!(treatment["cast"], cast["code"]);
    assert_eq!(vials(&app), held("3", "0"));
    let poured = pour(&app, &cast, json!({}));
    assert_eq!(vials(&app), held("3", "0"));
    assert_eq!(release(&poured["cost_actual"]), "0.6");
    assert_eq!(poured["pour"].get("coats_renewed"), None);
    verified(&app);

    let code = cast["code"].as_str().expect("a code");
    let undone = app
        .post(
            &format!("/v1/treatments/{}/undo", treatment["id"]),
            json!({}),
        )
        .expect(409);
    assert!(undone.detail().contains("used"), "{}", undone.detail());
    app.post(&format!("/v1/casts/{code}/undo"), json!({}))
        .expect(200);
    assert_eq!(vials(&app), held("3", "0"));
    // Taken back, the vial is in stock again, and the cast needs it again.
    app.post(
        &format!("/v1/treatments/{}/undo", treatment["id"]),
        json!({"reason": "wrong mould"}),
    )
    .expect(200);
    assert_eq!(vials(&app), held("4", "1"));
    verified(&app);
    let again = app
        .post(
            &format!("/v1/treatments/{}/undo", treatment["id"]),
            json!({}),
        )
        .expect(409);
    assert!(again.detail().contains("already"), "{}", again.detail());
}

#[test]
fn a_pour_records_the_coats_that_were_due_and_its_undo_takes_them_back() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, 2, "2026-03-02");
    let poured = pour(&app, &cast, json!({}));
    assert_eq!(
        poured["pour"]["coats_renewed"],
        json!([{"before_round": 1, "copies": [1, 2], "vials": 1}])
    );
    let made: Value = app.get("/v1/treatments?mold=mold").expect(200).json();
    assert_eq!(made["items"][0]["at_pour"], true);
    assert_eq!(made["items"][0]["packs"][0]["lot"], "V1");
    let id = made["items"][0]["id"].clone();
    let alone = app
        .post(&format!("/v1/treatments/{id}/undo"), json!({}))
        .expect(409);
    assert!(
        alone.detail().contains("recorded by a pour"),
        "{}",
        alone.detail()
    );
    let lot = made["items"][0]["packs"][0]["lot_id"].clone();
    let movements: Value = app
        .get(&format!("/v1/lots/{lot}/movements"))
        .expect(200)
        .json();
    let spent = movements["items"]
        .as_array()
        .expect("movements")
        .iter()
        .find(|m| m["kind"] == "consumption")
        .expect("a vial");
    let refused = app
        .post(
            &format!("/v1/movements/{}/reverse", spent["id"]),
            json!({"reason": "no"}),
        )
        .expect(409);
    assert!(
        refused.detail().contains(&format!("undo treatment {id}")),
        "{}",
        refused.detail()
    );

    let code = cast["code"].as_str().expect("a code");
    app.post(&format!("/v1/casts/{code}/undo"), json!({}))
        .expect(200);
    assert_eq!(vials(&app), held("4", "1"));
    let taken_back: Value = app.get(&format!("/v1/treatments/{id}")).expect(200).json();
    assert!(taken_back["undone_at"].is_string());
    verified(&app);

    // Poured as the moulds were: no vial, no coat, no cost of one.
    let bare = pour(&app, &cast, json!({"coats_renewed": false}));
    assert_eq!(release(&bare["cost_actual"]), "0");
    assert_eq!(vials(&app), held("4", "0"));
    verified(&app);
}

#[test]
fn a_coat_that_is_not_seen_ends_and_booked_casts_need_the_vials() {
    let app = TestApp::start();
    stocked(&app);
    let treatment = treat(&app, json!({}));
    let cast = book(&app, 2, "2026-03-10");
    assert_eq!(vials(&app), held("3", "0"));
    let path = format!("/v1/treatments/{}/inspect", treatment["id"]);
    let seen: Value = app
        .post(&path, json!({"inspected_on": "2026-03-02", "seen": true}))
        .expect(200)
        .json();
    assert_eq!(seen["casts_changed"], json!([]));
    assert_eq!(seen["coats"][0]["last_look"]["seen"], true);
    let gone: Value = app
        .post(&path, json!({"inspected_on": "2026-03-02", "seen": false, "molds": [{"mold": "mold", "copies": [2]}], "note": "no whitening"}))
        .expect(200)
        .json();
    assert_eq!(gone["casts_changed"], json!([cast["code"]]));
    assert_eq!(
        (&gone["coats"][0]["state"], &gone["coats"][1]["state"]),
        (&json!("present"), &json!("ended"))
    );
    assert_eq!(vials(&app), held("3", "1"));
    verified(&app);
    let path_of_copy = json!({"inspected_on": "2026-03-02", "seen": true, "molds": [{"mold": "mold", "copies": [2]}]});
    app.post(&path, path_of_copy).expect(409);

    // A second cast of a later day counts on the coat that the first will make.
    let plan: Value = app
        .post("/v1/cast-plans", request(2, "2026-03-12"))
        .expect(200)
        .json();
    assert_eq!(plan["release"]["needed"], false);
    // Without the first it would have to coat the bare copy itself.
    let later = book(&app, 2, "2026-03-12");
    let code = cast["code"].as_str().expect("a code");
    app.post(&format!("/v1/casts/{code}/cancel"), json!({}))
        .expect(200);
    assert_eq!(vials(&app), held("3", "1"));
    let shown: Value = app
        .get(&format!(
            "/v1/casts/{}",
            later["code"].as_str().expect("a code")
        ))
        .expect(200)
        .json();
    assert_eq!(shown["short"], false);
    verified(&app);
}

#[test]
fn what_cannot_be_is_refused_and_says_why() {
    let app = TestApp::start();
    stocked(&app);
    let body = |more: Value| {
        let mut body = json!({"treated_on": "2026-03-02", "release_agent": "vial", "vials": 1, "molds": [{"mold": "mold"}]});
        for (name, value) in more.as_object().expect("an object") {
            body[name] = value.clone();
        }
        body
    };
    let wrong = |more: Value, pointer: &str| {
        let answer = app.post("/v1/treatments", body(more)).expect(422);
        assert_eq!(answer.pointers(), [pointer]);
    };
    wrong(json!({"vials": 0}), "/vials");
    wrong(json!({"molds": []}), "/molds");
    wrong(json!({"molds": [{"mold": "none"}]}), "/molds/0/mold");
    wrong(
        json!({"molds": [{"mold": "mold", "copies": [3]}]}),
        "/molds/0/copies",
    );
    wrong(
        json!({"molds": [{"mold": "mold", "copies": [1, 1]}]}),
        "/molds/0/copies",
    );
    wrong(
        json!({"molds": [{"mold": "mold"}, {"mold": "mold"}]}),
        "/molds/1/mold",
    );
    wrong(json!({"release_agent": "tray"}), "/release_agent");
    wrong(json!({"release_agent": null}), "/release_agent");
    wrong(json!({"cast": "C-99999"}), "/cast");
    wrong(json!({"packs": [{"pack_id": 1, "vials": 2}]}), "/packs");
    wrong(json!({"treated_on": "2026-03-03"}), "/treated_on");
    let short = app
        .post("/v1/treatments", body(json!({"vials": 9})))
        .expect(409);
    assert!(
        short
            .detail()
            .contains("9 of vial were used, the books hold 4"),
        "{}",
        short.detail()
    );
    assert_eq!(vials(&app), held("4", "0"));
    // The bench is right: what is missing is counted in first.
    app.post("/v1/treatments", body(json!({"vials": 5, "recount": true})))
        .expect(201);
    assert_eq!(vials(&app), held("0", "0"));
    verified(&app);
}
