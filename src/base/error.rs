//! The one error of the domain. It knows nothing of HTTP; the edge maps it once.
//!
//! Invariants: what a person did wrong carries a JSON pointer (RFC 6901) and says what would be right;
//! a refusal has a stable kind; what went wrong inside ([`Error::Internal`]) is for the log and is never
//! shown. Deliberately absent: status codes, problem types, translations.

use serde::Serialize;
use serde_json::{Map, Value};

/// One thing wrong with what was sent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FieldError {
    /// Where it stands: an RFC 6901 JSON pointer, such as `/charges/0/share`.
    pub pointer: String,
    /// What is wrong: names the value and what would be right.
    pub detail: String,
}

impl FieldError {
    /// An error at a pointer.
    pub fn new(pointer: impl Into<String>, detail: impl Into<String>) -> FieldError {
        FieldError {
            pointer: pointer.into(),
            detail: detail.into(),
        }
    }
}

/// The stable kind of a refusal: the request is well formed, but the state of things forbids it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RefusalKind {
    /// A thing of that code exists, or existed once.
    AlreadyExists,
    /// The thing is used by others.
    InUse,
    /// The thing is retired.
    Retired,
    /// There is not enough stock.
    Shortage,
    /// The thing is not in a state that allows this.
    WrongState,
    /// The day lies in a closed period.
    PeriodClosed,
    /// The idempotency key was used for another request.
    KeyReused,
    /// A later entry in the books forbids this one.
    HistoryConflict,
    /// An import has bad rows; nothing was written.
    ImportRejected,
    /// The operation needs an allowance that was not given.
    AllowanceMissing,
    /// A grant does not pay for it: on that day, or so much.
    BeyondGrant,
}

impl RefusalKind {
    /// Every kind, in a fixed order.
    pub const ALL: [RefusalKind; 11] = [
        RefusalKind::AlreadyExists,
        RefusalKind::InUse,
        RefusalKind::Retired,
        RefusalKind::Shortage,
        RefusalKind::WrongState,
        RefusalKind::PeriodClosed,
        RefusalKind::KeyReused,
        RefusalKind::HistoryConflict,
        RefusalKind::ImportRejected,
        RefusalKind::AllowanceMissing,
        RefusalKind::BeyondGrant,
    ];

    /// The stable name, such as `already-exists`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            RefusalKind::AlreadyExists => "already-exists",
            RefusalKind::InUse => "in-use",
            RefusalKind::Retired => "retired",
            RefusalKind::Shortage => "shortage",
            RefusalKind::WrongState => "wrong-state",
            RefusalKind::PeriodClosed => "period-closed",
            RefusalKind::KeyReused => "key-reused",
            RefusalKind::HistoryConflict => "history-conflict",
            RefusalKind::ImportRejected => "import-rejected",
            RefusalKind::AllowanceMissing => "allowance-missing",
            RefusalKind::BeyondGrant => "beyond-grant",
        }
    }
}

/// A refusal with what a program needs to act on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Refusal {
    /// The stable kind.
    pub kind: RefusalKind,
    /// One plain sentence for a person.
    pub detail: String,
    /// Further members of the answer, by name.
    pub members: Map<String, Value>,
}

/// The error of every operation.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// What was sent has a wrong type or value.
    #[error("{}", invalid_text(.0))]
    Invalid(Vec<FieldError>),
    /// There is no such thing.
    #[error("there is no {noun} \"{key}\"")]
    NotFound {
        /// What was looked for, such as `lot`.
        noun: &'static str,
        /// The code or number it was looked for by.
        key: String,
    },
    /// The change needs the version it is based on.
    #[error("the change must say which version it is based on")]
    PreconditionRequired,
    /// The change is based on an older version.
    #[error("the thing was changed meanwhile; its version is now {current}")]
    VersionMismatch {
        /// The version it has now.
        current: i64,
    },
    /// The state of things forbids it.
    #[error("{}", .0.detail)]
    Refused(Box<Refusal>),
    /// The database cannot be reached or is too busy; trying again may help.
    #[error("the service is not available for the moment: {detail}")]
    Unavailable {
        /// Why, for the log.
        detail: String,
    },
    /// The database can be read but not written.
    #[error("the database is read-only: {detail}")]
    ReadOnly {
        /// Why, for the log.
        detail: String,
    },
    /// There is no room left to write.
    #[error("the storage is full: {detail}")]
    StorageFull {
        /// Why, for the log.
        detail: String,
    },
    /// Something went wrong inside. The text is for the log, never for the caller.
    #[error("internal: {0}")]
    Internal(String),
}

