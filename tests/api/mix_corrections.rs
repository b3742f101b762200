//! Correcting a mix: the addition, what the balance can weigh of it, and whether cup and stock can take it. Expected
//! figures are worked out by hand beside each case.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{catalogue, receive, stocked};

const ADDRESS: &str = "/v1/mix-corrections";

#[track_caller]
fn correct(app: &TestApp, body: Value) -> Value {
    app.post(ADDRESS, body).expect(200).json()
}

/// The fields of an answer that are named, in one value to compare with.
fn of(answer: &Value, fields: &[&str]) -> Value {
    fields
        .iter()
        .map(|field| ((*field).to_owned(), answer[*field].clone()))
        .collect::<serde_json::Map<_, _>>()
        .into()
}

#[test]
fn outside_the_tolerance_both_additions_are_weighable_and_in_stock() {
    let app = TestApp::start();
    stocked(&app);
    let before = app.get("/v1/lots").expect(200).text;
    let found = correct(
        &app,
        json!({"elastomer": "el", "base_g": "33", "curing_agent_g": "3"}),
    );
    assert_eq!(
        of(
            &found,
            &[
                "ratio_before",
                "ratio_after",
                "total_g",
                "within_tolerance",
                "readability_g"
            ]
        ),
        json!({"ratio_before": "11", "ratio_after": "10", "total_g": "36.3", "within_tolerance": false, "readability_g": "0.01"})
    );
    assert!(
        found.get("note").is_none(),
        "nothing stands against it: {found}"
    );
    let lots = found["add"]["stock"]["lots"].as_array().unwrap();
    assert_eq!(
        of(&lots[0], &["lot", "quantity"]),
        json!({"lot": "A1", "quantity": "3.3"})
    );
    assert!(
        lots[0]["why"]
            .as_str()
            .unwrap()
            .contains("kit lot K1 for both parts")
    );
    let fields = [
        "part",
        "mass_g",
        "total_g",
        "ratio_after",
        "weigh_g",
        "weighed_ratio",
        "weighed_within_tolerance",
    ];
    assert_eq!(
        of(&found["add"], &fields),
        json!({"part": "curing_agent", "mass_g": "0.3", "total_g": "36.3", "ratio_after": "10", "weigh_g": "0.3",
            "weighed_ratio": "10", "weighed_within_tolerance": true})
    );
    // The edge is 10.2 : 1: 33 / 10.2 - 3 = 0.235294, weighed as 0.24, which makes 33 / 3.24 = 10.185185.
    assert_eq!(
        of(&found["add_to_tolerance"], &fields),
        json!({"part": "curing_agent", "mass_g": "0.235294", "total_g": "36.235294", "ratio_after": "10.2",
            "weigh_g": "0.24", "weighed_ratio": "10.185185", "weighed_within_tolerance": true})
    );
    assert_eq!(
        of(
            &found["add_to_tolerance"]["stock"],
            &["material", "needed_g", "available_g", "enough"]
        ),
        json!({"material": "agent", "needed_g": "3.24", "available_g": "100", "enough": true})
    );
    assert!(found["add"].get("cup").is_none(), "no cup is known");
    assert_eq!(
        app.get("/v1/lots").text,
        before,
        "a correction writes nothing"
    );
}

#[test]
fn within_the_tolerance_only_the_nominal_ratio_is_left_to_restore() {
    let app = TestApp::start();
    stocked(&app);
    let found = correct(
        &app,
        json!({"recipe": "chip", "base_g": "30", "curing_agent_g": "3.05"}),
    );
    assert_eq!(
        of(&found, &["within_tolerance", "add_to_tolerance"]),
        json!({"within_tolerance": true, "add_to_tolerance": null})
    );
    let add = &found["add"];
    assert_eq!(
        of(add, &["part", "mass_g"]),
        json!({"part": "base", "mass_g": "0.5"})
    );
    assert_eq!(add["stock"]["needed_g"], "30.5");
    // The recipe's cup: pi x 35^2 x 90 mm3 = 346.360590 mL, half of it to be filled; 33.55 g / 1.03 g/mL = 32.572816 mL.
    assert_eq!(
        add["cup"],
        json!({"code": "cup", "capacity_ml": "346.36059", "usable_ml": "173.180295", "mix_ml": "32.572816",
            "fits": true, "below_rim": true})
    );
    let exact = correct(
        &app,
        json!({"recipe": "chip", "base_g": "30", "curing_agent_g": "3"}),
    );
    assert_eq!(
        of(&exact, &["add", "add_to_tolerance", "total_g"]),
        json!({"add": null, "add_to_tolerance": null, "total_g": "33"})
    );
}

