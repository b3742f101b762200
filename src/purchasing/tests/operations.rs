//! Imports and orders against the books, on the database of the run.

use chrono::NaiveDate;
use diesel::RunQueryDsl;
use serde_json::{Value, json};

use crate::base::{Currency, Error, Money, Quantity, RefusalKind};
use crate::catalogue::{
    CatalogueBody, ElastomerBody, GrantBody, KitBody, MaterialBody, SupplierBody, entry_create,
    entry_retire, supplier_all,
};
use crate::db::Db;
use crate::db::fixture::{on_database, write};
use crate::http::Page;
use crate::purchasing::ops::{
    ExchangeRate, ImportSettings, OrderState, OrderView, import_commit, import_get, import_list,
    import_preview, order_cancel, order_get, order_place, order_receive, rate_enter,
};
use crate::purchasing::order_input::{CancelIn, OrderIn, ReceiveIn};
use crate::purchasing::report::{ImportReport, Outcome};
use crate::stock::verify::verify;
use crate::stock::views::{LotView, lots_list};

const HEADER: &str = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on,rate,kit_lot,funded_by";

fn create<B: CatalogueBody>(db: &Db, body: Value) {
    let body: B = serde_json::from_value(body).expect("a document");
    write(db, |tx| entry_create(tx, body).map(|_| ())).expect("an entry");
}

/// Two materials that make an elastomer, its kit, trays, and a grant.
fn catalogue(db: &Db) {
    for (code, kind, unit) in [
        ("base", "elastomer_base", "g"),
        ("agent", "curing_agent", "g"),
        ("stirrer", "sundry", "each"),
    ] {
        let body =
            json!({"code": code, "name": code, "kind": kind, "unit": unit, "lead_time_days": 10});
        create::<MaterialBody>(db, body);
    }
    let elastomer = json!({"code": "el", "name": "El", "base": "base", "curing_agent": "agent",
        "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.02", "density_g_per_ml": "1.03",
        "viscosity_pa_s": "3.5", "pot_life_min": "90", "cure": [{"temperature_c": "60", "minutes": "240"}]});
    create::<ElastomerBody>(db, elastomer);
    create::<KitBody>(
        db,
        json!({"code": "kit-a", "name": "Kit", "elastomer": "el", "base_g": "1000", "curing_agent_g": "100"}),
    );
    create::<GrantBody>(db, json!({"code": "g-1", "name": "Grant"}));
}

fn on_stocked(test: impl Fn(&Db)) {
    on_database(|db| {
        catalogue(&db);
        test(&db);
        let proof = db.read(verify).expect("the books must be read");
        assert!(proof.ok, "{:?}", proof.breaches);
    });
}

fn file(rows: &[&str]) -> Vec<u8> {
    format!("{HEADER}\n{}\n", rows.join("\n")).into_bytes()
}

fn commit(db: &Db, bytes: &[u8]) -> Result<ImportReport, Error> {
    write(db, |tx| {
        import_commit(tx, bytes, &ImportSettings::default())
    })
}

fn preview(db: &Db, bytes: &[u8]) -> ImportReport {
    let circumstances = (
        day("2026-03-04"),
        Currency::parse("EUR").expect("a currency"),
    );
    db.read(|conn| import_preview(conn, bytes, &ImportSettings::default(), circumstances))
        .expect("a report")
}

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

fn lots(db: &Db) -> Vec<LotView> {
    db.read(|conn| {
        lots_list(
            conn,
            None,
            None,
            Page {
                after: 0,
                limit: 1_000,
            },
            day("2026-03-04"),
        )
    })
    .expect("the lots")
}

fn order(db: &Db, code: &str) -> OrderView {
    db.read(|conn| order_get(conn, code)).expect("the order")
}

/// A report without what only a commit has.
fn without_ids(mut report: ImportReport) -> ImportReport {
    (report.id, report.dry_run) = (None, true);
    for lot in report.rows.iter_mut().flat_map(|row| &mut row.lots) {
        lot.id = None;
    }
    report
}

const KIT: &str =
    "O-1,1,North,2026-01-20,2026-02-03,kit-a,K7,2,,,220.00,EUR,11.00,2027-02-01,,,g-1";
const STIRRERS: &str = "O-1,2,North,2026-01-20,2026-02-03,stirrer,S1,1,500,each,55.00,EUR,,,,,";
const OPEN: &str = "O-1,3,North,2026-01-20,,base,,1,5,kg,400.00,EUR,,,,,";

