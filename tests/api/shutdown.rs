//! The end of the real process: what is in flight is finished, and nothing is lost.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use crate::support::{Client, Heeltap, TestDatabase};

const BODY: &str = r#"{"name": "in flight", "roles": ["bench"]}"#;

/// A request whose head the service has read, as its `100 Continue` tells, and whose body it waits for.
fn under_way(service: &Heeltap) -> TcpStream {
    let token = service.token.as_deref().expect("a first start");
    let mut stream = TcpStream::connect(service.address).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(20)))
        .unwrap();
    write!(
        stream,
        "POST /v1/tokens HTTP/1.1\r\nHost: test\r\nConnection: close\r\nExpect: 100-continue\r\nAuthorization: Bearer {token}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n",
        BODY.len()
    )
    .unwrap();
    let mut go_on = [0; 25];
    stream.read_exact(&mut go_on).unwrap();
    assert_eq!(&go_on, b"HTTP/1.1 100 Continue\r\n\r\n");
    stream
}

/// Waits until the service takes no more connections.
fn closed(service: &Heeltap) {
    let started = Instant::now();
    while TcpStream::connect(service.address).is_ok() {
        assert!(started.elapsed() < Duration::from_secs(20), "still open");
        std::thread::sleep(Duration::from_millis(10));
    }
}

#[track_caller]
fn check(signal: &str) {
    let database = TestDatabase::new();
    let service = Heeltap::serve(&database);
    let mut stream = under_way(&service);
    service.signal(signal);
    closed(&service);
    stream.write_all(BODY.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 201 "), "{answer}");
    let token = service.token.clone();
    let (status, more) = service.ended();
    assert!(status.success(), "{status}");
    assert_eq!(more, [""; 0]);

    let again = Heeltap::serve(&database);
    assert_eq!(again.token, None, "the token is printed once");
    let list = Client::new(again.address, token)
        .get("/v1/tokens")
        .expect(200);
    assert_eq!(list.json()["items"][1]["name"], "in flight");
}

#[test]
fn a_request_in_flight_is_finished_after_sigterm() {
    check("TERM");
}

#[test]
fn a_request_in_flight_is_finished_after_sigint() {
    check("INT");
}

#[test]
fn a_second_signal_does_not_wait() {
    let database = TestDatabase::new();
    let service = Heeltap::serve(&database);
    let _waiting = under_way(&service);
    service.signal("TERM");
    closed(&service);
    service.signal("TERM");
    let started = Instant::now();
    let (status, _) = service.ended();
    assert!(status.success(), "{status}");
    // A single signal would wait for the body for 30 s.
    assert!(started.elapsed() < Duration::from_secs(15));
}
