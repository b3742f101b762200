//! Creating, finding and changing.

use serde_json::{Map, Value, json};

use super::{create, elastomer, lab, material, mold, pointers, recipe, refusal};
use crate::base::{Error, Money};
use crate::catalogue::{
    ElastomerBody, EntryOut, EntryState, Item, KitBody, MaterialBody, MoldBody, RecipeBody,
    codes_by_ids, elastomer_by_code, entry_change, entry_list, entry_retire, item_by_code,
    kits_of_elastomer, links_of, links_to, material_all, material_by_code, material_by_id,
    materials_by_ids, recipe_facts,
};
use crate::db::fixture::{on_database, write, write_at};
use crate::db::schema::{cost_pools, dirty_materials, materials, pool_movements};
use crate::db::{AnyConnection, Db};
use crate::http::{IfMatch, MergePatch, Page};
use diesel::prelude::*;

fn kit(code: &str) -> Value {
    json!({"code": code, "name": "Kit", "elastomer": "el", "base_g": "1000", "curing_agent_g": "100"})
}

fn patch<B: crate::catalogue::CatalogueBody>(
    db: &Db,
    code: &str,
    members: Value,
    version: Option<i64>,
) -> Result<EntryOut<B>, Error> {
    let Value::Object(members) = members else {
        panic!("a patch is an object")
    };
    let if_match = IfMatch::of(version);
    write(db, |tx| {
        entry_change::<B>(tx, code, MergePatch::new(members), &if_match)
    })
}

fn dirty(conn: &mut AnyConnection) -> Result<Vec<i64>, Error> {
    Ok(dirty_materials::table
        .order(dirty_materials::material_id)
        .select(dirty_materials::material_id)
        .load(conn)?)
}

#[test]
fn what_is_created_is_found_as_it_was_sent() {
    on_database(|db| {
        let sent = material(
            "base",
            "elastomer_base",
            "g",
            json!({"density_g_per_ml": "1.03", "hazard_statements": ["H319"]}),
        );
        let made = create::<MaterialBody>(&db, sent.clone()).unwrap();
        assert_eq!((made.version, made.retired_at), (1, None));
        assert_eq!(made.created_at.to_string(), "2026-03-04 10:00:00 UTC");
        assert_eq!(serde_json::to_value(&made.body).unwrap(), sent);
        db.read(|conn| {
            let found = material_by_code(conn, "base")?;
            assert_eq!(found.body, made.body);
            assert_eq!(material_by_id(conn, found.id)?, found);
            assert_eq!(
                (found.code.as_str(), found.name.as_str()),
                ("base", "Material base")
            );
            assert!(matches!(
                material_by_code(conn, "Base"),
                Err(Error::NotFound {
                    noun: "material",
                    ..
                })
            ));
            assert!(matches!(
                elastomer_by_code(conn, "base"),
                Err(Error::NotFound {
                    noun: "elastomer",
                    ..
                })
            ));
            let stock: (String, String) = materials::table
                .find(found.id)
                .select((materials::kind, materials::unit))
                .first(conn)?;
            assert_eq!(stock, ("elastomer_base".to_owned(), "g".to_owned()));
            assert_eq!(dirty(conn)?, [found.id]);
            Ok(())
        })
        .unwrap();
    });
}

#[test]
fn every_fault_of_a_document_is_told_at_once() {
    on_database(|db| {
        let bad = material(
            "base",
            "elastomer_base",
            "mL",
            json!({"name": "", "heel": "-1"}),
        );
        assert_eq!(
            pointers(create::<MaterialBody>(&db, bad)),
            ["/name", "/unit", "/heel"]
        );
    });
}

#[test]
fn a_reference_must_exist_and_be_of_the_right_kind() {
    on_database(|db| {
        lab(&db);
        create::<KitBody>(&db, kit("kit")).unwrap();
        let changes = json!({"code": "chip-2", "elastomer": "none", "container": "kit", "cup": "tape", "tape": null,
            "extras": [{"material": "base", "quantity": "1", "per": "cast"}]});
        let outcome = create::<RecipeBody>(&db, recipe(changes));
        let Err(Error::Invalid(faults)) = outcome else {
            panic!("it was accepted")
        };
        let found: Vec<(&str, &str)> = faults
            .iter()
            .map(|f| (f.pointer.as_str(), f.detail.as_str()))
            .collect();
        assert_eq!(
            found,
            [
                (
                    "/elastomer",
                    "there is no elastomer \"none\": create it first, or send the code of an elastomer"
                ),
                (
                    "/container",
                    "\"kit\" is a kit: send the code of a material of kind container"
                ),
                (
                    "/cup",
                    "\"tape\" is of kind tape: send the code of a material of kind mixing_cup or container"
                ),
                (
                    "/extras/0/material",
                    "\"base\" is of kind elastomer_base: send the code of a material of kind sundry or release_agent or container or mixing_cup or tape"
                ),
            ]
        );
    });
}

