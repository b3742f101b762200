//! Casts: planned, booked, poured, demoulded, cancelled, undone; what they cost and what they leave in stock.

use heeltap::http::Page;
use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{catalogue, micro, receive, stocked, verified};

fn request(containers: u32) -> Value {
    json!({"recipe": "chip", "containers": containers, "cast_on": "2026-03-10",
        "charges": [{"grant": "grant-a", "share": "60"}, {"grant": "grant-b", "share": "40"}]})
}

fn book(app: &TestApp, containers: u32) -> Value {
    app.post("/v1/casts", request(containers))
        .expect(201)
        .json()
}

/// Everything that stands in stock, to be compared before and after.
fn stock(app: &TestApp) -> Vec<(i64, i64, i64)> {
    app.service
        .db()
        .read(|conn| {
            heeltap::stock::views::lots_list(
                conn,
                None,
                None,
                Page {
                    after: 0,
                    limit: 1000,
                },
                "2026-03-02".parse().unwrap(),
            )
        })
        .expect("the lots must be read")
        .iter()
        .map(|lot| {
            (
                lot.on_hand.micro(),
                lot.reserved.micro(),
                lot.remaining_value.micro(),
            )
        })
        .collect()
}

fn poured(batches: &Value) -> Value {
    let weighed = |batch: &Value| json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"], "residue_g": "4.2"});
    json!({"poured_on": "2026-03-02", "batches": batches.as_array().unwrap().iter().map(weighed).collect::<Vec<_>>()})
}

#[test]
fn a_plan_says_everything_and_writes_nothing() {
    let app = TestApp::start();
    stocked(&app);
    let before = stock(&app);
    let plan = app.post("/v1/cast-plans", request(2)).expect(200).json();
    assert_eq!(stock(&app), before);
    assert_eq!(plan["chips"], 8);
    assert_eq!(plan["rounds"], 1);
    // Level = mould 1 mm + tape 0.1 mm + chip 4 mm.
    assert_eq!(plan["fill"]["level_mm"], "5.1");
    let (base, agent) = (
        micro(&plan["mix"]["base_g"]),
        micro(&plan["mix"]["curing_agent_g"]),
    );
    assert_eq!(base + agent, micro(&plan["mix"]["total_g"]));
    assert!(
        (base as f64 / agent as f64 - 10.0).abs() < 0.2,
        "10:1 by mass"
    );
    let needed = 2.0 * 1.05 * micro(&plan["fill"]["mass_g"]) as f64;
    let mixed = needed + micro(&plan["residue"]["planned_g"]) as f64;
    assert!(
        (micro(&plan["mix"]["total_g"]) as f64 - mixed).abs() < 50_000.0,
        "the mix is what is needed and what stays"
    );
    assert_eq!(plan["shortages"], json!([]));
    assert_eq!(plan["largest_bookable"], 2);
    let components = plan["cost"]["components"].as_array().unwrap();
    let names: Vec<&str> = components
        .iter()
        .map(|c| c["component"].as_str().unwrap())
        .collect();
    assert_eq!(
        names,
        [
            "chip",
            "trim",
            "overfill",
            "residue",
            "release",
            "tape",
            "container",
            "cup",
            "mold",
            "sundries"
        ]
    );
    assert_eq!(
        components.iter().map(|c| micro(&c["amount"])).sum::<i64>(),
        micro(&plan["cost"]["total"])
    );
    assert!(
        plan["picks"]
            .as_array()
            .unwrap()
            .iter()
            .all(|pick| !pick["why"].as_str().unwrap().is_empty())
    );
    let cautions = plan["cautions"].as_array().unwrap();
    assert!(
        cautions
            .last()
            .unwrap()
            .as_str()
            .unwrap()
            .contains("safety data sheet")
    );
}

