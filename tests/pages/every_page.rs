//! Every page of the demo lab: no violation of the rules of accessibility, no wider than its window.

use chrono::{DateTime, Utc};
use heeltap::cli::demo::replay;

use crate::addresses::addresses;
use crate::axe::{library, violations};
use crate::driver::Driver;
use crate::journey::signed_in;
use crate::support::TestApp;
use crate::window::Kind;

/// The demo lab on a day, the clock at that day.
pub(crate) fn demo() -> TestApp {
    let app = TestApp::with(|settings| settings.demo = true);
    let now: DateTime<Utc> = "2026-11-30T09:00:00Z".parse().expect("an instant");
    replay(&app.service, &app.clock, now.date_naive(), &mut |_, _| {})
        .expect("the demo must be filled");
    app.clock.set(now);
    app
}

#[test]
#[ignore = "needs a browser: .ci/pages runs it"]
fn no_page_breaks_the_rules_of_accessibility_or_its_window() {
    let (app, driver, library) = (demo(), Driver::start(), library());
    let mut faults = Vec::new();
    for kind in [
        Kind::PHONE,
        Kind::DESK,
        Kind::PHONE.in_the_dark(),
        Kind::DESK.in_the_dark(),
    ] {
        let window = signed_in(&app, &driver, kind);
        for address in addresses(&app) {
            window.go(&address);
            faults.extend(window.too_wide());
            faults.extend(violations(&window, &library));
            window.picture(&name(&address));
        }
        faults.extend(window.close());
    }
    faults.dedup();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// An address as the name of a file.
fn name(address: &str) -> String {
    let name = address.trim_matches('/').replace(['/', '?', '=', '&'], "-");
    match name.is_empty() {
        true => "shelf".to_owned(),
        false => name,
    }
}
