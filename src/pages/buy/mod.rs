//! What to buy: every material and kit that is ordered as such, by its last day to order, with why and how much; and the words
//! of an order, ready to be copied.
//!
//! Invariant: a part of a kit is not here, since its kit is. Deliberately absent: the placing of the order (what was ordered is
//! entered by a purchase file or over the API).

mod card;
mod routes;

pub(super) use routes::routes;
