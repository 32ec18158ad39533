//! What holds an athlete up and since when, and what to watch, in words.
//!
//! Each text begins with what it is about; what is counted (sessions, a date) comes last.
//!
//! # Used from
//! The rows of the board say obstacles; the card of an athlete says what to watch.

use super::figures::{count, sentence};
use crate::board::Obstacle;
use crate::card::Watch;
use crate::day::Day;

impl Obstacle {
    /// One or two English sentences: what stands in the way, and since when.
    ///
    /// "So for at least 24 sessions" where it stood on the first day looked at, as it may have stood longer;
    /// the sessions are left out where none has passed since, and the second sentence where no day is known or
    /// the day is beyond the calendar of [`Day`].
    ///
    /// ```
    /// use lanewright_compute::board::Obstacle;
    /// use lanewright_compute::decision::{Criterion, Missing, Rating};
    /// use lanewright_compute::progress::HeldUp;
    ///
    /// let missing = Missing::Rating { criterion: Criterion::TrailLeg, seen: None, needed: Rating::Secure };
    /// let obstacle = Obstacle { what: HeldUp::Missing(missing), since: Some(20_000), sessions: 6, at_least: false };
    /// assert_eq!(
    ///     obstacle.text(),
    ///     "A step up needs the trail leg rated secure (not rated yet). So for 6 sessions, since 2024-10-04."
    /// );
    /// ```
    pub fn text(&self) -> String {
        let what = self.what.text();
        let Some(since) = self.since.and_then(Day::from_days) else { return what };
        let least = if self.at_least { "at least " } else { "" };
        match self.sessions {
            0 => format!("{what} So since {since}."),
            sessions => format!("{what} So for {least}{}, since {since}.", count(sessions, "session")),
        }
    }
}

impl Watch {
    /// Two or three English sentences: what to watch, what is usually behind it, and what usually corrects it.
    ///
    /// The last two are those of [`Correction`](crate::card::Correction), which names its source; they are what
    /// coaches write that they do, not what was seen of this athlete.
    ///
    /// ```
    /// use lanewright_compute::card::watch;
    /// use lanewright_compute::decision::{Rating, Ratings};
    ///
    /// let ratings = Ratings { landing: Some(Rating::Emerging), ..Ratings::default() };
    /// assert_eq!(
    ///     watch(&ratings, false).unwrap().text(),
    ///     "Watch the landing, rated emerging. Look first at a take-off too close, which makes the landing long and slow. Mark a \
    ///      farther take-off."
    /// );
    /// ```
    pub fn text(&self) -> String {
        let (criterion, rating) = (self.criterion.words(), self.rating.words());
        let correction = self.correction;
        let watch = sentence(&format!("watch the {criterion}, rated {rating}"));
        let look = sentence(&format!("look first at {}", correction.look_first_at));
        format!("{watch} {look} {}", sentence(correction.correction))
    }
}
