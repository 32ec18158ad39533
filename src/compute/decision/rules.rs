//! The rules in order; the first that applies decides.

use super::cautions;
use super::ladder::Ladder;
use super::missing::Missing;
use super::policy::Policy;
use super::reasons::Reason;
use super::region::Region;
use super::situation::{Clearance, Criterion, Current, Situation};
use super::{Configuration, Decision, DecisionKind, Governed, Hold, Stage};
use crate::units::{BarrierKind, Length};

/// Keeps a share that is exactly on its limit from falling beside it by rounding.
pub(super) const ROUNDING: f64 = 1e-9;

/// One athlete's situation beside the club's policy and the athlete's prediction.
pub(super) struct Rules<'a> {
    pub(super) situation: &'a Situation,
    pub(super) policy: &'a Policy,
    pub(super) hold: &'a dyn Fn(Length, Length) -> Hold,
    pub(super) ladder: Ladder<'a>,
    pub(super) current: Option<Here>,
    pub(super) below: Vec<(Criterion, Missing)>,
}

/// The current configuration, its evidence and the prediction at it.
#[derive(Clone, Copy)]
pub(super) struct Here {
    pub(super) at: Configuration,
    pub(super) run: Current,
    pub(super) hold: Hold,
}

/// What a rule says; the rest of the decision follows from it.
#[derive(Clone)]
pub(super) struct Draft {
    pub(super) kind: DecisionKind,
    pub(super) proposed: Option<Configuration>,
    pub(super) reasons: Vec<Reason>,
    pub(super) confirm: bool,
    pub(super) missing: Vec<Missing>,
}

/// A draft with where the athlete may run, and the word that it follows.
struct Ruling {
    draft: Draft,
    region: Region,
    governed: Option<Governed>,
}

impl Draft {
    pub(super) fn new(kind: DecisionKind, to: Configuration, reasons: Vec<Reason>) -> Self {
        Self { kind, proposed: Some(to), reasons, confirm: false, missing: Vec::new() }
    }

    pub(super) fn confirmed_by_coach(self, confirm: bool) -> Self {
        Self { confirm, ..self }
    }
}

impl Here {
    pub(super) fn runs_seen(self) -> Reason {
        Reason::RunsSeen { at: self.at, evidence: self.run.evidence }
    }

    /// Whether most failures came from a spacing that is too short.
    pub(super) fn crowded(self) -> bool {
        let evidence = self.run.evidence;
        evidence.crowded > evidence.over_reached.saturating_add(evidence.broken)
    }

    pub(super) fn seen(self) -> Vec<Reason> {
        let also = self.run.also;
        let more =
            (also.intervals() > 0).then_some(Reason::CountedToo { intervals: also.intervals(), days: also.days });
        std::iter::once(self.runs_seen()).chain(more).chain([Reason::HoldHere { hold: self.hold }]).collect()
    }
}

impl<'a> Rules<'a> {
    pub(super) fn new(situation: &'a Situation, policy: &'a Policy, hold: &'a dyn Fn(Length, Length) -> Hold) -> Self {
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
        let mut alone = self.on_surface(self.draft());
        if alone.proposed.is_some() {
            alone.reasons.extend(self.against_word());
        }
        let region = self.region(&alone, None);
        let Some(word) = self.word(&alone, &region) else {
            return self.finish(Ruling { draft: alone, region, governed: None });
        };
        let draft = self.obey(word, &alone);
        let governed = Governed { word, kind: alone.kind, proposed: alone.proposed, region };
        let region = self.region(&draft, Some(word).filter(|word| draft.proposed == Some(word.at)));
        self.finish(Ruling { draft, region, governed: Some(governed) })
    }

    /// What the rules say without a coach's word.
    pub(super) fn draft(&self) -> Draft {
        self.rest().or_else(|| self.fall()).or_else(|| self.come_back()).unwrap_or_else(|| {
            let Some(here) = self.current else {
                return self.first_lane();
            };
            self.to_wickets(here)
                .or_else(|| self.open(here))
                .or_else(|| self.step_back(here))
                .or_else(|| self.back_to_target(here))
                .or_else(|| self.not_ready(here))
                .or_else(|| self.race_test(here))
                .or_else(|| self.leave_wickets(here))
                .unwrap_or_else(|| self.step_up(here))
        })
    }

    fn finish(&self, Ruling { draft, region, governed }: Ruling) -> Decision {
        let current = self.current.map(|here| here.at);
        let valid_until = self.valid_until(governed.as_ref());
        let mut missing = self.missing();
        missing.extend(draft.missing);
        let mut decision = Decision {
            kind: draft.kind,
            current,
            proposed: draft.proposed,
            stage: self.stage(draft.kind, draft.proposed.or(current)),
            hold_current: self.current.map(|here| here.hold),
            hold_proposed: draft.proposed.map(|at| (self.hold)(at.height, at.spacing)),
            fit: draft.proposed.and_then(|at| self.fit_inside(at, &region)),
            region,
            governed,
            needs_confirmation: draft.confirm
                || self.situation.clearance == Clearance::Pending
                || self.situation.unconfirmed(),
            reasons: draft.reasons,
            cautions: Vec::new(),
            missing,
            valid_until,
        };
        decision.cautions = cautions::of(self.situation, self.policy, &decision);
        decision
    }

