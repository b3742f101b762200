//! The pages of what comes in, forms: one delivery is typed, and an order arrives line by line, with faults at their fields.

use heeltap::http::Role;

use crate::support::browser::{Browser, form_key};
use crate::support::lab::verified;
use crate::support::receiving::{OPEN, OPEN_TOO, dropped, file, has, lab, lots, received, sent};

#[test]
fn one_delivery_is_typed_and_faults_stand_at_their_fields() {
    let app = lab();
    let buyer = Browser::as_role(&app, Role::Buyer);
    has(
        &buyer.get("/receive/delivery").text,
        &[
            "value=\"2026-03-02\"",
            "value=\"EUR\"",
            "<option value=\"kit-a\">Kit, a kit</option>",
        ],
    );
    let wrong = [
        ("item", "bas<e>"),
        ("lot", ""),
        ("packs", "1.5"),
        ("pack_quantity", "1,1"),
        ("unit", "kg"),
        ("line_price", "many"),
        ("currency", "EUR"),
        ("supplier", "North"),
        ("order_no", "N-1"),
        ("line_no", "1"),
        ("ordered_on", "2026-03-01"),
        ("received_on", "2026-02-28"),
        ("tax", "x"),
    ];
    let refused = sent(&buyer, "/receive/delivery", "/receive/delivery", &wrong);
    assert_eq!(refused.status, 422, "{}", refused.text);
    for field in ["item", "lot", "packs", "line_price", "received_on", "tax"] {
        has(
            &refused.text,
            &[
                &format!("aria-describedby=\"{field}-fault\""),
                &format!("<span class=\"fault\" id=\"{field}-fault\">"),
            ],
        );
    }
    has(
        &refused.text,
        &[
            "value=\"bas&#60;e&#62;\"",
            "value=\"many\"",
            "value=\"N-1\"",
            "<details class=\"card\" open>",
        ],
    );
    assert_eq!(lots(&app).len(), 0);
    let right = [
        ("item", "base"),
        ("lot", "B9"),
        ("packs", "2"),
        ("pack_quantity", "1.1"),
        ("unit", "kg"),
        ("received_on", "2026-03-02"),
        ("expires_on", "2027-02-01"),
        ("line_price", "100"),
        ("currency", "EUR"),
        ("freight", "10"),
        ("supplier", "North"),
        ("order_no", "N/1 ä"),
        ("line_no", "1"),
        ("ordered_on", "2026-03-01"),
    ];
    let taken = sent(&buyer, "/receive/delivery", "/receive/delivery", &right);
    let address = "/receive/orders/N%2F1%20%C3%A4";
    assert_eq!(
        (taken.status, taken.location),
        (303, format!("{address}?line=1")),
        "{}",
        taken.text
    );
    let page = buyer.get(&format!("{address}?line=1")).text;
    has(
        &page,
        &[
            "Line 1 is received. Its lots are below.",
            "lot B9</a> of Base: 2 packs of 1,100 g, 110.00 EUR landed",
            "<a href=\"/lots/1/label\">",
            "/receive/delivery?order_no=N%2F1+%C3%A4&#38;supplier=North&#38;ordered_on=2026-03-01&#38;line_no=2",
        ],
    );
    // Sent twice, it is there once; another line of the same order is added; a kit makes both its lots.
    sent(&buyer, "/receive/delivery", "/receive/delivery", &right);
    assert_eq!(lots(&app).len(), 1);
    let mut kit = right.to_vec();
    kit.retain(|(name, _)| !["item", "lot", "line_no", "pack_quantity", "unit"].contains(name));
    kit.extend([("item", "kit-a"), ("lot", "K1"), ("line_no", "2")]);
    let taken = sent(&buyer, "/receive/delivery", "/receive/delivery", &kit);
    assert_eq!(taken.status, 303, "{}", taken.text);
    assert_eq!(lots(&app).len(), 3);
    verified(&app);
    // The same line with other content is a fault, and nothing is lost.
    let mut other = right.to_vec();
    other.retain(|(name, _)| *name != "packs");
    other.push(("packs", "3"));
    let refused = sent(&buyer, "/receive/delivery", "/receive/delivery", &other);
    assert_eq!(refused.status, 422, "{}", refused.text);
    has(&refused.text, &["class=\"fault\"", "value=\"B9\""]);
}

