//! Why the store could not do what was asked.

use thiserror::Error;

use super::unique;
use crate::platform::fault::Fault;

/// Why the store could not do what was asked.
#[derive(Debug, Error)]
pub enum StoreError {
    /// No such record, or none that the caller may see.
    #[error("no such {0}")]
    NotFound(&'static str),
    /// Clashes with another record; a sentence that names the clash and the remedy.
    #[error("{0}")]
    Conflict(String),
    /// Refers to a record that is not there.
    #[error("a field refers to a missing record")]
    Invalid(Vec<Fault>),
    /// A stored row does not parse.
    #[error("a stored {0} does not parse")]
    Corrupt(&'static str),
    /// Too many wait for a connection.
    #[error("too many wait for the database")]
    Busy,
    /// A request asked for a second connection while it held one: with many such requests at once none would go on.
    #[error("a request asked for a second connection")]
    SecondConnection,
    /// A transaction asked for the whole club after it had taken a part: two of them would wait for each other.
    #[error("a transaction asked for the whole club after it had taken a part of it")]
    PartTaken,
    /// A transaction wrote rows but recorded no change: phones would never learn of it.
    #[error("a write was not recorded as a change")]
    Unrecorded,
    /// The database itself.
    #[error(transparent)]
    Database(#[from] sqlx::Error),
}

impl StoreError {
    /// Whether the same call may succeed in a moment: serialisation, deadlock, lock wait, lost connection, a server that
    /// can only be read (a standby), is full or cannot reach its disk.
    pub fn passing(error: &sqlx::Error) -> bool {
        match error {
            sqlx::Error::Io(_) | sqlx::Error::PoolTimedOut | sqlx::Error::PoolClosed | sqlx::Error::WorkerCrashed => {
                true
            }
            sqlx::Error::Database(db) => db.code().is_some_and(|code| {
                matches!(code.as_ref(), "40001" | "40P01" | "55P03" | "57014" | "25006" | "25P03")
                    || ["08", "53", "57P", "58"].iter().any(|class| code.starts_with(class))
            }),
            _ => false,
        }
    }

    /// Whether a lock of others did not come free in time.
    pub fn waited(error: &sqlx::Error) -> bool {
        let code = error.as_database_error().and_then(sqlx::error::DatabaseError::code);
        code.is_some_and(|code| code == "55P03")
    }

    /// Whether the transaction was undone only because of others at the same moment (serialisation, deadlock): the same
    /// work from its beginning will do.
    pub fn undone(error: &sqlx::Error) -> bool {
        let code = error.as_database_error().and_then(sqlx::error::DatabaseError::code);
        code.is_some_and(|code| matches!(code.as_ref(), "40001" | "40P01"))
    }

    /// Whether the database cannot hold a value at all: a text with a NUL, a date or number out of its range. Most are
    /// refused by name before; this is for those that come by another way, such as inside a cursor.
    pub fn unstorable(error: &sqlx::Error) -> bool {
        match error {
            sqlx::Error::Encode(_) => true,
            sqlx::Error::Database(db) => {
                db.code().is_some_and(|code| matches!(code.as_ref(), "22021" | "22P05" | "22008" | "22003"))
            }
            _ => false,
        }
    }

    /// Turns a violation of this uniqueness into a [`StoreError::Conflict`] that says what it means. Where the database
    /// does not name what was violated, it is this one.
    #[must_use]
    pub fn conflict_on(self, constraint: &str) -> Self {
        match &self {
            Self::Database(error)
                if unique::violated(error).is_some_and(|name| name.is_none_or(|name| name == constraint)) =>
            {
                Self::Conflict(unique::sentence(Some(constraint)).to_owned())
            }
            _ => self,
        }
    }
}
