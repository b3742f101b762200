//! A process that is killed under load loses nothing it had answered, and leaves nothing half done.

use std::thread;
use std::time::{Duration, Instant};

use crate::books::{answered, read};
use crate::chance::{Chance, seed};
use crate::deeds::Effect;
use crate::setting;
use crate::support::{Client, Heeltap, TestDatabase};
use crate::worker::{Worker, lab_open};

const CLIENTS: u64 = 6;

#[test]
fn a_killed_process_keeps_what_it_answered() {
    let (database, seed) = (TestDatabase::new(), seed());
    let kills = setting("HEELTAP_KILLS", 10);
    let mut chance = Chance::new(seed, 1_000);
    let first = Heeltap::serve(&database);
    let (token, address) = (first.token.clone(), first.address);
    lab_open(&Client::new(address, token.clone()));
    let mut serving = Some(first);
    let mut workers: Vec<Worker> = (0..CLIENTS)
        .map(|place| Worker::new(Client::new(address, token.clone()), seed, place))
        .collect();
    let (mut in_flight, mut whole, mut restarts) = (0, 0, Vec::new());
    for _ in 0..kills {
        let moment = Duration::from_millis(20 + chance.below(780));
        thread::scope(|scope| {
            for worker in &mut workers {
                scope.spawn(|| while worker.act() {});
            }
            thread::sleep(moment);
            // SIGKILL: no handler runs, nothing is finished.
            drop(serving.take());
        });
        let began = Instant::now();
        let service = Heeltap::serve(&database);
        restarts.push(began.elapsed());
        assert_eq!(service.token, None, "the token is printed once");
        for worker in &mut workers {
            worker.client = Client::new(service.address, token.clone());
        }
        serving = Some(service);
        in_flight += workers
            .iter()
            .filter(|worker| worker.pending.is_some())
            .count();
        whole += held(&workers);
    }
    // What was never answered is asked again, and happens once.
    for worker in &mut workers {
        assert!(worker.pending.is_none() || worker.act(), "not answered");
    }
    assert_eq!(read(&workers[0].client), answered(&workers));
    restarts.sort_unstable();
    let answers: u64 = workers
        .iter()
        .flat_map(|worker| worker.journal.statuses.values())
        .sum();
    println!(
        "kills: {kills} kills, {answers} answers, {in_flight} requests in flight at a kill, of these {whole} found done; restart {:?} (median), {:?} (longest)",
        restarts
            .get(restarts.len() / 2)
            .copied()
            .unwrap_or_default(),
        restarts.last().copied().unwrap_or_default()
    );
}

/// Holds the books against the answers: they differ only by what is pending, and that is wholly there or not at all.
/// Returns how much of it is there.
fn held(workers: &[Worker]) -> usize {
    let (found, told) = (read(&workers[0].client), answered(workers));
    let pending = || workers.iter().filter_map(|worker| worker.pending.as_ref());
    let mut there = 0;
    let bookings = pending().filter(|deed| deed.effect == Effect::Book).count();
    let unknown = found
        .casts
        .keys()
        .filter(|code| !told.casts.contains_key(*code))
        .count();
    assert!(unknown <= bookings, "casts that nobody booked: {found:?}");
    there += unknown;
    for (code, state) in &told.casts {
        let now = found
            .casts
            .get(code)
            .unwrap_or_else(|| panic!("cast {code} is lost"));
        let step = pending().find_map(|deed| match &deed.effect {
            Effect::Step { cast, to } if cast == code => Some(*to),
            _ => None,
        });
        assert!(
            now == state || Some(now.as_str()) == step,
            "cast {code} is {now}, not {state}"
        );
        there += usize::from(now != state);
    }
    for known in &told.told {
        assert!(found.told.contains(known), "lost: {known}");
    }
    for known in found.told.iter().filter(|known| !told.told.contains(known)) {
        let asked =
            pending().any(|deed| matches!(&deed.effect, Effect::Told { words } if words == known));
        assert!(asked, "nobody told of: {known}");
        there += 1;
    }
    assert!(
        told.orders.is_subset(&found.orders),
        "an order is lost: {found:?}"
    );
    for order in found.orders.difference(&told.orders) {
        let asked = pending()
            .any(|deed| matches!(&deed.effect, Effect::Import { order: of } if of == order));
        assert!(asked, "nobody sent: {order}");
        there += 1;
    }
    there
}
