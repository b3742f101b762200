//! Two at once: whatever the order, the books stay right.

use std::sync::Barrier;

use serde_json::json;

use super::{create, lab, mold, recipe};
use crate::base::{Error, RefusalKind};
use crate::catalogue::{
    MaterialBody, MoldBody, RecipeBody, entry_change, entry_retire, material_by_code,
};
use crate::db::fixture::{on_database, write};
use crate::http::{IfMatch, MergePatch};

const ROUNDS: usize = 8;

/// Runs two operations at the same time and gives both outcomes.
fn race<A: Send, B: Send>(
    one: impl FnOnce() -> A + Send,
    other: impl FnOnce() -> B + Send,
) -> (A, B) {
    let start = Barrier::new(2);
    std::thread::scope(|scope| {
        let first = scope.spawn(|| {
            start.wait();
            one()
        });
        start.wait();
        let second = other();
        (first.join().expect("the first to end"), second)
    })
}

fn refused_as<T>(outcome: &Result<T, Error>, kind: RefusalKind) -> bool {
    matches!(outcome, Err(Error::Refused(refusal)) if refusal.kind == kind)
}

#[test]
fn a_mold_is_either_named_or_retired() {
    on_database(|db| {
        lab(&db);
        for round in 0..ROUNDS {
            let code = format!("mold-{round}");
            create::<MoldBody>(&db, mold(json!({"code": code}))).unwrap();
            let naming = recipe(json!({"code": format!("chip-{round}"), "mold": code}));
            let (named, retired) = race(
                || create::<RecipeBody>(&db, naming),
                || write(&db, |tx| entry_retire::<MoldBody>(tx, &code)),
            );
            let named_first = named.is_ok() && refused_as(&retired, RefusalKind::InUse);
            let retired_first = retired.is_ok() && refused_as(&named, RefusalKind::Retired);
            assert!(named_first || retired_first, "{named:?} {retired:?}");
        }
    });
}

#[test]
fn a_code_is_given_once() {
    on_database(|db| {
        for round in 0..ROUNDS {
            let document =
                mold(json!({"code": format!("mold-{round}"), "cost": "10", "rated_casts": 5}));
            let (one, other) = race(
                || create::<MoldBody>(&db, document.clone()),
                || create::<MoldBody>(&db, document.clone()),
            );
            let taken = |outcome| refused_as(outcome, RefusalKind::AlreadyExists);
            assert!(one.is_ok() != other.is_ok(), "{one:?} {other:?}");
            assert!(taken(&one) || taken(&other), "{one:?} {other:?}");
        }
    });
}

#[test]
fn of_two_changes_of_one_version_one_is_kept() {
    on_database(|db| {
        lab(&db);
        for version in 1..=i64::try_from(ROUNDS).expect("a version") {
            let change = |name: &str| {
                let mut members = serde_json::Map::new();
                members.insert("name".into(), name.into());
                write(&db, |tx| {
                    let if_match = IfMatch::of(Some(version));
                    entry_change::<MaterialBody>(tx, "base", MergePatch::new(members), &if_match)
                })
            };
            let (one, other) = race(|| change("one"), || change("other"));
            assert!(one.is_ok() != other.is_ok(), "{one:?} {other:?}");
            let found = db.read(|conn| material_by_code(conn, "base")).unwrap();
            assert_eq!(found.version, version + 1);
            assert_eq!(found.name, if one.is_ok() { "one" } else { "other" });
        }
    });
}
