//! The residue report: prediction against measurement, and what longer draining would save. What is expected is worked
//! out here from the films in the pours, by the formulas written down beside it.

use heeltap::http::Role;
use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::{micro, receive, stocked};

const ADDRESS: &str = "/v1/reports/residue";
/// The 0.90 quantile of the standard normal distribution.
const Z_90: f64 = 1.281_551_565_544_6;

/// Books a cast and pours it today with these residues, each from 49.5 g; returns its address and its cost of residue.
fn pour(app: &TestApp, charges: Value, residues: &[Option<&str>]) -> (String, i64) {
    let booking =
        json!({"recipe": "chip", "containers": 1, "cast_on": "2026-03-20", "charges": charges});
    let cast = app.post("/v1/casts", booking).expect(201).json();
    let path = format!("/v1/casts/{}", cast["code"].as_str().unwrap());
    let batch = |residue_g: &Option<&str>| {
        let mut batch = json!({"base_g": "45", "curing_agent_g": "4.5"});
        if let Some(residue_g) = residue_g {
            batch["residue_g"] = json!(residue_g);
        }
        batch
    };
    let today = app.service.today();
    let body =
        json!({"poured_on": today, "batches": residues.iter().map(batch).collect::<Vec<_>>()});
    app.post(&format!("{path}/pour"), body).expect(200);
    let cost = app.get(&format!("{path}/cost")).expect(200).json();
    let residue = micro(&cost["components"][3]["amount"]);
    assert_eq!(cost["components"][3]["component"], "residue");
    (path, residue)
}

fn number(value: &Value) -> f64 {
    value
        .as_str()
        .unwrap_or_else(|| panic!("{value}"))
        .parse()
        .unwrap()
}

#[track_caller]
fn near(found: &Value, expected: f64) {
    assert!(
        (number(found) - expected).abs() < 2e-6,
        "{found} is not {expected}"
    );
}

/// The conjugate update by hand: k ~ N(1, 0.5^2), a weighing k x film +- 0.15 x film.
struct Factor {
    mean: f64,
    variance: f64,
}

impl Factor {
    fn prior() -> Self {
        Self {
            mean: 1.0,
            variance: 0.25,
        }
    }

    /// Expected and planned before the weighing, and z; then learns it.
    fn weigh(&mut self, film: f64, weighed: f64) -> (f64, f64, f64) {
        let mut noise = 0.15_f64 * 0.15;
        let spread = (self.variance + noise).sqrt();
        let z = (weighed / film - self.mean) / spread;
        let told = (
            self.mean * film,
            film * (self.mean + Z_90 * spread).max(0.0),
            z,
        );
        if z.abs() > 3.5 {
            noise *= (z / 3.5).powi(2);
        }
        let precision = 1.0 / self.variance + 1.0 / noise;
        self.mean = (self.mean / self.variance + weighed / film / noise) / precision;
        self.variance = 1.0 / precision;
        told
    }
}

/// Four casts on two days in two months: one shared by two grants, one undone, one not weighed.
struct Lab {
    app: TestApp,
    /// The residue's cost of the first, the third and the fourth cast.
    values: [i64; 3],
}

fn lab() -> Lab {
    let app = TestApp::start();
    stocked(&app);
    let shared = json!([{"grant": "grant-a", "share": "60"}, {"grant": "grant-b", "share": "40"}]);
    let first = pour(&app, shared, &[Some("4.6"), Some("4.4"), None]);
    let undone = pour(&app, json!([]), &[Some("44")]);
    app.post(
        &format!("{}/undo", undone.0),
        json!({"reason": "another cup"}),
    )
    .expect(200);
    app.clock.set("2026-04-02T09:00:00Z".parse().unwrap());
    let third = pour(&app, json!([]), &[Some("30")]);
    let fourth = pour(&app, json!([{"grant": "grant-b", "share": "100"}]), &[None]);
    Lab {
        app,
        values: [first.1, third.1, fourth.1],
    }
}

