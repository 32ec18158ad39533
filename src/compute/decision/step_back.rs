//! Steps back: out of a broken rhythm, away from hits, and from beyond the target.
//!
//! What went wrong decides which variable gives way. With the numbers of the default policy:
//!
//! | seen | said | done |
//! | --- | --- | --- |
//! | P(hold) < 0.65 here | [`Reason::HoldLow`] | one spacing step in |
//! | fewer than half held of 8 or more intervals of the latest session | [`Reason::LatestBroken`] | one spacing step in |
//! | either at the shortest spacing | [`Reason::SpacingAtMinimum`] | one height lower |
//! | either, crowded, and closer would hold less | [`Reason::Crowded`] | the same again, a coach decides |
//! | crowded, and wider should hold better | [`Reason::Crowded`] | one step out, a coach confirms |
//! | more than a fifth of 8 or more barriers hit while it holds | [`Reason::HitsHigh`] | one height lower |
//! | higher or wider than the target | [`Reason::PastTarget`] | back within it, height first |
//!
//! A spacing that is too long and a barrier that is too high look different: the first breaks the three strides, the second is hit while
//! the strides are kept. So a broken rhythm brings the spacing in and hits bring the height down; where both are seen the rhythm is mended
//! first, and the hits of the next session tell whether the height was too much as well.
//!
//! No second day is asked for: whoever waits for proof that a lane is too hard waits in a lane that is too hard. A session of fewer than
//! eight intervals causes no step back by itself: two short runs say too little.
//!
//! # Example
//! ```
//! use lanewright_compute::decision::{
//!     Configuration, Current, DecisionKind, Evidence, Hold, LatestSession, Policy, Rating, Ratings, Situation, decide,
//! };
//! use lanewright_compute::units::{BarrierKind, Length};
//!
//! let mm = Length::from_mm;
//! let at = Configuration { barrier_kind: BarrierKind::LowBarrier, height: mm(500), spacing: mm(6_500) };
//! let evidence = Evidence { held: 15, over_reached: 5, days: 2, barriers: 25, hits: 2, ..Evidence::default() };
//! let secure = Some(Rating::Secure);
//! let say = |held, hits| {
//!     let situation = Situation {
//!         current: Some(Current { configuration: at, evidence, also: Evidence::default() }),
//!         latest: Some(LatestSession { on: 19_998, held, intervals: 8, barriers: 10, hits, fell: false }),
//!         ratings: Ratings { lead_leg: secure, trail_leg: secure, walkover: secure, ..Ratings::default() },
//!         ..Situation::unseen(20_000)
//!     };
//!     let decision = decide(&situation, &Policy::default(), &|_, _| Hold { mean: 0.75, p05: 0.6, p95: 0.9 });
//!     (decision.kind, decision.proposed.unwrap().spacing.mm())
//! };
//! assert_eq!(say(4, 2), (DecisionKind::Consolidate, 6_500));
//! assert_eq!(say(3, 2), (DecisionKind::StepIn, 6_250));
//! assert_eq!(say(3, 5), (DecisionKind::StepIn, 6_250), "a broken rhythm is asked first");
//! assert_eq!(say(5, 3), (DecisionKind::Consolidate, 6_500), "three of ten are too many, and the club owns nothing lower");
//! ```
//!
//! # Source
//! Return to the last step that worked: S. McGill, "If They Can't Do It, Don't Do It", The Hurdle Magazine. Spacing in at a lost rhythm:
//! clinic notes, "sprint-based hurdling", and a forum thread on going from four to three steps, letsrun.com. Lower after hits: study of
//! hurdle hitting in the 110 m hurdles, ISBS Proceedings 38(1), item 69, 2020. The numbers are design choices.

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

    /// Why the rhythm counts as broken, if it does: what should hold here first, then the latest session.
    ///
    /// The limit of P(hold) is [`Policy::step_in_hold_mean`](super::Policy::step_in_hold_mean) or the floor of the region, whichever is higher:
    /// a lane that no plan may give is not kept up either. The latest session counts wherever it was run.
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

    /// Hits of the latest session where it has enough barriers, otherwise those at the current configuration; none while neither has enough.
    /// From a tenth to a fifth hit is a reason to stay and none to come down: see [`Rules::missing`].
    pub(super) fn hits_high(&self, here: Here) -> Option<Reason> {
        let enough = |barriers: u32| barriers >= self.policy.step_back_intervals;
        let latest = self.situation.latest.filter(|latest| enough(latest.barriers));
        let evidence = here.run.evidence;
        let (hits, barriers) =
            latest.map_or((evidence.hits, evidence.barriers), |latest| (latest.hits, latest.barriers));
        (enough(barriers) && exceeds(hits, barriers, self.policy.lower_height_hit_share))
            .then_some(Reason::HitsHigh { hits, barriers })
    }

    /// Rule 3, backwards: in for a broken rhythm, down for hits.
    pub(super) fn step_back(&self, here: Here) -> Option<Draft> {
        let seen = here.runs_seen();
        if let Some(broken) = self.rhythm_broken(here) {
            return Some(self.step_in(here, vec![seen, broken]));
        }
        let hits = self.hits_high(here)?;
        Some(self.lower_height(here, vec![seen, hits]))
    }

    /// One spacing step in; down where the spacing is at its shortest; the same again for whoever is crowded and would hold less closer in,
    /// until a coach decides on a wider lane.
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
    ///
    /// None where P(hold) here is as high as a step up needs (then the ordinary rules open it), after a fall or on the way back, on a bad
    /// surface, and at the target's spacing. Of wicket lanes that should hold alike, within 0.005, the closest.
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

    /// One height lower; the same again where the club owns nothing lower.
    fn lower_height(&self, here: Here, mut reasons: Vec<Reason>) -> Draft {
        if let Some(lower) = self.ladder.lower(here.at) {
            return Draft::new(DecisionKind::LowerHeight, lower, reasons);
        }
        reasons.push(Reason::NoLowerHeight);
        Draft::new(DecisionKind::Consolidate, here.at, reasons)
    }

    /// That the spacing cannot come in further, with the policy's shortest.
    pub(super) fn spacing_at_minimum(&self) -> Reason {
        Reason::SpacingAtMinimum { shortest: self.policy.min_spacing }
    }

    // Rule 4.

    /// Rule 4: back within a target that is lower or closer than what is run, as after a change of age group or rule set.
    ///
    /// Height first, one owned height at a time, and never down onto wickets for it: where only those are lower the athlete stays and the
    /// missing barrier is named. The spacing comes one step closer, or to the target itself where that is nearer.
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
