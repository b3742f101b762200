//! Fetching reference rates from a server on this machine. The form of the files is the public one, from memory; all figures
//! are invented.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::time::{Duration, Instant};

use chrono::TimeDelta;
use heeltap::base::Currency;
use heeltap::purchasing::rates_fetch::{RatesAddress, RatesSettings};
use heeltap::purchasing::rates_turn;
use serde_json::{Value, json};

use crate::metrics::metric;
use crate::support::lab::stocked;
use crate::support::mock::{Mock, Say};
use crate::support::{Heeltap, TestApp, TestDatabase, heeltap};

/// A file with the days and their rates.
fn xml(days: &[(&str, &[(&str, &str)])]) -> Say {
    let mut text = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<gesmes:Envelope \
        xmlns:gesmes=\"http://www.gesmes.org/xml/2002-08-01\" xmlns=\"urn:reference:rates\">\n\
        <gesmes:subject>Reference rates</gesmes:subject>\n<Cube>\n"
        .to_owned();
    for (day, rates) in days {
        text += &format!("<Cube time=\"{day}\">\n");
        for (currency, rate) in *rates {
            text += &format!("<Cube currency=\"{currency}\" rate=\"{rate}\"/>\n");
        }
        text += "</Cube>\n";
    }
    Say::Good(text + "</Cube>\n</gesmes:Envelope>\n")
}

const FRIDAY: &str = "2026-02-27";
const RATES: &[(&str, &str)] = &[("USD", "1.25"), ("NOK", "11.4025"), ("ZZZ", "3")];

/// A service that fetches from the mock, in the currency.
fn app_of(base: &str, url: &str, timeout: Duration) -> TestApp {
    let currency = |code: &str| Currency::parse(code).expect("a currency");
    TestApp::with(|settings| {
        settings.base_currency = Some(currency(base));
        settings.rates = Some(RatesSettings {
            address: RatesAddress::parse(url).expect("an address"),
            currency: currency("EUR"),
            timeout,
            interval: Duration::from_secs(6 * 3600),
        });
    })
}

fn app(mock: &Mock) -> TestApp {
    app_of("EUR", &mock.url(), Duration::from_secs(20))
}

/// A figure of the fetch.
fn figure(app: &TestApp, name: &str) -> i64 {
    let text = app.get("/metrics").expect(200).text;
    metric(&text, &format!("heeltap_rates_{name}")).unwrap_or_else(|| panic!("no {name}: {text}"))
}

fn ended(app: &TestApp) -> i64 {
    let text = app.get("/metrics").expect(200).text;
    let failures: i64 = text
        .lines()
        .filter(|line| line.starts_with("heeltap_rates_fetch_failures_total{"))
        .filter_map(|line| line.rsplit_once(' ')?.1.parse::<i64>().ok())
        .sum();
    failures + metric(&text, "heeltap_rates_fetch_successes_total").unwrap_or_default()
}

