//! The API over real HTTP, one file per noun, on the database that `HEELTAP_TEST_DATABASE` names.

mod casts;
mod cli;
mod demo;
mod doors;
mod health;
mod installation;
mod openapi;
mod problems;
mod readme;
mod shutdown;
mod support;
mod tokens;
