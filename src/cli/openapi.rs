//! `heeltap openapi`: prints the document that `/openapi.json` serves, in a stable order.

use super::failure::Failure;
use super::output::say;
use crate::app;

pub(super) fn run() -> Result<(), Failure> {
    let text = app::document()
        .to_pretty_json()
        .map_err(|e| Failure::Failed(format!("the document cannot be written: {e}")))?;
    say(&text)
}
