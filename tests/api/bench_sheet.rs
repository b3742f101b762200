//! The bench sheet: steps in working order, with figures worked out by hand, and lots as they are promised now.

use heeltap::http::Role;
use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{micro, receive, stocked};

fn book(app: &TestApp, body: Value) -> (String, Value) {
    let mut request = json!({"recipe": "chip", "containers": 3, "cast_on": "2026-03-10"});
    for (name, value) in body.as_object().expect("fields") {
        request[name] = value.clone();
    }
    let cast = app.post("/v1/casts", request).expect(201).json();
    let path = format!("/v1/casts/{}", cast["code"].as_str().expect("a code"));
    (path, cast)
}

fn sheet(app: &TestApp, path: &str, query: &str) -> Value {
    app.get(&format!("{path}/bench-sheet{query}"))
        .expect(200)
        .json()
}

fn steps(sheet: &Value) -> &Vec<Value> {
    sheet["steps"].as_array().expect("steps")
}

/// The first step of a kind.
fn first<'a>(sheet: &'a Value, kind: &str) -> &'a Value {
    steps(sheet)
        .iter()
        .find(|step| step["step"] == kind)
        .unwrap_or_else(|| panic!("no step {kind}"))
}

fn lots(step: &Value) -> Vec<(&str, &str, &str)> {
    let lots = step["lots"].as_array().expect("lots").iter();
    lots.map(|lot| {
        let text = |name: &str| lot[name].as_str().expect("a text");
        (text("material"), text("lot"), text("quantity"))
    })
    .collect()
}

/// A figure of an answer in thousandths, rounded.
fn milli(value: &Value) -> i64 {
    (micro(value) + 500).div_euclid(1000)
}

#[test]
fn steps_come_in_working_order_with_minutes_from_the_start() {
    let app = TestApp::start();
    stocked(&app);
    let (path, _) = book(&app, json!({}));
    let found = sheet(&app, &path, "");
    let shown: Vec<(&str, &str, &str)> = steps(&found)
        .iter()
        .map(|step| {
            (
                step["step"].as_str().unwrap(),
                step["starts_min"].as_str().unwrap(),
                step["takes_min"].as_str().unwrap(),
            )
        })
        .collect();
    // 3 trays on 2 copies: two rounds of 2 and 1. Coats last 5 casts; tape is laid anew for each cast.
    assert_eq!(
        shown,
        [
            ("prepare", "0", "10"),
            ("tape", "10", "10"),
            ("release_coat", "20", "15"),
            ("weigh", "35", "5"),
            ("mix", "40", "5"),
            ("degas", "45", "5"),
            ("pour", "50", "5"),
            ("weigh_cup", "55", "1"),
            ("cure", "56", "2880"),
            ("demold", "2936", "4"),
            ("tape", "2940", "5"),
            ("weigh", "2945", "5"),
            ("mix", "2950", "5"),
            ("degas", "2955", "5"),
            ("pour", "2960", "3"),
            ("weigh_cup", "2963", "1"),
            ("cure", "2964", "2880"),
            ("demold", "5844", "2"),
            ("waste", "5846", "10"),
        ]
    );
    assert_eq!(found["total_min"], "5856");
    for (index, step) in steps(&found).iter().enumerate() {
        assert_eq!(step["no"], index + 1);
        assert!(step.get("starts_at").is_none());
        assert!(!step["title"].as_str().unwrap().is_empty());
    }
    assert!(
        found["closing"]
            .as_str()
            .unwrap()
            .contains("safety data sheets")
    );
}

