//! Budgets of purchases: set, used by orders, withdrawn.

use serde_json::{Value, json};

use crate::support::lab::catalogue;
use crate::support::{TestApp, send};

fn lab() -> TestApp {
    let app = TestApp::start();
    catalogue(&app);
    app
}

fn budget(first_day: &str, last_day: &str, amount: &str) -> Value {
    json!({"first_day": first_day, "last_day": last_day, "amount": amount})
}

fn order(order_no: &str, ordered_on: &str, price: &str, currency: &str) -> Value {
    json!({"order_no": order_no, "supplier": "North", "ordered_on": ordered_on, "lines": [
        {"line_no": 1, "item": "base", "packs": 1, "pack_quantity": "1.1", "unit": "kg", "line_price": price,
            "currency": currency, "freight": "8"}]})
}

#[test]
fn orders_of_its_days_use_a_budget() {
    let app = lab();
    let set = app
        .post(
            "/v1/purchase-budgets",
            budget("2026-02-01", "2026-06-30", "500"),
        )
        .expect(201);
    let path = set.header("location").to_owned();
    let shown = |spent: &str, remaining: &str, without_rate: u64| {
        let found = app.get(&path).expect(200).json();
        assert_eq!(
            (
                &found["spent"],
                &found["remaining"],
                &found["lines_without_rate"]
            ),
            (&json!(spent), &json!(remaining), &json!(without_rate))
        );
    };
    shown("0", "500", 0);
    // On order, with its freight; before its days; in a currency without a rate, and then with one.
    app.post("/v1/orders", order("O-1", "2026-02-20", "100", "EUR"))
        .expect(201);
    app.post("/v1/orders", order("O-2", "2026-01-31", "70", "EUR"))
        .expect(201);
    app.post("/v1/orders", order("O-3", "2026-02-27", "42", "USD"))
        .expect(201);
    shown("108", "392", 1);
    app.post(
        "/v1/exchange-rates",
        json!({"currency": "USD", "rate_on": "2026-02-26", "rate": "0.9", "source": "bank"}),
    )
    .expect(201);
    shown("153", "347", 0);
    // What arrives counts with its landed cost; what is cancelled does not.
    let arrival = json!({"received_on": "2026-03-01", "lines": [{"line_no": 1, "lot": "B1"}]});
    app.post("/v1/orders/O-1/receive", arrival).expect(200);
    shown("153", "347", 0);
    app.post("/v1/orders/O-3/cancel", json!({})).expect(200);
    shown("108", "392", 0);
}

#[test]
fn a_budget_that_makes_no_sense_is_refused_with_what_would() {
    let app = lab();
    app.post(
        "/v1/purchase-budgets",
        budget("2026-02-01", "2026-06-30", "500"),
    )
    .expect(201);
    let refused = |body: Value, says: &str| {
        let found = app.post("/v1/purchase-budgets", body).expect(422);
        assert!(found.text.contains(says), "{}", found.text);
    };
    refused(
        budget("2026-07-02", "2026-07-01", "5"),
        "2026-07-01 is before the first day 2026-07-02",
    );
    refused(
        budget("2026-07-01", "2026-12-31", "-5"),
        "-5 is below 0: send 0 or more",
    );
    refused(
        budget("2026-06-30", "2026-12-31", "5"),
        "are those of budget 1 in part",
    );
    app.post(
        "/v1/purchase-budgets",
        budget("2026-07-01", "2026-12-31", "5"),
    )
    .expect(201);
}

#[test]
fn a_withdrawn_budget_stays_in_the_list_and_frees_its_days() {
    let app = lab();
    let half = budget("2026-01-01", "2026-06-30", "500");
    app.post("/v1/purchase-budgets", half.clone()).expect(201);
    send(app.request("DELETE", "/v1/purchase-budgets/1")).expect(204);
    let again = send(app.request("DELETE", "/v1/purchase-budgets/1")).expect(409);
    assert_eq!(again.problem(), "wrong-state");
    send(app.request("DELETE", "/v1/purchase-budgets/7")).expect(404);
    app.post("/v1/purchase-budgets", half).expect(201);
    let listed = app.get("/v1/purchase-budgets").expect(200).json();
    let withdrawn: Vec<bool> = listed["items"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|budget| !budget["withdrawn_at"].is_null())
        .collect();
    assert_eq!(withdrawn, [true, false]);
}
