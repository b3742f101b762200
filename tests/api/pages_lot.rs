//! The page of a lot: what it shows, what its forms do and refuse, who may send them, and its label.

use heeltap::http::{Role, TrustedProxies};
use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::browser::{Browser, Seen, form_key};
use crate::support::lab::{receive, stocked, verified};

/// What is typed into the fields of a form.
type Fields<'a> = &'a [(&'a str, &'a str)];

/// What the books say of a lot.
fn lot(app: &TestApp, id: i64) -> Value {
    app.get(&format!("/v1/lots/{id}")).expect(200).json()
}

/// Opens a lot's page and sends a form of it for a pack.
fn sent(browser: &Browser<'_>, lot_id: i64, path: &str, fields: Fields<'_>) -> Seen {
    let page = browser
        .get(&format!("/lots/{lot_id}?pack={}", pack_of(path)))
        .text;
    let known = page
        .split_once("name=\"known\" value=\"")
        .and_then(|(_, rest)| rest.split('"').next())
        .expect("a form");
    let mut form = vec![("form_key", form_key(&page)), ("known", known)];
    form.extend(fields);
    browser.send(&format!("/lots/{lot_id}{path}"), &form)
}

fn pack_of(path: &str) -> &str {
    path.split('/').nth(2).expect("a pack")
}

#[test]
fn a_lot_shows_where_it_stands_and_where_it_went() {
    let app = TestApp::start();
    stocked(&app);
    let request = json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"});
    let booked = app.post("/v1/casts", request.clone()).expect(201).json();
    let code = booked["code"].as_str().expect("a code");
    let weighed = |batch: &Value| json!({"base_g": batch["base_g"], "curing_agent_g": batch["curing_agent_g"], "residue_g": "4"});
    let batches = booked["plan"]["batches"].as_array().expect("batches");
    let batches: Vec<Value> = batches.iter().map(weighed).collect();
    let pour = json!({"poured_on": "2026-03-02", "batches": batches});
    app.post(&format!("/v1/casts/{code}/pour"), pour)
        .expect(200);
    let chips = json!({"demolded_on": "2026-03-02", "good": 7, "rejects": [{"reason": "bubbles", "count": 1}]});
    app.post(&format!("/v1/casts/{code}/demold"), chips)
        .expect(200);
    app.post("/v1/casts", request).expect(201);

    let page = Browser::as_role(&app, Role::Reader).get("/lots/1").text;
    for words in [
        "<h1>Lot B1 of Base</h1>",
        "It may be used.",
        "<dd>K1</dd>",
        "<dd>Sun 1 Feb</dd>",
        "<dd>Sun 31 Jan 2027</dd>",
        "common stock",
        "<dd>100.00 EUR</dd>",
        "One cast drew on it: 7 good chips, 1 rejected.",
        "<th scope=\"row\"><a href=\"/casts/C-00001\">C-00001</a></th>",
        "C-00002 of Mon 2 Mar waits for ",
        "<td>received</td>",
        "<td>C-00001, batch 1</td>",
        "<td>administrator</td>",
        "href=\"/lots/1/label\"",
    ] {
        assert!(page.contains(words), "{words} is not in {page}");
    }
    let value = lot(&app, 1)["remaining_value"]
        .as_str()
        .expect("a value")
        .to_owned();
    let rounded: f64 = value.parse().expect("a number");
    assert!(
        page.contains(&format!("<dd>{rounded:.2} EUR</dd>")),
        "{value}"
    );
    // The latest stands first.
    let order = |words: &str| page.find(words).expect("it is there");
    assert!(order("<td>used</td>") < order("<td>received</td>"));
    // The shelf leads here.
    let shelf = Browser::signed_in(&app).get("/").text;
    assert!(shelf.contains("<a href=\"/lots/1\">B1</a>"), "{shelf}");
    assert_eq!(Browser::signed_in(&app).get("/lots/99").status, 404);
    assert_eq!(Browser::signed_in(&app).get("/lots/one").status, 404);
}