#[test]
fn a_cast_lives_from_booking_to_its_cost_per_good_chip() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, 2);
    let code = cast["code"].as_str().unwrap();
    assert_eq!(cast["state"], "booked");
    verified(&app);
    let promised: i64 = stock(&app)[0].1;
    assert_eq!(
        promised,
        micro(&cast["plan"]["mix"]["base_g"]),
        "what was planned is promised, exactly"
    );

    let pour = app
        .post(
            &format!("/v1/casts/{code}/pour"),
            poured(&cast["plan"]["batches"]),
        )
        .expect(200)
        .json();
    assert_eq!(pour["state"], "poured");
    assert_eq!(pour["pour"]["batches"][0]["residue_basis"], "weighed");
    verified(&app);
    assert_eq!(
        stock(&app)[0],
        (1_000_000_000 - promised, 0, stock(&app)[0].2)
    );

    let counted = json!({"demolded_on": "2026-03-02", "good": 7, "rejects": [{"reason": "bubbles", "count": 1}]});
    let done = app
        .post(&format!("/v1/casts/{code}/demold"), counted)
        .expect(200)
        .json();
    assert_eq!(done["state"], "demolded");
    verified(&app);

    let cost = app
        .get(&format!("/v1/casts/{code}/cost"))
        .expect(200)
        .json();
    assert_eq!(
        (&cost["basis"], &cost["currency"], &cost["good_chips"]),
        (&json!("actual"), &json!("EUR"), &json!("7"))
    );
    let total = micro(&cost["total"]);
    assert_eq!(
        cost["components"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| micro(&c["amount"]))
            .sum::<i64>(),
        total
    );
    // Half to even of total / 7, by hand.
    let (quotient, rest) = (total / 7, total % 7);
    assert_eq!(
        micro(&cost["per_good_chip"]),
        quotient + i64::from(2 * rest > 7)
    );
    assert_eq!(cost["planned"]["basis"], "planned");

    // What left the stock is what the cast cost, with the mould's share and what is left of the coats set right.
    let value: i64 = stock(&app).iter().map(|lot| lot.2).sum();
    let issued = 176_900_000 - value;
    let coats_left = 3_000_000 * 8 / 10;
    let mold_share = 2 * 240_000_000 / 100;
    assert_eq!(total, issued - coats_left + mold_share);
}

#[test]
fn the_second_who_books_the_last_of_it_is_told_what_is_missing() {
    let app = TestApp::start();
    catalogue(&app);
    receive(&app, "base", "B1", Some("K1"), &["80"], "10");
    receive(&app, "agent", "A1", Some("K1"), &["8"], "2");
    for (material, packs) in [
        ("vial", "1"),
        ("tray", "9"),
        ("cup", "9"),
        ("tape", "33"),
        ("stirrer", "9"),
    ] {
        receive(&app, material, "X", None, &[packs, packs], "1");
    }
    let outcomes: Vec<u16> = std::thread::scope(|scope| {
        let both: Vec<_> = (0..2)
            .map(|_| scope.spawn(|| app.post("/v1/casts", request(2)).status))
            .collect();
        both.into_iter().map(|one| one.join().unwrap()).collect()
    });
    assert!(
        outcomes == [201, 409] || outcomes == [409, 201],
        "{outcomes:?}"
    );
    let refused = app.post("/v1/casts", request(2)).expect(409).json();
    assert_eq!(refused["type"], "urn:heeltap:problem:shortage");
    let short = &refused["shortages"][0];
    assert_eq!(short["material"], "base");
    assert!(micro(&short["needed"]) > micro(&short["available"]));
    assert!(refused["largest_bookable"].as_u64().unwrap() < 2);
    verified(&app);
    // Short by leave: it is booked, marked, and warned of; a delivery makes it whole.
    let mut by_leave = request(2);
    by_leave["allow_short"] = json!(true);
    let short = app.post("/v1/casts", by_leave).expect(201).json();
    assert_eq!(short["short"], true);
    verified(&app);
    receive(&app, "base", "B2", Some("K2"), &["500"], "50");
    receive(&app, "agent", "A2", Some("K2"), &["50"], "10");
    let whole = app
        .get(&format!("/v1/casts/{}", short["code"].as_str().unwrap()))
        .expect(200)
        .json();
    assert_eq!(whole["short"], false);
    verified(&app);
}

