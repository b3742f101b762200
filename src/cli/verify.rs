//! `heeltap verify`: proves the books, and names everything in them that cannot be. Ends with 1 when something is broken.

use super::failure::Failure;
use super::output::say;
use super::settings::Given;
use crate::app::{self, Outside};
use crate::stock::verify::verify;

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

pub(super) fn run(given: &Given) -> Result<(), Failure> {
    let service = app::open(&given.settings()?, Outside::default())?;
    let found = service.db().read(verify)?;
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
    for breach in &found.breaches {
        say(&format!(
            "broken ({}) {}: {}",
            breach.invariant, breach.subject, breach.detail
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
