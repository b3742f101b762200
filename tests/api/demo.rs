//! The demo lab: replayed on the test's database, looked at over HTTP, and served by the command.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use heeltap::cli::demo::{Replayed, replay};
use heeltap::http::Page;
use heeltap::stock::views::{LotState, LotView, lots_list};
use serde_json::{Value, json};

use crate::support::lab::micro;
use crate::support::reconcile::reconciled;
use crate::support::{Client, TestApp};

/// A demo that is filled up to a day, the clock back at that day.
fn demo(today: &str) -> (TestApp, Replayed) {
    let app = TestApp::with(|settings| settings.demo = true);
    let now: DateTime<Utc> = format!("{today}T09:00:00Z").parse().expect("an instant");
    let mut told = Vec::new();
    let day = now.date_naive();
    let replayed = replay(&app.service, &app.clock, day, &mut |done, of| {
        told.push((done, of))
    });
    let replayed = replayed.expect("the demo must be filled");
    assert!(app.service.now() < now, "nothing is written ahead of today");
    assert!(
        told.windows(2).all(|pair| pair[0].0 < pair[1].0),
        "the progress goes on"
    );
    assert_eq!(told.last().map(|(done, of)| done == of), Some(true));
    app.clock.set(now);
    (app, replayed)
}

#[track_caller]
fn verified(app: &TestApp) {
    let found = app.service.db().read(heeltap::stock::verify::verify);
    let found = found.expect("the books must be read");
    assert!(found.ok, "{:?}", found.breaches);
    assert!(found.movements > 1_000, "{} movements", found.movements);
    reconciled(app);
}

/// Every item of a list, over all its pages.
fn all(app: &TestApp, path: &str) -> Vec<Value> {
    let mut items = Vec::new();
    let mut next = format!("{path}?limit=100");
    loop {
        let page = app.get(&next).expect(200).json();
        items.extend(page["items"].as_array().expect("items").iter().cloned());
        match page["next"].as_str() {
            Some(cursor) => next = format!("{path}?limit=100&cursor={cursor}"),
            None => return items,
        }
    }
}

fn lots(app: &TestApp, today: NaiveDate) -> Vec<LotView> {
    let lots = app.service.db().read(|conn| {
        lots_list(
            conn,
            None,
            None,
            Page {
                after: 0,
                limit: 1_000,
            },
            today,
        )
    });
    lots.expect("the lots must be read")
}

fn lot<'a>(lots: &'a [LotView], material: &str, code: &str) -> &'a LotView {
    let found = lots
        .iter()
        .find(|lot| lot.material == material && lot.lot == code);
    found.unwrap_or_else(|| panic!("no lot {code} of {material}"))
}

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

/// Casts of a state; of one recipe unless that is empty.
fn of<'a>(casts: &'a [Value], state: &str, recipe: &str) -> Vec<&'a Value> {
    let meant =
        |cast: &&Value| cast["state"] == state && (recipe.is_empty() || cast["recipe"] == recipe);
    casts.iter().filter(meant).collect()
}

#[test]
fn the_demo_lab_shows_what_it_is_meant_to_show() {
    let (app, replayed) = demo("2026-03-02");
    verified(&app);
    let casts = all(&app, "/v1/casts");
    assert_eq!(casts.len(), replayed.casts);
    assert!(
        casts.iter().all(|cast| cast["short"] == false),
        "no cast is short"
    );
    the_bench(&casts);
    the_shelf(&app, day("2026-03-02"));
    the_figures(&casts);
}