#[test]
fn cancelling_and_undoing_give_everything_back() {
    let app = TestApp::start();
    stocked(&app);
    let empty = stock(&app);
    let cast = book(&app, 3);
    let booked = stock(&app);
    let code = cast["code"].as_str().unwrap();
    app.post(
        &format!("/v1/casts/{code}/pour"),
        poured(&cast["plan"]["batches"]),
    )
    .expect(200);
    app.post(
        &format!("/v1/casts/{code}/demold"),
        json!({"demolded_on": "2026-03-02", "good": 12}),
    )
    .expect(200);
    let step = |to: &str| {
        let undone = app
            .post(
                &format!("/v1/casts/{code}/undo"),
                json!({"reason": "typed wrongly"}),
            )
            .expect(200)
            .json();
        assert_eq!(undone["state"], to);
        verified(&app);
    };
    step("poured");
    step("booked");
    assert_eq!(stock(&app), booked);
    let stuck = app
        .post(&format!("/v1/casts/{code}/undo"), json!({}))
        .expect(409)
        .json();
    assert_eq!(stuck["type"], "urn:heeltap:problem:wrong-state");
    app.post(&format!("/v1/casts/{code}/cancel"), json!({}))
        .expect(200);
    assert_eq!(stock(&app), empty);
    verified(&app);
}

#[test]
fn what_was_really_weighed_counts() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, 1);
    let path = format!("/v1/casts/{}/pour", cast["code"].as_str().unwrap());
    let batch = |fields: Value| json!({"poured_on": "2026-03-02", "batches": [fields]});
    let wrong = app
        .post(
            &path,
            batch(json!({"base_g": "40", "curing_agent_g": "4", "residue_g": "45"})),
        )
        .expect(422)
        .json();
    assert_eq!(wrong["errors"][0]["pointer"], "/batches/0/residue_g");
    let wrong = app
        .post(
            &path,
            batch(json!({"base_g": "40", "curing_agent_g": "4", "cup_gross_g": "7"})),
        )
        .expect(422)
        .json();
    assert_eq!(wrong["errors"][0]["pointer"], "/batches/0/cup_gross_g");
    let over = app
        .post(
            &path,
            batch(json!({"base_g": "1200", "curing_agent_g": "4"})),
        )
        .expect(422)
        .json();
    assert!(
        over["errors"][0]["detail"]
            .as_str()
            .unwrap()
            .contains("does not fit the cup")
    );
    let done = app
        .post(
            &path,
            batch(json!({"base_g": "41.5", "curing_agent_g": "4.1", "cup_gross_g": "11.3"})),
        )
        .expect(200)
        .json();
    let batch = &done["pour"]["batches"][0];
    assert_eq!(
        (&batch["residue_g"], &batch["total_g"]),
        (&json!("3.3"), &json!("45.6"))
    );
    assert_eq!(stock(&app)[0].0, 1_000_000_000 - 41_500_000);
    verified(&app);
    // The weighed cup has taught: the next plan knows it.
    let plan = app.post("/v1/cast-plans", request(1)).expect(200).json();
    assert_eq!(
        (&plan["residue"]["basis"], &plan["residue"]["observations"]),
        (&json!("learned"), &json!(1))
    );
}

#[test]
fn the_bench_is_right_when_it_says_so() {
    let app = TestApp::start();
    catalogue(&app);
    receive(&app, "base", "B1", Some("K1"), &["60"], "6");
    receive(&app, "agent", "A1", Some("K1"), &["6"], "3");
    for (material, packs) in [
        ("vial", "1"),
        ("tray", "9"),
        ("cup", "9"),
        ("tape", "33"),
        ("stirrer", "9"),
    ] {
        receive(&app, material, "X", None, &[packs], "1");
    }
    let cast = book(&app, 1);
    let path = format!("/v1/casts/{}/pour", cast["code"].as_str().unwrap());
    let mut pour =
        json!({"poured_on": "2026-03-02", "batches": [{"base_g": "64", "curing_agent_g": "6"}]});
    let refused = app.post(&path, pour.clone()).expect(409).json();
    assert_eq!(
        refused["shortages"],
        json!([{"material": "base", "needed": "64", "available": "60"}])
    );
    verified(&app);
    pour["recount"] = json!(true);
    let done = app.post(&path, pour).expect(200).json();
    assert_eq!(done["pour"]["counted_in"][0]["quantity"], "4");
    assert_eq!(stock(&app)[0].0, 0);
    verified(&app);
}

