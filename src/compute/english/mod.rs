//! The English of advice, all of it: reasons, what is missing, cautions, explanations, lanes.
//!
//! Everything said here is also told as a code with parameters (`compute::params`), so that a client can say it in
//! another language. Sentences are short and active, figures carry units, and what is only expected is called expected.

mod ahead;
mod board;
mod cautions;
mod explanation;
mod figures;
mod missing;
mod no_target;
mod reasons;
mod standing;
mod waiting;
mod walls;

pub use standing::AS_ADVISED;
pub use waiting::{one_more_round, ratings_that_open};

use super::decision::{Criterion, Rating};

impl Rating {
    /// The words a coach reads.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NotYet => "\"not yet\"",
            Self::Emerging => "emerging",
            Self::Secure => "secure",
            Self::SecureUnderRace => "secure under race conditions",
        }
    }
}

impl Criterion {
    /// The words a coach reads.
    pub const fn words(self) -> &'static str {
        match self {
            Self::LeadLeg => "lead leg",
            Self::TrailLeg => "trail leg",
            Self::TakeOff => "take-off",
            Self::Walkover | Self::Landing | Self::Posture | Self::Rhythm | Self::Arms => self.as_str(),
        }
    }
}
