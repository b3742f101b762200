//! What grants pay for: their days and budgets, warned of or refused; and two who book at once.

use diesel::RunQueryDsl as _;
use serde_json::{Value, json};

use crate::support::lab::{micro, receive, stocked, verified};
use crate::support::{Answer, TestApp};

fn request(trays: u32, day: &str, charges: Value) -> Value {
    json!({"recipe": "chip", "containers": trays, "cast_on": day, "charges": charges})
}

fn all_of(grant: &str) -> Value {
    json!([{"grant": grant, "share": "100"}])
}

/// Changes grant `grant-a`.
fn grant_a(app: &TestApp, body: Value) {
    let before = app.get("/v1/grants/grant-a").expect(200);
    app.patch("/v1/grants/grant-a", before.header("etag"), body)
        .expect(200);
}

fn plan(app: &TestApp, trays: u32, day: &str, charges: Value) -> Value {
    let body = request(trays, day, charges);
    app.post("/v1/cast-plans", body).expect(200).json()
}

fn kinds(list: &Value) -> Vec<String> {
    let list = list.as_array().expect("a list");
    list.iter()
        .map(|warning| warning["kind"].as_str().expect("a kind").to_owned())
        .collect()
}

#[track_caller]
fn refused(answer: Answer) -> Value {
    let answer = answer.expect(409);
    assert_eq!(answer.problem(), "beyond-grant");
    answer.json()
}

#[test]
fn a_grant_warns_of_what_is_beyond_it() {
    let app = TestApp::start();
    stocked(&app);
    let fresh = app.get("/v1/grants/grant-a").expect(200).json();
    assert_eq!(fresh["beyond"], "warn");
    assert_eq!(
        plan(&app, 2, "2026-03-10", all_of("grant-a"))["charge_warnings"],
        json!([])
    );
    grant_a(
        &app,
        json!({"starts_on": "2026-03-11", "ends_on": "2026-03-20", "materials_budget": "1"}),
    );
    let early = plan(&app, 2, "2026-03-10", all_of("grant-a"));
    assert_eq!(
        kinds(&early["charge_warnings"]),
        ["before_start", "over_budget"]
    );
    assert_eq!(
        early["charge_warnings"][0],
        json!({"grant": "grant-a", "kind": "before_start", "beyond": "warn", "day": "2026-03-10", "limit_on": "2026-03-11",
            "detail": "grant `grant-a` pays from 2026-03-11 on; the cast is on 2026-03-10"})
    );
    let over = &early["charge_warnings"][1];
    assert_eq!(over["this_cast"], early["cost"]["total"]);
    assert_eq!(
        (&over["budget"], &over["spent"], &over["booked"]),
        (&json!("1"), &json!("0"), &json!("0"))
    );
    // Half of it is charged: the warning counts the half.
    let halves = json!([{"grant": "grant-a", "share": "50"}, {"grant": "grant-b", "share": "50"}]);
    let half = plan(&app, 2, "2026-03-11", halves);
    let over = &half["charge_warnings"][0];
    assert!((2 * micro(&over["this_cast"]) - micro(&half["cost"]["total"])).abs() <= 1);
    // It is booked all the same, and the cast says so.
    let body = request(2, "2026-03-21", all_of("grant-a"));
    let cast = app.post("/v1/casts", body).expect(201);
    assert_eq!(
        kinds(&cast.json()["charge_warnings"]),
        ["after_end", "over_budget"]
    );
    let path = cast.header("location").to_owned();
    let read = app.get(&path).expect(200);
    assert_eq!(
        read.json()["charge_warnings"],
        cast.json()["charge_warnings"]
    );
    // On a day that is paid for, only the budget is left to say.
    let moved = app.patch(
        &path,
        read.header("etag"),
        json!({"cast_on": "2026-03-20", "charges": all_of("grant-a")}),
    );
    assert_eq!(
        kinds(&moved.expect(200).json()["charge_warnings"]),
        ["over_budget"]
    );
    verified(&app);
}

#[test]
fn a_grant_refuses_other_days_and_the_cast_stays_as_it_was() {
    let app = TestApp::start();
    stocked(&app);
    grant_a(
        &app,
        json!({"starts_on": "2026-03-05", "ends_on": "2026-03-20", "beyond": "refuse"}),
    );
    for (day, kind) in [("2026-03-04", "before_start"), ("2026-03-21", "after_end")] {
        let problem = refused(app.post("/v1/casts", request(1, day, all_of("grant-a"))));
        assert_eq!(kinds(&problem["charge_refusals"]), [kind]);
        assert_eq!(problem["charge_refusals"][0]["day"], day);
        assert_eq!(problem["detail"], problem["charge_refusals"][0]["detail"]);
        let plan = plan(&app, 1, day, all_of("grant-a"));
        assert_eq!(plan["charge_warnings"], problem["charge_refusals"]);
        // Another grant pays on that day.
        app.post("/v1/casts", request(1, day, all_of("grant-b")))
            .expect(201);
    }
    for day in ["2026-03-05", "2026-03-20"] {
        app.post("/v1/casts", request(1, day, all_of("grant-a")))
            .expect(201);
    }
    let path = "/v1/casts/C-00003";
    let before = app.get(path).expect(200);
    assert_eq!(before.json()["cast_on"], "2026-03-05", "{}", before.text);
    let late = app.patch(
        path,
        before.header("etag"),
        json!({"cast_on": "2026-03-21"}),
    );
    refused(late);
    assert_eq!(app.get(path).expect(200).text, before.text);
    verified(&app);
}

