//! Who is charged for a cast is changed: before the pour and after it, with what it cost split again.

use diesel::RunQueryDsl as _;
use heeltap::base::{Money, Quantity};
use heeltap::catalogue::{grant_by_code, material_by_code};
use heeltap::http::Role;
use heeltap::stock::receive::{Receipt, lots_receive};
use serde_json::{Value, json};

use crate::support::lab::{catalogue, day, micro, receive, stocked, verified};
use crate::support::{Answer, TestApp, send};

fn all_of(grant: &str) -> Value {
    json!([{"grant": grant, "share": "100"}])
}

/// In thirds, which no component divides into.
fn thirds() -> Value {
    json!([{"grant": "grant-a", "share": "33.333333"}, {"grant": "grant-b", "share": "66.666667"}])
}

fn book(app: &TestApp, charges: Value) -> String {
    let body =
        json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-10", "charges": charges});
    let cast = app.post("/v1/casts", body).expect(201).json();
    cast["code"].as_str().expect("a code").to_owned()
}

fn pour(app: &TestApp, code: &str) -> Value {
    let path = format!("/v1/casts/{code}");
    let plan = app.get(&path).expect(200).json()["plan"].clone();
    let batches: Vec<Value> = plan["batches"]
        .as_array()
        .expect("batches")
        .iter()
        .map(|batch| json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"], "residue_g": "3.1"}))
        .collect();
    let body = json!({"poured_on": "2026-03-02", "batches": batches});
    app.post(&format!("{path}/pour"), body).expect(200).json()
}

fn demold(app: &TestApp, code: &str) {
    let body = json!({"demolded_on": "2026-03-02", "good": 8});
    app.post(&format!("/v1/casts/{code}/demold"), body)
        .expect(200);
}

/// Charges a cast otherwise, on the version that stands.
fn charge(app: &TestApp, code: &str, body: Value) -> Answer {
    let path = format!("/v1/casts/{code}");
    let etag = app.get(&path).expect(200).header("etag").to_owned();
    let request = app.request("POST", &format!("{path}/charges"));
    send(request.header("If-Match", etag).json(&body))
}

fn because(charges: Value) -> Value {
    json!({"charges": charges, "reason": "the wrong grant"})
}

/// What each grant and component of a cast is kept to cost, summed by component.
fn kept(app: &TestApp, grant: Option<&str>) -> Vec<(String, i64)> {
    use diesel::prelude::*;
    use heeltap::db::schema::cast_costs;
    let rows = app.service.db().read(|conn| {
        let id = grant
            .map(|code| grant_by_code(conn, code).map(|grant| grant.id))
            .transpose()?;
        let rows: Vec<(Option<i64>, String, i64)> = cast_costs::table
            .order(cast_costs::id)
            .select((
                cast_costs::grant_id,
                cast_costs::component,
                cast_costs::amount_micro,
            ))
            .load(conn)?;
        let mut sums = std::collections::BTreeMap::new();
        for (of, component, amount) in rows {
            if grant.is_none() || of == id {
                *sums.entry(component).or_insert(0) += amount;
            }
        }
        Ok(sums.into_iter().collect())
    });
    rows.expect("the costs must be read")
}

/// By grant, what the report says, exactly.
fn report(app: &TestApp) -> Vec<(String, i64)> {
    let report = app
        .get("/v1/reports/replica-cost?group_by=grant")
        .expect(200)
        .json();
    let rows = report["rows"].as_array().expect("rows").clone();
    rows.iter()
        .map(|row| {
            let key = row["key"].as_str().expect("a key").to_owned();
            (key, micro(&row["exact_total"]))
        })
        .collect()
}

fn close(app: &TestApp, day: &str) {
    let closed = app.service.db().write(|conn| {
        let text = format!("UPDATE period_guard SET closed_through = '{day}'");
        diesel::sql_query(text).execute(conn)?;
        Ok(())
    });
    closed.expect("the period must be closed");
}

#[test]
fn a_booked_cast_is_planned_again_for_others() {
    let app = TestApp::start();
    stocked(&app);
    let code = book(&app, all_of("grant-a"));
    let cast = charge(&app, &code, because(thirds())).expect(200);
    assert_eq!(cast.json()["charges"], thirds());
    assert_eq!(cast.json()["request"]["charges"], thirds());
    assert_eq!(
        cast.json()["charge_changes"],
        json!([{"recorded_at": "2026-03-02T09:00:00Z", "actor": "administrator", "reason": "the wrong grant",
            "before": all_of("grant-a"), "after": thirds()}])
    );
    // What is written when it is rescheduled is kept as well; what changes nothing is not.
    let path = format!("/v1/casts/{code}");
    let moved = app
        .patch(&path, cast.header("etag"), json!({"charges": []}))
        .expect(200);
    let moved = app
        .patch(
            &path,
            moved.header("etag"),
            json!({"cast_on": "2026-03-11"}),
        )
        .expect(200);
    charge(&app, &code, because(json!([]))).expect(200);
    let read = app.get(&path).expect(200).json();
    let changes = read["charge_changes"].as_array().expect("changes");
    assert_eq!(changes.len(), 2);
    assert_eq!(
        (
            &changes[1]["reason"],
            &changes[1]["before"],
            &changes[1]["after"]
        ),
        (&json!("rescheduled"), &thirds(), &json!([]))
    );
    assert_eq!(moved.json()["charges"], json!([]));
    let listed = app.get("/v1/casts").expect(200).json();
    assert_eq!(listed["items"][0]["charge_changes"], read["charge_changes"]);
    verified(&app);
    pour(&app, &code);
    verified(&app);
}

#[test]
fn what_a_poured_cast_cost_is_split_again() {
    let app = TestApp::start();
    stocked(&app);
    let code = book(&app, all_of("grant-a"));
    let poured = pour(&app, &code);
    let (all, total) = (kept(&app, None), micro(&poured["cost_actual"]["total"]));
    assert_eq!(kept(&app, Some("grant-a")), all);
    let cast = charge(&app, &code, because(thirds())).expect(200).json();
    assert_eq!(cast["cost_actual"], poured["cost_actual"]);
    assert_eq!(cast["charges"], thirds());
    assert_eq!(kept(&app, None), all, "each component stays as it was");
    for ((component, part), (_, whole)) in kept(&app, Some("grant-a")).iter().zip(&all) {
        let exact = *whole as f64 * 0.33333333;
        assert!(
            (*part as f64 - exact).abs() < 1.0,
            "{component}: {part} of {whole}"
        );
    }
    verified(&app);
    demold(&app, &code);
    let rows = report(&app);
    assert_eq!(rows.iter().map(|(_, total)| total).sum::<i64>(), total);
    // After the demould too: to nobody, and to one.
    let nobody = charge(&app, &code, because(json!([]))).expect(200).json();
    assert_eq!(nobody["charges"], json!([]));
    assert_eq!(report(&app), [("unassigned".to_owned(), total)]);
    assert_eq!(kept(&app, None), all);
    charge(&app, &code, because(all_of("grant-b"))).expect(200);
    assert_eq!(report(&app), [("grant-b".to_owned(), total)]);
    let read = app.get(&format!("/v1/casts/{code}")).expect(200).json();
    let afters: Vec<&Value> = read["charge_changes"]
        .as_array()
        .expect("changes")
        .iter()
        .map(|change| &change["after"])
        .collect();
    assert_eq!(afters, [&thirds(), &json!([]), &all_of("grant-b")]);
    verified(&app);
    // What is undone and poured again is charged as it was said last.
    let path = format!("/v1/casts/{code}");
    for _ in 0..2 {
        app.post(&format!("{path}/undo"), json!({})).expect(200);
    }
    assert_eq!(kept(&app, None), []);
    pour(&app, &code);
    assert_eq!(kept(&app, Some("grant-b")), kept(&app, None));
    verified(&app);
}

#[test]
fn a_grant_warns_or_refuses_when_a_cast_is_moved_to_it() {
    let app = TestApp::start();
    stocked(&app);
    let code = book(&app, all_of("grant-a"));
    let total = micro(&pour(&app, &code)["cost_actual"]["total"]);
    let limit = |body: Value| {
        let before = app.get("/v1/grants/grant-b").expect(200);
        app.patch("/v1/grants/grant-b", before.header("etag"), body)
            .expect(200);
    };
    let text = |micro: i64| Money::from_micro(micro).to_string();
    limit(
        json!({"materials_budget": text(total - 1), "beyond": "refuse", "ends_on": "2026-03-01"}),
    );
    let before = app.get(&format!("/v1/casts/{code}")).expect(200);
    let answer = charge(&app, &code, because(all_of("grant-b"))).expect(409);
    assert_eq!(answer.problem(), "beyond-grant");
    let refusals = &answer.json()["charge_refusals"];
    // It was poured on the second of March, whatever day it was booked for.
    assert_eq!(refusals[0]["day"], "2026-03-02");
    assert_eq!(refusals[1]["this_cast"], text(total));
    let after = app.get(&format!("/v1/casts/{code}")).expect(200);
    assert_eq!(after.text, before.text);
    limit(json!({"beyond": "warn"}));
    let warned = charge(&app, &code, because(all_of("grant-b")))
        .expect(200)
        .json();
    assert_eq!(&warned["charge_warnings"][1]["kind"], "over_budget");
    assert_eq!(warned["charge_warnings"][1]["beyond"], "warn");
    // Its own cost is not counted twice: the whole of it is just what the budget bears.
    limit(json!({"beyond": "refuse", "materials_budget": text(total), "ends_on": null}));
    let fits = charge(&app, &code, because(all_of("grant-b")))
        .expect(200)
        .json();
    assert_eq!(fits["charge_warnings"], json!([]));
    verified(&app);
}

#[test]
fn a_closed_period_keeps_its_charges() {
    let app = TestApp::start();
    stocked(&app);
    let (booked, poured) = (book(&app, all_of("grant-a")), book(&app, all_of("grant-a")));
    pour(&app, &poured);
    close(&app, "2026-03-01");
    charge(&app, &poured, because(thirds())).expect(200);
    close(&app, "2026-03-02");
    let before = app.get(&format!("/v1/casts/{poured}")).expect(200);
    let refused = charge(&app, &poured, because(all_of("grant-b"))).expect(409);
    assert_eq!(refused.problem(), "period-closed");
    assert_eq!(refused.json()["closed_through"], "2026-03-02");
    let after = app.get(&format!("/v1/casts/{poured}")).expect(200);
    assert_eq!(after.text, before.text);
    // What is only booked is not in it.
    charge(&app, &booked, because(thirds())).expect(200);
    verified(&app);
}

/// Receives a lot that a grant paid for.
fn receive_for(app: &TestApp, grant: &str, material: &str, kit_lot: &str, quantity: &str) {
    let packs = [Quantity::parse(quantity).expect("a quantity")];
    let lots = app.service.as_actor("test", |tx| {
        let receipt = Receipt {
            material_id: material_by_code(tx.conn, material)?.id,
            lot_code: kit_lot,
            kit_lot: Some(kit_lot),
            kit_id: None,
            supplier_id: None,
            order_line_id: None,
            funded_by_id: Some(grant_by_code(tx.conn, grant)?.id),
            received_on: day("2026-02-01"),
            expires_on: None,
            packs: &packs,
            landed_cost: Money::from_int(30),
        };
        lots_receive(tx, &[receipt])
    });
    lots.expect("the delivery must be taken in");
}

#[test]
fn stock_that_another_grant_paid_for_needs_leave() {
    let app = TestApp::start();
    catalogue(&app);
    receive_for(&app, "grant-a", "base", "KA", "500");
    receive_for(&app, "grant-a", "agent", "KA", "50");
    for (material, packs) in [
        ("vial", &["1", "1", "1", "1"][..]),
        ("tray", &["40"]),
        ("cup", &["40"]),
        ("tape", &["33"]),
        ("stirrer", &["9"]),
    ] {
        receive(&app, material, "X", None, packs, "12");
    }
    let code = book(&app, all_of("grant-a"));
    let short = charge(&app, &code, because(all_of("grant-b"))).expect(409);
    assert_eq!(short.problem(), "shortage");
    verified(&app);
    pour(&app, &code);
    let refused = charge(&app, &code, because(all_of("grant-b"))).expect(409);
    assert_eq!(refused.problem(), "allowance-missing");
    assert_eq!(
        refused.json()["lots"],
        json!([{"lot": "KA", "funded_by": "grant-a"}, {"lot": "KA", "funded_by": "grant-a"}])
    );
    // A share of it is enough, as it is for the picking.
    charge(&app, &code, because(thirds())).expect(200);
    let mut leave = because(all_of("grant-b"));
    leave["allow_cross_charge"] = json!(true);
    let cast = charge(&app, &code, leave.clone()).expect(200).json();
    assert_eq!(cast["request"]["allow_cross_charge"], true);
    verified(&app);
    // The pour undone, the cast still holds what it may use by leave.
    app.post(&format!("/v1/casts/{code}/undo"), json!({}))
        .expect(200);
    let read = app.get(&format!("/v1/casts/{code}")).expect(200).json();
    assert_eq!(
        (&read["state"], &read["short"]),
        (&json!("booked"), &json!(false))
    );
    let second = book(&app, all_of("grant-a"));
    let planned = charge(&app, &second, leave).expect(200).json();
    let cautions = planned["plan"]["cautions"].to_string();
    assert!(cautions.contains("cross-charged"), "{cautions}");
    verified(&app);
}

#[test]
fn what_is_refused() {
    let app = TestApp::start();
    stocked(&app);
    let code = book(&app, all_of("grant-a"));
    pour(&app, &code);
    let pointers = |body: Value| charge(&app, &code, body).expect(422).pointers();
    let half = json!([{"grant": "grant-a", "share": "50"}]);
    assert_eq!(pointers(because(half)), ["/charges"]);
    let twice = json!([{"grant": "grant-a", "share": "50"}, {"grant": "grant-a", "share": "50"}]);
    assert_eq!(pointers(because(twice)), ["/charges/1/grant"]);
    assert_eq!(pointers(because(all_of("nobody"))), ["/charges/0/grant"]);
    assert_eq!(pointers(json!({"charges": [], "reason": " "})), ["/reason"]);
    assert_eq!(pointers(json!({"charges": []})), ["/reason"]);
    assert_eq!(pointers(json!({"reason": "r"})), ["/charges"]);
    app.post("/v1/grants/grant-b/retire", json!({})).expect(200);
    let late = charge(&app, &code, because(all_of("grant-b"))).expect(409);
    assert_eq!(late.problem(), "retired");
    let path = format!("/v1/casts/{code}/charges");
    let bare = app.post(&path, because(json!([]))).expect(428);
    assert_eq!(bare.problem(), "precondition-required");
    let stale = app.request("POST", &path).header("If-Match", "\"1\"");
    let stale = send(stale.json(&because(json!([])))).expect(412);
    assert_eq!(stale.problem(), "version-mismatch");
    app.post("/v1/casts/C-99999/charges", because(json!([])))
        .expect(404);
    let bench = app.role(Role::Bench);
    bench.post(&path, because(json!([]))).expect(403);
    let buyer = app.role(Role::Buyer);
    let etag = app
        .get(&format!("/v1/casts/{code}"))
        .expect(200)
        .header("etag")
        .to_owned();
    let once = || {
        let request = buyer
            .request("POST", &path)
            .header("If-Match", etag.clone());
        send(
            request
                .header("Idempotency-Key", "k")
                .json(&because(json!([]))),
        )
        .expect(200)
    };
    assert_eq!(
        once().text,
        once().text,
        "a repeat is answered from the books"
    );
    app.post(&format!("/v1/casts/{code}/undo"), json!({}))
        .expect(200);
    app.post(&format!("/v1/casts/{code}/cancel"), json!({}))
        .expect(200);
    let gone = charge(&app, &code, because(json!([]))).expect(409);
    assert_eq!(gone.problem(), "wrong-state");
    verified(&app);
}
