//! The spacing that fits one athlete today, whatever the next step is.

use super::Hold;
use super::rules::Rules;
use crate::units::Length;

/// How far from the wanted probability towards certainty a lane is set: an over-reached interval can end in a fall, so the
/// lane has something in hand (design choice; on simulated squads true probabilities then centre on the middle of the
/// wanted one and 0.12 above it).
const IN_HAND: f64 = 0.32;

/// The spacing that fits one athlete over a height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Height of the barriers.
    pub height: Length,
    /// Spacing, on the policy's `fit_step`.
    pub spacing: Length,
    /// The prediction there.
    pub hold: Hold,
    /// Whether the wanted probability is reached; otherwise this spacing comes closest.
    pub reached: bool,
}

impl Rules<'_> {
    /// The spacing whose mean probability is nearest to the wanted one with something in hand, and never below the wanted
    /// one; the likeliest spacing where none reaches it.
    ///
    /// From the longest spacing inwards the probability rises to a peak and falls where the athlete is crowded: of two
    /// spacings that fit equally the longer is taken.
    pub(super) fn fit(&self, height: Length) -> Fit {
        let wanted = self.policy.first_lane_hold;
        let aim = wanted + IN_HAND * (1.0 - wanted);
        let miss = |fit: &Fit| (fit.hold.mean - aim).abs();
        let at = |spacing| {
            let hold = (self.hold)(height, spacing);
            Fit { height, spacing, hold, reached: hold.mean >= wanted }
        };
        let mut best = at(self.ladder.longest());
        for fit in self.ladder.marks().map(at) {
            if best.reached && miss(&fit) >= miss(&best) {
                break;
            }
            if fit.reached || fit.hold.mean >= best.hold.mean {
                best = fit;
            }
        }
        best
    }
}