/// What one more cast of a tray is planned to cost `grant-a` alone.
fn next_cost(app: &TestApp) -> i64 {
    micro(&plan(app, 1, "2026-03-10", all_of("grant-a"))["cost"]["total"])
}

fn text(micro: i64) -> String {
    heeltap::base::Money::from_micro(micro).to_string()
}

#[test]
fn a_budget_may_be_reached_and_not_passed_by_a_millionth() {
    let app = TestApp::start();
    stocked(&app);
    let first = next_cost(&app);
    let budget = |micro: i64| {
        grant_a(
            &app,
            json!({"materials_budget": text(micro), "beyond": "refuse"}),
        );
    };
    let book = || app.post("/v1/casts", request(1, "2026-03-10", all_of("grant-a")));
    budget(first - 1);
    let problem = refused(book());
    let over = &problem["charge_refusals"][0];
    assert_eq!(over["this_cast"], text(first));
    assert_eq!(over["budget"], text(first - 1));
    budget(first);
    let cast = book().expect(201).json();
    assert_eq!(micro(&cast["plan"]["cost"]["total"]), first);
    // The second counts on what the first is planned to cost, and after the pour on what it did cost.
    let second = next_cost(&app);
    budget(first + second - 1);
    assert_eq!(refused(book())["charge_refusals"][0]["booked"], text(first));
    let batches = &cast["plan"]["batches"];
    let batch = json!({"base_g": batches[0]["base_g"], "curing_agent_g": batches[0]["curing_agent_g"], "residue_g": "3"});
    let pour = json!({"poured_on": "2026-03-02", "batches": [batch]});
    let poured = app.post("/v1/casts/C-00001/pour", pour).expect(200).json();
    let spent = micro(&poured["cost_actual"]["total"]);
    let second = next_cost(&app);
    budget(spent + second - 1);
    let problem = refused(book());
    let over = &problem["charge_refusals"][0];
    assert_eq!(
        (&over["spent"], &over["booked"]),
        (&json!(text(spent)), &json!("0"))
    );
    // What a price turned out to be afterwards is spent too.
    variance(&app, -1);
    book().expect(201);
    variance(&app, 1);
    // A cast that is moved is not counted twice; more trays cost more.
    let path = "/v1/casts/C-00002";
    budget(spent + second);
    let before = app.get(path).expect(200);
    let moved = app.patch(
        path,
        before.header("etag"),
        json!({"cast_on": "2026-03-11"}),
    );
    let moved = moved.expect(200);
    refused(app.patch(path, moved.header("etag"), json!({"containers": 2})));
    // A cancelled cast costs nobody anything.
    refused(book());
    app.post(&format!("{path}/cancel"), json!({})).expect(200);
    book().expect(201);
    verified(&app);
}

/// Posts a price variance of so many millionths to `grant-a`.
fn variance(app: &TestApp, micro: i64) {
    let statements = [
        format!(
            "INSERT INTO price_corrections (lot_id, amount_micro, currency, value_micro, corrected_on, reason, actor, recorded_at) \
             VALUES (1, {micro}, 'EUR', {micro}, '2026-03-02', 'r', 'a', '2026-03-02 10:00:00')"
        ),
        format!(
            "INSERT INTO price_shares (correction_id, lot_id, kind, cast_id, grant_id, amount_micro, posted_on) \
             SELECT MAX(price_corrections.id), 1, 'price_variance', 1, \
             (SELECT id FROM catalogue_entries WHERE code = 'grant-a'), {micro}, '2026-03-02' FROM price_corrections"
        ),
    ];
    let written = app.service.db().write(|conn| {
        for statement in &statements {
            diesel::sql_query(statement).execute(conn)?;
        }
        Ok(())
    });
    written.expect("the variance must be posted");
}

