//! A client that does random deeds and keeps what it was answered.

use std::collections::{BTreeMap, BTreeSet};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::chance::Chance;
use crate::deeds::{Body, COLUMNS, Deed, Effect, choose, line};
use crate::support::{Client, lab};

/// What a client was answered.
#[derive(Debug, Clone, Default)]
pub(crate) struct Journal {
    /// Its casts in the order of booking, with their states.
    pub(crate) casts: Vec<(String, &'static str)>,
    pub(crate) told: BTreeSet<String>,
    pub(crate) orders: BTreeSet<String>,
    pub(crate) statuses: BTreeMap<u16, u64>,
    pub(crate) longest: Duration,
}

/// One of several clients.
pub(crate) struct Worker {
    pub(crate) client: Client,
    pub(crate) journal: Journal,
    /// A deed that was sent and not answered.
    pub(crate) pending: Option<Deed>,
    chance: Chance,
    place: u64,
    done: u64,
    day: String,
}

/// Packs that the lab begins with; ids from 1.
const PACKS: u64 = 8;

/// The day by the service's clock, which these tests do not hold in hand.
pub(crate) fn today() -> String {
    use heeltap::base::{Clock, SystemClock};
    SystemClock.now().date_naive().to_string()
}

/// A lab of few lots: what one recipe needs, in packs with the ids 1 to 8.
pub(crate) fn lab_open(client: &Client) {
    lab::catalogue(client);
    let kit = json!({"code": "kit", "name": "Kit", "elastomer": "el", "base_g": "1000", "curing_agent_g": "100"});
    client.post("/v1/kits", kit).expect(201);
    let day = today();
    let goods = [
        "kit,K1,1,,kit,100",
        "kit,K2,1,,kit,110",
        "vial,V1,1,20,each,60",
        "tray,T1,1,2000,each,200",
        "cup,C1,1,2000,each,100",
        "tape,P1,1,3000,m,300",
        "stirrer,S1,1,2000,each,50",
    ];
    let mut file = format!("{COLUMNS}\n");
    for (no, goods) in (1..).zip(goods) {
        file += &line("O-first", no, &day, goods);
    }
    client
        .post_text("/v1/purchase-imports", "text/csv", &file)
        .expect(201);
}

impl Worker {
    pub(crate) fn new(client: Client, seed: u64, place: u64) -> Self {
        Self {
            client,
            journal: Journal::default(),
            pending: None,
            chance: Chance::new(seed, place),
            place,
            done: 0,
            day: today(),
        }
    }

    /// Does one deed: the one that was not answered, or another. Whether it was answered.
    pub(crate) fn act(&mut self) -> bool {
        let deed = self.pending.take().unwrap_or_else(|| {
            self.done += 1;
            let key = format!("{}-{}", self.place, self.done);
            choose(&mut self.chance, key, &self.day, &self.journal.casts, PACKS)
        });
        let asked = Instant::now();
        match self.send(&deed) {
            Ok((status, body)) => {
                self.journal.longest = self.journal.longest.max(asked.elapsed());
                self.answered(&deed, status, &body);
                true
            }
            Err(_) => {
                self.pending = Some(deed);
                false
            }
        }
    }

    fn send(&self, deed: &Deed) -> Result<(u16, Value), reqwest::Error> {
        let request = self
            .client
            .request("POST", &deed.path)
            .header("Idempotency-Key", &deed.key);
        let request = match &deed.body {
            Body::Json(body) => request.json(body),
            Body::Csv(file) => request
                .header("Content-Type", "text/csv")
                .body(file.clone()),
        };
        let answer = request.send()?;
        let status = answer.status().as_u16();
        let text = answer.text()?;
        Ok((status, serde_json::from_str(&text).unwrap_or_default()))
    }

    fn answered(&mut self, deed: &Deed, status: u16, body: &Value) {
        *self.journal.statuses.entry(status).or_default() += 1;
        assert!(
            matches!(status, 200 | 201 | 409 | 422),
            "{status} for {deed:?}: {body}"
        );
        if status >= 400 {
            return;
        }
        let journal = &mut self.journal;
        match &deed.effect {
            Effect::Book => {
                let code = body["code"].as_str().expect("a code").to_owned();
                journal.casts.push((code, "booked"));
            }
            Effect::Step { cast, to } => {
                let known = journal.casts.iter_mut().find(|(code, _)| code == cast);
                known.expect("a cast of its own").1 = to;
            }
            Effect::Told { words } => {
                journal.told.insert(words.clone());
            }
            Effect::Import { order } => {
                journal.orders.insert(order.clone());
            }
            Effect::Other => {}
        }
    }
}
