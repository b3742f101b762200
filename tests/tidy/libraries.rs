//! Each library that heeltap names has a row in DEVELOPERS.md that says what for and under which licence, and no row is of
//! a library that went away.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use crate::rules::Faults;

const SECTIONS: &[&str] = &[
    "[dependencies]",
    "[dev-dependencies]",
    "[build-dependencies]",
];

/// The libraries that a manifest names.
fn named(manifest: &str) -> BTreeSet<&str> {
    let mut section = "";
    let mut found = BTreeSet::new();
    for line in manifest.lines().map(str::trim) {
        if line.starts_with('[') {
            section = line;
        } else if SECTIONS.contains(&section) && !line.starts_with('#') {
            found.extend(line.split_once('=').map(|(name, _)| name.trim()));
        }
    }
    found
}

/// The rows of the table of libraries: its cells, trimmed.
fn rows(text: &str) -> Vec<Vec<&str>> {
    let section = text
        .split("\n## ")
        .find(|part| part.starts_with("Libraries\n"));
    let lines = section.unwrap_or_default().lines();
    let rows = lines.filter(|line| line.starts_with("| `"));
    rows.map(|row| row.trim_matches('|').split('|').map(str::trim).collect())
        .collect()
}

fn faults(manifest: &str, text: &str) -> Faults {
    let (named, rows) = (named(manifest), rows(text));
    let of = |row: &Vec<&str>| row[0].trim_matches('`').to_owned();
    let told: Vec<String> = rows.iter().map(of).collect();
    let untold = named
        .iter()
        .filter(|name| !told.iter().any(|row| row == *name));
    let gone = told.iter().filter(|row| !named.contains(row.as_str()));
    let sorted = told.is_sorted_by(|row, next| row.replace('-', "_") < next.replace('-', "_"));
    let thin = rows
        .iter()
        .filter(|row| row.len() != 3 || row.iter().any(|cell| cell.is_empty()));
    untold
        .map(|name| format!("DEVELOPERS.md, Libraries: {name} has no row"))
        .chain(gone.map(|row| format!("DEVELOPERS.md, Libraries: {row} is no dependency")))
        .chain(thin.map(|row| {
            format!(
                "DEVELOPERS.md, Libraries: {} wants a reason and a licence",
                of(row)
            )
        }))
        .chain(
            (!sorted).then(|| "DEVELOPERS.md, Libraries: rows are in order, each once".to_owned()),
        )
        .collect()
}

#[test]
fn every_library_has_its_reason_and_its_licence() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let read = |name: &str| fs::read_to_string(root.join(name)).expect(name);
    let found = faults(&read("Cargo.toml"), &read("DEVELOPERS.md"));
    assert!(found.is_empty(), "\n{}\n", found.join("\n"));
    assert!(
        named(&read("Cargo.toml")).len() > 40,
        "the libraries were not found"
    );
}

#[test]
fn the_readme_names_the_least_version_of_rust() {
    let least = env!("CARGO_PKG_RUST_VERSION");
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let readme = fs::read_to_string(root.join("README.md")).expect("README.md");
    for said in [
        format!("(Rust {least} or later"),
        format!("FROM rust:{least}-"),
    ] {
        assert!(readme.contains(&said), "README.md says nothing of {said}");
    }
}

#[test]
fn samples_that_break_the_rule() {
    let manifest = "[package]\nname = \"x\"\n[dependencies]\nalpha = \"1\"\nbeta = { version = \"2\" }\n[dev-dependencies]\ngamma = \"1\"\n";
    let table = |rows: &str| {
        format!(
            "# Map\n\n## Libraries\n\n| library |\n| --- |\n{rows}\n## More\n| `delta` | x | y |\n"
        )
    };
    let good = "| `alpha` | a | MIT |\n| `beta` | b | MIT |\n| `gamma` | c | MIT |\n";
    let check = |rows: &str, expected: &str| {
        let found = faults(manifest, &table(rows))
            .join("; ")
            .replace("DEVELOPERS.md, Libraries: ", "");
        assert_eq!(found, expected);
    };
    check(good, "");
    check(
        &good.replace("| `beta` | b | MIT |\n", ""),
        "beta has no row",
    );
    check(
        &good.replace(
            "gamma` | c | MIT |\n",
            "gamma` | c | MIT |\n| `omega` | d | MIT |\n",
        ),
        "omega is no dependency",
    );
    check(
        &good.replace("| b |", "| |"),
        "beta wants a reason and a licence",
    );
    check(
        &format!("{good}| `alpha` | a | MIT |\n"),
        "rows are in order, each once",
    );
}
