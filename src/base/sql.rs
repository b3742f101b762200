//! How the ground floor's types are kept in a database, and what a database's failure means.
//!
//! The only file of this room that knows the database library; the types themselves only carry its two
//! derives. Invariant: a value read from a column
//! passes the same constructor as one from outside, so that a column holding nonsense is an error and
//! never a wrong value. Deliberately absent: which constraint was violated (the stores map violations by
//! the statement that failed).

use diesel::backend::Backend;
use diesel::deserialize::{self, FromSql};
use diesel::result::{DatabaseErrorKind, Error as DieselError};
use diesel::serialize::{self, Output, ToSql};
use diesel::sql_types::{BigInt, Text};

use super::{Code, Currency, Error, Micro, Money, Quantity, Unit};

impl<DB> FromSql<BigInt, DB> for Micro
where
    DB: Backend,
    i64: FromSql<BigInt, DB>,
{
    fn from_sql(bytes: DB::RawValue<'_>) -> deserialize::Result<Self> {
        i64::from_sql(bytes).map(Micro::from_micro)
    }
}

impl<DB> ToSql<BigInt, DB> for Micro
where
    DB: Backend,
    i64: ToSql<BigInt, DB>,
{
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, DB>) -> serialize::Result {
        self.0.to_sql(out)
    }
}

macro_rules! micro_column {
    ($type:ty) => {
        impl<DB> FromSql<BigInt, DB> for $type
        where
            DB: Backend,
            i64: FromSql<BigInt, DB>,
        {
            fn from_sql(bytes: DB::RawValue<'_>) -> deserialize::Result<Self> {
                i64::from_sql(bytes).map(<$type>::from_micro)
            }
        }

        impl<DB> ToSql<BigInt, DB> for $type
        where
            DB: Backend,
            i64: ToSql<BigInt, DB>,
        {
            fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, DB>) -> serialize::Result {
                <Micro as ToSql<BigInt, DB>>::to_sql(self.as_micro(), out)
            }
        }
    };
}

micro_column!(Quantity);
micro_column!(Money);

macro_rules! text_column {
    ($type:ty) => {
        impl<DB> FromSql<Text, DB> for $type
        where
            DB: Backend,
            String: FromSql<Text, DB>,
        {
            fn from_sql(bytes: DB::RawValue<'_>) -> deserialize::Result<Self> {
                Ok(<$type>::parse(&String::from_sql(bytes)?)?)
            }
        }

        impl<DB> ToSql<Text, DB> for $type
        where
            DB: Backend,
            str: ToSql<Text, DB>,
        {
            fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, DB>) -> serialize::Result {
                <str as ToSql<Text, DB>>::to_sql(self.as_str(), out)
            }
        }
    };
}

text_column!(Code);
text_column!(Currency);
text_column!(Unit);

/// What a failure of the database means for the caller.
impl From<DieselError> for Error {
    fn from(error: DieselError) -> Error {
        let detail = error.to_string();
        match &error {
            DieselError::RollbackErrorOnCommit { commit_error, .. } => {
                by_text(&commit_error.to_string())
                    .unwrap_or(by_text(&detail).unwrap_or(Kind::Internal))
                    .into_error(detail)
            }
            DieselError::DatabaseError(kind, information) => {
                by_kind(kind, information.message()).into_error(detail)
            }
            _ => by_text(&detail)
                .unwrap_or(Kind::Internal)
                .into_error(detail),
        }
    }
}

/// The kinds of database failure that a caller must tell apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Unavailable,
    ReadOnly,
    StorageFull,
    Unkeepable,
    Internal,
}

impl Kind {
    fn into_error(self, detail: String) -> Error {
        match self {
            Kind::Unavailable => Error::Unavailable { detail },
            Kind::ReadOnly => Error::ReadOnly { detail },
            Kind::StorageFull => Error::StorageFull { detail },
            Kind::Unkeepable => Error::invalid(
                "",
                "a text has the character U+0000, which cannot be kept: leave it out",
            ),
            Kind::Internal => Error::Internal(detail),
        }
    }
}

fn by_kind(kind: &DatabaseErrorKind, message: &str) -> Kind {
    match kind {
        DatabaseErrorKind::ClosedConnection
        | DatabaseErrorKind::UnableToSendCommand
        | DatabaseErrorKind::SerializationFailure => Kind::Unavailable,
        DatabaseErrorKind::ReadOnlyTransaction => Kind::ReadOnly,
        DatabaseErrorKind::Unknown => by_text(message).unwrap_or(Kind::Internal),
        _ => Kind::Internal,
    }
}

