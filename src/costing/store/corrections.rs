//! Price corrections: what they are of, what they fall on, and themselves.

use std::collections::HashMap;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Nullable, Text};

use crate::base::{Code, Error, Money, Quantity};
use crate::costing::corrections::bearers::{Bearer, CoatFate};
use crate::costing::corrections::view::PriceShare;
use crate::costing::waste::category::Category;
use crate::costing::waste::loss::Loss;
use crate::db::schema::{
    cast_charges, casts, catalogue_entries, cost_pools, lots, order_lines, orders, pool_movements,
    price_corrections, price_shares,
};
use crate::db::{AnyConnection, as_written, sum_bigint};

diesel::alias!(pool_movements as pool_taken_back: PoolTakenBack);

/// A lot as corrections find it.
#[derive(Debug, Clone, Queryable)]
pub(in crate::costing) struct LotRow {
    pub(in crate::costing) id: i64,
    pub(in crate::costing) material_id: i64,
    pub(in crate::costing) received_on: NaiveDate,
    pub(in crate::costing) landed: Money,
    pub(in crate::costing) on_hand: Quantity,
    pub(in crate::costing) value: Money,
}

type LotColumns = (
    lots::id,
    lots::material_id,
    lots::received_on,
    lots::landed_cost_micro,
    lots::on_hand_micro,
    lots::remaining_value_micro,
);
const LOT: LotColumns = (
    lots::id,
    lots::material_id,
    lots::received_on,
    lots::landed_cost_micro,
    lots::on_hand_micro,
    lots::remaining_value_micro,
);

