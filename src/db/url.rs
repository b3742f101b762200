//! Where the database is: the parsed form of `DATABASE_URL`.
//!
//! Invariant: the scheme alone decides the kind of database, so that a mistyped PostgreSQL address never makes a file.

use std::fmt;

/// An address of one of the two databases.
#[derive(Clone, PartialEq, Eq)]
pub enum DatabaseUrl {
    /// A SQLite file. `read_only` comes from `?mode=ro`.
    Sqlite {
        /// The file's path, relative to the working directory unless it starts with `/`.
        path: String,
        /// Whether the file is opened without leave to write.
        read_only: bool,
    },
    /// A PostgreSQL server, as libpq understands the address.
    Postgres(String),
}

/// Why a text is no address of a database.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
pub enum UrlError {
    /// The scheme is neither `sqlite` nor `postgres`.
    #[error(
        "DATABASE_URL `{0}` is not understood: write sqlite:///path/to/file or postgres://user@host/name"
    )]
    Scheme(String),
    /// The address has a query that is not understood.
    #[error("DATABASE_URL has `?{0}`: the only query understood for SQLite is ?mode=ro")]
    Query(String),
    /// TLS is asked for, but this build's PostgreSQL client has none.
    #[error(
        "DATABASE_URL asks for sslmode={0}, but this build has no TLS to PostgreSQL: use a local socket, a tunnel, or sslmode=disable"
    )]
    NoTls(String),
}

impl DatabaseUrl {
    /// Parses `sqlite:///path`, `sqlite://relative`, `postgres://…` or `postgresql://…`.
    ///
    /// # Errors
    /// [`UrlError`] when the scheme or the query is not understood, or TLS is required that this build does not have.
    ///
    /// ```
    /// use heeltap::db::DatabaseUrl;
    /// assert!(matches!(DatabaseUrl::parse("sqlite:///tmp/a.db"), Ok(DatabaseUrl::Sqlite { .. })));
    /// assert!(DatabaseUrl::parse("postgras://x").is_err());
    /// ```
    pub fn parse(text: &str) -> Result<Self, UrlError> {
        if let Some(rest) = text.strip_prefix("sqlite://") {
            let (path, query) = rest.split_once('?').unwrap_or((rest, ""));
            let read_only = match query {
                "" => false,
                "mode=ro" => true,
                other => return Err(UrlError::Query(other.into())),
            };
            if path.is_empty() {
                return Err(UrlError::Scheme(text.into()));
            }
            return Ok(Self::Sqlite {
                path: path.into(),
                read_only,
            });
        }
        if text.starts_with("postgres://") || text.starts_with("postgresql://") {
            let mode = text
                .split(['?', '&'])
                .find_map(|part| part.strip_prefix("sslmode="));
            return match mode {
                Some(mode @ ("require" | "verify-ca" | "verify-full")) => {
                    Err(UrlError::NoTls(mode.into()))
                }
                _ => Ok(Self::Postgres(text.into())),
            };
        }
        Err(UrlError::Scheme(hidden(text)))
    }

    /// Whether this is the address of a SQLite file.
    #[must_use]
    pub fn is_sqlite(&self) -> bool {
        matches!(self, Self::Sqlite { .. })
    }
}

/// An address without its password, fit for a log.
fn hidden(text: &str) -> String {
    match (text.find("://"), text.rfind('@')) {
        (Some(scheme), Some(at)) if scheme + 3 < at => {
            format!("{}…{}", &text[..scheme + 3], &text[at..])
        }
        _ => text.to_owned(),
    }
}

impl fmt::Display for DatabaseUrl {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Sqlite { path, .. } => write!(f, "sqlite://{path}"),
            Self::Postgres(text) => f.write_str(&hidden(text)),
        }
    }
}

impl fmt::Debug for DatabaseUrl {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, expected: Result<&str, UrlError>) {
        assert_eq!(
            DatabaseUrl::parse(text).map(|url| url.to_string()),
            expected.map(str::to_owned)
        );
    }

    #[test]
    fn addresses() {
        check("sqlite:///var/lib/a.db", Ok("sqlite:///var/lib/a.db"));
        check("sqlite://a.db?mode=ro", Ok("sqlite://a.db"));
        check(
            "sqlite://a.db?cache=shared",
            Err(UrlError::Query("cache=shared".into())),
        );
        check("sqlite://", Err(UrlError::Scheme("sqlite://".into())));
        check(
            "postgres://lab:secret@db/heeltap",
            Ok("postgres://…@db/heeltap"),
        );
        check(
            "postgres://db/x?sslmode=require",
            Err(UrlError::NoTls("require".into())),
        );
        check(
            "mysql://a:b@c/d",
            Err(UrlError::Scheme("mysql://…@c/d".into())),
        );
    }
}
