//! The page of what to buy: by its last day, why, the words of the order, and from there onto the books as ordered.

use heeltap::http::Role;
use serde_json::json;

use crate::support::TestApp;
use crate::support::browser::{Browser, form_key};
use crate::support::lab::receive;

/// A lab that is running out of wipes.
fn running_out() -> TestApp {
    let app = TestApp::start();
    let wipe = json!({"code": "wipe", "name": "Wipe & cloth", "kind": "sundry", "unit": "each", "lead_time_days": 14,
        "stated_use_per_month": "100", "pack_quantity": "50"});
    app.post("/v1/materials", wipe).expect(201);
    receive(&app, "wipe", "W1", None, &["48"], "1");
    app
}

#[test]
fn what_is_due_is_said_as_the_advice_says_it_and_noted_as_ordered() {
    let app = running_out();
    let advice = app.get("/v1/reorder/wipe").expect(200).json();
    assert_eq!(advice["due"], true, "{advice}");
    let packs = advice["order_packs"].as_u64().expect("packs");
    assert!(packs > 0, "{advice}");
    let buyer = Browser::as_role(&app, Role::Buyer);
    let page = buyer.get("/buy").text;
    for says in [
        format!("{packs} pack"),
        "of Wipe &#38; cloth (wipe)".to_owned(),
        "data-copy=\"order-1\"".to_owned(),
    ] {
        assert!(page.contains(&says), "{says}: {page}");
    }
    let link = page
        .split("href=\"")
        .find(|rest| rest.starts_with("/receive/delivery?item=wipe"))
        .and_then(|rest| rest.split('"').next())
        .expect("a link to note it")
        .replace("&#38;", "&");
    let form = buyer.get(&link).text;
    assert!(form.contains("name=\"item\"") && form.contains("value=\"wipe\""));
    let query = link.split_once('?').expect("a query").1.to_owned();
    let mut fields: Vec<(String, String)> = form_urlencoded::parse(query.as_bytes())
        .into_owned()
        .collect();
    for (name, value) in [
        ("form_key", form_key(&form)),
        ("supplier", "North"),
        ("order_no", "PO-9"),
        ("line_no", "1"),
        ("line_price", "30"),
        ("currency", "EUR"),
    ] {
        fields.push((name.to_owned(), value.to_owned()));
    }
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(name, value)| (name.as_str(), value.as_str()))
        .collect();
    let noted = buyer.send("/receive/delivery", &fields);
    assert_eq!(noted.status, 303, "{}", noted.text);
    let order = app.get("/v1/orders/PO-9").expect(200).json();
    assert_eq!(order["lines"][0]["state"], "ordered", "{order}");
    assert_eq!(order["lines"][0]["item"], "wipe");
    assert_eq!(order["lines"][0]["packs"], packs);
    // It counts at once, so that nobody orders it twice.
    let page = buyer.get("/buy").text;
    assert!(!page.contains("of Wipe &#38; cloth (wipe)"), "{page}");
}

#[test]
fn whoever_does_not_buy_sees_what_is_due_and_notes_nothing() {
    let app = running_out();
    let reader = Browser::as_role(&app, Role::Reader);
    let page = reader.get("/buy").text;
    assert!(page.contains("Wipe &#38; cloth") && !page.contains("Note it as ordered"));
    let nothing = TestApp::start();
    let page = Browser::as_role(&nothing, Role::Reader).get("/buy").text;
    assert!(page.contains("Nothing has to be ordered now."));
    assert!(page.contains("No material is kept yet."), "{page}");
}