/// Scrapped, discarded, cancelled, split, in rounds, still curing, booked.
fn the_bench(casts: &[Value]) {
    let done = of(casts, "demolded", "");
    let scrapped: Vec<_> = done
        .iter()
        .filter(|cast| cast["demold"]["good"] == 0)
        .collect();
    assert_eq!(scrapped.len(), 1);
    assert_eq!(
        scrapped[0]["cost_actual"].get("per_good_chip"),
        None,
        "a cost, but no chip to share it"
    );
    assert!(micro(&scrapped[0]["cost_actual"]["total"]) > 0);
    let batches = |cast: &Value| {
        cast["pour"]["batches"]
            .as_array()
            .cloned()
            .unwrap_or_default()
    };
    let discarded = done.iter().filter(|cast| {
        batches(cast)
            .iter()
            .any(|batch| batch.get("discarded").is_some())
    });
    assert_eq!(discarded.count(), 2);
    let estimated = done
        .iter()
        .flat_map(|cast| batches(cast))
        .filter(|batch| batch["residue_basis"] == "estimated");
    assert!(estimated.count() > 2, "not every cup was weighed");
    let split = done
        .iter()
        .filter(|cast| cast["charges"].as_array().map(Vec::len) == Some(2));
    assert!(split.count() > 3);
    assert!(
        done.iter().any(|cast| cast["plan"]["rounds"] == 2),
        "more trays than copies"
    );
    assert!(
        done.iter()
            .any(|cast| cast["pour"].get("level_mm").is_some()),
        "a level was seen"
    );
    let groups = done.iter().filter(|cast| cast["request"]["groups"] == 6);
    assert_eq!(groups.count(), 6, "two courses of three weeks");
    assert_eq!(of(casts, "cancelled", "").len(), 1);
    assert_eq!(of(casts, "poured", "flow").len(), 1);
    let booked = of(casts, "booked", "");
    let days: Vec<&str> = booked
        .iter()
        .filter_map(|cast| cast["cast_on"].as_str())
        .collect();
    assert!(
        days.contains(&"2026-03-09"),
        "one is booked for next week: {days:?}"
    );
}

/// Expiring, expired, stranded, a grant's own, held, bought abroad, on order, worn.
fn the_shelf(app: &TestApp, today: NaiveDate) {
    let lots = lots(app, today);
    let expiring = lot(&lots, "vial-release", "TV-140");
    assert!(micro_of(expiring) > 0 && expiring.state == LotState::Usable);
    assert_eq!(expiring.expires_on, Some(today + TimeDelta::days(11)));
    assert_eq!(lot(&lots, "base-clear", "QC-2291").state, LotState::Expired);
    let (base, agent) = (
        lot(&lots, "base-slate", "QS-0877"),
        lot(&lots, "agent-slate", "QS-0877"),
    );
    assert_eq!(base.kit_lot, agent.kit_lot);
    assert!(
        micro_of(base) - micro_of(agent) > 450_000_000,
        "base without its curing agent"
    );
    let funded: Vec<&LotView> = lots.iter().filter(|lot| lot.funded_by.is_some()).collect();
    assert!(
        funded
            .iter()
            .all(|lot| lot.lot == "QC-2466" && lot.funded_by.as_deref() == Some("g-flow"))
    );
    assert_eq!(funded.len(), 2);
    // What is left of the clear kit: enough for the cast next week, not for two months.
    let clear: i64 = lots
        .iter()
        .filter(|lot| lot.material == "base-clear" && lot.state == LotState::Usable)
        .map(micro_of)
        .sum();
    assert!((250_000_000..700_000_000).contains(&clear), "{clear}");
    let held = lots
        .iter()
        .flat_map(|lot| &lot.packs)
        .filter(|pack| pack.held_reason.is_some());
    assert_eq!(held.count(), 1);
    for tray in ["tray-flow", "tray-tile"] {
        let tray = lots.iter().find(|lot| lot.material == tray).expect("trays");
        assert!(
            tray.remaining_value < tray.landed_cost && micro_of(tray) == 8_000_000,
            "{tray:?}"
        );
    }
    let orders = all(app, "/v1/orders");
    let open = |order: &&Value| {
        order["lines"]
            .as_array()
            .is_some_and(|lines| lines.iter().any(|line| line["state"] == "ordered"))
    };
    assert_eq!(orders.iter().filter(open).count(), 1);
    // The clear kit is running out, and whoever buys is told while another can still arrive.
    let warnings = all(app, "/v1/warnings");
    let kit = warnings
        .iter()
        .find(|warning| warning["kind"] == "order_by" && warning["subject"] == "kit-clear")
        .expect("the kit's warning");
    assert_eq!(kit["state"], "open", "{kit}");
    let advice = app.get("/v1/reorder/kit-clear").expect(200).json();
    assert_eq!(
        (&advice["due"], &advice["late"]),
        (&json!(true), &json!(false)),
        "{advice}"
    );
}

fn micro_of(lot: &LotView) -> i64 {
    lot.on_hand.micro()
}

