//! The pool, and the two ways to use it: [`Db::read`] and [`Db::write`].

use std::sync::Arc;
use std::time::Duration;

use diesel::connection::{AnsiTransactionManager, SimpleConnection, TransactionManager};
use diesel::r2d2::{ManageConnection, Pool, PooledConnection};
use diesel::{Connection, ConnectionError};
use parking_lot::FairMutex;

use super::connection::{AnyConnection, open};
use super::earlier::copy_of_earlier;
use super::migrate::{migrate, newer_schema};
use super::slow::SlowStatements;
use super::sqlite_file::{SchemaAge, sqlite_schema_age};
use super::url::DatabaseUrl;
use crate::base::Error;

/// Opens connections for the pool by the address's scheme.
struct Manager {
    url: DatabaseUrl,
    slow: Duration,
}

impl ManageConnection for Manager {
    type Connection = AnyConnection;
    type Error = diesel::r2d2::Error;

    fn connect(&self) -> Result<AnyConnection, Self::Error> {
        let mut conn = open(&self.url).map_err(diesel::r2d2::Error::ConnectionError)?;
        conn.set_instrumentation(SlowStatements::new(self.slow));
        Ok(conn)
    }

    fn is_valid(&self, conn: &mut AnyConnection) -> Result<(), Self::Error> {
        match conn {
            AnyConnection::Sqlite(_) => Ok(()),
            AnyConnection::Postgres(conn) => conn
                .batch_execute("SELECT 1")
                .map_err(diesel::r2d2::Error::QueryError),
        }
    }

    fn has_broken(&self, conn: &mut AnyConnection) -> bool {
        std::thread::panicking()
            || match conn {
                AnyConnection::Sqlite(conn) => {
                    AnsiTransactionManager::is_broken_transaction_manager(conn)
                }
                AnyConnection::Postgres(conn) => {
                    AnsiTransactionManager::is_broken_transaction_manager(conn)
                }
            }
    }
}

/// The database, shared by all threads of the process. Cloning shares it.
#[derive(Clone)]
pub struct Db {
    pool: Pool<Manager>,
    url: DatabaseUrl,
    /// SQLite has one writer at a time. A fair lock makes writers queue in the order of their coming: left to the
    /// busy handler alone, one of eight waited for 3.8 s.
    writer: Arc<FairMutex<()>>,
}

impl Db {
    /// Opens the pool and migrates the database.
    ///
    /// `connections` is the size of the pool; `wait_ms` how long a caller waits for a free connection; `slow` how long a
    /// statement may take before the log says so. A SQLite file of an earlier schema is copied before it is migrated.
    ///
    /// # Errors
    /// [`Error::Unavailable`] when the database cannot be reached or is newer than this program, or when the copy fails.
    pub fn open(
        url: &DatabaseUrl,
        connections: u32,
        wait_ms: u64,
        slow: Duration,
    ) -> Result<Self, Error> {
        if let DatabaseUrl::Sqlite {
            path,
            read_only: false,
        } = url
            && let Some(copy) = copy_of_earlier(path)?
        {
            tracing::warn!(
                copy,
                "the database is of an earlier heeltap: it was copied before it is brought up to date"
            );
        }
        let mut first = open(url).map_err(|e| Error::Unavailable {
            detail: format!("{url} cannot be opened: {e}"),
        })?;
        match url {
            DatabaseUrl::Sqlite {
                path,
                read_only: true,
            } => schema_is_ours(path)?,
            _ => migrate(&mut first)?,
        }
        drop(first);
        let pool = Pool::builder()
            .max_size(connections)
            .min_idle(Some(1))
            .connection_timeout(Duration::from_millis(wait_ms))
            .test_on_check_out(!url.is_sqlite())
            .build_unchecked(Manager {
                url: url.clone(),
                slow,
            });
        Ok(Self {
            pool,
            url: url.clone(),
            writer: Arc::new(FairMutex::new(())),
        })
    }

    /// The address this database was opened at.
    #[must_use]
    pub fn url(&self) -> &DatabaseUrl {
        &self.url
    }

    /// Connections of the pool in use, and in all.
    #[must_use]
    pub fn usage(&self) -> (u32, u32) {
        let state = self.pool.state();
        (
            state.connections - state.idle_connections,
            state.connections,
        )
    }