#[test]
fn cuts_coats_and_windows_are_those_worked_out_by_hand() {
    let app = TestApp::start();
    stocked(&app);
    let (path, cast) = book(&app, json!({}));
    let found = sheet(&app, &path, "");
    // 75 x 50 mm under tape of 25 mm: 2 strips of 75 + 10 mm along the length take 170 mm, 3 of 60 along the width 180 mm.
    let tape = first(&found, "tape");
    assert_eq!(
        (
            &tape["detail"]["strips_per_copy"],
            &tape["detail"]["strip_length_mm"],
            &tape["detail"]["along"]
        ),
        (&json!(2), &json!("85"), &json!("length"))
    );
    assert_eq!(tape["detail"]["copies"], json!([1, 2]));
    assert_eq!(lots(tape), [("tape", "P1", "0.34")]);
    let coat = first(&found, "release_coat");
    assert_eq!(
        (&coat["detail"]["copies"], &coat["detail"]["vials"]),
        (&json!([1, 2]), &json!(1))
    );
    assert_eq!(lots(coat), [("vial", "V1", "1")]);
    assert!(
        coat["detail"]["note"]
            .as_str()
            .unwrap()
            .contains("without a source")
    );

    let batch = &cast["plan"]["batches"][0];
    let (base, agent) = (micro(&batch["base_g"]), micro(&batch["curing_agent_g"]));
    let weigh = first(&found, "weigh");
    let detail = &weigh["detail"];
    assert_eq!(detail["base"]["target_g"], batch["base_g"]);
    // 10:1 within 2 %, inward to 0.01 g = 10,000 millionths: base/10.2 to base/9.8, agent x 9.8 to agent x 10.2.
    let up = |value: i64, step: i64| value.div_euclid(step) + i64::from(value.rem_euclid(step) > 0);
    assert_eq!(
        micro(&detail["curing_agent"]["min_g"]),
        10_000 * up(base * 10, 102 * 10_000)
    );
    assert_eq!(
        micro(&detail["curing_agent"]["max_g"]),
        10_000 * (base * 10 / (98 * 10_000))
    );
    assert_eq!(
        micro(&detail["base"]["min_g"]),
        10_000 * up(agent * 98, 10 * 10_000)
    );
    assert_eq!(
        micro(&detail["base"]["max_g"]),
        10_000 * (agent * 102 / (10 * 10_000))
    );
    assert_eq!(detail["curing_agent_g_per_g_base"], "0.1");
    // The empty cup weighs 8 g.
    assert_eq!(
        micro(&detail["cumulative"]["after_base_g"]),
        8_000_000 + base
    );
    assert_eq!(
        micro(&detail["cumulative"]["after_curing_agent_g"]),
        8_000_000 + base + agent
    );
    assert_eq!(
        detail["tare_and_gross"]["curing_agent"]["gross_g"],
        detail["cumulative"]["after_curing_agent_g"]
    );
    assert_eq!(
        lots(weigh),
        [
            ("cup", "C1", "1"),
            ("base", "B1", batch["base_g"].as_str().unwrap()),
            ("agent", "A1", batch["curing_agent_g"].as_str().unwrap())
        ]
    );
}

#[test]
fn what_is_poured_and_what_stays_are_those_worked_out_by_hand() {
    let app = TestApp::start();
    stocked(&app);
    let (path, cast) = book(&app, json!({}));
    let found = sheet(&app, &path, "");
    let batch = &cast["plan"]["batches"][0];
    let (base, agent) = (micro(&batch["base_g"]), micro(&batch["curing_agent_g"]));
    // The cup holds pi x 35^2 x 90 mm3 = 346.36 mL.
    let degas = &first(&found, "degas")["detail"];
    let filled = (base + agent) as f64 / 1.03 / 346.360_6;
    assert!((micro(&degas["fraction_filled"]) as f64 - filled).abs() < 10.0);
    assert_eq!(
        (&degas["fill_limit"], &degas["enough"]),
        (&json!("0.5"), &json!(true))
    );

    // Level 5.1 mm in a tray drafted by 2 degrees, less mould and tape: 23.552 mL of 1.03 g/mL; 5 % more are poured.
    let pour = &first(&found, "pour")["detail"];
    assert_eq!(milli(&pour["fill_g"]), 24_258);
    assert_eq!(milli(&pour["per_container_g"]), 25_471);
    assert_eq!(
        pour["containers"],
        json!([{"no": 1, "copy": 1}, {"no": 2, "copy": 2}])
    );
    assert_eq!(
        (
            &pour["poured_min_after_mixing"],
            &pour["pour_by_min_after_mixing"],
            &pour["keeps_pot_life"]
        ),
        (&json!("9"), &json!("90"), &json!(true))
    );
    let cup = &first(&found, "weigh_cup")["detail"];
    assert_eq!(cup["expected_residue_g"], batch["film_g"]);
    assert_eq!(
        micro(&cup["expected_gross_g"]),
        8_000_000 + micro(&batch["film_g"])
    );
    let last_pour = steps(&found)
        .iter()
        .rfind(|step| step["step"] == "pour")
        .unwrap();
    assert_eq!(
        last_pour["detail"]["containers"],
        json!([{"no": 3, "copy": 1}])
    );
    assert_eq!(first(&found, "cure")["detail"]["cure"]["minutes"], "2880");
    assert_eq!(first(&found, "demold")["detail"]["chips"], 8);
    // (24.258 - 15.45) g beside the mould in each of 3 trays.
    assert_eq!(milli(&first(&found, "waste")["detail"]["trim_g"]), 26_424);
}