#[test]
fn each_weighing_stands_against_what_was_known_before_it() {
    let Lab { app, values } = lab();
    let report = app.get(ADDRESS).expect(200).json();
    let weighings = report["weighings"].as_array().unwrap();
    let listed: Vec<(&str, &Value, &str)> = weighings
        .iter()
        .map(|row| {
            (
                row["cast"].as_str().unwrap(),
                &row["batch"],
                row["on"].as_str().unwrap(),
            )
        })
        .collect();
    assert_eq!(
        listed,
        [
            ("C-00003", &json!(1), "2026-04-02"),
            ("C-00001", &json!(2), "2026-03-02"),
            ("C-00001", &json!(1), "2026-03-02")
        ],
        "newest first, and nothing of the pour that was undone"
    );
    let pour = app.get("/v1/casts/C-00001").expect(200).json();
    let film = number(&pour["pour"]["batches"][0]["film_g"]);
    let mut factor = Factor::prior();
    let (mut expected, mut planned, mut off, mut within) = (0.0, 0.0, 0.0, 0);
    for (row, weighed) in weighings.iter().rev().zip([4.6, 4.4, 30.0]) {
        let (mean, quantile, z) = factor.weigh(film, weighed);
        near(&row["film_g"], film);
        near(&row["expected_g"], mean);
        near(&row["planned_g"], quantile);
        near(&row["z"], z);
        assert_eq!(row["outlier"], z.abs() > 3.5);
        assert_eq!(
            (&row["mixed_g"], &row["cup"]),
            (&json!("49.5"), &json!("cup"))
        );
        expected += number(&row["expected_g"]);
        planned += number(&row["planned_g"]);
        off += (weighed - mean).abs();
        within += u32::from(weighed <= quantile);
    }
    assert_eq!(report["weighings_limit"], 500);
    assert_eq!(report["rows"].as_array().unwrap().len(), 1);
    let row = &report["rows"][0];
    assert_eq!(
        (&row["key"], &row["cup"], &row["elastomer"]),
        (&json!("cup/el"), &json!("cup"), &json!("el"))
    );
    assert_eq!(
        (&row["casts"], &row["cups_weighed"], &row["outliers"]),
        (&json!(2), &json!(3), &json!(1))
    );
    assert_eq!(
        (&row["mixed_g"], &row["weighed_g"]),
        (&json!("148.5"), &json!("39"))
    );
    near(&row["film_g"], 3.0 * film);
    near(&row["expected_g"], expected);
    near(&row["planned_g"], planned);
    near(&row["weighed_over_expected"], 39.0 / expected);
    near(&row["mean_absolute_error_g"], off / 3.0);
    near(&row["within_planned_share"], f64::from(within) / 3.0);
    near(&row["residue_share"], 39.0 / 148.5);
    near(&row["k_mean"], factor.mean);
    near(&row["k_sd"], factor.variance.sqrt());
    assert_eq!(row["observations"], 3);
    assert_eq!(micro(&row["residue_value"]), values[0] + values[1]);
    let unweighed = &report["without_weighing"];
    assert_eq!(unweighed["casts"], 1);
    assert_eq!(micro(&unweighed["residue_value"]), values[2]);
    assert_eq!(
        (&report["group_by"], &report["currency"], &report["from"]),
        (&json!("cup"), &json!("EUR"), &Value::Null)
    );
    // A period changes which weighings are told, not what was known before them.
    let april = app
        .get(&format!("{ADDRESS}?from=2026-04-01"))
        .expect(200)
        .json();
    assert_eq!(april["weighings"], json!([weighings[0].clone()]));
    assert_eq!(april["rows"][0]["observations"], 3);
    assert_eq!(april["rows"][0]["expected_g"], weighings[0]["expected_g"]);
}

#[test]
fn a_cast_belongs_to_each_of_its_grants_and_the_masses_are_shared() {
    let Lab { app, values } = lab();
    let by = |by: &str| {
        app.get(&format!("{ADDRESS}?group_by={by}"))
            .expect(200)
            .json()
    };
    let grants = by("grant");
    let rows = grants["rows"].as_array().unwrap();
    let told: Vec<(&str, &Value, &Value, &Value)> = rows
        .iter()
        .map(|row| {
            (
                row["key"].as_str().unwrap(),
                &row["cups_weighed"],
                &row["mixed_g"],
                &row["weighed_g"],
            )
        })
        .collect();
    // 99 g mixed and 9 g weighed, shared 60 : 40.
    assert_eq!(
        told,
        [
            ("grant-a", &json!(2), &json!("59.4"), &json!("5.4")),
            ("grant-b", &json!(2), &json!("39.6"), &json!("3.6")),
            ("unassigned", &json!(1), &json!("49.5"), &json!("30"))
        ]
    );
    let value = |row: &Value| micro(&row["residue_value"]);
    let of_grants = value(&rows[0]) + value(&rows[1]);
    assert_eq!((of_grants, value(&rows[2])), (values[0], values[1]));
    assert!((value(&rows[0]) as f64 - 0.6 * values[0] as f64).abs() <= 1.0);
    let keys = |report: &Value| -> Vec<String> {
        let rows = report["rows"].as_array().unwrap().iter();
        rows.map(|row| row["key"].as_str().unwrap().to_owned())
            .collect()
    };
    assert_eq!(keys(&by("month")), ["2026-03", "2026-04"]);
    assert_eq!(keys(&by("recipe")), ["chip"]);
    assert_eq!(keys(&by("cast")), ["C-00001", "C-00003"]);
    for other in ["month", "recipe", "cast", "cup"] {
        assert_eq!(by(other)["total"], grants["total"], "{other}");
    }
}

