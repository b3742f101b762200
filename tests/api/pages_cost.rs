//! The page of cost: its figures are those of the reports, its files are the API's byte for byte, and what is wrong in its form
//! is told at its field.

use diesel::prelude::*;
use heeltap::base::{Currency, Money, Quantity};
use heeltap::db::AnyConnection;
use heeltap::db::schema::catalogue_entries;
use heeltap::http::Role;
use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::books::{Cast, cast};
use crate::support::browser::Browser;
use crate::support::lab::stocked;

fn id_of(conn: &mut AnyConnection, noun: &str, code: &str) -> i64 {
    catalogue_entries::table
        .filter(catalogue_entries::noun.eq(noun))
        .filter(catalogue_entries::code.eq(code))
        .select(catalogue_entries::id)
        .first(conn)
        .expect("an entry")
}

/// Six casts of one recipe in March and two of another in April, one of them scrapped, one shared by two grants, and one still
/// in its tray.
fn books() -> TestApp {
    let app = TestApp::start();
    stocked(&app);
    let block = json!({"code": "block", "name": "Block", "elastomer": "el", "mold": "mold", "container": "tray",
        "cup": "cup", "chip_thickness_mm": "6", "drain_time_s": "120"});
    app.post("/v1/recipes", block).expect(201);
    let larvae = json!({"code": "G-1", "name": "Larvae & <settling>"});
    app.post("/v1/grants", larvae).expect(201);
    app.service
        .db()
        .write(|conn| {
            let chip = id_of(conn, "recipe", "chip");
            let block = id_of(conn, "recipe", "block");
            let larvae = id_of(conn, "grant", "G-1");
            let algae = id_of(conn, "grant", "grant-b");
            for (code, micro) in [
                ("C-1", 9_000_000),
                ("C-2", 9_600_000),
                ("C-3", 9_100_000),
                ("C-4", 9_300_000),
                ("C-5", 9_204_003),
                ("C-6", 9_907_001),
            ] {
                cast(
                    conn,
                    &Cast {
                        code,
                        recipe_id: chip,
                        poured_on: "2026-03-01",
                        demolded: Some(("2026-03-02", 8, 1)),
                        charges: &[(larvae, 75_000_000), (algae, 25_000_000)],
                        costs: &[
                            (Some(larvae), "chip", micro),
                            (Some(algae), "chip", 3_000_000),
                            (Some(larvae), "residue", 3_004_000),
                            (Some(larvae), "trim", 1_004_000),
                            (Some(algae), "residue", 1_001_000),
                            (Some(algae), "tape", 101_000),
                        ],
                    },
                );
            }
            let plain = Cast {
                code: "C-7",
                recipe_id: block,
                poured_on: "2026-04-01",
                demolded: Some(("2026-04-02", 4, 0)),
                charges: &[(algae, 100_000_000)],
                costs: &[(Some(algae), "chip", 8_000_000)],
            };
            cast(conn, &plain);
            let scrapped = Cast {
                code: "C-8",
                charges: &[],
                demolded: Some(("2026-04-03", 0, 4)),
                costs: &[(None, "chip", 7_000_000)],
                ..plain
            };
            cast(conn, &scrapped);
            let in_tray = Cast {
                code: "C-9",
                demolded: None,
                ..scrapped
            };
            cast(conn, &in_tray);
            Ok(())
        })
        .unwrap();
    app
}

/// The texts of the cells of a table's rows, by the table's caption: head cell first.
fn rows(page: &str, caption: &str) -> Vec<Vec<String>> {
    let from = page
        .find(&format!("<caption>{caption}"))
        .unwrap_or_else(|| panic!("no table {caption}"));
    let table = &page[from..];
    let table = &table[..table.find("</table>").expect("an end")];
    let body = &table[table.find("<tbody>").expect("a body")..];
    let cells = |row: &str| {
        row.split("</t")
            .filter(|part| part.contains("<td>") || part.contains("<th scope=\"row\">"))
            .map(|cell| {
                let text = cell
                    .split("<td>")
                    .last()
                    .and_then(|text| text.split("<th scope=\"row\">").last());
                text.unwrap_or_default().to_owned()
            })
            .collect::<Vec<String>>()
    };
    body.split("<tr>").skip(1).map(cells).collect()
}

fn text(value: &Value) -> &str {
    value
        .as_str()
        .unwrap_or_else(|| panic!("{value} is no text"))
}

