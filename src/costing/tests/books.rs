//! Books for the tests: grants, recipes and casts with charges and costs, written straight into the tables. Part of the
//! tests only: the library's unit tests and the API's tests both include this file.

use chrono::NaiveDate;
use diesel::prelude::*;
use heeltap::db::AnyConnection;
use heeltap::db::schema::{cast_charges, cast_costs, casts, catalogue_entries};

/// A cast to be written.
#[derive(Debug, Clone, Default)]
pub(crate) struct Cast<'a> {
    /// Its code.
    pub(crate) code: &'a str,
    /// Its recipe's id.
    pub(crate) recipe_id: i64,
    /// The day it was poured.
    pub(crate) poured_on: &'a str,
    /// The day it was demoulded, with good and rejected chips.
    pub(crate) demolded: Option<(&'a str, i64, i64)>,
    /// Grant and share, in millionths of a per cent.
    pub(crate) charges: &'a [(i64, i64)],
    /// Grant, component, amount in millionths.
    pub(crate) costs: &'a [(Option<i64>, &'a str, i64)],
}

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

/// Writes a catalogue entry: its id.
pub(crate) fn entry(conn: &mut AnyConnection, noun: &str, code: &str, name: &str) -> i64 {
    let now = day("2025-01-01").and_hms_opt(9, 0, 0).expect("an hour");
    diesel::insert_into(catalogue_entries::table)
        .values((
            catalogue_entries::noun.eq(noun),
            catalogue_entries::namespace.eq(noun),
            catalogue_entries::code.eq(code),
            catalogue_entries::name.eq(name),
            catalogue_entries::body.eq("{}"),
            catalogue_entries::created_at.eq(now),
            catalogue_entries::updated_at.eq(now),
        ))
        .returning(catalogue_entries::id)
        .get_result(conn)
        .expect("an entry")
}

/// Writes a cast: its id.
pub(crate) fn cast(conn: &mut AnyConnection, cast: &Cast<'_>) -> i64 {
    let poured_on = day(cast.poured_on);
    let state = if cast.demolded.is_some() {
        "demolded"
    } else {
        "poured"
    };
    let id: i64 = diesel::insert_into(casts::table)
        .values((
            casts::code.eq(cast.code),
            casts::state.eq(state),
            casts::recipe_id.eq(cast.recipe_id),
            casts::mold_id.eq(cast.recipe_id),
            casts::containers.eq(1),
            casts::cast_on.eq(poured_on),
            casts::allow_mixed_kits.eq(false),
            casts::allow_cross_charge.eq(false),
            casts::request.eq("{}"),
            casts::facts.eq("{}"),
            casts::plan.eq("{}"),
            casts::booked_at.eq(poured_on.and_hms_opt(8, 0, 0).expect("an hour")),
            casts::booked_by.eq("tester"),
            casts::pour.eq("{}"),
            casts::poured_on.eq(poured_on),
            casts::demolded_on.eq(cast.demolded.map(|(on, _, _)| day(on))),
            casts::good_chips.eq(cast.demolded.map(|(_, good, _)| good)),
            casts::rejected_chips.eq(cast.demolded.map(|(_, _, rejected)| rejected)),
        ))
        .returning(casts::id)
        .get_result(conn)
        .expect("a cast");
    for (grant_id, share) in cast.charges {
        diesel::insert_into(cast_charges::table)
            .values((
                cast_charges::cast_id.eq(id),
                cast_charges::grant_id.eq(*grant_id),
                cast_charges::share_micro.eq(*share),
            ))
            .execute(conn)
            .expect("a charge");
    }
    for (grant_id, component, amount) in cast.costs {
        diesel::insert_into(cast_costs::table)
            .values((
                cast_costs::cast_id.eq(id),
                cast_costs::grant_id.eq(*grant_id),
                cast_costs::component.eq(*component),
                cast_costs::amount_micro.eq(*amount),
            ))
            .execute(conn)
            .expect("a cost");
    }
    id
}
