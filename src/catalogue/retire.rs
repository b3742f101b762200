//! Retiring an entry of any noun: nothing new may name it, and it stays readable for ever.

use serde_json::json;

use super::create::{materials_affected, show_by_id};
use super::find::row_by_code;
use super::noun::{CatalogueBody, Noun};
use super::store::{self, EntryRow, Hold, User};
use super::wire::EntryOut;
use crate::base::{Error, RefusalKind};
use crate::db::Tx;

/// How many users a refusal names in its sentence; its members name them all.
const USERS_SAID: usize = 5;

/// Retires an entry. What is left of a mold's cost goes to waste. Retiring twice keeps the first instant.
///
/// # Errors
/// [`Error::NotFound`]; [`Error::Refused`] while an entry that is in use names it, a cast that is not finished or an
/// order that has not arrived stands on it, or, for a material, its packs hold something.
pub fn entry_retire<B: CatalogueBody>(tx: &mut Tx<'_>, code: &str) -> Result<EntryOut<B>, Error> {
    let id = row_by_code(tx.conn, B::NOUN, code)?.id;
    let affected = materials_affected(tx.conn, B::NOUN, id)?;
    store::materials_hold(tx.conn, &affected)?;
    store::entries_hold(tx.conn, &[id], Hold::Retiring)?;
    // Read again: it may have changed while we waited.
    let row = row_by_code(tx.conn, B::NOUN, code)?;
    if row.retired_at.is_some() {
        return show_by_id(tx.conn, id);
    }
    let users = store::entry_users(tx.conn, id)?;
    if !users.is_empty() {
        return Err(in_use(&row, &users));
    }
    if B::NOUN == Noun::Material {
        refuse_stock(tx, &row)?;
    }
    if B::NOUN == Noun::Mold {
        store::pools_close(tx, id)?;
    }
    store::entry_retire(tx, id)?;
    store::materials_mark(tx, &affected)?;
    show_by_id(tx.conn, id)
}

fn refuse_stock(tx: &mut Tx<'_>, row: &EntryRow) -> Result<(), Error> {
    let on_hand = store::stock_on_hand(tx.conn, row.id)?;
    if !on_hand.is_positive() {
        return Ok(());
    }
    Err(Error::refused(
        RefusalKind::InUse,
        format!(
            "{on_hand} of \"{}\" are on hand: use it up or write it off, then retire it",
            row.code
        ),
    )
    .with("on_hand", on_hand.to_string()))
}

fn in_use(row: &EntryRow, users: &[User]) -> Error {
    let words: Vec<String> = users
        .iter()
        .take(USERS_SAID)
        .map(|user| format!("{} \"{}\"", user.noun, user.code))
        .collect();
    let more = match users.len().saturating_sub(USERS_SAID) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    Error::refused(
        RefusalKind::InUse,
        format!(
            "the {} \"{}\" is in use by {}{more}: retire or finish what uses it first",
            row.noun,
            row.code,
            words.join(", ")
        ),
    )
    .with("used_by", json!(users))
}
