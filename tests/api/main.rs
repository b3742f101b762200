//! The API over real HTTP, one file per noun, on the database that `HEELTAP_TEST_DATABASE` names.

mod casts;
mod cli;
mod doors;
mod health;
mod installation;
mod materials;
mod openapi;
mod problems;
mod readme;
mod reorder;
mod shutdown;
mod support;
mod tokens;
