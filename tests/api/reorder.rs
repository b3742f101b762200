//! The advice and the warnings: what is written is seen by the next reader, and what is seen is what the books say.

use chrono::{Days, TimeDelta};
use heeltap::app::WORKERS;
use heeltap::base::Quantity;
use heeltap::http::Page;
use heeltap::http::Role;
use heeltap::stock::losing::{Loss, LossIn, pack_lose};
use heeltap::stock::views::lots_list;
use heeltap::stock::warnings::{AcknowledgeIn, warning_acknowledge};
use serde_json::{Value, json};

use crate::support::lab::{catalogue, day, micro, receive, stocked};
use crate::support::{TestApp, send};

/// The first pack of a lot.
fn pack_of(app: &TestApp, lot_id: i64) -> i64 {
    let lots = app.service.db().read(|conn| {
        lots_list(
            conn,
            None,
            None,
            Page {
                after: lot_id - 1,
                limit: 1,
            },
            day("2026-03-02"),
        )
    });
    lots.expect("the lots must be read")[0].packs[0].id
}

/// Uses some of a pack on a day, by a spill.
fn use_up(app: &TestApp, pack_id: i64, quantity: &str, on: &str) {
    let loss = LossIn {
        quantity: Some(Quantity::parse(quantity).expect("a quantity")),
        reason: "used".into(),
        on: Some(day(on)),
    };
    app.service
        .as_actor("test", |tx| pack_lose(tx, pack_id, Loss::Spill, &loss))
        .expect("the pack must hold as much");
}

/// Tissues with 27 weeks of 70 a week, the last on the Monday before the test begins, and 100 left.
fn tissues(app: &TestApp) -> i64 {
    let body = json!({"code": "tissue", "name": "Tissue", "kind": "sundry", "unit": "each", "lead_time_days": 10,
        "pack_quantity": "50"});
    app.post("/v1/materials", body).expect(201);
    app.clock.advance(TimeDelta::days(-190));
    let lots = receive_on(app, "2025-08-24", "1990");
    app.clock.advance(TimeDelta::days(190));
    let pack = pack_of(app, lots);
    for week in 0..27 {
        let on = day("2026-02-23") - Days::new(7 * (26 - week));
        use_up(app, pack, "70", &on.to_string());
    }
    pack
}

fn receive_on(app: &TestApp, on: &str, quantity: &str) -> i64 {
    use heeltap::base::Money;
    use heeltap::catalogue::material_by_code;
    use heeltap::stock::receive::{Receipt, lots_receive};
    let lots = app.service.as_actor("test", |tx| {
        let receipt = Receipt {
            material_id: material_by_code(tx.conn, "tissue")?.id,
            lot_code: on,
            kit_lot: None,
            kit_id: None,
            supplier_id: None,
            order_line_id: None,
            funded_by_id: None,
            received_on: day(on),
            expires_on: None,
            packs: &[Quantity::parse(quantity)?],
            landed_cost: Money::parse("40")?,
        };
        lots_receive(tx, &[receipt])
    });
    lots.expect("the delivery must be taken in")[0]
}

fn open_warnings(app: &TestApp) -> Vec<Value> {
    let answer = app.get("/v1/warnings?state=open").expect(200).json();
    answer["items"].as_array().cloned().unwrap_or_default()
}

#[test]
fn the_advice_has_the_promised_shape() {
    let app = TestApp::start();
    tissues(&app);
    let list = app.role(Role::Reader).get("/v1/reorder").expect(200).json();
    let items = list["items"].as_array().unwrap();
    assert_eq!(items.len(), 1);
    let advice = &items[0];
    for name in [
        "on_hand",
        "reserved",
        "on_order",
        "position",
        "usable",
        "known_demand",
        "daily_demand",
        "lead_time_days",
        "reorder_point",
        "safety_stock",
        "order_quantity",
    ] {
        assert!(advice[name].is_string(), "{name} is {}", advice[name]);
    }
    let says = |name: &str, expected: Value| assert_eq!(advice[name], expected, "{name}");
    says("material", json!("tissue"));
    says("kind", json!("material"));
    says("class", json!("smooth"));
    says("method", json!("exponential_smoothing"));
    says("on_hand", json!("100"));
    says("position", json!("100"));
    says("daily_demand", json!("10"));
    says("lead_time_days", json!("10"));
    says("runs_out_on", json!("2026-03-12"));
    says("order_by", json!("2026-03-02"));
    says("late", json!(true));
    says("due", json!(true));
    // Ninety days of ten a day, in packs of fifty.
    says("order_quantity", json!("900"));
    says("order_packs", json!(18));
    says("computed_on", json!("2026-03-02"));
    assert!(advice["runs_out_early_on"].as_str() <= advice["runs_out_on"].as_str());
    // 10 days of lead time, 1 of review, 3.5 by which a week's use undershoots: 145, and the safety stock on top.
    let above = micro(&advice["reorder_point"]) - micro(&advice["safety_stock"]);
    assert_eq!(above, 145_000_000);
}

