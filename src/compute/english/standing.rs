//! Why an athlete stands in a lane, in words.
//!
//! A lane of a plan serves several athletes and is for most of them not quite what is advised. What a coach
//! asks at the lane is why somebody runs there, and whether that is all right: how the lane differs from the
//! advice, what should hold there, and what is advised instead. Codes and figures are those of [`Standing`].
//!
//! | comparison | first words |
//! | --- | --- |
//! | own best, or as good (a regret below 0.005) | "This lane is as advised." |
//! | chosen by a coach (a pin) | "A coach chose this lane; it is one step closer than advised." |
//! | any other | "One step closer than advised." and what is advised, with what should hold there |
//!
//! # Used from
//! Placed athletes of a lane plan; the difference alone also on set-out sheets, which leave [`AS_ADVISED`] out,
//! and for lanes laid out by hand.

use super::figures::{metres, percent, place, plural, sentence};
use crate::standing::{Comparison, Standing};
use crate::units::Length;

/// What is said of a lane that is the advised one, in [`Standing::difference`]; compared by whoever says only
/// what differs.
pub const AS_ADVISED: &str = "as advised";
/// Small numbers in words, by position: steps between a lane and the advice are hardly ever more.
const NUMBERS: [&str; 5] = ["no", "one", "two", "three", "four"];

impl Standing {
    /// One or two English sentences: why this lane, what should hold here, and what is advised.
    ///
    /// ```
    /// use lanewright_compute::decision::Configuration;
    /// use lanewright_compute::standing::Standing;
    /// use lanewright_compute::units::{BarrierKind, Length};
    ///
    /// let (height, barrier_kind) = (Length::from_mm(500), BarrierKind::LowBarrier);
    /// let at = |mm| Configuration { barrier_kind, height, spacing: Length::from_mm(mm) };
    /// let standing = Standing {
    ///     here: at(6_250), hold_here: 0.9, best: at(6_500), hold_best: 0.8, regret: 0.04, pinned: false,
    ///     step: Length::from_mm(250),
    /// };
    /// assert_eq!(
    ///     standing.text(),
    ///     "One step closer than advised. Expect 90 % of intervals held; advised are low barriers at 0.50 m, 6.50 m apart, \
    ///      with 80 % held."
    /// );
    /// ```
    pub fn text(&self) -> String {
        let here = percent(self.hold_here);
        let best = place(self.best);
        match self.comparison() {
            Comparison::OwnBest => {
                format!("This lane is {}. Expect {here} of intervals held.", self.difference())
            }
            Comparison::ChosenByCoach => {
                format!("A coach chose this lane; it is {}. Expect {here} of intervals held.", self.difference())
            }
            _ => format!(
                "{} Expect {here} of intervals held; advised are {best}, with {} held.",
                sentence(&self.difference()),
                percent(self.hold_best)
            ),
        }
    }

    /// How the lane differs from the advice: "as advised", "one step closer than advised", "over lower barriers
    /// (0.45 m) instead of those advised".
    ///
    /// Spacing and barrier are compared exactly. Of the barrier the height is said before the kind: where both
    /// differ, the height tells more.
    pub fn difference(&self) -> String {
        let (here, best) = (self.here, self.best);
        let barrier = if here.height != best.height {
            let word = if here.height < best.height { "lower" } else { "higher" };
            Some(format!("{word} barriers ({})", metres(here.height)))
        } else if here.barrier_kind != best.barrier_kind {
            Some(plural(here.barrier_kind).to_owned())
        } else {
            None
        };
        let spacing = (here.spacing != best.spacing).then(|| {
            let word = if here.spacing < best.spacing { "closer" } else { "wider" };
            format!("{} {word}", steps(here.spacing.mm().abs_diff(best.spacing.mm()), self.step))
        });
        match (spacing, barrier) {
            (None, None) => AS_ADVISED.to_owned(),
            (Some(spacing), None) => format!("{spacing} than advised"),
            (None, Some(barrier)) => format!("over {barrier} instead of those advised"),
            (Some(spacing), Some(barrier)) => format!("{spacing} than advised, over {barrier}"),
        }
    }
}

/// "one step", "two steps", or the length where it is not whole steps, or more than four; a step of 0 gives the
/// length, too.
fn steps(mm: u32, step: Length) -> String {
    let whole = mm.checked_div(step.mm()).filter(|_| mm.is_multiple_of(step.mm().max(1)));
    match whole.and_then(|n| NUMBERS.get(n as usize).map(|word| (n, word))) {
        Some((1, word)) => format!("{word} step"),
        Some((_, word)) => format!("{word} steps"),
        None => metres(Length::from_mm(mm)),
    }
}
