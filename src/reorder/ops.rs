//! Refreshing the advice: what waits is judged, kept and warned of, in transactions that are short.
//!
//! Invariants: marks are taken before the books are read, so that nothing written meanwhile is missed; on PostgreSQL the
//! materials are locked like those of any stock operation, so that two refreshes never warn of one thing twice; advice
//! that is kept is of its day, and of what was left of the budget. Deliberately absent: any refresh inside a booking.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::NaiveDate;

use super::alarms::{EXPIRING, KINDS, OVERDUE_ORDER, Wanted, order_alarm};
use super::batches::{Batch, batches};
use super::judge::{Books, Judgement, judge};
use super::kept::KeptAdvice;
use super::load;
use super::material_facts::MaterialBooks;
use super::settings::ForecastSettings;
use super::store::{self, OpenWarning};
use super::view::{ReorderDetail, reorder_detail};
use crate::base::{Currency, Error, Money, kept_read};
use crate::catalogue::{Item, item_by_code, material_all};
use crate::db::{AnyConnection, Tx};
use crate::http::Service;
use crate::purchasing::ops::budget_left;
use crate::stock::load::lock;
use crate::stock::warnings::{Subject, warning_clear, warning_raise};

/// About how many materials are judged in one transaction: others who write wait for it.
const BATCH_MATERIALS: usize = 50;

/// What is to be refreshed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Scope {
    /// What was marked by a write.
    Dirty,
    /// That, and whatever has no advice of today.
    Waiting,
}

/// Brings all advice and warnings up to date: what was written since, and what is of another day. Readers call it first.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer; [`Error::ReadOnly`] when something waits and cannot be
/// written.
pub fn refresh(service: &Service) -> Result<(), Error> {
    refresh_scope(service, Scope::Waiting)
}

/// Brings up to date what was written about since; the worker calls it every few seconds.
///
/// # Errors
/// As [`refresh`].
pub fn drain(service: &Service) -> Result<(), Error> {
    refresh_scope(service, Scope::Dirty)
}

fn refresh_scope(service: &Service, scope: Scope) -> Result<(), Error> {
    let day = (service.today(), service.base_currency());
    let forecast = forecast_settings(service);
    let all = service
        .db()
        .read(|conn| waiting_batches(conn, scope, day, BATCH_MATERIALS))?;
    for batch in all {
        service.as_actor("reorder", |tx| {
            batch_refresh(tx, &batch, forecast).map(|_| ())
        })?;
    }
    Ok(())
}

/// How demand is foreseen in this process.
pub fn forecast_settings(service: &Service) -> ForecastSettings {
    service
        .part::<ForecastSettings>()
        .copied()
        .unwrap_or_default()
}

/// Brings all advice and warnings up to date within one transaction. Returns how many materials and kits were judged.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
#[cfg(test)]
pub(super) fn advice_refresh(tx: &mut Tx<'_>) -> Result<usize, Error> {
    let all = waiting_batches(tx.conn, Scope::Waiting, day_of(tx), usize::MAX)?;
    let mut judged = 0;
    for batch in all {
        judged += batch_refresh(tx, &batch, ForecastSettings::default())?;
    }
    Ok(judged)
}

fn day_of(tx: &Tx<'_>) -> (NaiveDate, Currency) {
    (tx.today, tx.base_currency)
}

fn waiting(
    conn: &mut AnyConnection,
    scope: Scope,
    (today, currency): (NaiveDate, Currency),
) -> Result<BTreeSet<i64>, Error> {
    let mut items = store::dirty(conn)?;
    if scope == Scope::Waiting {
        // Every order takes of the budget that all advice keeps within.
        let left = budget_left(conn, today, currency)?;
        items.extend(store::outdated(conn, today, left)?);
    }
    Ok(items)
}

fn waiting_batches(
    conn: &mut AnyConnection,
    scope: Scope,
    day: (NaiveDate, Currency),
    size: usize,
) -> Result<Vec<Batch>, Error> {
    let items = waiting(conn, scope, day)?;
    if items.is_empty() {
        return Ok(Vec::new());
    }
    Ok(batches(&items, &store::kit_links(conn)?, size))
}

