//! The pages of what comes in, files: a look at a file equals the dry run of the interface, errors stand at their cells, and a
//! file is received once and shows how far it is.

use chrono::TimeDelta;
use diesel::connection::SimpleConnection;
use heeltap::db::AnyConnection;
use heeltap::http::Role;
use heeltap::purchasing::drafts_forget;
use heeltap::purchasing::ops::{Commits, ImportSettings, Standing, draft_commit, draft_keep};
use serde_json::json;

use crate::support::TestApp;
use crate::support::browser::{Browser, form_key};
use crate::support::lab::verified;
use crate::support::receiving::{
    BASE, HEADER, KIT, OPEN, TRAYS, api, dropped, escaped, file, has, lab, lab_in, lots, received,
    sent,
};

#[test]
fn a_look_at_a_file_says_what_the_dry_run_says_and_writes_nothing() {
    let app = lab();
    let buyer = Browser::as_role(&app, Role::Buyer);
    let rows = file(&[BASE, TRAYS, KIT, OPEN]);
    let (address, look) = dropped(&buyer, &rows, &[]);
    let told = api(&app, "?dry_run=true", &rows);
    let sentence = format!(
        "{} lots would be made, 1 line would be on order.",
        told["lots_created"]
    );
    has(&look, &[&sentence, "<h1>north.csv</h1>", "Receive it"]);
    for row in told["rows"].as_array().expect("rows") {
        let line = format!(
            "<th role=\"rowheader\" scope=\"row\" data-name=\"line\">{}</th>",
            row["line"]
        );
        has(&look, &[&line]);
        for lot in row["lots"].as_array().unwrap_or(&Vec::new()) {
            let cost: f64 = lot["landed_cost"]
                .as_str()
                .expect("a cost")
                .parse()
                .expect("a number");
            let code = lot["lot"].as_str().expect("a code");
            has(
                &look,
                &[&format!("lot {code} of "), &format!("{cost:.2} EUR landed")],
            );
        }
    }
    // The cells are those of the file.
    has(
        &look,
        &[
            "<td role=\"cell\" data-name=\"lot\">00123</td>",
            "<td role=\"cell\" data-name=\"line_price\">220.00</td>",
        ],
    );
    assert!(!look.contains("data-name=\"duty\""), "{look}");
    assert_eq!(lots(&app).len(), 0);
    // A reload shows the same, and the overview leads back to it.
    assert_eq!(buyer.get(&address).text, look);
    let link = format!("<a href=\"{address}\">north.csv</a>");
    has(&buyer.get("/receive").text, &[&link]);
    // The same file again is the same draft.
    assert_eq!(dropped(&buyer, &rows, &[]).0, address);
}

#[test]
fn an_error_stands_at_its_cell_in_the_words_of_the_interface() {
    let app = lab();
    let buyer = Browser::as_role(&app, Role::Buyer);
    let bad = "O-4,1,North,03/04/2026,2026-02-03,<b>,L1,1.5,1,kg,100.00,EUR,,2026-01-01";
    let late = "O-5,1,North,2026-01-20,2026-02-03,base,L2,1,1,kg,100.00,EUR,,2026-01-31";
    let narrow = "O-6,1,North";
    let rows = file(&[BASE, bad, late, narrow]);
    let (address, look) = dropped(&buyer, &rows, &[]);
    let told = api(&app, "?dry_run=true", &rows);
    has(
        &look,
        &["2 of 4 rows are in error, so nothing of the file can be received."],
    );
    let mut cells = 0;
    for row in told["rows"].as_array().expect("rows") {
        for error in row["errors"].as_array().unwrap_or(&Vec::new()) {
            let text = |name: &str| escaped(error[name].as_str().expect("a text"));
            let fault = match text("column").as_str() {
                "row" => format!(
                    "in error<span class=\"fault\">Error: {}</span>",
                    text("detail")
                ),
                column => {
                    cells += 1;
                    format!(
                        "<td role=\"cell\" data-name=\"{column}\" class=\"bad\">{}<span class=\"fault\">Error: {}</span>",
                        text("value"),
                        text("detail")
                    )
                }
            };
            has(&look, &[&fault]);
        }
        for warning in row["warnings"].as_array().unwrap_or(&Vec::new()) {
            let detail = escaped(warning["detail"].as_str().expect("a text"));
            has(
                &look,
                &[&format!("<span class=\"note\">Look: {detail}</span>")],
            );
        }
    }
    assert!(cells >= 3, "{told}");
    // What is wrong comes first, then what is to be looked at; it can be dropped again right here, and not received.
    let order = |words: &str| {
        look.find(words)
            .unwrap_or_else(|| panic!("{words}: {look}"))
    };
    assert!(order("Rows in error") < order("Rows to look at"));
    assert!(order("Rows to look at") < order("The other rows"));
    has(&look, &["action=\"/receive/files\"", "drop it again"]);
    assert!(!look.contains("Receive it") && !look.contains("<b>,"));
    // Whoever sends the form all the same is told why.
    let refused = sent(&buyer, "/receive", &format!("{address}/receive"), &[]);
    assert_eq!(refused.status, 422, "{}", refused.text);
    has(
        &refused.text,
        &[
            "It was not received: 2 of 4 rows are in error",
            "class=\"bad\"",
        ],
    );
    assert_eq!(lots(&app).len(), 0);
}

