//! Steps up: what they need, and which one comes next.
//!
//! A step up is open when [`Rules::missing`] is empty. Then, by rule:
//!
//! ```text
//! 6  at the target            -> race test; over the club's hurdles of that height first
//! 7  over wickets             -> lowest barrier, one step closer (or as far apart where that is likelier by more than 0.005)
//! 8  otherwise                -> of {next spacing, next height} those with P >= max(min_hold_after_step, floor);
//!                                the likelier one; within 0.005 the one with the larger gap to the target; then spacing
//! ```
//!
//! The gap of a variable is the share of the target that is still to go, (T - x) / T: at 6.00 m of 8.00 m it is 0.25, at 0.60 m of 0.762 m
//! it is 0.21, so the spacing is further away. A step that would not hold is not taken, and [`Missing::LikelierStep`] says what it
//! would need; where the club owns no barrier for it, [`Missing::Equipment`] does.
//!
//! # Why the likelier one
//! Both steps lead to the same target, and the order in which spacing and height are climbed is free. The likelier step keeps the
//! athlete where most intervals are held, and it alternates by itself: the further one variable is climbed, the less likely its next step.
//!
//! # Example
//! ```
//! use lanewright_compute::decision::{
//!     Configuration, Current, DecisionKind, Evidence, Hold, Policy, Rating, Ratings, Situation, Stock, Target, decide,
//! };
//! use lanewright_compute::units::{BarrierKind, Length};
//!
//! let mm = Length::from_mm;
//! let at = Configuration { barrier_kind: BarrierKind::LowBarrier, height: mm(500), spacing: mm(6_000) };
//! let evidence = Evidence { held: 13, over_reached: 1, days: 2, barriers: 16, hits: 1, ..Evidence::default() };
//! let secure = Some(Rating::Secure);
//! let ready = Situation {
//!     current: Some(Current { configuration: at, evidence, also: Evidence::default() }),
//!     ratings: Ratings { lead_leg: secure, trail_leg: secure, walkover: secure, ..Ratings::default() },
//!     target: Some(Target { height: mm(762), spacing: mm(8_000), barriers: 8, approach: mm(12_000) }),
//!     stock: vec![Stock { kind: BarrierKind::LowBarrier, heights: vec![mm(500), mm(600)] }],
//!     ..Situation::unseen(20_000)
//! };
//! // A quarter of a metre costs 0.06, a tenth of a metre of height 0.03.
//! let hold = |height: Length, spacing: Length| {
//!     let mean = 0.90 - 0.24 * (spacing.metres() - 6.0) - 0.3 * (height.metres() - 0.5);
//!     Hold { mean, p05: mean - 0.15, p95: mean + 0.05 }
//! };
//! let decision = decide(&ready, &Policy::default(), &hold);
//! assert_eq!((decision.kind, decision.proposed), (DecisionKind::StepUpHeight, Some(Configuration { height: mm(600), ..at })));
//! // Eleven intervals are one short of what the policy asks.
//! let evidence = Evidence { held: 10, ..evidence };
//! let early = Situation { current: Some(Current { configuration: at, evidence, also: Evidence::default() }), ..ready };
//! let decision = decide(&early, &Policy::default(), &hold);
//! assert_eq!((decision.kind, decision.missing[0].code()), (DecisionKind::Consolidate, "intervals"));
//! ```
//!
//! # Source
//! Design choices; that one thing changes at a time is common practice, no source.

use std::cmp::Ordering;

use super::missing::Missing;
use super::reasons::Reason;
use super::rules::{Draft, Here, Rules, exceeds};
use super::situation::Clearance;
use super::{Configuration, DecisionKind};
use crate::units::BarrierKind;

/// Probabilities this close are a tie: less than any evidence can tell apart (design choice). Without it the order of two equal steps
/// would hang on the last digit.
pub(super) const TIE: f64 = 0.005;

/// A step up that the ladders allow.
struct Step {
    /// What it is called.
    kind: DecisionKind,
    /// Where it leads.
    to: Configuration,
    /// Mean P(hold) there, 0 to 1.
    mean: f64,
    /// How far its variable is from the target, 0 to 1; 0 without a target.
    gap: f64,
}

