//! Plans of courses: sessions of groups on one shelf, with what they come to and what is missing.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{catalogue, micro, receive, stocked};

fn course(app: &TestApp, body: Value) -> Value {
    app.post("/v1/course-plans", body).expect(200).json()
}

fn session(day: &str, groups: u32, containers: u32) -> Value {
    json!({"recipe": "chip", "cast_on": day, "groups": groups, "containers_per_group": containers})
}

fn material<'a>(plan: &'a Value, code: &str) -> &'a Value {
    let all = plan["totals"]["by_material"].as_array().expect("materials");
    all.iter()
        .find(|material| material["material"] == code)
        .unwrap_or_else(|| panic!("{code} is not needed"))
}

#[test]
fn each_group_has_cups_of_its_own_and_the_totals_are_the_sums() {
    let app = TestApp::start();
    stocked(&app);
    let before = app.get("/v1/lots").expect(200).text;
    let plan = course(
        &app,
        json!({"sessions": [session("2026-03-10", 3, 2), session("2026-03-12", 2, 1)], "charges": [{"grant": "grant-a", "share": "100"}]}),
    );
    assert_eq!(
        app.get("/v1/lots").expect(200).text,
        before,
        "nothing is written"
    );
    let first = &plan["sessions"][0];
    let groups = first["groups"].as_array().unwrap();
    assert_eq!(groups.len(), 3);
    for (index, group) in groups.iter().enumerate() {
        assert_eq!(group["group"], index + 1);
        assert_eq!(
            (&group["containers"], &group["chips"]),
            (&json!(2), &json!(8))
        );
        assert_eq!(group["batches"], json!([index + 1]));
        let batch = &first["plan"]["batches"][index];
        assert_eq!(group["base_g"], batch["base_g"]);
        assert_eq!(group["total_g"], batch["total_g"]);
    }
    let totals = &plan["totals"];
    // 8 trays of 4 chips, of which 9 in 10 are expected to be good.
    assert_eq!(
        (
            &totals["containers"],
            &totals["chips"],
            &totals["expected_good_chips"]
        ),
        (&json!(8), &json!(32), &json!("28.8"))
    );
    for (name, part) in [
        ("mix_g", "total_g"),
        ("base_g", "base_g"),
        ("curing_agent_g", "curing_agent_g"),
    ] {
        let sum: i64 = (0..2)
            .map(|no| micro(&plan["sessions"][no]["plan"]["mix"][part]))
            .sum();
        assert_eq!(micro(&totals[name]), sum, "{name}");
    }
    let cost: i64 = (0..2)
        .map(|no| micro(&plan["sessions"][no]["plan"]["cost"]["total"]))
        .sum();
    assert_eq!(micro(&totals["cost"]["total"]), cost);
    // Half to even of cost / 28.8.
    let per_chip = cost as f64 / 28.8;
    assert!((micro(&totals["per_good_chip"]) as f64 - per_chip).abs() <= 0.5 + 1e-6);
    assert_eq!(material(&plan, "base")["needed"], totals["base_g"]);
    assert_eq!(material(&plan, "base")["available"], "1000");
    assert_eq!(material(&plan, "cup")["needed"], "5");
    assert_eq!(plan["shortages"], json!([]));
    assert!(plan.get("first_short_on").is_none());
}

#[test]
fn what_an_earlier_session_takes_a_later_one_does_not_find() {
    let app = TestApp::start();
    catalogue(&app);
    receive(&app, "base", "B1", Some("K1"), &["120"], "12");
    receive(&app, "agent", "A1", Some("K1"), &["100"], "20");
    for (code, packs) in [
        ("tray", "40"),
        ("cup", "40"),
        ("tape", "33"),
        ("stirrer", "40"),
    ] {
        receive(&app, code, "X", None, &[packs], "1");
    }
    receive(&app, "vial", "V1", None, &["1", "1", "1"], "9");
    let alone = app
        .post(
            "/v1/cast-plans",
            json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-10"}),
        )
        .expect(200)
        .json();
    let base = micro(&alone["mix"]["base_g"]);
    assert!(2 * base < 120_000_000 && 3 * base > 120_000_000, "{base}");
    // Sent in another order than their days.
    let sessions = ["2026-03-12", "2026-03-10", "2026-03-11"].map(|day| session(day, 1, 2));
    let plan = course(&app, json!({"sessions": sessions}));
    let short = |no: usize| {
        plan["sessions"][no]["plan"]["shortages"]
            .as_array()
            .unwrap()
            .len()
    };
    assert_eq!((short(0), short(1), short(2)), (1, 0, 0));
    assert_eq!(plan["first_short_on"], "2026-03-12");
    let found = &plan["shortages"][0];
    assert_eq!(
        (&found["material"], &found["first_short_on"]),
        (&json!("base"), &json!("2026-03-12"))
    );
    assert_eq!(micro(&found["short"]), 3 * base - 120_000_000);
    let needed = material(&plan, "base");
    assert_eq!(micro(&needed["needed"]), 3 * base);
    assert_eq!(micro(&needed["short"]), 3 * base - 120_000_000);
    // A fourth session lacks all it needs: what was left is used by the third beside what is bought for it.
    let sessions =
        ["2026-03-12", "2026-03-10", "2026-03-11", "2026-03-13"].map(|day| session(day, 1, 2));
    let plan = course(&app, json!({"sessions": sessions}));
    assert_eq!(
        micro(&plan["shortages"][0]["short"]),
        4 * base - 120_000_000
    );
}

