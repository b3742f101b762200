//! The end of the real process: what is in flight is finished, and nothing is lost.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use crate::support::{Client, Heeltap, TestDatabase};

#[track_caller]
fn check(signal: &str) {
    let database = TestDatabase::new();
    let service = Heeltap::serve(&database);
    let token = service.token.clone().expect("a first start");
    let body = r#"{"name": "in flight", "roles": ["bench"]}"#;
    let (first, rest) = body.split_at(10);
    let mut stream = TcpStream::connect(service.address).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(20)))
        .unwrap();
    write!(
        stream,
        "POST /v1/tokens HTTP/1.1\r\nHost: test\r\nConnection: close\r\nAuthorization: Bearer {token}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n{first}",
        body.len()
    )
    .unwrap();
    // The request is under way once the service has read its head; nothing tells that to the client but time.
    std::thread::sleep(Duration::from_millis(300));
    service.signal(signal);
    std::thread::sleep(Duration::from_millis(300));
    stream.write_all(rest.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 201 "), "{answer}");
    let (status, more) = service.ended();
    assert!(status.success(), "{status}");
    assert_eq!(more, [""; 0]);

    let again = Heeltap::serve(&database);
    assert_eq!(again.token, None, "the token is printed once");
    let list = Client::new(again.address, Some(token))
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
    let mut stream = TcpStream::connect(service.address).unwrap();
    write!(stream, "GET /healthz HTTP/1.1\r\n").unwrap();
    std::thread::sleep(Duration::from_millis(300));
    service.signal("TERM");
    std::thread::sleep(Duration::from_millis(300));
    service.signal("TERM");
    let started = std::time::Instant::now();
    let (status, _) = service.ended();
    assert!(status.success(), "{status}");
    assert!(
        started.elapsed() < Duration::from_secs(4),
        "{:?}",
        started.elapsed()
    );
}