#[test]
fn one_item_is_read_with_all_that_its_advice_rests_on() {
    let app = TestApp::start();
    tissues(&app);
    let detail = app.get("/v1/reorder/tissue").expect(200).json();
    let list = app.get("/v1/reorder").expect(200).json();
    for (name, value) in list["items"][0].as_object().unwrap() {
        assert_eq!(&detail[name], value, "{name}");
    }
    assert_eq!(detail["series"]["bucket_days"], 7);
    assert_eq!(detail["series"]["first_day"], "2025-08-25");
    assert_eq!(detail["series"]["quantities"], json!(vec!["70"; 27]));
    assert_eq!(detail["inputs"]["service_level"], "0.95");
    assert_eq!(
        detail["inputs"]["stock"],
        json!([{"on": "2026-03-02", "quantity": "100", "expires_on": null}])
    );
    assert_eq!(detail["projection"][9]["stock"], "0");
    assert_eq!(detail["projection"][10]["short"], "10");
    for code in ["nothing", "%20"] {
        let path = format!("/v1/reorder/{code}");
        assert_eq!(app.get(&path).expect(404).problem(), "not-found");
    }
}

#[test]
fn the_list_comes_in_pages() {
    let app = TestApp::start();
    stocked(&app);
    let mut seen = Vec::new();
    let mut path = "/v1/reorder?limit=3".to_owned();
    loop {
        let answer = app.get(&path).expect(200);
        let page = answer.json();
        let items = page["items"].as_array().unwrap();
        seen.extend(items.iter().map(|item| item["material"].clone()));
        let Some(next) = page["next"].as_str() else {
            assert_eq!(answer.header("link"), "");
            break;
        };
        assert_eq!(items.len(), 3);
        path = format!("/v1/reorder?limit=3&cursor={next}");
        assert_eq!(answer.header("link"), format!("<{path}>; rel=\"next\""));
    }
    assert_eq!(
        seen,
        ["base", "agent", "vial", "tray", "cup", "tape", "stirrer"]
    );
    assert_eq!(
        app.get("/v1/reorder?cursor=x").expect(400).problem(),
        "bad-query"
    );
    assert_eq!(
        app.get("/v1/warnings?state=shut").expect(400).problem(),
        "bad-query"
    );
}

#[test]
fn a_warning_lives_and_ends_with_its_cause() {
    let app = TestApp::start();
    tissues(&app);
    let raised = open_warnings(&app);
    assert_eq!(raised.len(), 1);
    let warning = &raised[0];
    let about = [
        &warning["kind"],
        &warning["subject_noun"],
        &warning["subject"],
    ];
    assert_eq!(about, ["order_by", "material", "tissue"]);
    assert_eq!(
        (&warning["severity"], &warning["due_on"]),
        (&json!(3), &json!("2026-03-02"))
    );
    let advice = app.get("/v1/reorder/tissue").expect(200).json();
    assert_eq!(warning["reason"], advice["reason"]);
    let id = warning["id"].as_i64().unwrap();
    let note = AcknowledgeIn {
        note: "on its way".into(),
    };
    app.service
        .as_actor("test", |tx| warning_acknowledge(tx, id, &note))
        .expect("the warning is open");
    app.clock.advance(TimeDelta::days(1));
    let again = open_warnings(&app);
    assert_eq!(again.len(), 1);
    assert_eq!(
        (&again[0]["id"], &again[0]["state"]),
        (&json!(id), &json!("acknowledged"))
    );
    let list = app.get("/v1/reorder").expect(200).json();
    assert_eq!(list["items"][0]["computed_on"], "2026-03-03");
    receive_on(&app, "2026-03-03", "1000");
    assert_eq!(open_warnings(&app), Vec::<Value>::new());
    let all = app.get("/v1/warnings").expect(200).json();
    assert_eq!(all["items"][0]["state"], "cleared");
}