pub(in crate::costing) fn lot_by_id(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<LotRow>, Error> {
    Ok(lots::table.find(id).select(LOT).first(conn).optional()?)
}

/// The line of an order: none without such a line.
pub(in crate::costing) fn line_id(
    conn: &mut AnyConnection,
    order_no: &str,
    line_no: &str,
) -> Result<Option<i64>, Error> {
    Ok(order_lines::table
        .inner_join(orders::table)
        .filter(orders::code.eq(order_no))
        .filter(order_lines::line_no.eq(line_no))
        .select(order_lines::id)
        .first(conn)
        .optional()?)
}

/// The lots that a line brought, in the order of their ids.
pub(in crate::costing) fn lots_of_line(
    conn: &mut AnyConnection,
    line_id: i64,
) -> Result<Vec<LotRow>, Error> {
    Ok(lots::table
        .filter(lots::order_line_id.eq(line_id))
        .order(lots::id)
        .select(LOT)
        .load(conn)?)
}

/// What corrections so far laid on bearers of a lot other than the stock.
pub(in crate::costing) fn corrected_so_far(
    conn: &mut AnyConnection,
    lot_id: i64,
) -> Result<Vec<(Bearer, Money)>, Error> {
    let rows: Vec<(String, Option<i64>, Money)> = price_shares::table
        .filter(price_shares::lot_id.eq(lot_id))
        .filter(price_shares::kind.ne("stock"))
        .order(price_shares::id)
        .select((
            price_shares::kind,
            price_shares::cast_id,
            price_shares::amount_micro,
        ))
        .load(conn)?;
    let bearer = |kind: &str, cast_id: Option<i64>| match (kind, cast_id) {
        ("waste", _) => Bearer::Waste,
        (_, Some(id)) => Bearer::Cast(id),
        (_, None) => Bearer::Coats,
    };
    Ok(rows
        .into_iter()
        .map(|(kind, cast_id, amount)| (bearer(&kind, cast_id), amount))
        .collect())
}

/// What became of the coats of treatments.
pub(in crate::costing) fn coat_fates(
    conn: &mut AnyConnection,
    treatment_ids: &[i64],
) -> Result<HashMap<i64, CoatFate>, Error> {
    let treatment = || as_written::<Nullable<BigInt>>("cost_pools.treatment_id");
    let cast = || as_written::<Nullable<BigInt>>("pool_movements.cast_id");
    let kind = || as_written::<Text>("COALESCE(pool_taken_back.kind, pool_movements.kind)");
    let rows: Vec<(Option<i64>, Option<i64>, String, i64)> = pool_movements::table
        .inner_join(cost_pools::table)
        .left_join(pool_taken_back.on(
            pool_movements::reverses_id.eq(pool_taken_back.field(pool_movements::id).nullable()),
        ))
        .filter(cost_pools::treatment_id.eq_any(treatment_ids))
        .group_by((treatment(), cast(), kind()))
        .order((treatment(), cast(), kind()))
        .select((
            treatment(),
            cast(),
            kind(),
            sum_bigint("pool_movements.value_micro"),
        ))
        .load(conn)?;
    let mut fates: HashMap<i64, CoatFate> = HashMap::new();
    for (treatment_id, cast_id, kind, value) in rows {
        let Some(treatment_id) = treatment_id else {
            continue;
        };
        let fate = fates.entry(treatment_id).or_default();
        let value = Money::from_micro(value);
        fate.left = fate.left.checked_add(value)?;
        match (kind.as_str(), cast_id) {
            ("issue", Some(cast_id)) => fate.drawn.push((cast_id, value.checked_neg()?)),
            ("waste", _) => fate.wasted = fate.wasted.checked_sub(value)?,
            _ => {}
        }
    }
    Ok(fates)
}

/// Who is charged for casts: cast, grant, share in millionths of a per cent.
pub(in crate::costing) fn charges_of(
    conn: &mut AnyConnection,
    cast_ids: &[i64],
) -> Result<HashMap<i64, Vec<(i64, i64)>>, Error> {
    let rows: Vec<(i64, i64, i64)> = cast_charges::table
        .filter(cast_charges::cast_id.eq_any(cast_ids))
        .order((cast_charges::cast_id, cast_charges::grant_id))
        .select((
            cast_charges::cast_id,
            cast_charges::grant_id,
            cast_charges::share_micro,
        ))
        .load(conn)?;
    let mut charges: HashMap<i64, Vec<(i64, i64)>> = HashMap::new();
    for (cast_id, grant_id, share) in rows {
        charges.entry(cast_id).or_default().push((grant_id, share));
    }
    Ok(charges)
}

/// A correction to be kept.
#[derive(Debug, Clone, Insertable)]
#[diesel(table_name = price_corrections)]
pub(in crate::costing) struct NewCorrection<'a> {
    pub(in crate::costing) order_line_id: Option<i64>,
    pub(in crate::costing) lot_id: Option<i64>,
    #[diesel(column_name = amount_micro)]
    pub(in crate::costing) amount: Money,
    pub(in crate::costing) currency: &'a str,
    pub(in crate::costing) rate: Option<&'a str>,
    #[diesel(column_name = value_micro)]
    pub(in crate::costing) value: Money,
    pub(in crate::costing) corrected_on: NaiveDate,
    pub(in crate::costing) reason: &'a str,
    pub(in crate::costing) actor: &'a str,
    pub(in crate::costing) recorded_at: NaiveDateTime,
}

pub(in crate::costing) fn correction_insert(
    conn: &mut AnyConnection,
    correction: &NewCorrection<'_>,
) -> Result<i64, Error> {
    Ok(diesel::insert_into(price_corrections::table)
        .values(correction)
        .returning(price_corrections::id)
        .get_result(conn)?)
}

/// A correction as it is kept, with the numbers of its order and line.
#[derive(Debug, Clone, Queryable)]
pub(in crate::costing) struct CorrectionRow {
    pub(in crate::costing) id: i64,
    pub(in crate::costing) order_no: Option<String>,
    pub(in crate::costing) line_no: Option<String>,
    pub(in crate::costing) lot_id: Option<i64>,
    pub(in crate::costing) amount: Money,
    pub(in crate::costing) currency: String,
    pub(in crate::costing) rate: Option<String>,
    pub(in crate::costing) value: Money,
    pub(in crate::costing) corrected_on: NaiveDate,
    pub(in crate::costing) reason: String,
    pub(in crate::costing) actor: String,
    pub(in crate::costing) recorded_at: NaiveDateTime,
}

/// Corrections with ids above `after`, oldest first.
pub(in crate::costing) fn corrections_after(
    conn: &mut AnyConnection,
    (after, limit): (i64, i64),
) -> Result<Vec<CorrectionRow>, Error> {
    Ok(price_corrections::table
        .left_join(order_lines::table.inner_join(orders::table))
        .filter(price_corrections::id.gt(after))
        .order(price_corrections::id)
        .limit(limit)
        .select((
            price_corrections::id,
            orders::code.nullable(),
            order_lines::line_no.nullable(),
            price_corrections::lot_id,
            price_corrections::amount_micro,
            price_corrections::currency,
            price_corrections::rate,
            price_corrections::value_micro,
            price_corrections::corrected_on,
            price_corrections::reason,
            price_corrections::actor,
            price_corrections::recorded_at,
        ))
        .load(conn)?)
}

