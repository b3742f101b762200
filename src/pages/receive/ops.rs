//! Loading what these pages show, in a handful of statements each.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};

use super::lots::{Item, Items, LotShown, lot_kept};
use crate::base::{Currency, Error};
use crate::catalogue::{self, grant_all, items_by_codes, kit_all, material_all, supplier_all};
use crate::db::AnyConnection;
use crate::http::Service;
use crate::purchasing::csv_file::Limits;
use crate::purchasing::ops::{
    DraftView, ImportDetail, Look, OrderView, draft_look, drafts_waiting, import_get,
    imports_latest, order_get, orders_expected,
};
use crate::stock::views::{LotView, lots_by_ids, lots_latest};

/// How many orders are shown of which something is to come.
const EXPECTED_SHOWN: usize = 40;
/// How many lots are shown that came last.
const CAME_SHOWN: i64 = 12;
/// How many files are shown that were received last.
const IMPORTS_SHOWN: i64 = 5;
/// The most entries of a list to choose from; what is not among them can be typed.
const CHOICES_MAX: usize = 400;

/// What the overview is made of.
pub(super) struct Overview {
    /// Whether the catalogue has a material.
    pub(super) any_material: bool,
    /// The files that wait.
    pub(super) drafts: Vec<DraftView>,
    /// The orders of which something is to come, the oldest first.
    pub(super) expected: Vec<OrderView>,
    /// Whether there are more of them.
    pub(super) expected_more: bool,
    /// The lots that came last.
    pub(super) came: Vec<LotView>,
    /// The files that were received last.
    pub(super) imports: Vec<(i64, DateTime<Utc>, String)>,
    /// What the orders and the lots name.
    pub(super) items: Items,
    /// The suppliers' names by code.
    pub(super) suppliers: HashMap<String, String>,
}

/// Loads the overview.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn overview(conn: &mut AnyConnection, today: NaiveDate) -> Result<Overview, Error> {
    let mut expected = orders_expected(
        conn,
        i64::try_from(EXPECTED_SHOWN + 1).map_err(Error::internal)?,
    )?;
    let expected_more = expected.len() > EXPECTED_SHOWN;
    expected.truncate(EXPECTED_SHOWN);
    let came = lots_latest(conn, CAME_SHOWN, today)?;
    let ordered = expected.iter().flat_map(|order| &order.lines);
    let codes: Vec<&str> = ordered
        .map(|line| line.item.as_str())
        .chain(came.iter().map(|lot| lot.material.as_str()))
        .collect();
    Ok(Overview {
        any_material: !came.is_empty() || !material_all(conn)?.is_empty(),
        drafts: drafts_waiting(conn)?,
        items: items(conn, &codes)?,
        suppliers: suppliers(conn)?,
        imports: imports_latest(conn, IMPORTS_SHOWN)?,
        expected,
        expected_more,
        came,
    })
}

fn suppliers(conn: &mut AnyConnection) -> Result<HashMap<String, String>, Error> {
    let all = supplier_all(conn)?.into_iter();
    Ok(all
        .map(|entry| (entry.code.to_string(), entry.name))
        .collect())
}

/// The materials and kits of some codes.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn items(conn: &mut AnyConnection, codes: &[&str]) -> Result<Items, Error> {
    let mut codes = codes.to_vec();
    codes.sort_unstable();
    codes.dedup();
    let found = items_by_codes(conn, &codes)?.into_iter();
    Ok(found
        .map(|item| match item {
            catalogue::Item::Material(entry) => {
                let unit = Some(entry.body.unit);
                let name = entry.name;
                (entry.code.to_string(), Item { name, unit })
            }
            catalogue::Item::Kit(entry) => {
                let name = entry.name;
                (entry.code.to_string(), Item { name, unit: None })
            }
        })
        .collect())
}

