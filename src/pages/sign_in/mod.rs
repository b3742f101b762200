//! Signing in with a token, and out again.

mod routes;

pub(super) use routes::routes;
