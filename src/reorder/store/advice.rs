//! What waits for new advice, and the advice that is kept.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use diesel::dsl::sql;
use diesel::prelude::*;
use diesel::sql_types::BigInt;

use crate::base::{Error, Money};
use crate::db::AnyConnection;
use crate::db::schema::{catalogue_entries, dirty_materials, reorder_advice};

/// The materials about which something was written since their advice.
pub(in crate::reorder) fn dirty(conn: &mut AnyConnection) -> Result<BTreeSet<i64>, Error> {
    let ids: Vec<i64> = dirty_materials::table
        .select(dirty_materials::material_id)
        .load(conn)?;
    Ok(ids.into_iter().collect())
}

/// The materials and kits without advice of this day and of what is left of the budget, and those that were retired and still
/// have some.
pub(in crate::reorder) fn outdated(
    conn: &mut AnyConnection,
    today: NaiveDate,
    budget_left: Option<Money>,
) -> Result<BTreeSet<i64>, Error> {
    // What is left of a budget is never below 0: that stands for none.
    let left = budget_left.map_or(-1, |left| left.micro());
    let kept = sql::<BigInt>("COALESCE(reorder_advice.budget_left_micro, -1)");
    let of_another_budget = kept.ne(left);
    let without = reorder_advice::item_id.nullable().is_null();
    let of_another_day = reorder_advice::computed_on.nullable().ne(today);
    let ids: Vec<i64> = catalogue_entries::table
        .left_join(reorder_advice::table)
        .filter(catalogue_entries::noun.eq_any(["material", "kit"]))
        .filter(
            catalogue_entries::retired_at
                .is_null()
                .and(
                    without
                        .or(of_another_day.assume_not_null())
                        .or(of_another_budget),
                )
                .or(catalogue_entries::retired_at
                    .is_not_null()
                    .and(reorder_advice::item_id.nullable().is_not_null())),
        )
        .select(catalogue_entries::id)
        .load(conn)?;
    Ok(ids.into_iter().collect())
}

/// Takes the marks away. What is written from now on marks anew, once this transaction is done.
pub(in crate::reorder) fn dirty_take(
    conn: &mut AnyConnection,
    material_ids: &[i64],
) -> Result<(), Error> {
    diesel::delete(
        dirty_materials::table.filter(dirty_materials::material_id.eq_any(material_ids)),
    )
    .execute(conn)?;
    Ok(())
}

/// Forgets the advice on some items.
pub(in crate::reorder) fn advice_drop(
    conn: &mut AnyConnection,
    item_ids: &[i64],
) -> Result<(), Error> {
    diesel::delete(reorder_advice::table.filter(reorder_advice::item_id.eq_any(item_ids)))
        .execute(conn)?;
    Ok(())
}

/// Keeps the advice on an item that has none (any more).
pub(in crate::reorder) fn advice_put(
    conn: &mut AnyConnection,
    item_id: i64,
    (computed_on, budget_left): (NaiveDate, Option<Money>),
    body: &str,
) -> Result<(), Error> {
    diesel::insert_into(reorder_advice::table)
        .values((
            reorder_advice::item_id.eq(item_id),
            reorder_advice::computed_on.eq(computed_on),
            reorder_advice::body.eq(body),
            reorder_advice::budget_left_micro.eq(budget_left.map(|left| left.micro())),
        ))
        .execute(conn)?;
    Ok(())
}

/// A page of advice by the item's id.
pub(in crate::reorder) fn advice_page(
    conn: &mut AnyConnection,
    after: i64,
    limit: i64,
) -> Result<Vec<(i64, String)>, Error> {
    Ok(reorder_advice::table
        .filter(reorder_advice::item_id.gt(after))
        .order(reorder_advice::item_id)
        .limit(limit)
        .select((reorder_advice::item_id, reorder_advice::body))
        .load(conn)?)
}
