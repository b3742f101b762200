//! Settles what is fixed at the first start: base currency, time zone, and whether the database is a demo's.
//!
//! Invariant: a later start never changes the row; a setting that differs from it is refused, because every amount and
//! every local day in the books was written under it.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use super::Settings;
use crate::base::{Currency, Error};
use crate::db::{Db, Installation, Tx, installation_fetch, installation_settle};

const BASE_CURRENCY: &str = "EUR";
const TIME_ZONE: Tz = Tz::UTC;

/// The base currency and time zone in force, after the row was written at the first start or compared at a later one.
///
/// # Errors
/// [`Error::Invalid`] when a setting differs from the row.
pub(super) fn settle(
    db: &Db,
    settings: &Settings,
    now: DateTime<Utc>,
) -> Result<(Currency, Tz), Error> {
    let standing = match db.read(installation_fetch)? {
        Some(standing) => standing,
        None => {
            let first = first(settings, now)?;
            db.write(|conn| installation_settle(conn, &first))?
        }
    };
    compare(&standing, settings)
}

/// Waits until no other process is in its first start. For use inside a transaction that does something once.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn wait_turn(tx: &mut Tx<'_>) -> Result<(), Error> {
    let standing = installation_fetch(tx.conn)?
        .ok_or_else(|| Error::Internal("the installation's row is missing".into()))?;
    installation_settle(tx.conn, &standing).map(|_| ())
}

fn first(settings: &Settings, now: DateTime<Utc>) -> Result<Installation, Error> {
    let base_currency = match settings.base_currency {
        Some(currency) => currency,
        None => Currency::parse(BASE_CURRENCY).map_err(Error::internal)?,
    };
    Ok(Installation {
        base_currency,
        time_zone: settings.time_zone.unwrap_or(TIME_ZONE).name().to_owned(),
        demo: settings.demo,
        created_at: now,
    })
}

fn compare(standing: &Installation, settings: &Settings) -> Result<(Currency, Tz), Error> {
    let differs = |what: &str, name: &str, given: &str, fixed: &str| {
        Error::invalid(
            name,
            format!(
                "`{given}` differs from `{fixed}`, the {what} fixed at this database's first start: leave {name} out, or set it to `{fixed}`"
            ),
        )
    };
    let zone: Tz = standing
        .time_zone
        .parse()
        .map_err(|e| Error::Internal(format!("the installation's time zone: {e}")))?;
    if let Some(given) = settings
        .base_currency
        .filter(|given| *given != standing.base_currency)
    {
        return Err(differs(
            "base currency",
            "HEELTAP_BASE_CURRENCY",
            given.as_str(),
            standing.base_currency.as_str(),
        ));
    }
    if let Some(given) = settings.time_zone.filter(|given| *given != zone) {
        return Err(differs(
            "time zone",
            "HEELTAP_TIME_ZONE",
            given.name(),
            zone.name(),
        ));
    }
    if settings.demo && !standing.demo {
        return Err(Error::invalid(
            "DATABASE_URL",
            "the database holds somebody's own data: a demo needs a database of its own",
        ));
    }
    Ok((standing.base_currency, zone))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::db::DatabaseUrl;
    use crate::http::Limits;

    fn settings(currency: Option<&str>, zone: Option<Tz>, demo: bool) -> Settings {
        Settings {
            database: DatabaseUrl::Postgres(String::new()),
            db_connections: 1,
            db_wait_ms: 1,
            base_currency: currency.map(|code| Currency::parse(code).unwrap()),
            time_zone: zone,
            working_day_min: 480,
            demo,
            limits: Limits::default(),
            slow_query: std::time::Duration::from_millis(500),
            csv: Default::default(),
            proxies: Default::default(),
            tls: None,
            forecast: Default::default(),
            rates: None,
            mail: None,
            webhooks: Default::default(),
        }
    }

    #[track_caller]
    fn check(later: &Settings, expected: Result<(&str, Tz), &str>) {
        let row = first(
            &settings(Some("NOK"), Some(Tz::Europe__Oslo), false),
            DateTime::UNIX_EPOCH,
        )
        .unwrap();
        match (compare(&row, later), expected) {
            (Ok((currency, zone)), Ok(wanted)) => assert_eq!((currency.as_str(), zone), wanted),
            (Err(error), Err(wanted)) => assert!(error.to_string().contains(wanted), "{error}"),
            (found, wanted) => panic!("{found:?} instead of {wanted:?}"),
        }
    }

    #[test]
    fn a_later_start_keeps_what_was_fixed() {
        check(&settings(None, None, false), Ok(("NOK", Tz::Europe__Oslo)));
        check(
            &settings(Some("NOK"), Some(Tz::Europe__Oslo), false),
            Ok(("NOK", Tz::Europe__Oslo)),
        );
        check(
            &settings(Some("EUR"), None, false),
            Err("`EUR` differs from `NOK`"),
        );
        check(
            &settings(None, Some(Tz::UTC), false),
            Err("`UTC` differs from `Europe/Oslo`"),
        );
        check(&settings(None, None, true), Err("a demo needs a database"));
    }

    #[test]
    fn what_is_not_said_at_the_first_start_has_a_default() {
        let row = first(&settings(None, None, true), DateTime::UNIX_EPOCH).unwrap();
        assert_eq!(
            (row.base_currency.as_str(), row.time_zone.as_str(), row.demo),
            ("EUR", "UTC", true)
        );
    }
}