#[test]
fn the_clock_is_laid_on_when_it_is_said() {
    let app = TestApp::start();
    stocked(&app);
    let (path, _) = book(&app, json!({}));
    let started = sheet(&app, &path, "?start_at=2026-03-10T08:00:00Z");
    let weigh = first(&started, "weigh");
    assert_eq!(weigh["starts_at"], "2026-03-10T08:35:00Z");
    assert_eq!(weigh["ends_at"], "2026-03-10T08:40:00Z");
    let pour = first(&started, "pour");
    // Mixing ends 45 minutes after the start, and the mix pours for 90.
    assert_eq!(
        (&pour["pour_by_min"], &pour["pour_by"]),
        (&json!("135"), &json!("2026-03-10T10:15:00Z"))
    );
    let mixed = sheet(&app, &path, "?mixed_at=2026-03-10T09:00:30Z");
    assert_eq!(first(&mixed, "mix")["ends_at"], "2026-03-10T09:00:30Z");
    assert_eq!(first(&mixed, "pour")["starts_at"], "2026-03-10T09:05:30Z");
    assert_eq!(first(&mixed, "pour")["pour_by"], "2026-03-10T10:30:30Z");
    let second = sheet(&app, &path, "?mixed_at=2026-03-12T09:00:00Z&batch=2");
    let pour = steps(&second)
        .iter()
        .find(|step| step["step"] == "pour" && step["batch"] == 2)
        .unwrap();
    assert_eq!(pour["pour_by"], "2026-03-12T10:30:00Z");
    for wrong in [
        "?mixed_at=soon",
        "?batch=1",
        "?mixed_at=2026-03-10T09:00:00Z&batch=3",
        "?start_at=2026-03-10T10:00:00Z&mixed_at=2026-03-10T09:00:00Z",
        "?at=1",
    ] {
        app.get(&format!("{path}/bench-sheet{wrong}")).expect(400);
    }
}

#[test]
fn every_caution_stands_at_its_step() {
    let app = TestApp::start();
    stocked(&app);
    let (path, _) = book(&app, json!({}));
    let found = sheet(&app, &path, "");
    let cautions = |kind: &str| first(&found, kind)["cautions"].to_string();
    assert!(cautions("release_coat").contains("H225 Highly flammable liquid and vapour"));
    assert!(cautions("release_coat").contains("fume hood"));
    assert!(cautions("weigh").contains("H317"));
    assert!(cautions("degas").contains("Vent slowly"));
    assert!(cautions("pour").contains("inhibit the cure"));
    assert!(cautions("cure").contains("No solvent or release vapour"));
    assert!(cautions("waste").contains("waste rules"));
    assert!(!cautions("weigh").contains("H225"));
    assert_eq!(cautions("tape"), "[]");
    assert_eq!(
        found["hazards"][1],
        json!({"material": "vial", "name": "Release agent", "statements": ["H225 Highly flammable liquid and vapour"]})
    );
    // What belongs to no step stands at the head: two rounds of a cure of two days do not fit into one.
    assert_eq!(found["cautions"].as_array().unwrap().len(), 1);
    assert!(
        found["cautions"][0]
            .as_str()
            .unwrap()
            .contains("the day has 2 rounds")
    );
}

#[test]
fn a_heat_that_was_overridden_shows_its_reason_at_the_cure() {
    let app = TestApp::start();
    stocked(&app);
    app.post("/v1/recipes", json!({"code": "hot", "name": "Hot", "elastomer": "el", "mold": "mold", "container": "tray",
        "cup": "cup", "chip_thickness_mm": "4", "drain_time_s": "60", "cure": {"temperature_c": "85", "minutes": "45"}})).expect(201);
    let tray = app.get("/v1/materials/tray").expect(200);
    let etag = tray.header("etag").to_owned();
    app.patch(
        "/v1/materials/tray",
        &etag,
        json!({"max_temperature_c": "80"}),
    )
    .expect(200);
    let (path, _) = book(
        &app,
        json!({"recipe": "hot", "heat_override_reason": "tried on a spare tray"}),
    );
    let found = sheet(&app, &path, "");
    assert_eq!(found["heat_override_reason"], "tried on a spare tray");
    let cure = first(&found, "cure");
    assert_eq!(
        cure["detail"]["heat_override_reason"],
        "tried on a spare tray"
    );
    assert!(
        cure["cautions"][0]
            .as_str()
            .unwrap()
            .contains("overridden: tried on a spare tray")
    );
    assert_eq!(found["cautions"], json!([]));
    assert!(
        steps(&found)
            .iter()
            .all(|step| step["step"] != "tape" && step["step"] != "release_coat")
    );
}