#[test]
fn a_file_is_received_once_and_leads_to_its_lots() {
    let app = lab();
    let buyer = Browser::as_role(&app, Role::Buyer);
    let rows = file(&[BASE, TRAYS, KIT, OPEN]);
    let (address, _) = dropped(&buyer, &rows, &[]);
    let result = received(&buyer, &address);
    has(
        &result.text,
        &[
            "<h1>File 1 is received</h1>",
            "Of 4 rows: 4 lots made, 1 line on order.",
            "<a href=\"/lots/1\">lot 00123</a> of Base: 2 packs of 1,100 g, 106.67 EUR landed",
            "<a href=\"/lots/4/label\">",
            "by buyer",
        ],
    );
    let kept = app.get("/v1/purchase-imports/1").expect(200).json();
    assert_eq!(
        (&kept["lots_created"], &kept["created_by"]),
        (&json!(4), &json!("buyer"))
    );
    verified(&app);
    // Again: the address leads to the result, the form changes nothing, and the same bytes bring nothing new.
    assert_eq!(buyer.get(&address).location, "/receive/imports/1");
    let again = sent(&buyer, "/receive", &format!("{address}/receive"), &[]);
    assert_eq!(
        (again.status, again.location.as_str()),
        (303, address.as_str())
    );
    let (second, look) = dropped(&buyer, &rows, &[]);
    assert_ne!(second, address);
    has(
        &look,
        &["Every row is in the books already: there is nothing to receive."],
    );
    assert!(!look.contains("Receive it"));
    assert_eq!(lots(&app).len(), 4);
    let forgotten = sent(&buyer, "/receive", &format!("{second}/forget"), &[]);
    assert_eq!(
        (forgotten.status, forgotten.location.as_str()),
        (303, "/receive")
    );
    assert_eq!(buyer.get(&second).status, 404);
    // What came last stands on the overview, and readers see it.
    let overview = Browser::as_role(&app, Role::Reader).get("/receive").text;
    has(
        &overview,
        &[
            "<a href=\"/lots/1\">00123</a>",
            "<a href=\"/receive/imports/1\">",
            "O-3",
        ],
    );
}

#[test]
fn how_a_file_is_written_is_said_when_it_is_sent_or_afterwards() {
    let app = lab();
    let buyer = Browser::as_role(&app, Role::Buyer);
    let written = file(&[BASE, TRAYS])
        .replace(',', ";")
        .replace(".00", ",00")
        .replace("1.1", "1,1");
    let said = [
        ("delimiter", "semicolon"),
        ("decimal", "comma"),
        ("spread_by", "count"),
    ];
    let (address, look) = dropped(&buyer, &written, &[]);
    has(
        &look,
        &[
            "The file cannot be used as it is.",
            "the header does not match with delimiter=comma, but it does with delimiter=semicolon",
        ],
    );
    let changed = sent(&buyer, &address, &format!("{address}/read"), &said);
    assert_eq!(
        (changed.status, changed.location.as_str()),
        (303, address.as_str())
    );
    let look = buyer.get(&address).text;
    // Freight of 10.00 over two packs and one.
    has(
        &look,
        &[
            "2 lots would be made.",
            "106.67 EUR landed",
            "53.33 EUR landed",
        ],
    );
    let (_, look) = dropped(&buyer, &written.replace("O-1", "O-7"), &said);
    has(
        &look,
        &["2 lots would be made.", "value=\"semicolon\" selected"],
    );
    let odd = sent(
        &buyer,
        &address,
        &format!("{address}/read"),
        &[("delimiter", "pipe")],
    );
    assert_eq!(odd.status, 400, "{}", odd.text);
    // What is no text is said to be none.
    let (_, look) = dropped(&buyer, "\u{0}PNG", &[]);
    has(&look, &["line 1: U+0000 has no place in a text file"]);
}

