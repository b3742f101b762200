//! The rules: each a function from a source file to its faults, and tested with samples that break it.

use crate::source::{code_of, first_words, functions, is_word, names, rooms_named, without_tests};
use crate::{ACTING, EXAMPLES_IN, FEATURES, FILE_LINES_MAX, FLOORS, FUNCTION_LINES_MAX, IMPURE};

/// A source file with its path from the root of the repository.
pub(crate) struct Source {
    pub(crate) path: String,
    pub(crate) text: String,
}

/// What is wrong, with its place.
pub(crate) type Faults = Vec<String>;

pub(crate) fn room_of(path: &str) -> Option<&str> {
    let first = path.strip_prefix("src/")?.split('/').next()?;
    Some(first.strip_suffix(".rs").unwrap_or(first)).filter(|room| floor_of(room).is_some())
}

pub(crate) fn floor_of(room: &str) -> Option<usize> {
    FLOORS.iter().position(|rooms| rooms.contains(&room))
}

/// Imports run one way.
pub(crate) fn directions(source: &Source) -> Faults {
    let Some(room) = room_of(&source.path) else {
        return Vec::new();
    };
    let code = code_of(&source.text);
    let mut others: Vec<String> = rooms_named(&code);
    let siblings = |other: &str| names(&code, &format!("mod {other}"));
    let by_super = FLOORS
        .iter()
        .flat_map(|rooms| rooms.iter())
        .filter(|other| {
            names(&code, &format!("super::{other}")) && **other != room && !siblings(other)
        });
    others.extend(by_super.map(|other| (*other).to_owned()));
    others.sort();
    others.dedup();
    let upwards = |other: &String| other != room && floor_of(other) >= floor_of(room);
    others
        .iter()
        .filter(|other| floor_of(other).is_some() && upwards(other))
        .map(|other| {
            format!(
                "{}: the room {room} must not know the room {other}",
                source.path
            )
        })
        .collect()
}

/// The database library and the tables are named where they belong.
pub(crate) fn database_library(source: &Source) -> Faults {
    let path = source.path.as_str();
    let allowed = path.starts_with("src/db/")
        || path == "src/base/sql.rs"
        || path.ends_with("/store.rs")
        || path.contains("/store/");
    if !path.starts_with("src/") || allowed || is_test_file(path) {
        return Vec::new();
    }
    let mut code = without_tests(&code_of(&source.text));
    if room_of(path) == Some("base") {
        // The ground floor's types carry two derives; nothing else of the library stands outside sql.rs.
        code = without_attributes(&code);
    }
    let mut faults = Vec::new();
    if names(&code, "diesel") {
        faults.push(format!("{path}: `diesel` belongs into a store file"));
    }
    if names(&code, "db::schema") || schema_in_group(&code) {
        faults.push(format!("{path}: `db::schema` belongs into a store file"));
    }
    faults
}

/// Whether `use crate::db::{…}` names the tables.
fn schema_in_group(code: &str) -> bool {
    code.match_indices("db::{").any(|(at, start)| {
        let group = first_words(&code[at + start.len()..]);
        group.iter().any(|part| part.trim().starts_with("schema"))
    })
}

pub(crate) fn without_attributes(code: &str) -> String {
    let mut kept = String::new();
    let mut rest = code;
    while let Some(at) = rest.find("#[") {
        kept.push_str(&rest[..at]);
        let mut depth = 0_usize;
        let end = rest[at..].char_indices().find_map(|(n, c)| {
            match c {
                '[' => depth += 1,
                ']' => depth -= 1,
                _ => {}
            }
            (c == ']' && depth == 0).then_some(at + n + 1)
        });
        rest = &rest[end.unwrap_or(rest.len())..];
    }
    kept + rest
}

pub(crate) fn is_test_file(path: &str) -> bool {
    path.ends_with("/tests.rs") || path.contains("/tests/")
}

/// Whether a feature room's file acts; every other one is pure.
pub(crate) fn acts(path: &str) -> bool {
    let usual = ["mod", "store", "ops", "routes", "worker"];
    let by_name = path.ends_with("_routes.rs")
        || path
            .split('/')
            .any(|part| usual.contains(&part.trim_end_matches(".rs")));
    let listed = ACTING
        .iter()
        .any(|entry| path == *entry || (entry.ends_with('/') && path.starts_with(entry)));
    by_name || listed || is_test_file(path)
}

/// Pure files know no input or output, no clock and no chance.
pub(crate) fn purity(source: &Source) -> Faults {
    let feature = room_of(&source.path).is_some_and(|room| FEATURES.contains(&room));
    if !feature || acts(&source.path) {
        return Vec::new();
    }
    let code = without_tests(&code_of(&source.text));
    IMPURE
        .iter()
        .filter(|word| names(&code, word))
        .map(|word| format!("{}: a pure file names `{word}`", source.path))
        .collect()
}

