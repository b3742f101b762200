//! Every page of the demo lab: no violation of the rules of accessibility, no wider than its window, small and quick.

use chrono::{DateTime, Utc};
use heeltap::app::PAGES;
use heeltap::cli::demo::replay;

use crate::axe::{library, violations};
use crate::driver::Driver;
use crate::support::TestApp;
use crate::window::{Kind, Window};

/// The demo lab on a day, the clock at that day.
fn demo() -> TestApp {
    let app = TestApp::with(|settings| settings.demo = true);
    let now: DateTime<Utc> = "2026-11-30T09:00:00Z".parse().expect("an instant");
    replay(&app.service, &app.clock, now.date_naive(), &mut |_, _| {})
        .expect("the demo must be filled");
    app.clock.set(now);
    app
}

/// An address of each page that can be looked at, for each door of the table.
fn addresses(app: &TestApp) -> Vec<String> {
    let casts = |state: &str| {
        let path = format!("/v1/casts?state={state}&limit=1");
        let list = app.get(&path).expect(200).json();
        let code = list["items"][0]["code"].as_str();
        code.unwrap_or_else(|| panic!("no cast is {state}"))
            .to_owned()
    };
    let states = ["booked", "poured", "demolded"].map(casts);
    let mut addresses = Vec::new();
    for door in PAGES.iter().filter(|door| door.method == "GET") {
        match door.path {
            "/assets/{file}" | "/cost/report.csv" | "/cost/report.xlsx" | "/sign-in" => {}
            path if path.contains("{code}") => {
                addresses.extend(states.iter().map(|code| path.replace("{code}", code)));
            }
            path => addresses.push(path.replace("{id}", "1")),
        }
    }
    addresses
}

fn signed_in(app: &TestApp, driver: &Driver, kind: Kind) -> Window {
    let window = Window::open(driver, kind, &format!("http://{}", app.address));
    window.go("/sign-in");
    window.fill("Your token", app.token());
    window.press("Sign in");
    window.arrives("/");
    window
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
    let name = address.trim_matches('/').replace(['/', '?', '='], "-");
    match name.is_empty() {
        true => "shelf".to_owned(),
        false => name,
    }
}