#[test]
fn a_file_that_is_too_long_or_missing_is_refused_on_the_page() {
    let app = TestApp::with(|settings| settings.limits.file_bytes = 2_000);
    lab_in(&app);
    let buyer = Browser::as_role(&app, Role::Buyer);
    let long = file(&[BASE; 30]);
    let chosen = [("decimal", "comma")];
    let refused = buyer.drop_file("long.csv", long, &chosen);
    assert_eq!(refused.status, 413, "{}", refused.text);
    has(
        &refused.text,
        &[
            "the file is longer than 2000 bytes, the most that is taken: split it",
            "id=\"file-fault\"",
            "aria-invalid=\"true\"",
            "value=\"comma\" selected",
        ],
    );
    let page = buyer.get("/receive").text;
    let key = [("form_key", form_key(&page))];
    let none = buyer.send_parts("/receive/files", &key, Some(("", b"")));
    assert_eq!(none.status, 422, "{}", none.text);
    has(&none.text, &["choose a file, or drop one here"]);
    let empty = buyer.drop_file("empty.csv", "", &[]);
    assert_eq!(empty.status, 422, "{}", empty.text);
    has(&empty.text, &["the file is empty"]);
    // Far too long is not even read to its end.
    let cut = buyer.drop_file("endless.csv", "x".repeat(50_000), &[]);
    assert_eq!(cut.status, 413, "{}", cut.text);
    assert!(!page.contains("Files that wait"));
}

#[test]
fn only_who_may_receive_sees_the_forms_and_sends_them() {
    let app = lab();
    let buyer = Browser::as_role(&app, Role::Buyer);
    let (address, _) = dropped(&buyer, &file(&[OPEN]), &[]);
    for role in [Role::Reader, Role::Bench] {
        let browser = Browser::as_role(&app, role);
        let page = browser.get("/receive");
        assert_eq!(page.status, 200);
        for form in ["type=\"file\"", "/receive/delivery", "north.csv"] {
            assert!(!page.text.contains(form), "{form}: {}", page.text);
        }
        let key = form_key(&page.text).to_owned();
        let fields = [("form_key", key.as_str())];
        assert_eq!(browser.get(&address).status, 403);
        assert_eq!(browser.get("/receive/delivery").status, 403);
        for path in [
            "/receive/delivery",
            "/receive/orders/O-3",
            &format!("{address}/receive"),
        ] {
            assert_eq!(browser.send(path, &fields).status, 403, "{path}");
        }
        let file = Some(("a.csv", HEADER.as_bytes()));
        assert_eq!(
            browser.send_parts("/receive/files", &fields, file).status,
            403
        );
    }
    // Another buyer decides about it as well; nobody without the key of their own page.
    let other = Browser::signed_in(&app);
    assert_eq!(other.get(&address).status, 200);
    let stolen = form_key(&buyer.get("/receive").text).to_owned();
    for key in ["", &stolen] {
        let fields = [("form_key", key)];
        for path in ["receive", "read", "forget"] {
            let path = format!("{address}/{path}");
            assert_eq!(other.send(&path, &fields).status, 403, "{path}");
        }
        assert_eq!(other.send("/receive/delivery", &fields).status, 403);
        assert_eq!(other.send("/receive/orders/O-3", &fields).status, 403);
        let file = Some(("a.csv", HEADER.as_bytes()));
        assert_eq!(
            other.send_parts("/receive/files", &fields, file).status,
            403
        );
    }
    assert_eq!(received(&other, &address).status, 200);
    let fields = [("form_key", "x")];
    let plain = other.send("/receive/files", &fields);
    assert_eq!(plain.status, 400, "a form without parts: {}", plain.text);
}

