//! Steps back: out of a broken rhythm, away from hits, and from beyond the target.

use super::reasons::Reason;
use super::rules::{Draft, Here, ROUNDING, Rules, exceeds};
use super::step_up::TIE;
use super::{Configuration, DecisionKind};
use crate::units::BarrierKind;

/// By how much a lane of wickets opens at once, at most, for whoever is crowded there. Children try lanes 0.5 m apart until one
/// fits (Namikata primary school blog, grade 5, 3 December 2020: 5.5, 6.0, 6.5, 7.0 m); two of those is a design choice, chosen by
/// `./dev simulate squad`: with less, whoever begins far too close is crowded for weeks. Only over wickets, which are low and
/// give way.
const OPEN_MOST_MM: u32 = 1_000;

impl Rules<'_> {
    // Rule 3.

    pub(super) fn rhythm_broken(&self, here: Here) -> Option<Reason> {
        // What no lane permits is not kept up either.
        let limit = self.policy.step_in_hold_mean.max(self.policy.floor());
        let mean = here.hold.mean;
        if mean < limit {
            return Some(Reason::HoldLow { mean, limit });
        }
        let latest = self.situation.latest?;
        let enough = latest.intervals >= self.policy.step_back_intervals;
        let held = f64::from(latest.held) + ROUNDING;
        (enough && held < self.policy.step_in_held_share * f64::from(latest.intervals))
            .then_some(Reason::LatestBroken { held: latest.held, intervals: latest.intervals })
    }

    /// Hits of the latest session where it has enough barriers, otherwise those at the current configuration.
    pub(super) fn hits_high(&self, here: Here) -> Option<Reason> {
        let enough = |barriers: u32| barriers >= self.policy.step_back_intervals;
        let latest = self.situation.latest.filter(|latest| enough(latest.barriers));
        let evidence = here.run.evidence;
        let (hits, barriers) =
            latest.map_or((evidence.hits, evidence.barriers), |latest| (latest.hits, latest.barriers));
        (enough(barriers) && exceeds(hits, barriers, self.policy.lower_height_hit_share))
            .then_some(Reason::HitsHigh { hits, barriers })
    }

    pub(super) fn step_back(&self, here: Here) -> Option<Draft> {
        let seen = here.runs_seen();
        if let Some(broken) = self.rhythm_broken(here) {
            return Some(self.step_in(here, vec![seen, broken]));
        }
        let hits = self.hits_high(here)?;
        Some(self.lower_height(here, vec![seen, hits]))
    }

    fn step_in(&self, here: Here, mut reasons: Vec<Reason>) -> Draft {
        let Some(spacing) = self.ladder.closer(here.at.spacing) else {
            reasons.push(self.spacing_at_minimum());
            return self.lower_height(here, reasons);
        };
        if here.crowded() && self.mean(Configuration { spacing, ..here.at }) < here.hold.mean {
            reasons.push(Reason::Crowded);
            return Draft::new(DecisionKind::Consolidate, here.at, reasons).confirmed_by_coach(true);
        }
        Draft::new(DecisionKind::StepIn, Configuration { spacing, ..here.at }, reasons)
    }

    /// Wider where the lane is too short: most failures are crowded and the wider lane should hold better. One step over barriers;
    /// over wickets to the lane that should hold best, up to [`OPEN_MOST_MM`] away.
    ///
    /// Without it a growing athlete stays in a lane that crowds them, because such a lane never holds well enough for a
    /// step up. A coach confirms, because the step need not wait for the evidence that other steps need, nor reach the
    /// floor of P(hold): see [`Region`](super::Region).
    pub(super) fn open(&self, here: Here) -> Option<Draft> {
        let first = self.ladder.wider(here.at.spacing)?;
        let most = if here.at.barrier_kind == BarrierKind::Wicket { OPEN_MOST_MM } else { 0 };
        let wider = std::iter::successors(Some(first), |spacing| self.ladder.wider(*spacing));
        let near = wider.take_while(|spacing| *spacing == first || spacing.mm() <= here.at.spacing.mm() + most);
        let lanes = near.map(|spacing| Configuration { spacing, ..here.at });
        // Of lanes that should hold alike the closer one.
        let to = lanes.reduce(|best, next| if self.mean(next) > self.mean(best) + TIE { next } else { best })?;
        let wait = self.situation.unclean() || self.situation.surface.is_some();
        let short = here.crowded() && here.hold.mean < self.policy.min_hold_mean;
        (short && !wait && self.mean(to) > here.hold.mean + TIE).then(|| {
            let mut reasons = here.seen();
            reasons.extend([Reason::Crowded, Reason::step_back_if(self.policy)]);
            Draft::new(DecisionKind::StepUpSpacing, to, reasons).confirmed_by_coach(true)
        })
    }

    fn lower_height(&self, here: Here, mut reasons: Vec<Reason>) -> Draft {
        if let Some(lower) = self.ladder.lower(here.at) {
            return Draft::new(DecisionKind::LowerHeight, lower, reasons);
        }
        reasons.push(Reason::NoLowerHeight);
        Draft::new(DecisionKind::Consolidate, here.at, reasons)
    }

    pub(super) fn spacing_at_minimum(&self) -> Reason {
        Reason::SpacingAtMinimum { shortest: self.policy.min_spacing }
    }

    // Rule 4.

    pub(super) fn back_to_target(&self, here: Here) -> Option<Draft> {
        let reasons = vec![here.runs_seen(), Reason::PastTarget];
        if self.ladder.height_past_target(here.at.height) {
            let lower = self.ladder.lower(here.at);
            return Some(match lower.filter(|to| to.barrier_kind != BarrierKind::Wicket) {
                Some(to) => Draft::new(DecisionKind::LowerHeight, to, within_target(reasons)),
                None => self.no_next_step(here, reasons),
            });
        }
        self.ladder.spacing_past_target(here.at.spacing).then(|| {
            let closer = self.ladder.closer(here.at.spacing).unwrap_or_default();
            let spacing = closer.max(self.ladder.longest());
            let reasons = within_target(reasons);
            Draft::new(DecisionKind::StepIn, Configuration { spacing, ..here.at }, reasons)
        })
    }
}

/// What would change a step back from beyond the target.
fn within_target(mut reasons: Vec<Reason>) -> Vec<Reason> {
    reasons.push(Reason::UntilTargetMoves);
    reasons
}
