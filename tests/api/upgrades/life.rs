//! What a lab does before its database is kept as the sample of a schema: something of everything, in known states.
//!
//! Invariants: casts 1 to 6 end demoulded, poured, booked, cancelled, poured again after an undo, and short; the catalogue
//! and the stock are those of `lab`. Deliberately absent: anything that an upgraded database is later judged by, which is
//! read from the sample itself.

use std::net::Ipv4Addr;

use heeltap::db::job_claim;
use heeltap::http::Asker;
use heeltap::http::sessions::session_open;
use heeltap::purchasing::ops::{ImportSettings, draft_commit, draft_keep};
use serde_json::{Value, json};

use crate::support::lab::{receive, stocked};
use crate::support::{TestApp, send};

/// A purchase file: a kit in a foreign currency, and trays that are still on order.
const PURCHASES: &str = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on\n\
    O-1,1,North,2026-02-10,2026-02-20,kit,K7,2,,kit,120.00,USD,10.00,2027-01-31\n\
    O-1,2,North,2026-02-10,,tray,,1,50,each,25.00,USD,,\n";

/// Lives, with what every version of the program so far knows.
pub(super) fn live(app: &TestApp) {
    stocked(app);
    receive(app, "cup", "C2", None, &["5"], "2");
    purchases(app);
    shelf(app);
    casts(app);
    app.get("/v1/reorder").expect(200);
    let warnings = app.get("/v1/warnings").expect(200).json();
    let id = &warnings["items"][0]["id"];
    let note = json!({"note": "ordered by telephone"});
    app.post(&format!("/v1/warnings/{id}/acknowledge"), note)
        .expect(200);
    let today = app.service.today();
    let job = app
        .service
        .db()
        .write(|conn| job_claim(conn, "a daily job", today, app.service.now()));
    assert!(job.expect("the database must answer"));
    // One material is left to be judged anew.
    app.post(
        "/v1/packs/1/spill",
        json!({"quantity": "0.5", "reason": "dripped"}),
    )
    .expect(200);
}

/// Goes on with what came with the coats of copies: a treatment, and a look at what it left.
pub(super) fn live_with_treatments(app: &TestApp) {
    let body = json!({"treated_on": "2026-03-02", "release_agent": "vial", "vials": 1, "molds": [{"mold": "mold"}],
        "recount": true});
    let made = app.post("/v1/treatments", body).expect(201).json();
    let path = format!("/v1/treatments/{}/inspect", made["id"]);
    let look = json!({"inspected_on": "2026-03-02", "seen": false, "molds": [{"mold": "mold", "copies": [2]}]});
    app.post(&path, look).expect(200);
}

/// Goes on with what came with corrected prices, changed charges and closed periods.
pub(super) fn live_with_corrections(app: &TestApp) {
    app.post(
        "/v1/periods",
        json!({"first_day": "2026-01-01", "last_day": "2026-02-28"}),
    )
    .expect(201);
    let surcharge = json!({"order_no": "O-1", "line_no": 1, "amount": "6.60", "currency": "USD", "rate": "0.9",
        "reason": "surcharge of the supplier"});
    app.post("/v1/price-corrections", surcharge).expect(201);
    for (lot, amount) in [("B1", "-3"), ("V1", "1.2"), ("C2", "0.5")] {
        let correction =
            json!({"lot": lot_id(app, lot), "amount": amount, "reason": "invoice corrected"});
        app.post("/v1/price-corrections", correction).expect(201);
    }
    let cast = app.get("/v1/casts/C-00002").expect(200);
    let change =
        json!({"charges": [{"grant": "grant-b", "share": "100"}], "reason": "the other course"});
    let request = app.request("POST", "/v1/casts/C-00002/charges");
    send(
        request
            .header("If-Match", cast.header("etag"))
            .json(&change),
    )
    .expect(200);
}

fn purchases(app: &TestApp) {
    let rate = json!({"currency": "USD", "rate_on": "2026-02-20", "rate": "0.92"});
    app.post("/v1/exchange-rates", rate).expect(201);
    let kit = json!({"code": "kit", "name": "Kit", "elastomer": "el", "base_g": "1000", "curing_agent_g": "100"});
    app.post("/v1/kits", kit).expect(201);
    app.post_text("/v1/purchase-imports", "text/csv", PURCHASES)
        .expect(201);
    let order = json!({"order_no": "O-2", "supplier": "South", "ordered_on": "2026-02-20", "lines": [
        {"line_no": 1, "item": "base", "packs": 2, "pack_quantity": "1.1", "unit": "kg", "line_price": "100", "freight": "8"},
        {"line_no": 2, "item": "tray", "packs": 1, "pack_quantity": 100, "unit": "each", "line_price": "50"}]});
    app.post("/v1/orders", order).expect(201);
    let arrival = json!({"received_on": "2026-03-01", "lines": [{"line_no": 1, "lot": "B2", "expires_on": "2027-01-31"}]});
    app.post_once("/v1/orders/O-2/receive", "arrival", arrival)
        .expect(200);
    let rest = json!({"lines": [2]});
    app.post("/v1/orders/O-2/cancel", rest).expect(200);
}

/// The lot of a code.
fn lot(app: &TestApp, code: &str) -> Value {
    let lots = app.get("/v1/lots?limit=100").expect(200).json();
    let lots = lots["items"].as_array().expect("lots").clone();
    let found = lots.into_iter().find(|found| found["lot"] == code);
    found.expect("the lot")
}

fn lot_id(app: &TestApp, code: &str) -> i64 {
    lot(app, code)["id"].as_i64().expect("an id")
}

