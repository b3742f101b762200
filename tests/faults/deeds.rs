//! What a client asks for, and what it does when it is done.

use serde_json::{Value, json};

use crate::chance::Chance;

/// What a request does to the books.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Effect {
    /// A cast is booked; the answer says which.
    Book,
    /// A cast of this client is in another state.
    Step { cast: String, to: &'static str },
    /// There is a spill, a count or a treatment with these words.
    Told { words: String },
    /// There is an order of this number, received.
    Import { order: String },
    /// A pack is held back or let go, which others may change again.
    Other,
}

/// A request that may be sent again: its key makes it happen once.
#[derive(Debug, Clone)]
pub(crate) struct Deed {
    pub(crate) key: String,
    pub(crate) path: String,
    pub(crate) body: Body,
    pub(crate) effect: Effect,
}

/// What is sent.
#[derive(Debug, Clone)]
pub(crate) enum Body {
    Json(Value),
    Csv(String),
}

/// What the words of a spill, a count or a treatment begin with.
pub(crate) const TOLD: &str = "told by ";

/// The columns of a purchase file.
pub(crate) const COLUMNS: &str = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on";

/// One line of a purchase file that has arrived.
pub(crate) fn line(order: &str, no: u32, day: &str, goods: &str) -> String {
    format!("{order},{no},Test Supply,{day},{day},{goods},EUR,,\n")
}

/// A random deed. `casts` are this client's casts with their states, `packs` the ids of packs at hand.
pub(crate) fn choose(
    chance: &mut Chance,
    key: String,
    day: &str,
    casts: &[(String, &'static str)],
    packs: u64,
) -> Deed {
    let some_pack = 1 + chance.below(packs);
    let last = |state: &str| {
        let mut of_state = casts.iter().rev().filter(|(_, has)| *has == state);
        of_state.next().map(|(code, _)| code.clone())
    };
    let told = || format!("{TOLD}{key}");
    let step = |verb: &str, cast: String, to: &'static str, body: Value| {
        (
            format!("/v1/casts/{cast}/{verb}"),
            body,
            Effect::Step { cast, to },
        )
    };
    let book = |chance: &mut Chance| {
        let body = json!({"recipe": "chip", "containers": 1 + chance.below(2), "cast_on": day,
            "allow_short": chance.below(4) == 0, "take_from_later": chance.below(4) == 0, "allow_mixed_kits": chance.below(2) == 0});
        ("/v1/casts".to_owned(), body, Effect::Book)
    };
    let (path, body, effect) = match (
        chance.below(20),
        last("booked"),
        last("poured"),
        last("demolded"),
    ) {
        (0..6, Some(cast), _, _) => {
            let pour = json!({"poured_on": day, "recount": true,
                "batches": [{"base_g": "40.5", "curing_agent_g": "4.05", "residue_g": "2.5"}]});
            step("pour", cast, "poured", pour)
        }
        (6, Some(cast), _, _) => step("cancel", cast, "cancelled", json!({})),
        (7..10, _, Some(cast), _) => step(
            "demold",
            cast,
            "demolded",
            json!({"demolded_on": day, "good": 3}),
        ),
        (10, _, Some(cast), _) => step("undo", cast, "booked", json!({})),
        (11, _, _, Some(cast)) => step("undo", cast, "poured", json!({})),
        (12, ..) => {
            let words = told();
            let body = json!({"quantity": "1", "reason": words});
            (
                format!("/v1/packs/{some_pack}/spill"),
                body,
                Effect::Told { words },
            )
        }
        (13, ..) => {
            let words = told();
            let body = json!({"on_hand": (20 + chance.below(900)).to_string(), "reason": words});
            (
                format!("/v1/packs/{some_pack}/count"),
                body,
                Effect::Told { words },
            )
        }
        (14, ..) => (
            format!("/v1/packs/{some_pack}/hold"),
            json!({"reason": "cloudy"}),
            Effect::Other,
        ),
        (15, ..) => (
            format!("/v1/packs/{some_pack}/release"),
            json!({}),
            Effect::Other,
        ),
        (16, ..) => {
            let words = told();
            let body = json!({"treated_on": day, "release_agent": "vial", "vials": 1, "recount": true, "molds": [{"mold": "mold"}], "note": words});
            ("/v1/treatments".to_owned(), body, Effect::Told { words })
        }
        (17, ..) => return import(key, day, chance),
        _ => book(chance),
    };
    Deed {
        key,
        path,
        body: Body::Json(body),
        effect,
    }
}

/// A delivery of both parts of a kit, as a file.
fn import(key: String, day: &str, chance: &mut Chance) -> Deed {
    let order = format!("O-{key}");
    let goods = format!("kit,K-{key},1,,kit,{}", 20 + chance.below(80));
    let file = format!("{COLUMNS}\n{}", line(&order, 1, day, &goods));
    Deed {
        key,
        path: "/v1/purchase-imports".to_owned(),
        body: Body::Csv(file),
        effect: Effect::Import { order },
    }
}