#[test]
fn a_weighing_changes_the_stock_as_the_interface_would() {
    let app = TestApp::start();
    stocked(&app);
    let bench = Browser::as_role(&app, Role::Bench);
    let weighed = [
        ("gross_g", "950.25"),
        ("tare_g", "50"),
        ("reason", "monthly"),
    ];
    let answer = sent(&bench, 1, "/packs/1/count", &weighed);
    let movements = app.get("/v1/lots/1/movements").expect(200).json();
    let counted = &movements["items"][1];
    let expected = format!("/lots/1?pack=1&done={}&weighed=950.25", counted["id"]);
    assert_eq!(
        (answer.status, answer.location.as_str()),
        (303, expected.as_str()),
        "{}",
        answer.text
    );
    let found = (
        &counted["kind"],
        &counted["quantity"],
        &counted["actor"],
        &counted["reason"],
    );
    assert_eq!(
        found,
        (
            &json!("count"),
            &json!("-99.75"),
            &json!("bench"),
            &json!("monthly")
        )
    );
    // The same pack through the other door.
    let twin = receive(&app, "base", "B2", Some("K1"), &["1000"], "100");
    let twin_pack = lot(&app, twin)["packs"][0]["id"].clone();
    let body = json!({"gross_g": "950.25", "tare_g": "50", "reason": "monthly"});
    app.post(&format!("/v1/packs/{twin_pack}/count"), body)
        .expect(200);
    let (one, other) = (lot(&app, 1), lot(&app, twin));
    for field in [
        "on_hand",
        "available",
        "remaining_value",
        "landed_cost",
        "state",
    ] {
        assert_eq!(one[field], other[field], "{field}");
    }
    let page = bench.get(&answer.location).text;
    let sum = "Pack 1 was weighed: 950.25 g gross \u{2212} 50 g tare = 900.25 g net, 99.75 g less than the books had.";
    assert!(page.contains(sum), "{page}");
    // The tare is kept for the next time.
    assert!(
        page.contains("(50 is kept: leave it empty to use that)"),
        "{page}"
    );
    sent(&bench, 1, "/packs/1/count", &[("gross_g", "900")]);
    assert_eq!(lot(&app, 1)["on_hand"], "850");
    verified(&app);
}

#[test]
fn every_deed_is_written_in_the_name_of_who_sent_it() {
    let app = TestApp::start();
    stocked(&app);
    let buyer = Browser::as_role(&app, Role::Buyer);
    let deeds: [(&str, Fields, &str); 6] = [
        (
            "open",
            &[("opened_on", "2026-02-20")],
            "Pack 1 is open since Fri 20 Feb.",
        ),
        (
            "spill",
            &[("quantity", "12.5"), ("reason", "dropped")],
            "12.5 g spilled from pack 1 are noted.",
        ),
        (
            "hold",
            &[("reason", "cloudy")],
            "Pack 1 is held back: cloudy.",
        ),
        ("release", &[], "Pack 1 is held back no longer."),
        (
            "count",
            &[("gross_g", "1037.5"), ("tare_g", "50")],
            "= 987.5 g net, as the books had it.",
        ),
        (
            "write-off",
            &[("reason", "contaminated"), ("on", "2026-03-01")],
            "of pack 1 are written off.",
        ),
    ];
    for (deed, fields, said) in deeds {
        let answer = sent(&buyer, 1, &format!("/packs/1/{deed}"), fields);
        assert_eq!(answer.status, 303, "{deed}: {}", answer.text);
        let page = buyer.get(&answer.location).text;
        assert!(page.contains(said), "{deed}: {page}");
    }
    let now = lot(&app, 1);
    assert_eq!(now["packs"][0]["opened_on"], "2026-02-20");
    let movements = app.get("/v1/lots/1/movements").expect(200).json();
    let rows = movements["items"].as_array().expect("movements");
    assert!(
        rows.len() > 3 && rows[1..].iter().all(|row| row["actor"] == "buyer"),
        "{movements}"
    );
    verified(&app);
}

