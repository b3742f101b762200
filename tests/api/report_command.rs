//! `heeltap report`: the same bytes as the service gives, in a file of its own.

use std::process::Output;

use serde_json::json;
use tempfile::TempDir;

use crate::support::lab::stocked;
use crate::support::{TestApp, heeltap};

#[track_caller]
fn said(output: &Output, code: i32) -> (String, String) {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let (out, err) = (text(&output.stdout), text(&output.stderr));
    assert_eq!(output.status.code(), Some(code), "{out}{err}");
    (out, err)
}

#[test]
fn a_report_is_written_as_the_service_gives_it() {
    let app = TestApp::start();
    stocked(&app);
    let folder = TempDir::new().expect("a folder");
    let run = |arguments: &[&str]| heeltap(Some(&app.database), &[&["report"], arguments].concat());
    let file = |name: &str| folder.path().join(name).display().to_string();
    for (name, by) in [
        ("replica-cost", "recipe"),
        ("waste", "month"),
        ("stock-value", "lot"),
        ("residue", "cup"),
        ("charges", "grant"),
    ] {
        let (csv, json) = (file(&format!("{name}.csv")), file(&format!("{name}.out")));
        let common = [name, "--group-by", by, "--to", "2026-02-28"];
        let (out, err) = said(&run(&[&common[..], &["--out", &csv]].concat()), 0);
        assert!(
            out.contains(&format!("{name} by {by}, to 2026-02-28")) && err.is_empty(),
            "{out}{err}"
        );
        said(
            &run(&[&common[..], &["--out", &json, "--format", "json"]].concat()),
            0,
        );
        for (path, format) in [(&csv, "csv"), (&json, "json")] {
            let served = app.get(&format!(
                "/v1/reports/{name}?group_by={by}&to=2026-02-28&format={format}"
            ));
            let written = std::fs::read_to_string(path).expect("a file");
            assert_eq!(written, served.expect(200).text, "{name} {format}");
        }
        let (out, _) = said(&run(&common), 0);
        assert_eq!(
            out.trim_end(),
            std::fs::read_to_string(&json).expect("a file")
        );
    }
    let sheet = file("waste.xlsx");
    said(&run(&["waste", "--out", &sheet]), 0);
    assert!(
        std::fs::read(&sheet)
            .expect("a file")
            .starts_with(b"PK\x03\x04")
    );
    let (_, err) = said(&run(&["waste", "--out", &sheet]), 1);
    assert!(err.contains("waste.xlsx"), "{err}");
    app.post("/v1/periods", json!({"last_day": "2026-02-28"}))
        .expect(201);
    let closed = file("closed.json");
    said(
        &run(&["stock-value", "--to", "2026-02-28", "--out", &closed]),
        0,
    );
    let served = app
        .get("/v1/reports/stock-value?to=2026-02-28")
        .expect(200)
        .text;
    assert_eq!(std::fs::read_to_string(&closed).expect("a file"), served);
}

#[test]
fn a_wrong_call_says_what_would_be_right() {
    let app = TestApp::start();
    let run = |arguments: &[&str]| heeltap(Some(&app.database), &[&["report"], arguments].concat());
    for (arguments, told) in [
        (
            &["cost"][..],
            "replica-cost, waste, stock-value, residue, charges",
        ),
        (
            &["waste", "--group-by", "day"],
            "grant, material, month, recipe, cast",
        ),
        (&["waste", "--format", "pdf"], "json, csv, xlsx"),
        (&["waste", "--format", "xlsx"], "--out"),
        (&["waste", "--from", "2026-3-1"], "is not a day"),
    ] {
        let (_, err) = said(&run(arguments), 2);
        assert!(err.contains(told), "{err}");
    }
}
