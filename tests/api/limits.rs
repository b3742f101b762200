//! What a request may bring, how long it may take, and how often one may ask; beyond it, it is told why.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use heeltap::http::Role;
use serde_json::json;

use crate::support::browser::Browser;
use crate::support::{Answer, Heeltap, TestApp, TestDatabase, send};

const HEADER: &str = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on";

/// What is refused: its kind, and what is said.
#[track_caller]
fn check(answer: Answer, status: u16, kind: &str, said: &str) {
    let answer = answer.expect(status);
    assert_eq!(answer.problem(), kind);
    assert!(answer.detail().contains(said), "{}", answer.detail());
}

#[test]
fn a_body_beyond_its_length_is_refused_announced_or_not() {
    let app = TestApp::with(|settings| {
        settings.limits.json_bytes = 1_024;
        settings.limits.file_bytes = 2_048;
    });
    let long = json!({"code": "a", "name": "x".repeat(1_024)});
    check(
        app.post("/v1/grants", long.clone()),
        413,
        "too-large",
        "1024 bytes",
    );
    let in_parts = app
        .request("POST", "/v1/grants")
        .header("Content-Type", "application/json");
    let unannounced = reqwest::blocking::Body::new(std::io::Cursor::new(long.to_string()));
    check(
        send(in_parts.body(unannounced)),
        413,
        "too-large",
        "1024 bytes",
    );
    let file = format!("{HEADER}\n{}", ",".repeat(2_048));
    let refused = app.post_text("/v1/purchase-imports", "text/csv", &file);
    check(refused, 413, "too-large", "2048 bytes");
    let form = Browser::open(&app).send("/sign-in", &[("token", &"x".repeat(2_048))]);
    assert_eq!(form.status, 413);
    // What fits is taken.
    app.post("/v1/grants", json!({"code": "a", "name": "x"}))
        .expect(201);
}

#[test]
fn a_head_beyond_its_length_is_refused() {
    let app = TestApp::with(|settings| {
        settings.limits.target_bytes = 1_024;
        settings.limits.head_bytes = 2_048;
    });
    let long = format!("/v1/grants?cursor={}", "1".repeat(1_024));
    check(app.get(&long), 414, "address-too-long", "1024 bytes");
    let request = app
        .request("GET", "/v1/grants")
        .header("X-Long", "x".repeat(2_048));
    check(send(request), 431, "headers-too-long", "2048 bytes");
    let request = app
        .request("GET", "/v1/grants")
        .header("X-Long", "x".repeat(1_024));
    send(request).expect(200);
}

#[test]
fn json_beyond_its_depth_is_refused_before_it_is_built() {
    let app = TestApp::with(|settings| settings.limits.json_depth = 4);
    let deep = format!("{{\"code\": {}", "[".repeat(100_000));
    let refused = app.post_text("/v1/grants", "application/json", &deep);
    check(
        refused,
        400,
        "malformed",
        "deeper than 4 arrays and objects, at byte 12",
    );
}

#[test]
fn a_page_beyond_its_rows_is_refused() {
    let app = TestApp::with(|settings| settings.limits.page_rows = 2);
    for code in ["a", "b", "c"] {
        app.post("/v1/grants", json!({"code": code, "name": code}))
            .expect(201);
    }
    check(
        app.get("/v1/grants?limit=3"),
        400,
        "bad-query",
        "limit 3 is out of range: 1 to 2",
    );
    let page = app.get("/v1/grants").expect(200).json();
    assert_eq!(page["items"].as_array().map(Vec::len), Some(2));
    let casts = app.get("/v1/casts?limit=3");
    check(casts, 400, "bad-query", "limit 3 is out of range: 1 to 2");
}

