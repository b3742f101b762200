//! `heeltap heads` and `heeltap verify --heads`: what is printed, and what is found by it later.

use std::path::PathBuf;
use std::process::Output;

use heeltap::app::{self, Outside};
use heeltap::http::Service;
use sha2::{Digest, Sha256};
use tempfile::TempDir;

use crate::support::{TestApp, TestDatabase, heeltap, receive};

/// Books, and a folder for what is kept outside them.
struct Desk {
    service: Service,
    database: TestDatabase,
    folder: TempDir,
}

impl Desk {
    fn new() -> Self {
        let database = TestDatabase::new();
        let service = app::open(&TestApp::settings(&database), Outside::default());
        Self {
            service: service.expect("a service"),
            database,
            folder: TempDir::new().expect("a folder"),
        }
    }

    /// What `heeltap heads` prints.
    fn heads(&self) -> String {
        let output = heeltap(Some(&self.database), &["heads"]);
        assert!(output.status.success(), "{output:?}");
        String::from_utf8(output.stdout).expect("text")
    }

    fn kept(&self, text: &str) -> PathBuf {
        let path = self.folder.path().join("kept.csv");
        std::fs::write(&path, text).expect("a file");
        path
    }

    fn verify(&self, text: &str) -> Output {
        let path = self.kept(text).display().to_string();
        heeltap(Some(&self.database), &["verify", "--heads", &path])
    }
}

#[track_caller]
fn ends(output: &Output, code: i32, says: &str, err: &str) {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let (said, told) = (text(&output.stdout), text(&output.stderr));
    assert_eq!(output.status.code(), Some(code), "{said}{told}");
    assert!(said.contains(says), "{said}");
    assert!(told.contains(err), "{told}");
}

#[test]
fn heads_are_printed_with_a_digest_that_a_general_tool_confirms() {
    let desk = Desk::new();
    receive(&desk.service, "base", &["10", "5"], "4");
    receive(&desk.service, "other", &["1"], "2");
    let printed = desk.heads();
    let lines: Vec<&str> = printed.lines().collect();
    assert_eq!(lines.len(), 4, "{printed}");
    assert_eq!(lines[0], "lot,material,lot_code,seq,hash");
    assert!(lines[1].starts_with("1,base,L-1,2,"), "{printed}");
    assert!(lines[2].starts_with("2,other,L-1,1,"), "{printed}");
    let before = &printed[..printed.rfind("digest").expect("a digest")];
    let digest = hex::encode(Sha256::digest(before));
    assert_eq!(lines[3], format!("digest,,,3,{digest}"));
    assert_eq!(desk.heads(), printed, "nothing changed, so nothing changes");
}

#[test]
fn kept_heads_agree_with_grown_books_and_not_with_others() {
    let desk = Desk::new();
    receive(&desk.service, "base", &["10"], "4");
    let printed = desk.heads();
    let digest = &printed[printed.len() - 65..printed.len() - 1];
    receive(&desk.service, "other", &["10"], "4");
    let says = format!("held against the heads of 1 lots, digest {digest}\n");
    ends(&desk.verify(&printed), 0, &says, "");

    let others = Desk::new();
    receive(&others.service, "base", &["10.5"], "4");
    ends(
        &others.verify(&printed),
        1,
        "broken (6) lot 1: movement number 1, which was its head, has another hash",
        "heeltap: 1 thing in the books is broken",
    );
    ends(
        &Desk::new().verify(&printed),
        1,
        "6. the movements of each lot form an unbroken chain that ends in the lot's head: BROKEN 1 times\n\
         7. kept sums of demand and of costs are those of the movements they stand for: holds\n\
         broken (6) lot 1: it is gone, but was L-1 of base",
        "",
    );
}

#[test]
fn a_file_that_is_not_right_is_told_by_its_place() {
    let desk = Desk::new();
    receive(&desk.service, "base", &["10"], "4");
    let printed = desk.heads();
    let bad = printed.replace("L-1,1,", "L-1,one,");
    let name = desk.kept("").display().to_string();
    let says = format!("heeltap: {name}, line 2, column seq: `one` is no whole number\n");
    ends(&desk.verify(&bad), 1, "", &says);
    let altered = printed.replace("base", "bass");
    let says = "line 3, column hash: this is not the digest of the lines above";
    ends(&desk.verify(&altered), 1, "", says);
    let missing = heeltap(
        Some(&desk.database),
        &["verify", "--heads", "/no/such/file.csv"],
    );
    ends(&missing, 1, "", "/no/such/file.csv cannot be read");
}

#[test]
fn a_database_that_is_not_there_is_not_made() {
    let folder = TempDir::new().expect("a folder");
    let path = folder.path().join("mistyped.sqlite3");
    let url = format!("sqlite://{}", path.display());
    for command in ["heads", "verify"] {
        let output = heeltap(None, &[command, "--database-url", &url]);
        ends(&output, 1, "", &format!("{url} does not exist"));
        assert!(!path.exists());
    }
}