    /// The last day of a restriction or of a word; else as long as the policy says.
    fn valid_until(&self, governed: Option<&Governed>) -> i32 {
        let restricted = self.situation.restriction_in_force().and_then(|flag| flag.until);
        let recompute = self.situation.on.saturating_add(i32::from(self.policy.recompute_after_days));
        restricted.or_else(|| governed.map(|one| one.word.until)).unwrap_or(recompute)
    }

    // Rule 1.

    fn rest(&self) -> Option<Draft> {
        let restricted = self.situation.restriction_in_force();
        let mut reasons = Vec::new();
        reasons.extend(self.situation.report.map(|report| Reason::PainReported { report }));
        reasons.extend(restricted.map(|flag| Reason::Restricted { until: flag.until }));
        (!reasons.is_empty()).then(|| {
            reasons.push(Reason::UntilCleared);
            Draft { kind: DecisionKind::RestAndRefer, proposed: None, reasons, confirm: true, missing: Vec::new() }
        })
    }

    fn fall(&self) -> Option<Draft> {
        if !self.situation.fell() {
            return None;
        }
        let back = self.situation.back.map(|back| self.lane_back(back).0);
        let from = self.current.map(|here| here.at).or(back).unwrap_or_else(|| self.first_wickets().0);
        let lowered = self.lowered(from);
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
        let to = Configuration { spacing: closer.unwrap_or(from.spacing), ..lowered.unwrap_or(from) };
        // A coach's word lets the athlete run this again; it takes a clean session to run more.
        Some(Draft::new(kind, to, reasons).confirmed_by_coach(self.situation.clearance != Clearance::Given))
    }

    /// One height lower; onto wickets where technique keeps the athlete off barriers.
    pub(super) fn lowered(&self, from: Configuration) -> Option<Configuration> {
        if self.gated() && from.barrier_kind != BarrierKind::Wicket {
            return Some(self.wickets_at(from.spacing));
        }
        self.ladder.lower(from)
    }

    // Rule 2.

    pub(super) fn gated(&self) -> bool {
        self.below.iter().any(|(criterion, _)| Criterion::GATE.contains(criterion))
    }

    pub(super) fn gate_reasons(&self) -> impl Iterator<Item = Reason> + '_ {
        self.below.iter().map(|(criterion, _)| Reason::TechniqueGate {
            criterion: *criterion,
            seen: self.situation.ratings.of(*criterion),
        })
    }

    pub(super) fn wickets_at(&self, spacing: Length) -> Configuration {
        Configuration {
            barrier_kind: BarrierKind::Wicket,
            height: self.ladder.lowest_wicket().unwrap_or(self.policy.wicket_height),
            spacing,
        }
    }

    /// The wicket lane that fits.
    pub(super) fn first_wickets(&self) -> (Configuration, Reason) {
        let wanted = self.policy.first_lane_hold;
        let fit = self.fit(self.wickets_at(self.policy.min_spacing).height);
        let why = if fit.reached { Reason::FirstLane { wanted } } else { Reason::LikeliestLane { wanted } };
        (self.wickets_at(fit.spacing), why)
    }

    fn first_lane(&self) -> Draft {
        let (lane, why) = self.first_wickets();
        let mut reasons = vec![Reason::NoRuns];
        reasons.extend(self.gate_reasons());
        reasons.push(why);
        Draft::new(DecisionKind::Consolidate, lane, reasons)
    }

    fn to_wickets(&self, here: Here) -> Option<Draft> {
        if !self.gated() || here.at.barrier_kind == BarrierKind::Wicket {
            return None;
        }
        let broken = self.rhythm_broken(here);
        let closer = self.ladder.closer(here.at.spacing).filter(|_| broken.is_some());
        let mut reasons = vec![here.runs_seen()];
        reasons.extend(broken);
        reasons.extend(self.gate_reasons());
        let to = self.wickets_at(closer.unwrap_or(here.at.spacing));
        Some(Draft::new(DecisionKind::ChangeBarrierKind, to, reasons))
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
            below.then_some((criterion, Missing::Rating { criterion, seen, needed }))
        })
        .collect()
}

/// Whether a share is above its limit.
pub(super) fn exceeds(part: u32, whole: u32, limit: f64) -> bool {
    f64::from(part) > limit * f64::from(whole) + ROUNDING
}
