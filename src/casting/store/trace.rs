//! What tracing reads: casts in short, and which casts drew on which coats.

use std::collections::HashSet;

use chrono::NaiveDate;
use diesel::prelude::*;

use super::coats::CoatRow;
use crate::base::Error;
use crate::db::AnyConnection;
use crate::db::schema::{casts, catalogue_entries, cost_pools, pool_movements, treatments};

/// A cast as tracing sees it.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = casts)]
pub(in crate::casting) struct TracedRow {
    pub(in crate::casting) id: i64,
    pub(in crate::casting) code: String,
    pub(in crate::casting) state: String,
    pub(in crate::casting) recipe_id: i64,
    pub(in crate::casting) mold_id: i64,
    pub(in crate::casting) cast_on: NaiveDate,
    pub(in crate::casting) poured_on: Option<NaiveDate>,
    pub(in crate::casting) demold: Option<String>,
    pub(in crate::casting) demolded_on: Option<NaiveDate>,
    pub(in crate::casting) good_chips: Option<i64>,
    pub(in crate::casting) rejected_chips: Option<i64>,
}

/// Casts by their ids, in the order of booking.
pub(in crate::casting) fn casts_traced(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<Vec<TracedRow>, Error> {
    Ok(casts::table
        .filter(casts::id.eq_any(ids))
        .order(casts::id)
        .select(TracedRow::as_select())
        .load(conn)?)
}

/// That a cast drew on a pool.
#[derive(Debug, Clone, Copy)]
pub(in crate::casting) struct DrawRow {
    pub(in crate::casting) pool_id: i64,
    pub(in crate::casting) cast_id: i64,
}

/// Which casts drew on pools and stand, in the order of recording.
pub(in crate::casting) fn draws_on(
    conn: &mut AnyConnection,
    pool_ids: &[i64],
) -> Result<Vec<DrawRow>, Error> {
    type Row = (i64, i64, String, Option<i64>, Option<i64>);
    let rows: Vec<Row> = pool_movements::table
        .filter(pool_movements::pool_id.eq_any(pool_ids))
        .order(pool_movements::id)
        .select((
            pool_movements::id,
            pool_movements::pool_id,
            pool_movements::kind,
            pool_movements::cast_id,
            pool_movements::reverses_id,
        ))
        .load(conn)?;
    let reversed: HashSet<i64> = rows.iter().filter_map(|row| row.4).collect();
    Ok(rows
        .into_iter()
        .filter(|(id, _, kind, _, _)| kind == "issue" && !reversed.contains(id))
        .filter_map(|(_, pool_id, _, cast_id, _)| {
            Some(DrawRow {
                pool_id,
                cast_id: cast_id?,
            })
        })
        .collect())
}

/// Coats among the pools given, with the codes of their moulds. The pools of moulds' own costs are left out.
pub(in crate::casting) fn coats_among(
    conn: &mut AnyConnection,
    pool_ids: &[i64],
) -> Result<Vec<(CoatRow, String)>, Error> {
    Ok(cost_pools::table
        .inner_join(catalogue_entries::table)
        .filter(cost_pools::id.eq_any(pool_ids))
        .filter(cost_pools::kind.eq("coat"))
        .order(cost_pools::id)
        .select((CoatRow::as_select(), catalogue_entries::code))
        .load(conn)?)
}

/// The days of treatments by their ids.
pub(in crate::casting) fn treatment_days(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<Vec<(i64, NaiveDate)>, Error> {
    Ok(treatments::table
        .filter(treatments::id.eq_any(ids))
        .order(treatments::id)
        .select((treatments::id, treatments::treated_on))
        .load(conn)?)
}