#[test]
fn a_file_beyond_its_rows_or_cells_is_refused() {
    let app = TestApp::with(|settings| {
        settings.csv.rows_max = 2;
        settings.csv.field_chars_max = 40;
    });
    let row = "O,1,S,2026-02-20,2026-03-02,base,L,1,1,g,1.00,EUR,,";
    let post = |file: &str| app.post_text("/v1/purchase-imports", "text/csv", file);
    let rows = format!("{HEADER}\n{row}\n{row}\n{row}\n");
    check(
        post(&rows),
        422,
        "import-rejected",
        "more than the limit of 2 rows",
    );
    let cell = format!("{HEADER}\n{}\n", row.replace("base", &"b".repeat(41)));
    check(post(&cell), 422, "import-rejected", "40 characters");
    let rates =
        "currency,rate_on,rate\nUSD,2026-03-02,0.9\nGBP,2026-03-02,1.1\nNOK,2026-03-02,0.09\n";
    let rates = app.post_text("/v1/exchange-rates/imports", "text/csv", rates);
    check(
        rates,
        422,
        "import-rejected",
        "more than the limit of 2 rows",
    );
    let browser = Browser::signed_in(&app);
    let dropped = browser.drop_file("rows.csv", &rows, &[]);
    let shown = browser.get(&dropped.location);
    assert!(
        shown.text.contains("more than the limit of 2 rows"),
        "{}",
        shown.text
    );
}

/// What is answered to somebody who begins a request and does not go on, and how long it took.
fn unfinished(app: &TestApp, begun: &str) -> (String, Duration) {
    let mut stream = TcpStream::connect(app.address).expect("a connection");
    stream
        .set_read_timeout(Some(Duration::from_secs(20)))
        .expect("a limit");
    let started = Instant::now();
    stream.write_all(begun.as_bytes()).expect("a beginning");
    let mut answer = String::new();
    // To the end: the connection must be closed too.
    stream
        .read_to_string(&mut answer)
        .expect("an answer and an end");
    (answer, started.elapsed())
}

#[test]
fn whoever_sends_slowly_is_cut_off() {
    let app = TestApp::with(|settings| settings.limits.body_wait = Duration::from_millis(300));
    let (answer, took) = unfinished(&app, "GET /v1/grants HTTP/1.1\r\nHost: lab");
    assert!(answer.starts_with("HTTP/1.1 408 "), "{answer}");
    // The tests' services wait five seconds for a head.
    assert!(
        took >= Duration::from_secs(4) && took < Duration::from_secs(20),
        "{took:?}"
    );
    let head = format!(
        "POST /v1/grants HTTP/1.1\r\nHost: lab\r\nAuthorization: Bearer {}\r\nContent-Type: application/json\r\n\
         Content-Length: 40\r\n\r\n{{\"code\": ",
        app.token()
    );
    let (answer, took) = unfinished(&app, &head);
    assert!(answer.starts_with("HTTP/1.1 408 "), "{answer}");
    assert!(answer.contains("urn:heeltap:problem:too-slow"), "{answer}");
    assert!(
        took >= Duration::from_millis(300) && took < Duration::from_secs(10),
        "{took:?}"
    );
    // Others are served meanwhile and afterwards.
    app.get("/v1/grants").expect(200);
}

/// How many of `asked` are refused, each with its wait.
fn refused(asked: usize, mut ask: impl FnMut() -> Answer) -> usize {
    let answers = (0..asked)
        .map(|_| ask())
        .filter(|answer| answer.status == 429);
    answers
        .map(|answer| {
            assert_eq!(answer.problem(), "too-many-requests");
            let wait_s: u64 = answer.header("retry-after").parse().expect("seconds");
            assert!((1..=60).contains(&wait_s), "{wait_s}");
        })
        .count()
}

#[test]
fn a_token_that_asks_too_often_is_told_when_to_ask_again() {
    let app = TestApp::with(|settings| settings.limits.token_per_s = 2);
    let other = app.role(Role::Reader);
    assert!(refused(30, || app.get("/v1/grants")) > 0);
    // Another token has a rate of its own, and whoever waits is answered.
    other.get("/v1/grants").expect(200);
    std::thread::sleep(Duration::from_millis(1_100));
    app.get("/v1/grants").expect(200);
}

