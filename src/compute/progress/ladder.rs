//! When the next steps and the race test are likely to be advised: many futures of one athlete, walked session by session.
//!
//! Each future starts from an athlete drawn from what is believed today. On every training day the club's own rules
//! ([`verdict`]) read what a coach would then have on file; the athlete runs what they say, and the runs, drawn by lot, are
//! on file the next time. So gates, evidence, steps back, heights owned and the target of the day count as they will.
//!
//! | goes in | comes out |
//! | --- | --- |
//! | the belief of today, the situation, the policy, how the athlete trains | for each future the days of the steps and of the race test |
//!
//! Left out on purpose: holidays and illness other than those of the last weeks, new measurements, other barriers than owned.
//!
//! # Source
//! Design choices; the model is that of [`crate::estimate`].
//!
//! # A future
//!
//! 1. An athlete is drawn ([`crate::estimate::Posterior::draws`]): limit, height cost, width, trend. Falling trends
//!    are set to nought.
//! 2. The next training day comes after a gap drawn from the athlete's own ([`super::habits`]). Meanwhile the true
//!    limit drifts with its trend and wanders, and the belief moves on ([`super::belief`]).
//! 3. The rules read what would be on file and say a configuration; a coach's word stands as long as it would, and a
//!    return takes its sessions.
//! 4. The athlete runs it: as many runs and intervals as on one of their days, outcomes drawn from the true state with
//!    luck of the day and of each run.
//! 5. Runs, hits and a fall go on file; the belief learns.
//! 6. The first step, the next one that leads further, and the race tests are noted. Over when all are there or 26
//!    weeks are.
//!
//! # Luck
//!
//! The variance of a logistic outcome, (π w)² / 3, is split: 10 % is common to a day, 15 % to a run, the rest is each
//! interval's own. Shared parts are normal and shift the limit; the interval's own curve has the width w √0.75. At a
//! width of 0.22 m that is 0.13 m (day), 0.15 m (run) and a curve of 0.19 m.
//!
//! # Left out of a future
//!
//! A coach's clearance after a fall is assumed once a session went well. Nobody is ill, and
//! ratings stay as they are.
//!
//! # Cost and repeatability
//!
//! 64 futures of up to 26 weeks: a few thousand questions to the rules. Lots come from the number of the future, so
//! the same record gives the same dates.

use std::collections::BTreeSet;

use super::belief::{Belief, Seen, excess_m, outcome};
use super::habits::{Dose, Habits};
use super::{HORIZON_WEEKS, WEEK};
use crate::advice::{EVIDENCE_DAYS, RunRecord, current, latest, recent, tried};
use crate::decision::{
    Back, Clearance, Configuration, DecisionKind, Given, Missing, Policy, SESSIONS_BACK, Situation, Target, Verdict,
    Word, rung, verdict,
};
use crate::estimate::{Moments, Settings, State, chances};
use crate::lots::Lots;

/// Futures of an athlete.
///
/// A share is told to 1/64; the 5 % and 95 % ends rest on three futures each. Design choice.
pub(super) const FUTURES: usize = 64;
/// Steps on the way that are told.
///
/// Beyond two the dates are too wide to plan by. Design choice.
pub(super) const STEPS: usize = 2;
/// Share of the variance of an interval's luck that all intervals of a run share, and that all runs of a day share (design
/// choices: good and bad runs and days, as every coach sees them).
///
/// The likelihood of the estimate knows only the common part of a run (`icc`); the day's is not modelled there.
const RUN_SHARE: f64 = 0.15;
const DAY_SHARE: f64 = 0.10;

/// What all futures of an athlete start from.
///
/// Built once for an athlete and only read by the futures.
pub(super) struct Start<'a> {
    /// What the rules read today, with every gate passed that the forecast takes as passed.
    pub situation: Situation,
    /// What they say today.
    pub today: Verdict,
    pub policy: &'a Policy,
    pub settings: &'a Settings,
    /// What the belief of every future begins with.
    pub moments: Moments,
    /// One for each future.
    pub draws: Vec<State>,
    pub habits: Habits,
    /// The target after this one, from a day on.
    pub next: Option<(i32, Target)>,
}

/// A step that was advised.
///
/// The day on which it was advised, which is a training day or today.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Advised {
    pub day: i32,
    pub kind: DecisionKind,
    pub to: Configuration,
}

/// What became of one future.
///
/// None where it did not come within the look ahead.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Future {
    /// The first step advised, and the next one that leads further.
    pub steps: [Option<Advised>; STEPS],
    /// The first day on which the race test over the target of today was advised, and over the one after it.
    ///
    /// The target of today counts until the next one's first day.
    pub race: Option<i32>,
    pub next_race: Option<i32>,
    /// The barrier that was missing for any further step, if one was.
    pub barrier: Option<Missing>,
}