/// Nothing absurd: yields, costs of a chip, residue.
fn the_figures(casts: &[Value]) {
    for (recipe, least, most) in [("flow", 3.0, 6.0), ("tile", 0.9, 2.0), ("pit", 0.6, 1.6)] {
        let done = of(casts, "demolded", recipe);
        let sum = |value: &dyn Fn(&Value) -> f64| done.iter().map(|cast| value(cast)).sum::<f64>();
        let good = sum(&|cast| cast["demold"]["good"].as_f64().expect("good chips"));
        let rejected = sum(&|cast| cast["demold"]["rejected"].as_f64().expect("rejected chips"));
        let cost = sum(&|cast| micro(&cast["cost_actual"]["total"]) as f64 / 1e6);
        let batches = || {
            done.iter()
                .flat_map(|cast| cast["pour"]["batches"].as_array().expect("batches"))
        };
        let grams = |field: &str| {
            batches()
                .map(|batch| micro(&batch[field]) as f64 / 1e6)
                .sum::<f64>()
        };
        let (share, yields) = (
            grams("residue_g") / grams("total_g"),
            good / (good + rejected),
        );
        assert!(
            (least..most).contains(&(cost / good)),
            "{recipe}: {} a chip",
            cost / good
        );
        assert!(
            (0.8..0.96).contains(&yields),
            "{recipe}: a yield of {yields}"
        );
        assert!(
            (0.05..0.15).contains(&share),
            "{recipe}: a residue of {share}"
        );
    }
}

#[test]
fn the_demo_lab_is_alive_on_any_day() {
    // A leap day, a Sunday, the ends of months, the first of a year.
    let mut shapes = Vec::new();
    for today in ["2028-02-29", "2026-03-01", "2026-01-31", "2027-01-01"] {
        let (app, _) = demo(today);
        verified(&app);
        let casts = all(&app, "/v1/casts");
        assert!(casts.iter().all(|cast| cast["short"] == false), "{today}");
        let coming: Vec<NaiveDate> = of(&casts, "booked", "")
            .iter()
            .filter_map(|cast| cast["cast_on"].as_str())
            .map(day)
            .collect();
        let ahead = |on: &NaiveDate| (*on - day(today)).num_days();
        assert!(
            coming.iter().any(|on| (5..=9).contains(&ahead(on))),
            "{today}: {coming:?}"
        );
        let masses = casts
            .iter()
            .map(|cast| cast["plan"]["mix"]["total_g"].clone());
        shapes.push(masses.collect::<Vec<_>>());
    }
    assert!(
        shapes.windows(2).all(|pair| pair[0] == pair[1]),
        "the lab did the same, whatever the day"
    );
}

#[test]
fn a_demo_keeps_away_from_others_data() {
    let app = TestApp::start();
    let refused = heeltap::app::open(
        &heeltap::app::Settings {
            database: app.service.db().url().clone(),
            db_connections: 1,
            db_wait_ms: 10_000,
            base_currency: None,
            time_zone: None,
            working_day_min: 480,
            demo: true,
            limits: heeltap::http::Limits::default(),
            slow_query: std::time::Duration::from_millis(500),
            csv: Default::default(),
            proxies: Default::default(),
            tls: None,
            forecast: Default::default(),
            rates: None,
            mail: None,
            webhooks: Default::default(),
        },
        heeltap::app::Outside::default(),
    );
    assert!(refused.is_err_and(|e| e.to_string().contains("a demo needs a database of its own")));
    assert_eq!(
        app.get("/v1/materials").expect(200).json()["items"],
        json!([])
    );
}

/// The command in a directory of its own, with what it has said so far.
struct Served {
    child: Child,
    lines: Vec<String>,
}