#[test]
fn the_worker_does_what_a_reader_would() {
    let app = TestApp::start();
    tissues(&app);
    let worker = WORKERS
        .iter()
        .find(|worker| worker.name == "reorder advice")
        .expect("the worker");
    (worker.work)(&app.service).expect("the worker's turn");
    let raised = app.service.db().read(|conn| {
        heeltap::stock::warnings::warnings_list(
            conn,
            true,
            Page {
                after: 0,
                limit: 10,
            },
        )
    });
    assert_eq!(raised.expect("the warnings").len(), 1);
}

#[test]
fn a_booking_is_known_demand_at_once() {
    let app = TestApp::start();
    stocked(&app);
    let before = app.get("/v1/reorder/base").expect(200).json();
    assert_eq!(before["known_demand"], "0");
    let request = json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-10"});
    let cast = app.post("/v1/casts", request).expect(201).json();
    let needed = &cast["plan"]["mix"]["base_g"];
    let list = app.get("/v1/reorder").expect(200).json();
    let base = &list["items"][0];
    assert_eq!((&base["known_demand"], &base["reserved"]), (needed, needed));
    assert_eq!(micro(&base["usable"]), 1_000_000_000 - micro(needed));
    let path = format!("/v1/casts/{}/cancel", cast["code"].as_str().unwrap());
    app.post(&path, json!({})).expect(200);
    let after = app.get("/v1/reorder").expect(200).json();
    assert_eq!(after["items"][0]["known_demand"], "0");
}

#[test]
fn a_kit_on_order_counts_for_the_kit_and_its_parts() {
    let app = TestApp::start();
    stocked(&app);
    let kit = json!({"code": "kit", "name": "Kit", "elastomer": "el", "base_g": "1000", "curing_agent_g": "100"});
    app.post("/v1/kits", kit).expect(201);
    let file = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on\n\
        PO-1,1,Supplier,2026-02-20,,kit,,2,,,240,EUR,0,\n";
    app.post_text("/v1/purchase-imports", "text/csv", file)
        .expect(201);
    for (code, quantity, unit) in [
        ("kit", "2200", "kit"),
        ("base", "2000", "g"),
        ("agent", "200", "g"),
    ] {
        let advice = app.get(&format!("/v1/reorder/{code}")).expect(200).json();
        assert_eq!(advice["on_order"], quantity, "{code}");
        assert_eq!(advice["order_unit"], unit, "{code}");
    }
    let list = app.get("/v1/reorder").expect(200).json();
    let kit = list["items"]
        .as_array()
        .unwrap()
        .iter()
        .find(|item| item["kind"] == "kit")
        .expect("the kit is listed");
    assert_eq!(
        (&kit["usable"], &kit["lead_time_days"]),
        (&json!("1100"), &json!("14"))
    );
    receive(&app, "agent", "A9", None, &["1"], "1");
    // A part that came alone makes no mix.
    let list = app.get("/v1/reorder/kit").expect(200).json();
    assert_eq!(list["usable"], "1100");
}

#[test]
fn what_is_retired_is_advised_no_more() {
    let app = TestApp::start();
    let body = json!({"code": "old", "name": "Old", "kind": "sundry", "unit": "g", "stated_use_per_month": "30"});
    app.post("/v1/materials", body).expect(201);
    assert_eq!(open_warnings(&app).len(), 1);
    app.post("/v1/materials/old/retire", json!({})).expect(200);
    assert_eq!(open_warnings(&app).len(), 0);
    assert_eq!(
        app.get("/v1/reorder").expect(200).json()["items"],
        json!([])
    );
    app.get("/v1/reorder/old").expect(404);
}

#[test]
fn a_kit_says_what_work_at_another_ratio_would_use_up_its_rest() {
    let app = TestApp::start();
    stocked(&app);
    app.post(
        "/v1/kits",
        json!({"code": "kit", "name": "Kit", "elastomer": "el", "base_g": "1000", "curing_agent_g": "100"}),
    )
    .expect(201);
    let recipe = json!({"code": "soft", "name": "Soft chip", "elastomer": "el", "mold": "mold", "container": "tray",
        "cup": "cup", "chip_thickness_mm": "4", "drain_time_s": "60", "ratio": {"base": "20", "curing_agent": "1"}});
    app.post("/v1/recipes", recipe).expect(201);
    let parts = |app: &TestApp| app.get("/v1/reorder/kit").expect(200).json()["parts"].clone();
    assert_eq!(parts(&app)["ratio_work"], json!([]));
    // 20 g of agent dripped: 1000 and 80 g are left, of which 200 g of base would find no partner.
    let agent = pack_of(&app, 2);
    use_up(&app, agent, "20", "2026-03-02");
    let parts = parts(&app);
    assert_eq!(
        (&parts["binding"], &parts["stranded_base_g"]),
        (&json!("curing_agent"), &json!("200"))
    );
    // 400 g of base and 20 g of agent make 420 g at 20:1 and leave 600 and 60.
    assert_eq!(
        parts["ratio_work"],
        json!([{"recipe": "soft", "mix_g": "420", "uses_all": true}])
    );
    let kit = app.get("/v1/reorder/kit").json();
    let reason = kit["reason"].as_str().expect("a reason");
    assert!(
        reason.contains(
            "200 g of base would be left over, which 420 g of mix for recipe soft would use up"
        ),
        "{reason}"
    );
}

