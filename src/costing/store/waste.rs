//! What of casts was wasted, and what was lost outside of them. A movement that takes another back counts against what it
//! takes back, on its own day.

use std::collections::HashMap;

use chrono::NaiveDate;
use diesel::expression::SqlLiteral;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Date, Nullable, Text};

use crate::base::{Error, Micro, Money};
use crate::costing::by_source::{Used, UsedFor};
use crate::costing::waste::category::Category;
use crate::costing::waste::loss::Loss;
use crate::db::schema::{casts, lots, movements, pool_movements};
use crate::db::{AnyConnection, as_written, sum_bigint};

diesel::alias!(movements as taken_back: TakenBack);
diesel::alias!(pool_movements as pool_taken_back: PoolTakenBack);

/// The kind of a movement, or of the one that it takes back.
fn kind() -> SqlLiteral<Text> {
    as_written("COALESCE(taken_back.kind, movements.kind)")
}

/// Its reason, likewise.
fn reason() -> SqlLiteral<Text> {
    as_written("COALESCE(taken_back.reason, movements.reason)")
}

fn material() -> SqlLiteral<BigInt> {
    as_written("lots.material_id")
}

fn payer() -> SqlLiteral<Nullable<BigInt>> {
    as_written("lots.funded_by_id")
}

fn day() -> SqlLiteral<Date> {
    as_written("movements.effective_on")
}

fn cast() -> SqlLiteral<Nullable<BigInt>> {
    as_written("movements.cast_id")
}

fn purpose() -> SqlLiteral<Nullable<Text>> {
    as_written("movements.purpose")
}

/// The movements with those that they take back.
macro_rules! netted {
    () => {
        movements::table.inner_join(lots::table).left_join(
            taken_back.on(movements::reverses_id.eq(taken_back.field(movements::id).nullable())),
        )
    };
}

/// What was lost on the days from the first to the last, by day, material, payer and reason.
pub(in crate::costing) fn losses_between(
    conn: &mut AnyConnection,
    (first, last): (NaiveDate, NaiveDate),
) -> Result<Vec<Loss>, Error> {
    type Row = (String, String, i64, Option<i64>, NaiveDate, i64);
    let rows: Vec<Row> = netted!()
        .filter(movements::effective_on.between(first, last))
        .filter(kind().eq_any(["spill", "count", "write_off"]))
        .group_by((kind(), reason(), material(), payer(), day()))
        .select((
            kind(),
            reason(),
            material(),
            payer(),
            day(),
            sum_bigint("movements.value_micro"),
        ))
        .load(conn)?;
    rows.into_iter()
        .filter_map(|(kind, reason, material_id, funded_by_id, on, value)| {
            let category = Loss::category_of(&kind, &reason)?;
            let amount = Money::from_micro(value).checked_neg().map_err(Error::from);
            Some(amount.map(|amount| Loss {
                category,
                material_id: Some(material_id),
                funded_by_id,
                on,
                amount,
            }))
        })
        .collect()
}

/// What coats and moulds were given up unused on the days from the first to the last.
pub(in crate::costing) fn pool_waste_between(
    conn: &mut AnyConnection,
    (first, last): (NaiveDate, NaiveDate),
) -> Result<Vec<Loss>, Error> {
    let kind = as_written::<Text>("COALESCE(pool_taken_back.kind, pool_movements.kind)");
    let rows: Vec<(NaiveDate, i64)> = pool_movements::table
        .left_join(pool_taken_back.on(
            pool_movements::reverses_id.eq(pool_taken_back.field(pool_movements::id).nullable()),
        ))
        .filter(pool_movements::effective_on.between(first, last))
        .filter(kind.eq("waste"))
        .group_by(pool_movements::effective_on)
        .select((
            pool_movements::effective_on,
            sum_bigint("pool_movements.value_micro"),
        ))
        .load(conn)?;
    rows.into_iter()
        .map(|(on, value)| {
            Ok(Loss {
                category: Category::Coats,
                material_id: None,
                funded_by_id: None,
                on,
                amount: Money::from_micro(value).checked_neg()?,
            })
        })
        .collect()
}

