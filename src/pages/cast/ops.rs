//! Loading what the page of a cast shows, and doing what its forms ask for.

use std::collections::HashMap;

use serde_json::{Map, Value, json};

use super::deeds::Deed;
use super::origins::Names;
use crate::base::{Error, Quantity};
use crate::casting::bench::{Clocked, sheet_show};
use crate::casting::life::reschedule::cast_reschedule;
use crate::casting::life::undo::{cast_cancel, cast_undo};
use crate::casting::life::view::{CastView, cast_show};
use crate::casting::trace::cast_trace_show;
use crate::casting::trace::view::CastTrace;
use crate::casting::variance::cast_cost;
use crate::casting::variance::view::CastCost;
use crate::catalogue::{grant_all, material_all, recipe_by_code};
use crate::db::{AnyConnection, House, Tx};
use crate::http::{IfMatch, MergePatch, Reply, document_read};

/// What the page is made of.
pub(super) struct Facts {
    /// The cast.
    pub(super) cast: CastView,
    /// The recipe's name.
    pub(super) recipe_name: String,
    /// Its cost.
    pub(super) cost: CastCost,
    /// What it drew on.
    pub(super) trace: CastTrace,
    /// Materials by code.
    pub(super) materials: Names,
    /// The grants' names by code.
    pub(super) grants: HashMap<String, String>,
    /// What a booked cast lacks, by the material's code.
    pub(super) missing: Vec<(String, Quantity)>,
}

/// Loads them.
///
/// # Errors
/// [`Error::NotFound`] without such a cast.
pub(super) fn facts(conn: &mut AnyConnection, code: &str, house: House) -> Result<Facts, Error> {
    let cast = cast_show(conn, code, house.base_currency)?;
    let materials = material_all(conn)?.into_iter();
    let grants = grant_all(conn)?.into_iter();
    Ok(Facts {
        recipe_name: recipe_by_code(conn, &cast.recipe)?.name,
        cost: cast_cost(conn, code, house.base_currency)?,
        trace: cast_trace_show(conn, code)?,
        materials: materials
            .map(|entry| {
                (
                    entry.code.to_string(),
                    (entry.name, entry.body.unit.as_str()),
                )
            })
            .collect(),
        grants: grants
            .map(|entry| (entry.code.to_string(), entry.name))
            .collect(),
        missing: match cast.short {
            true => missing(conn, code, house)?,
            false => Vec::new(),
        },
        cast,
    })
}

/// What a short cast lacks now, step by step as its bench sheet says.
fn missing(
    conn: &mut AnyConnection,
    code: &str,
    house: House,
) -> Result<Vec<(String, Quantity)>, Error> {
    let clocked = Clocked::default();
    let steps = sheet_show(conn, code, &clocked, house)?.map_or_else(Vec::new, |sheet| sheet.steps);
    let mut found: Vec<(String, Quantity)> = Vec::new();
    for lack in steps.into_iter().flat_map(|step| step.missing) {
        match found.iter_mut().find(|(code, _)| *code == lack.material) {
            Some((_, quantity)) => *quantity = quantity.checked_add(lack.quantity)?,
            None => found.push((lack.material, lack.quantity)),
        }
    }
    Ok(found)
}

/// Does what a form asks for; `known` is the version that its page showed.
///
/// # Errors
/// Those of the operation; [`Error::VersionMismatch`] when the cast has changed since, so that a step is taken back only by
/// whoever saw it.
pub(super) fn deed_run(
    tx: &mut Tx<'_>,
    code: &str,
    deed: Deed,
    document: Map<String, Value>,
    known: Option<i64>,
) -> Result<Reply, Error> {
    let seen = IfMatch::of(known);
    let cast = match deed {
        Deed::Move => cast_reschedule(tx, code, &MergePatch::new(document), &seen)?,
        Deed::Cancel => cast_cancel(tx, code)?,
        Deed::Undo => {
            let cast = cast_undo(tx, code, &document_read(Value::Object(document))?)?;
            // The operation holds the locks and changed the cast once: what stood before is what the page must have shown.
            seen.check(cast.version - 1)?;
            cast
        }
    };
    Reply::ok(&json!({"cast": cast.code}))
}
