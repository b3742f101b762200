//! The pages room: what the person at the balance, the buyer and the investigator look at, made on the server.
//!
//! Invariants: a page shows what the operations below say, in their words, and computes nothing but how it looks; every page
//! works without scripts; nothing is fetched from elsewhere; whoever is not signed in sees the page to sign in. A page's
//! template stands beside its handler and is dumb: a typed struct holds what it shows. Deliberately absent: any rule of stock,
//! casting, costing or ordering.

mod assets;
mod bench_sheet;
mod buy;
mod cast;
mod casts;
mod catalogue;
mod cost;
mod drawing;
mod figure;
mod form;
mod frame;
mod horizon;
mod lot;
mod parts;
mod plan;
mod receive;
mod refusal;
mod routes;
mod shelf;
mod sign_in;
mod vessel;
mod warnings;
mod words;

pub use form::form_error;
pub use refusal::refuse;
pub use routes::routes;
pub use words::{amount, day, money};