/// Every file says what it is for.
pub(crate) fn module_doc(source: &Source) -> Faults {
    let first = source.text.lines().next().unwrap_or_default();
    if first
        .strip_prefix("//!")
        .is_some_and(|doc| !doc.trim().is_empty())
    {
        return Vec::new();
    }
    vec![format!(
        "{}: the first line must say what the file is for (`//! …`)",
        source.path
    )]
}

/// Every public function of the pure files listed in [`EXAMPLES_IN`] has an example that runs.
pub(crate) fn examples(source: &Source) -> Faults {
    let path = source.path.as_str();
    let listed = EXAMPLES_IN.iter().any(|place| path.starts_with(place));
    if !listed || acts(path) {
        return Vec::new();
    }
    let lines: Vec<&str> = source.text.lines().collect();
    let code = without_tests(&code_of(&source.text));
    let public = code.lines().enumerate().filter_map(|(at, line)| {
        let line = line.trim_start().strip_prefix("pub ")?;
        let rest = line.strip_prefix("const ").unwrap_or(line);
        let name = rest.strip_prefix("fn ")?;
        Some((at, name.chars().take_while(|c| is_word(*c)).collect()))
    });
    public
        .filter(|(at, _): &(usize, String)| {
            !lines[..*at]
                .iter()
                .rev()
                .map(|line| line.trim_start())
                .take_while(|line| line.starts_with("///") || line.starts_with("#["))
                .any(|line| line.starts_with("/// ```"))
        })
        .map(|(at, name)| format!("{path}:{}: `{name}` has no example that runs", at + 1))
        .collect()
}

/// Files and functions that are too long, as what they are called in [`LONGER`] and how long they are.
pub(crate) fn lengths(source: &Source) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let lines = source.text.lines().count();
    if lines > FILE_LINES_MAX {
        found.push((
            source.path.clone(),
            format!("{lines} lines; at most {FILE_LINES_MAX}"),
        ));
    }
    for (name, line, lines) in functions(&code_of(&source.text)) {
        if lines > FUNCTION_LINES_MAX {
            let told = format!("{lines} lines from line {line}; at most {FUNCTION_LINES_MAX}");
            found.push((format!("{}::{name}", source.path), told));
        }
    }
    found
}

/// What is too long and has no reason, and reasons that nothing needs any more.
pub(crate) fn unexcused(too_long: &[(String, String)], longer: &[(&str, &str)]) -> Faults {
    let excused = |name: &str| {
        longer
            .iter()
            .any(|(known, reason)| *known == name && !reason.is_empty())
    };
    let faults = too_long.iter().filter(|(name, _)| !excused(name));
    let orphans = longer
        .iter()
        .filter(|(known, _)| !too_long.iter().any(|(name, _)| name == known));
    faults
        .map(|(name, told)| format!("{name}: {told}"))
        .chain(orphans.map(|(known, _)| format!("{known}: the exception is not needed any more")))
        .collect()
}

#[cfg(test)]
mod samples {
    use super::*;

    #[track_caller]
    fn check(rule: impl Fn(&Source) -> Faults, path: &str, text: &str, faults: usize) {
        let source = Source {
            path: path.to_owned(),
            text: text.to_owned(),
        };
        let found = rule(&source);
        assert_eq!(found.len(), faults, "{path}: {text}: {found:?}");
    }

    #[test]
    fn an_import_upwards_is_caught() {
        check(
            directions,
            "src/stock/ops.rs",
            "use crate::base::Error; use crate::db::Tx;",
            0,
        );
        check(
            directions,
            "src/stock/ops.rs",
            "use crate::casting::Plan;",
            1,
        );
        check(
            directions,
            "src/stock/ops.rs",
            "use crate::{base::{A, B}, reorder::{self, X}, cli};",
            2,
        );
        check(
            directions,
            "src/stock/ops.rs",
            "fn f() { crate::app::open() }",
            1,
        );
        check(
            directions,
            "src/stock/mod.rs",
            "use super::casting::Plan;",
            1,
        );
        check(
            directions,
            "src/purchasing/ops.rs",
            "use crate::casting::Plan;",
            1,
        );
        check(directions, "src/http/door.rs", "use crate::app::DOORS;", 1);
        check(directions, "src/app.rs", "use crate::cli::run;", 1);
        check(directions, "src/cli/serve.rs", "use crate::app::open;", 0);
        check(
            directions,
            "src/stock/ops.rs",
            "// as crate::casting does\n/// [`crate::casting`]",
            0,
        );
    }

