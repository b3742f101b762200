//! The HTTP room: who may come in, how bodies are read, how answers and problems are written.
//!
//! Invariants: authentication comes before a body is read; every error leaves as `application/problem+json`; a write
//! with an `Idempotency-Key` is answered once and repeated from the books. It knows no feature: the table of
//! operations and their roles is handed in by the composition root.

mod arrival;
mod asker;
mod body;
mod caller;
mod door;
mod etag;
mod json_depth;
mod limits;
pub mod metrics;
pub mod outbound;
mod paging;
mod parts;
mod patch;
mod problem;
mod query;
mod rate;
mod reply;
mod request_id;
mod safety;
mod service;
pub mod sessions;
mod store;
#[cfg(test)]
mod tests;
pub mod tls;
pub mod tokens;

pub use asker::{Asker, TrustedProxies};
pub use body::{Body, NoBody, RawBody, document_read};
pub use caller::{Caller, Role, Roles};
pub use door::{Door, Doors, Refuse, Way, guard, sign_in_allowed};
pub use etag::IfMatch;
pub use limits::Limits;
pub use paging::{List, Page, PageQuery};
pub use patch::{MergePatch, merge_patch};
pub use problem::{Answer, Problem, ProblemBody, path_error};
pub use query::Query;
pub use reply::Reply;
pub use service::Service;
