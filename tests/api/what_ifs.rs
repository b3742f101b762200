//! What a cast would cost otherwise: each line is the plan that would be made if the one thing were so.

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{micro, receive, stocked};

fn ask(app: &TestApp, more: Value) -> Value {
    app.post("/v1/what-ifs", asked(more)).expect(200).json()
}

fn asked(more: Value) -> Value {
    let mut body = json!({"plan": {"recipe": "chip", "containers": 4, "cast_on": "2026-03-10"}});
    for (name, value) in more.as_object().expect("an object") {
        body[name] = value.clone();
    }
    body
}

fn plan(app: &TestApp, more: Value) -> Value {
    let mut body = json!({"recipe": "chip", "containers": 4, "cast_on": "2026-03-10"});
    for (name, value) in more.as_object().expect("an object") {
        body[name] = value.clone();
    }
    app.post("/v1/cast-plans", body).expect(200).json()
}

fn patch(app: &TestApp, path: &str, body: Value) {
    let before = app.get(path).expect(200);
    app.patch(path, before.header("etag"), body).expect(200);
}

/// A line says what a plan says.
#[track_caller]
fn same(line: &Value, plan: &Value) {
    assert_eq!(line["containers"], plan["containers"]);
    assert_eq!(
        line["batches"],
        plan["batches"].as_array().expect("batches").len()
    );
    assert_eq!(line["total_g"], plan["mix"]["total_g"]);
    assert_eq!(line["residue_g"], plan["residue"]["planned_g"]);
    assert_eq!(line["expected_good_chips"], plan["expected_good_chips"]);
    for name in ["total", "per_good_chip", "components"] {
        assert_eq!(line[name], plan["cost"][name], "{name}");
    }
}

fn other_tray(app: &TestApp, code: &str, depth_mm: &str, length_mm: &str) {
    let body = json!({"code": code, "name": code, "kind": "container", "unit": "each",
        "container": {"shape": "rectangular", "length_mm": length_mm, "width_mm": "70", "depth_mm": depth_mm}});
    app.post("/v1/materials", body).expect(201);
}

#[test]
fn each_line_is_the_plan_that_would_be_made() {
    let app = TestApp::start();
    stocked(&app);
    other_tray(&app, "tray-b", "15", "100");
    receive(&app, "tray-b", "T2", None, &["40"], "30");
    let before = app.get("/v1/lots").expect(200).text;
    let unchanged = plan(&app, json!({}));
    let found = ask(
        &app,
        json!({"containers_per_batch": [1, 2], "drain_time_s": ["240"], "container": ["tray-b"],
            "prices": [{"material": "tray", "change": "1"}], "yield": ["0.5"]}),
    );
    assert_eq!(found["plan"], unchanged);
    same(&found["unchanged"], &unchanged);
    for no in 0..2 {
        let line = &found["containers_per_batch"][no];
        let asked = json!({"containers_per_batch": line["containers_per_batch"]});
        same(line, &plan(&app, asked));
    }
    // The trays were 40 for 20: four of them cost 2, and twice that at twice the price.
    let price = &found["prices"][0];
    assert_eq!(
        micro(&price["total"]) - micro(&unchanged["cost"]["total"]),
        2_000_000
    );
    let trays = &price["by_component"][6];
    // 14.4 good chips are expected: 2 / 14.4 and 4 / 14.4.
    assert_eq!(
        trays,
        &json!({"component": "container", "before": "0.138889", "after": "0.277778"})
    );
    // Half of 16 chips.
    let half = &found["yield"][0];
    assert_eq!(half["expected_good_chips"], "8");
    assert_eq!(half["total"], unchanged["cost"]["total"]);
    let per_chip = micro(&half["total"]) as f64 / 8.0;
    assert_eq!(
        micro(&half["per_good_chip"]),
        per_chip.round_ties_even() as i64
    );
    assert_eq!(app.get("/v1/lots").expect(200).text, before);
    // The recipe itself changed so is the proof of the lines.
    patch(&app, "/v1/recipes/chip", json!({"drain_time_s": "240"}));
    same(&found["drain_time_s"][0], &plan(&app, json!({})));
    patch(
        &app,
        "/v1/recipes/chip",
        json!({"drain_time_s": "60", "container": "tray-b"}),
    );
    let there = plan(&app, json!({}));
    let line = &found["container"][0];
    same(line, &there);
    assert_eq!(line["fill"], there["fill"]);
    // 100 x 70 x 5.1 - 75 x 50 x 1.1 - 75 x 50 x 4 = 16 575 mm3 at 1.03 g/mL.
    assert_eq!(line["trim_g"], "17.07225");
    assert_eq!(line["in_stock"], true);
}

