//! The next step on each ladder: spacing grid, owned heights, kinds of barrier.
//!
//! ```text
//! spacing   multiples of the club's step q, and the target's own spacing T at the end
//!   wider   (floor((s + tolerance) / q) + 1) q, at most T         6.00 -> 6.25 m, 6.24 -> 6.50 m, 7.90 -> 8.00 m for q = 0.25, T = 8.00
//!   closer  floor((s - q/2) / q) q, at least min_spacing          6.00 -> 5.75 m, 6.10 -> 5.75 m, 6.13 -> 6.00 m
//! height    what the club owns, heights within the tolerance being one
//! kind      rungs: wickets < foam, low barriers < hurdles
//! ```
//!
//! A spacing that lies off the grid, because a coach set it or the target asked for it, leads back onto it: out by at most a step and a
//! tolerance, in by at least half a step, so that a step in is never one of a few centimetres. Heights are those that the club owns; a next
//! height that needs another rung changes the barriers first, alone where the harder kind can be set to the present height.
//!
//! | at low barriers of 0.60 m, 6.50 m apart, the club owning | the next height is |
//! | --- | --- |
//! | low barriers to 0.70 m | 0.70 m, 6.50 m apart: [`DecisionKind::StepUpHeight`] |
//! | hurdles of 0.60 and 0.68 m | hurdles of 0.60 m, 6.50 m apart: [`DecisionKind::ChangeBarrierKind`] |
//! | hurdles from 0.68 m | hurdles of 0.68 m, 6.25 m apart: [`DecisionKind::ChangeBarrierKind`], a coach confirms |
//! | nothing above 0.60 m | none |
//!
//! Pure arithmetic in whole millimetres: no probability is asked here, and nothing rounds.
//!
//! # Example
//! ```
//! use lanewright_compute::decision::{DecisionKind, Hold, Policy, Situation, Target, decide};
//! use lanewright_compute::units::Length;
//!
//! // A first lane is never wider than the target, which ends the ladder of spacings, on the grid or off it.
//! let mm = Length::from_mm;
//! let target = Some(Target { height: mm(762), spacing: mm(7_130), barriers: 8, approach: mm(12_000) });
//! let situation = Situation { target, ..Situation::unseen(20_000) };
//! let decision = decide(&situation, &Policy::default(), &|_, _| Hold { mean: 0.82, p05: 0.7, p95: 0.9 });
//! assert_eq!((decision.kind, decision.proposed.unwrap().spacing), (DecisionKind::Consolidate, mm(7_130)));
//! ```
//!
//! # Source
//! Design choices. Soft or give-way barriers before rigid ones: Alberta physical-education safety pages "Hurdles", revised 2020, and
//! J. Tansley, "10 P.E. Lessons Plans for Track & Field", 2001.

use super::policy::Policy;
use super::region::rung;
use super::situation::{Situation, Stock, Target};
use super::{Configuration, DecisionKind};
use crate::units::{BarrierKind, Length};

/// The ladders that one club's equipment, grid and target allow.
#[derive(Clone, Copy)]
pub(super) struct Ladder<'a> {
    /// Step, tolerances and ends of the grid.
    policy: &'a Policy,
    /// What the club owns; counts do not matter here.
    stock: &'a [Stock],
    /// Where the ladders end; without one they end with the policy's longest spacing and the highest barrier owned.
    target: Option<Target>,
}

impl<'a> Ladder<'a> {
    /// Borrows what it needs of a situation.
    pub(super) fn new(situation: &'a Situation, policy: &'a Policy) -> Self {
        Self { policy, stock: &situation.stock, target: situation.target }
    }