#[test]
fn a_file_becomes_orders_lines_and_lots_as_its_dry_run_said() {
    on_stocked(|db| {
        let bytes = file(&[KIT, STIRRERS, OPEN]);
        let said = preview(db, &bytes);
        assert!(lots(db).is_empty(), "a dry run writes nothing");
        let done = commit(db, &bytes).unwrap();
        assert_eq!(
            (done.id, done.dry_run, done.lots_created),
            (Some(1), false, 3)
        );
        assert_eq!(without_ids(done.clone()), said);
        let lots = lots(db);
        let told: Vec<_> = lots
            .iter()
            .map(|lot| {
                let cost = lot.landed_cost.to_string();
                (
                    lot.material.as_str(),
                    lot.lot.as_str(),
                    lot.kit_lot.as_deref(),
                    cost,
                )
            })
            .collect();
        let expected = [
            ("base", "K7", Some("K7"), "208"),
            ("agent", "K7", Some("K7"), "20.8"),
            ("stirrer", "S1", None, "57.2"),
        ];
        let expected = expected.map(|(m, l, k, cost)| (m, l, k, cost.to_owned()));
        assert_eq!(told, expected);
        assert_eq!(lots[0].packs.len(), 2);
        assert_eq!(lots[0].on_hand, Quantity::from_int(2_000));
        assert_eq!(lots[0].funded_by.as_deref(), Some("g-1"));
        assert_eq!(lots[0].supplier.as_deref(), Some("North"));
        let ids: Vec<Vec<Option<i64>>> = done
            .rows
            .iter()
            .map(|row| row.lots.iter().map(|lot| lot.id).collect())
            .collect();
        let id = |at: usize| Some(lots[at].id);
        assert_eq!(ids, [vec![id(0), id(1)], vec![id(2)], vec![]]);
        let order = order(db, "O-1");
        assert_eq!(order.state, OrderState::PartlyReceived);
        assert_eq!(order.lines[0].lots, [lots[0].id, lots[1].id]);
        assert_eq!(order.lines[2].expected_on, Some(day("2026-01-30")));
        let kept = db.read(|conn| import_get(conn, 1)).unwrap();
        assert_eq!(kept.report, done);
        let page = Page {
            after: 0,
            limit: 10,
        };
        let list = db.read(|conn| import_list(conn, page)).unwrap();
        assert_eq!((list.len(), list[0].lots_created), (1, 3));
        assert_eq!(list[0].created_by, "tester");
    });
}

#[test]
fn the_same_file_again_writes_nothing() {
    on_stocked(|db| {
        let bytes = file(&[KIT, STIRRERS, OPEN]);
        commit(db, &bytes).unwrap();
        let again = commit(db, &bytes).unwrap();
        assert_eq!((again.id, again.lots_created), (Some(1), 0));
        assert_eq!(again.count(Outcome::AlreadyImported), 3);
        // The same lines in another file: there is no import to point at.
        let other = commit(db, &file(&[STIRRERS, KIT, OPEN])).unwrap();
        assert_eq!((other.id, other.lots_created), (None, 0));
        assert_eq!(lots(db).len(), 3);
        let page = Page {
            after: 0,
            limit: 10,
        };
        assert_eq!(db.read(|conn| import_list(conn, page)).unwrap().len(), 1);
    });
}

#[test]
fn with_one_bad_row_nothing_is_written_and_every_bad_row_is_named() {
    on_stocked(|db| {
        let bad = STIRRERS.replace("stirrer", "spoon").replace("North", "New");
        let bytes = file(&[KIT, &bad, &OPEN.replace("base,,1", "base,,0")]);
        match commit(db, &bytes) {
            Err(Error::Refused(refusal)) => {
                assert_eq!(refusal.kind, RefusalKind::ImportRejected);
                let rows = refusal.members["rows"].as_array().unwrap();
                let lines: Vec<_> = rows.iter().map(|row| row["line"].as_u64()).collect();
                assert_eq!(lines, [Some(3), Some(4)]);
                assert_eq!(rows[0]["errors"][0]["column"], "item");
                assert_eq!(rows[0]["errors"][0]["value"], "spoon");
            }
            other => panic!("{other:?}"),
        }
        assert!(lots(db).is_empty());
        assert!(
            db.read(supplier_all).unwrap().is_empty(),
            "not even a supplier"
        );
        assert!(db.read(|conn| order_get(conn, "O-1")).is_err());
        let said = preview(db, &bytes);
        assert_eq!((said.count(Outcome::Error), said.lots_created), (2, 0));
        assert_eq!(said.rows[0].outcome, Outcome::Created);
    });
}

#[test]
fn a_file_that_is_none_is_refused_with_its_line() {
    on_stocked(|db| match commit(db, b"order_no;line_no\n") {
        Err(Error::Refused(refusal)) => {
            assert_eq!(refusal.kind, RefusalKind::ImportRejected);
            assert_eq!(refusal.members["rows"], json!([]));
            assert_eq!(refusal.members["line"], 1);
        }
        other => panic!("{other:?}"),
    });
}

