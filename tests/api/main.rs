//! The API over real HTTP, one file per noun, on the database that `HEELTAP_TEST_DATABASE` names.

mod bench_sheet;
mod casts;
mod cli;
mod day;
mod demo;
mod doors;
mod health;
mod heat;
mod histories;
#[path = "../check_values/hostile.rs"]
mod hostile;
mod import_command;
mod installation;
mod levels;
mod lots;
mod materials;
mod mix_corrections;
mod openapi;
mod orders;
mod packs;
mod plans;
mod problems;
mod purchase_imports;
mod readme;
mod reorder;
mod reports;
mod residue_report;
mod shutdown;
mod support;
mod tokens;
mod treatments;
mod verify;
mod warnings;
mod weighings;