/// The result of every operation.
pub type Result<T> = std::result::Result<T, Error>;

impl Error {
    /// One field is wrong.
    ///
    /// ```
    /// use heeltap::base::Error;
    /// let error = Error::invalid("/cast_on", "2026-02-30 is not a date: send YYYY-MM-DD");
    /// assert!(error.to_string().starts_with("/cast_on: "));
    /// ```
    pub fn invalid(pointer: impl Into<String>, detail: impl Into<String>) -> Error {
        Error::Invalid(vec![FieldError::new(pointer, detail)])
    }

    /// There is no such thing.
    pub fn not_found(noun: &'static str, key: impl ToString) -> Error {
        Error::NotFound {
            noun,
            key: key.to_string(),
        }
    }

    /// The state of things forbids it.
    ///
    /// ```
    /// use heeltap::base::{Error, RefusalKind};
    /// let error = Error::refused(RefusalKind::Shortage, "not enough base")
    ///     .with("largest_bookable", 3);
    /// assert!(matches!(error, Error::Refused(r) if r.members["largest_bookable"] == 3));
    /// ```
    pub fn refused(kind: RefusalKind, detail: impl Into<String>) -> Error {
        Error::Refused(Box::new(Refusal {
            kind,
            detail: detail.into(),
            members: Map::new(),
        }))
    }

    /// Adds a member to a refusal; any other error stays as it is.
    #[must_use]
    pub fn with(mut self, name: &str, value: impl Into<Value>) -> Error {
        if let Error::Refused(refusal) = &mut self {
            refusal.members.insert(name.to_owned(), value.into());
        }
        self
    }

    /// Something went wrong inside.
    pub fn internal(detail: impl ToString) -> Error {
        Error::Internal(detail.to_string())
    }
}

fn invalid_text(errors: &[FieldError]) -> String {
    let lines: Vec<String> = errors
        .iter()
        .map(|e| format!("{}: {}", e.pointer, e.detail))
        .collect();
    lines.join("; ")
}

/// A sum that leaves the range comes from what was sent, so the caller is told, not the log.
impl From<FieldError> for Error {
    fn from(fault: FieldError) -> Self {
        Self::Invalid(vec![fault])
    }
}

impl From<super::MicroError> for Error {
    fn from(error: super::MicroError) -> Error {
        Error::invalid("", error.to_string())
    }
}

/// Without a positive base the amounts that were sent contradict each other; the caller is told.
impl From<super::ApportionError> for Error {
    fn from(error: super::ApportionError) -> Error {
        Error::invalid("", error.to_string())
    }
}

impl From<super::EntropyError> for Error {
    fn from(error: super::EntropyError) -> Error {
        Error::Internal(error.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_have_names_of_their_own() {
        let names: std::collections::BTreeSet<_> =
            RefusalKind::ALL.iter().map(|k| k.name()).collect();
        assert_eq!(names.len(), RefusalKind::ALL.len());
    }

    #[test]
    fn only_a_refusal_takes_members() {
        let error = Error::invalid("/a", "b").with("c", 1);
        assert!(matches!(error, Error::Invalid(list) if list.len() == 1));
    }

    #[test]
    fn text_names_every_field() {
        let error = Error::Invalid(vec![FieldError::new("/a", "x"), FieldError::new("/b", "y")]);
        assert_eq!(error.to_string(), "/a: x; /b: y");
    }
}