/// What stays in a straight round cup of 70 mm, at 1.03 g/mL and 3.5 Pa s, by the film's formulas: on the wall
/// 2 pi R (2/3) H h(H), on the floor, a vertical disc, each chord 2/3 of its own length's end value, summed up here.
fn stays(needed_g: f64, factor: f64, drain_time_s: f64) -> f64 {
    let radius = 0.035_f64;
    let scale = 3.5 / (1030.0 * 9.806_65 * drain_time_s);
    let steps = 20_000;
    let floor: f64 = (0..steps)
        .map(|at| {
            let width = 2.0 * radius / f64::from(steps);
            let offset = -radius + (f64::from(at) + 0.5) * width;
            let chord = 2.0 * (radius * radius - offset * offset).sqrt();
            2.0 / 3.0 * (scale * chord).sqrt() * chord * width
        })
        .sum();
    let mut mixed_g = needed_g;
    for _ in 0..200 {
        let height = mixed_g / 1.03e6 / (std::f64::consts::PI * radius * radius);
        let wall = std::f64::consts::TAU * radius * height * 2.0 / 3.0 * (scale * height).sqrt();
        mixed_g = needed_g + factor * (wall + floor) * 1.03e6;
    }
    mixed_g - needed_g
}

#[test]
fn longer_draining_saves_grams_and_money() {
    let Lab { app, .. } = lab();
    let report = app.get(ADDRESS).expect(200).json();
    let drain = &report["drain_time"][0];
    assert_eq!(
        (&drain["recipe"], &drain["cup"], &drain["elastomer"]),
        (&json!("chip"), &json!("cup"), &json!("el"))
    );
    assert_eq!(
        (
            &drain["drain_time_s"],
            &drain["casts"],
            &drain["cups_per_cast"],
            &drain["needed_basis"]
        ),
        (&json!("60"), &json!(3), &json!("1"), &json!("casts"))
    );
    let plan = app.get("/v1/casts/C-00001").expect(200).json()["plan"].clone();
    assert_eq!(drain["needed_g"], plan["batches"][0]["needed_g"]);
    let (needed, factor) = (number(&drain["needed_g"]), number(&drain["k_mean"]));
    let residue = |minutes: f64| stays(needed, factor, 60.0 + 60.0 * minutes);
    let close = |found: &Value, expected: f64| {
        assert!(
            (number(found) - expected).abs() < 2e-5,
            "{found} is not {expected}"
        );
    };
    close(&drain["residue_g"], residue(0.0));
    // All of the base cost 0.1 a gram and all of the curing agent 0.2, so that a gram of the mix is worth 1.2 / 11.
    assert_eq!(drain["mix_value_per_g"], "0.109091");
    assert_eq!(
        drain["price_basis"],
        json!({"base": "on_hand", "curing_agent": "on_hand"})
    );
    let rows = drain["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 10);
    let (mut saved, mut value) = (0, 0);
    for (minute, row) in (1..).map(f64::from).zip(rows) {
        close(&row["drain_time_s"], 60.0 + 60.0 * minute);
        close(&row["residue_g"], residue(minute));
        close(&row["saved_g"], residue(minute - 1.0) - residue(minute));
        close(&row["saved_in_all_g"], residue(0.0) - residue(minute));
        saved += micro(&row["saved_g"]);
        value += micro(&row["saved_value"]);
        assert_eq!(micro(&row["saved_in_all_g"]), saved);
        assert_eq!(micro(&row["saved_value_in_all"]), value);
        let worth = number(&row["saved_g"]) * 1.2 / 11.0;
        assert!((number(&row["saved_value"]) - worth).abs() < 1.5e-6);
    }
}

#[test]
fn a_recipe_without_casts_or_stock_says_what_it_stands_on() {
    let app = TestApp::start();
    stocked(&app);
    for (code, kind) in [("base-2", "elastomer_base"), ("agent-2", "curing_agent")] {
        app.post(
            "/v1/materials",
            json!({"code": code, "name": code, "kind": kind, "unit": "g"}),
        )
        .expect(201);
    }
    app.post("/v1/elastomers", json!({"code": "other", "name": "Other", "base": "base-2", "curing_agent": "agent-2",
        "ratio": {"base": "1", "curing_agent": "1"}, "ratio_tolerance": "0.02", "density_g_per_ml": "1.03",
        "viscosity_pa_s": "3.5", "pot_life_min": "10", "cure": [{"temperature_c": "25", "minutes": "300"}]})).expect(201);
    app.post(
        "/v1/recipes",
        json!({"code": "another", "name": "Another", "elastomer": "other", "mold": "mold",
        "container": "tray", "cup": "cup", "chip_thickness_mm": "4", "drain_time_s": "60"}),
    )
    .expect(201);
    let drain = || {
        let report = app.get(ADDRESS).expect(200).json();
        assert_eq!(report["rows"], json!([]));
        report["drain_time"][0].clone()
    };
    let poor = drain();
    assert_eq!(
        (&poor["recipe"], &poor["needed_basis"], &poor["k_mean"]),
        (&json!("another"), &json!("one_tray"), &json!("1"))
    );
    assert_eq!(
        poor["price_basis"],
        json!({"base": "unknown", "curing_agent": "unknown"})
    );
    assert!(poor.get("mix_value_per_g").is_none() && poor["rows"][0].get("saved_value").is_none());
    assert!(
        poor["note"]
            .as_str()
            .unwrap()
            .contains("pot life of 10 min")
    );
    receive(&app, "base-2", "B-old", None, &["100"], "50");
    receive(&app, "agent-2", "A-1", None, &["40", "10"], "15");
    // All lots count at what is left of their value; of what is gone, the lot received last.
    let pack = app.get("/v1/lots?material=base-2").json()["items"][0]["packs"][0]["id"].clone();
    app.post(
        &format!("/v1/packs/{pack}/write-off"),
        json!({"reason": "thick"}),
    )
    .expect(200);
    let priced = drain();
    assert_eq!(
        priced["price_basis"],
        json!({"base": "last_received", "curing_agent": "on_hand"})
    );
    // Half a gram at 0.5 and half a gram at 0.3.
    assert_eq!(priced["mix_value_per_g"], "0.4");
}

#[test]
fn the_csv_holds_the_rows_and_their_frame() {
    let Lab { app, values } = lab();
    let answer = app
        .get(&format!(
            "{ADDRESS}?format=csv&group_by=grant&from=2026-03-01&to=2026-04-30"
        ))
        .expect(200);
    assert_eq!(answer.header("content-type"), "text/csv; charset=utf-8");
    assert_eq!(
        answer.header("content-disposition"),
        "attachment; filename=\"residue-by-grant-2026-03-01-to-2026-04-30.csv\""
    );
    let mut reader = csv::Reader::from_reader(answer.text.as_bytes());
    let header = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let cell = |row: usize, name: &str| {
        let at = header.iter().position(|column| column == name);
        rows[row].get(at.unwrap()).unwrap().to_owned()
    };
    let column =
        |name: &str| -> Vec<String> { (0..rows.len()).map(|row| cell(row, name)).collect() };
    assert_eq!(
        column("line"),
        ["row", "row", "row", "total", "without_weighing"]
    );
    assert_eq!(column("weighed_g"), ["5.4", "3.6", "30", "39", ""]);
    assert_eq!(column("casts"), ["1", "1", "1", "2", "1"]);
    let value = heeltap::base::Money::from_micro(values[0] + values[1]);
    assert_eq!(cell(3, "residue_value"), value.to_string());
    assert_eq!(
        cell(4, "residue_value"),
        heeltap::base::Money::from_micro(values[2]).to_string()
    );
    for row in 0..rows.len() {
        assert_eq!(
            (cell(row, "from"), cell(row, "group_by")),
            ("2026-03-01".to_owned(), "grant".to_owned())
        );
        assert_eq!(cell(row, "currency"), "EUR");
        assert!(cell(row, "rounding").contains("whole millionths"));
    }
}

#[test]
fn a_query_that_is_not_understood_is_told_what_is_right() {
    let app = TestApp::start();
    for (query, told) in [
        ("from=2026-3-1", "from `2026-3-1` is not a day"),
        (
            "group_by=supplier",
            "group_by `supplier` is not one of cup, recipe, month, grant, cast",
        ),
        ("format=pdf", "format `pdf` is not one of json, csv"),
        ("limit=3", "limit"),
    ] {
        let answer = app.get(&format!("{ADDRESS}?{query}")).expect(400);
        assert_eq!(answer.problem(), "bad-query", "{query}");
        let detail = answer.json()["detail"].as_str().unwrap().to_owned();
        assert!(detail.contains(told), "{query}: {detail}");
    }
    for role in [Role::Reader, Role::Bench, Role::Buyer] {
        let report = app.role(role).get(ADDRESS).expect(200).json();
        assert_eq!(
            (&report["rows"], &report["drain_time"]),
            (&json!([]), &json!([]))
        );
    }
}