#[test]
fn an_order_arrives_line_by_line() {
    let app = lab();
    let buyer = Browser::as_role(&app, Role::Buyer);
    let (address, _) = dropped(&buyer, &file(&[OPEN, OPEN_TOO]), &[]);
    received(&buyer, &address);
    let order = "/receive/orders/O%2D3";
    let overview = buyer.get("/receive").text;
    has(
        &overview,
        &[
            &format!("<a href=\"{order}\">O-3</a> from North, ordered Fri 20 Feb"),
            "1 pack of 1,000 g of Curing agent",
            "1 pack of Kit",
        ],
    );
    let none = sent(&buyer, order, order, &[("received_on", "2026-03-02")]);
    assert_eq!(none.status, 422);
    has(&none.text, &["name at least one line"]);
    let wrong = [
        ("arrived-1", "true"),
        ("received_on", "2026-03-02"),
        ("lot-1", ""),
        ("expires_on-1", "2027-01-31"),
        ("lot-2", "not now"),
    ];
    let refused = sent(&buyer, order, order, &wrong);
    assert_eq!(refused.status, 422, "{}", refused.text);
    has(
        &refused.text,
        &[
            "<span class=\"fault\" id=\"lot-1-fault\">",
            "value=\"2027-01-31\"",
            "value=\"not now\"",
            "name=\"arrived-1\" value=\"true\" checked",
        ],
    );
    let early = [
        ("arrived-1", "true"),
        ("received_on", "2026-02-01"),
        ("lot-1", "A1"),
    ];
    let refused = sent(&buyer, order, order, &early);
    has(
        &refused.text,
        &["<span class=\"fault\" id=\"received_on-fault\">"],
    );
    let right = [
        ("arrived-1", "true"),
        ("received_on", "2026-03-02"),
        ("lot-1", "A1"),
        ("freight-1", "8"),
    ];
    let came = sent(&buyer, order, order, &right);
    assert_eq!(
        (came.status, came.location),
        (303, format!("{order}?came=1")),
        "{}",
        came.text
    );
    let page = buyer.get(&format!("{order}?came=1")).text;
    has(
        &page,
        &[
            "The line is received.",
            "lot A1</a> of Curing agent: 1 pack of 1,000 g, 88.00 EUR landed",
            "Line 2: 1 pack of Kit",
            "name=\"arrived-2\" value=\"true\" checked",
        ],
    );
    // What came already does not come again.
    let again = sent(&buyer, order, order, &right);
    assert_eq!(again.status, 409, "{}", again.text);
    has(
        &again.text,
        &["line 1 of order \"O-3\" is received"
            .replace('"', "&#34;")
            .as_str()],
    );
    let rest = [
        ("arrived-2", "true"),
        ("received_on", "2026-03-02"),
        ("lot-2", "K2"),
    ];
    assert_eq!(sent(&buyer, order, order, &rest).status, 303);
    let told = app.get("/v1/orders/O-3").expect(200).json();
    assert_eq!(told["state"], "received");
    assert_eq!(lots(&app).len(), 3);
    verified(&app);
    has(&buyer.get("/receive").text, &["Nothing is on order."]);
    assert!(!buyer.get(order).text.contains("Still to come"));
    assert_eq!(buyer.get("/receive/orders/none").status, 404);
}

#[test]
fn a_line_that_will_not_come_is_cancelled_on_its_order() {
    let app = lab();
    let buyer = Browser::as_role(&app, Role::Buyer);
    let (address, _) = dropped(&buyer, &file(&[OPEN, OPEN_TOO]), &[]);
    received(&buyer, &address);
    let order = "/receive/orders/O%2D3";
    let cancel = format!("{order}/cancel");
    has(&buyer.get(order).text, &["Line 2 will not come"]);
    let done = sent(&buyer, order, &cancel, &[("line", "2")]);
    assert_eq!(
        (done.status, done.location),
        (303, format!("{order}?cancelled=2")),
        "{}",
        done.text
    );
    let page = buyer.get(&format!("{order}?cancelled=2")).text;
    has(&page, &["Line 2 will not come.", "Line 1: 1 pack of"]);
    let told = app.get("/v1/orders/O-3").expect(200).json();
    assert_eq!(told["lines"][0]["state"], "ordered");
    assert_eq!(told["lines"][1]["state"], "cancelled");
    // Once more, or a line that is none of the order's, is refused in the words of the API.
    let again = sent(&buyer, order, &cancel, &[("line", "2")]);
    assert_eq!(again.status, 409, "{}", again.text);
    has(&again.text, &["role=\"alert\""]);
    let none = sent(&buyer, order, &cancel, &[("line", "x")]);
    assert_eq!(none.status, 422, "{}", none.text);
    let bench = Browser::as_role(&app, Role::Bench);
    let key = form_key(&bench.get(order).text).to_owned();
    let form = [("form_key", key.as_str()), ("line", "1")];
    assert_eq!(bench.send(&cancel, &form).status, 403);
    verified(&app);
}