    /// Every kind and height that the club owns, as listed; one may come twice.
    pub(super) fn owned(&self) -> impl Iterator<Item = (BarrierKind, Length)> + 'a {
        self.stock.iter().flat_map(|entry| entry.heights.iter().map(|height| (entry.kind, *height)))
    }

    /// The same without wickets.
    fn owned_barriers(&self) -> impl Iterator<Item = (BarrierKind, Length)> + 'a {
        self.owned().filter(|(kind, _)| *kind != BarrierKind::Wicket)
    }

    /// Whether two heights are one setting.
    pub(super) fn same_height(&self, a: Length, b: Length) -> bool {
        a.mm().abs_diff(b.mm()) <= self.policy.height_tolerance.mm()
    }

    /// Whether `a` is higher than `b` by more than the tolerance.
    pub(super) fn above(&self, a: Length, b: Length) -> bool {
        a > b && !self.same_height(a, b)
    }

    /// The lowest wicket height that the club owns; none where it owns no wickets.
    pub(super) fn lowest_wicket(&self) -> Option<Length> {
        self.owned().filter(|(kind, _)| *kind == BarrierKind::Wicket).map(|(_, height)| height).min()
    }

    /// The lowest barrier beyond wickets that the club owns, the softest of equals; none where it owns none.
    pub(super) fn lowest_barrier(&self) -> Option<(BarrierKind, Length)> {
        self.owned_barriers().min_by_key(|(kind, height)| (*height, *kind))
    }

    /// Whether a height is above the target's by more than the tolerance; never without a target.
    pub(super) fn height_past_target(&self, height: Length) -> bool {
        self.target.is_some_and(|target| self.above(height, target.height))
    }

    /// Whether a spacing is wider than the target's by more than the tolerance; never without a target.
    pub(super) fn spacing_past_target(&self, spacing: Length) -> bool {
        self.target.is_some_and(|target| spacing.mm() > target.spacing.mm() + self.policy.spacing_tolerance.mm())
    }

    /// Whether a configuration reaches the target's height, within the tolerance; never without a target.
    pub(super) fn reaches_target_height(&self, height: Length) -> bool {
        self.target.is_some_and(|target| height >= target.height || self.same_height(height, target.height))
    }

    /// Whether a spacing is as wide as the target's, within the tolerance; never without a target.
    fn reaches_target_spacing(&self, spacing: Length) -> bool {
        self.target.is_some_and(|target| spacing.mm() + self.policy.spacing_tolerance.mm() >= target.spacing.mm())
    }

    /// Whether a configuration is the target specification, whatever the barriers are made of: but for wickets, which are run and not cleared.
    pub(super) fn at_target(&self, at: Configuration) -> bool {
        at.barrier_kind != BarrierKind::Wicket
            && self.reaches_target_height(at.height)
            && !self.height_past_target(at.height)
            && self.reaches_target_spacing(at.spacing)
            && !self.spacing_past_target(at.spacing)
    }

    /// The same configuration over competition hurdles, where the club owns them at this height; none where it is over hurdles already.
    pub(super) fn over_hurdles(&self, at: Configuration) -> Option<Configuration> {
        (at.barrier_kind != BarrierKind::Hurdle)
            .then(|| self.owned_as(BarrierKind::Hurdle, at.height))
            .flatten()
            .map(|height| Configuration { barrier_kind: BarrierKind::Hurdle, height, ..at })
    }

    /// The height nearest to one, within the tolerance, at which the club owns a kind; none where it owns none there.
    fn owned_as(&self, kind: BarrierKind, height: Length) -> Option<Length> {
        self.owned()
            .filter(|(k, h)| *k == kind && self.same_height(*h, height))
            .map(|(_, h)| h)
            .min_by_key(|h| h.mm().abs_diff(height.mm()))
    }

    /// The next spacing of the club's grid, or the target's own when that comes first; none where the longest is reached within the tolerance.
    pub(super) fn wider(&self, spacing: Length) -> Option<Length> {
        let step = self.step_mm();
        let near = spacing.mm() + self.policy.spacing_tolerance.mm();
        let limit = self.longest();
        (near < limit.mm()).then(|| Length::from_mm((near / step + 1) * step).min(limit))
    }

    /// The longest spacing that may be proposed: the target's, or the policy's without one.
    pub(super) fn longest(&self) -> Length {
        self.target.map_or(self.policy.max_spacing, |target| target.spacing)
    }

    /// The spacing of the club's grid one step closer; at least half a step where the spacing is off the grid. None below the policy's shortest.
    pub(super) fn closer(&self, spacing: Length) -> Option<Length> {
        let step = self.step_mm();
        let mm = spacing.mm().saturating_sub(step / 2) / step * step;
        let closer = Length::from_mm(mm);
        (closer < spacing && closer >= self.policy.min_spacing).then_some(closer)
    }

    /// Every spacing that may be marked for one athlete, longest first, without the longest that may be proposed at all: callers ask that one
    /// first, since it may lie off the marks.
    pub(super) fn marks(&self) -> impl Iterator<Item = Length> + use<> {
        let (step, longest) = (self.policy.fit_step.mm().max(1), self.longest());
        let shortest = self.policy.min_spacing.mm().div_ceil(step);
        (shortest..=longest.mm() / step)
            .rev()
            .map(move |k| Length::from_mm(k * step))
            .filter(move |mark| *mark < longest)
    }

    /// A grid step that arithmetic can use even if the policy was never checked.
    fn step_mm(&self) -> u32 {
        self.policy.spacing_step.mm().max(2)
    }

    /// The next height the club owns, or the change of kind that has to come first; none where the club owns nothing higher within the target.
    ///
    /// A harder kind at the same height comes alone. Where the harder kind starts only higher up, height rises with it and
    /// the spacing comes one step closer, as it does from wickets. Of several kinds that can be set to the next height the present one is
    /// taken, else the softest.
    pub(super) fn higher(&self, from: Configuration) -> Option<(DecisionKind, Configuration)> {
        let steps: Vec<_> = self
            .owned_barriers()
            .filter(|(kind, height)| {
                rung(*kind) >= rung(from.barrier_kind)
                    && self.above(*height, from.height)
                    && !self.height_past_target(*height)
            })
            .collect();
        let next = steps.iter().map(|(_, height)| *height).min()?;
        let (kind, height) = steps
            .into_iter()
            .filter(|(_, height)| self.same_height(*height, next))
            .min_by_key(|(kind, height)| (*kind != from.barrier_kind, *kind, *height))?;
        let to = |height, spacing| Configuration { barrier_kind: kind, height, spacing };
        if rung(kind) == rung(from.barrier_kind) {
            return Some((DecisionKind::StepUpHeight, to(height, from.spacing)));
        }
        let changed = match self.owned_as(kind, from.height) {
            Some(same) => to(same, from.spacing),
            None => to(height, self.closer(from.spacing).unwrap_or(from.spacing)),
        };
        Some((DecisionKind::ChangeBarrierKind, changed))
    }

    /// The lowest barrier, one spacing step closer than the wicket lane and as far apart as it, unless the target forbids it; none too where
    /// the club owns no barrier. Both spacings are equal at the shortest one.
    pub(super) fn off_wickets(&self, from: Configuration) -> Option<(Configuration, Configuration)> {
        let (barrier_kind, height) = self.lowest_barrier()?;
        let at = |spacing: Length| Configuration { barrier_kind, height, spacing: spacing.min(self.longest()) };
        let closer = self.closer(from.spacing).unwrap_or(from.spacing);
        (!self.height_past_target(height)).then(|| (at(closer), at(from.spacing)))
    }

    /// The next lower height the club owns, over no harder a kind; barriers before wickets, so that whoever runs over barriers stays over them
    /// as long as there are lower ones. Of several kinds at that height the present one, else the softest. The spacing stays.
    pub(super) fn lower(&self, from: Configuration) -> Option<Configuration> {
        let steps: Vec<_> = self
            .owned()
            .filter(|(kind, height)| rung(*kind) <= rung(from.barrier_kind) && self.above(from.height, *height))
            .collect();
        let barriers = |(kind, _): &&(BarrierKind, Length)| *kind != BarrierKind::Wicket;
        let highest = |(_, height): &(BarrierKind, Length)| *height;
        let next = steps.iter().filter(barriers).map(highest).max().or_else(|| steps.iter().map(highest).max())?;
        steps
            .into_iter()
            .filter(|(_, height)| self.same_height(*height, next))
            .min_by_key(|(kind, _)| {
                let wicket = *kind == BarrierKind::Wicket;
                (*kind != from.barrier_kind, wicket, *kind)
            })
            .map(|(barrier_kind, height)| Configuration { barrier_kind, height, ..from })
    }

    /// The same lane without rigid barriers: over the highest soft ones no higher than the hurdles, over wickets where the club
    /// owns none. Anything but hurdles stays as it is.
    pub(super) fn soft(&self, from: Configuration, wickets: Configuration) -> Configuration {
        if from.barrier_kind != BarrierKind::Hurdle {
            return from;
        }
        let soft = self.owned_barriers().filter(|(kind, _)| *kind != BarrierKind::Hurdle);
        let lower = soft.filter(|(_, height)| !self.above(*height, from.height));
        let highest = lower.max_by_key(|(kind, height)| (*height, std::cmp::Reverse(*kind)));
        highest.map_or(wickets, |(barrier_kind, height)| Configuration { barrier_kind, height, ..from })
    }

    /// How far a configuration is from the target, as shares of the target: (height, spacing), 0 to 1; zero without one and beyond it.
    pub(super) fn gaps(&self, at: Configuration) -> (f64, f64) {
        let gap =
            |now: Length, goal: Length| f64::from(goal.mm().saturating_sub(now.mm())) / f64::from(goal.mm().max(1));
        self.target.map_or((0.0, 0.0), |target| (gap(at.height, target.height), gap(at.spacing, target.spacing)))
    }
}