/// Judges what still waits of a batch.
fn batch_refresh(
    tx: &mut Tx<'_>,
    batch: &Batch,
    forecast: ForecastSettings,
) -> Result<usize, Error> {
    lock(tx, &batch.materials)?;
    // Another may have judged it while we waited, and a kit may have been made or retired.
    let links = store::kit_links(tx.conn)?;
    let members = batch.materials.iter().chain(&batch.kits);
    let members: BTreeSet<i64> = members.copied().collect();
    let items: BTreeSet<i64> = waiting(tx.conn, Scope::Waiting, day_of(tx))?
        .intersection(&members)
        .copied()
        .collect();
    let mut judged = 0;
    for batch in batches(&items, &links, usize::MAX) {
        store::dirty_take(tx.conn, &batch.materials)?;
        let books = load::books(tx.conn, &batch, &links, tx.today)?;
        let circumstances = load::circumstances(tx.conn, day_of(tx), forecast)?;
        let (judgements, failures) = judge(&books, &circumstances);
        for failure in failures {
            tracing::error!(%failure, "a material could not be judged");
        }
        keep(tx, &batch, &judgements, circumstances.budget_left)?;
        settle_warnings(tx, &batch, &books, &judgements)?;
        judged += judgements.len();
    }
    Ok(judged)
}

fn keep(
    tx: &mut Tx<'_>,
    batch: &Batch,
    judgements: &[Judgement],
    budget_left: Option<Money>,
) -> Result<(), Error> {
    store::advice_drop(tx.conn, &batch.materials)?;
    store::advice_drop(tx.conn, &batch.kits)?;
    for judgement in judgements {
        let body = serde_json::to_string(&judgement.view).map_err(Error::internal)?;
        let made = (tx.today, budget_left);
        store::advice_put(tx.conn, judgement.item_id, made, &body)?;
    }
    Ok(())
}

/// Raises the warnings that should stand and clears those of the batch that should not.
fn settle_warnings(
    tx: &mut Tx<'_>,
    batch: &Batch,
    books: &Books,
    judgements: &[Judgement],
) -> Result<(), Error> {
    let open = store::warnings_open(tx.conn, &KINDS)?;
    let wanted = wanted(judgements, &open);
    for want in &wanted {
        warning_raise(
            tx,
            &subject(want.kind, want.noun, &want.subject),
            &want.alarm,
        )?;
    }
    let stands = |warning: &&OpenWarning| {
        wanted.iter().any(|want| {
            (want.kind, want.noun, &want.subject)
                == (
                    warning.kind.as_str(),
                    warning.noun.as_str(),
                    &warning.subject,
                )
        })
    };
    let stale: Vec<&OpenWarning> = open.iter().filter(|warning| !stands(warning)).collect();
    let ours = Ours::of(tx.conn, batch, books, &stale)?;
    for warning in stale {
        if ours.has(warning) {
            warning_clear(tx, &subject(&warning.kind, &warning.noun, &warning.subject))?;
        }
    }
    Ok(())
}

fn subject<'a>(kind: &'a str, noun: &'a str, code: &'a str) -> Subject<'a> {
    Subject { kind, noun, code }
}

fn wanted(judgements: &[Judgement], open: &[OpenWarning]) -> Vec<Wanted> {
    let mut wanted = Vec::new();
    for judgement in judgements {
        wanted.extend(judgement.alarms.iter().cloned());
        if judgement.watched {
            let before = open.iter().find(|warning| {
                (
                    warning.kind.as_str(),
                    warning.noun.as_str(),
                    warning.subject.as_str(),
                ) == (
                    super::alarms::ORDER_BY,
                    judgement.noun,
                    judgement.advice.material.as_str(),
                )
            });
            let due_on = before.and_then(|warning| warning.due_on);
            wanted.extend(order_alarm(judgement.noun, &judgement.advice, due_on));
        }
    }
    wanted
}

/// Which subjects of warnings belong to a batch.
struct Ours {
    codes: BTreeSet<(&'static str, String)>,
    lots: BTreeSet<String>,
    lines: BTreeSet<String>,
}

impl Ours {
    fn of(
        conn: &mut AnyConnection,
        batch: &Batch,
        books: &Books,
        open: &[&OpenWarning],
    ) -> Result<Self, Error> {
        let lot_ids: Vec<i64> = open
            .iter()
            .filter(|warning| warning.kind == EXPIRING)
            .filter_map(|warning| warning.subject.parse().ok())
            .collect();
        let lots: HashMap<i64, i64> = store::lot_materials(conn, &lot_ids)?;
        let materials = books.materials.values();
        let kits = books.kits.iter();
        Ok(Self {
            codes: materials
                .clone()
                .map(|material| ("material", material.entry.code.to_string()))
                .chain(kits.map(|(_, kit, _)| ("kit", kit.code.to_string())))
                .collect(),
            lots: lots
                .into_iter()
                .filter(|(_, material)| batch.materials.contains(material))
                .map(|(lot, _)| lot.to_string())
                .collect(),
            lines: materials
                .flat_map(|material| &material.lines)
                .map(|line| line.name())
                .collect(),
        })
    }