#[test]
fn trays_that_do_not_do_say_why() {
    let app = TestApp::start();
    stocked(&app);
    other_tray(&app, "short", "15", "74");
    other_tray(&app, "shallow", "5", "100");
    other_tray(&app, "none-there", "15", "100");
    let found = ask(
        &app,
        json!({"container": ["short", "shallow", "none-there", "tray"]}),
    );
    let why = |no: usize| {
        let line = &found["container"][no];
        assert_eq!(line["total"], Value::Null, "{line}");
        line["not_possible"].as_str().expect("a reason").to_owned()
    };
    assert!(why(0).contains("75") && why(0).contains("74"), "{}", why(0));
    assert!(why(1).contains("5.1"), "{}", why(1));
    assert_eq!(found["container"][2]["in_stock"], false);
    same(&found["container"][3], &found["plan"]);
}

#[test]
fn the_chips_wanted_need_other_trays_at_another_yield() {
    let app = TestApp::start();
    stocked(&app);
    let wanted = json!({"plan": {"recipe": "chip", "good_chips_wanted": 4, "cast_on": "2026-03-10"}, "yield": ["0.5", "0.9"]});
    let found = app.post("/v1/what-ifs", wanted).expect(200).json();
    assert_eq!(found["unchanged"]["containers"], 2);
    // Nine in ten is what a lab without history expects, so nothing changes; by halves four trays are needed.
    let trays = |no: usize| found["yield"][no]["for_wanted"]["containers"].clone();
    assert_eq!((trays(0), trays(1)), (json!(4), json!(2)));
    assert_eq!(found["yield"][0]["containers"], 2);
    same(&found["yield"][1]["for_wanted"], &found["plan"]);
}

#[test]
fn what_is_refused() {
    let app = TestApp::start();
    stocked(&app);
    let pointers = |more: Value| {
        let answer = app.post("/v1/what-ifs", asked(more)).expect(422);
        answer.pointers()
    };
    assert_eq!(pointers(json!({})), [""]);
    assert_eq!(pointers(json!({"yield": ["1"]})), ["/yield/0"]);
    assert_eq!(pointers(json!({"yield": vec!["0.5"; 25]})), ["/yield"]);
    assert_eq!(
        pointers(json!({"drain_time_s": ["-1"]})),
        ["/drain_time_s/0"]
    );
    assert_eq!(
        pointers(json!({"drain_time_s": [true]})),
        ["/drain_time_s/0"]
    );
    assert_eq!(
        pointers(json!({"container": ["nothing"]})),
        ["/container/0"]
    );
    assert_eq!(
        pointers(json!({"container": ["tray", "cup"]})),
        ["/container/1"]
    );
    let price = |material: &str, change: &str| json!({"prices": [{"material": material, "change": change}]});
    assert_eq!(pointers(price("base", "-1")), ["/prices/0/change"]);
    assert_eq!(pointers(price("nothing", "1")), ["/prices/0/material"]);
    assert_eq!(pointers(json!({"colour": 1})), ["/colour"]);
    let of = |plan: Value| json!({"plan": plan, "yield": ["0.5"]});
    let day = "2026-03-10";
    assert_eq!(
        pointers(of(
            json!({"recipe": "nothing", "containers": 1, "cast_on": day})
        )),
        ["/plan/recipe"]
    );
    assert_eq!(
        pointers(of(json!({"recipe": "chip", "cast_on": day}))),
        ["/plan/containers"]
    );
    let charged = json!([{"grant": "nobody", "share": "100"}]);
    assert_eq!(
        pointers(of(
            json!({"recipe": "chip", "containers": 1, "cast_on": day, "charges": charged})
        )),
        ["/plan/charges/0/grant"]
    );
    other_tray(&app, "old", "15", "100");
    app.post("/v1/materials/old/retire", json!({})).expect(200);
    let retired = app.post("/v1/what-ifs", asked(json!({"container": ["old"]})));
    assert_eq!(retired.expect(409).problem(), "retired");
}
