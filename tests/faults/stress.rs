//! Sixteen clients at few lots: nothing oversold, no update lost, no deadlock that reaches a client, and every answered
//! write in the books. On PostgreSQL the clients are spread over two processes.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use crate::books::{answered, never_oversold, read};
use crate::chance::seed;
use crate::setting;
use crate::support::{Client, Heeltap, TestDatabase};
use crate::worker::{Worker, lab_open};

const CLIENTS: u64 = 16;

#[test]
fn sixteen_clients_at_few_lots() {
    let (database, seed) = (TestDatabase::new(), seed());
    let each = setting("HEELTAP_STRESS_REQUESTS", 480) / CLIENTS;
    let mut services = vec![Heeltap::serve(&database)];
    let token = services[0].token.clone();
    if !database.url().is_sqlite() {
        services.push(Heeltap::serve(&database));
    }
    let client = |place: u64| {
        let service = &services[usize::try_from(place).expect("a place") % services.len()];
        Client::new(service.address, token.clone())
    };
    lab_open(&client(0));
    let mut workers: Vec<Worker> = (0..CLIENTS)
        .map(|place| Worker::new(client(place), seed, place))
        .collect();
    let (started, over, watcher) = (Instant::now(), AtomicBool::new(false), client(1));
    thread::scope(|scope| {
        scope.spawn(|| {
            while !over.load(Ordering::Relaxed) {
                let lots = watcher.get("/v1/lots?limit=1000").expect(200).json();
                lots["items"]
                    .as_array()
                    .expect("lots")
                    .iter()
                    .for_each(never_oversold);
                thread::sleep(Duration::from_millis(50));
            }
        });
        let running: Vec<_> = workers
            .iter_mut()
            .map(|worker| {
                scope.spawn(move || {
                    for _ in 0..each {
                        assert!(worker.act(), "not answered: {:?}", worker.pending);
                    }
                })
            })
            .collect();
        let outcomes: Vec<_> = running.into_iter().map(|one| one.join()).collect();
        over.store(true, Ordering::Relaxed);
        assert!(outcomes.iter().all(Result::is_ok), "a client gave up");
    });
    let seconds = started.elapsed().as_secs_f64();
    assert_eq!(read(&watcher), answered(&workers));
    let mut statuses: BTreeMap<u16, u64> = BTreeMap::new();
    for (status, count) in workers.iter().flat_map(|worker| &worker.journal.statuses) {
        *statuses.entry(*status).or_default() += count;
    }
    let longest = workers.iter().map(|worker| worker.journal.longest).max();
    println!(
        "stress: {} processes, {CLIENTS} clients, {} writes in {seconds:.1} s ({:.0}/s), by status {statuses:?}, longest wait {:?}",
        services.len(),
        CLIENTS * each,
        f64::from(u32::try_from(CLIENTS * each).unwrap_or(u32::MAX)) / seconds,
        longest.unwrap_or_default()
    );
}
