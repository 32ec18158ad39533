//! Why an athlete may not run somewhere, in words.
//!
//! A wall is the first limit that a configuration meets ([`Region::check`](crate::decision::Region::check)); it
//! is told where somebody asks for that configuration: an override, an entry for a race, a lane of a plan that
//! was laid out by hand, or a lane that ends a region's spacings. What would open it is added by the service,
//! which knows what was asked. Hard walls, which no coach's word opens, are marked.
//!
//! | code | in the way |
//! | --- | --- |
//! | `resting`, `left` (hard) | the athlete's status |
//! | `restricted`, `pain_reported` (hard) | health: a restriction in force, an open report |
//! | `not_owned` (hard) | no such barrier in the club's stock |
//! | `target_height`, `target_spacing` (hard) | higher or wider than the race asks for |
//! | `kind_above_advice` | a harder kind than advised; foam and low barriers count as one |
//! | `height_above_advice` | higher than advised |
//! | `spacing_above_advice` | wider than advised, over a barrier not lower than advised |
//! | `wider_than_held` | over a lower barrier, more than one step wider than held there |
//! | `wider_needs_hold` | over a lower barrier, wider than advised with P(hold) below 0.80 |
//! | `until_cleared` | over a lower barrier, wider than advised after a fall, a report or a restriction |
//! | `one_variable` | a harder barrier than run last, and wider than run last |
//! | `spacing_at_minimum` | closer than the club's shortest, or than the advice where that is closer |
//! | `surface` | a hurdle, or over a lower barrier wider than advised, on a wet or uneven surface |
//! | `hold_floor` | P(hold) below the floor, 0.65 or what the club or the plan asks for |

use super::figures::{metres, percent, plural, sentence};
use super::reasons::{restricted, underfoot};
use crate::decision::Wall;

impl Wall {
    /// One English sentence.
    ///
    /// ```
    /// use lanewright_compute::decision::Wall;
    /// use lanewright_compute::units::Length;
    ///
    /// let wall = Wall::SpacingAboveAdvice { longest: Length::from_mm(6_000) };
    /// assert_eq!(wall.text(), "No more than 6.00 m apart is advised.");
    /// ```
    pub fn text(&self) -> String {
        sentence(&self.clause())
    }

    /// The same without capital and full stop. Of a report it says neither what nor when.
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