/// The shares of corrections, in the order in which they were posted.
pub(in crate::costing) fn shares_of(
    conn: &mut AnyConnection,
    correction_ids: &[i64],
) -> Result<HashMap<i64, Vec<PriceShare>>, Error> {
    type Row = (
        i64,
        i64,
        String,
        Option<i64>,
        Option<Code>,
        Option<Code>,
        Money,
        NaiveDate,
    );
    let rows: Vec<Row> = price_shares::table
        .left_join(casts::table)
        .left_join(
            catalogue_entries::table
                .on(price_shares::grant_id.eq(catalogue_entries::id.nullable())),
        )
        .filter(price_shares::correction_id.eq_any(correction_ids))
        .order(price_shares::id)
        .select((
            price_shares::correction_id,
            price_shares::lot_id,
            price_shares::kind,
            price_shares::movement_id,
            casts::code.nullable(),
            catalogue_entries::code.nullable(),
            price_shares::amount_micro,
            price_shares::posted_on,
        ))
        .load(conn)?;
    let mut shares: HashMap<i64, Vec<PriceShare>> = HashMap::new();
    for (correction_id, lot, kind, movement, cast, grant, amount, posted_on) in rows {
        shares.entry(correction_id).or_default().push(PriceShare {
            lot,
            kind,
            movement,
            cast: cast.map(Code::into_string),
            grant: grant.map(Code::into_string),
            amount,
            posted_on,
        });
    }
    Ok(shares)
}

/// What corrections posted from the first day to the last laid on casts: cast with its code and recipe, material, grant, day,
/// amount. What lies on coats has no cast.
pub(in crate::costing) fn variances_between(
    conn: &mut AnyConnection,
    (first, last): (NaiveDate, NaiveDate),
) -> Result<Vec<VarianceRow>, Error> {
    Ok(price_shares::table
        .inner_join(lots::table)
        .left_join(casts::table)
        .filter(price_shares::posted_on.between(first, last))
        .filter(price_shares::kind.eq("price_variance"))
        .order(price_shares::id)
        .select((
            casts::id.nullable(),
            casts::code.nullable(),
            casts::recipe_id.nullable(),
            lots::material_id,
            lots::funded_by_id,
            price_shares::grant_id,
            price_shares::posted_on,
            price_shares::amount_micro,
        ))
        .load(conn)?)
}

/// A price variance.
#[derive(Debug, Clone, Queryable)]
pub(in crate::costing) struct VarianceRow {
    pub(in crate::costing) cast_id: Option<i64>,
    pub(in crate::costing) cast: Option<Code>,
    pub(in crate::costing) recipe_id: Option<i64>,
    pub(in crate::costing) material_id: i64,
    pub(in crate::costing) funded_by_id: Option<i64>,
    pub(in crate::costing) grant_id: Option<i64>,
    pub(in crate::costing) on: NaiveDate,
    pub(in crate::costing) amount: Money,
}

/// What corrections posted from the first day to the last laid on what had been lost.
pub(in crate::costing) fn corrections_wasted_between(
    conn: &mut AnyConnection,
    (first, last): (NaiveDate, NaiveDate),
) -> Result<Vec<Loss>, Error> {
    type Row = (i64, Option<i64>, NaiveDate, Money);
    let rows: Vec<Row> = price_shares::table
        .inner_join(lots::table)
        .filter(price_shares::posted_on.between(first, last))
        .filter(price_shares::kind.eq("waste"))
        .order(price_shares::id)
        .select((
            lots::material_id,
            lots::funded_by_id,
            price_shares::posted_on,
            price_shares::amount_micro,
        ))
        .load(conn)?;
    let loss = |(material_id, funded_by_id, on, amount): Row| Loss {
        category: Category::PriceCorrections,
        material_id: Some(material_id),
        funded_by_id,
        on,
        amount,
    };
    Ok(rows.into_iter().map(loss).collect())
}
