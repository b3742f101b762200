//! Costs of casts by grant and component: sums kept for reports, made again whenever the cast's step is.

use std::collections::HashMap;

use diesel::prelude::*;

use crate::base::{Error, Money};
use crate::casting::planning::charging::CostShare;
use crate::db::AnyConnection;
use crate::db::schema::cast_costs;

/// Keeps what a cast cost: grant, component, amount.
pub(in crate::casting) fn cast_costs_insert(
    conn: &mut AnyConnection,
    cast_id: i64,
    rows: &[CostShare],
) -> Result<(), Error> {
    for (grant_id, component, amount) in rows {
        let row = (
            cast_costs::cast_id.eq(cast_id),
            cast_costs::grant_id.eq(*grant_id),
            cast_costs::component.eq(component.as_str()),
            cast_costs::amount_micro.eq(*amount),
        );
        diesel::insert_into(cast_costs::table)
            .values(row)
            .execute(conn)?;
    }
    Ok(())
}

pub(in crate::casting) fn cast_costs_delete(
    conn: &mut AnyConnection,
    cast_id: i64,
) -> Result<(), Error> {
    diesel::delete(cast_costs::table.filter(cast_costs::cast_id.eq(cast_id))).execute(conn)?;
    Ok(())
}

/// What casts cost, by component over all grants.
pub(in crate::casting) fn cast_costs_fetch(
    conn: &mut AnyConnection,
    cast_ids: &[i64],
) -> Result<HashMap<i64, Vec<(String, Money)>>, Error> {
    let rows: Vec<(i64, String, Money)> = cast_costs::table
        .filter(cast_costs::cast_id.eq_any(cast_ids))
        .order(cast_costs::id)
        .select((
            cast_costs::cast_id,
            cast_costs::component,
            cast_costs::amount_micro,
        ))
        .load(conn)?;
    let mut costs: HashMap<i64, Vec<(String, Money)>> = HashMap::new();
    for (cast_id, component, amount) in rows {
        costs.entry(cast_id).or_default().push((component, amount));
    }
    Ok(costs)
}
