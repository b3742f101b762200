//! The open warnings of this room's kinds.

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::base::Error;
use crate::db::AnyConnection;
use crate::db::schema::warnings;

/// A warning that stands open.
#[derive(Debug, Clone, Queryable)]
pub(in crate::reorder) struct OpenWarning {
    pub(in crate::reorder) kind: String,
    pub(in crate::reorder) noun: String,
    pub(in crate::reorder) subject: String,
    pub(in crate::reorder) due_on: Option<NaiveDate>,
}

/// The open warnings of some kinds.
pub(in crate::reorder) fn warnings_open(
    conn: &mut AnyConnection,
    kinds: &[&str],
) -> Result<Vec<OpenWarning>, Error> {
    Ok(warnings::table
        .filter(warnings::cleared_at.is_null())
        .filter(warnings::kind.eq_any(kinds))
        .select((
            warnings::kind,
            warnings::subject_noun,
            warnings::subject,
            warnings::due_on,
        ))
        .load(conn)?)
}
