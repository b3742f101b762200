//! Planned against actual cost of a cast: what makes the difference, by component, and what rejected chips cost.

use serde_json::{Value, json};

use crate::support::lab::{catalogue, micro, receive, stocked, verified};
use crate::support::{TestApp, send};

fn book(app: &TestApp, containers: u32) -> Value {
    let body = json!({"recipe": "chip", "containers": containers, "cast_on": "2026-03-10"});
    app.post("/v1/casts", body).expect(201).json()
}

fn path(cast: &Value) -> String {
    format!("/v1/casts/{}", cast["code"].as_str().expect("a code"))
}

/// The batches exactly as the plan has them.
fn as_planned(cast: &Value) -> Vec<Value> {
    let planned = cast["plan"]["batches"].as_array().expect("batches");
    let weighed = |batch: &Value| {
        json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"],
            "residue_g": batch["residue_g"]})
    };
    planned.iter().map(weighed).collect()
}

fn pour(app: &TestApp, cast: &Value, batches: &[Value], more: Value) {
    let mut body = json!({"poured_on": "2026-03-02", "batches": batches});
    for (name, value) in more.as_object().expect("an object") {
        body[name] = value.clone();
    }
    app.post(&format!("{}/pour", path(cast)), body).expect(200);
}

fn demold(app: &TestApp, cast: &Value, good: u32, rejected: u32) {
    let rejects = match rejected {
        0 => json!([]),
        count => json!([{"reason": "bubbles", "count": count}]),
    };
    let body = json!({"demolded_on": "2026-03-02", "good": good, "rejects": rejects});
    app.post(&format!("{}/demold", path(cast)), body)
        .expect(200);
}

fn undo(app: &TestApp, cast: &Value) {
    app.post(&format!("{}/undo", path(cast)), json!({}))
        .expect(200);
}

fn cost(app: &TestApp, cast: &Value) -> Value {
    app.get(&format!("{}/cost", path(cast))).expect(200).json()
}

/// A component's row.
fn row<'a>(cost: &'a Value, component: &str) -> &'a Value {
    let rows = cost["variance"].as_array().expect("a variance");
    let found = rows.iter().find(|row| row["component"] == component);
    found.unwrap_or_else(|| panic!("no row of {component}"))
}

fn why<'a>(cost: &'a Value, component: &str) -> &'a str {
    row(cost, component)["why"].as_str().expect("a sentence")
}

/// Holds every row against the components and the totals, and against its own figures.
fn adds_up(cost: &Value) {
    let names = |rows: &Value| -> Vec<Value> {
        let rows = rows.as_array().expect("rows").iter();
        rows.map(|row| row["component"].clone()).collect()
    };
    assert_eq!(names(&cost["variance"]), names(&cost["components"]));
    let rows = cost["variance"].as_array().expect("rows");
    for (at, row) in rows.iter().enumerate() {
        assert_eq!(row["planned"], cost["planned"]["components"][at]["amount"]);
        assert_eq!(row["actual"], cost["components"][at]["amount"]);
        let difference = micro(&row["actual"]) - micro(&row["planned"]);
        assert_eq!(micro(&row["difference"]), difference, "{row}");
        assert!(!row["why"].as_str().expect("a sentence").is_empty());
        let Some(by_quantity) = row.get("by_quantity") else {
            assert!(row.get("by_price").is_none(), "{row}");
            continue;
        };
        let by_price = micro(&row["by_price"]);
        assert_eq!(micro(by_quantity) + by_price, difference, "{row}");
        // By hand: (actual - planned quantity) x planned / planned quantity, at most half a millionth off.
        let planned_quantity = i128::from(micro(&row["planned_quantity"]));
        let more = i128::from(micro(&row["actual_quantity"])) - planned_quantity;
        let exact = more * i128::from(micro(&row["planned"]));
        let off = exact - i128::from(micro(by_quantity)) * planned_quantity;
        assert!(2 * off.abs() <= planned_quantity, "{row}");
    }
    let sum: i64 = rows.iter().map(|row| micro(&row["difference"])).sum();
    assert_eq!(sum, micro(&cost["difference"]));
    let totals = micro(&cost["total"]) - micro(&cost["planned"]["total"]);
    assert_eq!(sum, totals);
}

