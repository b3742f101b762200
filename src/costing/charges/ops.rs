//! Making the statement of charges from the books.

use super::statement::{ChargeStatement, Charging};
use crate::base::{Currency, Error};
use crate::costing::by_source::by_source;
use crate::costing::cast_money::CastMoney;
use crate::costing::period::Period;
use crate::costing::replica_cost::grouping::parts_of;
use crate::costing::store;
use crate::db::AnyConnection;

/// What each grant is charged for the casts demoulded in a period and for the price corrections posted in it, and what of
/// that is paid already.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of money; [`Error::Unavailable`] when the database does not answer.
pub fn charges(
    conn: &mut AnyConnection,
    period: Period,
    currency: Currency,
) -> Result<ChargeStatement, Error> {
    let days = period.days();
    let mut charging = Charging::default();
    let casts = store::casts_demolded(conn, days, false)?;
    if let (Some(first), Some(last)) = (casts.first(), casts.last()) {
        let ids = (first.id, last.id);
        let paid_by = store::funders_by_cast(conn, ids)?;
        let mut money = CastMoney::read(conn, ids, true)?;
        for cast in &casts {
            let (charged, costs) = money.of(cast.id);
            let used = paid_by.get(&cast.id).map_or(&[][..], Vec::as_slice);
            let parts = parts_of(&charged, &costs);
            charging.count(parts.iter().map(|part| part.grant_id));
            for part in parts {
                for (funder, amounts) in by_source(&part.amounts, used)? {
                    charging.charge(part.grant_id, funder.flatten(), amounts.total()?)?;
                }
            }
        }
    }
    for row in store::variances_between(conn, days)? {
        charging.correct(row.grant_id, row.funded_by_id, row.amount)?;
    }
    charging.statement(period, currency, &store::names(conn, "grant")?)
}