    #[test]
    fn the_database_library_outside_a_store_is_caught() {
        check(
            database_library,
            "src/stock/ops.rs",
            "use crate::db::{Tx, schema::{lots, packs}};",
            1,
        );
        check(
            database_library,
            "src/base/openapi.rs",
            "use utoipa::openapi::schema::Schema;",
            0,
        );
        check(
            database_library,
            "src/stock/ops.rs",
            "use diesel::prelude::*;",
            1,
        );
        check(
            database_library,
            "src/stock/ops.rs",
            "use crate::db::schema::lots;",
            1,
        );
        check(
            database_library,
            "src/stock/store.rs",
            "use diesel::prelude::*;",
            0,
        );
        check(
            database_library,
            "src/stock/store/lots.rs",
            "use diesel::prelude::*;",
            0,
        );
        check(
            database_library,
            "src/stock/ops.rs",
            "#[cfg(test)] mod t { use diesel::a; }",
            0,
        );
        check(
            database_library,
            "src/base/code.rs",
            "#[derive(diesel::A)] #[diesel(b = c)] struct X;",
            0,
        );
        check(database_library, "src/base/code.rs", "use diesel::A;", 1);
        check(
            database_library,
            "src/stock/code.rs",
            "#[derive(diesel::A)] struct X;",
            1,
        );
    }

    #[test]
    fn an_impure_file_is_caught() {
        for word in IMPURE {
            check(purity, "src/casting/fill.rs", &format!("use {word};"), 1);
            check(purity, "src/casting/routes.rs", &format!("use {word};"), 0);
        }
        check(
            purity,
            "src/casting/fill.rs",
            "fn f(now: DateTime<Utc>) {}",
            0,
        );
        check(
            purity,
            "src/casting/fill.rs",
            "// the Clock\nlet x = \"diesel\";",
            0,
        );
        check(
            purity,
            "src/casting/store/rows.rs",
            "use diesel::prelude::*;",
            0,
        );
    }

    #[test]
    fn a_file_without_a_word_about_itself_is_caught() {
        check(module_doc, "src/a.rs", "//! What it is for.\nuse b;", 0);
        check(module_doc, "src/a.rs", "use b;\n//! Late.", 1);
        check(module_doc, "src/a.rs", "//!\nuse b;", 1);
        check(module_doc, "src/a.rs", "", 1);
    }

    #[test]
    fn a_public_function_without_an_example_is_caught() {
        let example = "/// What.\n///\n/// ```\n/// f();\n/// ```\n#[must_use]\n";
        let path = "src/casting/sums/a.rs";
        check(examples, path, &format!("{example}pub fn f() {{}}"), 0);
        check(examples, path, "/// What.\npub fn f() {}", 1);
        check(
            examples,
            path,
            &format!("{example}pub fn f() {{}}\n    /// What.\n    pub const fn g() {{}}"),
            1,
        );
        check(examples, path, "fn f() {}\npub(super) fn g() {}", 0);
        check(
            examples,
            path,
            "#[cfg(test)]\nmod tests {\n    pub fn f() {}\n}",
            0,
        );
        check(examples, "src/casting/store/a.rs", "pub fn f() {}", 0);
        check(examples, "src/stock/a.rs", "pub fn f() {}", 0);
    }

    #[test]
    fn what_is_too_long_is_caught_and_an_exception_needs_a_reason_and_a_use() {
        let source = Source {
            path: "src/a.rs".to_owned(),
            text: format!(
                "fn short() {{}}\nfn long(\n    a: [u8; 2],\n) -> Vec<u8> {{\n{}}}\n{}",
                "    if a { b(); }\n".repeat(97),
                "// x\n".repeat(600)
            ),
        };
        let found = lengths(&source);
        let names: Vec<&str> = found.iter().map(|(name, _)| name.as_str()).collect();
        assert_eq!(names, ["src/a.rs", "src/a.rs::long"]);
        let file = ("src/a.rs", "a table of data");
        assert_eq!(
            unexcused(&found, &[file, ("src/a.rs::long", "one match")]).len(),
            0
        );
        assert_eq!(unexcused(&found, &[file, ("src/a.rs::long", "")]).len(), 1);
        assert_eq!(unexcused(&found, &[file]).len(), 1);
        assert_eq!(unexcused(&[], &[file]).len(), 1);
    }

    #[test]
    fn a_function_that_just_fits_is_left_alone() {
        let text = format!("fn fits() {{\n{}}}\n", "    b();\n".repeat(98));
        let source = Source {
            path: "src/a.rs".to_owned(),
            text,
        };
        assert!(lengths(&source).is_empty());
    }
}
