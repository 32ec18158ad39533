//! The English of advice, all of it: reasons, what is missing, cautions, explanations, lanes.
//!
//! Everything said here is also told as a code with parameters (`compute::params`), so that a client can say it
//! in another language. Sentences are short and active, figures carry units, and what is only expected is
//! called expected.
//!
//! # Rules of the language
//! - A clause begins in lower case and has no full stop, so that it can stand in a list or behind another; a
//!   sentence is made of it last. Public methods give whole sentences, but for those that give words for a
//!   list.
//! - Lengths are in metres with two decimals, or three where there are millimetres; shares in whole per cent;
//!   days as ISO 8601 dates.
//! - "Held" is what was seen, "should hold" and "expect" are what the model believes. What a decision expects
//!   comes with its 90 % range.
//! - Nothing depends on a locale.
//!
//! # Who says what
//! | module | says | for |
//! | --- | --- | --- |
//! | `reasons` | why a decision was taken | recommendations, one sentence for each code |
//! | `missing` | what a step up still needs | recommendations, race entries, the board |
//! | `walls` | why somebody may not run somewhere | regions, overrides, race entries, who rests |
//! | `cautions` | what to heed | every recommendation, plan, card and race |
//! | `explanation` | a whole decision in three sentences | recommendations, cards, the squad |
//! | `standing` | why somebody stands in a lane | lane plans and their sheets |
//! | `waiting` | who finds no place, and what would help | lane plans |
//! | `ahead` | what comes next, and what holds it up | forecasts |
//! | `board` | since when somebody is held up, what to watch | the board, cards |
//! | `no_target` | why no specification applies | recommendations, specifications |
//! | `unusable` | what on file keeps somebody from being computed, and the remedy | whatever is computed of many |
//! | `figures` | lengths, shares, lists, dates | all of these |
//!
//! # Checked by
//! A file of every code's sentence that a test compares word for word, whole explanations, and laws on random
//! athletes: two or three sentences, at most sixty words, no step up after a fall or pain.
//!
//! # Example
//! ```
//! use lanewright_compute::decision::{Hold, Policy, Situation, Wall, decide};
//! use lanewright_compute::units::Length;
//!
//! let hold = |_height: Length, spacing: Length| {
//!     let mean = if spacing.metres() <= 6.0 { 0.85 } else { 0.55 };
//!     Hold { mean, p05: mean - 0.2, p95: mean + 0.1 }
//! };
//! let decision = decide(&Situation::unseen(20_000), &Policy::default(), &hold);
//! assert_eq!(
//!     decision.explanation(),
//!     "Too few three-stride runs are on file, and the lead leg, trail leg and walkover are not rated. Start with wickets \
//!      at 0.30 m, 6.00 m apart: expect 85 % held (likely 65 to 95 %). A step up needs these rated secure, and 12 more \
//!      intervals on 2 more days."
//! );
//! assert_eq!(Wall::Resting.text(), "The athlete rests for now.");
//! ```

mod ahead;
mod board;
mod cautions;
mod explanation;
mod figures;
mod missing;
mod no_target;
mod reasons;
mod standing;
mod unusable;
mod waiting;
mod walls;

pub use figures::metres;
pub use standing::AS_ADVISED;
pub use waiting::{one_more_round, ratings_that_open};

use super::decision::{Criterion, Rating};

impl Rating {
    /// The words a coach reads, to stand behind "rated": lower case, "not yet" in quotation marks, since it
    /// would not read as a rating without.
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
    /// The words a coach reads, to stand behind "the": lower case, with a space where the code has an
    /// underscore.
    pub const fn words(self) -> &'static str {
        match self {
            Self::LeadLeg => "lead leg",
            Self::TrailLeg => "trail leg",
            Self::TakeOff => "take-off",
            Self::Walkover | Self::Landing | Self::Posture | Self::Rhythm | Self::Arms => self.as_str(),
        }
    }
}
