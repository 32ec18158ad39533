//! The rules in order; the first that applies decides.

use super::cautions;
use super::ladder::Ladder;
use super::policy::Policy;
use super::reasons::{Missing, Reason};
use super::situation::{Clearance, Criterion, Current, Situation};
use super::{Configuration, Decision, DecisionKind, Hold, Stage};
use crate::compute::units::{BarrierKind, Length};

/// Probabilities this close are a tie: less than any evidence can tell apart (design choice).
const TIE: f64 = 0.005;

/// Keeps a share that is exactly on its limit from falling beside it by rounding.
const ROUNDING: f64 = 1e-9;

/// One athlete's situation beside the club's policy and the athlete's prediction.
pub(super) struct Rules<'a> {
    situation: &'a Situation,
    policy: &'a Policy,
    hold: &'a dyn Fn(Length, Length) -> Hold,
    ladder: Ladder<'a>,
    current: Option<Here>,
    below: Vec<(Criterion, Missing)>,
}

/// The current configuration, its evidence and the prediction at it.
#[derive(Clone, Copy)]
struct Here {
    at: Configuration,
    run: Current,
    hold: Hold,
}

/// What a rule says; the rest of the decision follows from it.
struct Draft {
    kind: DecisionKind,
    proposed: Option<Configuration>,
    reasons: Vec<Reason>,
    confirm: bool,
    missing: Vec<Missing>,
}

/// A step up that the ladders allow.
struct Step {
    kind: DecisionKind,
    to: Configuration,
    mean: f64,
    gap: f64,
}

impl Draft {
    fn new(kind: DecisionKind, to: Configuration, reasons: Vec<Reason>) -> Self {
        Self {
            kind,
            proposed: Some(to),
            reasons,
            confirm: false,
            missing: Vec::new(),
        }
    }

    fn confirmed_by_coach(self, confirm: bool) -> Self {
        Self { confirm, ..self }
    }
}

impl<'a> Rules<'a> {
    pub(super) fn new(
        situation: &'a Situation,
        policy: &'a Policy,
        hold: &'a dyn Fn(Length, Length) -> Hold,
    ) -> Self {
        let current = situation.current.map(|run| Here {
            at: run.configuration,
            run,
            hold: hold(run.configuration.height, run.configuration.spacing),
        });
        Self {
            situation,
            policy,
            hold,
            ladder: Ladder::new(situation, policy),
            current,
            below: below_secure(situation, policy),
        }
    }

    pub(super) fn decide(&self) -> Decision {
        let draft = self.rest().or_else(|| self.fall()).unwrap_or_else(|| {
            let Some(here) = self.current else {
                return self.first_lane();
            };
            self.to_wickets(here)
                .or_else(|| self.step_back(here))
                .or_else(|| self.back_to_target(here))
                .or_else(|| self.not_ready(here))
                .or_else(|| self.race_test(here))
                .or_else(|| self.leave_wickets(here))
                .unwrap_or_else(|| self.step_up(here))
        });
        self.finish(draft)
    }

    fn finish(&self, draft: Draft) -> Decision {
        let current = self.current.map(|here| here.at);
        let mut missing = self.missing();
        missing.extend(draft.missing);
        let restricted = self.situation.restriction_in_force();
        let recompute = i32::from(self.policy.recompute_after_days);
        let mut decision = Decision {
            kind: draft.kind,
            current,
            proposed: draft.proposed,
            stage: self.stage(draft.kind, draft.proposed.or(current)),
            hold_current: self.current.map(|here| here.hold),
            hold_proposed: draft.proposed.map(|at| (self.hold)(at.height, at.spacing)),
            needs_confirmation: draft.confirm || self.situation.clearance == Clearance::Pending,
            reasons: draft.reasons,
            cautions: Vec::new(),
            missing,
            valid_until: restricted
                .and_then(|flag| flag.until)
                .unwrap_or(self.situation.on.saturating_add(recompute)),
        };
        decision.cautions = cautions::of(self.situation, self.policy, &decision);
        decision
    }

    // Rule 1.