#[test]
fn a_code_is_never_given_twice() {
    on_database(|db| {
        lab(&db);
        create::<KitBody>(&db, kit("kit")).unwrap();
        let taken = create::<MaterialBody>(&db, material("kit", "sundry", "g", json!({})));
        assert_eq!(
            refusal(taken),
            (
                "already-exists",
                json!({"code": "kit", "noun": "kit", "retired": false})
            )
        );
        write(&db, |tx| entry_retire::<KitBody>(tx, "kit")).unwrap();
        let again = create::<KitBody>(&db, kit("kit"));
        assert_eq!(
            refusal(again),
            (
                "already-exists",
                json!({"code": "kit", "noun": "kit", "retired": true})
            )
        );
        // Another noun has codes of its own.
        create::<MoldBody>(&db, mold(json!({"code": "kit"}))).unwrap();
    });
}

#[test]
fn nothing_that_is_retired_is_named_anew() {
    on_database(|db| {
        lab(&db);
        write(&db, |tx| entry_retire::<RecipeBody>(tx, "chip")).unwrap();
        write(&db, |tx| entry_retire::<MoldBody>(tx, "mold")).unwrap();
        let outcome = create::<RecipeBody>(&db, recipe(json!({"code": "chip-2"})));
        assert_eq!(
            refusal(outcome),
            ("retired", json!({"pointer": "/mold", "code": "mold"}))
        );
    });
}

#[test]
fn a_recipe_comes_with_everything_it_names() {
    on_database(|db| {
        lab(&db);
        db.read(|conn| {
            let facts = recipe_facts(conn, "chip")?;
            let codes = [
                &facts.elastomer.code,
                &facts.base.code,
                &facts.curing_agent.code,
                &facts.mold.code,
                &facts.container.code,
                &facts.cup.code,
            ];
            assert_eq!(
                codes.map(|code| code.as_str()),
                ["el", "base", "agent", "mold", "tray", "cup"]
            );
            assert_eq!(facts.tape.map(|tape| tape.body.tape.is_some()), Some(true));
            assert_eq!(
                facts.release_agent.map(|agent| agent.code.into_string()),
                Some("release".to_owned())
            );
            let extras: Vec<&str> = facts
                .extras
                .iter()
                .map(|(entry, _)| entry.code.as_str())
                .collect();
            assert_eq!(extras, ["stick", "glove"]);
            assert!(matches!(
                recipe_facts(conn, "none"),
                Err(Error::NotFound { noun: "recipe", .. })
            ));
            Ok(())
        })
        .unwrap();
        create::<RecipeBody>(&db, recipe(json!({"code": "bare", "tape": null, "release_agent": null, "extras": null, "cup": "tray"}))).unwrap();
        let bare = db.read(|conn| recipe_facts(conn, "bare")).unwrap();
        assert_eq!(
            (bare.tape, bare.release_agent, bare.extras),
            (None, None, vec![])
        );
        assert_eq!(bare.cup, bare.container);
    });
}

#[test]
fn the_other_reads() {
    on_database(|db| {
        lab(&db);
        create::<KitBody>(&db, kit("kit-1")).unwrap();
        create::<KitBody>(&db, kit("kit-2")).unwrap();
        db.read(|conn| {
            let all = material_all(conn)?;
            assert_eq!(all.len(), 8);
            let (agent, base) = (all[1].id, all[0].id);
            let two = materials_by_ids(conn, &[agent, base, agent])?;
            assert_eq!(
                two.iter().map(|m| m.id).collect::<Vec<_>>(),
                [agent, base, agent]
            );
            let elastomer = elastomer_by_code(conn, "el")?;
            assert!(matches!(
                materials_by_ids(conn, &[elastomer.id]),
                Err(Error::NotFound { .. })
            ));
            let kits = kits_of_elastomer(conn, elastomer.id)?;
            assert_eq!(
                kits.iter().map(|kit| kit.code.as_str()).collect::<Vec<_>>(),
                ["kit-1", "kit-2"]
            );
            assert!(matches!(item_by_code(conn, "kit-1")?, Some(Item::Kit(_))));
            assert!(matches!(
                item_by_code(conn, "base")?,
                Some(Item::Material(_))
            ));
            assert!(item_by_code(conn, "el")?.is_none());
            let codes = codes_by_ids(conn, &[base, elastomer.id, 999])?;
            assert_eq!(codes.len(), 2);
            assert_eq!(codes[&elastomer.id].1, "Elastomer");
            assert_eq!(
                links_of(conn, elastomer.id)?,
                [
                    ("base".to_owned(), base),
                    ("curing_agent".to_owned(), agent)
                ]
            );
            assert_eq!(links_to(conn, base)?, [("base".to_owned(), elastomer.id)]);
            Ok(())
        })
        .unwrap();
    });
}

