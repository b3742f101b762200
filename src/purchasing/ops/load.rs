//! Loads what an import's decision needs to know, in sets: what the file names, not row by row.
//!
//! Deliberately absent: the locks (the operations take them before they load).

use std::collections::{BTreeSet, HashMap};

use chrono::{Days, NaiveDate};

use crate::base::{Code, Currency, Error};
use crate::catalogue::{
    ElastomerBody, Entry, GrantBody, Item, KitBody, codes_by_ids, entries_by_codes, items_by_codes,
    supplier_code, supplier_named,
};
use crate::db::AnyConnection;
use crate::purchasing::facts::{
    GrantFacts, ImportFacts, ItemFacts, ItemKind, LineFacts, LineState, OrderFacts, PartFacts,
    SupplierFacts, SupplierKey,
};
use crate::purchasing::quoted::{QuotedRate, RATE_DAYS_BACK, RateTable};
use crate::purchasing::row::{PurchaseRow, RowReading};
use crate::purchasing::store;

/// The rows of a file that could be read.
pub(super) fn good_rows(readings: &[RowReading]) -> impl Iterator<Item = &PurchaseRow> {
    readings
        .iter()
        .filter_map(|reading| reading.row.as_ref().ok())
}

/// The entries of the catalogue that rows name.
pub(super) struct Named {
    pub(super) items: HashMap<String, ItemFacts>,
    pub(super) grants: HashMap<String, GrantFacts>,
    pub(super) suppliers: HashMap<String, SupplierFacts>,
}

/// What the catalogue knows of what the rows name.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn named_load(
    conn: &mut AnyConnection,
    readings: &[RowReading],
) -> Result<Named, Error> {
    Ok(Named {
        items: items_load_codes(conn, good_rows(readings).map(|row| row.item.as_str()))?,
        grants: grants_load(conn, readings)?,
        suppliers: suppliers_load(conn, readings)?,
    })
}

impl Named {
    /// The materials that the items consist of.
    pub(super) fn material_ids(&self) -> Vec<i64> {
        self.items.values().flat_map(materials_of).collect()
    }

    /// The entries themselves; not suppliers that are yet to be made.
    pub(super) fn entry_ids(&self) -> Vec<i64> {
        let mut ids: Vec<i64> = self.items.values().map(|item| item.id).collect();
        ids.extend(self.grants.values().map(|grant| grant.id));
        ids.extend(self.suppliers.values().filter_map(|s| match s.key {
            SupplierKey::Known(id) => Some(id),
            SupplierKey::New(_) => None,
        }));
        ids
    }
}

/// Everything the books know of what the rows name.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn facts_load(
    conn: &mut AnyConnection,
    readings: &[RowReading],
    base_currency: Currency,
) -> Result<ImportFacts, Error> {
    let named = named_load(conn, readings)?;
    Ok(ImportFacts {
        base_currency,
        closed_through: store::period_closed_through(conn)?,
        items: named.items,
        grants: named.grants,
        suppliers: named.suppliers,
        orders: orders_load(conn, readings)?,
        rates: rates_load(conn, readings, base_currency)?,
    })
}

fn distinct<'a>(values: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let set: BTreeSet<&str> = values.collect();
    set.into_iter().collect()
}

/// The materials that some items consist of: themselves, or a kit's parts.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn materials_of_items(
    conn: &mut AnyConnection,
    item_ids: &[i64],
) -> Result<Vec<i64>, Error> {
    let codes = codes_by_ids(conn, item_ids)?;
    let items = items_load_codes(conn, codes.values().map(|(code, _)| code.as_str()))?;
    Ok(items.values().flat_map(materials_of).collect())
}

/// The materials that an item consists of.
fn materials_of(item: &ItemFacts) -> Vec<i64> {
    match &item.kind {
        ItemKind::Material { .. } => vec![item.id],
        ItemKind::Kit(parts) => parts.iter().map(|part| part.material_id).collect(),
    }
}