#[test]
fn a_pour_as_planned_differs_by_price_alone() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, 2);
    pour(&app, &cast, &as_planned(&cast), json!({}));
    let exact = cost(&app, &cast);
    adds_up(&exact);
    for row in exact["variance"].as_array().expect("rows") {
        // No more than what is rounded when value is issued pack by pack.
        assert!(micro(&row["difference"]).abs() <= 5, "{row}");
        if row["component"] != "sundries" {
            assert_eq!(row["by_quantity"], "0", "{row}");
            assert_eq!(row["planned_quantity"], row["actual_quantity"]);
            assert!(row["why"].as_str().unwrap().contains("as planned"), "{row}");
        }
    }
    let units: Vec<&Value> = ["residue", "tape", "container", "cup", "release", "mold"]
        .map(|component| &row(&exact, component)["unit"])
        .to_vec();
    assert_eq!(units, ["g", "m", "each", "each", "each", "each"]);
    assert_eq!(
        row(&exact, "residue")["planned_quantity"],
        cast["plan"]["batches"][0]["residue_g"]
    );
    assert_eq!(
        why(&exact, "container"),
        "2 trays were poured, as planned",
        "the same trays at the same price"
    );
    assert_eq!(
        why(&exact, "sundries"),
        "sundries came to 0.05 EUR, as planned"
    );
    verified(&app);
}

#[test]
fn another_lot_is_a_difference_by_price_and_named() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, 2);
    // Twice as dear as the lot that was promised.
    let dear = receive(&app, "base", "B2", Some("K1"), &["500"], "100");
    let pack = app.get(&format!("/v1/lots/{dear}")).expect(200).json()["packs"][0]["id"].clone();
    let mut batches = as_planned(&cast);
    batches[0]["base_pack_id"] = pack;
    pour(&app, &cast, &batches, json!({}));
    let dearer = cost(&app, &cast);
    adds_up(&dearer);
    let base_g = micro(&cast["plan"]["batches"][0]["base_g"]);
    // 0.2 instead of 0.1 a gram.
    let off = micro(&dearer["difference"]) - base_g / 10;
    assert!(off.abs() <= 10, "{}", dearer["difference"]);
    for component in ["chip", "trim", "overfill", "residue"] {
        let row = row(&dearer, component);
        assert_eq!(row["by_quantity"], "0");
        assert_eq!(row["by_price"], row["difference"]);
        let by = row["by_price"].as_str().unwrap();
        let words =
            format!(", as planned; taken from lots A1, B2 for A1, B1 planned makes {by} EUR more");
        assert!(why(&dearer, component).ends_with(&words), "{row}");
    }
    verified(&app);
}

#[test]
fn more_residue_is_explained_in_grams_and_money() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, 2);
    let mut batches = as_planned(&cast);
    let planned = micro(&batches[0]["residue_g"]);
    batches[0]["residue_g"] = json!("9.5");
    pour(&app, &cast, &batches, json!({}));
    let more = cost(&app, &cast);
    adds_up(&more);
    let residue = row(&more, "residue");
    assert_eq!(residue["actual_quantity"], "9.5");
    assert_eq!(micro(&residue["planned_quantity"]), planned);
    // What stays in the cup at the price of the mix, 0.1 x 10/11 + 0.2 x 1/11 a gram or so.
    let by_quantity = micro(&residue["by_quantity"]);
    let price = by_quantity as f64 / (9_500_000 - planned) as f64;
    assert!((price - 1.2 / 11.0).abs() < 0.001, "{price}");
    let two = |micro: i64| format!("{}", (micro as f64 / 1e4).round() / 100.0);
    let planned = two(planned);
    let off = two(9_500_000 - micro(&json!(planned)));
    let words = format!(
        "{off} g more stayed in the cups than planned (9.5 g for {planned} g), which makes "
    );
    assert!(why(&more, "residue").starts_with(&words), "{residue}");
    // What stays in the cup is missing elsewhere, first from the overfill.
    assert!(
        why(&more, "overfill").contains(" g less went beyond what the trays need than planned")
    );
    assert!(micro(&row(&more, "overfill")["by_quantity"]) < 0);
    assert_eq!(row(&more, "cup")["difference"], "0");
    verified(&app);
}

