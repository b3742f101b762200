//! A database server that goes away and comes back: 503 meanwhile, then service again without a restart.

use std::time::{Duration, Instant};

use heeltap::db::DatabaseUrl;
use serde_json::json;

use crate::books::read;
use crate::relay::Relay;
use crate::support::{Answer, TestApp};
use crate::worker::{lab_open, today};

fn book(app: &TestApp) -> Answer {
    let request = json!({"recipe": "chip", "containers": 1, "cast_on": today()});
    app.post("/v1/casts", request)
}

/// The same database through a relay; none on SQLite, which no server keeps.
fn relayed(url: &DatabaseUrl) -> Option<(DatabaseUrl, Relay)> {
    let DatabaseUrl::Postgres(address) = url else {
        return None;
    };
    let mut address = url::Url::parse(address).expect("an address");
    let host = address.host_str().expect("a host").to_owned();
    let relay = Relay::to(format!("{host}:{}", address.port().unwrap_or(5432)));
    address.set_host(Some("127.0.0.1")).expect("a host");
    address
        .set_port(Some(relay.address.port()))
        .expect("a port");
    let relayed = DatabaseUrl::parse(address.as_str()).expect("an address");
    Some((relayed, relay))
}

#[test]
fn a_server_that_comes_back_is_used_again() {
    let mut relay = None;
    let app = TestApp::with(|settings| {
        settings.db_wait_ms = 500;
        if let Some((address, to)) = relayed(&settings.database) {
            settings.database = address;
            relay = Some(to);
        }
    });
    let Some(relay) = relay else { return };
    app.clock
        .set(heeltap::base::Clock::now(&heeltap::base::SystemClock));
    lab_open(&app);
    book(&app).expect(201);
    relay.shut();
    for _ in 0..2 {
        assert_eq!(book(&app).expect(503).problem(), "unavailable");
        let read = app.get("/v1/casts").expect(503);
        assert_eq!(read.problem(), "unavailable");
        app.nobody().get("/readyz").expect(503);
        app.nobody().get("/healthz").expect(200);
    }
    relay.open();
    let began = Instant::now();
    while app.nobody().get("/readyz").status != 200 {
        assert!(
            began.elapsed() < Duration::from_secs(30),
            "it does not come back"
        );
        std::thread::sleep(Duration::from_millis(50));
    }
    book(&app).expect(201);
    assert_eq!(
        read(&app).casts.len(),
        2,
        "what was answered is there, and nothing else"
    );
    println!("server gone: ready {:?} after it was back", began.elapsed());
}