/// The pack of a lot of this code, by number.
fn pack(app: &TestApp, code: &str, no: usize) -> i64 {
    lot(app, code)["packs"][no - 1]["id"]
        .as_i64()
        .expect("an id")
}

/// What happens to packs apart from casts.
fn shelf(app: &TestApp) {
    let (cups, base, vial) = (pack(app, "C2", 1), pack(app, "B2", 1), pack(app, "V1", 4));
    let at = |pack: i64, event: &str| format!("/v1/packs/{pack}/{event}");
    app.post(&at(base, "open"), json!({})).expect(200);
    app.post(&at(base, "count"), json!({"on_hand": "1090"}))
        .expect(200);
    app.post(&at(cups, "count"), json!({"on_hand": "6"}))
        .expect(200);
    app.post(
        &at(cups, "spill"),
        json!({"quantity": "1", "reason": "dropped"}),
    )
    .expect(200);
    let spilled = app
        .post(
            &at(cups, "spill"),
            json!({"quantity": "1", "reason": "mistyped"}),
        )
        .expect(200)
        .json();
    let lot = spilled["lot_id"].as_i64().or(spilled["id"].as_i64());
    let lot = lot.expect("the lot");
    let entries = app
        .get(&format!("/v1/lots/{lot}/movements?limit=100"))
        .expect(200)
        .json();
    let entries = entries["items"].as_array().expect("movements").clone();
    let last = &entries.last().expect("a movement")["id"];
    let reason = json!({"reason": "it was not dropped"});
    app.post(&format!("/v1/movements/{last}/reverse"), reason)
        .expect(200);
    app.post(
        &at(vial, "hold"),
        json!({"reason": "cloudy, \"perhaps\" it's spent"}),
    )
    .expect(200);
}

fn request(containers: u32, cast_on: &str) -> Value {
    json!({"recipe": "chip", "containers": containers, "cast_on": cast_on,
        "charges": [{"grant": "grant-a", "share": "60"}, {"grant": "grant-b", "share": "40"}]})
}

fn book(app: &TestApp, containers: u32, cast_on: &str) -> Value {
    app.post("/v1/casts", request(containers, cast_on))
        .expect(201)
        .json()
}

/// What was weighed for a cast: as planned, the residue weighed, and the level seen.
pub(super) fn poured(cast: &Value) -> Value {
    let weighed = |batch: &Value| json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"], "residue_g": "4.2"});
    let batches = cast["plan"]["batches"].as_array().expect("batches");
    let batches: Vec<Value> = batches.iter().map(weighed).collect();
    json!({"poured_on": "2026-03-02", "batches": batches, "level_mm": "5.2"})
}

fn pour(app: &TestApp, cast: &Value) {
    let code = cast["code"].as_str().expect("a code");
    app.post(&format!("/v1/casts/{code}/pour"), poured(cast))
        .expect(200);
}

fn casts(app: &TestApp) {
    let first = book(app, 2, "2026-03-02");
    pour(app, &first);
    let counted = json!({"demolded_on": "2026-03-02", "good": 7, "rejects": [{"reason": "bubbles", "count": 1}]});
    app.post("/v1/casts/C-00001/demold", counted).expect(200);
    let second = book(app, 3, "2026-03-02");
    pour(app, &second);
    book(app, 1, "2026-03-12");
    book(app, 1, "2026-03-13");
    app.post("/v1/casts/C-00004/cancel", json!({"reason": "no students"}))
        .expect(200);
    let fifth = book(app, 1, "2026-03-02");
    pour(app, &fifth);
    app.post("/v1/casts/C-00005/undo", json!({"reason": "mistyped"}))
        .expect(200);
    pour(app, &fifth);
    app.post("/v1/casts", request(45, "2026-03-20")).expect(409);
    let mut short = request(45, "2026-03-20");
    short["allow_short"] = json!(true);
    app.post("/v1/casts", short).expect(201);
}

/// Goes on with what came with budgets, delivery and sessions: something delivered to nobody yet, a key, a person signed in.
pub(super) fn live_with_delivery(app: &TestApp) {
    let half_year = json!({"first_day": "2026-01-01", "last_day": "2026-06-30", "amount": "900"});
    app.post("/v1/purchase-budgets", half_year).expect(201);
    app.post(
        "/v1/webhooks",
        json!({"url": "https://hooks.example/heeltap"}),
    )
    .expect(201);
    app.post("/v1/webhooks/1/test", json!({})).expect(201);
    app.post("/v1/calendar-keys", json!({"name": "wall"}))
        .expect(201);
    let token = app.token().to_owned();
    let nearby = Asker {
        address: Ipv4Addr::LOCALHOST.into(),
        over_tls: false,
    };
    app.service
        .as_actor("sign-in", |tx| session_open(tx, &token, nearby))
        .expect("the database must answer")
        .expect("a session");
}

/// Goes on with what came with purchase drafts: a file that waits, and one whose rows are in the books.
pub(super) fn live_with_drafts(app: &TestApp) {
    let settings = ImportSettings::default();
    let header = PURCHASES.lines().next().expect("a header");
    let more = format!(
        "{header}\nO-9,1,\"Nørth \"\"&\"\" co\",2026-02-20,2026-03-02,tray,T9,1,50,each,25.00,EUR,,\n"
    );
    for (name, file) in [("again.csv", PURCHASES), ("more.csv", more.as_str())] {
        let kept = app.service.as_actor("buyer", |tx| {
            draft_keep(tx, name, file.as_bytes(), &settings)
        });
        kept.expect("the draft must be kept");
    }
    let received = app.service.as_actor("buyer", |tx| {
        draft_commit(tx, 1, Default::default(), &mut |_| {})
    });
    received.expect("the draft must be received");
}
