//! What the books say of a set of materials: demand, bookings, promises, prices, and which kits they are parts of.

use std::collections::HashMap;

use chrono::NaiveDate;
use diesel::dsl::{max, sql};
use diesel::prelude::*;
use diesel::sql_types::Text;

use crate::base::Error;
use crate::db::schema::{
    cast_needs, casts, catalogue_entries, catalogue_links, daily_demand, lots, packs, reservations,
};
use crate::db::{AnyConnection, sum_bigint};
use crate::reorder::batches::KitLink;
use crate::reorder::demand::DailyDemand;
use crate::reorder::material_facts::{CastNeed, Price};

/// The demand of each material by day, from a day on.
///
/// A material's days come as one text: five years of a thousand materials are 1.8 million rows, and to step through them
/// here takes several times as long as to have the database join them.
pub(in crate::reorder) fn demand(
    conn: &mut AnyConnection,
    material_ids: &[i64],
    from: NaiveDate,
) -> Result<HashMap<i64, Vec<DailyDemand>>, Error> {
    let joined = match conn {
        AnyConnection::Sqlite(_) => "GROUP_CONCAT(day || quantity_micro, ' ')",
        AnyConnection::Postgres(_) => {
            "STRING_AGG(TO_CHAR(day, 'YYYY-MM-DD') || quantity_micro, ' ')"
        }
    };
    let rows: Vec<(i64, String)> = daily_demand::table
        .filter(daily_demand::material_id.eq_any(material_ids))
        .filter(daily_demand::day.ge(from))
        .filter(daily_demand::quantity_micro.ne(0))
        .group_by(daily_demand::material_id)
        .select((daily_demand::material_id, sql::<Text>(joined)))
        .load(conn)?;
    rows.into_iter()
        .map(|(material_id, days)| {
            let days = days.split(' ').map(|day| {
                demand_of_day(day)
                    .ok_or_else(|| Error::internal(format!("`{day}` is no demand of a day")))
            });
            let mut days = days.collect::<Result<Vec<_>, Error>>()?;
            days.sort_unstable_by_key(|entry| entry.on);
            Ok((material_id, days))
        })
        .collect()
}

/// A day and its quantity, such as `2031-03-0312000000`.
fn demand_of_day(text: &str) -> Option<DailyDemand> {
    let (day, quantity) = text.split_at_checked(10)?;
    let (year, month) = (day.get(..4)?.parse().ok()?, day.get(5..7)?.parse().ok()?);
    Some(DailyDemand {
        on: NaiveDate::from_ymd_opt(year, month, day.get(8..)?.parse().ok()?)?,
        quantity_micro: quantity.parse().ok()?,
    })
}

/// What booked casts need of each material.
pub(in crate::reorder) fn needs_booked(
    conn: &mut AnyConnection,
    material_ids: &[i64],
) -> Result<HashMap<i64, Vec<CastNeed>>, Error> {
    let rows: Vec<(i64, i64, NaiveDate, i64)> = cast_needs::table
        .inner_join(casts::table)
        .filter(casts::state.eq("booked"))
        .filter(cast_needs::material_id.eq_any(material_ids))
        .order((cast_needs::material_id, casts::cast_on, cast_needs::id))
        .select((
            cast_needs::material_id,
            cast_needs::cast_id,
            casts::cast_on,
            cast_needs::quantity_micro,
        ))
        .load(conn)?;
    let mut found: HashMap<i64, Vec<CastNeed>> = HashMap::new();
    for (material_id, cast_id, on, quantity_micro) in rows {
        found.entry(material_id).or_default().push(CastNeed {
            cast_id,
            on,
            quantity_micro,
        });
    }
    Ok(found)
}

/// What is promised to booked casts, by material and cast.
pub(in crate::reorder) fn promised(
    conn: &mut AnyConnection,
    material_ids: &[i64],
) -> Result<HashMap<(i64, i64), i64>, Error> {
    let rows: Vec<(i64, i64, i64)> = reservations::table
        .inner_join(packs::table.inner_join(lots::table))
        .inner_join(casts::table)
        .filter(reservations::state.eq("active"))
        .filter(casts::state.eq("booked"))
        .filter(lots::material_id.eq_any(material_ids))
        .select((
            lots::material_id,
            reservations::cast_id,
            reservations::quantity_micro,
        ))
        .load(conn)?;
    let mut found: HashMap<(i64, i64), i64> = HashMap::new();
    for (material_id, cast_id, quantity_micro) in rows {
        let sum = found.entry((material_id, cast_id)).or_default();
        *sum = sum.saturating_add(quantity_micro);
    }
    Ok(found)
}

