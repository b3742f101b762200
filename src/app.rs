//! The composition root: puts database, clock and entropy together, and serves every room's routes behind the door.
//!
//! Invariants: the wall clock and the operating system's entropy come in here and nowhere else; the base currency and
//! the time zone are those of the installation's row, whatever the settings say later; an operation without an entry
//! in [`DOORS`] cannot be reached. Deliberately absent: what the operations do (the rooms know), what is printed (the
//! command line does that).

mod background;
mod docs;
mod doors;
mod gauges;
mod installation;
mod metrics;
mod openapi;
mod operation;
mod running;
mod tokens;

use std::sync::Arc;
use std::time::Duration;

use chrono_tz::Tz;
use utoipa_actix_web::service_config::ServiceConfig;

pub use background::{WORKERS, Worker};
pub use doors::{DOORS, PAGES};
pub use openapi::document;
pub use running::{Running, Serving, start};

use self::gauges::Gauges;
use crate::base::{Clock, Currency, Entropy, Error, OsEntropy, SystemClock};
use crate::db::{DatabaseUrl, Db, House};
use crate::http::metrics::Metrics;
use crate::http::tls::{Certificates, TlsFiles};
use crate::http::tokens::{TokenIn, TokenMade, none_yet, token_create};
use crate::http::{Limits, Role, Service, TrustedProxies};
use crate::notify::mail::Mailer;
use crate::notify::mail::settings::MailSettings;
use crate::notify::webhooks::{WebhookSettings, Webhooks};
use crate::purchasing::csv_file::Limits as CsvLimits;
use crate::purchasing::ops::Commits;
use crate::purchasing::rates_fetch::{RatesFetcher, RatesSettings};
use crate::reorder::settings::ForecastSettings;
use crate::{casting, catalogue, costing, notify, pages, purchasing, reorder, stock};

/// What a process is told about its database and its installation.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Where the database is.
    pub database: DatabaseUrl,
    /// Connections in the pool, 1 or more.
    pub db_connections: u32,
    /// How long a request waits for a free connection, in milliseconds.
    pub db_wait_ms: u64,
    /// The base currency; fixed at the first start (EUR unless said), compared later.
    pub base_currency: Option<Currency>,
    /// The time zone of every local day; fixed at the first start (UTC unless said), compared later.
    pub time_zone: Option<Tz>,
    /// How long a working day is, in minutes, 1 to 1440.
    pub working_day_min: u32,
    /// Whether the database is to be a demo's. A demo refuses a database with somebody's own data.
    pub demo: bool,
    /// Limits on what a request may bring.
    pub limits: Limits,
    /// How long a statement may take before the log says so.
    pub slow_query: Duration,
    /// Limits on what a file of rows may hold.
    pub csv: CsvLimits,
    /// Whose word about those behind them is taken; nobody's unless said.
    pub proxies: TrustedProxies,
    /// Where the certificate of TLS is; plain HTTP unless said.
    pub tls: Option<TlsFiles>,
    /// How demand is foreseen.
    pub forecast: ForecastSettings,
    /// Where exchange rates are fetched from; nowhere unless said.
    pub rates: Option<RatesSettings>,
    /// How the daily mail is sent; not at all unless said.
    pub mail: Option<MailSettings>,
    /// How webhooks are sent.
    pub webhooks: WebhookSettings,
}

/// What comes from outside and is replaced in tests.
#[derive(Clone)]
pub struct Outside {
    /// What time it is.
    pub clock: Arc<dyn Clock>,
    /// Where unpredictable bytes come from.
    pub entropy: Arc<dyn Entropy>,
}

impl Default for Outside {
    fn default() -> Self {
        Self {
            clock: Arc::new(SystemClock),
            entropy: Arc::new(OsEntropy),
        }
    }
}

/// Opens and migrates the database, settles the installation's row, and puts the service together.
///
/// # Errors
/// [`Error::Unavailable`] when the database cannot be reached; [`Error::Invalid`] when a setting differs from what was
/// fixed at the first start.
pub fn open(settings: &Settings, outside: Outside) -> Result<Service, Error> {
    // First, so that a file that is not right leaves no database behind.
    let tls = settings.tls.clone().map(Certificates::read).transpose()?;
    let db = Db::open(
        &settings.database,
        settings.db_connections,
        settings.db_wait_ms,
        settings.slow_query,
    )?;
    let (base_currency, time_zone) = installation::settle(&db, settings, outside.clock.now())?;
    let metrics = Metrics::new()?;
    let gauges = Gauges::new(metrics.registry())?;
    let rates = settings.rates.clone();
    let rates = rates
        .map(|rates| RatesFetcher::new(rates, metrics.registry()))
        .transpose()?;
    let webhooks = Webhooks::new(settings.webhooks.clone(), metrics.registry())?;
    Ok(Service::new(
        db,
        outside.clock,
        outside.entropy,
        House {
            base_currency,
            working_day_min: settings.working_day_min,
        },
        time_zone,
        settings.limits,
    )
    .with_part(metrics)
    .with_part(gauges)
    .with_part(settings.proxies.clone())
    .with_part(settings.csv)
    .with_part(settings.forecast)
    .with_part(Commits::default())
    .with_part(webhooks)
    .with_part_if(rates)
    .with_part_if(tls)
    .with_part_if(settings.mail.clone().map(Mailer::new)))
}

/// Makes the first administrator's token; none when any token was ever made. Of several processes that start on one
/// empty database, one makes it.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn first_token(service: &Service) -> Result<Option<TokenMade>, Error> {
    if !service.db().read(none_yet)? {
        return Ok(None);
    }
    service.as_actor("first start", |tx| {
        installation::wait_turn(tx)?;
        if !none_yet(tx.conn)? {
            return Ok(None);
        }
        let input = TokenIn {
            name: "administrator".to_owned(),
            roles: vec![Role::Administrator],
            expires_at: None,
        };
        token_create(tx, service.entropy(), input).map(Some)
    })
}

/// Every room's routes. A room is added here, and its operations to [`DOORS`].
pub fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.configure(operation::routes)
        .configure(metrics::routes)
        .configure(docs::routes)
        .configure(tokens::routes)
        .configure(catalogue::routes)
        .configure(casting::routes)
        .configure(purchasing::routes)
        .configure(stock::routes)
        .configure(costing::routes)
        .configure(reorder::routes)
        .configure(notify::routes)
        .configure(pages::routes);
}