/// An amount of the API with two digits.
fn cents(value: &Value) -> String {
    Currency::parse("EUR").unwrap().format(amount(text(value)))
}

fn amount(text: &str) -> Money {
    Money::parse(text).unwrap_or_else(|error| panic!("{text}: {error}"))
}

/// Millionths as a decimal of `places`, half to even; none is below 0.
fn rounded(value: &Value, shift: i64, places: usize) -> String {
    let micro = amount(text(value)).micro() * shift;
    let step = 10_i64.pow(6 - places as u32);
    let (below, twice) = (micro / step, 2 * (micro % step));
    let up = twice > step || (twice == step && below % 2 == 1);
    let steps = below + i64::from(up);
    let per_unit = 10_i64.pow(places as u32);
    format!("{}.{:0places$}", steps / per_unit, steps % per_unit)
}

fn share(value: &Value) -> String {
    match value {
        Value::Null => "\u{2013}".to_owned(),
        value => format!("{} %", rounded(value, 100, 1)),
    }
}

fn per_chip(value: &Value) -> String {
    match value {
        Value::Null => "\u{2013}".to_owned(),
        value => rounded(value, 1, 4),
    }
}

/// Holds a page against the report of the same query.
fn held(app: &TestApp, query: &str) {
    let report = app
        .get(&format!("/v1/reports/replica-cost?{query}"))
        .expect(200)
        .json();
    let seen = Browser::signed_in(app).get(&format!("/cost?{query}"));
    assert_eq!(seen.status, 200, "{}", seen.text);
    let mut expected: Vec<&Value> = report["rows"].as_array().unwrap().iter().collect();
    expected.push(&report["total"]);
    let figures = rows(&seen.text, "Figures by");
    let amounts = rows(&seen.text, "Amounts by component");
    assert_eq!(
        (figures.len(), amounts.len()),
        (expected.len(), expected.len())
    );
    for ((row, shown), parts) in expected.iter().zip(&figures).zip(&amounts) {
        assert_eq!(shown[1], row["casts"].to_string(), "{row}");
        let interval = match &row["planning_interval"] {
            Value::Null => "\u{2013}".to_owned(),
            found => format!(
                "{} to {}",
                per_chip(&found["low"]),
                per_chip(&found["high"])
            ),
        };
        let figures = [
            text(&row["chips"]).to_owned(),
            text(&row["good_chips"]).to_owned(),
            share(&row["yield"]),
            cents(&row["total"]),
            per_chip(&row["per_good_chip"]),
            interval,
            share(&row["residue_share"]),
            share(&row["trim_share"]),
        ];
        assert_eq!(shown[2..], figures, "{row}");
        let components = row["components"].as_array().unwrap();
        let mut printed: Vec<String> = components
            .iter()
            .map(|part| cents(&part["amount"]))
            .collect();
        printed.push(cents(&row["total"]));
        assert_eq!(parts[1..], printed, "{row}");
    }
    // The table adds up as printed, downwards and across.
    let number = |text: &str| amount(text).micro();
    for column in 1..amounts[0].len() {
        let (total, rows) = amounts.split_last().unwrap();
        let sum: i64 = rows.iter().map(|row| number(&row[column])).sum();
        assert_eq!(sum, number(&total[column]), "column {column}");
    }
    for row in &amounts {
        let (total, parts) = row[1..].split_last().unwrap();
        let sum: i64 = parts.iter().map(|part| number(part)).sum();
        assert_eq!(sum, number(total));
    }
    let rule = text(&report["rounding"]);
    assert!(seen.text.contains(&format!("Rounding: {rule}.")));
    let progress = cents(&report["work_in_progress"]["total"]);
    let casts = &report["work_in_progress"]["casts"];
    let words = format!(
        "{casts} cast is poured and not demoulded by the last of these days, in no row above: {progress} EUR"
    );
    assert!(casts == 0 || seen.text.contains(&words), "{words}");
}

#[test]
fn the_page_says_what_the_report_of_the_same_query_says() {
    let app = books();
    for query in [
        "",
        "group_by=grant",
        "group_by=recipe",
        "from=2026-03-01&to=2026-03-31&group_by=grant",
        "from=2026-04-01&group_by=recipe",
    ] {
        held(&app, query);
    }
}

