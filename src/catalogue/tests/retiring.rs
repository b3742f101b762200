//! Retiring, and what stands against it.

use chrono::NaiveDate;
use diesel::prelude::*;
use serde_json::{Value, json};

use super::{create, lab, mold, refusal};
use crate::base::{Error, Money};
use crate::catalogue::{
    CatalogueBody, ElastomerBody, EntryOut, GrantBody, MaterialBody, MoldBody, RecipeBody,
    SupplierBody, entry_retire, material_by_code, mold_by_code, recipe_by_code,
};
use crate::db::fixture::{on_database, write};
use crate::db::schema::{
    cast_charges, cast_needs, casts, cost_pools, lots, movements, order_lines, orders, packs,
    period_guard, pool_movements,
};
use crate::db::{Db, Tx};

fn retire<B: CatalogueBody>(db: &Db, code: &str) -> Result<EntryOut<B>, Error> {
    write(db, |tx| entry_retire::<B>(tx, code))
}

fn used_by(outcome: (&'static str, Value)) -> Value {
    assert_eq!(outcome.0, "in-use");
    outcome.1["used_by"].clone()
}

fn day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 3, 4).expect("a day")
}

/// A booked cast of the recipe, charged to a grant and in need of a material.
fn book(tx: &mut Tx<'_>, grant_id: i64) -> Result<i64, Error> {
    let recipe = recipe_by_code(tx.conn, "chip")?;
    let mold = mold_by_code(tx.conn, "mold")?;
    let base = material_by_code(tx.conn, "base")?;
    let now = tx.stored_now();
    let cast_id: i64 = diesel::insert_into(casts::table)
        .values((
            casts::code.eq("c-1"),
            casts::state.eq("booked"),
            casts::recipe_id.eq(recipe.id),
            casts::mold_id.eq(mold.id),
            casts::containers.eq(1),
            casts::allow_mixed_kits.eq(false),
            casts::allow_cross_charge.eq(false),
            casts::cast_on.eq(day()),
            casts::request.eq("{}"),
            casts::facts.eq("{}"),
            casts::plan.eq("{}"),
            casts::booked_at.eq(now),
            casts::booked_by.eq("tester"),
        ))
        .returning(casts::id)
        .get_result(tx.conn)?;
    diesel::insert_into(cast_charges::table)
        .values((
            cast_charges::cast_id.eq(cast_id),
            cast_charges::grant_id.eq(grant_id),
            cast_charges::share_micro.eq(100_000_000),
        ))
        .execute(tx.conn)?;
    diesel::insert_into(cast_needs::table)
        .values((
            cast_needs::cast_id.eq(cast_id),
            cast_needs::material_id.eq(base.id),
            cast_needs::purpose.eq("base"),
            cast_needs::batch_no.eq(1),
            cast_needs::quantity_micro.eq(1_000_000),
            cast_needs::piece_micro.eq(1_000_000),
        ))
        .execute(tx.conn)?;
    Ok(cast_id)
}

fn grant(db: &Db) -> i64 {
    create::<GrantBody>(db, json!({"code": "g", "name": "Grant"}))
        .expect("a grant")
        .id
}

#[test]
fn what_is_retired_stays_readable_and_keeps_its_first_instant() {
    on_database(|db| {
        grant(&db);
        let once = retire::<GrantBody>(&db, "g").unwrap();
        assert_eq!(once.version, 2);
        assert_eq!(
            once.retired_at.map(|at| at.to_string()),
            Some("2026-03-04 10:00:00 UTC".into())
        );
        assert_eq!(retire::<GrantBody>(&db, "g").unwrap(), once);
        assert!(matches!(
            retire::<GrantBody>(&db, "none"),
            Err(Error::NotFound { .. })
        ));
    });
}

#[test]
fn an_entry_in_use_by_another_is_not_retired() {
    on_database(|db| {
        lab(&db);
        let users = used_by(refusal(retire::<MaterialBody>(&db, "base")));
        assert_eq!(users, json!([{"noun": "elastomer", "code": "el"}]));
        let users = used_by(refusal(retire::<ElastomerBody>(&db, "el")));
        assert_eq!(users, json!([{"noun": "recipe", "code": "chip"}]));
        retire::<RecipeBody>(&db, "chip").unwrap();
        retire::<ElastomerBody>(&db, "el").unwrap();
        retire::<MaterialBody>(&db, "base").unwrap();
    });
}

#[test]
fn an_unfinished_cast_holds_what_it_stands_on() {
    on_database(|db| {
        lab(&db);
        let grant_id = grant(&db);
        let cast_id = write(&db, |tx| book(tx, grant_id)).unwrap();
        let cast = json!({"noun": "cast", "code": "c-1"});
        assert_eq!(
            used_by(refusal(retire::<RecipeBody>(&db, "chip"))),
            json!([cast])
        );
        assert_eq!(
            used_by(refusal(retire::<GrantBody>(&db, "g"))),
            json!([cast])
        );
        assert_eq!(
            used_by(refusal(retire::<MaterialBody>(&db, "base"))),
            json!([cast, {"noun": "elastomer", "code": "el"}])
        );
        assert_eq!(
            used_by(refusal(retire::<MoldBody>(&db, "mold"))),
            json!([cast, {"noun": "recipe", "code": "chip"}])
        );
        write(&db, |tx| {
            let now = tx.stored_now();
            diesel::update(casts::table.find(cast_id))
                .set((
                    casts::state.eq("cancelled"),
                    casts::cancelled_at.eq(Some(now)),
                ))
                .execute(tx.conn)?;
            Ok(())
        })
        .unwrap();
        retire::<GrantBody>(&db, "g").unwrap();
        retire::<RecipeBody>(&db, "chip").unwrap();
        retire::<MoldBody>(&db, "mold").unwrap();
    });
}

