//! Why an athlete may not run somewhere, in words.

use super::figures::{metres, percent, plural, sentence};
use super::reasons::{restricted, underfoot};
use crate::decision::Wall;

impl Wall {
    /// One English sentence.
    pub fn text(&self) -> String {
        sentence(&self.clause())
    }

    pub(super) fn clause(&self) -> String {
        match *self {
            Self::Resting => "the athlete rests for now".to_owned(),
            Self::Left => "the athlete has left the club".to_owned(),
            Self::Restricted { until } => restricted(until),
            Self::PainReported => "pain, illness or an injury was reported".to_owned(),
            Self::NotOwned => "the club owns no such barrier".to_owned(),
            Self::TargetHeight { highest } => format!("the target is only {} high", metres(highest)),
            Self::TargetSpacing { longest } => format!("the target is only {} apart", metres(longest)),
            Self::KindAboveAdvice { advised } => format!("nothing harder than {} is advised", plural(advised)),
            Self::HeightAboveAdvice { highest } => format!("no more than {} high is advised", metres(highest)),
            Self::SpacingAboveAdvice { longest } => format!("no more than {} apart is advised", metres(longest)),
            Self::WiderThanHeld { longest } => {
                format!("over these lower barriers no more than {} apart follows from what was held", metres(longest))
            }
            Self::WiderNeedsHold { needed } => {
                format!("a spacing wider than advised needs {} of intervals expected to hold", percent(needed))
            }
            Self::UntilCleared { longest } => format!(
                "after a fall, report or restriction no more than {} apart, until a coach confirms and sessions were clean",
                metres(longest)
            ),
            Self::OneVariable { longest } => {
                format!(
                    "over harder barriers than last time no more than {} apart: one change at a time",
                    metres(longest)
                )
            }
            Self::SpacingAtMinimum { shortest } => format!("the club's shortest spacing is {}", metres(shortest)),
            Self::Surface { surface } => {
                format!("{}: wickets or soft barriers only, and nothing wider than advised", underfoot(surface))
            }
            Self::HoldFloor { needed } => format!("fewer than {} of intervals should hold there", percent(needed)),
        }
    }
}
