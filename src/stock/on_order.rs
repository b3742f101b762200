//! What is on order: the lines of orders that have not arrived, by material. A kit counts for both of its parts.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::store::{self, OrderedLine};
use crate::base::{Code, Error, Micro, Quantity};
use crate::catalogue::{ElastomerBody, KitBody, codes_by_ids, elastomer_all, kits_by_ids};
use crate::db::AnyConnection;

/// What will arrive of a material with one line of an order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Arrival {
    /// How much, in the material's unit.
    pub quantity: Quantity,
    /// When it is expected, if that is known.
    pub expected_on: Option<NaiveDate>,
    /// The order's code.
    pub order: String,
}

/// What is on order of each of the materials, the earliest first and what has no day last. Materials of which nothing is
/// on order are left out. Four statements at most, however many lines there are.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn on_order(
    conn: &mut AnyConnection,
    material_ids: &[i64],
) -> Result<HashMap<i64, Vec<Arrival>>, Error> {
    let lines = store::lines_ordered(conn, material_ids)?;
    let mut kit_ids: Vec<i64> = lines
        .iter()
        .filter(|l| l.is_kit)
        .map(|l| l.item_id)
        .collect();
    kit_ids.sort_unstable();
    kit_ids.dedup();
    let parts = parts_of_kits(conn, &kit_ids, material_ids)?;
    let mut arrivals: HashMap<i64, Vec<Arrival>> = HashMap::new();
    for line in lines {
        for (material_id, per_pack) in contents(&line, &parts)? {
            arrivals.entry(material_id).or_default().push(Arrival {
                quantity: times(line.packs, per_pack)?,
                expected_on: line.expected_on,
                order: line.order.clone(),
            });
        }
    }
    for list in arrivals.values_mut() {
        list.sort_by(|one, other| {
            let key = |arrival: &Arrival| arrival.expected_on.unwrap_or(NaiveDate::MAX);
            key(one)
                .cmp(&key(other))
                .then_with(|| one.order.cmp(&other.order))
        });
    }
    Ok(arrivals)
}

/// By kit: the materials asked for that are in it, each with how much one kit holds.
type Parts = HashMap<i64, Vec<(i64, Quantity)>>;

fn contents(line: &OrderedLine, parts: &Parts) -> Result<Vec<(i64, Quantity)>, Error> {
    if line.is_kit {
        return Ok(parts.get(&line.item_id).cloned().unwrap_or_default());
    }
    let per_pack = line.pack_quantity.ok_or_else(|| {
        Error::internal(format!(
            "a line of order {} says nothing of what a pack holds",
            line.order
        ))
    })?;
    Ok(vec![(line.item_id, per_pack)])
}

fn times(packs: i64, per_pack: Quantity) -> Result<Quantity, Error> {
    Ok(Quantity::new(Micro::from_micro(
        packs
            .checked_mul(per_pack.micro())
            .ok_or_else(|| Error::internal("what is on order is out of range"))?,
    )))
}

fn parts_of_kits(
    conn: &mut AnyConnection,
    kit_ids: &[i64],
    material_ids: &[i64],
) -> Result<Parts, Error> {
    if kit_ids.is_empty() {
        return Ok(Parts::new());
    }
    let wanted: HashMap<Code, i64> = codes_by_ids(conn, material_ids)?
        .into_iter()
        .map(|(id, (code, _))| (code, id))
        .collect();
    let elastomers: HashMap<Code, ElastomerBody> = elastomer_all(conn)?
        .into_iter()
        .map(|entry| (entry.code, entry.body))
        .collect();
    let kits = kits_by_ids(conn, kit_ids)?;
    Ok(kits
        .into_iter()
        .map(|kit| (kit.id, parts_of(&kit.body, &elastomers, &wanted)))
        .collect())
}

fn parts_of(
    kit: &KitBody,
    elastomers: &HashMap<Code, ElastomerBody>,
    wanted: &HashMap<Code, i64>,
) -> Vec<(i64, Quantity)> {
    let Some(elastomer) = elastomers.get(&kit.elastomer) else {
        return Vec::new();
    };
    let parts = [
        (&elastomer.base, kit.base_g),
        (&elastomer.curing_agent, kit.curing_agent_g),
    ];
    let found = parts.into_iter();
    found
        .filter_map(|(code, quantity)| Some((*wanted.get(code)?, quantity)))
        .collect()
}