/// What each material's last lot cost on arrival.
pub(in crate::reorder) fn prices(
    conn: &mut AnyConnection,
    material_ids: &[i64],
) -> Result<HashMap<i64, Price>, Error> {
    let last: Vec<Option<i64>> = lots::table
        .filter(lots::material_id.eq_any(material_ids))
        .group_by(lots::material_id)
        .select(max(lots::id))
        .load(conn)?;
    let last: Vec<i64> = last.into_iter().flatten().collect();
    let received: HashMap<i64, i64> = packs::table
        .filter(packs::lot_id.eq_any(&last))
        .group_by(packs::lot_id)
        .select((packs::lot_id, sum_bigint("received_micro")))
        .load::<(i64, i64)>(conn)?
        .into_iter()
        .collect();
    let rows: Vec<(i64, i64, i64)> = lots::table
        .filter(lots::id.eq_any(&last))
        .select((lots::id, lots::material_id, lots::landed_cost_micro))
        .load(conn)?;
    Ok(rows
        .into_iter()
        .filter_map(|(lot_id, material_id, landed_cost_micro)| {
            let received_micro = received.get(&lot_id).copied()?;
            Some((
                material_id,
                Price {
                    landed_cost_micro,
                    received_micro,
                },
            ))
        })
        .collect())
}

/// Which material each of some lots is of.
pub(in crate::reorder) fn lot_materials(
    conn: &mut AnyConnection,
    lot_ids: &[i64],
) -> Result<HashMap<i64, i64>, Error> {
    let rows: Vec<(i64, i64)> = lots::table
        .filter(lots::id.eq_any(lot_ids))
        .select((lots::id, lots::material_id))
        .load(conn)?;
    Ok(rows.into_iter().collect())
}

/// The recipes in use of some elastomers, with theirs.
pub(in crate::reorder) fn recipes_of_elastomers(
    conn: &mut AnyConnection,
    elastomer_ids: &[i64],
) -> Result<Vec<(i64, i64)>, Error> {
    Ok(catalogue_links::table
        .inner_join(catalogue_entries::table)
        .filter(catalogue_links::target_id.eq_any(elastomer_ids))
        .filter(catalogue_links::role.eq("elastomer"))
        .filter(catalogue_entries::noun.eq("recipe"))
        .filter(catalogue_entries::retired_at.is_null())
        .order(catalogue_links::entry_id)
        .select((catalogue_links::entry_id, catalogue_links::target_id))
        .load(conn)?)
}

/// Every kit, retired ones too, with the materials that are its parts.
pub(in crate::reorder) fn kit_links(conn: &mut AnyConnection) -> Result<Vec<KitLink>, Error> {
    let rows: Vec<(i64, i64)> = catalogue_links::table
        .inner_join(catalogue_entries::table)
        .filter(catalogue_entries::noun.eq("kit"))
        .filter(catalogue_links::role.eq("elastomer"))
        .order(catalogue_links::entry_id)
        .select((catalogue_links::entry_id, catalogue_links::target_id))
        .load(conn)?;
    let elastomers: Vec<i64> = rows.iter().map(|(_, elastomer)| *elastomer).collect();
    let parts: Vec<(i64, String, i64)> = catalogue_links::table
        .filter(catalogue_links::entry_id.eq_any(&elastomers))
        .filter(catalogue_links::role.eq_any(["base", "curing_agent"]))
        .select((
            catalogue_links::entry_id,
            catalogue_links::role,
            catalogue_links::target_id,
        ))
        .load(conn)?;
    let part = |elastomer: i64, role: &str| {
        let mut of = parts.iter().filter(|part| part.0 == elastomer);
        of.find(|part| part.1 == role).map(|part| part.2)
    };
    Ok(rows
        .into_iter()
        .filter_map(|(kit_id, elastomer_id)| {
            Some(KitLink {
                kit_id,
                elastomer_id,
                base_id: part(elastomer_id, "base")?,
                curing_agent_id: part(elastomer_id, "curing_agent")?,
            })
        })
        .collect())
}