#[test]
fn what_is_refused_stands_at_its_field_with_what_was_typed() {
    let app = TestApp::start();
    stocked(&app);
    let bench = Browser::as_role(&app, Role::Bench);
    #[rustfmt::skip]
    let refused: [(&str, Value, &str); 6] = [
        ("count", json!({"gross_g": "3000", "tare_g": "50"}), "gross_g"),
        ("count", json!({"gross_g": "many<b>"}), "gross_g"),
        ("count", json!({"gross_g": "900"}), "gross_g"),
        ("spill", json!({"quantity": "5000", "reason": "dropped"}), "quantity"),
        ("open", json!({"opened_on": "2026-04-01"}), "opened_on"),
        ("write-off", json!({"quantity": "1", "reason": "expired", "on": "2025-01-01"}), "on"),
    ];
    for (deed, body, field) in refused {
        let fields = body.as_object().expect("fields");
        let fields: Vec<(&str, &str)> = fields
            .iter()
            .map(|(name, value)| (name.as_str(), value.as_str().expect("a text")))
            .collect();
        let answer = sent(&bench, 1, &format!("/packs/1/{deed}"), &fields);
        let told = app
            .post(&format!("/v1/packs/1/{deed}"), body.clone())
            .expect(422);
        assert_eq!(told.pointers(), [format!("/{field}")]);
        assert_eq!(answer.status, 422, "{deed}: {}", answer.text);
        let detail = told.json()["errors"][0]["detail"]
            .as_str()
            .expect("words")
            .to_owned();
        let fault = format!("id=\"{deed}-{field}-fault\">{}</p>", escaped(&detail));
        assert!(answer.text.contains(&fault), "{fault}: {}", answer.text);
        for (name, value) in fields {
            let kept = format!("name=\"{name}\" type=\"");
            let (_, rest) = answer.text.split_once(&kept).expect("a field");
            assert!(
                answer
                    .text
                    .contains(&format!("value=\"{}\"", escaped(value))),
                "{rest}"
            );
        }
        assert!(answer.text.contains("aria-invalid=\"true\""));
        assert!(!answer.text.contains("many<b>"));
    }
    // A reason that is missing is told in the words of the operation, and so is a pack that is open already.
    let answer = sent(&bench, 1, "/packs/1/hold", &[("reason", " ")]);
    assert!(
        answer
            .text
            .contains("no reason is given: write 1 to 200 characters"),
        "{}",
        answer.text
    );
    sent(&bench, 1, "/packs/1/open", &[]);
    let again = sent(&bench, 1, "/packs/1/open", &[]);
    assert_eq!(again.status, 409);
    assert!(
        again
            .text
            .contains("the pack was opened on 2026-03-02 already"),
        "{}",
        again.text
    );
    assert_eq!(lot(&app, 1)["on_hand"], "1000");
}

fn escaped(text: &str) -> String {
    let text = text.replace('&', "&#38;").replace('<', "&#60;");
    text.replace('>', "&#62;")
        .replace('"', "&#34;")
        .replace('\'', "&#39;")
}

#[test]
fn a_form_that_is_sent_twice_spills_once() {
    let app = TestApp::start();
    stocked(&app);
    let bench = Browser::as_role(&app, Role::Bench);
    let page = bench.get("/lots/1").text;
    let form = [
        ("form_key", form_key(&page)),
        ("known", "1"),
        ("quantity", "5"),
        ("reason", "dropped"),
    ];
    assert_eq!(bench.send("/lots/1/packs/1/spill", &form).status, 303);
    let again = bench.send("/lots/1/packs/1/spill", &form);
    assert_eq!(again.status, 409);
    assert!(
        again
            .text
            .contains("something else was recorded of this lot"),
        "{}",
        again.text
    );
    assert!(
        again.text.contains("name=\"known\" value=\"2\""),
        "{}",
        again.text
    );
    assert_eq!(lot(&app, 1)["on_hand"], "995");
}

#[test]
fn whoever_only_reads_sees_no_form_and_sends_none() {
    let app = TestApp::start();
    stocked(&app);
    let reader = Browser::as_role(&app, Role::Reader);
    let page = reader.get("/lots/1?pack=1").text;
    assert!(!page.contains("/lots/1/packs/"), "{page}");
    let key = form_key(&page);
    let spill = [("quantity", "5"), ("reason", "dropped")];
    let with = |key: &'static str| [spill[0], spill[1], ("form_key", key)];
    let own: Vec<(&str, &str)> = spill.iter().copied().chain([("form_key", key)]).collect();
    for deed in ["count", "open", "spill", "write-off", "hold", "release"] {
        let path = format!("/lots/1/packs/1/{deed}");
        assert_eq!(reader.send(&path, &own).status, 403, "{deed}");
        // Neither without a key, nor with that of another session, nor from another site.
        let bench = Browser::as_role(&app, Role::Bench);
        assert_eq!(bench.send(&path, &with("")).status, 403, "{deed}");
        assert_eq!(bench.send(&path, &own).status, 403, "{deed}");
        let page = bench.get("/lots/1").text;
        let form = [spill[0], spill[1], ("form_key", form_key(&page))];
        let request = bench.http.post(bench.address(&path)).form(&form);
        let elsewhere = request.header("sec-fetch-site", "cross-site").send();
        assert_eq!(
            elsewhere.expect("an answer").status().as_u16(),
            403,
            "{deed}"
        );
        let nobody = Browser::open(&app).send(&path, &own);
        assert_eq!(nobody.status, 303, "{deed} leads to signing in");
    }
    assert_eq!(lot(&app, 1)["on_hand"], "1000");
    assert_eq!(
        app.get("/v1/lots/1/movements").json()["items"]
            .as_array()
            .map(Vec::len),
        Some(1)
    );
    // A pack is found in its own lot only, and only what can be done is done.
    let bench = Browser::as_role(&app, Role::Bench);
    let page = bench.get("/lots/1").text;
    let form = [spill[0], spill[1], ("form_key", form_key(&page))];
    for path in [
        "/lots/2/packs/1/spill",
        "/lots/1/packs/99/spill",
        "/lots/1/packs/1/drink",
    ] {
        assert_eq!(bench.send(path, &form).status, 404, "{path}");
    }
}