/// Neither database library hands over the error code, so that the message has to serve.
fn by_text(message: &str) -> Option<Kind> {
    const TEXTS: [(&str, Kind); 17] = [
        ("database or disk is full", Kind::StorageFull),
        ("no space left on device", Kind::StorageFull),
        ("disk full", Kind::StorageFull),
        ("attempt to write a readonly database", Kind::ReadOnly),
        ("read-only transaction", Kind::ReadOnly),
        ("database is locked", Kind::Unavailable),
        ("database table is locked", Kind::Unavailable),
        ("unable to open database file", Kind::Unavailable),
        ("connection to server", Kind::Unavailable),
        ("server closed the connection", Kind::Unavailable),
        ("no connection to the server", Kind::Unavailable),
        ("terminating connection", Kind::Unavailable),
        ("too many connections", Kind::Unavailable),
        ("lock timeout", Kind::Unavailable),
        ("deadlock detected", Kind::Unavailable),
        ("the database system is", Kind::Unavailable),
        // PostgreSQL's texts know no U+0000; the connection has checked that all else is UTF-8.
        ("invalid byte sequence for encoding", Kind::Unkeepable),
    ];
    let message = message.to_lowercase();
    TEXTS
        .iter()
        .find(|(text, _)| message.contains(text))
        .map(|(_, kind)| *kind)
}

#[cfg(test)]
mod tests {
    use super::*;
    use diesel::prelude::*;
    use diesel::sqlite::SqliteConnection;

    fn connect() -> SqliteConnection {
        match SqliteConnection::establish(":memory:") {
            Ok(connection) => connection,
            Err(error) => panic!("{error}"),
        }
    }

    diesel::table! {
        things (id) {
            id -> Integer,
            code -> Text,
            quantity -> BigInt,
            price -> Nullable<BigInt>,
            currency -> Text,
            unit -> Text,
        }
    }

    #[derive(Queryable, Selectable, Insertable, Debug, PartialEq)]
    #[diesel(table_name = things)]
    struct Thing {
        id: i32,
        code: Code,
        quantity: Quantity,
        price: Option<Money>,
        currency: Currency,
        unit: Unit,
    }

    fn run() -> std::result::Result<(), Box<dyn std::error::Error>> {
        let mut connection = connect();
        diesel::sql_query(
            "CREATE TABLE things (id INTEGER PRIMARY KEY, code TEXT NOT NULL, quantity BIGINT NOT NULL,
             price BIGINT, currency TEXT NOT NULL, unit TEXT NOT NULL)",
        )
        .execute(&mut connection)?;
        let thing = |id, price| -> std::result::Result<Thing, Box<dyn std::error::Error>> {
            Ok(Thing {
                id,
                code: Code::parse("a-1")?,
                quantity: Quantity::parse("12.5")?,
                price,
                currency: Currency::parse("EUR")?,
                unit: Unit::Ml,
            })
        };
        let stored = [thing(1, None)?, thing(2, Some(Money::from_int(3)))?];
        for row in &stored {
            diesel::insert_into(things::table)
                .values(row)
                .execute(&mut connection)?;
        }
        let read: Vec<Thing> = things::table
            .filter(things::code.eq(Code::parse("a-1")?))
            .filter(things::quantity.gt(Quantity::ZERO))
            .order(things::id)
            .select(Thing::as_select())
            .load(&mut connection)?;
        assert_eq!(read, stored);
        diesel::sql_query("UPDATE things SET code = 'not a code'").execute(&mut connection)?;
        assert!(things::table.first::<Thing>(&mut connection).is_err());
        Ok(())
    }

    #[test]
    fn what_is_stored_is_read_back_and_nonsense_is_refused() {
        if let Err(error) = run() {
            panic!("{error}");
        }
    }

    #[test]
    fn a_database_that_cannot_be_written_is_told_from_a_full_one() {
        let mut connection = connect();
        let mut fail = |sql: &str| match diesel::sql_query(sql).execute(&mut connection) {
            Ok(_) => None,
            Err(error) => Some(Error::from(error)),
        };
        assert!(fail("CREATE TABLE t (x TEXT)").is_none());
        assert!(fail("PRAGMA max_page_count = 2").is_none());
        let full = fail("INSERT INTO t VALUES (hex(randomblob(100000)))");
        assert!(matches!(full, Some(Error::StorageFull { .. })), "{full:?}");
        assert!(fail("PRAGMA query_only = 1").is_none());
        let read_only = fail("INSERT INTO t VALUES ('a')");
        assert!(
            matches!(read_only, Some(Error::ReadOnly { .. })),
            "{read_only:?}"
        );
        let wrong = fail("SELECT no_such_column FROM t");
        assert!(matches!(wrong, Some(Error::Internal(_))), "{wrong:?}");
    }

    #[test]
    fn a_row_not_found_is_internal_unless_the_store_says_what_it_was() {
        assert!(matches!(
            Error::from(DieselError::NotFound),
            Error::Internal(_)
        ));
    }
}