#[test]
fn a_line_on_order_is_received_by_a_later_file() {
    on_stocked(|db| {
        commit(db, &file(&[OPEN])).unwrap();
        let arrived = OPEN.replace("2026-01-20,,base,,", "2026-01-20,2026-03-01,base,B9,");
        let done = commit(db, &file(&[&arrived])).unwrap();
        assert_eq!(
            (done.rows[0].outcome, done.lots_created),
            (Outcome::Created, 1)
        );
        let order = order(db, "O-1");
        assert_eq!(order.state, OrderState::Received);
        assert_eq!(order.lines[0].landed_cost, Some(Money::from_int(400)));
        assert_eq!(order.lines[0].lot.as_deref(), Some("B9"));
        assert_eq!(order.lines[0].lots, [lots(db)[0].id]);
        let again = commit(db, &file(&[&arrived])).unwrap();
        assert_eq!(again.rows[0].outcome, Outcome::AlreadyImported);
        // The file that ordered it is now older than the books, and says so.
        match commit(db, &file(&[OPEN])) {
            Err(Error::Refused(refusal)) => {
                let errors = refusal.members["rows"][0]["errors"].as_array().unwrap();
                assert!(
                    errors.iter().any(|e| e["column"] == "received_on"),
                    "{errors:?}"
                );
            }
            other => panic!("{other:?}"),
        }
    });
}

#[test]
fn suppliers_are_created_once_and_found_again() {
    on_stocked(|db| {
        create::<SupplierBody>(db, json!({"code": "s-1", "name": "Known Ltd."}));
        let rows = [
            KIT.replace("North", "Known Ltd."),
            STIRRERS.replace("O-1", "O-2").replace("North", "New & Co"),
            STIRRERS.replace("O-1", "O-3").replace("North", "New-Co"),
        ];
        let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
        commit(db, &file(&rows)).unwrap();
        let codes: Vec<String> = db
            .read(supplier_all)
            .unwrap()
            .into_iter()
            .map(|entry| entry.code.to_string())
            .collect();
        assert_eq!(codes, ["s-1", "New-Co"]);
        assert_eq!(order(db, "O-1").supplier, "s-1");
        assert_eq!(order(db, "O-3").supplier, "New-Co");
        write(db, |tx| entry_retire::<SupplierBody>(tx, "s-1").map(|_| ())).unwrap();
        let said = preview(
            db,
            &file(&[&KIT.replace("O-1", "O-4").replace("North", "s-1")]),
        );
        assert_eq!(said.rows[0].errors[0].column, "supplier");
    });
}

#[test]
fn another_currency_is_converted_by_the_books_rate() {
    on_stocked(|db| {
        let usd = STIRRERS.replace("EUR", "USD");
        let said = preview(db, &file(&[&usd]));
        assert!(
            said.rows[0].errors[0]
                .detail
                .contains("USD to EUR for 2026-02-03")
        );
        let rate: ExchangeRate = serde_json::from_value(
            json!({"currency": "USD", "rate_on": "2026-01-30", "rate": "1.1", "quote": "foreign_per_base"}),
        )
        .unwrap();
        write(db, |tx| rate_enter(tx, &rate)).unwrap();
        commit(db, &file(&[&usd])).unwrap();
        assert_eq!(lots(db)[0].landed_cost, Money::from_int(50));
    });
}

#[test]
fn a_closed_period_takes_no_receipt_but_knows_its_own() {
    on_stocked(|db| {
        commit(db, &file(&[KIT])).unwrap();
        write(db, |tx| {
            let close = "UPDATE period_guard SET closed_through = '2026-02-28'";
            Ok(diesel::sql_query(close).execute(tx.conn)?)
        })
        .unwrap();
        let said = preview(db, &file(&[KIT, STIRRERS]));
        assert_eq!(said.rows[0].outcome, Outcome::AlreadyImported);
        assert_eq!(said.rows[1].errors[0].column, "received_on");
    });
}

#[test]
fn two_who_import_one_file_at_once_make_its_lots_once() {
    on_stocked(|db| {
        let bytes = file(&[KIT, STIRRERS, OPEN]);
        let reports: Vec<ImportReport> = std::thread::scope(|scope| {
            let threads: Vec<_> = (0..4)
                .map(|_| scope.spawn(|| commit(db, &bytes).unwrap()))
                .collect();
            threads.into_iter().map(|t| t.join().unwrap()).collect()
        });
        let made: Vec<u64> = reports
            .iter()
            .map(|r| r.lots_created)
            .filter(|n| *n > 0)
            .collect();
        assert_eq!(made, [3]);
        assert!(reports.iter().all(|report| report.id == Some(1)));
        assert_eq!(lots(db).len(), 3);
    });
}