/// Every future of an athlete.
///
/// In the order of the draws; independent of each other.
pub(super) fn futures(start: &Start<'_>) -> Vec<Future> {
    (0..).zip(&start.draws).map(|(seed, draw)| Walk::new(start, *draw, seed).walked()).collect()
}

/// One future under way. `truth` is what the athlete can, `belief` what a coach would know of it.
struct Walk<'a> {
    start: &'a Start<'a>,
    lots: Lots,
    truth: State,
    belief: Belief<'a>,
    situation: Situation,
    runs: Vec<RunRecord>,
    day: i32,
    fell_on: Option<i32>,
    future: Future,
}

impl<'a> Walk<'a> {
    fn new(start: &'a Start<'a>, draw: State, seed: u64) -> Self {
        Self {
            lots: Lots::of(seed),
            // Runs of a few weeks may point down; nobody young is taken to get worse for half a year on end.
            truth: State { trend_m: draw.trend_m.max(0.0), ..draw },
            belief: Belief::new(&start.moments, start.settings),
            situation: start.situation.clone(),
            runs: start.habits.runs.clone(),
            day: start.situation.on,
            fell_on: None,
            future: Future::default(),
            start,
        }
    }

    /// Today's advice is noted before anything is run. The first training day is a gap after the last on file, at the
    /// earliest today.
    fn walked(mut self) -> Future {
        let today = self.day;
        let last = today + WEEK * HORIZON_WEEKS.cast_signed();
        let mut said = self.start.today.clone();
        self.note(&said);
        let mut day = (self.start.habits.last.unwrap_or(today) + self.gap()).max(today);
        while day <= last && !self.arrived() {
            self.wait_until(day);
            if day > today {
                said = self.ask();
                self.note(&said);
            }
            if let Some(at) = said.proposed.or(self.situation.current.map(|run| run.configuration)) {
                self.train(at);
            }
            day += self.gap();
        }
        self.future
    }

    /// Whether nothing more is asked of this future.
    ///
    /// A race that no longer can come (no target, or the next one's day has passed) is not waited for.
    fn arrived(&self) -> bool {
        let (start, future) = (self.start, &self.future);
        let raced = future.race.is_some();
        let moved = start.next.is_some_and(|(from, _)| self.day >= from);
        let next = start.next.is_none_or(|(from, _)| from > self.horizon()) || future.next_race.is_some();
        let race = raced || moved || start.situation.target.is_none();
        (raced || future.steps.iter().all(Option::is_some)) && race && next
    }

    /// The last day looked at.
    fn horizon(&self) -> i32 {
        self.start.situation.on + WEEK * HORIZON_WEEKS.cast_signed()
    }

    /// At least a day.
    fn gap(&mut self) -> i32 {
        self.lots.pick(&self.start.habits.gaps).unwrap_or(WEEK).max(1)
    }

    /// Also moves the day that the rules see, and the target from the day on which the next one applies.
    fn wait_until(&mut self, day: i32) {
        let days = day - self.day;
        if days > 0 {
            let weeks = f64::from(days) / f64::from(WEEK);
            let uneven = libm::sqrt(self.start.settings.drift_m2 * weeks);
            self.truth.limit_m += weeks * self.truth.trend_m + uneven * self.lots.normal();
            self.belief.wait(days);
        }
        self.day = day;
        self.situation.on = day;
        if let Some((_, target)) = self.start.next.filter(|(from, _)| day >= *from) {
            self.situation.target = Some(target);
        }
    }

    /// What the rules say on the day.
    ///
    /// Evidence older than eight weeks is dropped first, as for a real athlete.
    fn ask(&mut self) -> Verdict {
        self.runs.retain(|run| self.day - run.day <= EVIDENCE_DAYS);
        let recent = recent(&self.runs, self.day);
        self.situation.current = current(&recent, self.start.policy, self.belief.height_cost());
        self.situation.latest = latest(&self.runs, self.day);
        let (fell, policy) = (self.fell_on.is_some(), self.start.policy);
        let word = self.situation.word.filter(|given| self.day <= given.word.until);
        self.situation.word = word.map(|Given { word, .. }| Given {
            word: Word { overtaken: word.overtaken || fell, ..word },
            tried: tried(&word, &recent, policy),
        });
        self.situation.back = self.situation.back.and_then(|back| self.still_back(back));
        // A coach is taken to clear a fall once a session went well after it.
        self.situation.clearance = match (self.fell_on, self.situation.latest) {
            (None, _) => Clearance::NotNeeded,
            (Some(fell), Some(latest)) if latest.on > fell => Clearance::Given,
            (Some(_), _) => Clearance::Pending,
        };
        let belief = &self.belief;
        verdict(&self.situation, self.start.policy, &|height, spacing| belief.hold(height, spacing))
    }

