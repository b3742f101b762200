//! What the books say, held against what the clients were answered.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

use crate::deeds::TOLD;
use crate::support::Client;
use crate::worker::Worker;

/// Every row of a list, page by page.
fn all(client: &Client, path: &str) -> Vec<Value> {
    let mut rows = Vec::new();
    let mut cursor = String::new();
    loop {
        let page = client
            .get(&format!("{path}?limit=200{cursor}"))
            .expect(200)
            .json();
        rows.extend(page["items"].as_array().expect("a list").clone());
        match page["next"].as_str() {
            Some(next) => cursor = format!("&cursor={next}"),
            None => return rows,
        }
    }
}

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}

/// What the books hold of what the clients do.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Books {
    pub(crate) casts: BTreeMap<String, String>,
    pub(crate) told: Vec<String>,
    pub(crate) orders: BTreeSet<String>,
}

/// Reads them, with every invariant proved and no pack promised beyond what it holds.
pub(crate) fn read(client: &Client) -> Books {
    let verified = client.get("/v1/verify").expect(200).json();
    assert_eq!(verified["ok"], true, "{verified:#}");
    let casts = all(client, "/v1/casts");
    let mut told = Vec::new();
    for lot in all(client, "/v1/lots") {
        never_oversold(&lot);
        for movement in all(client, &format!("/v1/lots/{}/movements", lot["id"])) {
            told.push(text(&movement["reason"]));
        }
    }
    let treatments = all(client, "/v1/treatments");
    told.extend(treatments.iter().map(|treatment| text(&treatment["note"])));
    told.retain(|words| words.starts_with(TOLD));
    told.sort();
    let orders = all(client, "/v1/orders");
    Books {
        casts: casts
            .iter()
            .map(|cast| (text(&cast["code"]), text(&cast["state"])))
            .collect(),
        told,
        orders: orders
            .iter()
            .map(|order| text(&order["order_no"]))
            .collect(),
    }
}

/// No pack of a lot is promised beyond what it holds.
pub(crate) fn never_oversold(lot: &Value) {
    use crate::support::lab::micro;
    for pack in lot["packs"].as_array().expect("packs") {
        let (on_hand, reserved) = (micro(&pack["on_hand"]), micro(&pack["reserved"]));
        assert!((0..=on_hand).contains(&reserved), "oversold: {lot:#}");
    }
}

/// What the clients were answered, as the books should say it.
pub(crate) fn answered(workers: &[Worker]) -> Books {
    let journals = || workers.iter().map(|worker| &worker.journal);
    let mut told: Vec<String> = journals().flat_map(|j| j.told.iter().cloned()).collect();
    told.sort();
    let first = "O-first".to_owned();
    Books {
        casts: journals()
            .flat_map(|j| j.casts.iter())
            .map(|(code, state)| (code.clone(), (*state).to_owned()))
            .collect(),
        told,
        orders: journals()
            .flat_map(|j| j.orders.iter().cloned())
            .chain([first])
            .collect(),
    }
}
