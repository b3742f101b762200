//! Reports over HTTP.

use heeltap::http::Role;
use serde_json::json;

use crate::support::TestApp;

use crate::support::books::{Cast, cast, entry};

const ADDRESS: &str = "/v1/reports/replica-cost";

/// Two casts in March, one of them shared and charged to a grant whose code and name a spreadsheet would take for a
/// formula, and one cast still in its tray.
fn lab() -> TestApp {
    let app = TestApp::start();
    app.service
        .db()
        .write(|conn| {
            let recipe_id = entry(conn, "recipe", "R-1", "Chip");
            let larvae = entry(conn, "grant", "G-1", "Larvae, \"settling\"");
            let formula = entry(conn, "grant", "-2", "=1+2");
            let first = Cast {
                code: "C-1",
                recipe_id,
                poured_on: "2026-03-01",
                demolded: Some(("2026-03-02", 18, 2)),
                charges: &[(larvae, 75_000_000), (formula, 25_000_000)],
                costs: &[
                    (Some(larvae), "chip", 9_000_000),
                    (Some(formula), "chip", 3_000_000),
                    (Some(larvae), "residue", 3_004_000),
                    (Some(formula), "residue", 1_001_000),
                ],
            };
            cast(conn, &first);
            let second = Cast {
                code: "C-2",
                charges: &[],
                costs: &[(None, "trim", 500_000)],
                demolded: Some(("2026-03-02", 0, 20)),
                ..first
            };
            cast(conn, &second);
            let third = Cast {
                code: "C-3",
                demolded: None,
                ..second
            };
            cast(conn, &third);
            Ok(())
        })
        .unwrap();
    app
}

#[test]
fn the_report_by_grant_adds_up_and_names_its_frame() {
    let app = lab();
    let report = app.get(ADDRESS).expect(200).json();
    assert_eq!(report["from"], json!(null));
    assert_eq!(report["to"], json!(null));
    assert_eq!(report["group_by"], "grant");
    assert_eq!(report["currency"], "EUR");
    let rule = report["rounding"].as_str().unwrap();
    assert!(
        rule.starts_with("amounts are rounded to 0.01 EUR"),
        "{rule}"
    );
    let keys: Vec<&str> = report["rows"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row["key"].as_str().unwrap())
        .collect();
    assert_eq!(keys, ["-2", "G-1", "unassigned"]);
    let larvae = &report["rows"][1];
    assert_eq!(larvae["casts"], 1);
    assert_eq!(larvae["chips"], "15");
    assert_eq!(larvae["good_chips"], "13.5");
    assert_eq!(larvae["yield"], "0.9");
    assert_eq!(larvae["total"], "12");
    assert_eq!(larvae["exact_total"], "12.004");
    assert_eq!(larvae["per_good_chip"], "0.889185");
    assert_eq!(larvae["residue_share"], "0.25025");
    assert_eq!(larvae["trim_share"], "0");
    assert_eq!(
        larvae["components"][0],
        json!({"component": "chip", "amount": "9"})
    );
    let scrapped = &report["rows"][2];
    assert_eq!(scrapped["scrapped_casts"], 1);
    assert_eq!(scrapped.get("per_good_chip"), None);
    // 16.505 is printed as 16.50: half to even. 4.001 and 12.004 give up their thousandths.
    let total = &report["total"];
    assert_eq!(total["key"], "total");
    assert_eq!(total["casts"], 2);
    assert_eq!(total["total"], "16.5");
    assert_eq!(total["exact_total"], "16.505");
    assert_eq!(total["per_good_chip"], "0.916944");
    assert_eq!(report["work_in_progress"]["casts"], 1);
    assert_eq!(report["work_in_progress"]["total"], "0.5");
}

#[test]
fn other_groupings_and_periods() {
    let app = lab();
    let keys = |query: &str| -> Vec<String> {
        let report = app.get(&format!("{ADDRESS}?{query}")).expect(200).json();
        let rows = report["rows"].as_array().unwrap().clone();
        let key = |row: &serde_json::Value| row["key"].as_str().unwrap().to_owned();
        rows.iter().map(key).collect()
    };
    assert_eq!(keys("group_by=month"), ["2026-03"]);
    assert_eq!(keys("group_by=recipe"), ["R-1"]);
    assert_eq!(keys("group_by=cast&format=json"), ["C-1", "C-2"]);
    assert_eq!(
        keys("group_by=cast&from=2026-03-02&to=2026-03-02"),
        ["C-1", "C-2"]
    );
    assert_eq!(keys("from=2026-03-03"), Vec::<String>::new());
    assert_eq!(keys("to=2026-03-01"), Vec::<String>::new());
    let before = app.get(&format!("{ADDRESS}?to=2026-03-01")).json();
    assert_eq!(before["to"], "2026-03-01");
    assert_eq!(before["work_in_progress"]["casts"], 3);
}

