//! `heeltap fetch-rates`: fetches reference rates once, now, and prints what was entered.
//!
//! Invariants: one attempt; it ends with 1 and the reason when that fails.
//! Deliberately absent: the fetch (the purchasing room has it), and the pauses between attempts (a serving process has them).

use super::failure::Failure;
use super::output::say;
use super::settings::Given;
use crate::app::{self, Outside};
use crate::purchasing::rate::Quote;
use crate::purchasing::rate_file::RateLine;
use crate::purchasing::rates_fetch::{FetchReport, fetch_now};

pub(super) fn run(given: &Given) -> Result<(), Failure> {
    let settings = given.settings()?;
    let Some(rates) = &settings.rates else {
        return Err(Failure::Usage(
            "HEELTAP_RATES_URL: no address is set: name the one that serves the rates".to_owned(),
        ));
    };
    let host = rates.address.host().to_owned();
    let service = app::open(&settings, Outside::default())?;
    let report = fetch_now(&service)
        .map_err(|failure| {
            Failure::Failed(format!("rates were not fetched from {host}: {failure}"))
        })?
        .unwrap_or_default();
    told(&report, service.base_currency().as_str())
}

fn told(report: &FetchReport, base: &str) -> Result<(), Failure> {
    for (lines, outcome) in [(&report.entered, "entered"), (&report.replaced, "replaced")] {
        for line in lines {
            say(&format!("{}: {outcome}", shown(line, base)))?;
        }
    }
    let passed = report.passed_over;
    say(&format!(
        "{} entered, {} replaced, {} unchanged, {} left as somebody entered them",
        report.entered.len(),
        report.replaced.len(),
        report.unchanged,
        report.left_alone
    ))?;
    if passed.all() > 0 {
        say(&format!(
            "passed over: {} of unknown currencies, {} days in the future, {} days without {base}, {} out of range",
            passed.unknown_currencies,
            passed.future_days,
            passed.days_without_base,
            passed.out_of_range
        ))?;
    }
    Ok(())
}

/// Such as `2026-02-27 1 EUR = 1.0835 USD`.
fn shown(line: &RateLine, base: &str) -> String {
    let (day, currency, rate) = (line.rate_on, line.currency, line.quoted.rate);
    match line.quoted.quote {
        Quote::ForeignPerBase => format!("{day} 1 {base} = {rate} {currency}"),
        Quote::BasePerForeign => format!("{day} 1 {currency} = {rate} {base}"),
    }
}
