//! Every page by the keyboard alone: the tabulator key reaches all that can be used, and what has the focus is seen.
//!
//! Source: W3C, Web Content Accessibility Guidelines (WCAG) 2.2, success criteria 2.1.1 (keyboard) and 2.4.7 (focus visible).

use crate::addresses::addresses;
use crate::driver::Driver;
use crate::every_page::demo;
use crate::journey::signed_in;
use crate::window::Kind;

#[test]
#[ignore = "needs a browser: .ci/pages runs it"]
fn the_tabulator_key_reaches_all_that_can_be_used() {
    let (app, driver) = (demo(), Driver::start());
    let window = signed_in(&app, &driver, Kind::DESK);
    let mut faults = Vec::new();
    for address in addresses(&app) {
        window.go(&address);
        faults.extend(window.out_of_reach());
    }
    faults.extend(window.close());
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
