//! The rules in order; the first that applies decides.
//!
//! A rule is a function from what is known to a [`Draft`], or to nothing where it does not apply; [`Rules::draft`] asks them one after
//! another. What a decision has beside its draft, the region, the stage, the lane that fits, cautions and what is missing, follows from the
//! draft in [`Rules::finish`], the same for every rule, so that no rule can forget a caution.
//!
//! ```text
//! draft:   rest, fall, come back | first lane | to wickets, open, step back, back to target, not ready, race test, leave wickets, step up
//! decide:  draft -> surface -> region -> word -> region of the word -> decision
//! ```
//!
//! The surface comes after the draft because it softens whatever was decided; the word comes after the surface because a bad surface
//! outranks it; the rules' own region is kept beside that of the word because the next choice of the coach is held against it.
//!
//! Shares are compared as products of counts with a slack of 1e-9: 2 of 20 hits are exactly a tenth, whatever a tenth is in
//! binary. Probabilities have no slack here; that of the floor is in [`Region`].
//!
//! # Example
//! A fall steps back until a coach confirms; a report of pain outranks it.
//!
//! ```
//! use lanewright_compute::decision::{DecisionKind, Hold, LatestSession, Policy, Situation, decide};
//! use lanewright_compute::wellbeing::{Report, Reported};
//!
//! let say = |situation: &Situation| {
//!     decide(situation, &Policy::default(), &|_, _| Hold { mean: 0.9, p05: 0.8, p95: 0.95 })
//! };
//! let latest = LatestSession { on: 19_999, held: 8, intervals: 8, barriers: 10, hits: 1, fell: true };
//! let fell = Situation { latest: Some(latest), ..Situation::unseen(20_000) };
//! assert!(say(&fell).kind == DecisionKind::LowerHeight && say(&fell).needs_confirmation);
//! let hurt = Situation { report: Some(Reported { what: Report::Pain, on: 20_000 }), ..fell };
//! assert_eq!((say(&hurt).kind, say(&hurt).proposed), (DecisionKind::RestAndRefer, None));
//! ```
//!
//! # Source
//! Design choices, see [`super`].

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
    /// What is on file, as of the day.
    pub(super) situation: &'a Situation,
    /// The club's numbers; taken as checked.
    pub(super) policy: &'a Policy,
    /// P(hold) at a height and a spacing.
    pub(super) hold: &'a dyn Fn(Length, Length) -> Hold,
    /// The steps that equipment, grid and target allow.
    pub(super) ladder: Ladder<'a>,
    /// What is run now; none before six intervals at one configuration.
    pub(super) current: Option<Here>,
    /// The criteria that stand against a step up, as taught, each with what it lacks.
    pub(super) below: Vec<(Criterion, Missing)>,
}

/// The current configuration, its evidence and the prediction at it.
#[derive(Clone, Copy)]
pub(super) struct Here {
    /// Where.
    pub(super) at: Configuration,
    /// What was run there, and elsewhere that counts as well.
    pub(super) run: Current,
    /// What should hold there, probabilities 0 to 1.
    pub(super) hold: Hold,
}

/// What a rule says; the rest of the decision follows from it.
#[derive(Clone)]
pub(super) struct Draft {
    /// What to do.
    pub(super) kind: DecisionKind,
    /// Where to; none for rest and refer alone.
    pub(super) proposed: Option<Configuration>,
    /// Why, never empty.
    pub(super) reasons: Vec<Reason>,
    /// Whether the rule itself asks for a coach's confirmation.
    pub(super) confirm: bool,
    /// What this rule lacks, beyond what every step up needs.
    pub(super) missing: Vec<Missing>,
}

/// A draft with where the athlete may run, and the word that it follows.
struct Ruling {
    /// What is done: the rules' own, or the word's.
    draft: Draft,
    /// Where the athlete may run by that draft.
    region: Region,
    /// The word with what the rules say alone; none where none stands.
    governed: Option<Governed>,
}

impl Draft {
    /// A draft that needs no confirmation and lacks nothing.
    pub(super) fn new(kind: DecisionKind, to: Configuration, reasons: Vec<Reason>) -> Self {
        Self { kind, proposed: Some(to), reasons, confirm: false, missing: Vec::new() }
    }

    /// The same, to be confirmed by a coach first, if so.
    pub(super) fn confirmed_by_coach(self, confirm: bool) -> Self {
        Self { confirm, ..self }
    }
}

impl Here {
    /// What was run at the configuration itself, without what counts from elsewhere: the sentence names one place.
    pub(super) fn runs_seen(self) -> Reason {
        Reason::RunsSeen { at: self.at, evidence: self.run.evidence }
    }

    /// Whether most failures came from a spacing that is too short: crowded > over-reached + broken. Intervals broken for an unrecorded
    /// cause count against it, so that a step out is never a guess.
    pub(super) fn crowded(self) -> bool {
        let evidence = self.run.evidence;
        evidence.crowded > evidence.over_reached.saturating_add(evidence.broken)
    }

    /// What was seen, as a decision's first reasons: the runs, what counts beside them, the prediction.
    pub(super) fn seen(self) -> Vec<Reason> {
        let also = self.run.also;
        let more =
            (also.intervals() > 0).then_some(Reason::CountedToo { intervals: also.intervals(), days: also.days });
        std::iter::once(self.runs_seen()).chain(more).chain([Reason::HoldHere { hold: self.hold }]).collect()
    }
}