impl Rules<'_> {
    // Rule 5.

    /// What a step up still needs, whatever the step; empty when one is open.
    ///
    /// In this order: intervals and days (of everything that counts, also from elsewhere), probabilities, hits, a held session, ratings, a clean
    /// session, a coach's confirmation, sessions since a return, a dry surface. A probability that is not a number reaches nothing. Without
    /// a current configuration all intervals and days are missing and nothing is said of probabilities.
    ///
    /// A coach's confirmation is missing on the day of a fall already, before anybody could give it: a step up needs a clean session first,
    /// and the word as well.
    pub(super) fn missing(&self) -> Vec<Missing> {
        let policy = self.policy;
        let evidence = self.current.map(|here| here.run.counted()).unwrap_or_default();
        let intervals = policy.min_intervals.saturating_sub(evidence.intervals());
        let days = policy.min_days.saturating_sub(evidence.days);
        let mut missing = Vec::new();
        missing.extend((intervals > 0).then_some(Missing::Intervals { count: intervals }));
        missing.extend((days > 0).then_some(Missing::Days { count: days }));
        if let Some(here) = self.current {
            let reaches = |p: f64, needed: f64| p >= needed;
            let needed = policy.min_hold_mean;
            missing.extend((!reaches(here.hold.mean, needed)).then_some(Missing::HoldMean { needed }));
            let needed = policy.min_hold_p05;
            missing.extend((!reaches(here.hold.p05, needed)).then_some(Missing::HoldLow { needed }));
            let hits =
                exceeds(evidence.hits, evidence.barriers, policy.max_hit_share) || self.hits_high(here).is_some();
            let share = policy.max_hit_share;
            missing.extend(hits.then_some(Missing::FewerHits { share }));
            let broken = matches!(self.rhythm_broken(here), Some(Reason::LatestBroken { .. }));
            let share = policy.step_in_held_share;
            missing.extend(broken.then_some(Missing::HeldSession { share }));
        }
        missing.extend(self.below.iter().map(|(_, rating)| *rating));
        let unclean = self.situation.fell() || self.situation.report.is_some();
        missing.extend(unclean.then_some(Missing::CleanSession));
        let pending = self.situation.clearance == Clearance::Pending
            || (unclean && self.situation.clearance == Clearance::NotNeeded)
            || self.situation.unconfirmed();
        missing.extend(pending.then_some(Missing::CoachConfirmation));
        let count = self.situation.sessions_to_come();
        missing.extend((count > 0).then_some(Missing::SessionsBack { count }));
        missing.extend(self.situation.surface.map(|_| Missing::DrySurface));
        missing
    }

    /// Rule 5: the same again while anything is missing, with the ratings that stand against it and whether the athlete is just back.
    pub(super) fn not_ready(&self, here: Here) -> Option<Draft> {
        (!self.missing().is_empty()).then(|| {
            let mut reasons = here.seen();
            reasons.extend(self.gate_reasons());
            reasons.extend(self.return_reason());
            reasons.push(Reason::NotReady);
            Draft::new(DecisionKind::Consolidate, here.at, reasons)
        })
    }

    // Rule 6.

    /// Rule 6: at the target within the tolerances. Held over softer barriers it is first run over hurdles, so that a race is not where an
    /// athlete meets them first; where the club owns none at that height the race test comes at once. None without a target.
    pub(super) fn race_test(&self, here: Here) -> Option<Draft> {
        let target = self.situation.target.filter(|_| self.ladder.at_target(here.at))?;
        let mut reasons = here.seen();
        let (kind, to) = if let Some(hurdles) = self.ladder.over_hurdles(here.at) {
            reasons.push(Reason::TargetOverHurdles);
            (DecisionKind::ChangeBarrierKind, hurdles)
        } else {
            reasons.push(Reason::AtTarget { barriers: target.barriers, approach: target.approach });
            let spacing = target.spacing;
            (DecisionKind::RaceTest, Configuration { spacing, ..here.at })
        };
        reasons.push(Reason::step_back_if(self.policy));
        Some(Draft::new(kind, to, reasons))
    }

    // Rule 7.

    /// Rule 7: off wickets onto the lowest barrier, one step closer (common practice, no source), or as far apart where closer would crowd.
    /// None where that is not likely enough, where the lowest barrier is above the target and where there is none: then the wickets may still
    /// open (rule 8).
    pub(super) fn leave_wickets(&self, here: Here) -> Option<Draft> {
        if here.at.barrier_kind != BarrierKind::Wicket {
            return None;
        }
        let (closer, same) = self.ladder.off_wickets(here.at)?;
        let to = if self.mean(same) > self.mean(closer) + TIE { same } else { closer };
        self.likely(self.mean(to)).then(|| {
            let mut reasons = here.seen();
            reasons.extend([Reason::WicketsHeld, Reason::step_back_if(self.policy)]);
            Draft::new(DecisionKind::ChangeBarrierKind, to, reasons)
        })
    }

    // Rule 8.

    /// Rule 8: one step of one variable, or the same again with what the likeliest step would need. Over wickets only the spacing can step:
    /// height waits for barriers.
    pub(super) fn step_up(&self, here: Here) -> Draft {
        let mut steps = self.steps(here.at);
        let likeliest = steps.iter().map(|step| step.mean).fold(f64::NAN, f64::max);
        steps.retain(|step| self.likely(step.mean));
        let mut steps = steps.into_iter();
        let reasons = here.seen();
        match (steps.next(), steps.next()) {
            (Some(only), None) => self.take(here, only, Reason::OnlyStep, reasons),
            (Some(spacing), Some(height)) => {
                let (step, why) = choose(spacing, height);
                self.take(here, step, why, reasons)
            }
            _ if likeliest.is_nan() => self.no_next_step(here, reasons),
            _ => self.unlikely(here, likeliest, reasons),
        }
    }

    /// At most two steps: spacing, then height or the barriers that the next height needs.
    fn steps(&self, from: Configuration) -> Vec<Step> {
        let (height_gap, spacing_gap) = self.ladder.gaps(from);
        let wider = self.ladder.wider(from.spacing).map(|spacing| {
            let to = Configuration { spacing, ..from };
            (DecisionKind::StepUpSpacing, to, spacing_gap)
        });
        let higher = (from.barrier_kind != BarrierKind::Wicket)
            .then(|| self.ladder.higher(from))
            .flatten()
            .map(|(kind, to)| (kind, to, height_gap));
        wider.into_iter().chain(higher).map(|(kind, to, gap)| Step { kind, to, mean: self.mean(to), gap }).collect()
    }

    /// The draft of a step, with why this one and when to step back again. Confirmed by a coach where a change of kind changes the height
    /// too, whether or not the spacing could come in for it, and where a height rises without a target that bounds it.
    fn take(&self, here: Here, step: Step, why: Reason, mut reasons: Vec<Reason>) -> Draft {
        let higher = step.to.height > here.at.height && step.kind != DecisionKind::StepUpSpacing;
        reasons.push(why);
        let change = step.kind == DecisionKind::ChangeBarrierKind;
        let forced = change && !self.ladder.same_height(step.to.height, here.at.height);
        if change {
            reasons.push(if forced { Reason::KindWithHeight } else { Reason::KindBeforeHeight });
        }
        reasons.push(Reason::step_back_if(self.policy));
        let confirm = forced || (higher && self.situation.target.is_none());
        Draft::new(step.kind, step.to, reasons).confirmed_by_coach(confirm)
    }

    /// The same again: steps there are, none likely enough.
    fn unlikely(&self, here: Here, mean: f64, mut reasons: Vec<Reason>) -> Draft {
        let needed = self.needed_after_step();
        reasons.push(Reason::NextStepUnlikely { mean, needed });
        Draft {
            missing: vec![Missing::LikelierStep { needed }],
            ..Draft::new(DecisionKind::Consolidate, here.at, reasons)
        }
    }

    /// The same again: the club owns no barrier for a next step, and the spacing is at its end.
    pub(super) fn no_next_step(&self, here: Here, mut reasons: Vec<Reason>) -> Draft {
        reasons.push(Reason::NoNextStep);
        let up_to = self.situation.target.map(|target| target.height);
        Draft { missing: vec![Missing::Equipment { up_to }], ..Draft::new(DecisionKind::Consolidate, here.at, reasons) }
    }

    /// Mean P(hold) at a configuration, whatever its kind.
    pub(super) fn mean(&self, at: Configuration) -> f64 {
        (self.hold)(at.height, at.spacing).mean
    }

    /// Whether that is enough after a step; false for what is not a number.
    fn likely(&self, mean: f64) -> bool {
        mean >= self.needed_after_step()
    }

    /// No step up leads to where the region's floor forbids.
    fn needed_after_step(&self) -> f64 {
        self.policy.min_hold_after_step.max(self.policy.floor())
    }
}

/// The likelier of two steps; of a tie the one further from the target, and spacing before height: it needs no other setting of the
/// barriers.
fn choose(spacing: Step, height: Step) -> (Step, Reason) {
    let lead = height.mean - spacing.mean;
    if lead.abs() <= TIE {
        // A gap is a share of the target in whole millimetres: equal gaps come from equal figures.
        return match height.gap.total_cmp(&spacing.gap) {
            Ordering::Greater => (height, Reason::LargerGap),
            Ordering::Less => (spacing, Reason::LargerGap),
            Ordering::Equal => (spacing, Reason::SpacingFirst),
        };
    }
    let (taken, other) = if lead > 0.0 { (height, spacing) } else { (spacing, height) };
    let why = Reason::LikelierStep { taken: taken.mean, other: other.mean };
    (taken, why)
}
