//! The spacing that fits one athlete today, whatever the next step is.

use super::region::Region;
use super::rules::Rules;
use super::{Configuration, Hold};
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
    /// The permitted spacing that fits over the proposed barrier; none where no spacing is permitted.
    pub(super) fn fit_inside(&self, proposed: Configuration, region: &Region) -> Option<Fit> {
        let ends = region.bounds().iter().flat_map(|bound| [Some(bound.longest), bound.beyond]).flatten();
        let ends = ends.map(|limit| limit.spacing).chain([proposed.spacing]);
        let mut marks: Vec<Length> = ends.chain(self.ladder.marks()).collect();
        marks.sort_unstable_by(|a, b| b.cmp(a));
        marks.dedup();
        let permitted = marks.into_iter().filter_map(|spacing| {
            let hold = (self.hold)(proposed.height, spacing);
            let inside = region.check(Configuration { spacing, ..proposed }, hold.mean).is_ok();
            inside.then(|| self.fit_at(proposed.height, spacing, hold))
        });
        self.best_fit(permitted)
    }

    /// The spacing whose mean probability is nearest to the wanted one with something in hand, and never below the wanted
    /// one; the likeliest spacing where none reaches it.
    pub(super) fn fit(&self, height: Length) -> Fit {
        let at = |spacing| self.fit_at(height, spacing, (self.hold)(height, spacing));
        let longest = at(self.ladder.longest());
        self.best_fit(std::iter::once(longest).chain(self.ladder.marks().map(at))).unwrap_or(longest)
    }

    fn fit_at(&self, height: Length, spacing: Length, hold: Hold) -> Fit {
        Fit { height, spacing, hold, reached: hold.mean >= self.policy.first_lane_hold }
    }

    /// From the longest spacing inwards the probability rises to a peak and falls where the athlete is crowded: of two
    /// spacings that fit equally the longer is taken.
    fn best_fit(&self, mut longest_first: impl Iterator<Item = Fit>) -> Option<Fit> {
        let wanted = self.policy.first_lane_hold;
        let aim = wanted + IN_HAND * (1.0 - wanted);
        let miss = |fit: &Fit| (fit.hold.mean - aim).abs();
        let mut best = longest_first.next()?;
        for fit in longest_first {
            if best.reached && miss(&fit) >= miss(&best) {
                break;
            }
            if fit.reached || fit.hold.mean >= best.hold.mean {
                best = fit;
            }
        }
        Some(best)
    }
}
