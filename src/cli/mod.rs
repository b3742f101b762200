//! The command line: one file per command.
//!
//! Invariants: what a command answers goes to standard output, logs and failures to standard error; it ends with 0,
//! with 1 when it failed, with 2 when it was called wrongly. Deliberately absent: what the commands do (the rooms and
//! the composition root know).

mod backup;
pub mod demo;
mod failure;
mod fetch_rates;
mod heads;
mod import;
mod import_rates;
mod limits;
mod logging;
mod openapi;
mod output;
mod part;
mod proof;
mod report;
mod restore;
mod serve;
mod settings;
mod token;
mod verify;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

use settings::Given;

/// The stock is right, the mix is right, the money is right: inventory and cost for labs that cast replicas in
/// two-part silicone elastomer.
#[derive(Debug, Parser)]
#[command(name = "heeltap", version, max_term_width = 100)]
struct Cli {
    #[command(flatten)]
    given: Given,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serve the API. On an empty database, print the administrator's token, once.
    Serve,
    /// Fill a database of its own with an invented lab's fourteen months, and serve it. Without DATABASE_URL, that is the
    /// file heeltap-demo.sqlite3 in the working directory, made anew at each start.
    Demo,
    /// Print the OpenAPI document.
    Openapi,
    /// Import a purchase file into the database itself, all of it or nothing.
    Import(import::Import),
    /// Enter a file of exchange rates into the database itself, all of it or nothing.
    ImportRates(import_rates::ImportRates),
    /// Fetch reference rates once, now, from the address of HEELTAP_RATES_URL.
    FetchRates,
    /// Make, list and revoke tokens, in the database itself.
    #[command(subcommand)]
    Token(token::Command),
    /// Prove the books: every movement is read and hashed, and everything that is broken is named.
    Verify(verify::Verify),
    /// Write what a SQLite database holds at this moment into one file, while a service goes on, and prove it.
    Backup(backup::Backup),
    /// Put a backup in the place of a SQLite database that is not there.
    Restore(restore::Restore),
    /// Write a report as JSON, CSV or a spreadsheet; that of a closed period as it was written then.
    Report(report::Report),
    /// Print the head of every lot's chain and one digest of them all, to be kept elsewhere: `verify --heads` finds a
    /// history that was rewritten since.
    Heads,
}

/// Runs the command line of this process.
#[must_use]
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    let outcome = logging::start(&cli.given).and_then(|()| match &cli.command {
        Command::Serve => serve::run(&cli.given),
        Command::Demo => demo::run(&cli.given),
        Command::Openapi => openapi::run(),
        Command::Import(import) => import::run(&cli.given, import),
        Command::ImportRates(import) => import_rates::run(&cli.given, import),
        Command::FetchRates => fetch_rates::run(&cli.given),
        Command::Token(command) => token::run(&cli.given, command),
        Command::Verify(verify) => verify::run(&cli.given, verify),
        Command::Backup(backup) => backup::run(&cli.given, backup),
        Command::Restore(restore) => restore::run(&cli.given, restore),
        Command::Report(report) => report::run(&cli.given, report),
        Command::Heads => heads::run(&cli.given),
    });
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("heeltap: {failure}");
            failure.exit_code()
        }
    }
}
