//! An export and what becomes of it.

use chrono::{DateTime, Duration, Utc};

use crate::platform::ids::{AccountId, AthleteId, ExportId};
use crate::platform::words::words;

/// How long an archive is kept once it is made, hours. It holds everything, so not for long.
pub const KEPT_HOURS: i64 = 72;
/// The same.
pub const KEPT: Duration = Duration::hours(KEPT_HOURS);
/// Most exports that a club has at once.
pub const MOST: usize = 20;
/// Largest archive, bytes.
pub const LARGEST: u64 = 4 << 30;

words! {
    /// What became of an export.
    State as ExportState {
        /// An instance takes it on within seconds.
        Waiting = "waiting",
        /// The archive is being written.
        Running = "running",
        /// The archive can be downloaded.
        Ready = "ready",
        /// The archive could not be written; ask for another.
        Failed = "failed",
        /// Somebody whom the archive names was erased since, something in it is kept no longer, or a consent in it was withdrawn: so it is
        /// gone; ask for another.
        Withdrawn = "withdrawn",
    }
}

/// An export.
#[derive(Clone, Debug)]
pub struct Export {
    /// The id.
    pub id: ExportId,
    /// The athlete; none for the whole club.
    pub athlete: Option<AthleteId>,
    /// Who asked for it.
    pub asked_by: AccountId,
    /// When.
    pub asked_at: DateTime<Utc>,
    /// What became of it.
    pub state: State,
    /// When the archive was there.
    pub done_at: Option<DateTime<Utc>>,
    /// When it goes.
    pub expires_at: DateTime<Utc>,
    /// Rows in the archive.
    pub records: i64,
    /// The size of the archive.
    pub bytes: i64,
    /// SHA-256 of the archive.
    pub sha256: Option<Vec<u8>>,
}

impl Export {
    /// One that somebody asks for now.
    pub fn asked(id: ExportId, athlete: Option<AthleteId>, by: AccountId, now: DateTime<Utc>) -> Self {
        Self {
            id,
            athlete,
            asked_by: by,
            asked_at: now,
            state: State::Waiting,
            done_at: None,
            expires_at: now + KEPT,
            records: 0,
            bytes: 0,
            sha256: None,
        }
    }

    /// A name for the file.
    pub fn file_name(&self) -> String {
        let what = if self.athlete.is_some() { "athlete" } else { "club" };
        format!("lanewright-{what}-{}.zip", self.asked_at.format("%Y-%m-%d"))
    }
}
