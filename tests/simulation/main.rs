//! Two years of an invented lab's demand, replayed day by day with the lab ordering as it is advised: the promised service is
//! reached, and with less stock than a tuned min-max rule needs for the same.
//!
//! What is assumed. The demand is invented (`kinds`, `demand`), after a year and a half of which the lab begins to order; a
//! quarter of a year passes before anything is measured. On each review day the lab knows what a lab would: what was used and
//! refused, what is booked by the evening before, its packs and their expiry, its orders and how long earlier ones took
//! (`advised`). What the shelf cannot give is lost, and counted (`shelf`). The rule (`min_max`) is tuned by halving on the very
//! demand it is measured on, to the service that the advice reached and to the same mean order, which no lab could do.
//!
//! A cycle is the time from one arrival to the next. The promise is held when the mean over the replications is at least the
//! target less three standard errors. Seeds are fixed; `HEELTAP_SIMULATION_REPLICATIONS` makes more of them than the usual
//! 200. Deliberately absent: the database, approval, budgets, kits.

#![expect(clippy::print_stdout, reason = "what a run prints are its figures")]

mod advised;
mod chance;
mod demand;
mod figures;
mod kinds;
mod min_max;
mod promises;
mod shelf;

/// How many replications there are, of which a part is enough for what is looked at besides.
fn replications() -> u64 {
    match std::env::var("HEELTAP_SIMULATION_REPLICATIONS") {
        Err(_) => 200,
        Ok(text) => text.parse().unwrap_or_else(|_| {
            panic!("HEELTAP_SIMULATION_REPLICATIONS is `{text}`: write a whole number")
        }),
    }
}
