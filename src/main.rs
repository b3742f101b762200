//! The binary: hands the command line to [`heeltap::cli`].

use std::process::ExitCode;

fn main() -> ExitCode {
    heeltap::cli::run()
}