#[test]
fn a_discarded_batch_is_paid_for_and_teaches_nothing() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, 1);
    let code = cast["code"].as_str().unwrap();
    let batches = json!([{"base_g": "40", "curing_agent_g": "4", "discarded": "stirred air into it"},
        {"base_g": "40", "curing_agent_g": "4", "residue_g": "4"}]);
    app.post(
        &format!("/v1/casts/{code}/pour"),
        json!({"poured_on": "2026-03-02", "batches": batches}),
    )
    .expect(200);
    assert_eq!(stock(&app)[0].0, 1_000_000_000 - 80_000_000);
    verified(&app);
    let cost = app
        .get(&format!("/v1/casts/{code}/cost"))
        .expect(200)
        .json();
    assert!(
        cost.get("per_good_chip").is_none(),
        "nothing is good before the demould"
    );
    app.post(&format!("/v1/casts/{code}/demold"), json!({"demolded_on": "2026-03-02", "good": 0, "rejects": [{"reason": "tacky", "count": 4}]}))
        .expect(200);
    let scrap = app
        .get(&format!("/v1/casts/{code}/cost"))
        .expect(200)
        .json();
    assert!(
        scrap.get("per_good_chip").is_none(),
        "a scrapped cast has no price per chip"
    );
    assert_eq!(scrap["good_chips"], "0");
}

#[test]
fn a_repeated_booking_is_answered_from_the_books() {
    let app = TestApp::start();
    stocked(&app);
    let send = |body: Value| {
        let request = app
            .request("POST", "/v1/casts")
            .header("Idempotency-Key", "balance-7")
            .json(&body);
        crate::support::send(request)
    };
    let first = send(request(1)).expect(201);
    let again = send(request(1)).expect(201);
    assert_eq!(
        (first.text, first.headers["location"].clone()),
        (again.text, again.headers["location"].clone())
    );
    let other = send(request(2)).expect(422).json();
    assert_eq!(other["type"], "urn:heeltap:problem:key-reused");
    assert_eq!(
        app.get("/v1/casts").expect(200).json()["items"]
            .as_array()
            .unwrap()
            .len(),
        1
    );
}

#[test]
fn a_mix_is_corrected() {
    let app = TestApp::start();
    catalogue(&app);
    let correct = |base: &str, agent: &str| {
        app.post(
            "/v1/mix-corrections",
            json!({"elastomer": "el", "base_g": base, "curing_agent_g": agent}),
        )
        .expect(200)
        .json()
    };
    let short_of_agent = correct("110", "10");
    let add = &short_of_agent["add"];
    assert_eq!(
        (&add["part"], &add["mass_g"]),
        (&json!("curing_agent"), &json!("1"))
    );
    assert_eq!(
        (
            &short_of_agent["total_g"],
            &short_of_agent["within_tolerance"]
        ),
        (&json!("121"), &json!(false))
    );
    assert_eq!(correct("100", "10")["add"], Value::Null);
    assert_eq!(correct("100", "10.1")["within_tolerance"], true);
}

#[test]
fn wrong_requests_name_the_field() {
    let app = TestApp::start();
    stocked(&app);
    let check = |body: Value, pointer: &str| {
        let problem = app.post("/v1/cast-plans", body).expect(422).json();
        assert_eq!(problem["errors"][0]["pointer"], pointer, "{problem}");
    };
    check(
        json!({"recipe": "none", "containers": 1, "cast_on": "2026-03-10"}),
        "/recipe",
    );
    check(
        json!({"recipe": "chip", "containers": 1, "cast_on": "10.03.2026"}),
        "/cast_on",
    );
    check(
        json!({"recipe": "chip", "containers": 1, "cast_on": "2026-03-10", "charges": [{"grant": "none", "share": "100"}]}),
        "/charges/0/grant",
    );
    check(
        json!({"recipe": "chip", "containers": 1, "cast_on": "2026-03-10", "trays": 1}),
        "/trays",
    );
    check(
        json!({"recipe": "chip", "containers": 0, "cast_on": "2026-03-10"}),
        "/containers",
    );
}