#[test]
fn the_csv_is_a_file_with_text_as_text_and_numbers_as_numbers() {
    let app = lab();
    let answer = app
        .get(&format!(
            "{ADDRESS}?format=csv&from=2026-03-01&to=2026-03-31"
        ))
        .expect(200);
    assert_eq!(answer.header("content-type"), "text/csv; charset=utf-8");
    assert_eq!(
        answer.header("content-disposition"),
        "attachment; filename=\"replica-cost-by-grant-2026-03-01-to-2026-03-31.csv\""
    );
    assert!(
        answer
            .text
            .contains("\r\n\"row\",\"'-2\",\"'=1+2\",1,0,5,4.5,0.9,3.00,0.00,0.00,1.00,"),
        "{}",
        answer.text
    );
    let mut reader = csv::Reader::from_reader(answer.text.as_bytes());
    let header = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let cell = |row: usize, name: &str| {
        let at = header.iter().position(|column| column == name);
        rows[row].get(at.unwrap()).unwrap().to_owned()
    };
    let lines: Vec<String> = (0..rows.len()).map(|row| cell(row, "line")).collect();
    assert_eq!(lines, ["row", "row", "row", "total", "work_in_progress"]);
    assert_eq!(cell(1, "name"), "Larvae, \"settling\"");
    assert_eq!(cell(1, "exact_total"), "12.004");
    assert_eq!(cell(2, "per_good_chip"), "");
    assert_eq!(cell(3, "total"), "16.50");
    assert_eq!(cell(4, "casts"), "1");
    assert_eq!(cell(4, "total"), "0.50");
    for row in 0..rows.len() {
        assert_eq!(cell(row, "from"), "2026-03-01");
        assert_eq!(cell(row, "to"), "2026-03-31");
        assert_eq!(cell(row, "currency"), "EUR");
        assert_eq!(cell(row, "group_by"), "grant");
        assert!(cell(row, "rounding").starts_with("amounts are rounded to 0.01 EUR"));
    }
    let cents = |text: String| text.replace('.', "").parse::<i64>().unwrap();
    for name in ["chip", "trim", "residue", "total"] {
        let sum: i64 = (0..3).map(|row| cents(cell(row, name))).sum();
        assert_eq!(sum, cents(cell(3, name)), "{name}");
    }
}

#[test]
fn the_same_books_give_the_same_bytes() {
    let app = lab();
    for query in ["", "?format=csv", "?group_by=cast&format=csv"] {
        let path = format!("{ADDRESS}{query}");
        assert_eq!(app.get(&path).expect(200).text, app.get(&path).text);
    }
}

#[test]
fn a_query_that_is_not_understood_is_told_what_is_right() {
    let app = TestApp::start();
    for (query, told) in [
        (
            "from=2026-3-1",
            "from `2026-3-1` is not a day: write YYYY-MM-DD",
        ),
        ("to=2026-02-29", "to `2026-02-29` is not a day"),
        ("to=", "to `` is not a day"),
        (
            "from=2026-03-02&to=2026-03-01",
            "from 2026-03-02 is after to 2026-03-01",
        ),
        (
            "group_by=supplier",
            "group_by `supplier` is not one of grant, month, recipe, material, cast",
        ),
        ("format=pdf", "format `pdf` is not one of json, csv"),
        ("groupby=month", "groupby"),
    ] {
        let answer = app.get(&format!("{ADDRESS}?{query}")).expect(400);
        assert_eq!(answer.problem(), "bad-query", "{query}");
        let detail = answer.json()["detail"].as_str().unwrap().to_owned();
        assert!(detail.contains(told), "{query}: {detail}");
    }
}

#[test]
fn whoever_works_here_may_read_it() {
    let app = TestApp::start();
    for role in [Role::Reader, Role::Bench, Role::Buyer] {
        app.role(role).get(ADDRESS).expect(200);
    }
}
