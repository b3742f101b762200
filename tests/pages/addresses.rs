//! An address of every page that can be looked at, for each door of the table of pages.

use heeltap::app::PAGES;

use crate::support::Client;

/// The nouns of the catalogue.
const NOUNS: [&str; 7] = [
    "materials",
    "elastomers",
    "kits",
    "molds",
    "recipes",
    "grants",
    "suppliers",
];

/// A field of the first thing in a list of the API.
fn first(client: &Client, list: &str, field: &str) -> String {
    let answer = client.get(&format!("/v1/{list}")).expect(200).json();
    match &answer["items"][0][field] {
        serde_json::Value::String(text) => text.clone(),
        serde_json::Value::Number(number) => number.to_string(),
        _ => panic!("/v1/{list} is empty"),
    }
}

/// The addresses, of casts one in each state. `client` may read everything.
pub(crate) fn addresses(client: &Client) -> Vec<String> {
    let casts = ["booked", "poured", "demolded"]
        .map(|state| first(client, &format!("casts?state={state}&limit=1"), "code"));
    let mut addresses = Vec::new();
    for door in PAGES.iter().filter(|door| door.method == "GET") {
        let path = door.path;
        match path {
            // What is no page, what leads to another, and what waits for a decision (the whole job looks at that).
            "/assets/{file}"
            | "/cost/report.csv"
            | "/cost/report.xlsx"
            | "/sign-in"
            | "/receive/files/{id}" => {}
            _ if path.starts_with("/casts/{code}") => {
                addresses.extend(casts.iter().map(|code| path.replace("{code}", code)));
            }
            _ if path.contains("{noun}") => addresses.extend(NOUNS.map(|noun| {
                let code = || first(client, &format!("{noun}?limit=1"), "code");
                let code = match path.contains("{code}") {
                    true => code(),
                    false => String::new(),
                };
                path.replace("{noun}", noun).replace("{code}", &code)
            })),
            "/receive/orders/{code}" => {
                addresses
                    .push(path.replace("{code}", &first(client, "orders?limit=1", "order_no")));
            }
            "/receive/imports/{id}" => {
                addresses
                    .push(path.replace("{id}", &first(client, "purchase-imports?limit=1", "id")));
            }
            "/casts/plan" => {
                let recipe = first(client, "recipes?limit=1", "code");
                addresses.push(path.to_owned());
                addresses.push(format!("{path}?recipe={recipe}&count=4"));
                addresses.push(format!("{path}?recipe={recipe}&count=40"));
            }
            _ => addresses.push(path.replace("{id}", "1")),
        }
    }
    addresses
}