#[test]
fn trays_follow_from_the_good_chips_that_each_group_wants() {
    let app = TestApp::start();
    stocked(&app);
    // Of 4 chips drawn from Beta(9, 1) all are good with 9/13 = 0.69, so that a group casts 2 trays for 4 good chips.
    let wanted =
        json!({"recipe": "chip", "cast_on": "2026-03-10", "groups": 3, "good_chips_per_group": 4});
    let plan = course(
        &app,
        json!({"sessions": [wanted], "spare_containers_per_session": 1}),
    );
    let session = &plan["sessions"][0];
    let trays: Vec<u64> = session["groups"]
        .as_array()
        .unwrap()
        .iter()
        .map(|group| group["containers"].as_u64().unwrap())
        .collect();
    assert_eq!(trays, [3, 2, 2], "the spare tray is the first group's");
    assert_eq!(session["plan"]["containers"], 7);
}

#[test]
fn coats_last_from_one_session_to_the_next_and_days_are_shared() {
    let app = TestApp::start();
    stocked(&app);
    // A coat lasts 5 casts: both copies are coated for the first session, and serve the second one too.
    let plan = course(
        &app,
        json!({"sessions": [session("2026-03-10", 1, 2), session("2026-03-11", 1, 2)]}),
    );
    let vials = |no: usize| plan["sessions"][no]["plan"]["release"]["vials"].clone();
    assert_eq!((vials(0), vials(1)), (json!(1), json!(0)));
    assert_eq!(material(&plan, "vial")["needed"], "1");
    // The vial of 3.00 gives its share to each of the 10 casts: 0.60 for two.
    let coat = |no: usize| {
        let components = plan["sessions"][no]["plan"]["cost"]["components"]
            .as_array()
            .unwrap()
            .clone();
        components
            .into_iter()
            .find(|c| c["component"] == "release")
            .unwrap()["amount"]
            .clone()
    };
    assert_eq!((coat(0), coat(1)), (json!("0.6"), json!("0.6")));

    let plan = course(
        &app,
        json!({"sessions": [session("2026-03-10", 1, 2), session("2026-03-10", 1, 2)]}),
    );
    let day = &plan["sessions"][1]["plan"]["day"];
    assert_eq!(
        (&day["rounds"], &day["fits"], &day["with"]),
        (&json!(2), &json!(false), &json!(["session 1"]))
    );
    assert_eq!(plan["sessions"][0]["plan"]["day"]["rounds"], 1);
}

#[test]
fn trays_that_are_used_again_are_back_when_their_chips_are_cured() {
    let app = TestApp::start();
    stocked(&app);
    app.post("/v1/materials", json!({"code": "box", "name": "Box", "kind": "container", "unit": "each",
        "container": {"shape": "rectangular", "length_mm": "90", "width_mm": "60", "depth_mm": "15", "rated_uses": 20}})).expect(201);
    receive(&app, "box", "X1", None, &["2"], "40");
    app.post("/v1/recipes", json!({"code": "boxed", "name": "Boxed", "elastomer": "el", "mold": "mold", "container": "box",
        "cup": "cup", "chip_thickness_mm": "4", "drain_time_s": "60", "cure": {"temperature_c": "85", "minutes": "45"}})).expect(201);
    let on = |days: [&str; 2]| {
        let sessions = days.map(|day| json!({"recipe": "boxed", "cast_on": day, "groups": 1, "containers_per_group": 2}));
        course(&app, json!({"sessions": sessions}))
    };
    let apart = on(["2026-03-10", "2026-03-11"]);
    assert_eq!(
        material(&apart, "box"),
        &json!({"material": "box", "needed": "2", "available": "2", "short": "0"})
    );
    let together = on(["2026-03-10", "2026-03-10"]);
    assert_eq!(
        material(&together, "box"),
        &json!({"material": "box", "needed": "4", "available": "2", "short": "2"})
    );
    assert_eq!(together["first_short_on"], "2026-03-10");
}

#[test]
fn what_is_wrong_is_pointed_at_in_the_course() {
    let app = TestApp::start();
    stocked(&app);
    let check = |body: Value, pointers: &[&str]| {
        let refused = app.post("/v1/course-plans", body).expect(422);
        assert_eq!(refused.pointers(), pointers, "{}", refused.text);
    };
    let good = || session("2026-03-10", 1, 1);
    let with = |changes: Value| {
        let mut session = good();
        for (name, value) in changes.as_object().expect("fields") {
            session[name] = value.clone();
        }
        session
    };
    check(json!({"sessions": []}), &["/sessions"]);
    check(json!({"sessions": vec![good(); 101]}), &["/sessions"]);
    check(
        json!({"sessions": [good(), good(), with(json!({"recipe": "none"}))]}),
        &["/sessions/2/recipe"],
    );
    check(
        json!({"sessions": [with(json!({"groups": 0})), with(json!({"good_chips_per_group": 4}))], "residue_quantile": "1"}),
        &[
            "/residue_quantile",
            "/sessions/0/groups",
            "/sessions/1/containers_per_group",
        ],
    );
    check(
        json!({"sessions": [good(), with(json!({"groups": 600, "containers_per_group": 2}))]}),
        &["/sessions/1/containers_per_group"],
    );
    let charge = |grant: &str| json!([{"grant": grant, "share": "100"}]);
    check(
        json!({"sessions": [good()], "charges": charge("none")}),
        &["/charges/0/grant"],
    );
    check(
        json!({"sessions": [good(), with(json!({"charges": charge("none")}))], "charges": charge("grant-a")}),
        &["/sessions/1/charges/0/grant"],
    );
    check(
        json!({"sessions": [with(json!({"trays": 1}))]}),
        &["/sessions/0/trays"],
    );
    app.post("/v1/recipes/chip/retire", json!({})).expect(200);
    let refused = app
        .post("/v1/course-plans", json!({"sessions": [good()]}))
        .expect(409);
    assert_eq!(refused.problem(), "retired");
}
