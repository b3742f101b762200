//! Orders and exchange rates over HTTP.

use serde_json::{Value, json};

use crate::support::lab::catalogue;
use crate::support::{TestApp, send};

fn order(order_no: &str) -> Value {
    json!({"order_no": order_no, "supplier": "North", "ordered_on": "2026-02-20", "lines": [
        {"line_no": 1, "item": "base", "packs": 2, "pack_quantity": "1.1", "unit": "kg", "line_price": "100", "freight": "8"},
        {"line_no": 2, "item": "tray", "packs": 1, "pack_quantity": 100, "unit": "each", "line_price": "50"},
    ]})
}

fn lab() -> TestApp {
    let app = TestApp::start();
    catalogue(&app);
    app
}

#[test]
fn an_order_is_placed_received_and_its_rest_cancelled() {
    let app = lab();
    let placed = app.post("/v1/orders", order("O-1")).expect(201);
    assert_eq!(placed.header("location"), "/v1/orders/O-1");
    let body = placed.json();
    assert_eq!(body["state"], "ordered");
    assert_eq!(
        body["lines"][0]["expected_on"], "2026-03-06",
        "a lead time of 14 days"
    );
    assert_eq!(body["lines"][0].get("landed_cost"), None);
    app.post("/v1/orders", order("O-1")).expect(200);
    let mut dearer = order("O-1");
    dearer["lines"][0]["line_price"] = json!("101");
    assert_eq!(
        app.post("/v1/orders", dearer).expect(409).problem(),
        "already-exists"
    );

    let arrival = json!({"received_on": "2026-03-01", "lines": [{"line_no": 1, "lot": "B1", "expires_on": "2027-01-31"}]});
    let received = app
        .post_once("/v1/orders/O-1/receive", "k1", arrival.clone())
        .expect(200);
    assert_eq!(received.json()["state"], "partly_received");
    assert_eq!(received.json()["lines"][0]["landed_cost"], "108");
    let again = app
        .post_once("/v1/orders/O-1/receive", "k1", arrival.clone())
        .expect(200);
    assert_eq!(again.text, received.text);
    let twice = app.post("/v1/orders/O-1/receive", arrival).expect(409);
    assert_eq!(twice.problem(), "wrong-state");

    let cancelled = send(app.request("POST", "/v1/orders/O-1/cancel"))
        .expect(200)
        .json();
    assert_eq!(cancelled["lines"][1]["state"], "cancelled");
    assert_eq!(cancelled["state"], "received");
    let nothing = app.post("/v1/orders/O-1/cancel", json!({})).expect(409);
    assert_eq!(nothing.problem(), "wrong-state");
    assert_eq!(app.get("/v1/orders").json()["items"], json!([cancelled]));
}

#[test]
fn a_body_of_null_cancels_as_no_body_does() {
    let app = lab();
    app.post("/v1/orders", order("O-1")).expect(201);
    let path = "/v1/orders/O-1/cancel";
    let wrong = app.post(path, json!({"lines": [1, "two"]})).expect(422);
    assert_eq!(wrong.pointers(), ["/lines/1"]);
    app.post_text(path, "text/plain", "{}").expect(415);
    app.post_text(path, "application/json", "{").expect(400);
    let cancelled = app.post(path, json!(null)).expect(200);
    assert_eq!(cancelled.json()["state"], "cancelled");
}

/// Whoever sends a request takes `.` and `..` out of its address first, percent-encoded or not (RFC 3986, section 5.2.4).
#[test]
fn an_order_that_no_address_could_name_is_refused() {
    let app = lab();
    for number in [".", "..", " .. "] {
        let refused = app.post("/v1/orders", order(number)).expect(422);
        assert!(
            refused
                .pointers()
                .iter()
                .any(|pointer| pointer == "/order_no"),
            "{}",
            refused.text
        );
    }
    app.post("/v1/orders", order("...")).expect(201);
    app.get("/v1/orders/...").expect(200);
}

#[test]
fn an_order_number_may_hold_any_character() {
    let app = lab();
    let number = "2026/7 ä?#%&+";
    let placed = app.post("/v1/orders", order(number)).expect(201);
    let address = placed.header("location").to_owned();
    assert_eq!(address, "/v1/orders/2026%2F7%20%C3%A4%3F%23%25%26%2B");
    assert_eq!(app.get(&address).expect(200).json()["order_no"], number);
    let lines = json!({"lines": [2]});
    let cancelled = app
        .post(&format!("{address}/cancel"), lines)
        .expect(200)
        .json();
    assert_eq!(cancelled["lines"][1]["state"], "cancelled");
    assert_eq!(cancelled["state"], "ordered");
    assert_eq!(
        app.get("/v1/orders/2026%2F8").expect(404).problem(),
        "not-found"
    );
}

