//! The spacing that fits one athlete today, whatever the next step is.
//!
//! A lane of their own need not stand on the club's grid. Of the spacings s that [`fit_step`](super::Policy::fit_step) marks (0.10 m), the
//! one is taken at which an interval holds with a probability nearest to an aim a little above the wanted one p*
//! ([`first_lane_hold`](super::Policy::first_lane_hold), 0.80):
//!
//! ```text
//! aim = p* + 0.32 (1 - p*)                                   0.864 for p* = 0.80
//! s   = argmin |P(s) - aim|  among those with P(s) >= p*     else  argmax P(s)
//! ```
//!
//! P(s) rises from the longest spacing inwards and falls again where the athlete is crowded. The search therefore begins at the longest
//! and, once p* is reached, stops at the first spacing that misses the aim by as much as the best so far or more: of two spacings that
//! fit alike, one on either side of the peak, it finds the longer.
//!
//! An over-reached interval can end in a fall, so the aim lies above p*; how far is [`IN_HAND`]. On simulated squads true probabilities
//! then lie in p* to p* + 0.12 on average, the bar that the recommendation is held to.
//!
//! # Example
//! With P = 0.70, 0.78, 0.83, 0.88, 0.92 at 6.40, 6.30, 6.20, 6.10, 6.00 m the aim of 0.864 is missed by 0.034 at 6.20 and by 0.016 at
//! 6.10 m, and by 0.056 at 6.00 m, so 6.10 m fits. Through the public door:
//!
//! ```
//! use lanewright_compute::decision::{Hold, Policy, Situation, decide};
//! use lanewright_compute::units::Length;
//!
//! let hold = |_: Length, spacing: Length| {
//!     let mean = match spacing.mm() {
//!         6_301.. => 0.70,
//!         6_300 => 0.78,
//!         6_200 => 0.83,
//!         6_100 => 0.88,
//!         _ => 0.92,
//!     };
//!     Hold { mean, p05: mean - 0.2, p95: mean + 0.05 }
//! };
//! let fit = decide(&Situation::unseen(20_000), &Policy::default(), &hold).fit.unwrap();
//! assert_eq!((fit.spacing, fit.reached), (Length::from_mm(6_100), true));
//! ```
//!
//! # Where it is asked
//! [`Decision::fit`](super::Decision::fit) inside the permitted region; the first wicket lane of somebody without runs, and the lane to come
//! back to when nothing was held before, without one.
//!
//! # Source
//! Design choice.

use super::region::Region;
use super::rules::Rules;
use super::{Configuration, Hold};
use crate::units::Length;

/// How far from the wanted probability towards certainty a lane is set, a share from 0 to 1: an over-reached interval can end in a fall, so
/// the lane has something in hand (design choice; on simulated squads true probabilities then centre on the middle of the
/// wanted one and 0.12 above it).
const IN_HAND: f64 = 0.32;

/// The spacing that fits one athlete over a height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Height of the barriers: that of the proposal.
    pub height: Length,
    /// Spacing, on the policy's `fit_step`, or an end of what is permitted, or the proposed one.
    pub spacing: Length,
    /// The prediction there, probabilities 0 to 1.
    pub hold: Hold,
    /// Whether the wanted probability is reached, without what is in hand; otherwise this spacing comes closest to it from below.
    pub reached: bool,
}

impl Rules<'_> {
    /// The permitted spacing that fits over the proposed barrier; none where no spacing is permitted.
    ///
    /// The marks of `fit_step` are not all there is: the ends of the region lie off them where the club's grid or a target does, and the
    /// proposed spacing itself is always asked, so that whoever is advised 6.25 m is not told that 6.20 m fits for want of a mark.
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

    /// A spacing as a candidate: what should hold there, and whether that is as much as wanted.
    fn fit_at(&self, height: Length, spacing: Length, hold: Hold) -> Fit {
        Fit { height, spacing, hold, reached: hold.mean >= self.policy.first_lane_hold }
    }

    /// The best of some candidates, longest first; none of none.
    ///
    /// From the longest spacing inwards the probability rises to a peak and falls where the athlete is crowded: of two
    /// spacings that fit equally the longer is taken. Below p* a likelier candidate always replaces one that is less likely; once p* is reached,
    /// the first that misses the aim by as much or more ends the search.
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
