//! `heeltap verify`: proves the books, and names everything in them that cannot be. Ends with 1 when something is broken.

use std::path::PathBuf;

use clap::Args;

use super::failure::Failure;
use super::heads::heads_read;
use super::output::say;
use super::settings::Given;
use crate::app::{self, Outside};
use crate::stock::heads::Heads;
use crate::stock::verify::{Verified, verify_against};

/// What the books are held against.
#[derive(Debug, Args)]
pub(super) struct Verify {
    /// Heads that `heeltap heads` or a backup printed before: each lot must still have, at that place, that hash.
    #[arg(long, value_name = "FILE")]
    heads: Option<PathBuf>,
}

/// What is checked, under the numbers that a breach names.
const CHECKED: [&str; 7] = [
    "promises lie between 0 and what each pack holds, and are what the reservations say",
    "each pack's quantity and each lot's value are the sums of their movements",
    "every reversal takes back exactly the movement that it names, once",
    "each lot's landed cost is what was issued and what is left",
    "every promise belongs to a cast, and every booked cast is covered or marked short",
    "the movements of each lot form an unbroken chain that ends in the lot's head",
    "kept sums of demand and of costs are those of the movements they stand for",
];

pub(super) fn run(given: &Given, verify: &Verify) -> Result<(), Failure> {
    let kept = verify.heads.as_deref().map(heads_read).transpose()?;
    let service = app::open(&given.settings_of_existing()?, Outside::default())?;
    let none = Heads::new(Vec::new());
    let against = kept.as_ref().unwrap_or(&none);
    let found = service.db().read(|conn| verify_against(conn, against))?;
    tell_found(&found)?;
    if let Some(kept) = &kept {
        say(&format!(
            "held against the heads of {} lots, digest {}",
            kept.lots().len(),
            kept.digest()
        ))?;
    }
    match found.breaches.len() {
        0 => Ok(()),
        1 => Err(Failure::Failed("1 thing in the books is broken".to_owned())),
        count => Err(Failure::Failed(format!(
            "{count} things in the books are broken"
        ))),
    }
}

/// What was read, a verdict on each invariant, and each breach.
fn tell_found(found: &Verified) -> Result<(), Failure> {
    say(&format!(
        "lots read: {}, movements read: {}",
        found.lots, found.movements
    ))?;
    for (number, checked) in (1_u8..).zip(CHECKED) {
        let broken = found.breaches.iter().filter(|b| b.invariant == number);
        let verdict = match broken.count() {
            0 => "holds".to_owned(),
            broken => format!("BROKEN {broken} times"),
        };
        say(&format!("{number}. {checked}: {verdict}"))?;
    }
    found.breaches.iter().try_for_each(|breach| {
        say(&format!(
            "broken ({}) {}: {}",
            breach.invariant, breach.subject, breach.detail
        ))
    })
}
