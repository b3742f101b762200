//! Kits: watched as mix, bound by the part that runs out, ordered as kits.

use serde_json::json;

use super::*;
use crate::catalogue::{ElastomerBody, KitBody, SupplierBody, entry_retire};
use crate::http::Page;

const TODAY: &str = "2026-03-02";

/// An elastomer 10:1 and a kit of 1000 g and 100 g; gives the ids of base, agent and kit.
fn kit(db: &Db) -> (i64, i64, i64) {
    let base = material(db, "base", json!({"kind": "elastomer_base"}));
    let agent = material(db, "agent", json!({"kind": "curing_agent"}));
    create::<ElastomerBody>(
        db,
        json!({"code": "el", "name": "El", "base": "base", "curing_agent": "agent",
            "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.05", "density_g_per_ml": "1.03",
            "viscosity_pa_s": "3.5", "pot_life_min": "90", "cure": [{"temperature_c": "80", "minutes": "120"}]}),
    );
    let kit = create::<KitBody>(
        db,
        json!({"code": "kit", "name": "Kit", "elastomer": "el", "base_g": "1000", "curing_agent_g": "100"}),
    );
    (base, agent, kit)
}

/// A kit lot with so much of either part; gives the packs.
fn kit_lot(db: &Db, ids: (i64, i64, i64), code: &str, grams: (i32, i32)) -> (i64, i64) {
    let lot = |packs| Lot {
        code,
        kit: Some((code, ids.2)),
        received_on: "2025-05-01",
        expires_on: Some("2027-05-01"),
        packs,
        cost: 110,
    };
    (
        receive(db, ids.0, lot(&[grams.0]))[0],
        receive(db, ids.1, lot(&[grams.1]))[0],
    )
}

fn use_weekly(db: &Db, packs: (i64, i64), grams: (i32, i32)) {
    weekly_use(db, packs.0, grams.0);
    weekly_use(db, packs.1, grams.1);
}

#[test]
fn a_kit_is_watched_as_the_mix_it_makes() {
    on_database(|db| {
        let ids = kit(&db);
        let packs = kit_lot(&db, ids, "K1", (4000, 400));
        use_weekly(&db, packs, (70, 7));
        refreshed(&db, TODAY);
        let found = kept(&db, "kit").unwrap();
        assert_eq!(
            (&found["kind"], &found["unit"]),
            (&json!("kit"), &json!("g"))
        );
        // 1200 g and 120 g are left, 77 g of mix a week.
        assert_eq!(
            (&found["usable"], &found["daily_demand"]),
            (&json!("1320"), &json!("11"))
        );
        assert_eq!(found["runs_out_on"], "2026-06-30");
        assert_eq!(found["parts"]["binding"], json!(null));
        assert_eq!(found["order_unit"], "kit");
        // Ninety days of 11 g are 990 g, which one kit of 1100 g covers.
        assert_eq!(
            (&found["order_quantity"], &found["order_packs"]),
            (&json!("1"), &json!(1))
        );
        let part = kept(&db, "agent").unwrap();
        assert_eq!(
            (&part["kit"], &part["usable"]),
            (&json!("kit"), &json!("120"))
        );
        let reason = part["reason"].as_str().unwrap();
        assert!(reason.ends_with("; it is ordered as kit kit."), "{reason}");
    });
}

#[test]
fn the_part_that_binds_is_named_and_the_kit_is_warned_of_alone() {
    on_database(|db| {
        let ids = kit(&db);
        let packs = kit_lot(&db, ids, "K1", (4000, 294));
        use_weekly(&db, packs, (70, 7));
        refreshed(&db, TODAY);
        let found = kept(&db, "kit").unwrap();
        // 14 g of agent make 154 g of mix, 14 days.
        assert_eq!(
            (&found["usable"], &found["on_hand"]),
            (&json!("154"), &json!("154"))
        );
        assert_eq!(found["runs_out_on"], "2026-03-16");
        assert_eq!(
            (
                &found["parts"]["binding"],
                &found["parts"]["stranded_base_g"]
            ),
            (&json!("curing_agent"), &json!("1060"))
        );
        let reason = found["reason"].as_str().unwrap();
        assert!(reason.contains("curing agent binds"), "{reason}");
        let warned = open(&db);
        assert_eq!(warned.len(), 1, "{warned:?}");
        assert_eq!(
            (warned[0].0.as_str(), warned[0].1.as_str()),
            ("order_by", "kit")
        );
    });
}

#[test]
fn a_kit_lasts_no_longer_than_a_part_that_is_used_faster() {
    on_database(|db| {
        let ids = kit(&db);
        let packs = kit_lot(&db, ids, "K1", (4000, 560));
        // Twice the agent that the ratio asks for: 1200 g of base, but no agent left.
        use_weekly(&db, packs, (70, 13));
        refreshed(&db, TODAY);
        let found = kept(&db, "kit").unwrap();
        let agent = kept(&db, "agent").unwrap();
        // 40 g of agent at 13 g a week last 21 days; the mix they make at the ratio would last 37.
        assert_eq!(agent["runs_out_on"], "2026-03-23");
        assert_eq!(found["runs_out_on"], "2026-03-23");
        assert_eq!(found["order_by"], agent["order_by"]);
        let reason = found["reason"].as_str().unwrap();
        assert!(
            reason.starts_with("Its curing agent binds: with 40 g usable"),
            "{reason}"
        );
    });
}

