//! What if, on the books as they are, all of it read in one snapshot.

use super::load::{on_order, plan_facts, recipe, unknown};
use super::variations::OtherTray;
use super::what_if_request::{WhatIfIn, at_plan};
use super::what_if_view::WhatIfOut;
use super::what_ifs::what_ifs;
use crate::base::{Error, RefusalKind};
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