    /// A return that the sessions since have not ended yet; the runs are those since it began.
    fn still_back(&self, back: Back) -> Option<Back> {
        let days: BTreeSet<i32> = self.runs.iter().map(|run| run.day).filter(|day| *day < self.day).collect();
        let sessions = u32::try_from(days.len()).unwrap_or(u32::MAX);
        let over = sessions >= SESSIONS_BACK && self.situation.current.is_some();
        (!over).then_some(Back { sessions, ..back })
    }

    /// A race test is a step as well. What is not a step up is not noted.
    fn note(&mut self, said: &Verdict) {
        let day = self.day;
        let barrier = said.missing.iter().find(|one| matches!(one, Missing::Equipment { .. }));
        self.future.barrier = self.future.barrier.or(barrier.copied());
        let after = self.start.next.is_some_and(|(from, _)| day >= from);
        if said.kind == DecisionKind::RaceTest {
            let race = if after { &mut self.future.next_race } else { &mut self.future.race };
            race.get_or_insert(day);
        }
        let up = matches!(
            said.kind,
            DecisionKind::StepUpSpacing
                | DecisionKind::StepUpHeight
                | DecisionKind::ChangeBarrierKind
                | DecisionKind::RaceTest
        );
        let Some(to) = said.proposed.filter(|_| up) else { return };
        let one = Advised { day, kind: said.kind, to };
        match self.future.steps {
            [None, _] => self.future.steps[0] = Some(one),
            [Some(first), None] if self.further(one, first) => self.future.steps[1] = Some(one),
            _ => {}
        }
    }

    /// Whether a step leads further than another: over a harder kind, or over the same with more demand.
    ///
    /// A step back and up again is no further step.
    fn further(&self, one: Advised, first: Advised) -> bool {
        let cost = self.belief.height_cost();
        let (new, old) = (rung(one.to.barrier_kind), rung(first.to.barrier_kind));
        let race = one.kind == DecisionKind::RaceTest && first.kind != DecisionKind::RaceTest;
        race || new > old || (new == old && one.to.demand_m(cost) > first.to.demand_m(cost) + 1e-9)
    }

    /// One session at a configuration.
    ///
    /// Barriers are one more than intervals for each run; a hit and a fall are drawn apart from how the intervals
    /// went.
    fn train(&mut self, at: Configuration) {
        let Some(dose) = self.lots.pick(&self.start.habits.doses) else { return };
        let seen = self.run(at, dose);
        let barriers = dose.intervals + dose.runs;
        let fell = self.lots.share() < self.start.habits.fall;
        if fell {
            self.fell_on = Some(self.day);
        }
        self.belief.learn(at.height, at.spacing, seen, f64::from(dose.intervals) / f64::from(dose.runs));
        self.runs.push(RunRecord {
            day: self.day,
            barrier_kind: at.barrier_kind,
            height: at.height,
            spacing: at.spacing,
            barriers,
            held: seen.held,
            over_reached: seen.over_reached,
            crowded: seen.crowded,
            broken: 0,
            hits: self.lots.successes(barriers, self.start.habits.hit),
            fell,
        });
    }

    /// The outcomes of a session: the luck of the day and of each run moves the limit, the rest is each interval's own.
    ///
    /// Intervals are spread over the runs as evenly as whole numbers go.
    fn run(&mut self, at: Configuration, dose: Dose) -> Seen {
        let (truth, settings) = (self.truth, self.start.settings);
        let spread = std::f64::consts::PI * truth.width_m / libm::sqrt(3.0);
        let own = truth.width_m * libm::sqrt(1.0 - RUN_SHARE - DAY_SHARE);
        let beyond = at.spacing.metres() - (truth.limit_m - truth.height_cost * excess_m(at.height));
        let day = spread * libm::sqrt(DAY_SHARE) * self.lots.normal();
        let mut seen = Seen::default();
        for run in 0..dose.runs {
            let intervals = dose.intervals / dose.runs + u16::from(run < dose.intervals % dose.runs);
            let luck = day + spread * libm::sqrt(RUN_SHARE) * self.lots.normal();
            let chances = chances(beyond + luck, own, settings);
            for _ in 0..intervals {
                let one = outcome(self.lots.share(), &chances);
                seen.held += one.held;
                seen.over_reached += one.over_reached;
                seen.crowded += one.crowded;
            }
        }
        seen
    }
}
