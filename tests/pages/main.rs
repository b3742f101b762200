//! The pages in a real browser (Chromium, by its WebDriver): the whole job from an empty database to the cost page, on a phone's
//! width and on a wide one, with scripts and without; every page of the demo lab looked at by axe-core.
//!
//! The run itself is left to `.ci/pages`, since it needs a browser, its driver and that library. With `HEELTAP_SCREENSHOTS`
//! naming a folder, each page that is looked at leaves a picture there. Invariants: no page says anything on the console, none
//! asks another address than the service's, none is wider than its window.

#![expect(clippy::print_stdout, reason = "what a run prints are its figures")]

mod addresses;
mod axe;
mod driver;
mod every_page;
mod journey;
mod keyboard;
mod print;
mod quick;
#[allow(dead_code, unused_imports)]
#[path = "../api/support/mod.rs"]
mod support;
mod window;
