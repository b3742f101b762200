//! What the books say of a set of materials: demand, bookings, promises, prices, and which kits they are parts of.

use std::collections::HashMap;

use chrono::NaiveDate;
use diesel::dsl::max;
use diesel::prelude::*;

use crate::base::Error;
use crate::db::schema::{
    cast_needs, casts, catalogue_links, daily_demand, lots, packs, reservations,
};
use crate::db::{AnyConnection, sum_bigint};
use crate::reorder::batches::KitLink;
use crate::reorder::demand::DailyDemand;
use crate::reorder::material_facts::{CastNeed, Price};

/// The demand of each material by day, from a day on.
pub(in crate::reorder) fn demand(
    conn: &mut AnyConnection,
    material_ids: &[i64],
    from: NaiveDate,
) -> Result<HashMap<i64, Vec<DailyDemand>>, Error> {
    let rows: Vec<(i64, NaiveDate, i64)> = daily_demand::table
        .filter(daily_demand::material_id.eq_any(material_ids))
        .filter(daily_demand::day.ge(from))
        .filter(daily_demand::quantity_micro.ne(0))
        .order((daily_demand::material_id, daily_demand::day))
        .select((
            daily_demand::material_id,
            daily_demand::day,
            daily_demand::quantity_micro,
        ))
        .load(conn)?;
    let mut found: HashMap<i64, Vec<DailyDemand>> = HashMap::new();
    for (material_id, on, quantity_micro) in rows {
        found
            .entry(material_id)
            .or_default()
            .push(DailyDemand { on, quantity_micro });
    }
    Ok(found)
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

/// Every kit, retired ones too, with the materials that are its parts.
pub(in crate::reorder) fn kit_links(conn: &mut AnyConnection) -> Result<Vec<KitLink>, Error> {
    // Only a kit and a recipe name an elastomer as `elastomer`, and only a kit's links say nothing else.
    let rows: Vec<(i64, i64)> = catalogue_links::table
        .inner_join(crate::db::schema::catalogue_entries::table)
        .filter(crate::db::schema::catalogue_entries::noun.eq("kit"))
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