/// Takes turns until an attempt has ended, well or not.
#[track_caller]
fn attempt(app: &TestApp) {
    let (before, started) = (ended(app), Instant::now());
    loop {
        rates_turn(&app.service).expect("a turn");
        if ended(app) > before {
            return;
        }
        assert!(started.elapsed() < Duration::from_secs(20), "nothing ends");
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// Takes some turns in which nothing is to be asked.
#[track_caller]
fn rests(app: &TestApp, mock: &Mock) {
    let before = mock.heads().len();
    let attempts = figure(app, "fetch_attempts_total");
    for _ in 0..3 {
        rates_turn(&app.service).expect("a turn");
    }
    assert_eq!(mock.heads().len(), before);
    assert_eq!(figure(app, "fetch_attempts_total"), attempts);
}

fn rates(app: &TestApp) -> Vec<String> {
    let list = app.get("/v1/exchange-rates?limit=200").expect(200).json();
    let items = list["items"].as_array().expect("items");
    let text = |item: &Value, name: &str| item[name].as_str().unwrap_or_default().to_owned();
    let names = ["currency", "rate_on", "rate", "quote", "source"];
    items
        .iter()
        .map(|item| names.map(|name| text(item, name)).join(" "))
        .collect()
}

#[test]
fn a_day_is_fetched_as_it_is_quoted_and_not_again_before_the_interval_is_over() {
    let mock = Mock::start(&[xml(&[(FRIDAY, RATES), ("2026-03-03", RATES)])]);
    let app = app(&mock);
    assert_eq!(figure(&app, "fetch_last_success_timestamp_seconds"), 0);
    attempt(&app);
    let expected = [
        "NOK 2026-02-27 11.4025 foreign_per_base fetched: 127.0.0.1",
        "USD 2026-02-27 1.25 foreign_per_base fetched: 127.0.0.1",
    ];
    assert_eq!(rates(&app), expected);
    // 2026-03-02T09:00:00Z and 2026-02-27T00:00:00Z.
    assert_eq!(
        figure(&app, "fetch_last_success_timestamp_seconds"),
        1_772_442_000
    );
    assert_eq!(
        figure(&app, "fetch_last_day_timestamp_seconds"),
        1_772_150_400
    );
    assert_eq!(figure(&app, "fetched_total{outcome=\"entered\"}"), 2);
    // ZZZ on both days, and the day in the future.
    assert_eq!(figure(&app, "fetched_total{outcome=\"passed_over\"}"), 3);
    rests(&app, &mock);
    app.clock.advance(TimeDelta::hours(6));
    attempt(&app);
    assert_eq!(figure(&app, "fetched_total{outcome=\"unchanged\"}"), 2);
    assert_eq!(rates(&app), expected);
    assert_eq!(mock.heads().len(), 2);
    assert!(mock.heads()[0].starts_with("GET /daily.xml HTTP/1.1\r\n"));
}

#[test]
fn a_history_is_crossed_into_another_base_currency() {
    let days: &[(&str, &[(&str, &str)])] = &[
        (FRIDAY, &[("USD", "1.0835"), ("NOK", "11.4025")]),
        ("2026-02-26", &[("USD", "1.08"), ("JPY", "162.4")]),
        ("2026-02-25", &[("JPY", "162.4"), ("NOK", "11.5")]),
    ];
    let mock = Mock::start(&[xml(days)]);
    let app = app_of("NOK", &mock.url(), Duration::from_secs(20));
    attempt(&app);
    assert_eq!(
        rates(&app),
        [
            "EUR 2026-02-25 11.5 base_per_foreign fetched: 127.0.0.1",
            "JPY 2026-02-25 0.07081280788 base_per_foreign fetched: 127.0.0.1; 1 EUR = 11.5 NOK = 162.4 JPY, cross rate rounded to 10 digits",
            "EUR 2026-02-27 11.4025 base_per_foreign fetched: 127.0.0.1",
            "USD 2026-02-27 10.52376557 base_per_foreign fetched: 127.0.0.1; 1 EUR = 11.4025 NOK = 1.0835 USD, cross rate rounded to 10 digits",
        ]
    );
}

#[test]
fn a_long_history_is_kept_whole() {
    let first = "2026-02-27".parse::<chrono::NaiveDate>().expect("a day");
    let days: Vec<String> = (0..1_500)
        .map(|back| (first - TimeDelta::days(back)).to_string())
        .collect();
    let days: Vec<(&str, &[(&str, &str)])> = days.iter().map(|day| (day.as_str(), RATES)).collect();
    let mock = Mock::start(&[xml(&days)]);
    let app = app(&mock);
    attempt(&app);
    assert_eq!(figure(&app, "fetched_total{outcome=\"entered\"}"), 3_000);
    app.clock.advance(TimeDelta::hours(7));
    attempt(&app);
    assert_eq!(figure(&app, "fetched_total{outcome=\"unchanged\"}"), 3_000);
}

#[test]
fn a_server_in_trouble_is_asked_again_after_a_pause() {
    let mock = Mock::start(&[Say::Status(500), Say::Status(503), xml(&[(FRIDAY, RATES)])]);
    let app = app(&mock);
    attempt(&app);
    assert_eq!(figure(&app, "fetch_failures_total{reason=\"status\"}"), 1);
    assert!(rates(&app).is_empty());
    // The first pause is at least half of two seconds, and at most the whole.
    app.clock.advance(TimeDelta::milliseconds(999));
    rests(&app, &mock);
    app.clock.advance(TimeDelta::milliseconds(1_001));
    attempt(&app);
    app.clock.advance(TimeDelta::milliseconds(1_999));
    rests(&app, &mock);
    app.clock.advance(TimeDelta::milliseconds(2_001));
    attempt(&app);
    assert_eq!(rates(&app).len(), 2);
    assert_eq!(figure(&app, "fetch_attempts_total"), 3);
    assert_eq!(figure(&app, "fetch_failures_total{reason=\"status\"}"), 2);
    assert_eq!(figure(&app, "fetch_successes_total"), 1);
    rests(&app, &mock);
}

#[test]
fn after_five_attempts_there_is_rest_until_the_next_turn() {
    let mock = Mock::start(&[Say::Status(502)]);
    let app = app(&mock);
    for _ in 0..5 {
        attempt(&app);
        app.clock.advance(TimeDelta::seconds(30));
    }
    rests(&app, &mock);
    app.clock.advance(TimeDelta::hours(6));
    attempt(&app);
    assert_eq!(mock.heads().len(), 6);
}

/// An answer that is a failure of the reason, and whether it is tried again soon.
#[track_caller]
fn fails(say: Say, timeout_ms: u64, reason: &str, again: bool) {
    let mock = Mock::start(&[say]);
    let app = app_of("EUR", &mock.url(), Duration::from_millis(timeout_ms));
    attempt(&app);
    let failures = format!("fetch_failures_total{{reason=\"{reason}\"}}");
    assert_eq!(figure(&app, &failures), 1);
    assert_eq!(figure(&app, "fetch_last_success_timestamp_seconds"), 0);
    assert!(rates(&app).is_empty());
    app.clock.advance(TimeDelta::minutes(1));
    if again {
        attempt(&app);
        assert_eq!(figure(&app, &failures), 2);
    } else {
        rests(&app, &mock);
    }
}

#[test]
fn a_server_that_hangs_or_trickles_runs_into_the_time_limit() {
    fails(Say::Hang, 150, "timeout", true);
    fails(Say::Announce(1_000), 150, "timeout", true);
    fails(Say::Trickle, 150, "timeout", true);
}

#[test]
fn what_is_no_file_of_rates_is_refused() {
    let (long, refused) = (20_000, "too_large");
    fails(Say::Announce(4 * 1024 * 1024 + 1), long, refused, false);
    fails(Say::Flood(4 * 1024 * 1024 + 1), long, refused, false);
    fails(
        Say::Good("<html>Welcome</html>".to_owned()),
        long,
        "parse",
        false,
    );
    fails(Say::Good(String::new()), long, "parse", false);
    fails(xml(&[(FRIDAY, &[("USD", "NaN")])]), long, "parse", false);
    fails(
        Say::CutOff("<Envelope>".to_owned()),
        long,
        "interrupted",
        true,
    );
    fails(Say::Status(404), long, "status", false);
    let bomb = "<!DOCTYPE l [<!ENTITY a \"ha\"><!ENTITY b \"&a;&a;\">]><Envelope>&b;</Envelope>";
    fails(Say::Good(bomb.to_owned()), long, "parse", false);
}

#[test]
fn a_redirect_is_not_followed() {
    let other = Mock::start(&[xml(&[(FRIDAY, RATES)])]);
    fails(Say::Redirect(other.url()), 20_000, "redirect", false);
    assert!(other.heads().is_empty());
}

#[test]
fn nobody_there_and_a_base_that_is_not_in_the_file_are_failures() {
    let mock = Mock::start(&[xml(&[(FRIDAY, RATES)])]);
    let app = app_of("SEK", &mock.url(), Duration::from_secs(20));
    attempt(&app);
    assert_eq!(
        figure(&app, "fetch_failures_total{reason=\"base_missing\"}"),
        1
    );
    let url = mock.url();
    drop(mock);
    let app = app_of("EUR", &url, Duration::from_secs(20));
    attempt(&app);
    assert_eq!(figure(&app, "fetch_failures_total{reason=\"connect\"}"), 1);
}

#[test]
fn a_server_without_tls_is_not_believed_under_https() {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = listener.local_addr().expect("its address");
    let server = std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().expect("a connection");
        let mut hello = [0; 1];
        stream.read_exact(&mut hello).expect("a greeting");
        let _ = stream.write_all(b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n");
        hello[0]
    });
    let app = app_of(
        "EUR",
        &format!("https://{address}/daily.xml"),
        Duration::from_secs(20),
    );
    attempt(&app);
    assert_eq!(figure(&app, "fetch_failures_total{reason=\"connect\"}"), 1);
    // So that it does not wait for ever where it was never asked.
    let _ = TcpStream::connect(address);
    // A handshake record (RFC 8446, section 5.1).
    assert_eq!(server.join().expect("the server"), 22);
}

#[test]
fn what_somebody_entered_stays_and_what_was_fetched_is_brought_up_to_date() {
    let first = xml(&[(FRIDAY, RATES)]);
    let second = xml(&[(
        FRIDAY,
        &[
            ("USD", "1.3"),
            ("NOK", "11.5"),
            ("SEK", "11.1"),
            ("DKK", "7.46"),
        ],
    )]);
    let mock = Mock::start(&[first, second]);
    let app = app(&mock);
    let by_hand =
        json!({"currency": "SEK", "rate_on": FRIDAY, "rate": "0.09", "source": "the invoice"});
    app.post("/v1/exchange-rates", by_hand.clone()).expect(201);
    attempt(&app);
    let file = format!("currency,rate_on,rate\nUSD,{FRIDAY},0.8\n");
    app.post_text("/v1/exchange-rates/imports", "text/csv", &file)
        .expect(200);
    app.clock.advance(TimeDelta::hours(6));
    attempt(&app);
    assert_eq!(
        rates(&app),
        [
            "DKK 2026-02-27 7.46 foreign_per_base fetched: 127.0.0.1",
            "NOK 2026-02-27 11.5 foreign_per_base fetched: 127.0.0.1",
            "SEK 2026-02-27 0.09 base_per_foreign the invoice",
            "USD 2026-02-27 0.8 base_per_foreign ",
        ]
    );
    assert_eq!(figure(&app, "fetched_total{outcome=\"left_alone\"}"), 2);
    assert_eq!(figure(&app, "fetched_total{outcome=\"replaced\"}"), 1);
    let mut pretended = by_hand;
    pretended["source"] = json!("fetched: by hand");
    let refused = app.post("/v1/exchange-rates", pretended).expect(422);
    assert_eq!(refused.pointers(), ["/source"]);
}

const HEADER: &str = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on";

/// A purchase of 100 in the currency, received on the day.
fn purchase(order: &str, received_on: &str, currency: &str) -> String {
    format!(
        "{HEADER}\n{order},1,North,2026-02-20,{received_on},base,L-{order},1,1,kg,100.00,{currency},,2027-02-01\n"
    )
}

#[test]
fn the_days_of_a_week_end_take_the_last_rate_and_a_missing_one_is_never_made_up() {
    let mock = Mock::start(&[xml(&[(FRIDAY, RATES)])]);
    let app = app(&mock);
    stocked(&app);
    let import = |file: String| app.post_text("/v1/purchase-imports", "text/csv", &file);
    let missing = import(purchase("O-1", "2026-03-01", "USD")).expect(422);
    let error = missing.json()["rows"][0]["errors"][0].clone();
    assert_eq!(error["column"], "rate");
    let detail = error["detail"].as_str().expect("a detail");
    assert!(
        detail.contains("from USD to EUR for 2026-03-01"),
        "{detail}"
    );
    attempt(&app);
    // 100 USD at 1.25 USD for one EUR, on Sunday as on Friday.
    let made = import(purchase("O-1", "2026-03-01", "USD"))
        .expect(201)
        .json();
    assert_eq!(made["rows"][0]["lots"][0]["landed_cost"], "80");
    app.clock.advance(TimeDelta::days(5));
    let made = import(purchase("O-2", "2026-03-06", "USD"))
        .expect(201)
        .json();
    assert_eq!(made["rows"][0]["lots"][0]["landed_cost"], "80");
    let late = import(purchase("O-3", "2026-03-07", "USD")).expect(422);
    assert!(
        late.text.contains("from USD to EUR for 2026-03-07"),
        "{}",
        late.text
    );
    let unknown = import(purchase("O-4", "2026-03-02", "SEK")).expect(422);
    assert!(unknown.text.contains("from SEK to EUR for 2026-03-02"));
    let early = import(purchase("O-5", "2026-02-26", "USD")).expect(422);
    assert!(early.text.contains("from USD to EUR for 2026-02-26"));
}

#[test]
fn nobody_waits_for_a_server_that_hangs() {
    let mock = Mock::start(&[Say::Hang]);
    let app = app_of("EUR", &mock.url(), Duration::from_secs(60));
    stocked(&app);
    let rate = json!({"currency": "USD", "rate_on": FRIDAY, "rate": "0.8"});
    app.post("/v1/exchange-rates", rate).expect(201);
    let started = Instant::now();
    rates_turn(&app.service).expect("a turn");
    while mock.heads().is_empty() {
        std::thread::sleep(Duration::from_millis(5));
    }
    let file = purchase("O-1", "2026-03-01", "USD");
    let made = app
        .post_text("/v1/purchase-imports", "text/csv", &file)
        .expect(201)
        .json();
    assert_eq!(made["rows"][0]["lots"][0]["landed_cost"], "80");
    let cast = json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-03",
        "charges": [{"grant": "grant-a", "share": "100"}]});
    app.post("/v1/casts", cast).expect(201);
    rests(&app, &mock);
    assert_eq!(figure(&app, "fetch_attempts_total"), 1);
    assert!(
        started.elapsed() < Duration::from_secs(30),
        "somebody waited"
    );
}