#[test]
fn a_list_comes_in_pages_and_by_state() {
    on_database(|db| {
        lab(&db);
        write(&db, |tx| entry_retire::<RecipeBody>(tx, "chip")).unwrap();
        write(&db, |tx| entry_retire::<MaterialBody>(tx, "glove")).unwrap();
        let codes = |after: i64, limit: i64, state: Option<EntryState>| -> Vec<String> {
            let page = Page { after, limit };
            let rows = db
                .read(|conn| entry_list::<MaterialBody>(conn, page, state))
                .unwrap();
            rows.into_iter()
                .map(|row| row.body.code.into_string())
                .collect()
        };
        assert_eq!(codes(0, 100, None).len(), 8);
        assert_eq!(codes(0, 100, Some(EntryState::Retired)), ["glove"]);
        assert_eq!(codes(0, 100, Some(EntryState::Active)).len(), 7);
        assert_eq!(
            codes(0, 1, None),
            ["base", "agent"],
            "one more than asked for shows that there is a next page"
        );
        assert_eq!(codes(1, 1, None), ["agent", "tray"]);
    });
}

#[test]
fn a_change_is_merged_checked_and_counted() {
    on_database(|db| {
        lab(&db);
        write_at(&db, "2026-03-01T00:00:00Z".parse().unwrap(), |tx| {
            diesel::delete(dirty_materials::table).execute(tx.conn)?;
            Ok(())
        })
        .unwrap();
        let changed = patch::<MaterialBody>(
            &db,
            "tray",
            json!({"name": "Dish", "container": {"depth_mm": "20", "rated_uses": 5}}),
            Some(1),
        )
        .unwrap();
        let vessel = changed.body.container.clone().unwrap();
        assert_eq!(
            (vessel.depth_mm.to_string(), vessel.rated_uses()),
            ("20".to_owned(), 5)
        );
        assert_eq!(
            vessel.diameter_mm.map(|d| d.to_string()),
            Some("88".to_owned())
        );
        assert_eq!((changed.version, changed.body.name.as_str()), (2, "Dish"));
        db.read(|conn| {
            let found = material_by_code(conn, "tray")?;
            assert_eq!((found.version, found.name.as_str()), (2, "Dish"));
            assert_eq!(dirty(conn)?, [found.id]);
            Ok(())
        })
        .unwrap();
        let removed = patch::<MaterialBody>(
            &db,
            "tray",
            json!({"container": {"rated_uses": null}}),
            Some(2),
        )
        .unwrap();
        assert_eq!(removed.body.container.unwrap().rated_uses, None);
    });
}

#[test]
fn a_change_that_moves_a_reference_moves_the_link() {
    on_database(|db| {
        lab(&db);
        create::<MaterialBody>(&db, material("base-2", "elastomer_base", "g", json!({}))).unwrap();
        patch::<ElastomerBody>(&db, "el", json!({"base": "base-2"}), Some(1)).unwrap();
        let facts = db.read(|conn| recipe_facts(conn, "chip")).unwrap();
        assert_eq!(facts.base.code.as_str(), "base-2");
        write(&db, |tx| entry_retire::<MaterialBody>(tx, "base")).unwrap();
        // What was named before its retirement stays, what is newly named must be in use.
        let back = patch::<ElastomerBody>(&db, "el", json!({"base": "base"}), Some(2));
        assert_eq!(refusal(back).0, "retired");
        patch::<RecipeBody>(&db, "chip", json!({"extras": []}), Some(1)).unwrap();
        let facts = db.read(|conn| recipe_facts(conn, "chip")).unwrap();
        assert!(facts.extras.is_empty());
    });
}