#[test]
fn a_recipe_has_a_ratio_and_a_balance_of_its_own() {
    let app = TestApp::start();
    stocked(&app);
    for (code, readability) in [("stiff", "0.1"), ("coarse", "0.5")] {
        app.post("/v1/recipes", json!({"code": code, "name": code, "elastomer": "el", "mold": "mold", "container": "tray",
            "cup": "cup", "chip_thickness_mm": "4", "drain_time_s": "60", "ratio": {"base": "8", "curing_agent": "1"},
            "balance_readability_g": readability})).expect(201);
    }
    let mix = |recipe: &str| {
        correct(
            &app,
            json!({"recipe": recipe, "elastomer": "el", "base_g": "33", "curing_agent_g": "4"}),
        )
    };
    // 33 / 8 - 4 = 0.125 is weighed as 0.2: 33 / 4.2 = 7.857143, 1.8 % from 8.
    let stiff = mix("stiff");
    assert_eq!(
        of(
            &stiff["add"],
            &[
                "mass_g",
                "weigh_g",
                "weighed_ratio",
                "weighed_within_tolerance"
            ]
        ),
        json!({"mass_g": "0.125", "weigh_g": "0.2", "weighed_ratio": "7.857143", "weighed_within_tolerance": true})
    );
    // Half a gram would be 33 / 4.5 = 7.33; the nearest count is none, and 8.25 stays outside.
    let coarse = mix("coarse");
    assert_eq!(
        of(&coarse["add"], &["weigh_g", "weighed_within_tolerance"]),
        json!({"weigh_g": "0", "weighed_within_tolerance": false})
    );
    assert!(
        coarse["note"]
            .as_str()
            .unwrap()
            .contains("balance is too coarse")
    );
}

#[test]
fn a_cup_too_small_says_what_would_help() {
    let app = TestApp::start();
    stocked(&app);
    let mix = |base: &str, agent: &str| {
        correct(
            &app,
            json!({"recipe": "chip", "base_g": base, "curing_agent_g": agent}),
        )
    };
    // 187 g / 1.03 = 181.55 mL: below the rim, above the 173.18 mL that leave room for foam; so is the edge.
    let foam = mix("170", "15");
    assert_eq!(
        of(&foam["add"]["cup"], &["mix_ml", "fits", "below_rim"]),
        json!({"mix_ml": "181.553398", "fits": false, "below_rim": true})
    );
    let note = foam["note"].as_str().unwrap();
    assert!(
        note.starts_with("neither addition can be made") && note.contains("2 cups of `cup`"),
        "{note}"
    );
    // 374 g / 1.03 = 363 mL do not even stay below the rim.
    let over = mix("340", "30");
    assert_eq!(
        of(&over["add"]["cup"], &["fits", "below_rim"]),
        json!({"fits": false, "below_rim": false})
    );
    // Nominal: 23 g of base, 179.3 g = 174.08 mL. Edge: 9.8 x 16.3 - 140 = 19.74 g, 176.04 g = 170.91 mL.
    let edge = mix("140", "16.3");
    assert_eq!(edge["add"]["cup"]["fits"], false);
    assert_eq!(
        of(&edge["add_to_tolerance"], &["mass_g", "weigh_g"]),
        json!({"mass_g": "19.74", "weigh_g": "19.74"})
    );
    assert_eq!(edge["add_to_tolerance"]["cup"]["fits"], true);
    assert!(
        edge["note"]
            .as_str()
            .unwrap()
            .starts_with("only the addition that reaches the tolerance")
    );
    // A tray is a vessel too; 90 x 60 mm with walls leaning out by 2 degrees, 15 mm deep, a third to be filled.
    let tray = correct(
        &app,
        json!({"elastomer": "el", "cup": "tray", "base_g": "33", "curing_agent_g": "3.05"}),
    );
    assert_eq!(
        of(&tray["add"]["cup"], &["code", "fits", "below_rim"]),
        json!({"code": "tray", "fits": false, "below_rim": true})
    );
    // Where the mix is de-gassed in the tray, a cup need only leave room for stirring, 0.8 of it.
    app.post("/v1/recipes", json!({"code": "in-tray", "name": "In the tray", "elastomer": "el", "mold": "mold",
        "container": "tray", "cup": "tray", "chip_thickness_mm": "4", "drain_time_s": "60", "degas_in": "container"})).expect(201);
    let stirred = correct(
        &app,
        json!({"recipe": "in-tray", "base_g": "33", "curing_agent_g": "3.05"}),
    );
    let usable = |found: &Value| -> f64 {
        let text = found["add"]["cup"]["usable_ml"].as_str().unwrap();
        text.parse().unwrap()
    };
    assert!((usable(&stirred) / usable(&tray) - 2.4).abs() < 1e-5);
    assert_eq!(stirred["add"]["cup"]["fits"], true);
}