    fn rest(&self) -> Option<Draft> {
        let restricted = self.situation.restriction_in_force();
        let pain = self.situation.pain_stands();
        let mut reasons = Vec::new();
        reasons.extend(pain.then_some(Reason::PainReported));
        reasons.extend(restricted.map(|flag| Reason::Restricted { until: flag.until }));
        (!reasons.is_empty()).then(|| {
            reasons.push(Reason::UntilCleared);
            Draft {
                kind: DecisionKind::RestAndRefer,
                proposed: None,
                reasons,
                confirm: true,
                missing: Vec::new(),
            }
        })
    }

    fn fall(&self) -> Option<Draft> {
        if !self.situation.fell() || self.situation.clearance == Clearance::Given {
            return None;
        }
        let from = self
            .current
            .map_or_else(|| self.wickets_at(self.first_spacing()), |here| here.at);
        let lowered = if self.gated() && from.barrier_kind != BarrierKind::Wicket {
            Some(self.wickets_at(from.spacing))
        } else {
            self.ladder.lower(from)
        };
        let closer = self.ladder.closer(from.spacing);
        let mut reasons = vec![Reason::Fell];
        reasons.extend(lowered.is_none().then_some(Reason::NoLowerHeight));
        reasons.extend(closer.is_none().then(|| self.spacing_at_minimum()));
        let kind = match (lowered, closer) {
            _ if self.current.is_none() => DecisionKind::LowerHeight,
            (Some(_), _) => DecisionKind::LowerHeight,
            (None, Some(_)) => DecisionKind::StepIn,
            (None, None) => DecisionKind::Consolidate,
        };
        let to = Configuration {
            spacing: closer.unwrap_or(from.spacing),
            ..lowered.unwrap_or(from)
        };
        Some(Draft::new(kind, to, reasons).confirmed_by_coach(true))
    }

    // Rule 2.

    fn gated(&self) -> bool {
        self.below
            .iter()
            .any(|(criterion, _)| Criterion::GATE.contains(criterion))
    }