/// A recipe of its own materials, moulds and prices: nothing but the grant is shared with another.
fn recipe_apart(app: &TestApp, name: &str) {
    let material = |code: &str, more: Value| {
        let mut body = json!({"code": format!("{code}-{name}"), "name": code, "unit": "each"});
        for (field, value) in more.as_object().expect("fields") {
            body[field] = value.clone();
        }
        app.post("/v1/materials", body).expect(201);
    };
    material("base", json!({"kind": "elastomer_base", "unit": "g"}));
    material("agent", json!({"kind": "curing_agent", "unit": "g"}));
    material(
        "tray",
        json!({"kind": "container", "container": {"shape": "rectangular", "length_mm": "90", "width_mm": "60", "depth_mm": "15"}}),
    );
    material(
        "cup",
        json!({"kind": "mixing_cup", "container": {"shape": "round", "diameter_mm": "70", "depth_mm": "90", "fill_limit": "0.5"}}),
    );
    let of = |code: &str| format!("{code}-{name}");
    app.post(
        "/v1/elastomers",
        json!({"code": of("el"), "name": "Elastomer", "base": of("base"), "curing_agent": of("agent"),
        "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.02", "density_g_per_ml": "1.03",
        "viscosity_pa_s": "3.5", "pot_life_min": "90", "cure": [{"temperature_c": "25", "minutes": "2880"}]}),
    )
    .expect(201);
    app.post(
        "/v1/molds",
        json!({"code": of("mold"), "name": "Mould", "length_mm": "75", "width_mm": "50", "thickness_mm": "1", "chips": 4}),
    )
    .expect(201);
    app.post(
        "/v1/recipes",
        json!({"code": of("chip"), "name": "Chip", "elastomer": of("el"), "mold": of("mold"), "container": of("tray"),
        "cup": of("cup"), "chip_thickness_mm": "4", "drain_time_s": "60"}),
    )
    .expect(201);
    receive(app, &of("base"), "B", None, &["1000"], "100");
    receive(app, &of("agent"), "A", None, &["100"], "20");
    receive(app, &of("tray"), "T", None, &["40"], "20");
    receive(app, &of("cup"), "C", None, &["40"], "10");
}

#[test]
fn two_who_book_at_once_do_not_both_count_on_what_is_left() {
    let app = TestApp::start();
    recipe_apart(&app, "x");
    recipe_apart(&app, "y");
    app.post("/v1/grants", json!({"code": "grant-a", "name": "A"}))
        .expect(201);
    let request = |name: &str| {
        json!({"recipe": format!("chip-{name}"), "containers": 1, "cast_on": "2026-03-10", "allow_mixed_kits": true,
            "charges": [{"grant": "grant-a", "share": "100"}]})
    };
    let plan = app.post("/v1/cast-plans", request("x")).expect(200).json();
    let cost = micro(&plan["cost"]["total"]);
    let other = app.post("/v1/cast-plans", request("y")).expect(200).json();
    assert_eq!(cost, micro(&other["cost"]["total"]));
    grant_a(
        &app,
        json!({"materials_budget": text(3 * cost), "beyond": "refuse"}),
    );
    let outcomes: Vec<Answer> = std::thread::scope(|scope| {
        let all: Vec<_> = (0..8)
            .map(|no| {
                let body = request(["x", "y"][no % 2]);
                let app = &app;
                scope.spawn(move || app.post("/v1/casts", body))
            })
            .collect();
        all.into_iter().map(|one| one.join().unwrap()).collect()
    });
    let booked = outcomes
        .iter()
        .filter(|answer| answer.status == 201)
        .count();
    assert_eq!(booked, 3);
    for answer in outcomes.into_iter().filter(|answer| answer.status != 201) {
        refused(answer);
    }
    verified(&app);
}

#[test]
fn the_sessions_of_a_course_spend_one_after_the_other() {
    let app = TestApp::start();
    stocked(&app);
    let session = |day: &str| json!({"recipe": "chip", "cast_on": day, "groups": 1, "containers_per_group": 1});
    // The later session stands first: what counts is the day.
    let body = json!({"sessions": [session("2026-03-12"), session("2026-03-10")], "charges": all_of("grant-a")});
    let free = app
        .post("/v1/course-plans", body.clone())
        .expect(200)
        .json();
    let cost = |no: usize| micro(&free["sessions"][no]["plan"]["cost"]["total"]);
    let budget = cost(0) + cost(1);
    grant_a(
        &app,
        json!({"materials_budget": text(budget), "beyond": "refuse"}),
    );
    let fits = app
        .post("/v1/course-plans", body.clone())
        .expect(200)
        .json();
    for no in 0..2 {
        assert_eq!(fits["sessions"][no]["plan"]["charge_warnings"], json!([]));
    }
    grant_a(&app, json!({"materials_budget": text(budget - 1)}));
    let over = app.post("/v1/course-plans", body).expect(200).json();
    assert_eq!(over["sessions"][1]["plan"]["charge_warnings"], json!([]));
    let late = &over["sessions"][0]["plan"]["charge_warnings"][0];
    assert_eq!(
        (&late["kind"], &late["booked"]),
        (&json!("over_budget"), &json!(text(cost(1))))
    );
}