impl Drop for Served {
    fn drop(&mut self) {
        // Fails when it has ended already, which is what is wanted.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn command(folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_heeltap"));
    command
        .env_clear()
        .env("HEELTAP_LISTEN", "127.0.0.1:0")
        .current_dir(folder)
        .stdin(Stdio::null())
        .args(["demo", "--log", "warn"]);
    command
}

/// Starts it and waits for its five lines: the filling takes as long as it takes.
fn served(folder: &Path) -> Served {
    let mut child = command(folder)
        .stdout(Stdio::piped())
        .spawn()
        .expect("the binary must start");
    let out = BufReader::new(child.stdout.take().expect("standard output"));
    let lines = out.lines().map_while(Result::ok).take(6).collect();
    Served { child, lines }
}

#[track_caller]
fn refused(folder: &Path, says: &str) {
    let output = command(folder).output().expect("the binary must start");
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{err}");
    assert!(err.contains(says), "{err}");
}

#[test]
fn the_command_serves_what_it_says() {
    let folder = tempfile::TempDir::new().expect("a temporary folder");
    let first = served(folder.path());
    let address = first.lines[1]
        .strip_prefix("listening on http://")
        .expect("the address second");
    let token = first.lines[2]
        .strip_prefix("administrator token: ")
        .expect("then the token")
        .to_owned();
    // The first address signs in and shows the shelf.
    let link = first.lines[0]
        .strip_prefix("open ")
        .and_then(|line| line.strip_suffix(" in a browser"))
        .expect("a link");
    let browser = reqwest::blocking::Client::builder()
        .cookie_store(true)
        .build()
        .expect("a browser");
    let shelf = browser.get(link).send().expect("an answer");
    assert_eq!(
        (shelf.status().as_u16(), shelf.url().path()),
        (200, "/"),
        "{link}"
    );
    let shelf = shelf.text().expect("a page");
    assert!(shelf.contains("On the shelf"), "{shelf}");
    assert!(shelf.len() < 100_000, "{} bytes", shelf.len());
    let client = Client::new(address.parse().expect("an address"), Some(token.clone()));
    assert_eq!(
        client.get("/v1/tokens").expect(200).json()["items"][0]["name"],
        "demo"
    );
    let recipes = client.get("/v1/recipes").expect(200).json();
    assert_eq!(recipes["items"].as_array().map(Vec::len), Some(3));
    for (line, path) in
        first.lines[3..]
            .iter()
            .zip(["/v1/lots", "/v1/warnings", "/v1/reports/replica-cost"])
    {
        let call = format!("curl -s -H 'Authorization: Bearer {token}' 'http://{address}{path}");
        assert!(line.starts_with(&call), "{line}");
    }
    // A second demo does not take the file away from the first.
    refused(
        folder.path(),
        "heeltap-demo.sqlite3 cannot be replaced: another process has it open",
    );
    client.get("/v1/recipes").expect(200);
    drop(first);

    let own = folder.path().join("heeltap-demo.sqlite3");
    let before = std::fs::metadata(&own).expect("the demo's file").len();
    assert!(before > 0);
    let again = served(folder.path());
    assert_eq!(
        again.lines.len(),
        6,
        "what an earlier demo left is made anew: {:?}",
        again.lines
    );
    assert_ne!(
        again.lines[2].strip_prefix("administrator token: "),
        Some(token.as_str())
    );
}

#[test]
fn the_command_refuses_a_file_that_is_not_its_own_and_an_address_that_is_taken() {
    let folder = tempfile::TempDir::new().expect("a temporary folder");
    let own = folder.path().join("heeltap-demo.sqlite3");
    std::fs::write(
        &own,
        "my notes on casting, which are no database at all ".repeat(40),
    )
    .expect("a file");
    refused(folder.path(), "heeltap-demo.sqlite3 cannot be opened");
    assert!(
        std::fs::read_to_string(&own)
            .expect("the notes")
            .starts_with("my notes")
    );
    std::fs::remove_file(&own).expect("the notes are there");

    let mine = Command::new(env!("CARGO_BIN_EXE_heeltap"))
        .env_clear()
        .env("DATABASE_URL", "sqlite://heeltap-demo.sqlite3")
        .current_dir(folder.path())
        .args([
            "token", "create", "--name", "a", "--role", "reader", "--log", "warn",
        ])
        .output()
        .expect("the binary must start");
    assert!(mine.status.success());
    refused(
        folder.path(),
        "holds somebody's own data, not a demo's, and is left as it is",
    );
    std::fs::remove_file(&own).expect("the database is there");

    let taken = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = taken.local_addr().expect("its address").to_string();
    let output = command(folder.path())
        .args(["--listen", &address])
        .output()
        .expect("the binary must start");
    let err = String::from_utf8_lossy(&output.stderr);
    assert!(
        err.contains(&format!("cannot listen on `{address}`")) && err.contains("HEELTAP_LISTEN"),
        "{err}"
    );
    assert!(!own.exists(), "nothing was filled in vain");
}