#[test]
fn an_order_that_has_not_arrived_holds_its_supplier_and_its_items() {
    on_database(|db| {
        lab(&db);
        let supplier = create::<SupplierBody>(&db, json!({"code": "s", "name": "S"})).unwrap();
        retire::<RecipeBody>(&db, "chip").unwrap();
        write(&db, |tx| {
            let now = tx.stored_now();
            let glove = material_by_code(tx.conn, "glove")?;
            let order_id: i64 = diesel::insert_into(orders::table)
                .values((
                    orders::code.eq("o-1"),
                    orders::supplier_id.eq(supplier.id),
                    orders::ordered_on.eq(day()),
                    orders::created_at.eq(now),
                    orders::created_by.eq("tester"),
                ))
                .returning(orders::id)
                .get_result(tx.conn)?;
            diesel::insert_into(order_lines::table)
                .values((
                    order_lines::order_id.eq(order_id),
                    order_lines::line_no.eq("1"),
                    order_lines::item_id.eq(glove.id),
                    order_lines::packs.eq(1),
                    order_lines::value_micro.eq(0),
                    order_lines::state.eq("ordered"),
                    order_lines::content.eq("{}"),
                ))
                .execute(tx.conn)?;
            Ok(())
        })
        .unwrap();
        let order = json!([{"noun": "order", "code": "o-1"}]);
        assert_eq!(
            used_by(refusal(retire::<MaterialBody>(&db, "glove"))),
            order
        );
        assert_eq!(used_by(refusal(retire::<SupplierBody>(&db, "s"))), order);
        retire::<MaterialBody>(&db, "stick").unwrap();
    });
}

/// A lot of one pack with one receipt.
fn receive(tx: &mut Tx<'_>, code: &str) -> Result<(), Error> {
    let material = material_by_code(tx.conn, code)?;
    let now = tx.stored_now();
    let lot_id: i64 = diesel::insert_into(lots::table)
        .values((
            lots::material_id.eq(material.id),
            lots::code.eq("l-1"),
            lots::received_on.eq(day()),
        ))
        .returning(lots::id)
        .get_result(tx.conn)?;
    let pack_id: i64 = diesel::insert_into(packs::table)
        .values((
            packs::lot_id.eq(lot_id),
            packs::no.eq(1),
            packs::received_micro.eq(2_500_000),
        ))
        .returning(packs::id)
        .get_result(tx.conn)?;
    diesel::insert_into(movements::table)
        .values((
            movements::lot_id.eq(lot_id),
            movements::seq.eq(1),
            movements::pack_id.eq(Some(pack_id)),
            movements::kind.eq("receipt"),
            movements::quantity_micro.eq(2_500_000),
            movements::value_micro.eq(0),
            movements::reason.eq("test"),
            movements::actor.eq("tester"),
            movements::effective_on.eq(day()),
            movements::recorded_at.eq(now),
            movements::hash.eq("h"),
        ))
        .execute(tx.conn)?;
    Ok(())
}

#[test]
fn a_material_with_stock_is_not_retired() {
    on_database(|db| {
        lab(&db);
        retire::<RecipeBody>(&db, "chip").unwrap();
        write(&db, |tx| receive(tx, "glove")).unwrap();
        let refused = refusal(retire::<MaterialBody>(&db, "glove"));
        assert_eq!(refused, ("in-use", json!({"on_hand": "2.5"})));
    });
}

#[test]
fn what_is_left_of_a_mold_s_cost_goes_to_waste() {
    on_database(|db| {
        let cost = json!({"cost": "100", "rated_casts": 50});
        create::<MoldBody>(&db, mold(cost)).unwrap();
        retire::<MoldBody>(&db, "mold").unwrap();
        db.read(|conn| {
            let pool: (i64, i64, Option<NaiveDate>) = cost_pools::table
                .select((
                    cost_pools::remaining_value_micro,
                    cost_pools::remaining_uses,
                    cost_pools::closed_on,
                ))
                .first(conn)?;
            assert_eq!(pool, (0, 0, Some(day())));
            let moves: Vec<(i64, String, i64, i64)> = pool_movements::table
                .order(pool_movements::seq)
                .select((
                    pool_movements::seq,
                    pool_movements::kind,
                    pool_movements::value_micro,
                    pool_movements::uses,
                ))
                .load(conn)?;
            let value = Money::from_int(100).micro();
            assert_eq!(
                moves,
                [
                    (1, "fill".to_owned(), value, 50),
                    (2, "waste".to_owned(), -value, -50)
                ]
            );
            Ok(())
        })
        .unwrap();
    });
}

#[test]
fn a_closed_day_takes_no_cost_of_a_mold() {
    on_database(|db| {
        write(&db, |tx| {
            diesel::update(period_guard::table)
                .set(period_guard::closed_through.eq(Some(day())))
                .execute(tx.conn)?;
            Ok(())
        })
        .unwrap();
        let cost = json!({"cost": "100", "rated_casts": 50});
        let refused = refusal(create::<MoldBody>(&db, mold(cost)));
        assert_eq!(
            refused,
            ("period-closed", json!({"closed_through": "2026-03-04"}))
        );
        create::<MoldBody>(&db, mold(json!({}))).unwrap();
    });
}
