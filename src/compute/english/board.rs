//! What holds an athlete up and since when, in words.

use super::figures::count;
use crate::board::Obstacle;
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