#[test]
fn a_change_is_refused_in_the_order_that_is_published() {
    on_database(|db| {
        lab(&db);
        let change = |code: &str, members: Value, version: Option<i64>| {
            patch::<MaterialBody>(&db, code, members, version)
        };
        // Wrong whatever it is applied to: before the entry is looked for.
        assert_eq!(
            pointers(change("none", json!({"name": 5}), None)),
            ["/name"]
        );
        assert_eq!(
            pointers(change("none", json!({"no_such_field": 5}), None)),
            ["/no_such_field"]
        );
        assert!(matches!(
            change("none", json!({"name": "x"}), None),
            Err(Error::NotFound { .. })
        ));
        // Wrong for this entry: before the version.
        assert_eq!(
            pointers(change("base", json!({"name": null}), None)),
            ["/name"]
        );
        assert_eq!(
            pointers(change(
                "base",
                json!({"heel": "-1", "unit": "mL", "kind": "sundry", "code": "b"}),
                None
            )),
            ["/heel", "/code", "/kind", "/unit"]
        );
        assert!(matches!(
            change("base", json!({"heel": "1"}), None),
            Err(Error::PreconditionRequired)
        ));
        assert!(matches!(
            change("base", json!({"heel": "1"}), Some(7)),
            Err(Error::VersionMismatch { current: 1 })
        ));
        // The state of things comes last.
        write(&db, |tx| entry_retire::<RecipeBody>(tx, "chip")).unwrap();
        write(&db, |tx| entry_retire::<MaterialBody>(tx, "glove")).unwrap();
        assert_eq!(
            refusal(change("glove", json!({"name": "x"}), Some(2))).0,
            "retired"
        );
        assert!(matches!(
            change("glove", json!({"name": "x"}), Some(1)),
            Err(Error::VersionMismatch { current: 2 })
        ));
    });
}

#[test]
fn an_unknown_reference_in_a_change_is_a_fault_of_a_value() {
    on_database(|db| {
        lab(&db);
        let outcome = patch::<RecipeBody>(&db, "chip", json!({"mold": "none"}), None);
        assert_eq!(pointers(outcome), ["/mold"]);
        let facts = db.read(|conn| recipe_facts(conn, "chip")).unwrap();
        assert_eq!(facts.recipe.version, 1);
    });
}

#[test]
fn a_mold_with_a_cost_fills_its_pool_once() {
    on_database(|db| {
        let cost = json!({"cost": "120.50", "rated_casts": 50, "copies": 3});
        let made = create::<MoldBody>(&db, mold(cost)).unwrap();
        create::<MoldBody>(&db, mold(json!({"code": "free"}))).unwrap();
        db.read(|conn| {
            let pools: Vec<(i64, String, i64, i64, i64)> = cost_pools::table
                .select((
                    cost_pools::mold_id,
                    cost_pools::kind,
                    cost_pools::remaining_value_micro,
                    cost_pools::remaining_uses,
                    cost_pools::head_seq,
                ))
                .load(conn)?;
            let value = Money::parse("361.50").unwrap().micro();
            assert_eq!(pools, [(made.id, "mold".to_owned(), value, 150, 1)]);
            let moves: Vec<(String, i64, i64, String)> = pool_movements::table
                .select((
                    pool_movements::kind,
                    pool_movements::value_micro,
                    pool_movements::uses,
                    pool_movements::actor,
                ))
                .load(conn)?;
            assert_eq!(
                moves,
                [("fill".to_owned(), value, 150, "tester".to_owned())]
            );
            Ok(())
        })
        .unwrap();
        let dearer = patch::<MoldBody>(&db, "mold", json!({"cost": "130", "copies": 4}), Some(1));
        assert_eq!(pointers(dearer), ["/cost", "/copies"]);
        let late = patch::<MoldBody>(&db, "free", json!({"cost": "1", "rated_casts": 1}), Some(1));
        assert_eq!(pointers(late), ["/cost", "/rated_casts"]);
        patch::<MoldBody>(
            &db,
            "mold",
            json!({"chips": 5, "coat_life_casts": 10}),
            Some(1),
        )
        .unwrap();
    });
}

#[test]
fn a_patch_of_nothing_still_counts() {
    on_database(|db| {
        create::<ElastomerBody>(&db, elastomer())
            .map(|_| ())
            .unwrap_err();
        create::<MoldBody>(&db, mold(json!({}))).unwrap();
        let same = patch::<MoldBody>(&db, "mold", Value::Object(Map::new()), Some(1)).unwrap();
        assert_eq!(same.version, 2);
    });
}