#[test]
fn a_discarded_batch_is_named_in_the_overfill() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, 1);
    let mut batches =
        vec![json!({"base_g": "40", "curing_agent_g": "4", "discarded": "stirred air into it"})];
    batches.extend(as_planned(&cast));
    pour(&app, &cast, &batches, json!({}));
    let twice = cost(&app, &cast);
    adds_up(&twice);
    let overfill = row(&twice, "overfill");
    let grams = micro(&overfill["actual_quantity"]) - micro(&overfill["planned_quantity"]);
    assert_eq!(grams, 44_000_000);
    let sentence = why(&twice, "overfill");
    assert!(
        sentence.contains("; discarded in it: batch 1 with 44 g: stirred air into it"),
        "{sentence}"
    );
    assert!(
        sentence.starts_with("44 g more went beyond what the trays need"),
        "{sentence}"
    );
    assert_eq!(
        why(&twice, "cup"),
        "1 cup more was used than planned (2 for 1), which makes 0.25 EUR more"
    );
    verified(&app);
}

#[test]
fn fewer_trays_are_a_difference_by_quantity() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, 2);
    pour(
        &app,
        &cast,
        &as_planned(&cast),
        json!({"containers_poured": 1}),
    );
    let fewer = cost(&app, &cast);
    adds_up(&fewer);
    assert_eq!(
        why(&fewer, "container"),
        "1 tray fewer was poured than planned (1 for 2), which makes 0.5 EUR less"
    );
    // The mould's 2 x 120 over 2 x 50 casts.
    assert_eq!(
        why(&fewer, "mold"),
        "1 tray fewer was cast from the mould than planned (1 for 2), which makes 2.4 EUR less"
    );
    let chip = row(&fewer, "chip");
    assert_eq!(
        2 * micro(&chip["actual_quantity"]),
        micro(&chip["planned_quantity"])
    );
    assert!(why(&fewer, "chip").contains(" g less became chips than planned ("));
    // What was mixed for the other tray is beyond what the one needs.
    assert!(micro(&row(&fewer, "overfill")["by_quantity"]) > 0);
    assert_eq!(row(&fewer, "tape")["difference"], "0");
    let release = row(&fewer, "release");
    assert_eq!(
        (&release["planned_quantity"], &release["actual_quantity"]),
        (&json!("2"), &json!("1"))
    );
    verified(&app);
}

#[test]
fn without_a_coat_there_is_no_vial() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, 2);
    pour(
        &app,
        &cast,
        &as_planned(&cast),
        json!({"coats_renewed": false}),
    );
    let bare = cost(&app, &cast);
    adds_up(&bare);
    let release = row(&bare, "release");
    assert_eq!(release["actual"], "0");
    // A vial of 3 over two copies of five casts each: 0.3 a cast.
    assert_eq!(
        (&release["by_quantity"], &release["by_price"]),
        (&json!("0"), &json!("-0.6"))
    );
    assert_eq!(
        why(&bare, "release"),
        "2 trays were cast on the coats, as planned; 0 of 1 vials planned were used; \
         what the coats were worth makes 0.6 EUR less"
    );
    verified(&app);
}

