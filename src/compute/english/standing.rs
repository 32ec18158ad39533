//! Why an athlete stands in a lane, in words.

use super::figures::{metres, percent, place, plural, sentence};
use crate::standing::{Comparison, Standing};
use crate::units::Length;

/// What is said of a lane that is the advised one.
pub const AS_ADVISED: &str = "as advised";
/// Small numbers in words.
const NUMBERS: [&str; 5] = ["no", "one", "two", "three", "four"];

impl Standing {
    /// One or two English sentences: why this lane, what should hold here, and what is advised.
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

    /// How the lane differs from the advice: "as advised", "one step closer than advised".
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

/// "one step", "two steps", or the length where it is not whole steps.
fn steps(mm: u32, step: Length) -> String {
    let whole = mm.checked_div(step.mm()).filter(|_| mm.is_multiple_of(step.mm().max(1)));
    match whole.and_then(|n| NUMBERS.get(n as usize).map(|word| (n, word))) {
        Some((1, word)) => format!("{word} step"),
        Some((_, word)) => format!("{word} steps"),
        None => metres(Length::from_mm(mm)),
    }
}