    fn connection(&self) -> Result<PooledConnection<Manager>, Error> {
        self.pool.get().map_err(|e| Error::Unavailable {
            detail: format!("no database connection became free in time: {e}"),
        })
    }

    /// Runs `work` on one snapshot of the database, without leave to write.
    ///
    /// # Errors
    /// What `work` returns, or [`Error::Unavailable`].
    pub fn read<T>(
        &self,
        work: impl FnOnce(&mut AnyConnection) -> Result<T, Error>,
    ) -> Result<T, Error> {
        let mut conn = self.connection()?;
        within(
            &mut conn,
            "BEGIN DEFERRED",
            "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY",
            work,
        )
    }

    /// Runs `work` in one write transaction: all of it is kept, durably, or none.
    ///
    /// # Errors
    /// What `work` returns (then nothing was kept), or [`Error::Unavailable`].
    pub fn write<T>(
        &self,
        work: impl FnOnce(&mut AnyConnection) -> Result<T, Error>,
    ) -> Result<T, Error> {
        let _turn = self.url.is_sqlite().then(|| self.writer.lock());
        let mut conn = self.connection()?;
        within(&mut conn, "BEGIN IMMEDIATE", "BEGIN", work)
    }

    /// Runs `work` outside any transaction, for statements that open their own (`VACUUM INTO`).
    ///
    /// # Errors
    /// What `work` returns, or [`Error::Unavailable`].
    pub fn bare<T>(
        &self,
        work: impl FnOnce(&mut AnyConnection) -> Result<T, Error>,
    ) -> Result<T, Error> {
        work(&mut *self.connection()?)
    }
}

/// A file that may not be written is not migrated: its schema must be this program's.
fn schema_is_ours(path: &str) -> Result<(), Error> {
    let unusable = |detail: &str| Error::Unavailable {
        detail: format!("sqlite://{path} {detail}"),
    };
    match sqlite_schema_age(path)? {
        SchemaAge::Ours => Ok(()),
        SchemaAge::Newer(version) => Err(newer_schema(&version)?),
        SchemaAge::Older(_) => Err(unusable(
            "has an earlier heeltap's schema, and cannot be brought up to date without leave to write: leave ?mode=ro out once",
        )),
        SchemaAge::Foreign => Err(unusable("is no heeltap database")),
    }
}

/// One transaction: commit when `work` succeeds, else roll back.
pub(super) fn within<T>(
    conn: &mut AnyConnection,
    sqlite: &str,
    postgres: &str,
    work: impl FnOnce(&mut AnyConnection) -> Result<T, Error>,
) -> Result<T, Error> {
    match conn {
        AnyConnection::Sqlite(inner) => {
            AnsiTransactionManager::begin_transaction_sql(inner, sqlite)?
        }
        AnyConnection::Postgres(inner) => {
            AnsiTransactionManager::begin_transaction_sql(inner, postgres)?
        }
    }
    let outcome = work(conn);
    match conn {
        AnyConnection::Sqlite(inner) => finish(inner, outcome),
        AnyConnection::Postgres(inner) => finish(inner, outcome),
    }
}

fn finish<C, T>(conn: &mut C, outcome: Result<T, Error>) -> Result<T, Error>
where
    C: Connection<TransactionManager = AnsiTransactionManager>,
{
    match outcome {
        Ok(value) => {
            if let Err(error) = AnsiTransactionManager::commit_transaction(conn) {
                // A commit that failed may leave the transaction open; rolling back makes the connection usable again.
                let _ = AnsiTransactionManager::rollback_transaction(conn);
                return Err(error.into());
            }
            Ok(value)
        }
        Err(error) => {
            AnsiTransactionManager::rollback_transaction(conn)
                .or_else(|e| if rolled_back(&e) { Ok(()) } else { Err(e) })
                .map_err(|e| Error::Unavailable {
                    detail: format!("{error}; and the transaction could not be rolled back: {e}"),
                })?;
            Err(error)
        }
    }
}

/// Whether a rollback failed because there was nothing left to roll back: SQLite does it by itself when the disk is full.
fn rolled_back(error: &diesel::result::Error) -> bool {
    matches!(error, diesel::result::Error::NotInTransaction)
        || error.to_string().contains("no transaction is active")
}

impl From<ConnectionError> for Error {
    fn from(error: ConnectionError) -> Self {
        Self::Unavailable {
            detail: error.to_string(),
        }
    }
}