#[test]
fn a_stock_too_small_says_what_is_missing() {
    let app = TestApp::start();
    catalogue(&app);
    receive(&app, "base", "B1", Some("K1"), &["25", "15"], "4");
    receive(&app, "agent", "A1", Some("K1"), &["10"], "2");
    let mix = |base: &str, agent: &str| {
        correct(
            &app,
            json!({"elastomer": "el", "base_g": base, "curing_agent_g": agent}),
        )
    };
    // 36 weighed and 4 to add are all there is, from two packs.
    let just = mix("36", "4");
    let stock = &just["add"]["stock"];
    assert_eq!(
        of(stock, &["needed_g", "available_g", "enough"]),
        json!({"needed_g": "40", "available_g": "40", "enough": true})
    );
    assert_eq!(stock["lots"].as_array().unwrap().len(), 2);
    // 41 for the nominal ratio, 9.8 x 4.1 = 40.18 for the edge.
    let short = mix("36", "4.1");
    assert_eq!(
        of(
            &short["add_to_tolerance"]["stock"],
            &["needed_g", "available_g", "enough", "lots"]
        ),
        json!({"needed_g": "40.18", "available_g": "40", "enough": false, "lots": []})
    );
    let note = short["note"].as_str().unwrap();
    assert!(
        note.contains("40.18 g of `base` are needed and 40 g are free"),
        "{note}"
    );
    // Within the tolerance as weighed: 39.7 / 4 = 9.925, and the 0.4 g to 40.1 are not there.
    let used = mix("39.7", "4.01");
    assert!(
        used["note"]
            .as_str()
            .unwrap()
            .starts_with("nothing need be added"),
        "{used}"
    );
}

#[test]
fn parts_of_different_kit_lots_are_told() {
    let app = TestApp::start();
    catalogue(&app);
    receive(&app, "base", "B1", Some("K1"), &["500"], "50");
    receive(&app, "agent", "A1", Some("K1"), &["3"], "1");
    receive(&app, "agent", "A2", Some("K2"), &["50"], "10");
    let found = correct(
        &app,
        json!({"elastomer": "el", "base_g": "33", "curing_agent_g": "3"}),
    );
    let stock = &found["add"]["stock"];
    assert_eq!(
        of(stock, &["needed_g", "available_g", "enough"]),
        json!({"needed_g": "3.3", "available_g": "53", "enough": true})
    );
    assert!(
        stock["note"]
            .as_str()
            .unwrap()
            .starts_with("no single kit lot")
    );
}

