//! A process that serves for a long time: readers and writers mixed, and memory that does not grow with what was served.
//!
//! A short run shows that the check works; what memory does over hours shows in the long one.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use crate::books::{answered, read};
use crate::chance::seed;
use crate::setting;
use crate::support::{Client, Heeltap, TestDatabase, send};
use crate::worker::{Worker, lab_open};

/// Clients that write.
const WRITERS: u64 = 2;

/// What is read, in turn: lists, sums, plans, reports as JSON and as files, and what the process says of itself.
const READS: &[&str] = &[
    "/v1/lots?limit=1000",
    "/v1/lots/1",
    "/v1/lots/1/movements?limit=1000",
    "/v1/casts?limit=100",
    "/v1/reorder",
    "/v1/warnings",
    "/v1/reports/replica-cost",
    "/v1/reports/replica-cost?group_by=cast&format=csv",
    "/v1/reports/waste?format=xlsx",
    "/v1/reports/stock-value",
    "/metrics",
    "/openapi.json",
    "/v1/lots/999999",
    "/no/such/place",
];

/// What the process holds in memory, in kB.
fn resident_kb(process: &Heeltap) -> u64 {
    let path = format!("/proc/{}/status", process.id());
    let status = std::fs::read_to_string(path).expect("Linux");
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    let kb = line.and_then(|line| line.split_whitespace().next());
    kb.and_then(|kb| kb.parse().ok()).expect("a number")
}

fn median(values: &[u64]) -> u64 {
    let mut sorted = values.to_vec();
    sorted.sort_unstable();
    sorted[sorted.len() / 2]
}

#[test]
fn memory_stays_flat_under_mixed_reads_and_writes() {
    let (database, seed) = (TestDatabase::new(), seed());
    let lasts = Duration::from_secs(setting("HEELTAP_SOAK_S", 20));
    let process = Heeltap::serve(&database);
    let client = Client::new(process.address, process.token.clone());
    lab_open(&client);
    let mut writers: Vec<Worker> = (0..WRITERS)
        .map(|place| Worker::new(client.clone(), seed, place))
        .collect();
    let (over, reads, mut held_kb) = (AtomicBool::new(false), AtomicU64::new(0), Vec::new());
    thread::scope(|scope| {
        let writing: Vec<_> = writers
            .iter_mut()
            .map(|writer| {
                scope.spawn(|| {
                    while !over.load(Ordering::Relaxed) {
                        assert!(writer.act(), "not answered: {:?}", writer.pending);
                    }
                })
            })
            .collect();
        let reading = scope.spawn(|| {
            for path in READS.iter().cycle() {
                if over.load(Ordering::Relaxed) {
                    return;
                }
                let status = send(client.request("GET", path)).status;
                assert!(matches!(status, 200 | 404), "{path}: {status}");
                reads.fetch_add(1, Ordering::Relaxed);
            }
        });
        let started = Instant::now();
        while started.elapsed() < lasts {
            thread::sleep(lasts / 100);
            held_kb.push(resident_kb(&process));
        }
        over.store(true, Ordering::Relaxed);
        assert!(reading.join().is_ok(), "the reader gave up");
        let outcomes: Vec<_> = writing.into_iter().map(|one| one.join()).collect();
        assert!(outcomes.iter().all(Result::is_ok), "a writer gave up");
    });
    assert_eq!(read(&client), answered(&writers));
    let writes: u64 = writers
        .iter()
        .flat_map(|w| w.journal.statuses.values())
        .sum();
    // The first third fills what is kept for reuse: threads, connections, caches of pages.
    let thirds: Vec<u64> = held_kb
        .chunks(held_kb.len().div_ceil(3))
        .map(median)
        .collect();
    println!(
        "soak: {} s, {writes} writes, {} reads, resident by thirds {thirds:?} kB",
        lasts.as_secs(),
        reads.load(Ordering::Relaxed)
    );
    // Answers grow with the books that the run itself writes, and with them the largest that was ever held.
    let allowed = thirds[1] + thirds[1] / 5 + 8_192;
    assert!(thirds[2] <= allowed, "it grows: {thirds:?} kB");
}