#[test]
fn an_address_that_asks_too_often_is_told_when_to_ask_again() {
    let app = TestApp::with(|settings| settings.limits.address_per_s = 3);
    let nobody = app.nobody();
    assert!(
        refused(60, || nobody.get("/v1/grants")) > 0,
        "guesses of a token count"
    );
    assert!(refused(60, || nobody.get("/no/such/place")) > 0);
}

#[test]
fn whoever_guesses_to_sign_in_is_not_answered_for_a_while() {
    let app = TestApp::with(|settings| settings.limits.sign_ins_per_min = 3);
    let browser = Browser::open(&app);
    let tried = |token: &str| browser.send("/sign-in", &[("token", token), ("next", "/")]);
    for _ in 0..3 {
        assert_eq!(tried("ht_0000").status, 422);
    }
    // Then not even what is right.
    let answer = tried(app.token());
    assert_eq!(answer.status, 429);
    assert!(answer.headers.contains_key("retry-after"));
    assert!(
        answer.text.contains("too many attempts to sign in"),
        "{}",
        answer.text
    );
    // The API is not shut by it.
    app.get("/v1/grants").expect(200);
}

/// What a process holds in memory, and has held at most, in MB.
fn memory_mb(process: &Heeltap) -> (u64, u64) {
    let status = std::fs::read_to_string(format!("/proc/{}/status", process.id())).expect("Linux");
    let value = |name: &str| {
        let line = status.lines().find_map(|line| line.strip_prefix(name));
        let kb = line.and_then(|line| line.split_whitespace().next());
        kb.and_then(|kb| kb.parse::<u64>().ok()).expect("a number") / 1_024
    };
    (value("VmRSS:"), value("VmHWM:"))
}

/// Sends a file of a gigabyte in chunks, as long as it is taken; what was answered.
fn gigabyte(process: &Heeltap, path: &str, headers: &str, begins: &str) -> String {
    let mut stream = TcpStream::connect(process.address).expect("a connection");
    stream
        .set_read_timeout(Some(Duration::from_secs(60)))
        .expect("a limit");
    write!(
        stream,
        "POST {path} HTTP/1.1\r\nHost: lab\r\n{headers}Transfer-Encoding: chunked\r\n\r\n"
    )
    .expect("a head");
    write!(stream, "{:x}\r\n{begins}\r\n", begins.len()).expect("a beginning");
    let row = "O-1,1,S,2026-02-20,2026-03-02,base,L,1,1,g,1.00,EUR,,\n";
    let mb: String = row.repeat(1_048_576 / row.len());
    let mut sent = 0;
    while sent < 1_024 && write!(stream, "{:x}\r\n{mb}\r\n", mb.len()).is_ok() {
        sent += 1;
    }
    let mut answer = [0; 12];
    let read = stream.read(&mut answer).unwrap_or(0);
    String::from_utf8_lossy(&answer[..read]).into_owned()
}

#[test]
fn a_file_of_a_gigabyte_does_not_fill_the_memory() {
    let database = TestDatabase::new();
    let process = Heeltap::serve(&database);
    let token = process.token.clone().expect("the first token");
    let headers = format!("Authorization: Bearer {token}\r\nContent-Type: text/csv\r\n");
    let (before, _) = memory_mb(&process);
    let mut after = Vec::new();
    for _ in 0..3 {
        let answer = gigabyte(&process, "/v1/purchase-imports", &headers, HEADER);
        // Whoever goes on to send when the answer is there may lose it with the connection.
        assert!(answer == "HTTP/1.1 413" || answer.is_empty(), "{answer}");
        after.push(memory_mb(&process));
    }
    // The limit of 50 MB, in a buffer that grows by doubling, and never twice.
    let (_, peak) = after[2];
    assert!(peak < before + 160, "{before} MB before, then {after:?}");
    assert!(after[2].1 <= after[0].1 + 16, "it grows: {after:?}");
}
