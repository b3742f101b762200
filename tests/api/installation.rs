//! What is fixed at the first start.

use heeltap::app::{self, Outside, Settings};
use heeltap::base::Currency;

use crate::support::{TestApp, TestDatabase};

fn open(database: &TestDatabase, change: impl FnOnce(&mut Settings)) -> Result<(), String> {
    let mut settings = TestApp::settings(database);
    settings.base_currency = None;
    change(&mut settings);
    app::open(&settings, Outside::default())
        .map(|_| ())
        .map_err(|e| e.to_string())
}

#[test]
fn a_later_start_with_other_settings_is_refused_and_one_without_goes_on() {
    let database = TestDatabase::new();
    let oslo = chrono_tz::Tz::Europe__Oslo;
    let currency = |code: &str| Some(Currency::parse(code).unwrap());
    open(&database, |s| {
        (s.base_currency, s.time_zone) = (currency("NOK"), Some(oslo))
    })
    .unwrap();
    open(&database, |_| {}).unwrap();
    open(&database, |s| s.base_currency = currency("nok")).unwrap();
    let error = open(&database, |s| s.base_currency = currency("EUR")).unwrap_err();
    assert!(error.contains("`EUR` differs from `NOK`"), "{error}");
    let error = open(&database, |s| s.time_zone = Some(chrono_tz::UTC)).unwrap_err();
    assert!(
        error.contains("`UTC` differs from `Europe/Oslo`"),
        "{error}"
    );
    let error = open(&database, |s| s.demo = true).unwrap_err();
    assert!(
        error.contains("a demo needs a database of its own"),
        "{error}"
    );
}

#[test]
fn of_many_first_starts_at_once_one_makes_the_token() {
    let database = TestDatabase::new();
    let settings = TestApp::settings(&database);
    let made: usize = std::thread::scope(|scope| {
        let starts: Vec<_> = (0..4)
            .map(|_| {
                scope.spawn(|| {
                    let service = app::open(&settings, Outside::default()).unwrap();
                    usize::from(app::first_token(&service).unwrap().is_some())
                })
            })
            .collect();
        starts.into_iter().map(|start| start.join().unwrap()).sum()
    });
    assert_eq!(made, 1);
}