    fn gate_reasons(&self) -> impl Iterator<Item = Reason> + '_ {
        self.below
            .iter()
            .map(|(criterion, _)| Reason::TechniqueGate {
                criterion: *criterion,
                seen: self.situation.ratings.of(*criterion),
            })
    }

    fn wickets_at(&self, spacing: Length) -> Configuration {
        Configuration {
            barrier_kind: BarrierKind::Wicket,
            height: self
                .ladder
                .lowest_wicket()
                .unwrap_or(self.policy.wicket_height),
            spacing,
        }
    }

    /// The longest grid spacing that should hold over wickets; the likeliest one when none does.
    fn first_spacing(&self) -> Length {
        let height = self.wickets_at(self.policy.min_spacing).height;
        let mut likeliest: Option<(f64, Length)> = None;
        for spacing in self.ladder.grid() {
            let mean = (self.hold)(height, spacing).mean;
            if mean >= self.policy.first_lane_hold {
                return spacing;
            }
            if likeliest.is_none_or(|(best, _)| mean >= best) {
                likeliest = Some((mean, spacing));
            }
        }
        likeliest.map_or(self.ladder.longest(), |(_, spacing)| spacing)
    }

    fn first_lane(&self) -> Draft {
        let wanted = self.policy.first_lane_hold;
        let mut reasons = vec![Reason::NoRuns];
        reasons.extend(self.gate_reasons());
        reasons.push(Reason::FirstLane { wanted });
        Draft::new(
            DecisionKind::Consolidate,
            self.wickets_at(self.first_spacing()),
            reasons,
        )
    }

    fn to_wickets(&self, here: Here) -> Option<Draft> {
        if !self.gated() || here.at.barrier_kind == BarrierKind::Wicket {
            return None;
        }
        let broken = self.rhythm_broken(here);
        let closer = self
            .ladder
            .closer(here.at.spacing)
            .filter(|_| broken.is_some());
        let mut reasons = vec![self.runs_seen(here)];
        reasons.extend(broken);
        reasons.extend(self.gate_reasons());
        let to = self.wickets_at(closer.unwrap_or(here.at.spacing));
        Some(Draft::new(DecisionKind::ChangeBarrierKind, to, reasons))
    }

    // Rule 3.

    fn rhythm_broken(&self, here: Here) -> Option<Reason> {
        let limit = self.policy.step_in_hold_mean;
        let mean = here.hold.mean;
        if mean < limit {
            return Some(Reason::HoldLow { mean, limit });
        }
        let latest = self.situation.latest?;
        let enough = latest.intervals >= self.policy.step_back_intervals;
        let held = f64::from(latest.held) + ROUNDING;
        (enough && held < self.policy.step_in_held_share * f64::from(latest.intervals)).then_some(
            Reason::LatestBroken {
                held: latest.held,
                intervals: latest.intervals,
            },
        )
    }

    /// Hits of the latest session where it has enough barriers, otherwise those at the current configuration.
    fn hits_high(&self, here: Here) -> Option<Reason> {
        let enough = |barriers: u32| barriers >= self.policy.step_back_intervals;
        let latest = self
            .situation
            .latest
            .filter(|latest| enough(latest.barriers));
        let evidence = here.run.evidence;
        let (hits, barriers) = latest.map_or((evidence.hits, evidence.barriers), |latest| {
            (latest.hits, latest.barriers)
        });
        (enough(barriers) && exceeds(hits, barriers, self.policy.lower_height_hit_share))
            .then_some(Reason::HitsHigh { hits, barriers })
    }

    fn step_back(&self, here: Here) -> Option<Draft> {
        let seen = self.runs_seen(here);
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
        if self.crowded(here, spacing) {
            reasons.push(Reason::Crowded);
            return Draft::new(DecisionKind::Consolidate, here.at, reasons)
                .confirmed_by_coach(true);
        }
        Draft::new(
            DecisionKind::StepIn,
            Configuration { spacing, ..here.at },
            reasons,
        )
    }

    /// Whether the spacing is too short rather than too long, by what was seen and by the prediction.
    fn crowded(&self, here: Here, closer: Length) -> bool {
        let evidence = here.run.evidence;
        evidence.crowded > evidence.over_reached.saturating_add(evidence.broken)
            && (self.hold)(here.at.height, closer).mean < here.hold.mean
    }

    fn lower_height(&self, here: Here, mut reasons: Vec<Reason>) -> Draft {
        if let Some(lower) = self.ladder.lower(here.at) {
            return Draft::new(DecisionKind::LowerHeight, lower, reasons);
        }
        reasons.push(Reason::NoLowerHeight);
        Draft::new(DecisionKind::Consolidate, here.at, reasons)
    }

    fn spacing_at_minimum(&self) -> Reason {
        Reason::SpacingAtMinimum {
            shortest: self.policy.min_spacing,
        }
    }

    // Rule 4.

    fn back_to_target(&self, here: Here) -> Option<Draft> {
        let reasons = vec![self.runs_seen(here), Reason::PastTarget];
        if self.ladder.height_past_target(here.at.height) {
            let lower = self.ladder.lower(here.at);
            return Some(
                match lower.filter(|to| to.barrier_kind != BarrierKind::Wicket) {
                    Some(to) => Draft::new(DecisionKind::LowerHeight, to, reasons),
                    None => self.no_next_step(here, reasons),
                },
            );
        }
        self.ladder.spacing_past_target(here.at.spacing).then(|| {
            let closer = self.ladder.closer(here.at.spacing).unwrap_or_default();
            let spacing = closer.max(self.ladder.longest());
            Draft::new(
                DecisionKind::StepIn,
                Configuration { spacing, ..here.at },
                reasons,
            )
        })
    }

    // Rule 5.

    /// What a step up still needs, whatever the step.
    fn missing(&self) -> Vec<Missing> {
        let policy = self.policy;
        let evidence = self
            .current
            .map(|here| here.run.evidence)
            .unwrap_or_default();
        let intervals = policy.min_intervals.saturating_sub(evidence.intervals());
        let days = policy.min_days.saturating_sub(evidence.days);
        let mut missing = Vec::new();
        missing.extend((intervals > 0).then_some(Missing::Intervals { count: intervals }));
        missing.extend((days > 0).then_some(Missing::Days { count: days }));
        if let Some(here) = self.current {
            let reaches = |p: f64, needed: f64| p >= needed;
            let needed = policy.min_hold_mean;
            missing
                .extend((!reaches(here.hold.mean, needed)).then_some(Missing::HoldMean { needed }));
            let needed = policy.min_hold_p05;
            missing
                .extend((!reaches(here.hold.p05, needed)).then_some(Missing::HoldLow { needed }));
            let hits = exceeds(evidence.hits, evidence.barriers, policy.max_hit_share)
                || self.hits_high(here).is_some();
            let share = policy.max_hit_share;
            missing.extend(hits.then_some(Missing::FewerHits { share }));
            let broken = matches!(self.rhythm_broken(here), Some(Reason::LatestBroken { .. }));
            let share = policy.step_in_held_share;
            missing.extend(broken.then_some(Missing::HeldSession { share }));
        }
        missing.extend(self.below.iter().map(|(_, rating)| *rating));
        let unclean = self.situation.fell() || self.situation.pain_since_latest_session();
        missing.extend(unclean.then_some(Missing::CleanSession));
        let pending = self.situation.clearance == Clearance::Pending
            || (unclean && self.situation.clearance == Clearance::NotNeeded);
        missing.extend(pending.then_some(Missing::CoachConfirmation));
        missing
    }

    fn not_ready(&self, here: Here) -> Option<Draft> {
        (!self.missing().is_empty()).then(|| {
            let mut reasons = self.seen(here);
            reasons.extend(self.gate_reasons());
            reasons.push(Reason::NotReady);
            Draft::new(DecisionKind::Consolidate, here.at, reasons)
        })
    }

    // Rule 6.

    fn race_test(&self, here: Here) -> Option<Draft> {
        let target = self
            .situation
            .target
            .filter(|_| self.ladder.at_target(here.at))?;
        let mut reasons = self.seen(here);
        let (kind, to) = if let Some(hurdles) = self.ladder.over_hurdles(here.at) {
            reasons.push(Reason::TargetOverHurdles);
            (DecisionKind::ChangeBarrierKind, hurdles)
        } else {
            reasons.push(Reason::AtTarget {
                barriers: target.barriers,
                approach: target.approach,
            });
            let spacing = target.spacing;
            (DecisionKind::RaceTest, Configuration { spacing, ..here.at })
        };
        reasons.push(Reason::step_back_if(self.policy));
        Some(Draft::new(kind, to, reasons))
    }

    // Rule 7.

    fn leave_wickets(&self, here: Here) -> Option<Draft> {
        if here.at.barrier_kind != BarrierKind::Wicket {
            return None;
        }
        let to = self.ladder.from_wickets(here.at)?;
        self.likely(self.mean(to)).then(|| {
            let mut reasons = self.seen(here);
            reasons.extend([Reason::WicketsHeld, Reason::step_back_if(self.policy)]);
            Draft::new(DecisionKind::ChangeBarrierKind, to, reasons)
        })
    }

    // Rule 8.

    fn step_up(&self, here: Here) -> Draft {
        let mut steps = self.steps(here.at);
        let likeliest = steps.iter().map(|step| step.mean).fold(f64::NAN, f64::max);
        steps.retain(|step| self.likely(step.mean));
        let mut steps = steps.into_iter();
        let reasons = self.seen(here);
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
        wider
            .into_iter()
            .chain(higher)
            .map(|(kind, to, gap)| Step {
                kind,
                to,
                mean: self.mean(to),
                gap,
            })
            .collect()
    }

    fn take(&self, here: Here, step: Step, why: Reason, mut reasons: Vec<Reason>) -> Draft {
        let higher = step.to.height > here.at.height && step.kind != DecisionKind::StepUpSpacing;
        reasons.push(why);
        let change = step.kind == DecisionKind::ChangeBarrierKind;
        let forced = change && step.to.spacing != here.at.spacing;
        if change {
            reasons.push(if forced {
                Reason::KindWithHeight
            } else {
                Reason::KindBeforeHeight
            });
        }
        reasons.push(Reason::step_back_if(self.policy));
        let confirm = forced || (higher && self.situation.target.is_none());
        Draft::new(step.kind, step.to, reasons).confirmed_by_coach(confirm)
    }

    fn unlikely(&self, here: Here, mean: f64, mut reasons: Vec<Reason>) -> Draft {
        let needed = self.policy.min_hold_after_step;
        reasons.push(Reason::NextStepUnlikely { mean, needed });
        Draft {
            missing: vec![Missing::LikelierStep { needed }],
            ..Draft::new(DecisionKind::Consolidate, here.at, reasons)
        }
    }

    fn no_next_step(&self, here: Here, mut reasons: Vec<Reason>) -> Draft {
        reasons.push(Reason::NoNextStep);
        let up_to = self.situation.target.map(|target| target.height);
        Draft {
            missing: vec![Missing::Equipment { up_to }],
            ..Draft::new(DecisionKind::Consolidate, here.at, reasons)
        }
    }

    fn mean(&self, at: Configuration) -> f64 {
        (self.hold)(at.height, at.spacing).mean
    }

    fn likely(&self, mean: f64) -> bool {
        mean >= self.policy.min_hold_after_step
    }

    fn runs_seen(&self, here: Here) -> Reason {
        Reason::RunsSeen {
            at: here.at,
            evidence: here.run.evidence,
        }
    }

    fn seen(&self, here: Here) -> Vec<Reason> {
        vec![self.runs_seen(here), Reason::HoldHere { hold: here.hold }]
    }

    fn stage(&self, kind: DecisionKind, at: Option<Configuration>) -> Stage {
        if self.gated() {
            return self.drill_stage();
        }
        let Some(at) = at else {
            return Stage::WicketRun;
        };
        let lowest = self.ladder.lowest_barrier().map(|(_, height)| height);
        match at.barrier_kind {
            _ if kind == DecisionKind::RaceTest => Stage::RaceTest,
            BarrierKind::Wicket if self.current.is_none() => Stage::WicketRun,
            BarrierKind::Wicket => Stage::RhythmWickets,
            _ if self.ladder.at_target(at) => Stage::CompetitionSpec,
            _ if self.ladder.reaches_target_height(at.height) => Stage::SpacingBuild,
            _ if lowest.is_none_or(|lowest| at.height <= lowest) => Stage::LowBarriers,
            _ if kind == DecisionKind::StepUpSpacing => Stage::SpacingBuild,
            _ => Stage::HeightBuild,
        }
    }

    /// The first drill stage that is not secure; mobility before any of them was seen.
    fn drill_stage(&self) -> Stage {
        let below = |criterion| self.below.iter().any(|(c, _)| *c == criterion);
        let ratings = self.situation.ratings;
        if Criterion::GATE.iter().all(|c| ratings.of(*c).is_none()) {
            Stage::Mobility
        } else if below(Criterion::LeadLeg) {
            Stage::LeadLeg
        } else if below(Criterion::TrailLeg) {
            Stage::TrailLeg
        } else {
            Stage::Walkover
        }
    }
}