#[test]
fn a_serving_process_fetches_by_itself_and_ends_at_once_while_a_server_hangs() {
    let mock = Mock::start(&[Say::Hang]);
    let database = TestDatabase::new();
    let url = mock.url();
    let flags = ["--rates-url", url.as_str(), "--rates-timeout-s", "120"];
    let service = Heeltap::serve_with(&database, &flags);
    let started = Instant::now();
    while mock.heads().is_empty() {
        assert!(
            started.elapsed() < Duration::from_secs(20),
            "it does not ask"
        );
        std::thread::sleep(Duration::from_millis(10));
    }
    let asked = Instant::now();
    service.signal("TERM");
    let (status, _) = service.ended();
    assert!(status.success(), "{status}");
    assert!(
        asked.elapsed() < Duration::from_secs(15),
        "it waited for the server"
    );
}

#[test]
fn the_command_fetches_once_and_says_what_it_did() {
    let first = xml(&[(FRIDAY, RATES)]);
    let second = xml(&[(FRIDAY, &[("USD", "1.5")])]);
    let mock = Mock::start(&[first.clone(), first, second, Say::Status(500)]);
    let database = TestDatabase::new();
    let address = mock.address();
    // With a name, a password and a key, none of which is ever shown.
    let url = format!("http://lab:pass-word@{address}/daily.xml?key=pass-key");
    let fetch = || {
        let arguments = ["fetch-rates", "--rates-url", &url, "--log", "trace"];
        let output = heeltap(Some(&database), &arguments);
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        let (out, err) = (text(&output.stdout), text(&output.stderr));
        assert!(
            !out.contains("pass-") && !err.contains("pass-"),
            "{out}{err}"
        );
        (output.status.code(), out, err)
    };
    let (code, out, err) = fetch();
    assert_eq!(code, Some(0), "{err}");
    assert_eq!(
        out,
        "2026-02-27 1 EUR = 11.4025 NOK: entered\n2026-02-27 1 EUR = 1.25 USD: entered\n\
        2 entered, 0 replaced, 0 unchanged, 0 left as somebody entered them\n\
        passed over: 1 of unknown currencies, 0 days in the future, 0 days without EUR, 0 out of range\n"
    );
    let head = mock.heads()[0].clone();
    assert!(
        head.starts_with("GET /daily.xml?key=pass-key HTTP/1.1"),
        "{head}"
    );
    assert!(
        head.to_ascii_lowercase().contains("authorization: basic "),
        "{head}"
    );
    assert!(fetch().1.starts_with("0 entered, 0 replaced, 2 unchanged"));
    assert!(
        fetch()
            .1
            .starts_with("2026-02-27 1 EUR = 1.5 USD: replaced\n0 entered, 1 replaced")
    );
    let (code, out, err) = fetch();
    assert_eq!((code, out.as_str()), (Some(1), ""));
    assert!(
        err.contains("heeltap: rates were not fetched from 127.0.0.1: answered 500"),
        "{err}"
    );
}

#[test]
fn a_setting_that_is_not_right_is_named() {
    let database = TestDatabase::new();
    let ends = |flags: &[&str], says: &str| {
        let output = heeltap(Some(&database), &[&["fetch-rates"], flags].concat());
        let err = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{err}");
        assert!(err.contains(says) && !err.contains("pass-word"), "{err}");
    };
    ends(&[], "HEELTAP_RATES_URL: no address is set");
    ends(
        &["--rates-url", "ftp://a:pass-word@b/c"],
        "`ftp` is not supported: write an address of http or https",
    );
    ends(&["--rates-url", "lab:pass-word@"], "HEELTAP_RATES_URL: ");
    ends(
        &["--rates-url", "http://"],
        "HEELTAP_RATES_URL: this is no address",
    );
    ends(
        &["--rates-currency", "EURO"],
        "HEELTAP_RATES_CURRENCY: \"EURO\" is not a currency",
    );
    ends(&["--rates-interval-min", "0"], "1..=10080");
    ends(&["--rates-timeout-s", "0"], "1..=120");
}
