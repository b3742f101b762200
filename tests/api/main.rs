//! The API over real HTTP, one file per noun, on the database that `HEELTAP_TEST_DATABASE` names.

mod cli;
mod doors;
mod health;
mod installation;
mod lots;
mod openapi;
mod packs;
mod problems;
mod readme;
mod shutdown;
mod support;
mod tokens;
mod verify;
mod warnings;