#[test]
fn a_long_file_shows_how_far_it_is_and_a_part_of_its_rows() {
    let app = lab();
    let buyer = Browser::as_role(&app, Role::Buyer);
    let row = |n: usize| {
        format!(
            "L-{},{},North,2026-01-20,2026-02-03,tray,T{n},1,100,each,50.00,EUR,,",
            n / 50,
            n % 50 + 1
        )
    };
    let rows: Vec<String> = (0..1_500).map(row).collect();
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let (address, look) = dropped(&buyer, &file(&rows), &[]);
    has(
        &look,
        &[
            "1500 lots would be made.",
            "more rows are not shown here",
            "The next rows",
        ],
    );
    // While somebody else writes, it waits for its turn, and says so.
    let held = app.service.db().write(|conn| {
        if let AnyConnection::Postgres(conn) = conn {
            conn.batch_execute("LOCK TABLE orders IN SHARE ROW EXCLUSIVE MODE")?;
        }
        // A second try neither waits for the first nor begins another.
        for _ in 0..2 {
            let begun = sent(&buyer, "/receive", &format!("{address}/receive"), &[]);
            assert_eq!((begun.status, &begun.location), (303, &address));
        }
        let page = buyer.get(&address).text;
        has(
            &page,
            &[
                "north.csv is being received",
                "data-poll=\"700\"",
                "<progress ",
                "<noscript><meta http-equiv=\"refresh\" content=\"2\"></noscript>",
            ],
        );
        Ok(())
    });
    held.expect("the database must answer");
    let result = received(&buyer, &address);
    has(
        &result.text,
        &["Of 1500 rows: 1500 lots made.", "The next rows"],
    );
    assert!(result.text.len() < 100_000);
    assert_eq!(
        app.get("/v1/purchase-imports").expect(200).json()["items"]
            .as_array()
            .map(Vec::len),
        Some(1)
    );
    let commits = app.service.part::<Commits>().expect("what is received");
    assert!(commits.standing(1).is_none());
}

#[test]
fn who_receives_a_file_is_told_how_far_it_is() {
    let app = lab();
    let rows = file(&[BASE, TRAYS, KIT]);
    let seen = app.service.as_actor("buyer", |tx| {
        let id = draft_keep(tx, "north.csv", rows.as_bytes(), &ImportSettings::default())?;
        let mut seen = Vec::new();
        draft_commit(tx, id, Default::default(), &mut |progress| {
            seen.push((progress.done, progress.all))
        })?;
        Ok(seen)
    });
    let seen = seen.expect("the file must be received");
    assert_eq!(seen, [(1, 4), (2, 4), (3, 4), (4, 4)]);
}

#[test]
fn a_try_that_failed_leaves_the_file_waiting() {
    let app = lab();
    let buyer = Browser::as_role(&app, Role::Buyer);
    let (address, _) = dropped(&buyer, &file(&[KIT]), &[]);
    // Somebody retires the kit between the look and the decision.
    app.post("/v1/kits/kit-a/retire", json!({})).expect(200);
    let refused = sent(&buyer, &address, &format!("{address}/receive"), &[]);
    assert_eq!(refused.status, 422, "{}", refused.text);
    has(
        &refused.text,
        &[
            "It was not received: 1 of 1 rows are in error",
            "class=\"bad\"",
        ],
    );
    let commits = app.service.part::<Commits>().expect("what is received");
    assert!(matches!(commits.standing(1), Some(Standing::Refused(_))));
    has(&buyer.get(&address).text, &["It was not received"]);
    // A file that waits is forgotten after its hours, by the daily work.
    app.clock.advance(TimeDelta::hours(47));
    drafts_forget(&app.service).expect("the daily work");
    let buyer = Browser::signed_in(&app);
    assert_eq!(buyer.get(&address).status, 200);
    app.clock.advance(TimeDelta::hours(2));
    drafts_forget(&app.service).expect("the daily work");
    assert_eq!(buyer.get(&address).status, 404);
}

#[test]
fn an_empty_installation_says_what_comes_first() {
    let app = TestApp::start();
    let buyer = Browser::as_role(&app, Role::Buyer);
    has(
        &buyer.get("/receive").text,
        &[
            "<a href=\"/catalogue\">The catalogue</a> is empty, and it comes before any delivery",
            "Nothing is on order.",
            "Nothing was received yet.",
        ],
    );
    has(
        &buyer.get("/receive/delivery").text,
        &["<a href=\"/catalogue\">The catalogue</a> is empty"],
    );
    let reader = Browser::as_role(&app, Role::Reader).get("/receive").text;
    has(
        &reader,
        &["Whoever buys for the lab receives deliveries here."],
    );
}