/// A look at a draft, with the names of what it would make.
///
/// # Errors
/// [`Error::NotFound`] when there is no such draft.
pub(super) fn look(
    conn: &mut AnyConnection,
    id: i64,
    circumstances: (NaiveDate, Currency),
    limits: Limits,
) -> Result<(DraftView, Look, Items), Error> {
    let (draft, look) = draft_look(conn, id, circumstances, limits)?;
    let found = match &look {
        Look::Rows { report, .. } => {
            let lots = report.rows.iter().flat_map(|row| &row.lots);
            let codes: Vec<&str> = lots.map(|lot| lot.material.as_str()).collect();
            items(conn, &codes)?
        }
        Look::Unusable { .. } | Look::Settled => Items::new(),
    };
    Ok((draft, look, found))
}

/// An import, with the names of some materials.
///
/// # Errors
/// [`Error::NotFound`] when there is none.
pub(super) fn import(
    conn: &mut AnyConnection,
    id: i64,
    codes_of: impl Fn(&ImportDetail) -> Vec<String>,
) -> Result<(ImportDetail, Items), Error> {
    let import = import_get(conn, id)?;
    let codes = codes_of(&import);
    let codes: Vec<&str> = codes.iter().map(String::as_str).collect();
    let items = items(conn, &codes)?;
    Ok((import, items))
}

/// What the page of an order is made of.
pub(super) struct OrderFacts {
    /// The order.
    pub(super) order: OrderView,
    /// The supplier's name.
    pub(super) supplier: String,
    /// What it names.
    pub(super) items: Items,
    /// The lots it brought.
    pub(super) lots: HashMap<i64, LotShown>,
}

/// Loads an order.
///
/// # Errors
/// [`Error::NotFound`] when there is none of that number.
pub(super) fn order(
    conn: &mut AnyConnection,
    code: &str,
    (today, currency): (NaiveDate, Currency),
) -> Result<OrderFacts, Error> {
    let order = order_get(conn, code)?;
    let ids: Vec<i64> = order
        .lines
        .iter()
        .flat_map(|line| &line.lots)
        .copied()
        .collect();
    let lots = lots_by_ids(conn, &ids, today)?;
    let codes: Vec<&str> = order
        .lines
        .iter()
        .map(|line| line.item.as_str())
        .chain(lots.iter().map(|lot| lot.material.as_str()))
        .collect();
    let items = items(conn, &codes)?;
    let supplier = suppliers(conn)?.remove(&order.supplier);
    Ok(OrderFacts {
        lots: lots
            .iter()
            .map(|lot| (lot.id, lot_kept(lot, &items, currency)))
            .collect(),
        supplier: supplier.unwrap_or_else(|| order.supplier.clone()),
        items,
        order,
    })
}

/// An order's number as a part of an address.
pub(super) fn part_of_address(order_no: &str) -> String {
    utf8_percent_encode(order_no, NON_ALPHANUMERIC).to_string()
}

/// What a field offers, as values with their words.
#[derive(Default)]
pub(super) struct Choices {
    /// Materials and kits.
    pub(super) items: Vec<(String, String)>,
    /// Suppliers.
    pub(super) suppliers: Vec<String>,
    /// Grants.
    pub(super) grants: Vec<(String, String)>,
}

/// Loads what the form for a delivery offers.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn choices(conn: &mut AnyConnection) -> Result<Choices, Error> {
    let kits = kit_all(conn)?.into_iter().filter(|entry| !entry.retired);
    let kits = kits.map(|entry| (entry.code.to_string(), format!("{}, a kit", entry.name)));
    let materials = material_all(conn)?
        .into_iter()
        .filter(|entry| !entry.retired);
    let materials = materials.map(|entry| (entry.code.to_string(), entry.name));
    let suppliers = supplier_all(conn)?
        .into_iter()
        .filter(|entry| !entry.retired);
    let grants = grant_all(conn)?.into_iter().filter(|entry| !entry.retired);
    Ok(Choices {
        items: kits.chain(materials).take(CHOICES_MAX).collect(),
        suppliers: suppliers
            .map(|entry| entry.name)
            .take(CHOICES_MAX)
            .collect(),
        grants: grants
            .map(|entry| (entry.code.to_string(), entry.name))
            .take(CHOICES_MAX)
            .collect(),
    })
}

/// The day and the currency of the books.
pub(super) fn circumstances(service: &Service) -> (NaiveDate, Currency) {
    (service.today(), service.base_currency())
}