#[test]
fn what_a_cast_was_promised_is_free_for_it() {
    let app = TestApp::start();
    catalogue(&app);
    receive(&app, "base", "B1", Some("K1"), &["80"], "8");
    receive(&app, "agent", "A1", Some("K1"), &["8"], "2");
    for (material, packs) in [
        ("vial", "9"),
        ("tray", "9"),
        ("cup", "9"),
        ("tape", "33"),
        ("stirrer", "9"),
    ] {
        receive(&app, material, "X", None, &[packs], "1");
    }
    let booked = app
        .post(
            "/v1/casts",
            json!({"recipe": "chip", "containers": 1, "cast_on": "2026-03-10"}),
        )
        .expect(201)
        .json();
    let code = booked["code"].as_str().unwrap();
    let promised: f64 = booked["plan"]["mix"]["base_g"]
        .as_str()
        .unwrap()
        .parse()
        .unwrap();
    let available = |found: &Value| -> f64 {
        found["add"]["stock"]["available_g"]
            .as_str()
            .unwrap()
            .parse()
            .unwrap()
    };
    // 60 g of base to 6.6 of curing agent: 6 g of base are missing.
    let own = correct(
        &app,
        json!({"cast": code, "elastomer": "el", "base_g": "60", "curing_agent_g": "6.6"}),
    );
    assert_eq!(
        of(
            &own["add"]["stock"],
            &["material", "needed_g", "available_g", "enough"]
        ),
        json!({"material": "base", "needed_g": "66", "available_g": "80", "enough": true})
    );
    assert_eq!(own["add"]["cup"]["code"], "cup");
    let others = correct(
        &app,
        json!({"recipe": "chip", "base_g": "60", "curing_agent_g": "6.6"}),
    );
    assert_eq!(others["add"]["stock"]["enough"], false);
    assert!((available(&others) - (80.0 - promised)).abs() < 1e-9);
    // What the recipe says now is nothing to a cast that was booked before.
    let recipe = app.get("/v1/recipes/chip").expect(200);
    app.patch(
        "/v1/recipes/chip",
        recipe.header("etag"),
        json!({"balance_readability_g": "0.5"}),
    )
    .expect(200);
    let mix = |body: Value| correct(&app, body)["readability_g"].clone();
    assert_eq!(
        mix(json!({"cast": code, "base_g": "60", "curing_agent_g": "6.6"})),
        "0.01"
    );
    assert_eq!(
        mix(json!({"recipe": "chip", "base_g": "60", "curing_agent_g": "6.6"})),
        "0.5"
    );
    app.post(&format!("/v1/casts/{code}/cancel"), json!({}))
        .expect(200);
    let gone = app
        .post(
            ADDRESS,
            json!({"cast": code, "base_g": "60", "curing_agent_g": "6.6"}),
        )
        .expect(409);
    assert_eq!(gone.problem(), "wrong-state");
}

#[test]
fn what_makes_no_sense_is_named() {
    let app = TestApp::start();
    stocked(&app);
    app.post("/v1/elastomers", json!({"code": "other", "name": "Other", "base": "base", "curing_agent": "agent",
        "ratio": {"base": "1", "curing_agent": "1"}, "ratio_tolerance": "0.02", "density_g_per_ml": "1.1",
        "viscosity_pa_s": "3", "pot_life_min": "20", "cure": [{"temperature_c": "25", "minutes": "300"}]})).expect(201);
    let check = |named: Value, pointer: &str| {
        let mut body = json!({"base_g": "33", "curing_agent_g": "3"});
        for (name, value) in named.as_object().unwrap() {
            body[name] = value.clone();
        }
        let problem = app.post(ADDRESS, body).expect(422);
        assert_eq!(problem.pointers(), [pointer], "{}", problem.text);
    };
    check(json!({}), "/elastomer");
    check(json!({"recipe": "chip", "cast": "C-1"}), "/recipe");
    check(
        json!({"recipe": "chip", "elastomer": "other"}),
        "/elastomer",
    );
    check(json!({"recipe": "none"}), "/recipe");
    check(json!({"elastomer": "none"}), "/elastomer");
    check(json!({"cast": "none"}), "/cast");
    check(json!({"recipe": "chip", "cup": "none"}), "/cup");
    check(json!({"recipe": "chip", "cup": "base"}), "/cup");
    check(json!({"recipe": "chip", "base_g": "0"}), "/base_g");
    check(
        json!({"recipe": "chip", "curing_agent_g": "-1"}),
        "/curing_agent_g",
    );
}
