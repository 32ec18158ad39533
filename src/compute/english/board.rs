//! What holds an athlete up and since when, and what to watch, in words.

use super::figures::{count, sentence};
use crate::board::Obstacle;
use crate::card::Watch;
use crate::day::Day;

impl Obstacle {
    /// One or two English sentences: what stands in the way, and since when.
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
    pub fn text(&self) -> String {
        let (criterion, rating) = (self.criterion.words(), self.rating.words());
        let correction = self.correction;
        let watch = sentence(&format!("watch the {criterion}, rated {rating}"));
        let look = sentence(&format!("look first at {}", correction.look_first_at));
        format!("{watch} {look} {}", sentence(correction.correction))
    }
}
