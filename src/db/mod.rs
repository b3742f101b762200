//! The database room: one connection type over both databases, the pool, the transactions, the migrations.
//!
//! Invariants: a write to SQLite holds the process-wide fair lock and begins with `BEGIN IMMEDIATE`, so writers queue
//! and nobody starves; a read sees one snapshot; an instant is stored in UTC to the microsecond.
//! Deliberately absent: any statement about a feature's tables (those live in the features' `store` files); only the
//! tables that belong to no feature are served here (`installation`, `job_runs`, the putting into `outbox`).

mod connection;
mod earlier;
mod existing;
mod expressions;
#[cfg(test)]
pub(crate) mod fixture;
mod installation;
mod job_runs;
mod migrate;
mod outbox;
mod pool;
pub mod schema;
#[cfg(test)]
mod schema_tests;
mod slow;
mod sqlite_file;
#[cfg(test)]
pub(crate) mod testing;
mod transaction;
mod url;

pub use connection::AnyConnection;
pub use existing::{installation_peek, sqlite_remove};
pub use expressions::{as_written, sum_bigint};
pub use installation::{Installation, installation_fetch, installation_settle};
pub use job_runs::{job_claim, job_give_back};
pub use migrate::{migrate, newer_schema, newest_version};
pub use outbox::{
    TOPICS, WARNING_ACKNOWLEDGED, WARNING_CLEARED, WARNING_RAISED, WEBHOOK_TEST, outbox_put,
    outbox_put_mail, outbox_put_to,
};
pub use pool::Db;
pub use sqlite_file::{
    SchemaAge, sqlite_damage, sqlite_read, sqlite_schema_age, sqlite_schema_gap, sqlite_snapshot,
    sqlite_upgrade,
};
pub use transaction::{House, Tx, WORKING_DAY_MIN_DEFAULT, instant, stored_instant};
pub use url::{DatabaseUrl, UrlError};