#[test]
fn a_long_history_is_read_in_pages_and_text_stays_text() {
    let app = TestApp::start();
    stocked(&app);
    let sneaky = json!({"code": "odd", "name": "<b>Odd</b>", "kind": "sundry", "unit": "each"});
    app.post("/v1/materials", sneaky).expect(201);
    let id = receive(&app, "odd", "O<1>", None, &["100", "5"], "1");
    let packs = lot(&app, id)["packs"].clone();
    for at in 0..30 {
        let spill = json!({"quantity": "1", "reason": format!("no. {at:02} <i>")});
        app.post(&format!("/v1/packs/{}/spill", packs[0]["id"]), spill)
            .expect(200);
    }
    let browser = Browser::signed_in(&app);
    let path = format!("/lots/{id}");
    let first = browser.get(&path).text;
    let (_, rest) = first
        .split_once(&format!("{path}?before="))
        .expect("a link to what was before");
    let before = rest.split('"').next().expect("a number");
    let second = browser.get(&format!("{path}?before={before}")).text;
    for at in 0..30 {
        let row = format!("no. {at:02} &#60;i&#62;");
        let (new, old) = (first.contains(&row), second.contains(&row));
        assert!(new != old && new == (at >= 5), "{at}");
    }
    assert!(
        !second.contains("?before=") && second.contains("<td>received</td>"),
        "{second}"
    );
    for page in [&first, &second] {
        for raw in ["<b>Odd", "O<1>", "<i>"] {
            assert!(!page.contains(raw), "{raw}");
        }
    }
    assert!(
        first.contains("<h1>Lot O&#60;1&#62; of &#60;b&#62;Odd&#60;/b&#62;</h1>"),
        "{first}"
    );
    // With several packs one is chosen first.
    assert!(first.contains("Choose a pack") && !first.contains("name=\"known\""));
    let chosen = browser.get(&format!("{path}?pack={}", packs[1]["id"])).text;
    assert!(chosen.contains("What happened to pack 2?"), "{chosen}");
    // What an address says is not repeated.
    let told = browser.get(&format!("{path}?pack=<s>&done=<s>&before=<s>&weighed=<s>"));
    assert!(told.status == 200 && !told.text.contains("<s>"));
}

/// Reads the code of a page: its squares as an image, and what a reader of such images finds in it.
fn code_read(page: &str) -> String {
    let (_, rest) = page
        .split_once("<svg class=\"code\" viewBox=\"0 0 ")
        .expect("a code");
    let size: usize = rest
        .split(' ')
        .next()
        .and_then(|size| size.parse().ok())
        .expect("its size");
    let (_, path) = rest
        .split_once("<path fill=\"currentColor\" d=\"")
        .expect("its squares");
    let path = path.split('"').next().expect("an end");
    let dark: std::collections::HashSet<(usize, usize)> = path
        .split('M')
        .filter(|square| !square.is_empty())
        .map(|square| {
            let (place, _) = square.split_once("h1v1").expect("a square of one module");
            let (x, y) = place.split_once(' ').expect("a place");
            (x.parse().expect("a number"), y.parse().expect("a number"))
        })
        .collect();
    let scale = 4;
    let mut image =
        rqrr::PreparedImage::prepare_from_greyscale(size * scale, size * scale, |x, y| {
            if dark.contains(&(x / scale, y / scale)) {
                0
            } else {
                255
            }
        });
    let grids = image.detect_grids();
    assert_eq!(grids.len(), 1, "one code");
    grids[0].decode().expect("it must be readable").1
}