#[test]
fn many_rows_go_in_lists() {
    on_stocked(|db| {
        let rows: Vec<String> = (1..=2_500)
            .map(|no| {
                format!(
                    "O-{},{no},North,2026-01-20,,base,,1,5,kg,4.00,EUR,,,,,",
                    no / 7
                )
            })
            .collect();
        let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
        let done = commit(db, &file(&rows)).unwrap();
        assert_eq!(done.count(Outcome::Ordered), 2_500);
        assert_eq!(order(db, "O-3").lines.len(), 7);
        let again = commit(db, &file(&rows)).unwrap();
        assert_eq!(again.count(Outcome::AlreadyImported), 2_500);
    });
}

fn order_in() -> OrderIn {
    serde_json::from_value(json!({
        "order_no": "2026/7", "supplier": "North", "ordered_on": "2026-03-01",
        "lines": [
            {"line_no": 1, "item": "kit-a", "packs": 1, "line_price": "110"},
            {"line_no": 2, "item": "stirrer", "packs": 1, "pack_quantity": "500", "unit": "each", "line_price": "55"},
        ],
    }))
    .expect("an order")
}

fn receive_in(lines: Value) -> ReceiveIn {
    serde_json::from_value(json!({"received_on": "2026-03-03", "lines": lines}))
        .expect("an arrival")
}

#[test]
fn an_order_is_placed_received_line_by_line_and_its_rest_cancelled() {
    on_stocked(|db| {
        let (placed, new) = write(db, |tx| order_place(tx, &order_in())).unwrap();
        assert!(new && placed.state == OrderState::Ordered);
        assert_eq!(placed.lines[0].expected_on, None);
        assert_eq!(placed.lines[1].expected_on, Some(day("2026-03-11")));
        let (_, new) = write(db, |tx| order_place(tx, &order_in())).unwrap();
        assert!(!new, "the same order again");
        let arrival = receive_in(json!([{"line_no": 1, "lot": "K8", "freight": "11"}]));
        let order = write(db, |tx| order_receive(tx, "2026/7", &arrival)).unwrap();
        assert_eq!(order.state, OrderState::PartlyReceived);
        assert_eq!(order.lines[0].landed_cost, Some(Money::from_int(121)));
        assert_eq!(lots(db).len(), 2);
        let again = write(db, |tx| order_receive(tx, "2026/7", &arrival));
        assert!(matches!(again, Err(Error::Refused(r)) if r.kind == RefusalKind::WrongState));
        let order = write(db, |tx| order_cancel(tx, "2026/7", &CancelIn::default())).unwrap();
        assert_eq!(order.state, OrderState::Received);
        let again = write(db, |tx| order_cancel(tx, "2026/7", &CancelIn::default()));
        assert!(matches!(again, Err(Error::Refused(r)) if r.kind == RefusalKind::WrongState));
    });
}

#[test]
fn an_orders_faults_come_back_at_their_fields() {
    on_stocked(|db| {
        let mut wrong = order_in();
        wrong.supplier = "x".repeat(201);
        wrong.lines[0].item = "spoon".to_owned();
        wrong.lines[1].unit = Some("oz".to_owned());
        match write(db, |tx| order_place(tx, &wrong)) {
            Err(Error::Invalid(errors)) => {
                let pointers: Vec<&str> = errors.iter().map(|e| e.pointer.as_str()).collect();
                assert_eq!(pointers, ["/supplier", "/lines/1/unit"]);
            }
            other => panic!("{other:?}"),
        }
        let mut other = order_in();
        write(db, |tx| order_place(tx, &other)).unwrap();
        other.lines[0].line_price = Money::from_int(1);
        let taken = write(db, |tx| order_place(tx, &other));
        assert!(matches!(taken, Err(Error::Refused(r)) if r.kind == RefusalKind::AlreadyExists));
        for (lines, pointer) in [
            (json!([{"line_no": 9, "lot": "L"}]), "/lines/0/line_no"),
            (json!([{"line_no": 1}]), "/lines/0/lot"),
            (json!([]), "/lines"),
            (
                json!([{"line_no": 1, "lot": "L"}, {"line_no": 1, "lot": "L"}]),
                "/lines/1/line_no",
            ),
        ] {
            match write(db, |tx| {
                order_receive(tx, "2026/7", &receive_in(lines.clone()))
            }) {
                Err(Error::Invalid(errors)) => assert_eq!(errors[0].pointer, pointer),
                other => panic!("{other:?}"),
            }
        }
        let missing = write(db, |tx| order_cancel(tx, "O-9", &CancelIn::default()));
        assert!(matches!(missing, Err(Error::NotFound { .. })));
        let lines = CancelIn {
            lines: Some(vec![2, 5]),
        };
        match write(db, |tx| order_cancel(tx, "2026/7", &lines)) {
            Err(Error::Invalid(errors)) => assert_eq!(errors[0].pointer, "/lines/1"),
            other => panic!("{other:?}"),
        }
    });
}
