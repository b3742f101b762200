//! A service of the test's own: in this process, on a free port, on a fresh database, ended with its value.

use std::net::SocketAddr;
use std::ops::Deref;
use std::sync::{Arc, mpsc};
use std::thread::JoinHandle;
use std::time::Duration;

use actix_web::dev::ServerHandle;
use actix_web::rt::System;
use chrono::{DateTime, Utc};
use heeltap::app::{self, Outside, Serving, Settings};
use heeltap::base::{Currency, ManualClock, OsEntropy, SeededEntropy};
use heeltap::http::tokens::{TokenIn, token_create};
use heeltap::http::{Limits, Role, Service};

use super::client::Client;
use super::database::TestDatabase;

/// How a test's service is to be. `TestApp::with(|settings| …)` changes what a test needs.
pub(crate) struct TestApp {
    /// The clock, which stands still until the test moves it. It begins at 2026-03-02T09:00:00Z, a Monday.
    pub(crate) clock: Arc<ManualClock>,
    /// The service itself, for what cannot be asked over HTTP.
    pub(crate) service: Service,
    /// Where it listens.
    pub(crate) address: SocketAddr,
    administrator: Client,
    handle: ServerHandle,
    thread: Option<JoinHandle<()>>,
    // Last, so that the service lets go of the database before it ends.
    pub(crate) database: TestDatabase,
}

impl TestApp {
    /// A service with euros, UTC and the usual limits.
    pub(crate) fn start() -> Self {
        Self::with(|_| {})
    }

    /// A service with other settings.
    pub(crate) fn with(change: impl FnOnce(&mut Settings)) -> Self {
        Self::on(TestDatabase::new(), change)
    }

    /// A service on a database that may have been used before.
    pub(crate) fn on(database: TestDatabase, change: impl FnOnce(&mut Settings)) -> Self {
        let mut settings = Self::settings(&database);
        change(&mut settings);
        let start: DateTime<Utc> = "2026-03-02T09:00:00Z".parse().expect("an instant");
        let clock = Arc::new(ManualClock::new(start));
        let outside = Outside {
            clock: Arc::clone(&clock) as _,
            entropy: Arc::new(SeededEntropy::new(1)),
        };
        let service = app::open(&settings, outside).expect("the service must open");
        let token = token(&service);
        let (address, handle, thread) = serve(service.clone());
        Self {
            clock,
            service,
            address,
            administrator: Client::new(address, Some(token)),
            handle,
            thread: Some(thread),
            database,
        }
    }

    /// The settings that `with` begins from.
    pub(crate) fn settings(database: &TestDatabase) -> Settings {
        Settings {
            database: database.url().clone(),
            db_connections: 4,
            db_wait_ms: 10_000,
            base_currency: Some(Currency::parse("EUR").expect("a currency")),
            time_zone: None,
            working_day_min: 480,
            demo: false,
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

    /// A client without a token.
    pub(crate) fn nobody(&self) -> Client {
        Client::new(self.address, None)
    }

    /// A client with a new token of one role.
    pub(crate) fn role(&self, role: Role) -> Client {
        let body = serde_json::json!({"name": role.as_str(), "roles": [role]});
        let made = self.post("/v1/tokens", body).expect(201).json();
        Client::new(self.address, made["token"].as_str().map(str::to_owned))
    }
}

/// The administrator's client: `app.get(path)`.
impl Deref for TestApp {
    type Target = Client;

    fn deref(&self) -> &Client {
        &self.administrator
    }
}

impl Drop for TestApp {
    fn drop(&mut self) {
        // The command is sent by the call itself; the future only waits for the end, which the thread's end is.
        drop(self.handle.stop(false));
        if let Some(thread) = self.thread.take() {
            let ended = thread.join();
            assert!(
                ended.is_ok() || std::thread::panicking(),
                "the server panicked"
            );
        }
    }
}

/// The first administrator's token; another one on a database that was used before.
fn token(service: &Service) -> String {
    let first = app::first_token(service).expect("the database must answer");
    let made = first.map_or_else(
        || {
            let input = TokenIn {
                name: "administrator".to_owned(),
                roles: vec![Role::Administrator],
                expires_at: None,
            };
            // Real entropy: the service's own would make again what it made on this database before.
            service.as_actor("test", |tx| token_create(tx, &OsEntropy, input))
        },
        Ok,
    );
    made.expect("a token").token.expect("its secret")
}

fn serve(service: Service) -> (SocketAddr, ServerHandle, JoinHandle<()>) {
    let (told, listening) = mpsc::channel();
    let thread = std::thread::spawn(move || {
        System::new().block_on(async {
            let serving = Serving {
                listen: "127.0.0.1:0",
                threads: 1,
                shutdown_s: 5,
                head_wait: Duration::from_secs(5),
                connections_max: 1_000,
                workers: &[],
            };
            let running = app::start(service, &serving).expect("a port is free");
            told.send((running.address(), running.handle()))
                .expect("the test waits");
            running
                .until_ended()
                .await
                .expect("the server must end well");
        });
    });
    let (address, handle) = listening.recv().expect("the server must start");
    (address, handle, thread)
}