#[test]
fn the_months_are_those_of_the_report_by_month() {
    let app = books();
    let report = app
        .get("/v1/reports/replica-cost?group_by=month")
        .expect(200)
        .json();
    let page = Browser::signed_in(&app).get("/cost").text;
    let table = &page[page.find("aria-label=\"Months\"").expect("a table")..];
    for (row, name) in report["rows"]
        .as_array()
        .unwrap()
        .iter()
        .zip(["Mar 2026", "Apr 2026"])
    {
        let interval = match &row["planning_interval"] {
            Value::Null => "\u{2013}".to_owned(),
            found => format!(
                "{} to {}",
                per_chip(&found["low"]),
                per_chip(&found["high"])
            ),
        };
        let line = format!(
            "<th scope=\"row\">{name}</th><td>{}</td><td>{}</td><td>{}</td><td>{interval}</td><td>{}</td>",
            row["casts"],
            text(&row["good_chips"]),
            per_chip(&row["per_good_chip"]),
            share(&row["residue_share"]),
        );
        assert!(table.contains(&line), "{line}");
    }
    assert!(page.contains("The whisker is the 95 % interval"));
    assert!(page.contains("aria-label=\"Cost of one good chip by month, Mar 2026 to Apr 2026\""));
}

#[test]
fn the_bars_show_the_residue_and_rows_without_a_good_chip_are_told() {
    let app = books();
    let page = Browser::signed_in(&app).get("/cost").text;
    let report = app.get("/v1/reports/replica-cost").expect(200).json();
    for row in report["rows"].as_array().unwrap() {
        if row["residue_share"] != json!("0") {
            assert!(page.contains(&format!(">residue {}</text>", share(&row["residue_share"]))));
        }
    }
    assert!(page.contains("Without a good chip, and so without a cost of one: charged to nobody."));
    // A name with an angle in it is text, wherever it stands.
    assert!(page.contains("Larvae &#38; &#60;settling&#62;") && !page.contains("<settling>"));
}

#[test]
fn the_files_are_those_of_the_api_byte_for_byte() {
    let app = books();
    let browser = Browser::as_role(&app, Role::Reader);
    for query in [
        "group_by=grant",
        "from=2026-03-01&to=2026-03-31&group_by=recipe",
    ] {
        let page = browser.get(&format!("/cost?{query}")).text;
        for (ending, kind) in [
            ("csv", "text/csv; charset=utf-8"),
            (
                "xlsx",
                "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
            ),
        ] {
            let address = format!("/cost/report.{ending}?{query}");
            let link = address.replace('&', "&#38;");
            assert!(page.contains(&format!("href=\"{link}\"")), "{link}");
            let got = browser.http.get(browser.address(&address)).send().unwrap();
            assert_eq!(got.status().as_u16(), 200);
            assert_eq!(got.headers()["content-type"], kind);
            assert_eq!(got.headers()["cache-control"], "no-store");
            let name = got.headers()["content-disposition"].clone();
            let found = got.bytes().unwrap();
            let asked = app.request(
                "GET",
                &format!("/v1/reports/replica-cost?{query}&format={ending}"),
            );
            let api = asked.send().unwrap();
            assert_eq!(api.headers()["content-disposition"], name);
            let api = api.bytes().unwrap();
            assert!(!api.is_empty() && api == found, "{address}");
        }
    }
    let nobody = Browser::open(&app).get("/cost/report.csv?group_by=grant");
    assert_eq!(
        (nobody.status, nobody.location.as_str()),
        (303, "/sign-in?next=%2Fcost%2Freport.csv%3Fgroup_by%3Dgrant")
    );
    let wrong = browser.get("/cost/report.csv?group_by=moon");
    assert_eq!(wrong.status, 400);
    assert!(
        wrong
            .text
            .contains("group_by `moon` is not one of grant, month, recipe, material, cast"),
        "{}",
        wrong.text
    );
}

#[test]
fn the_report_of_closed_days_is_the_one_that_was_kept() {
    let app = TestApp::start();
    stocked(&app);
    for (poured_on, demolded_on) in [("2026-02-10", Some("2026-02-12")), ("2026-02-20", None)] {
        let booking = json!({"recipe": "chip", "containers": 1, "cast_on": "2026-03-01",
            "charges": [{"grant": "grant-a", "share": "100"}]});
        let cast = app.post("/v1/casts", booking).expect(201).json();
        let path = format!("/v1/casts/{}", text(&cast["code"]));
        let batch = &cast["plan"]["batches"][0];
        let pour = json!({"poured_on": poured_on, "batches": [
            {"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"]}]});
        app.post(&format!("{path}/pour"), pour).expect(200);
        if let Some(on) = demolded_on {
            let body = json!({"demolded_on": on, "good": 3, "rejects": [{"reason": "bubble", "count": 1}]});
            app.post(&format!("{path}/demold"), body).expect(200);
        }
    }
    app.post("/v1/periods", json!({"last_day": "2026-02-28"}))
        .expect(201);
    let query = "to=2026-02-28".to_owned();
    held(&app, &query);
    let page = Browser::signed_in(&app).get(&format!("/cost?{query}")).text;
    assert!(page.contains("These days are closed: this is the report that was kept then."));
    let page = Browser::signed_in(&app).get("/cost").text;
    assert!(!page.contains("These days are closed"));
}

