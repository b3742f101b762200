//! Keeps the house in order: which room may know which, where the database library may be named, which files are pure,
//! that every file says what it is for, where every function has an example, how long files and functions may be, and that
//! each library has a reason.
//!
//! Invariants: each rule is a function from source text to faults, and is itself tested with a sample that breaks it;
//! an exception has a reason, and one that is no longer needed is a fault. Deliberately absent: what the compiler and
//! clippy already see.

mod libraries;
mod rules;
mod source;

use std::fs;
use std::path::{Path, PathBuf};

use rules::{
    Faults, Source, database_library, directions, examples, lengths, module_doc, purity, unexcused,
};
use source::schemas;

/// The rooms from the ground up. A room may know those of the rows before its own.
const FLOORS: &[&[&str]] = &[
    &["base"],
    &["db"],
    &["http"],
    &["catalogue"],
    &["stock"],
    &["purchasing", "casting"],
    &["costing", "reorder"],
    &["notify", "pages"],
    &["app"],
    &["cli"],
];

/// The rooms with a pure core.
const FEATURES: &[&str] = &[
    "catalogue",
    "stock",
    "purchasing",
    "casting",
    "costing",
    "reorder",
    "notify",
    "pages",
];

/// Where every public function of a pure file has an example that runs.
const EXAMPLES_IN: &[&str] = &[
    "src/casting/cost.rs",
    "src/casting/life/",
    "src/casting/planning/",
    "src/casting/sums/",
    "src/casting/variance/",
    "src/costing/residue/",
];

/// Files of the feature rooms that act (load, decide, append), besides those named `mod`, `store`, `ops`, `routes`,
/// `…_routes` or `worker`. A folder stands for its files. Every other file is pure.
const ACTING: &[&str] = &[
    "src/casting/bench/show.rs",
    "src/casting/life/book.rs",
    "src/casting/life/booked.rs",
    "src/casting/life/coat_needs.rs",
    "src/casting/life/coating.rs",
    "src/casting/planning/charging_load.rs",
    "src/casting/planning/coats_ahead.rs",
    "src/casting/planning/correct.rs",
    "src/casting/planning/course_load.rs",
    "src/casting/planning/day_load.rs",
    "src/casting/life/demold.rs",
    "src/casting/life/inspect.rs",
    "src/casting/life/learning.rs",
    "src/casting/planning/load.rs",
    "src/casting/planning/what_if_load.rs",
    "src/casting/life/pool_ops.rs",
    "src/casting/life/posting.rs",
    "src/casting/life/pour.rs",
    "src/casting/life/recharge.rs",
    "src/casting/life/reschedule.rs",
    "src/casting/life/standing.rs",
    "src/casting/life/treat.rs",
    "src/casting/life/treatment_view.rs",
    "src/casting/life/undo.rs",
    "src/casting/life/view.rs",
    "src/casting/trace/show.rs",
    "src/casting/variance/show.rs",
    "src/catalogue/change.rs",
    "src/catalogue/create.rs",
    "src/catalogue/find.rs",
    "src/catalogue/naming.rs",
    "src/catalogue/retire.rs",
    "src/costing/cast_money.rs",
    "src/costing/routes/",
    "src/notify/mail/mailer.rs",
    "src/notify/mail/send.rs",
    "src/notify/webhooks/counters.rs",
    "src/notify/webhooks/send.rs",
    "src/pages/form.rs",
    "src/pages/frame.rs",
    "src/pages/receive/upload.rs",
    "src/pages/refusal.rs",
    "src/purchasing/rates_fetch/ask.rs",
    "src/purchasing/rates_fetch/fetcher.rs",
    "src/purchasing/rates_fetch/counters.rs",
    "src/purchasing/rates_fetch/keep.rs",
    "src/reorder/load.rs",
    "src/stock/as_of.rs",
    "src/stock/counting.rs",
    "src/stock/counts_due.rs",
    "src/stock/events.rs",
    "src/stock/expiries.rs",
    "src/stock/grasp.rs",
    "src/stock/holdings.rs",
    "src/stock/load.rs",
    "src/stock/losing.rs",
    "src/stock/on_order.rs",
    "src/stock/post.rs",
    "src/stock/price_shares.rs",
    "src/stock/promises.rs",
    "src/stock/receive.rs",
    "src/stock/reversing.rs",
    "src/stock/settle.rs",
    "src/stock/trace.rs",
    "src/stock/verify.rs",
    "src/stock/views.rs",
    "src/stock/warnings.rs",
];

