//! An assessment and its rules.

use chrono::{DateTime, Datelike, Utc};

use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{AssessmentId, AthleteId, SessionId};

/// The criteria, in the order of [`Assessment::ratings`].
pub const CRITERIA: [&str; 8] =
    ["lead_leg", "trail_leg", "walkover", "take_off", "landing", "posture", "rhythm", "arms"];
/// Best rating: secure under race conditions.
const BEST: i16 = 3;

/// Ratings in the order of [`CRITERIA`]; none where the criterion was not seen.
pub type Ratings = [Option<i16>; 8];

/// An assessment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Assessment {
    /// Who was rated.
    pub athlete: AthleteId,
    /// In which session, if in one.
    pub session: Option<SessionId>,
    /// When, as the phone claims.
    pub assessed_at: DateTime<Utc>,
    /// 0 not yet, 1 emerging, 2 secure, 3 secure under race conditions.
    pub ratings: Ratings,
    /// Remark.
    pub note: Option<String>,
    /// The assessment that this one corrects.
    pub supersedes: Option<AssessmentId>,
    /// Whether this only withdraws the superseded one.
    pub void: bool,
}

impl Assessment {
    /// Whether it says nothing.
    pub fn is_empty(&self) -> bool {
        self.ratings.iter().all(Option::is_none) && self.note.is_none()
    }

    /// Checks an assessment and normalises its note and time.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(self, now: DateTime<Utc>) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        if self.assessed_at.year() < 2000 || (self.assessed_at - now).num_hours() > 24 {
            faults.add("/assessed_at", "out_of_range", "must be from 2000 to at most a day ahead");
        }
        for (name, rating) in CRITERIA.iter().zip(self.ratings) {
            if rating.is_some_and(|rating| !(0..=BEST).contains(&rating)) {
                faults.add(
                    format!("/ratings/{name}"),
                    "out_of_range",
                    "must be 0, 1, 2 or 3; leave it out when not seen",
                );
            }
        }
        if self.is_empty() && !self.void {
            faults.add("/ratings", "length", "must rate at least one criterion, or come with a note");
        }
        if self.void && self.supersedes.is_none() {
            faults.add("/void", "void", "needs `supersedes`: the assessment that is withdrawn");
        }
        let note = faults.opt_text("/note", self.note.as_deref(), 500);
        let assessed_at =
            DateTime::from_timestamp_micros(self.assessed_at.timestamp_micros()).unwrap_or(self.assessed_at);
        faults.finish(Some(Self { assessed_at, note, ..self }))
    }
}
