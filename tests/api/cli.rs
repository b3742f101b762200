//! The command line: what it answers, and with which exit code.

use std::process::Output;

use crate::support::{Client, Heeltap, TestDatabase, heeltap};

fn out(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

#[track_caller]
fn fails(output: &Output, code: i32, says: &str) {
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{err}");
    assert!(err.contains(says), "{err}");
    assert_eq!(out(output), "");
}

#[test]
fn a_wrong_call_ends_with_2_and_says_what_would_be_right() {
    fails(&heeltap(None, &[]), 2, "Usage: heeltap");
    fails(
        &heeltap(None, &["bake"]),
        2,
        "unrecognized subcommand 'bake'",
    );
    fails(
        &heeltap(None, &["serve", "--db-connections", "0"]),
        2,
        "1..=1000",
    );
    fails(
        &heeltap(None, &["serve", "--database-url", "mysql://x/y"]),
        2,
        "sqlite:///path/to/file",
    );
    fails(
        &heeltap(None, &["serve", "--time-zone", "Mars/Base"]),
        2,
        "`Mars/Base` is no time zone",
    );
    fails(
        &heeltap(None, &["serve", "--base-currency", "XAU"]),
        2,
        "means gold",
    );
    fails(
        &heeltap(None, &["serve", "--log", "a=b=c"]),
        2,
        "HEELTAP_LOG: `a=b=c` is not understood",
    );
    fails(
        &heeltap(None, &["token", "create", "--name", "a", "--role", "king"]),
        2,
        "`king` is no role",
    );
}

#[test]
fn a_failure_ends_with_1_and_names_its_cause() {
    let database = TestDatabase::new();
    heeltap(Some(&database), &["token", "list"]);
    let other = heeltap(Some(&database), &["serve", "--base-currency", "USD"]);
    fails(&other, 1, "HEELTAP_BASE_CURRENCY: `USD` differs from `EUR`");
    let missing = heeltap(
        None,
        &[
            "token",
            "list",
            "--database-url",
            "sqlite:///no/such/folder/a.sqlite3",
        ],
    );
    fails(
        &missing,
        1,
        "sqlite:///no/such/folder/a.sqlite3 cannot be opened",
    );
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    let serve = heeltap(
        Some(&database),
        &["token", "create", "--name", "a", "--role", "reader"],
    );
    assert!(serve.status.success());
    let busy = heeltap(Some(&database), &["serve", "--listen", &address]);
    fails(&busy, 1, &format!("cannot listen on `{address}`"));
}

#[test]
fn openapi_prints_the_committed_document() {
    let printed = heeltap(None, &["openapi"]);
    assert!(printed.status.success());
    assert_eq!(out(&printed), include_str!("../../openapi/heeltap.json"));
}

#[test]
fn tokens_are_made_listed_and_revoked_in_the_database_itself() {
    let database = TestDatabase::new();
    let made = heeltap(
        Some(&database),
        &[
            "token",
            "create",
            "--name",
            "door",
            "--role",
            "administrator,bench",
            "--expires-at",
            "2999-01-31T00:00:00Z",
        ],
    );
    assert!(made.status.success());
    let secret = out(&made).trim().to_owned();
    let service = Heeltap::serve(&database);
    assert_eq!(service.token, None, "the database was not empty");
    let client = Client::new(service.address, Some(secret.clone()));
    client.get("/v1/tokens").expect(200);

    let listed = out(&heeltap(Some(&database), &["token", "list"]));
    assert!(
        listed.contains("1\tdoor\tbench,administrator\tuntil 2999-01-31T00:00:00+00:00\n"),
        "{listed}"
    );
    assert!(!listed.contains(&secret));
    assert!(
        heeltap(Some(&database), &["token", "revoke", "1"])
            .status
            .success()
    );
    client.get("/v1/tokens").expect(401);
    fails(
        &heeltap(Some(&database), &["token", "revoke", "9"]),
        1,
        "there is no token \"9\"",
    );
}