/// What a pure file must not know: input and output, the clock, the source of randomness, the process.
const IMPURE: &[&str] = &[
    "actix_web",
    "diesel",
    "crate::db",
    "crate::http",
    "std::env",
    "std::fs",
    "std::net",
    "std::process",
    "std::thread",
    "std::time::Instant",
    "SystemTime",
    "SystemClock",
    "Clock",
    "Entropy",
    "OsEntropy",
    "tokio",
    "tracing",
];

const FILE_LINES_MAX: usize = 700;
const FUNCTION_LINES_MAX: usize = 100;

/// Files, or functions as `path::name`, that may be longer, each with its reason.
const LONGER: &[(&str, &str)] = &[];

fn repository() -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = Vec::new();
    for folder in [
        "src",
        "tests",
        "benches",
        "fuzz/checks",
        "fuzz/fuzz_targets",
    ] {
        collect(&root.join(folder), &mut files);
    }
    files.sort();
    files
        .into_iter()
        .map(|file| Source {
            text: fs::read_to_string(&file).expect("a source file"),
            path: file
                .strip_prefix(root)
                .expect("below the root")
                .display()
                .to_string(),
        })
        .collect()
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for entry in entries {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            collect(&path, files);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            files.push(path);
        }
    }
}

#[track_caller]
fn holds(rule: impl Fn(&Source) -> Faults) {
    let sources = repository();
    assert!(sources.len() > 50, "the sources were not found");
    let faults: Faults = sources.iter().flat_map(rule).collect();
    assert!(faults.is_empty(), "\n{}\n", faults.join("\n"));
}

#[test]
fn rooms_know_only_those_below() {
    holds(directions);
}

#[test]
fn the_database_library_is_named_in_stores_only() {
    holds(database_library);
}

#[test]
fn pure_files_are_pure() {
    holds(purity);
}

#[test]
fn every_file_says_what_it_is_for() {
    holds(module_doc);
}

#[test]
fn public_functions_have_examples_that_run() {
    holds(examples);
}

#[test]
fn files_and_functions_are_short() {
    let too_long: Vec<_> = repository().iter().flat_map(lengths).collect();
    let faults = unexcused(&too_long, LONGER);
    assert!(faults.is_empty(), "\n{}\n", faults.join("\n"));
}

#[test]
fn every_acting_file_exists() {
    let sources = repository();
    for entry in ACTING {
        let found = sources.iter().any(|source| source.path.starts_with(entry));
        assert!(found, "{entry} is listed as acting and does not exist");
    }
}

/// The document knows a schema by its type's name alone: of two of one name, one would be described as the other.
#[test]
fn no_two_schemas_have_one_name() {
    let mut known = std::collections::HashMap::new();
    for source in repository() {
        for name in schemas(&source.text) {
            if let Some(other) = known.insert(name.clone(), source.path.clone()) {
                panic!("{name} is a schema of {other} and of {}", source.path);
            }
        }
    }
    assert!(known.len() > 100, "{} schemas", known.len());
}

/// Cargo runs a folder of tests by its `main.rs`; without one, its tests would never be run and nobody would notice.
#[test]
fn every_folder_of_tests_is_run() {
    let tests = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    for entry in fs::read_dir(tests).expect("the tests") {
        let path = entry.expect("an entry").path();
        let run = !path.is_dir() || path.join("main.rs").is_file();
        assert!(run, "{} has no main.rs", path.display());
    }
}
