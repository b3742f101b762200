//! The whole job as a person does it in a browser, from an empty database to the cost page.
//!
//! Invariant: nothing is done but by labels, links and buttons; what is looked at in the end is also held against the books by
//! the API. The lab is that of the README's walk-through.

use chrono::NaiveDate;
use heeltap::base::{Clock, SystemClock};

use crate::driver::Driver;
use crate::support::TestApp;
use crate::window::{Kind, Window};

/// A window that is signed in with the administrator's token.
pub(crate) fn signed_in(app: &TestApp, driver: &Driver, kind: Kind) -> Window {
    let window = Window::open(driver, kind, &format!("http://{}", app.address));
    window.go("/sign-in");
    window.fill("Your token", app.token());
    window.press("Sign in");
    window.arrives("/");
    window
}

/// Puts something into the catalogue: the address of its form, then its fields by label, `#` and a number behind the label of one
/// that comes again. A choice begins with `=`.
fn put(window: &Window, form: &str, fields: &[(&str, &str)]) {
    window.go(form);
    for (label, value) in fields {
        let (label, row) = match label.split_once('#') {
            Some((label, row)) => (label, row.parse().expect("a number")),
            None => (*label, 0),
        };
        match value.strip_prefix('=') {
            Some(choice) => window.choose_row(label, row, choice),
            None => window.fill_row(label, row, value),
        }
    }
    window.press("Put it into the catalogue");
    window.reads("in the catalogue");
}

/// What the lab works with, from the empty shelf.
fn catalogue(window: &Window) {
    window.go("/");
    window.reads("Nothing is on the shelf yet");
    window.follow("The catalogue");
    window.arrives("/catalogue");
    window.picture("job-1-catalogue-empty");
    materials(window);
    put(
        window,
        "/catalogue/elastomers/new",
        &[
            ("Code", "soft"),
            ("Name", "Soft elastomer"),
            ("Base", "=Silicone base"),
            ("Curing agent", "=Curing agent"),
            ("Base#1", "10"),
            ("Curing agent#1", "1"),
            ("Ratio tolerance", "0.02"),
            ("Temperature, °C", "65"),
            ("Minutes", "240"),
            ("Density, g/mL", "1.03"),
            ("Viscosity, Pa s", "3.5"),
            ("Pot life, minutes", "90"),
        ],
    );
    put(
        window,
        "/catalogue/kits/new",
        &[
            ("Code", "kit-a"),
            ("Name", "Kit 1.1 kg"),
            ("Elastomer", "=Soft elastomer"),
            ("Base, g", "1000"),
            ("Curing agent, g", "100"),
        ],
    );
    put(
        window,
        "/catalogue/molds/new",
        &[
            ("Code", "reef"),
            ("Name", "Reef tiles"),
            ("Length, mm", "75"),
            ("Width, mm", "50"),
            ("Thickness, mm", "1"),
            ("Chips in one copy", "6"),
            ("Copies", "2"),
        ],
    );
    put(
        window,
        "/catalogue/recipes/new",
        &[
            ("Code", "reef-chip"),
            ("Name", "Reef chip"),
            ("Elastomer", "=Soft elastomer"),
            ("Mould", "=Reef tiles"),
            ("Tray", "=Tray 90 x 60"),
            ("Cup", "=Cup 200 mL"),
            ("Chip thickness, mm", "4"),
            ("Drain time, s", "60"),
        ],
    );
    for (code, name) in [
        ("larvae", "Larval settlement"),
        ("course", "Teaching course"),
    ] {
        let fields = [("Code", code), ("Name", name)];
        put(window, "/catalogue/grants/new", &fields);
    }
    window.go("/catalogue");
    window.reads("Reef chip");
    window.picture("job-2-catalogue");
}

fn materials(window: &Window) {
    let material = |kind: &str| format!("/catalogue/materials/new?kind={kind}");
    put(
        window,
        &material("elastomer_base"),
        &[
            ("Code", "base-a"),
            ("Name", "Silicone base"),
            ("Lead time, days", "14"),
            ("Stated use per month", "1500"),
        ],
    );
    put(
        window,
        &material("curing_agent"),
        &[
            ("Code", "agent-a"),
            ("Name", "Curing agent"),
            ("Lead time, days", "14"),
            ("Stated use per month", "150"),
        ],
    );
    put(
        window,
        &material("container"),
        &[
            ("Code", "tray"),
            ("Name", "Tray 90 x 60"),
            ("Shape", "=rectangular"),
            ("Length, mm", "90"),
            ("Width, mm", "60"),
            ("Depth, mm", "15"),
        ],
    );
    put(
        window,
        &material("mixing_cup"),
        &[
            ("Code", "cup"),
            ("Name", "Cup 200 mL"),
            ("Shape", "=round"),
            ("Diameter, mm", "62"),
            ("Depth, mm", "70"),
            ("Tare, g", "6.2"),
        ],
    );
}