impl<'a> Rules<'a> {
    /// Asks for the prediction at the current configuration once, and for what technique lacks.
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

    /// The whole decision: what the rules say on this surface, or the word that stands instead.
    ///
    /// A word that the runs speak against is told among the reasons of a draft that proposes something; rest needs no second reason.
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

    /// What is done: what the rules say on this surface, or the word that stands instead; without the region and the cautions around it.
    pub(super) fn said(&self) -> Draft {
        let alone = self.on_surface(self.draft());
        let region = self.situation.word.map(|_| self.region(&alone, None));
        let word = region.and_then(|region| self.word(&alone, &region));
        match word {
            Some(word) => self.obey(word, &alone),
            None => alone,
        }
    }

    /// What the rules say without a coach's word and before the surface softens it. Never nothing: the last of them, a step up, stays where
    /// it cannot step.
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

    /// The decision that follows from a ruling. What is missing is told of every decision, step back or not, so that a coach sees how far a
    /// step up is.
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

    /// The last day of a restriction or of a word; else as long as the policy says. Days since 1970-01-01.
    fn valid_until(&self, governed: Option<&Governed>) -> i32 {
        let restricted = self.situation.restriction_in_force().and_then(|flag| flag.until);
        let recompute = self.situation.on.saturating_add(i32::from(self.policy.recompute_after_days));
        restricted.or_else(|| governed.map(|one| one.word.until)).unwrap_or(recompute)
    }

    // Rule 1.

    /// Rest and refer while a report or a restriction stands: both are told, and what ends the rest. Asks nothing of runs, ratings or
    /// probabilities.
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

    /// After a fall in the latest session: one height lower together with one spacing step in, from what is run now, from the lane back on a
    /// return, else from the first wicket lane.
    ///
    /// Both at once, against the rule of one variable: a fall says that the lane was wrong and not which part of it.
    /// Where the club owns nothing lower, or nothing closer is set out, the other alone, and the reason says so. Without a current
    /// configuration the kind is [`DecisionKind::LowerHeight`], whatever changes. A coach confirms first, unless the fall is cleared
    /// ([`Clearance::Given`]). The rule ends with the next session without a fall.
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

    /// One height lower; onto wickets where technique keeps the athlete off barriers. None where the club owns nothing lower.
    pub(super) fn lowered(&self, from: Configuration) -> Option<Configuration> {
        if self.gated() && from.barrier_kind != BarrierKind::Wicket {
            return Some(self.wickets_at(from.spacing));
        }
        self.ladder.lower(from)
    }

    // Rule 2.

    /// Whether lead leg, trail leg or walkover keeps the athlete off barriers: one of them is not rated inside the window, or below
    /// [`Policy::min_rating`].
    pub(super) fn gated(&self) -> bool {
        self.below.iter().any(|(criterion, _)| Criterion::GATE.contains(criterion))
    }

    /// Every criterion that stands against a step up, with its rating if it was seen; also those that do not keep anybody off barriers.
    pub(super) fn gate_reasons(&self) -> impl Iterator<Item = Reason> + '_ {
        self.below.iter().map(|(criterion, _)| Reason::TechniqueGate {
            criterion: *criterion,
            seen: self.situation.ratings.of(*criterion),
        })
    }

    /// Wickets at a spacing, at the lowest height that the club owns, or at the policy's where it owns none: flat marks or sticks that give
    /// way stand in, and a caution says so.
    pub(super) fn wickets_at(&self, spacing: Length) -> Configuration {
        Configuration {
            barrier_kind: BarrierKind::Wicket,
            height: self.ladder.lowest_wicket().unwrap_or(self.policy.wicket_height),
            spacing,
        }
    }

    /// The wicket lane that fits, and why: it should hold as wanted, or no spacing does and this comes closest.
    pub(super) fn first_wickets(&self) -> (Configuration, Reason) {
        let wanted = self.policy.first_lane_hold;
        let fit = self.fit(self.wickets_at(self.policy.min_spacing).height);
        let why = if fit.reached { Reason::FirstLane { wanted } } else { Reason::LikeliestLane { wanted } };
        (self.wickets_at(fit.spacing), why)
    }

    /// The first lane of somebody without six intervals at one configuration: over wickets, whatever the ratings. Nobody begins over barriers,
    /// because nothing is known yet of how the rhythm holds.
    fn first_lane(&self) -> Draft {
        let (lane, why) = self.first_wickets();
        let mut reasons = vec![Reason::NoRuns];
        reasons.extend(self.gate_reasons());
        reasons.push(why);
        Draft::new(DecisionKind::Consolidate, lane, reasons)
    }

    /// Off barriers while technique is not secure: onto wickets as far apart, or one step closer where the rhythm is broken as well. None over
    /// wickets, where the gate only keeps the athlete from leaving them.
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

    /// The stage of a proposal, see [`Stage`]. The gate comes first: whoever is not secure is at a drill stage even where the proposal is a
    /// rest.
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

/// The criteria that stand against a step up: the gate's unless secure, the others where rated below it, in the order in which they are
/// taught. An unrated criterion outside the gate stands against nothing: to be seen is asked of the gate alone. Arms count where the club
/// says so.
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

/// Whether a share is above its limit; exactly on it is not. False for 0 of 0.
pub(super) fn exceeds(part: u32, whole: u32, limit: f64) -> bool {
    f64::from(part) > limit * f64::from(whole) + ROUNDING
}
