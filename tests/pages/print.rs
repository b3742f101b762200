//! What lies at the balance on paper: a bench sheet is one page of A4.

use crate::addresses::addresses;
use crate::driver::Driver;
use crate::every_page::demo;
use crate::journey::signed_in;
use crate::window::Kind;

#[test]
#[ignore = "needs a browser: .ci/pages runs it"]
fn a_bench_sheet_prints_on_one_page() {
    let (app, driver) = (demo(), Driver::start());
    let window = signed_in(&app, &driver, Kind::DESK);
    let sheets: Vec<String> = addresses(&app)
        .into_iter()
        .filter(|address| address.ends_with("/bench-sheet"))
        .collect();
    assert_eq!(sheets.len(), 3, "one in each state");
    for sheet in sheets {
        window.go(&sheet);
        assert_eq!(window.printed_pages(), 1, "{sheet}");
    }
    assert!(window.close().is_empty());
}
