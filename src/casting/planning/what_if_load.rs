//! What if, on the books as they are, all of it read in one snapshot.

use chrono::NaiveDate;

use super::load::{on_order, plan_facts, recipe, unknown};
use super::request::PlanRequest;
use super::variations::OtherTray;
use super::what_if_request::{WhatIfIn, at_plan};
use super::what_if_view::{Outcome, WhatIfOut};
use super::what_ifs::{by_trays, what_ifs};
use crate::base::{Code, Error, RefusalKind};
use crate::catalogue::{MaterialKind, material_by_code};
use crate::db::{AnyConnection, House};
use crate::stock::load::shelf;

/// Plans without writing, as asked and with one thing changed at a time.
///
/// # Errors
/// [`Error::Invalid`] or [`Error::Refused`] for what the request asks or names.
pub fn cast_what_if(
    conn: &mut AnyConnection,
    asked: &WhatIfIn,
    house: House,
) -> Result<WhatIfOut, Error> {
    asked.check()?;
    let recipe = recipe(conn, &asked.plan).map_err(at_plan)?;
    let trays = other_trays(conn, asked)?;
    let facts = plan_facts(conn, recipe, &asked.plan, house, None).map_err(at_plan)?;
    what_ifs(&facts, asked, &trays)
}

/// Plans a cast of a recipe with 1, 2, … up to `most` trays on a day, charged to nobody, without writing.
///
/// # Errors
/// [`Error::Invalid`] or [`Error::Refused`] for a recipe that is not in use.
pub fn cast_by_trays(
    conn: &mut AnyConnection,
    (named, cast_on): (Code, NaiveDate),
    most: u32,
    house: House,
) -> Result<Vec<(u32, Outcome)>, Error> {
    let request = PlanRequest {
        recipe: named,
        containers: Some(1),
        good_chips_wanted: None,
        groups: None,
        containers_per_batch: None,
        cast_on,
        charges: Vec::new(),
        residue_quantile: None,
        allow_mixed_kits: false,
        allow_cross_charge: false,
        allow_short: false,
        take_from_later: false,
        heat_override_reason: None,
    };
    let recipe = recipe(conn, &request)?;
    let facts = plan_facts(conn, recipe, &request, house, None)?;
    by_trays(&facts, &request, most)
}

fn other_trays(conn: &mut AnyConnection, asked: &WhatIfIn) -> Result<Vec<OtherTray>, Error> {
    let mut trays = Vec::with_capacity(asked.container.len());
    for (at, code) in asked.container.iter().enumerate() {
        let pointer = format!("/container/{at}");
        let material =
            material_by_code(conn, code.as_str()).map_err(|error| unknown(&pointer, error))?;
        if material.body.kind != MaterialKind::Container {
            let detail = format!(
                "material `{}` is no tray: name one of kind `container`",
                code.as_str()
            );
            return Err(Error::invalid(pointer, detail));
        }
        if material.retired {
            let detail = format!("material `{}` is retired", code.as_str());
            return Err(Error::refused(RefusalKind::Retired, detail));
        }
        trays.push(OtherTray {
            shelf: shelf(conn, &[material.id])?,
            on_order: on_order(conn, &[material.id])?.remove(&material.id),
            material,
        });
    }
    Ok(trays)
}
