//! Steps up: what they need, and which one comes next.

use std::cmp::Ordering;

use super::missing::Missing;
use super::reasons::Reason;
use super::rules::{Draft, Here, Rules, exceeds};
use super::situation::Clearance;
use super::{Configuration, DecisionKind};
use crate::units::BarrierKind;

/// Probabilities this close are a tie: less than any evidence can tell apart (design choice).
pub(super) const TIE: f64 = 0.005;

/// A step up that the ladders allow.
struct Step {
    kind: DecisionKind,
    to: Configuration,
    mean: f64,
    gap: f64,
}

impl Rules<'_> {
    // Rule 5.

    /// What a step up still needs, whatever the step.
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

    fn take(&self, here: Here, step: Step, why: Reason, mut reasons: Vec<Reason>) -> Draft {
        let higher = step.to.height > here.at.height && step.kind != DecisionKind::StepUpSpacing;
        reasons.push(why);
        let change = step.kind == DecisionKind::ChangeBarrierKind;
        let forced = change && step.to.spacing != here.at.spacing;
        if change {
            reasons.push(if forced { Reason::KindWithHeight } else { Reason::KindBeforeHeight });
        }
        reasons.push(Reason::step_back_if(self.policy));
        let confirm = forced || (higher && self.situation.target.is_none());
        Draft::new(step.kind, step.to, reasons).confirmed_by_coach(confirm)
    }

    fn unlikely(&self, here: Here, mean: f64, mut reasons: Vec<Reason>) -> Draft {
        let needed = self.needed_after_step();
        reasons.push(Reason::NextStepUnlikely { mean, needed });
        Draft {
            missing: vec![Missing::LikelierStep { needed }],
            ..Draft::new(DecisionKind::Consolidate, here.at, reasons)
        }
    }

    pub(super) fn no_next_step(&self, here: Here, mut reasons: Vec<Reason>) -> Draft {
        reasons.push(Reason::NoNextStep);
        let up_to = self.situation.target.map(|target| target.height);
        Draft { missing: vec![Missing::Equipment { up_to }], ..Draft::new(DecisionKind::Consolidate, here.at, reasons) }
    }

    pub(super) fn mean(&self, at: Configuration) -> f64 {
        (self.hold)(at.height, at.spacing).mean
    }

    fn likely(&self, mean: f64) -> bool {
        mean >= self.needed_after_step()
    }

    /// No step up leads to where the region's floor forbids.
    fn needed_after_step(&self) -> f64 {
        self.policy.min_hold_after_step.max(self.policy.floor())
    }
}

/// The likelier of two steps; of a tie the one further from the target, and spacing before height.
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