/// By cast, of those with ids from the first to the last: what its discarded batches cost.
pub(in crate::costing) fn discarded_by_cast(
    conn: &mut AnyConnection,
    (first, last): (i64, i64),
) -> Result<HashMap<i64, Money>, Error> {
    let rows: Vec<(Option<i64>, i64)> = netted!()
        .filter(movements::cast_id.between(first, last))
        .filter(kind().eq("consumption"))
        .filter(reason().like("discarded: %"))
        .group_by(movements::cast_id)
        .select((movements::cast_id, sum_bigint("movements.value_micro")))
        .load(conn)?;
    rows.into_iter()
        .filter_map(|(cast_id, value)| Some((cast_id?, value)))
        .map(|(cast_id, value)| Ok((cast_id, Money::from_micro(value).checked_neg()?)))
        .collect()
}

/// By cast, of those with ids from the first to the last: the share of its tape that was planned to be cut off.
pub(in crate::costing) fn offcut_shares(
    conn: &mut AnyConnection,
    (first, last): (i64, i64),
) -> Result<HashMap<i64, Micro>, Error> {
    let share = match conn {
        AnyConnection::Sqlite(_) => "json_extract(plan, '$.tape.offcut_share')",
        AnyConnection::Postgres(_) => "(plan::json #>> '{tape,offcut_share}')",
    };
    let rows: Vec<(i64, Option<String>)> = casts::table
        .filter(casts::id.between(first, last))
        .filter(casts::demolded_on.is_not_null())
        .select((casts::id, as_written::<Nullable<Text>>(share)))
        .load(conn)?;
    rows.into_iter()
        .filter_map(|(id, share)| Some((id, share?)))
        .map(|(id, share)| Ok((id, Micro::parse(&share).map_err(Error::internal)?)))
        .collect()
}

/// What casts used, by their ids.
type UsedBy<K> = HashMap<i64, Vec<Used<K>>>;

/// Cast, source, kind, purpose, value.
type UsedRow<K> = (Option<i64>, K, String, Option<String>, i64);

/// By cast, of those with ids from the first to the last: what of which material it used for what.
pub(in crate::costing) fn used_by_cast(
    conn: &mut AnyConnection,
    ids: (i64, i64),
) -> Result<UsedBy<i64>, Error> {
    let rows: Vec<UsedRow<i64>> = netted!()
        .filter(movements::cast_id.between(ids.0, ids.1))
        .group_by((cast(), material(), kind(), purpose()))
        .order((cast(), material(), kind(), purpose()))
        .select((
            cast(),
            material(),
            kind(),
            purpose(),
            sum_bigint("-movements.value_micro"),
        ))
        .load(conn)?;
    Ok(by_cast(rows))
}

/// By cast, of those with ids from the first to the last: what it used, for what, of the lots that which grant had paid for,
/// or none.
pub(in crate::costing) fn funders_by_cast(
    conn: &mut AnyConnection,
    ids: (i64, i64),
) -> Result<UsedBy<Option<i64>>, Error> {
    let rows: Vec<UsedRow<Option<i64>>> = netted!()
        .filter(movements::cast_id.between(ids.0, ids.1))
        .group_by((cast(), payer(), kind(), purpose()))
        .order((cast(), payer(), kind(), purpose()))
        .select((
            cast(),
            payer(),
            kind(),
            purpose(),
            sum_bigint("-movements.value_micro"),
        ))
        .load(conn)?;
    Ok(by_cast(rows))
}

/// Rows of cast, source, kind, purpose and value, by cast; what is for no component is left out.
fn by_cast<K>(rows: Vec<UsedRow<K>>) -> UsedBy<K> {
    let mut used = UsedBy::new();
    for (cast_id, source, kind, purpose, value) in rows {
        let used_for = UsedFor::of(&kind, purpose.as_deref().unwrap_or_default());
        if let (Some(cast_id), Some(used_for)) = (cast_id, used_for) {
            let of_cast = used.entry(cast_id).or_default();
            of_cast.push((source, used_for, Money::from_micro(value)));
        }
    }
    used
}