/// A file with a fault, then without.
fn receive(window: &Window, today: NaiveDate) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("PO-17.csv");
    let rows = |tray: &str| {
        format!(
            "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on\n\
             PO-17,1,Quillmere Polymers,{today},{today},kit-a,K7-114,1,,kit,96.00,EUR,12.00,{}\n\
             PO-17,2,Quillmere Polymers,{today},{today},{tray},T-88,1,50,each,30.00,EUR,,\n\
             PO-17,3,Quillmere Polymers,{today},{today},cup,C-12,2,25,each,14.00,EUR,,\n",
            today + chrono::Days::new(200)
        )
    };
    window.follow("Receive");
    window.arrives("/receive");
    for (tray, says) in [("tray-x", "error"), ("tray", "would")] {
        std::fs::write(&file, rows(tray)).expect("the file");
        window.attach("The purchase file", &file);
        window.press("Look what it would do");
        window.reads("Nothing of it is written yet");
        window.reads(says);
        window.picture(&format!("job-3-dry-run-{tray}"));
    }
    window.press("Receive it");
    window.reads("is received");
    window.picture("job-4-received");
}

fn plan(window: &Window) {
    window.follow("Casts");
    window.arrives("/casts");
    window.follow("Plan a cast");
    window.arrives("/casts/plan");
    window.choose("Recipe", "Reef chip");
    window.fill("How many", "4");
    window.choose("Grant", "Larval settlement");
    window.fill("per cent", "75");
    if !window.has_scripts() {
        window.press("Plan");
        window.reads("100");
    }
    window.choose_row("Grant", 1, "Teaching course");
    window.fill_row("per cent", 1, "25");
    if !window.has_scripts() {
        window.press("Plan");
    }
    window.reads("g of curing agent");
    window.reads("Teaching course");
    window.reload();
    window.reads("g of curing agent");
    window.picture("job-5-plan");
    window.press("Book this");
    window.arrives("/casts/C-00001");
    window.picture("job-6-booked");
}

const BASE: &str = "Base: the balance shows, g";
const AGENT: &str = "Curing agent: the balance shows, g";

/// Waits for the advice, which comes by itself where scripts run.
fn advise(window: &Window, says: &str) {
    if !window.has_scripts() {
        window.press("Advise");
    }
    window.reads(says);
}

fn pour(window: &Window) {
    window.follow("Work it off");
    window.arrives("/casts/C-00001/bench-sheet");
    window.picture("job-7-bench-sheet");
    window.fill(BASE, "49.20");
    window.fill(AGENT, "5.60");
    advise(window, "Too much curing agent.");
    window.fill(AGENT, "4.92");
    advise(window, "Within the window.");
    window.tick("1 Lay out trays");
    window.press("Mixing ended now");
    window.reads("2 of 16 steps done");
    window.fill_row(BASE, 1, "49.10");
    window.fill_row(AGENT, 1, "4.90");
    window.fill("The cup with what stayed in it weighs, g", "9.10");
    advise(window, "2.9 g stayed in the cup");
    // In the middle of the pour the page is loaded again: nothing is lost.
    window.reload();
    window.reads("Within the window.");
    window.reads("2 of 16 steps done");
    assert_eq!(window.value(BASE), "49.20");
    window.picture("job-8-weighed");
    window.press("Record the pour");
    window.arrives("/casts/C-00001");
    window.reads("Poured");
    window.picture("job-9-poured");
}

fn demould(window: &Window) {
    window.follow("The bench sheet");
    window.arrives("/casts/C-00001/bench-sheet");
    window.fill("Good", "22");
    window.press("Record the count");
    window.arrives("/casts/C-00001");
    window.reads("22");
    window.picture("job-10-demoulded");
}

/// What came of it, on the pages of whoever buys and of whoever pays.
fn look(window: &Window) {
    window.follow("Cost");
    window.arrives("/cost");
    window.reads("Larval settlement");
    window.reads("Teaching course");
    window.picture("job-11-cost");
    window.follow("Buy");
    window.arrives("/buy");
    window.reads("Kit 1.1 kg");
    window.picture("job-12-buy");
    window.follow("Shelf");
    window.arrives("/");
    window.reads("K7-114");
    window.picture("job-13-shelf");
}

fn whole_job(kind: Kind) {
    let (app, driver) = (TestApp::start(), Driver::start());
    let now = SystemClock.now();
    app.clock.set(now);
    let window = signed_in(&app, &driver, kind);
    catalogue(&window);
    receive(&window, now.date_naive());
    plan(&window);
    pour(&window);
    demould(&window);
    look(&window);
    window.press("Sign out");
    window.arrives("/sign-in");
    let faults = window.close();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    let cast = app.get("/v1/casts/C-00001").expect(200).json();
    assert_eq!(cast["state"], "demolded");
    assert_eq!(cast["demold"]["good"], 22);
}

#[test]
#[ignore = "needs a browser: .ci/pages runs it"]
fn the_whole_job_on_a_phone() {
    whole_job(Kind::PHONE);
}

#[test]
#[ignore = "needs a browser: .ci/pages runs it"]
fn the_whole_job_on_a_phone_without_scripts() {
    whole_job(Kind::PHONE.without_scripts());
}

#[test]
#[ignore = "needs a browser: .ci/pages runs it"]
fn the_whole_job_at_a_desk() {
    whole_job(Kind::DESK);
}

#[test]
#[ignore = "needs a browser: .ci/pages runs it"]
fn the_whole_job_at_a_desk_without_scripts() {
    whole_job(Kind::DESK.without_scripts());
}