/// Materials and kits by code. For a code that does not exist, the one that differs from it only in case comes along,
/// so that it can be suggested.
fn items_load_codes<'a>(
    conn: &mut AnyConnection,
    codes: impl Iterator<Item = &'a str>,
) -> Result<HashMap<String, ItemFacts>, Error> {
    let codes = distinct(codes);
    let mut found = items_by_codes(conn, &codes)?;
    let known: BTreeSet<&str> = found.iter().map(item_code).map(Code::as_str).collect();
    let twins: Vec<String> = codes
        .iter()
        .filter(|code| !known.contains(*code))
        .flat_map(|code| [code.to_ascii_lowercase(), code.to_ascii_uppercase()])
        .filter(|code| !known.contains(code.as_str()))
        .collect();
    if !twins.is_empty() {
        let twins = distinct(twins.iter().map(String::as_str));
        let twins = items_by_codes(conn, &twins)?;
        found.extend(twins);
    }
    let elastomers = elastomers_load(conn, &found)?;
    let facts = found.into_iter().map(|item| {
        let facts = match item {
            Item::Material(entry) => material_facts(entry),
            Item::Kit(kit) => kit_facts(kit, &elastomers)?,
        };
        Ok((facts.code.to_string(), facts))
    });
    facts.collect()
}

fn item_code(item: &Item) -> &Code {
    match item {
        Item::Material(entry) => &entry.code,
        Item::Kit(entry) => &entry.code,
    }
}

fn material_facts(entry: Entry<crate::catalogue::MaterialBody>) -> ItemFacts {
    ItemFacts {
        id: entry.id,
        code: entry.code,
        retired: entry.retired,
        lead_time_days: entry.body.lead_time_days,
        kind: ItemKind::Material {
            unit: entry.body.unit,
            density_g_per_ml: entry.body.density_g_per_ml,
        },
    }
}

/// The ids of base and curing agent of each elastomer that one of the kits is of, by the elastomer's code.
type ElastomerParts = HashMap<Code, [(i64, Code); 2]>;

fn elastomers_load(conn: &mut AnyConnection, items: &[Item]) -> Result<ElastomerParts, Error> {
    let codes = distinct(items.iter().filter_map(|item| match item {
        Item::Kit(kit) => Some(kit.body.elastomer.as_str()),
        Item::Material(_) => None,
    }));
    if codes.is_empty() {
        return Ok(HashMap::new());
    }
    let elastomers: Vec<Entry<ElastomerBody>> = entries_by_codes(conn, &codes)?;
    let parts = distinct(elastomers.iter().flat_map(|elastomer| {
        [
            elastomer.body.base.as_str(),
            elastomer.body.curing_agent.as_str(),
        ]
    }));
    let ids: HashMap<Code, i64> = items_by_codes(conn, &parts)?
        .into_iter()
        .filter_map(|item| match item {
            Item::Material(entry) => Some((entry.code, entry.id)),
            Item::Kit(_) => None,
        })
        .collect();
    let part = |code: &Code| {
        let id = ids.get(code.as_str()).copied();
        id.map(|id| (id, code.clone()))
            .ok_or_else(|| Error::internal(format!("an elastomer names {code}, no material")))
    };
    elastomers
        .iter()
        .map(|elastomer| {
            let parts = [
                part(&elastomer.body.base)?,
                part(&elastomer.body.curing_agent)?,
            ];
            Ok((elastomer.code.clone(), parts))
        })
        .collect()
}

fn kit_facts(kit: Entry<KitBody>, elastomers: &ElastomerParts) -> Result<ItemFacts, Error> {
    let [base, agent] = elastomers
        .get(&kit.body.elastomer)
        .cloned()
        .ok_or_else(|| Error::internal(format!("kit {} has no elastomer", kit.code)))?;
    let part = |(material_id, code), mass_g| PartFacts {
        material_id,
        code,
        mass_g,
    };
    Ok(ItemFacts {
        id: kit.id,
        code: kit.code,
        retired: kit.retired,
        lead_time_days: kit.body.lead_time_days,
        kind: ItemKind::Kit([
            part(base, kit.body.base_g),
            part(agent, kit.body.curing_agent_g),
        ]),
    })
}

fn grants_load(
    conn: &mut AnyConnection,
    readings: &[RowReading],
) -> Result<HashMap<String, GrantFacts>, Error> {
    let codes = good_rows(readings).filter_map(|row| row.funded_by.as_ref());
    let codes = distinct(codes.map(Code::as_str));
    let grants: Vec<Entry<GrantBody>> = entries_by_codes(conn, &codes)?;
    let facts = |grant: Entry<GrantBody>| {
        let facts = GrantFacts {
            id: grant.id,
            retired: grant.retired,
        };
        (grant.code.to_string(), facts)
    };
    Ok(grants.into_iter().map(facts).collect())
}

