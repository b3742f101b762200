//! Loading: from the books to what a batch of materials and kits is judged by, in a handful of statements whatever its
//! size.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::{Days, NaiveDate};

use super::batches::{Batch, KitLink};
use super::judge::{Books, watched_kits};
use super::kit_facts::kit_terms;
use super::kits::MixRatio;
use super::material_facts::{MaterialBooks, OrderedAs};
use super::notice::refused_once;
use super::order_lines::OrderLine;
use super::settings::{Circumstances, ForecastSettings};
use super::store;
use crate::base::{Currency, Error};
use crate::catalogue::{
    Entry, KitBody, elastomers_by_ids, kits_by_ids, materials_by_ids, recipes_by_ids,
};
use crate::db::AnyConnection;
use crate::purchasing::ops::budget_left;
use crate::stock::load::shelf;
use crate::stock::shelf::PackFacts;

/// How far back demand and orders are read: five years. Older ones weigh nothing in any forecast.
const HISTORY_DAYS: u64 = 5 * 366;

type Kit = (KitLink, Entry<KitBody>, MixRatio);

/// The books of a batch as of `today`.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn books(
    conn: &mut AnyConnection,
    batch: &Batch,
    links: &[KitLink],
    today: NaiveDate,
) -> Result<Books, Error> {
    let ids = &batch.materials;
    let from = today
        .checked_sub_days(Days::new(HISTORY_DAYS))
        .unwrap_or(NaiveDate::MIN);
    let kits = kits(conn, batch, links)?;
    let entries = materials_by_ids(conn, ids)?;
    let durable: Vec<i64> = entries
        .iter()
        .filter(|entry| entry.body.is_durable())
        .map(|entry| entry.id)
        .collect();
    let mut daily = store::demand(conn, ids, from)?;
    let mut planned = store::planned(conn, ids, from)?;
    let mut refused = store::refused(conn, ids, from)?;
    let recipes: BTreeSet<i64> = refused
        .values()
        .flatten()
        .map(|one| one.recipe_id)
        .collect();
    let bookings = store::bookings_of_recipes(conn, &recipes)?;
    let mut needs = store::needs_booked(conn, ids)?;
    let mut promised: HashMap<i64, HashMap<i64, i64>> = HashMap::new();
    for ((material_id, cast_id), quantity) in store::promised(conn, &durable)? {
        promised
            .entry(material_id)
            .or_default()
            .insert(cast_id, quantity);
    }
    let mut packs: HashMap<i64, Vec<PackFacts>> = HashMap::new();
    for pack in shelf(conn, ids)? {
        packs.entry(pack.material_id).or_default().push(pack);
    }
    let mut prices = store::prices(conn, ids)?;
    let items: Vec<i64> = ids.iter().chain(&batch.kits).copied().collect();
    let all_lines = store::lines_of_items(conn, &items, from)?;
    let watched = watched_kits(&kits, &all_lines);
    let mut lines = lines_by_material(all_lines, &kits);
    let terms: HashMap<i64, OrderedAs> = ordered_as(&kits, &watched, &entries);
    let materials = entries.into_iter().map(|entry| {
        let id = entry.id;
        let books = MaterialBooks {
            daily: daily.remove(&id).unwrap_or_default(),
            planned: planned.remove(&id).unwrap_or_default(),
            refused: refused
                .remove(&id)
                .map_or_else(Vec::new, |all| refused_once(&all, &bookings)),
            needs: needs.remove(&id).unwrap_or_default(),
            promised: promised.remove(&id).unwrap_or_default(),
            packs: packs.remove(&id).unwrap_or_default(),
            lines: lines.remove(&id).unwrap_or_default(),
            contents: contents(id, &kits),
            ordered_as: terms.get(&id).cloned(),
            price: prices.remove(&id),
            entry,
        };
        (id, books)
    });
    Ok(Books {
        materials: materials.collect(),
        ratio_recipes: ratio_recipes(conn, &kits)?,
        kits,
    })
}

/// What bears on every material and kit on a day.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn circumstances(
    conn: &mut AnyConnection,
    (today, currency): (NaiveDate, Currency),
    forecast: ForecastSettings,
) -> Result<Circumstances, Error> {
    Ok(Circumstances {
        today,
        currency,
        forecast,
        budget_left: budget_left(conn, today, currency)?,
    })
}