#[test]
fn what_is_wrong_with_an_order_is_said_at_its_field() {
    let app = lab();
    let mut wrong = order("O-1");
    wrong["lines"][0]["item"] = json!("dish");
    wrong["lines"][1]["unit"] = json!("m");
    let pointers = app.post("/v1/orders", wrong).expect(422).pointers();
    assert_eq!(pointers, ["/lines/0/item", "/lines/1/unit"]);
    let mut late = order("O-1");
    late["ordered_on"] = json!("2026-03-03");
    assert_eq!(
        app.post("/v1/orders", late).expect(422).pointers(),
        ["/ordered_on"]
    );
    let mut odd = order("O-1");
    odd["lines"][1]["colour"] = json!("blue");
    let refused = app.post("/v1/orders", odd).expect(422);
    assert_eq!(refused.pointers(), ["/lines/1/colour"]);
    let mut long = order("O-1");
    long["lines"][0]["rate"] = json!("0");
    assert_eq!(
        app.post("/v1/orders", long).expect(422).pointers(),
        ["/lines/0/rate"]
    );
    app.post("/v1/orders", order("O-1")).expect(201);
    let future = json!({"received_on": "2026-03-03", "lines": [{"line_no": 1, "lot": "B1"}]});
    let refused = app.post("/v1/orders/O-1/receive", future).expect(422);
    assert_eq!(refused.pointers(), ["/received_on"]);
    let unknown = app
        .post("/v1/orders/O-1/cancel", json!({"lines": [3]}))
        .expect(422);
    assert_eq!(unknown.pointers(), ["/lines/0"]);
    let malformed = app.post_text("/v1/orders/O-1/cancel", "application/json", "{");
    assert_eq!(malformed.expect(400).problem(), "malformed");
}

#[test]
fn an_order_that_came_in_a_file_is_received_over_the_api() {
    let app = lab();
    let file = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on\n\
        F-1,1,North,2026-02-20,,base,,1,500,g,40.00,USD,,\n";
    app.post_text("/v1/purchase-imports", "text/csv", file)
        .expect(201);
    let arrival = |rate: Value| json!({"received_on": "2026-03-01", "lines": [{"line_no": 1, "lot": "B1", "rate": rate}]});
    let refused = app
        .post("/v1/orders/F-1/receive", arrival(Value::Null))
        .expect(422);
    assert_eq!(refused.pointers(), ["/lines/0/rate"]);
    let received = app
        .post("/v1/orders/F-1/receive", arrival(json!("0.5")))
        .expect(200)
        .json();
    assert_eq!(received["lines"][0]["landed_cost"], "20");
}

#[test]
fn exchange_rates_are_entered_replaced_and_listed() {
    let app = TestApp::start();
    let rate = |day: &str, rate: &str| json!({"currency": "USD", "rate_on": day, "rate": rate});
    let made = app
        .post("/v1/exchange-rates", rate("2026-02-27", "0.92"))
        .expect(201);
    assert_eq!(made.header("location"), "/v1/exchange-rates?currency=USD");
    app.post("/v1/exchange-rates", rate("2026-02-27", "0.93"))
        .expect(200);
    app.post("/v1/exchange-rates", rate("2026-02-26", "0.91"))
        .expect(201);
    app.post("/v1/exchange-rates", json!({"currency": "NOK", "rate_on": "2026-02-27", "rate": "11.5", "quote": "foreign_per_base"})).expect(201);
    let first = app
        .get("/v1/exchange-rates?currency=USD&limit=1")
        .expect(200);
    assert_eq!(first.json()["items"][0]["rate"], "0.91");
    let next = first.json()["next"]
        .as_str()
        .expect("a next page")
        .to_owned();
    let second = app.get(&format!(
        "/v1/exchange-rates?currency=USD&limit=1&cursor={next}"
    ));
    let second = second.expect(200).json();
    assert_eq!(
        (&second["items"][0]["rate"], second.get("next")),
        (&json!("0.93"), None)
    );
    assert_eq!(
        app.get("/v1/exchange-rates").json()["items"]
            .as_array()
            .map(Vec::len),
        Some(3)
    );
    for (wrong, pointer) in [
        (
            json!({"currency": "EUR", "rate_on": "2026-02-27", "rate": "1"}),
            "/currency",
        ),
        (rate("2026-03-03", "1"), "/rate_on"),
        (rate("2026-02-27", "0"), "/rate"),
        (rate("2026-02-30", "1"), "/rate_on"),
    ] {
        let refused = app.post("/v1/exchange-rates", wrong).expect(422);
        assert_eq!(refused.pointers(), [pointer]);
    }
    assert_eq!(
        app.get("/v1/exchange-rates?currency=XX")
            .expect(400)
            .problem(),
        "bad-query"
    );
}
