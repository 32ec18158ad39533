//! The next step on each ladder: spacing grid, owned heights, kinds of barrier.

use super::policy::Policy;
use super::region::rung;
use super::situation::{Situation, Stock, Target};
use super::{Configuration, DecisionKind};
use crate::units::{BarrierKind, Length};

/// The ladders that one club's equipment, grid and target allow.
#[derive(Clone, Copy)]
pub(super) struct Ladder<'a> {
    policy: &'a Policy,
    stock: &'a [Stock],
    target: Option<Target>,
}

impl<'a> Ladder<'a> {
    pub(super) fn new(situation: &'a Situation, policy: &'a Policy) -> Self {
        Self { policy, stock: &situation.stock, target: situation.target }
    }

    /// Every kind and height that the club owns.
    pub(super) fn owned(&self) -> impl Iterator<Item = (BarrierKind, Length)> + 'a {
        self.stock.iter().flat_map(|entry| entry.heights.iter().map(|height| (entry.kind, *height)))
    }

    fn owned_barriers(&self) -> impl Iterator<Item = (BarrierKind, Length)> + 'a {
        self.owned().filter(|(kind, _)| *kind != BarrierKind::Wicket)
    }

    fn same_height(&self, a: Length, b: Length) -> bool {
        a.mm().abs_diff(b.mm()) <= self.policy.height_tolerance.mm()
    }

    /// Whether `a` is higher than `b` by more than the tolerance.
    pub(super) fn above(&self, a: Length, b: Length) -> bool {
        a > b && !self.same_height(a, b)
    }

    /// The lowest wicket height that the club owns.
    pub(super) fn lowest_wicket(&self) -> Option<Length> {
        self.owned().filter(|(kind, _)| *kind == BarrierKind::Wicket).map(|(_, height)| height).min()
    }

    /// The lowest barrier beyond wickets that the club owns, the softest of equals.
    pub(super) fn lowest_barrier(&self) -> Option<(BarrierKind, Length)> {
        self.owned_barriers().min_by_key(|(kind, height)| (*height, *kind))
    }

    pub(super) fn height_past_target(&self, height: Length) -> bool {
        self.target.is_some_and(|target| self.above(height, target.height))
    }

    pub(super) fn spacing_past_target(&self, spacing: Length) -> bool {
        self.target.is_some_and(|target| spacing.mm() > target.spacing.mm() + self.policy.spacing_tolerance.mm())
    }

    /// Whether a configuration reaches the target's height, within the tolerance.
    pub(super) fn reaches_target_height(&self, height: Length) -> bool {
        self.target.is_some_and(|target| height >= target.height || self.same_height(height, target.height))
    }

    fn reaches_target_spacing(&self, spacing: Length) -> bool {
        self.target.is_some_and(|target| spacing.mm() + self.policy.spacing_tolerance.mm() >= target.spacing.mm())
    }

    /// Whether a configuration is the target specification, whatever the barriers are made of.
    pub(super) fn at_target(&self, at: Configuration) -> bool {
        at.barrier_kind != BarrierKind::Wicket
            && self.reaches_target_height(at.height)
            && !self.height_past_target(at.height)
            && self.reaches_target_spacing(at.spacing)
            && !self.spacing_past_target(at.spacing)
    }

    /// The same configuration over competition hurdles, where the club owns them at this height.
    pub(super) fn over_hurdles(&self, at: Configuration) -> Option<Configuration> {
        (at.barrier_kind != BarrierKind::Hurdle)
            .then(|| self.owned_as(BarrierKind::Hurdle, at.height))
            .flatten()
            .map(|height| Configuration { barrier_kind: BarrierKind::Hurdle, height, ..at })
    }

    fn owned_as(&self, kind: BarrierKind, height: Length) -> Option<Length> {
        self.owned()
            .filter(|(k, h)| *k == kind && self.same_height(*h, height))
            .map(|(_, h)| h)
            .min_by_key(|h| h.mm().abs_diff(height.mm()))
    }

    /// The next spacing of the club's grid, or the target's own when that comes first.
    pub(super) fn wider(&self, spacing: Length) -> Option<Length> {
        let step = self.step_mm();
        let near = spacing.mm() + self.policy.spacing_tolerance.mm();
        let limit = self.longest();
        (near < limit.mm()).then(|| Length::from_mm((near / step + 1) * step).min(limit))
    }

    /// The longest spacing that may be proposed.
    pub(super) fn longest(&self) -> Length {
        self.target.map_or(self.policy.max_spacing, |target| target.spacing)
    }

    /// The spacing of the club's grid one step closer; at least half a step where the spacing is off the grid.
    pub(super) fn closer(&self, spacing: Length) -> Option<Length> {
        let step = self.step_mm();
        let mm = spacing.mm().saturating_sub(step / 2) / step * step;
        let closer = Length::from_mm(mm);
        (closer < spacing && closer >= self.policy.min_spacing).then_some(closer)
    }

    /// Every spacing that may be marked for one athlete, longest first, without the longest that may be proposed at all.
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

    /// The next height the club owns, or the change of kind that has to come first.
    ///
    /// A harder kind at the same height comes alone. Where the harder kind starts only higher up, height rises with it and
    /// the spacing comes one step closer, as it does from wickets.
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

    /// The lowest barrier, one spacing step closer than the wicket lane and as far apart as it, unless the target forbids it.
    pub(super) fn off_wickets(&self, from: Configuration) -> Option<(Configuration, Configuration)> {
        let (barrier_kind, height) = self.lowest_barrier()?;
        let at = |spacing: Length| Configuration { barrier_kind, height, spacing: spacing.min(self.longest()) };
        let closer = self.closer(from.spacing).unwrap_or(from.spacing);
        (!self.height_past_target(height)).then(|| (at(closer), at(from.spacing)))
    }

    /// The next lower height the club owns, over no harder a kind; barriers before wickets.
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
    /// owns none.
    pub(super) fn soft(&self, from: Configuration, wickets: Configuration) -> Configuration {
        if from.barrier_kind != BarrierKind::Hurdle {
            return from;
        }
        let soft = self.owned_barriers().filter(|(kind, _)| *kind != BarrierKind::Hurdle);
        let lower = soft.filter(|(_, height)| !self.above(*height, from.height));
        let highest = lower.max_by_key(|(kind, height)| (*height, std::cmp::Reverse(*kind)));
        highest.map_or(wickets, |(barrier_kind, height)| Configuration { barrier_kind, height, ..from })
    }

    /// How far a configuration is from the target, as shares of the target: (height, spacing); zero without one.
    pub(super) fn gaps(&self, at: Configuration) -> (f64, f64) {
        let gap =
            |now: Length, goal: Length| f64::from(goal.mm().saturating_sub(now.mm())) / f64::from(goal.mm().max(1));
        self.target.map_or((0.0, 0.0), |target| (gap(at.height, target.height), gap(at.spacing, target.spacing)))
    }
}