/// The recipes in use of the kits' elastomers that mix at a ratio of their own.
fn ratio_recipes(
    conn: &mut AnyConnection,
    kits: &[Kit],
) -> Result<BTreeMap<i64, Vec<(String, MixRatio)>>, Error> {
    let elastomers: BTreeSet<i64> = kits.iter().map(|(link, _, _)| link.elastomer_id).collect();
    let elastomers: Vec<i64> = elastomers.into_iter().collect();
    let links = store::recipes_of_elastomers(conn, &elastomers)?;
    let ids: Vec<i64> = links.iter().map(|(recipe, _)| *recipe).collect();
    let of: HashMap<i64, i64> = links.into_iter().collect();
    let mut found: BTreeMap<i64, Vec<(String, MixRatio)>> = BTreeMap::new();
    for recipe in recipes_by_ids(conn, &ids)? {
        let (Some(ratio), Some(elastomer)) = (&recipe.body.ratio, of.get(&recipe.id)) else {
            continue;
        };
        let ratio = MixRatio::new(ratio.base.micro(), ratio.curing_agent.micro())
            .map_err(Error::internal)?;
        let recipes = found.entry(*elastomer).or_default();
        recipes.push((recipe.code.to_string(), ratio));
    }
    Ok(found)
}

/// The kits of a batch with the ratios of their elastomers.
fn kits(conn: &mut AnyConnection, batch: &Batch, links: &[KitLink]) -> Result<Vec<Kit>, Error> {
    if batch.kits.is_empty() {
        return Ok(Vec::new());
    }
    let of: HashMap<i64, KitLink> = links.iter().map(|link| (link.kit_id, *link)).collect();
    let elastomers: BTreeSet<i64> = batch
        .kits
        .iter()
        .filter_map(|kit| of.get(kit).map(|link| link.elastomer_id))
        .collect();
    let elastomers: Vec<i64> = elastomers.into_iter().collect();
    let mut ratios = HashMap::new();
    for elastomer in elastomers_by_ids(conn, &elastomers)? {
        let ratio = &elastomer.body.ratio;
        let ratio = MixRatio::new(ratio.base.micro(), ratio.curing_agent.micro())
            .map_err(Error::internal)?;
        ratios.insert(elastomer.id, ratio);
    }
    Ok(kits_by_ids(conn, &batch.kits)?
        .into_iter()
        .filter_map(|entry| {
            let link = of.get(&entry.id)?;
            Some((*link, entry, *ratios.get(&link.elastomer_id)?))
        })
        .collect())
}

/// The lines that bring each material, alone or in a kit.
fn lines_by_material(lines: Vec<OrderLine>, kits: &[Kit]) -> HashMap<i64, Vec<OrderLine>> {
    let mut found: HashMap<i64, Vec<OrderLine>> = HashMap::new();
    for line in lines {
        let kit = kits.iter().find(|(link, _, _)| link.kit_id == line.item_id);
        match kit {
            None => found.entry(line.item_id).or_default().push(line),
            Some((link, _, _)) => {
                found.entry(link.base_id).or_default().push(line.clone());
                found.entry(link.curing_agent_id).or_default().push(line);
            }
        }
    }
    found
}

/// What each kit holds of a material, in millionths of a gram.
fn contents(material_id: i64, kits: &[Kit]) -> HashMap<i64, i64> {
    kits.iter()
        .filter_map(|(link, entry, _)| Some((entry.id, content(material_id, link, &entry.body)?)))
        .collect()
}

fn content(material_id: i64, link: &KitLink, kit: &KitBody) -> Option<i64> {
    if material_id == link.base_id {
        Some(kit.base_g.micro())
    } else if material_id == link.curing_agent_id {
        Some(kit.curing_agent_g.micro())
    } else {
        None
    }
}

/// Which kit each material is ordered as: the first that is watched and holds it.
fn ordered_as(
    kits: &[Kit],
    watched: &[i64],
    entries: &[Entry<crate::catalogue::MaterialBody>],
) -> HashMap<i64, OrderedAs> {
    let body = |id: i64| {
        let entry = entries.iter().find(|entry| entry.id == id);
        entry.map(|entry| &entry.body)
    };
    let mut found = HashMap::new();
    for (link, kit, _) in kits.iter().filter(|(_, kit, _)| watched.contains(&kit.id)) {
        let (Some(base), Some(curing_agent)) = (body(link.base_id), body(link.curing_agent_id))
        else {
            continue;
        };
        let terms = kit_terms(&kit.body, base, curing_agent);
        for part in [link.base_id, link.curing_agent_id] {
            if let Some(content_micro) = content(part, link, &kit.body) {
                found.entry(part).or_insert_with(|| OrderedAs {
                    kit: kit.clone(),
                    content_micro,
                    terms,
                });
            }
        }
    }
    found
}