#[test]
fn lots_are_those_promised_now_and_what_is_missing_is_said() {
    let app = TestApp::start();
    stocked(&app);
    let (path, cast) = book(&app, json!({}));
    let pack = cast["picks"]
        .as_array()
        .unwrap()
        .iter()
        .find(|pick| pick["material"] == "base")
        .unwrap()["pack_id"]
        .to_string();
    app.post(
        &format!("/v1/packs/{pack}/hold"),
        json!({"reason": "cloudy"}),
    )
    .expect(200);
    let short = sheet(&app, &path, "");
    assert_eq!(short["short"], true);
    let weigh = first(&short, "weigh");
    let missing = weigh["missing"].as_array().unwrap();
    assert_eq!(
        missing[0],
        json!({"material": "base", "quantity": cast["plan"]["batches"][0]["base_g"]})
    );
    assert!(weigh["cautions"].to_string().contains("the cast is short"));
    receive(&app, "base", "B2", Some("K2"), &["500"], "50");
    receive(&app, "agent", "A2", Some("K2"), &["50"], "10");
    let whole = sheet(&app, &path, "");
    assert_eq!(whole["short"], false);
    let found = lots(first(&whole, "weigh"));
    assert_eq!(
        (found[1].1, found[2].1),
        ("B2", "A2"),
        "the picks kept at booking still say B1"
    );
    assert!(first(&whole, "weigh").get("missing").is_none());
}

#[test]
fn a_poured_cast_keeps_its_sheet_and_a_cancelled_one_has_none() {
    let app = TestApp::start();
    stocked(&app);
    let (path, cast) = book(&app, json!({"containers": 1}));
    let batch = &cast["plan"]["batches"][0];
    app.post(
        &format!("{path}/pour"),
        json!({"poured_on": "2026-03-02", "batches": [{"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"], "residue_g": "2.5"}]}),
    )
    .expect(200);
    let poured = sheet(&app, &path, "");
    assert_eq!(poured["state"], "poured");
    assert_eq!(poured["recorded"]["pour"]["batches"][0]["residue_g"], "2.5");
    let taken = poured["recorded"]["taken"].as_array().unwrap();
    assert_eq!(
        (
            &taken[0]["purpose"],
            &taken[0]["lot"],
            &taken[0]["batch"],
            &taken[0]["quantity"]
        ),
        (&json!("base"), &json!("B1"), &json!(1), &batch["base_g"])
    );
    assert_eq!(lots(first(&poured, "weigh")), []);
    assert!(first(&poured, "weigh").get("missing").is_none());
    app.post(
        &format!("{path}/demold"),
        json!({"demolded_on": "2026-03-02", "good": 4}),
    )
    .expect(200);
    let done = sheet(&app, &path, "");
    assert_eq!(done["recorded"]["demold"]["good"], 4);

    let (other, _) = book(&app, json!({}));
    app.post(&format!("{other}/cancel"), json!({})).expect(200);
    let refused = app.get(&format!("{other}/bench-sheet")).expect(409);
    assert_eq!(refused.problem(), "wrong-state");
    app.get("/v1/casts/none/bench-sheet").expect(404);
}

#[test]
fn whoever_reads_casts_reads_their_sheet() {
    let app = TestApp::start();
    stocked(&app);
    let (path, _) = book(&app, json!({}));
    for role in [Role::Reader, Role::Bench, Role::Buyer] {
        app.role(role)
            .get(&format!("{path}/bench-sheet"))
            .expect(200);
    }
}

#[test]
fn groups_stand_in_the_titles_of_their_batches() {
    let app = TestApp::start();
    stocked(&app);
    let (path, _) = book(&app, json!({"containers": 2, "groups": 2}));
    let found = sheet(&app, &path, "");
    let titles: Vec<&str> = steps(&found)
        .iter()
        .filter(|step| step["step"] == "weigh")
        .map(|step| step["title"].as_str().unwrap())
        .collect();
    assert_eq!(
        titles,
        [
            "Batch 1 (round 1, group 1): weigh base, then curing agent",
            "Batch 2 (round 1, group 2): weigh base, then curing agent"
        ]
    );
}

#[test]
fn a_mould_that_was_treated_meanwhile_is_not_coated_again() {
    let app = TestApp::start();
    stocked(&app);
    let (path, cast) = book(&app, json!({}));
    let treated = json!({"treated_on": "2026-03-02", "vials": 1, "molds": [{"mold": "mold", "copies": [1]}], "cast": cast["code"]});
    app.post("/v1/treatments", treated).expect(201);
    let found = sheet(&app, &path, "");
    let coat = first(&found, "release_coat");
    assert_eq!(coat["detail"]["copies"], json!([2]));
    assert_eq!(coat["title"], "Before round 1: coat copy 2");
    assert_eq!(lots(coat), [("vial", "V1", "1")]);
}