#[test]
fn what_is_wrong_in_the_form_is_told_at_its_field_and_stays() {
    let app = books();
    let seen = Browser::signed_in(&app).get("/cost?from=1+March&to=2026-02-30&group_by=%22moon");
    assert_eq!(seen.status, 400);
    for part in [
        "value=\"1 March\" placeholder=\"YYYY-MM-DD\" autocomplete=\"off\" aria-invalid=\"true\" aria-describedby=\"from-fault\"",
        "id=\"from-fault\">from `1 March` is not a day: write YYYY-MM-DD, such as 2026-03-31</p>",
        "value=\"2026-02-30\"",
        "id=\"to-fault\">to `2026-02-30` is not a day",
        "id=\"group-fault\">group_by `&#34;moon` is not one of grant, recipe</p>",
        "<option value=\"&#34;moon\" selected>",
    ] {
        assert!(seen.text.contains(part), "{part}: {}", seen.text);
    }
    assert!(
        !seen.text.contains("<caption>"),
        "no report of other days is shown"
    );
    let seen = Browser::signed_in(&app).get("/cost?from=2026-03-02&to=2026-03-01");
    assert!(seen.text.contains("from 2026-03-02 is after to 2026-03-01"));
    let seen = Browser::signed_in(&app).get("/cost?recipe=nothing");
    assert_eq!(seen.status, 400);
    assert!(
        seen.text
            .contains("id=\"recipe-fault\">recipe `nothing` is not one that is in use")
    );
    assert!(
        seen.text.contains("<caption>Figures by grant"),
        "the report is right all the same"
    );
}

#[test]
fn the_curves_are_those_of_the_residue_report_and_of_the_plan() {
    let app = TestApp::start();
    stocked(&app);
    let page = Browser::signed_in(&app).get("/cost?recipe=chip").text;
    assert!(page.contains("No cast was demoulded on these days."));
    let report = app.get("/v1/reports/residue").expect(200).json();
    let drains = report["drain_time"].as_array().unwrap();
    let drain = drains
        .iter()
        .find(|drain| drain["recipe"] == "chip")
        .unwrap();
    let own = format!(
        "<th scope=\"row\">{} s, the recipe's own</th>",
        text(&drain["drain_time_s"])
    );
    assert!(
        page.contains(&own) || page.contains(&own.replace('\'', "&#39;")),
        "{own}: {page}"
    );
    let lines = drain["rows"].as_array().unwrap();
    assert_eq!(lines.len(), 10);
    for line in lines {
        let grams = |value: &Value| {
            let quantity = Quantity::parse(text(value)).unwrap();
            heeltap::pages::amount(quantity, "g")
        };
        let shown = format!(
            "<th scope=\"row\">{} s</th><td>{}</td><td>{}</td><td>{} EUR</td>",
            text(&line["drain_time_s"]),
            grams(&line["residue_g"]),
            grams(&line["saved_in_all_g"]),
            per_chip(&line["saved_value_in_all"]),
        );
        assert!(page.contains(&shown), "{shown}: {page}");
    }
    // A cast of two trays costs what its plan says, and nothing was written for it.
    let plan = json!({"recipe": "chip", "containers": 2, "cast_on": app.service.today()});
    let plan = app.post("/v1/cast-plans", plan).expect(200).json();
    assert_eq!(plan["shortages"], json!([]));
    let line = format!(
        "<th scope=\"row\">2</th><td>{}</td><td>{}</td>",
        plan["batches"].as_array().unwrap().len(),
        per_chip(&plan["cost"]["per_good_chip"])
    );
    assert!(page.contains(&line), "{line}: {page}");
    let casts = app.get("/v1/casts").expect(200).json();
    assert_eq!(casts["items"], json!([]));
}
