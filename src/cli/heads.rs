//! `heeltap heads`: prints the head of every lot, to be kept where whoever could rewrite the database cannot.
//!
//! Deliberately absent: holding them against the books (`heeltap verify --heads`).

use std::path::Path;

use super::failure::Failure;
use super::output::tell;
use super::settings::Given;
use crate::app::{self, Outside};
use crate::stock::heads::Heads;
use crate::stock::verify::heads;

pub(super) fn run(given: &Given) -> Result<(), Failure> {
    let service = app::open(&given.settings_of_existing()?, Outside::default())?;
    tell(&service.db().read(heads)?.to_csv())
}

/// Reads a file of heads.
///
/// # Errors
/// [`Failure::Failed`] names the file, and the line and column that are not right.
pub(super) fn heads_read(path: &Path) -> Result<Heads, Failure> {
    let shown = path.display();
    let bytes =
        std::fs::read(path).map_err(|e| Failure::Failed(format!("{shown} cannot be read: {e}")))?;
    Heads::parse(&bytes).map_err(|fault| Failure::Failed(format!("{shown}, {fault}")))
}
