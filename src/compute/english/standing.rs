//! Why an athlete stands in a lane, in words.

use super::figures::{metres, percent, place, plural, sentence};
use crate::standing::{Comparison, Standing};

impl Standing {
    /// One or two English sentences: why this lane, what should hold here, what is lost and what would be best.
    pub fn text(&self) -> String {
        let here = percent(self.hold_here);
        let best = place(self.best);
        let why = match self.comparison() {
            Comparison::OwnBest => {
                return format!("This is as good as the athlete's own best lane. Expect {here} of intervals held.");
            }
            Comparison::ChosenByCoach if self.here == self.best => {
                return format!(
                    "A coach chose this lane, which is the athlete's own best. Expect {here} of intervals held."
                );
            }
            Comparison::ChosenByCoach => "a coach chose this lane".to_owned(),
            Comparison::Closer => {
                format!("the spacing is shorter than the athlete's best {}", metres(self.best.spacing))
            }
            Comparison::Wider => format!("the spacing is longer than the athlete's best {}", metres(self.best.spacing)),
            Comparison::Lower => format!("the barriers are lower than the athlete's best {}", metres(self.best.height)),
            Comparison::Higher => {
                format!("the barriers are higher than the athlete's best {}", metres(self.best.height))
            }
            Comparison::OtherKind => {
                format!("the athlete would do best over {} here", plural(self.best.barrier_kind))
            }
        };
        let lost = if self.regret < 0.005 { "under 1 %".to_owned() } else { percent(self.regret) };
        format!(
            "{} Expect {here} of intervals held and {lost} of the training value lost; the own best lane is {best}, \
             with {} held.",
            sentence(&why),
            percent(self.hold_best)
        )
    }
}