    fn has(&self, warning: &OpenWarning) -> bool {
        match warning.kind.as_str() {
            EXPIRING => self.lots.contains(&warning.subject),
            OVERDUE_ORDER => self.lines.contains(&warning.subject),
            _ => self
                .codes
                .iter()
                .any(|(noun, code)| (*noun, code) == (warning.noun.as_str(), &warning.subject)),
        }
    }
}

/// The kept advice on every material and kit in use, in the order of their ids. Call [`refresh`] first.
///
/// # Errors
/// [`Error::Internal`] when a row is not advice.
pub fn advice_kept(conn: &mut AnyConnection) -> Result<Vec<KeptAdvice>, Error> {
    store::advice_page(conn, 0, i64::MAX)?
        .into_iter()
        .map(|(_, body)| kept_read(&body).map_err(Error::internal))
        .collect()
}

/// A material or kit in use: what the books say of it, and what is made of that.
pub struct Standing {
    /// A material's entry, packs and orders; none of a kit.
    pub books: Option<MaterialBooks>,
    /// The advice, and what it was made from.
    pub judgement: Judgement,
    /// The supplier of its latest order, by id.
    pub supplier_id: Option<i64>,
}

/// Every material and kit in use with the advice on it, made from the books as they are, by their ids.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn standing(
    conn: &mut AnyConnection,
    day: (NaiveDate, Currency),
    forecast: ForecastSettings,
) -> Result<Vec<Standing>, Error> {
    let ids = material_all(conn)?
        .into_iter()
        .filter(|entry| !entry.retired)
        .map(|entry| entry.id);
    let links = store::kit_links(conn)?;
    let circumstances = load::circumstances(conn, day, forecast)?;
    let mut found = BTreeMap::new();
    for batch in batches(&ids.collect(), &links, usize::MAX) {
        let mut books = load::books(conn, &batch, &links, day.0)?;
        let (judgements, _) = judge(&books, &circumstances);
        let lines = books.materials.values().flat_map(|books| &books.lines);
        let mut suppliers: HashMap<i64, (NaiveDate, i64)> = HashMap::new();
        for line in lines {
            let latest = suppliers
                .entry(line.item_id)
                .or_insert((line.ordered_on, line.supplier_id));
            if line.ordered_on >= latest.0 {
                *latest = (line.ordered_on, line.supplier_id);
            }
        }
        for judgement in judgements {
            let item = judgement.item_id;
            let standing = Standing {
                books: books.materials.remove(&item),
                judgement,
                supplier_id: suppliers.get(&item).map(|(_, supplier)| *supplier),
            };
            found.insert(item, standing);
        }
    }
    Ok(found.into_values().collect())
}

/// The advice on a material or kit with all that it rests on, made from the books as they are.
///
/// # Errors
/// [`Error::NotFound`] when there is no such material or kit in use.
pub(super) fn reorder_show(
    conn: &mut AnyConnection,
    code: &str,
    day: (NaiveDate, Currency),
    forecast: ForecastSettings,
) -> Result<ReorderDetail, Error> {
    let missing = || Error::not_found("material or kit in use", code);
    let id = match item_by_code(conn, code)?.ok_or_else(missing)? {
        Item::Material(entry) if !entry.retired => entry.id,
        Item::Kit(entry) if !entry.retired => entry.id,
        Item::Material(_) | Item::Kit(_) => return Err(missing()),
    };
    let links = store::kit_links(conn)?;
    let batch = batches(&BTreeSet::from([id]), &links, 1)
        .pop()
        .ok_or_else(missing)?;
    let books = load::books(conn, &batch, &links, day.0)?;
    let (judgements, failures) = judge(&books, &load::circumstances(conn, day, forecast)?);
    let found = judgements
        .into_iter()
        .find(|judgement| judgement.item_id == id);
    let Judgement {
        view,
        facts,
        advice,
        ..
    } = found.ok_or_else(|| {
        let failure = failures.into_iter().find(|failure| failure.code == code);
        Error::internal(failure.map_or_else(
            || format!("no advice on {code}"),
            |failure| failure.to_string(),
        ))
    })?;
    Ok(reorder_detail(view, &facts, &advice))
}
