//! `heeltap import`: what it prints, what it writes, and how it ends.

use std::process::Output;

use heeltap::app::{self, Outside};
use heeltap::catalogue::{MaterialBody, entry_create};
use serde_json::json;
use tempfile::TempDir;

use crate::support::{TestApp, TestDatabase, heeltap};

const HEADER: &str = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on";
const BASE: &str = "O-1,1,North,2026-01-20,2026-02-03,base,B1,2,1.1,kg,100.00,EUR,10.00,";

/// A database with one material, and a folder for files.
struct Desk {
    database: TestDatabase,
    folder: TempDir,
}

impl Desk {
    fn new() -> Self {
        let database = TestDatabase::new();
        let service =
            app::open(&TestApp::settings(&database), Outside::default()).expect("a service");
        let body = json!({"code": "base", "name": "Base", "kind": "elastomer_base", "unit": "g"});
        let body: MaterialBody = serde_json::from_value(body).expect("a material");
        let made = service.as_actor("test", |tx| entry_create(tx, body).map(|_| ()));
        made.expect("a material");
        let folder = TempDir::new().expect("a folder");
        Self { database, folder }
    }

    fn import(&self, rows: &[&str], flags: &[&str]) -> Output {
        let path = self.folder.path().join("purchases.csv");
        std::fs::write(&path, format!("{HEADER}\n{}\n", rows.join("\n"))).expect("a file");
        let path = path.display().to_string();
        let arguments = [&["import", path.as_str()], flags].concat();
        heeltap(Some(&self.database), &arguments)
    }
}

#[track_caller]
fn ends(output: &Output, code: i32, out: &str, err: &str) {
    let (said, told) = (
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    assert_eq!(output.status.code(), Some(code), "{said}{told}");
    assert_eq!(said, out);
    assert!(told.contains(err), "{told}");
    assert!(
        !told.contains("importing"),
        "no bar where there is no terminal: {told}"
    );
}

#[test]
fn a_file_is_shown_imported_and_known_again() {
    let desk = Desk::new();
    let rows = [BASE, "O-1,2,North,2026-01-20,,base,,1,5,kg,40.00,EUR,,"];
    ends(
        &desk.import(&rows, &["--dry-run"]),
        0,
        "2 rows: 1 created, 1 ordered, 0 already_imported, 0 error; 1 lots would be created\n",
        "",
    );
    ends(
        &desk.import(&rows, &[]),
        0,
        "2 rows: 1 created, 1 ordered, 0 already_imported, 0 error; 1 lots created\n",
        "",
    );
    ends(
        &desk.import(&rows, &[]),
        0,
        "2 rows: 0 created, 0 ordered, 2 already_imported, 0 error; 0 lots created\n",
        "",
    );
}

#[test]
fn bad_rows_are_printed_and_nothing_is_written() {
    let desk = Desk::new();
    let rows = [
        BASE,
        "O-1,2,North,2026-01-20,2026-02-03,base,B2,x,5,kg,40.00,EUR,,",
    ];
    for (flags, says) in [
        (&[][..], "1 of 2 rows are in error, so nothing was written"),
        (
            &["--dry-run"][..],
            "1 of 2 rows are in error: nothing would be written",
        ),
    ] {
        let output = desk.import(&rows, flags);
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(
            said.starts_with("line 3, column packs: value x: "),
            "{said}"
        );
        ends(&output, 1, &said, says);
    }
    let semicolons = rows[0].replace(',', ";");
    let output = desk.import(&[&semicolons], &["--delimiter", "semicolon"]);
    ends(&output, 1, "", "send that");
}

#[test]
fn flags_say_how_the_file_is_written() {
    let desk = Desk::new();
    let path = desk.folder.path().join("european.csv");
    let text = format!("{HEADER}\n{BASE}\n")
        .replace(',', ";")
        .replace(".00", ",00")
        .replace("1.1", "1,1");
    std::fs::write(&path, text).expect("a file");
    let path = path.display().to_string();
    let arguments = [
        "import",
        &path,
        "--delimiter",
        "semicolon",
        "--decimal",
        "comma",
    ];
    let output = heeltap(Some(&desk.database), &arguments);
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let both = [BASE, &BASE.replace("O-1,1", "O-1,2")].map(|row| row.replace("O-1", "O-2"));
    let both = [both[0].as_str(), both[1].as_str()];
    assert_eq!(desk.import(&both, &[]).status.code(), Some(1));
    assert!(
        desk.import(&both, &["--confirm-repeated-freight"])
            .status
            .success()
    );
}

#[test]
fn a_wrong_call_ends_with_2_and_a_missing_file_with_1() {
    let desk = Desk::new();
    let wrong = desk.import(&[BASE], &["--delimiter", "pipe"]);
    ends(&wrong, 2, "", "write comma, semicolon or tab");
    ends(&heeltap(Some(&desk.database), &["import"]), 2, "", "<FILE>");
    let missing = heeltap(Some(&desk.database), &["import", "/no/such/file.csv"]);
    ends(&missing, 1, "", "/no/such/file.csv cannot be read");
}