#[test]
fn kits_on_order_arrive_as_mix_and_as_parts() {
    on_database(|db| {
        let ids = kit(&db);
        let supplier_id = create::<SupplierBody>(&db, json!({"code": "s", "name": "S"}));
        order(
            &db,
            &Order {
                code: "PO-1",
                supplier_id,
                item_id: ids.2,
                packs: 2,
                pack_grams: None,
                ordered_on: "2026-02-20",
                expected_on: Some("2026-03-09"),
                received_on: None,
            },
        );
        refreshed(&db, TODAY);
        for (code, quantity) in [("kit", "2200"), ("base", "2000"), ("agent", "200")] {
            assert_eq!(kept(&db, code).unwrap()["on_order"], quantity, "{code}");
        }
        refreshed(&db, "2026-03-10");
        let warned = open(&db);
        assert_eq!(
            warned,
            [(
                "overdue_order".into(),
                "PO-1/1".into(),
                2,
                Some(day("2026-03-09"))
            )]
        );
    });
}

#[test]
fn a_part_without_its_partner_is_stranded() {
    on_database(|db| {
        let ids = kit(&db);
        let (_, agent) = kit_lot(&db, ids, "K1", (300, 30));
        kit_lot(&db, ids, "K2", (1000, 100));
        refreshed(&db, TODAY);
        assert_eq!(open(&db), []);
        use_up(&db, agent, 30, TODAY);
        refreshed(&db, TODAY);
        assert_eq!(open(&db), [("stranded".into(), "base".into(), 1, None)]);
        // Its rest is written off, or so little is left that it is not worth a word.
        let base = db
            .read(|conn| {
                lots_list(
                    conn,
                    Some(ids.0),
                    None,
                    Page {
                        after: 0,
                        limit: 10,
                    },
                    day(TODAY),
                )
            })
            .unwrap()[0]
            .packs[0]
            .id;
        use_up(&db, base, 280, TODAY);
        refreshed(&db, TODAY);
        assert_eq!(open(&db), []);
    });
}

#[test]
fn mix_expires_with_the_part_that_expires_first() {
    on_database(|db| {
        let ids = kit(&db);
        let lot = |code, kit, expires_on, packs| Lot {
            code,
            kit: Some((kit, ids.2)),
            received_on: "2026-01-05",
            expires_on: Some(expires_on),
            packs,
            ..Lot::default()
        };
        receive(&db, ids.0, lot("B", "K1", "2026-12-31", &[1000]));
        receive(&db, ids.1, lot("A", "K1", "2026-03-31", &[40]));
        receive(&db, ids.1, lot("A2", "K1", "2026-06-30", &[60]));
        receive(&db, ids.0, lot("B3", "K3", "2026-02-28", &[1000]));
        receive(&db, ids.1, lot("A3", "K3", "2026-12-31", &[100]));
        refreshed(&db, TODAY);
        let found = kept(&db, "kit").unwrap();
        assert_eq!(
            (&found["on_hand"], &found["usable"]),
            (&json!("2200"), &json!("1100"))
        );
        // Nothing is used: 440 g of mix are lost with 40 g of agent, 660 g with 60 g.
        let lost: Vec<_> = found["expiring"]
            .as_array()
            .unwrap()
            .iter()
            .map(|lost| {
                (
                    lost["on"].as_str().unwrap(),
                    lost["quantity"].as_str().unwrap(),
                )
            })
            .collect();
        assert_eq!(lost, [("2026-03-31", "440"), ("2026-06-30", "660")]);
    });
}

#[test]
fn of_two_kits_of_one_elastomer_the_last_ordered_is_watched() {
    on_database(|db| {
        let ids = kit(&db);
        let large = create::<KitBody>(
            &db,
            json!({"code": "large", "name": "Large", "elastomer": "el", "base_g": "5000", "curing_agent_g": "500"}),
        );
        let packs = kit_lot(&db, ids, "K1", (2900, 290));
        use_weekly(&db, packs, (70, 7));
        refreshed(&db, TODAY);
        let warned = |db: &Db| {
            open(db)
                .into_iter()
                .map(|found| found.1)
                .collect::<Vec<_>>()
        };
        assert_eq!(warned(&db), ["kit"]);
        let supplier_id = create::<SupplierBody>(&db, json!({"code": "s", "name": "S"}));
        order(
            &db,
            &Order {
                code: "PO-1",
                supplier_id,
                item_id: large,
                packs: 1,
                pack_grams: None,
                ordered_on: "2025-05-01",
                expected_on: None,
                received_on: Some("2025-05-11"),
            },
        );
        refreshed(&db, "2026-03-03");
        assert_eq!(warned(&db), ["large"]);
        assert_eq!(kept(&db, "base").unwrap()["kit"], "large");
        on(&db, "2026-03-03", |tx| {
            entry_retire::<KitBody>(tx, "large").map(drop)
        });
        refreshed(&db, "2026-03-03");
        assert_eq!(warned(&db), ["kit"]);
        assert_eq!(kept(&db, "large"), None);
    });
}