fn suppliers_load(
    conn: &mut AnyConnection,
    readings: &[RowReading],
) -> Result<HashMap<String, SupplierFacts>, Error> {
    let names = distinct(good_rows(readings).map(|row| row.supplier.as_str()));
    let mut suppliers = HashMap::with_capacity(names.len());
    for name in names {
        let facts = match supplier_named(conn, name)? {
            Some(entry) => SupplierFacts {
                key: SupplierKey::Known(entry.id),
                retired: entry.retired,
                lead_time_days: entry.body.lead_time_days,
            },
            None => SupplierFacts {
                key: SupplierKey::New(
                    supplier_code(name)
                        .map_err(|error| Error::invalid("/supplier", error.to_string()))?
                        .into_string(),
                ),
                retired: false,
                lead_time_days: None,
            },
        };
        suppliers.insert(name.to_owned(), facts);
    }
    Ok(suppliers)
}

fn orders_load(
    conn: &mut AnyConnection,
    readings: &[RowReading],
) -> Result<HashMap<String, OrderFacts>, Error> {
    let codes = distinct(good_rows(readings).map(|row| row.order_no.as_str()));
    let rows = store::orders_by_codes(conn, &codes)?;
    let suppliers: Vec<i64> = rows.iter().map(|row| row.supplier_id).collect();
    let names = codes_by_ids(conn, &suppliers)?;
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let mut lines: HashMap<i64, HashMap<u32, LineFacts>> = HashMap::new();
    for row in store::lines_of_orders(conn, &ids)? {
        let number = row
            .line_no
            .parse()
            .map_err(|_| Error::internal(format!("order line {} has no number", row.id)))?;
        let facts = LineFacts {
            id: row.id,
            state: state_of(&row)?,
            content: row.content,
        };
        lines.entry(row.order_id).or_default().insert(number, facts);
    }
    let facts = rows.into_iter().map(|row| {
        let name = names.get(&row.supplier_id).map(|(_, name)| name.clone());
        let facts = OrderFacts {
            id: row.id,
            supplier_id: row.supplier_id,
            supplier_name: name.unwrap_or_default(),
            ordered_on: row.ordered_on,
            lines: lines.remove(&row.id).unwrap_or_default(),
        };
        (row.code, facts)
    });
    Ok(facts.collect())
}

/// The state of a line that is kept.
///
/// # Errors
/// [`Error::Internal`] when it is none of ours.
pub(super) fn state_of(row: &store::LineRow) -> Result<LineState, Error> {
    LineState::parse(&row.state)
        .ok_or_else(|| Error::internal(format!("order line {} is {}", row.id, row.state)))
}

fn rates_load(
    conn: &mut AnyConnection,
    readings: &[RowReading],
    base_currency: Currency,
) -> Result<RateTable, Error> {
    let foreign = |row: &&PurchaseRow| row.currency != base_currency && row.rate.is_none();
    let needed: BTreeSet<(Currency, NaiveDate)> = good_rows(readings)
        .filter(foreign)
        .filter_map(|row| Some((row.currency, row.received_on?)))
        .collect();
    let mut table = RateTable::default();
    let days = || needed.iter().map(|(_, day)| *day);
    let Some((first, last)) = days().min().zip(days().max()) else {
        return Ok(table);
    };
    let first = first
        .checked_sub_days(Days::new(RATE_DAYS_BACK))
        .unwrap_or(first);
    let mut currencies: Vec<Currency> = needed.iter().map(|(currency, _)| *currency).collect();
    currencies.dedup();
    for row in store::rates_between(conn, &currencies, (first, last))? {
        table.insert(row.currency, row.rate_on, rate_read(&row)?);
    }
    Ok(table)
}

/// The rate of a currency that applies on a day; none when none was entered for it or the days before.
///
/// # Errors
/// [`Error::Internal`] when it does not read back.
pub fn rate_on(
    conn: &mut AnyConnection,
    currency: Currency,
    day: NaiveDate,
) -> Result<Option<QuotedRate>, Error> {
    let first = day
        .checked_sub_days(Days::new(RATE_DAYS_BACK))
        .unwrap_or(day);
    let mut table = RateTable::default();
    for row in store::rates_between(conn, &[currency], (first, day))? {
        table.insert(row.currency, row.rate_on, rate_read(&row)?);
    }
    Ok(table.on(currency, day))
}

/// The rate that is kept.
///
/// # Errors
/// [`Error::Internal`] when it does not read back.
pub(super) fn rate_read(row: &store::RateRow) -> Result<QuotedRate, Error> {
    QuotedRate::parse(&row.rate).map_err(|error| {
        Error::internal(format!(
            "the rate of {} on {}: {error}",
            row.currency, row.rate_on
        ))
    })
}
