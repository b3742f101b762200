//! Replays what the fuzz targets start from, and all that ever broke them, as ordinary tests.
//!
//! Invariants: the checks are those of the fuzz targets (`fuzz/checks/`), word for word; a target without a corpus fails,
//! and so does a corpus without a target. Deliberately absent: the search for new inputs (DEVELOPERS.md says how to run it).

#[path = "../../fuzz/checks/csv_reader.rs"]
mod csv_reader;
#[path = "../../fuzz/checks/decimals.rs"]
mod decimals;
#[path = "../../fuzz/checks/plan_input.rs"]
mod plan_input;

use std::collections::BTreeSet;
use std::fs;
use std::panic::catch_unwind;
use std::path::{Path, PathBuf};

/// Fewest inputs that a corpus begins with; fewer were lost.
const INPUTS_MIN: usize = 10;

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fuzz")
        .join(name)
}

fn entries(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths
}

#[track_caller]
fn replay(target: &str, check: fn(&[u8])) {
    let inputs = entries(&folder("corpus").join(target));
    let count = inputs.len();
    assert!(count >= INPUTS_MIN, "{target} has {count} inputs");
    let broken: Vec<_> = inputs
        .iter()
        .filter(|path| {
            let bytes = fs::read(path).unwrap();
            catch_unwind(|| check(&bytes)).is_err()
        })
        .collect();
    assert!(broken.is_empty(), "{target} breaks at {broken:#?}");
}

#[test]
fn files_of_purchases_and_of_rates() {
    replay("csv_reader", csv_reader::check);
}

#[test]
fn decimals_and_words() {
    replay("decimals", decimals::check);
}

#[test]
fn plans() {
    replay("plan_input", plan_input::check);
}

#[test]
fn every_target_has_a_check_and_a_corpus() {
    let stems = |name: &str| -> BTreeSet<String> {
        let paths = entries(&folder(name)).into_iter();
        let stem = |path: PathBuf| path.file_stem().unwrap().to_str().unwrap().to_owned();
        paths.map(stem).collect()
    };
    let targets = stems("fuzz_targets");
    assert_eq!(targets.len(), 3, "a new target is replayed above");
    assert_eq!(targets, stems("checks"));
    assert_eq!(targets, stems("corpus"));
}

/// A check that looks at nothing would be as green as one that finds nothing.
#[test]
fn each_check_reaches_what_it_is_for() {
    let table = include_bytes!("../../fuzz/corpus/csv_reader/purchases.csv");
    let format = heeltap::purchasing::csv_file::FileFormat::default();
    let context = heeltap::purchasing::row::ReadContext {
        decimal: heeltap::purchasing::number::DecimalMark::Point,
        today: "2026-03-04".parse().unwrap(),
    };
    let rows = heeltap::purchasing::row::read_purchases(table, &format, &context).unwrap();
    assert!(
        rows.len() > 3 && rows.iter().all(|row| row.row.is_ok()),
        "{rows:?}"
    );
    let planned = include_bytes!("../../fuzz/corpus/plan_input/in-stock.json");
    let plan = plan_input::planned(planned).expect("a plan");
    assert!(
        plan.picks.len() > 5 && plan.shortages.is_empty(),
        "{plan:?}"
    );
    assert!(plan.cost.total.is_positive());
}