#[test]
fn rejected_chips_have_their_share_and_scrap_is_all_of_it() {
    let app = TestApp::start();
    stocked(&app);
    let (good, bad) = (book(&app, 2), book(&app, 1));
    for cast in [&good, &bad] {
        pour(&app, cast, &as_planned(cast), json!({}));
        let poured = cost(&app, cast);
        adds_up(&poured);
        assert_eq!((poured.get("rejects"), poured.get("scrap")), (None, None));
        assert!(poured.get("per_good_chip").is_none());
    }
    demold(&app, &good, 7, 1);
    let counted = cost(&app, &good);
    adds_up(&counted);
    assert_eq!(counted["scrap"], false);
    let total = micro(&counted["total"]);
    let (eighth, rest) = (total / 8, total % 8);
    let up = i64::from(rest > 4 || (rest == 4 && eighth % 2 == 1));
    assert_eq!(micro(&counted["rejects"]["amount"]), eighth + up);
    assert_eq!(
        (&counted["rejects"]["chips"], &counted["rejects"]["share"]),
        (&json!(1), &json!("0.125"))
    );
    demold(&app, &bad, 0, 4);
    let scrap = cost(&app, &bad);
    adds_up(&scrap);
    assert_eq!(
        (&scrap["scrap"], &scrap["good_chips"]),
        (&json!(true), &json!("0"))
    );
    assert!(scrap.get("per_good_chip").is_none());
    assert_eq!(
        scrap["rejects"],
        json!({"chips": 4, "share": "1", "amount": scrap["total"]})
    );
    // Nothing counted at all is scrap too.
    undo(&app, &bad);
    demold(&app, &bad, 0, 0);
    let uncounted = cost(&app, &bad);
    assert_eq!(uncounted["scrap"], true);
    assert_eq!(
        uncounted["rejects"],
        json!({"chips": 0, "amount": uncounted["total"]})
    );
    verified(&app);
}

#[test]
fn what_is_undone_is_planned_again() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, 2);
    let before = cost(&app, &cast);
    assert_eq!(before["basis"], "planned");
    for name in ["difference", "variance", "rejects", "scrap"] {
        assert!(before.get(name).is_none(), "{name}");
    }
    let mut batches = as_planned(&cast);
    batches[0]["residue_g"] = json!("8");
    pour(&app, &cast, &batches, json!({}));
    let poured = cost(&app, &cast);
    assert_eq!(poured["planned"], before["planned"]);
    demold(&app, &cast, 6, 2);
    undo(&app, &cast);
    assert_eq!(cost(&app, &cast), poured);
    undo(&app, &cast);
    assert_eq!(cost(&app, &cast), before);
    verified(&app);
}

#[test]
fn who_pays_changes_nothing_of_it() {
    let app = TestApp::start();
    stocked(&app);
    let cast = book(&app, 2);
    let mut batches = as_planned(&cast);
    batches[0]["residue_g"] = json!("7.77");
    pour(&app, &cast, &batches, json!({}));
    demold(&app, &cast, 5, 3);
    let before = cost(&app, &cast);
    let charges = json!([{"grant": "grant-a", "share": "33.333333"}, {"grant": "grant-b", "share": "66.666667"}]);
    let etag = app.get(&path(&cast)).expect(200).header("etag").to_owned();
    let request = app.request("POST", &format!("{}/charges", path(&cast)));
    let body = json!({"charges": charges, "reason": "shared"});
    send(request.header("If-Match", etag).json(&body)).expect(200);
    let after = cost(&app, &cast);
    adds_up(&after);
    assert_eq!(after, before);
    verified(&app);
}

#[test]
fn what_the_plan_had_no_price_for_is_only_a_difference() {
    let app = TestApp::start();
    catalogue(&app);
    let body =
        json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-10", "allow_short": true});
    let cast = app.post("/v1/casts", body).expect(201).json();
    receive(&app, "base", "B1", Some("K1"), &["1000"], "100");
    receive(&app, "agent", "A1", Some("K1"), &["100"], "20");
    for material in ["vial", "tray", "cup", "stirrer"] {
        receive(&app, material, "X1", None, &["9"], "9");
    }
    receive(&app, "tape", "P1", None, &["33"], "9.90");
    pour(&app, &cast, &as_planned(&cast), json!({}));
    let short = cost(&app, &cast);
    adds_up(&short);
    for component in ["chip", "residue", "tape", "container", "cup", "release"] {
        let row = row(&short, component);
        assert!(row.get("by_quantity").is_none(), "{row}");
        assert_eq!(row["planned"], "0");
    }
    assert_eq!(
        why(&short, "container"),
        "2 trays were poured, as planned; the plan found too little stock to put a price on it: 2 EUR more"
    );
    assert_eq!(
        why(&short, "sundries"),
        "sundries came to 1 EUR for 0 EUR planned, 1 EUR more"
    );
    verified(&app);
}
