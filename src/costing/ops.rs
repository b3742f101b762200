//! Making any report of this room.

use super::charges::ops::charges;
use super::replica_cost::ops::replica_cost;
use super::reports::{Asked, Report, ReportBy};
use super::residue::ops::residue;
use super::stock_value::ops::stock_value;
use super::waste::ops::waste;
use crate::base::{Currency, Error};
use crate::db::AnyConnection;

/// Makes a report from the books as they stand.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of money; [`Error::Unavailable`] when the database does not answer.
pub fn report_make(
    conn: &mut AnyConnection,
    asked: Asked,
    currency: Currency,
) -> Result<Box<dyn Report>, Error> {
    let period = asked.period;
    Ok(match asked.report {
        ReportBy::ReplicaCost(by) => Box::new(replica_cost(conn, period, by, currency)?),
        ReportBy::Waste(by) => Box::new(waste(conn, period, by, currency)?),
        ReportBy::StockValue(by) => Box::new(stock_value(conn, period, by, currency)?),
        ReportBy::Residue(by) => Box::new(residue(conn, period, by, currency)?),
        ReportBy::Charges => Box::new(charges(conn, period, currency)?),
    })
}