/// The criteria that stand against a step up: the gate's unless secure, the others where rated below it.
fn below_secure(situation: &Situation, policy: &Policy) -> Vec<(Criterion, Missing)> {
    let needed = policy.min_rating;
    Criterion::ALL
        .into_iter()
        .filter(|criterion| policy.arms_count || *criterion != Criterion::Arms)
        .filter_map(|criterion| {
            let seen = situation.ratings.of(criterion);
            let gate = Criterion::GATE.contains(&criterion);
            let below = seen.map_or(gate, |rating| rating < needed);
            below.then_some((
                criterion,
                Missing::Rating {
                    criterion,
                    seen,
                    needed,
                },
            ))
        })
        .collect()
}

/// The likelier of two steps; of a tie the one further from the target, and spacing before height.
fn choose(spacing: Step, height: Step) -> (Step, Reason) {
    let lead = height.mean - spacing.mean;
    if lead.abs() <= TIE {
        let taken = if height.gap > spacing.gap {
            height
        } else {
            spacing
        };
        return (taken, Reason::LargerGap);
    }
    let (taken, other) = if lead > 0.0 {
        (height, spacing)
    } else {
        (spacing, height)
    };
    let why = Reason::LikelierStep {
        taken: taken.mean,
        other: other.mean,
    };
    (taken, why)
}

/// Whether a share is above its limit.
fn exceeds(part: u32, whole: u32, limit: f64) -> bool {
    f64::from(part) > limit * f64::from(whole) + ROUNDING
}
