//! SQL expressions that both databases read alike.

use diesel::dsl::sql;
use diesel::expression::{SqlLiteral, TypedExpressionType};
use diesel::sql_types::BigInt;

/// `SUM` over a column of 64-bit integers that stays a 64-bit integer (PostgreSQL's is NUMERIC) and is 0 over no rows.
///
/// `column` is a column's name as this program wrote it, never a user's text.
pub fn sum_bigint(column: &'static str) -> SqlLiteral<BigInt> {
    sql::<BigInt>(&format!("CAST(COALESCE(SUM({column}), 0) AS BIGINT)"))
}

/// A column or an expression by its text, for statements that group by an expression: the library's own check of groupings
/// knows columns only.
///
/// `text` is what this program wrote, never a user's text.
pub fn as_written<T: TypedExpressionType>(text: &'static str) -> SqlLiteral<T> {
    sql::<T>(text)
}
