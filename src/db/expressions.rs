//! SQL expressions that both databases read alike.

use diesel::dsl::sql;
use diesel::expression::SqlLiteral;
use diesel::sql_types::BigInt;

/// `SUM` over a column of 64-bit integers that stays a 64-bit integer (PostgreSQL's is NUMERIC) and is 0 over no rows.
///
/// `column` is a column's name as this program wrote it, never a user's text.
pub fn sum_bigint(column: &'static str) -> SqlLiteral<BigInt> {
    sql::<BigInt>(&format!("CAST(COALESCE(SUM({column}), 0) AS BIGINT)"))
}