#[test]
fn a_label_leads_a_phone_to_the_page_it_was_printed_from() {
    let app = TestApp::with(|settings| {
        settings.proxies = TrustedProxies::parse("127.0.0.1").expect("a list");
    });
    stocked(&app);
    let browser = Browser::as_role(&app, Role::Reader);
    let label = browser.get("/lots/2/label");
    assert_eq!(label.status, 200, "{}", label.text);
    let address = format!("http://{}/lots/2", app.address);
    assert_eq!(code_read(&label.text), address);
    assert!(label.text.contains(&format!("<small>{address}</small>")));
    for words in [
        "<b>Curing agent</b>",
        "<b>A1</b>",
        "<b>Sun 31 Jan 2027</b>",
        "Opened",
        "H317",
    ] {
        assert!(label.text.contains(words), "{words}: {}", label.text);
    }
    assert!(
        browser
            .http
            .get(&address)
            .send()
            .expect("an answer")
            .status()
            .is_success()
    );
    // By the name that the browser asked for, also where a trusted proxy stands in front.
    let asked = |host: &str, scheme: &str| {
        let cookie = match scheme {
            "https" => format!("__Host-{}", cookie(&browser)),
            _ => cookie(&browser),
        };
        let request = browser.http.get(browser.address("/lots/2/label"));
        let request = request
            .header("host", host)
            .header("x-forwarded-proto", scheme);
        request.header("cookie", cookie).send().expect("an answer")
    };
    let answer = asked("stock.lab.example", "https");
    assert_eq!(
        code_read(&answer.text().expect("a page")),
        "https://stock.lab.example/lots/2"
    );
    for host in ["user@elsewhere.example", "a\"b"] {
        let answer = asked(host, "http");
        assert_eq!(answer.status().as_u16(), 400, "{host}");
    }
    assert_eq!(browser.get("/lots/99/label").status, 404);
}

/// The session's cookie, for a request by another name of the host.
fn cookie(browser: &Browser<'_>) -> String {
    let client = browser.app.role(Role::Reader);
    let answer = browser.send("/sign-in", &[("token", client.token())]);
    let cookie = answer.headers["set-cookie"].to_str().expect("a cookie");
    cookie.split(';').next().expect("its value").to_owned()
}

#[test]
fn a_whole_lot_is_held_back_and_let_go() {
    let app = TestApp::start();
    stocked(&app);
    let id = receive(&app, "base", "B7", Some("K7"), &["500", "500"], "90");
    let bench = Browser::as_role(&app, Role::Bench);
    let address = format!("/lots/{id}");
    let send = |deed: &str, fields: Fields<'_>| {
        let page = bench.get(&address).text;
        let mut form = vec![("form_key", form_key(&page))];
        form.extend(fields);
        bench.send(&format!("{address}/{deed}"), &form)
    };
    let page = bench.get(&address).text;
    assert!(page.contains("Hold the whole lot back") && !page.contains("Let the whole lot go"));
    // Without a reason the form comes back with the words of the operation.
    let wrong = send("hold", &[("reason", "")]);
    assert_eq!(wrong.status, 422, "{}", wrong.text);
    let marked = "aria-invalid=\"true\" aria-describedby=\"lot-hold-reason-fault\"";
    assert!(wrong.text.contains(marked), "{}", wrong.text);
    let answer = send("hold", &[("reason", "cloudy")]);
    let expected = format!("{address}?done=lot-hold");
    assert_eq!(
        (answer.status, answer.location.as_str()),
        (303, expected.as_str())
    );
    let packs = lot(&app, id)["packs"].clone();
    let held = |pack: &Value| pack["held_reason"] == "cloudy";
    assert!(packs.as_array().expect("packs").iter().all(held), "{packs}");
    let page = bench.get(&expected).text;
    assert!(
        page.contains("The whole lot is held back: cloudy."),
        "{page}"
    );
    assert!(!page.contains("Hold the whole lot back") && page.contains("Let the whole lot go"));
    let answer = send("release", &[]);
    assert_eq!(answer.location, format!("{address}?done=lot-release"));
    let page = bench.get(&answer.location).text;
    assert!(
        page.contains("Nothing of the lot is held back any longer."),
        "{page}"
    );
    assert_eq!(lot(&app, id)["state"], "usable");
    // Let go twice: refused in the words of the books. What is done to single packs only is no deed of a lot.
    let again = send("release", &[]);
    assert_eq!(again.status, 409);
    assert!(
        again.text.contains("no pack of the lot is held"),
        "{}",
        again.text
    );
    assert_eq!(send("count", &[]).status, 404);
    assert_eq!(
        bench
            .send(&format!("{address}/hold"), &[("reason", "x")])
            .status,
        403
    );
    let reader = Browser::as_role(&app, Role::Reader);
    let page = reader.get(&address).text;
    assert!(!page.contains("The whole lot"), "{page}");
    let form = [("form_key", form_key(&page)), ("reason", "x")];
    assert_eq!(reader.send(&format!("{address}/hold"), &form).status, 403);
}