#[test]
fn the_service_level_may_be_meant_of_what_is_asked_for() {
    let app = TestApp::start();
    tissues(&app);
    let by_cycle = app.get("/v1/reorder/tissue").expect(200).json();
    let change = json!({"service_measure": "fill_rate"});
    let tag = app.get("/v1/materials/tissue").header("etag").to_owned();
    let request = app.request("PATCH", "/v1/materials/tissue");
    send(request.header("If-Match", tag).json(&change)).expect(200);
    let by_fill = app.get("/v1/reorder/tissue").expect(200).json();
    assert_eq!(by_cycle["inputs"]["service_measure"], "cycle");
    assert_eq!(by_fill["inputs"]["service_measure"], "fill_rate");
    // Most of what is asked for between two large orders is met anyway, so that less is kept for safety.
    assert!(
        micro(&by_fill["safety_stock"]) < micro(&by_cycle["safety_stock"]),
        "{by_fill}"
    );
    let wrong = json!({"service_measure": "luck"});
    let tag = app.get("/v1/materials/tissue").header("etag").to_owned();
    let request = app.request("PATCH", "/v1/materials/tissue");
    let refused = send(request.header("If-Match", tag).json(&wrong)).expect(422);
    assert!(refused.text.contains("fill_rate"), "{}", refused.text);
}

#[test]
fn a_refused_booking_and_one_made_in_time_are_told_apart_in_the_series() {
    let app = TestApp::start();
    stocked(&app);
    let refused = json!({"recipe": "chip", "containers": 60, "cast_on": "2026-03-02",
        "charges": [{"grant": "grant-a", "share": "100"}]});
    app.post("/v1/casts", refused).expect(409);
    app.clock.advance(TimeDelta::days(14));
    let base = app.get("/v1/reorder/base").expect(200).json();
    assert_eq!(base["all_demand"]["quantities"], json!([]));
    let unbooked = app.get("/v1/reorder/base").json()["inputs"]["notice_share"].clone();
    assert_eq!(
        unbooked[0], "1",
        "a refusal of the day itself gives no notice"
    );
}

/// No single figure that is sent is above a thousand million; sums of several are, and have to be read back when they were
/// kept: the advice on the stock, and the plan of a cast.
#[test]
fn sums_beyond_any_single_figure_are_kept_and_read() {
    const MOST: &str = "1000000000";
    let app = TestApp::start();
    catalogue(&app);
    for (material, packs) in [
        ("base", "1000"),
        ("agent", "100"),
        ("tray", "2"),
        ("cup", "9"),
        ("tape", "30"),
        ("vial", "9"),
        ("stirrer", "9"),
    ] {
        receive(&app, material, "L1", None, &[packs], MOST);
    }
    for lot in ["L2", "L3"] {
        receive(&app, "base", lot, None, &[MOST], MOST);
    }
    for _ in 0..2 {
        let list = app.get("/v1/reorder").expect(200).json();
        let base = &list["items"].as_array().unwrap()[0];
        assert_eq!(
            (&base["material"], &base["on_hand"]),
            (&json!("base"), &json!("2000001000"))
        );
    }
    app.service
        .db()
        .read(heeltap::reorder::advice_kept)
        .expect("advice that was kept");
    let request = json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-02", "allow_mixed_kits": true});
    let booked = app.post("/v1/casts", request).expect(201).json();
    let total = booked["plan"]["cost"]["total"].as_str().unwrap();
    assert!(
        total.len() > MOST.len() && total.split('.').next().unwrap().len() >= MOST.len(),
        "{total}"
    );
    let code = booked["code"].as_str().unwrap();
    let read = app.get(&format!("/v1/casts/{code}")).expect(200).json();
    assert_eq!(read["plan"]["cost"], booked["plan"]["cost"]);
    app.get("/v1/casts").expect(200);
}
