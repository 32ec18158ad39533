//! When the next steps and the race test are likely to come, and what stands in their way.
//!
//! # What is told
//!
//! 64 futures ([`super::ladder`]) give, for each question, the days on which something came, or that it did not within
//! 26 weeks. Told are the share in which it came, and dates for those in which it did. When more than half never
//! arrive, no date is told.
//!
//! | status | when |
//! | --- | --- |
//! | `reached` | the race test is advised today in at least half of the futures |
//! | `expected` | it comes in at least half of them |
//! | `not_within_26_weeks` | it comes in less than half |
//! | `not_before_gate` | something that no training brings stands before every step |
//!
//! # Gates
//!
//! A rating, a coach's confirmation, a missing barrier, pain, a restriction: no amount of training opens these, so a
//! forecast through them would be a guess about people. They are taken as passed today, named in `held_up`, and the
//! dates read "if that were done today". A return from a report or restriction then begins today, with its lane back and
//! its sessions.
//!
//! # A coach's word
//!
//! A word that stands governs the days to come as it governs the advice: until its last day, runs against it or a fall.
//! The first step told is therefore never another than the advice's own.
//!
//! # Worked
//!
//! Eight futures with race tests on days 10, 10, 17, 17, 17, 24, 24, 31: the lumps' middles lie at 0.125, 0.4375, 0.75
//! and 0.9375. The median is day 17, the 50 % range 17 to 24, the 90 % range 10 to 31.
//!
//! # How good
//!
//! On simulated clubs the race test falls into its 90 % range in 0.85 to 0.97 of cases and into its 50 % range in 0.40
//! to 0.60, with a median error of at most 14 days half a year ahead and 7 days for a race of the coming weeks
//! (`tests/compute/progress_coverage.rs`).

use super::belief::Belief;
use super::habits::Habits;
use super::ladder::{Advised, FUTURES, Future, STEPS, Start, futures};
use super::notes::{self, Note};
use crate::advice::{Advice, Record, Setting, situation, target_of, way_back};
use crate::day::Day;
use crate::decision::{
    Clearance, Configuration, DecisionKind, Missing, Rating, Situation, Status as Trains, Wall, verdict,
};
use crate::estimate::{Estimate, Hold, Posterior, Settings};
use crate::params::CodeDoc;
use crate::specs::Applicable;
use crate::units::Length;
use crate::wellbeing::Since;

/// How far a forecast looks ahead, weeks (design choice).
///
/// A longer look would need growth spurts and seasons.
pub const HORIZON_WEEKS: u32 = 26;
/// The probabilities of arrival whose dates are told: the middle, the 50 % range and the 90 % range.
///
/// Ascending; the third is the median.
pub const LEVELS: [f64; 5] = [0.05, 0.25, 0.50, 0.75, 0.95];
/// The day by which something has come with each of [`LEVELS`], if it comes within [`HORIZON_WEEKS`] at all; none where it is
/// likelier to take longer.
///
/// Ascending where they are there; all are there or none.
pub type Dates = [Option<Day>; LEVELS.len()];

/// Where an athlete stands with a target.
///
/// A gate comes before everything else.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// The race test is advised today.
    Reached,
    /// More likely than not it will be within the look ahead.
    Expected,
    /// More likely than not it will take longer.
    NotWithinHorizon,
    /// Not before something is done that no training brings: see [`Outlook::held_up`].
    NotBeforeGate,
}

impl Status {
    /// The word used in JSON and CSV.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Reached => "reached",
            Self::Expected => "expected",
            Self::NotWithinHorizon => "not_within_26_weeks",
            Self::NotBeforeGate => "not_before_gate",
        }
    }
}

/// Something no training brings that stands before every step up.
///
/// Told with the codes of what is missing or of the wall, so that clients need no further list.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HeldUp {
    /// A rating, a coach's word or a barrier.
    Missing(Missing),
    /// Why the athlete may not run at all.
    Closed(Wall),
}

impl HeldUp {
    /// Every code with its meaning: that of what is missing, or of the wall.
    ///
    /// Three of the missing and four of the walls.
    pub fn codes() -> Vec<CodeDoc> {
        const MISSING: [&str; 3] = ["rating", "coach_confirmation", "equipment"];
        const CLOSED: [&str; 4] = ["resting", "left", "restricted", "pain_reported"];
        let missing = Missing::CODES.into_iter().filter(|one| MISSING.contains(&one.code));
        missing.chain(Wall::CODES.into_iter().filter(|one| CLOSED.contains(&one.code))).collect()
    }
}

/// How far an athlete is from a target; positive when the target asks for more.
///
/// At the target the three are nought or below.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// Spacing of the target less that of the current configuration, metres (m); none without one.
    pub spacing_m: Option<f64>,
    /// Height of the target less that of the current configuration, metres (m); none without one.
    pub height_m: Option<f64>,
    /// Spacing of the target less the comfortable limit over its height, metres (m).
    pub limit_m: f64,
}

/// When the race test over a target is likely to be advised.
///
/// Of one target, seen from the last day of the period.
#[derive(Clone, Debug, PartialEq)]
pub struct Forecast {
    /// Height of the target's barriers.
    pub height: Length,
    /// Spacing of the target.
    pub spacing: Length,
    /// The probability of holding an interval that a step up asks for, 0 to 1.
    pub hold_wanted: f64,
    /// The probability of holding an interval there now.
    ///
    /// From the grid, not from the approximation of the forecast.
    pub hold_now: Hold,
    /// How far it is.
    pub gap: Gap,
    /// Where the athlete stands with it.
    pub status: Status,
    /// The dates; with [`Status::NotBeforeGate`] those that hold if what holds the athlete up is done today.
    pub days: Dates,
    /// The probability that it is advised today.
    ///
    /// Share of the futures.
    pub probability_now: f64,
    /// The probability that it is advised within [`HORIZON_WEEKS`]; in the case of a gate, if it is passed today.
    ///
    /// Never below `probability_now`.
    pub probability_within: f64,
}

/// A step on the way.
///
/// The likeliest of the steps that futures took at this place, told with dates of any.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StepAhead {
    /// What is likeliest to be advised.
    pub kind: DecisionKind,
    /// Where it leads.
    pub to: Configuration,
    /// The probability that it is this step and no other.
    ///
    /// Of all futures, those without a step included.
    pub likely: f64,
    /// When a step is advised, this or another.
    pub days: Dates,
    /// The probability that one is advised within [`HORIZON_WEEKS`].
    pub probability_within: f64,
}

/// What is to be expected.
///
/// Empty but for a note where there are no runs.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook {
    /// The race test over the target; none without one on file or without runs.
    pub target: Option<Forecast>,
    /// The race test over the target after it, from the day on which it applies.
    pub next: Option<Forecast>,
    /// The next steps up, at most two, in order.
    pub steps: Vec<StepAhead>,
    /// What stands before every step and no training brings; the dates hold if it is done today.
    pub held_up: Vec<HeldUp>,
    /// On what it rests and what weakens it; never empty when there is a forecast or when runs are missing.
    pub notes: Vec<Note>,
}

/// Looks ahead from a day.
///
/// The same record, setting and day give the same outlook: draws and lots are fixed.
pub(super) fn outlook(
    record: &Record,
    setting: &Setting,
    advice: &Advice<'_>,
    posterior: &Posterior,
    settings: &Settings,
    on: Day,
) -> Outlook {
    if advice.estimate.evidence.runs == 0 {
        return Outlook { target: None, next: None, steps: vec![], held_up: vec![], notes: vec![Note::NoRuns] };
    }
    let situation = situation(record, setting, on, advice.target.as_ref(), &advice.estimate);
    let open = passed(situation, record, setting.policy.min_rating);
    let hold = |height, spacing| advice.estimate.hold(height, spacing);
    let mut habits = Habits::of(&record.runs, on.days());
    let since = returns_from(record, on.days()).map(|back| back.since);
    habits.runs.retain(|run| since.is_none_or(|since| run.day >= since));
    let start = Start {
        today: verdict(&open, &setting.policy, &hold),
        situation: open,
        policy: &setting.policy,
        settings,
        moments: posterior.moments(),
        draws: posterior.draws(FUTURES),
        habits,
        next: advice.next_target.as_ref().map(|(from, one)| (from.days(), target_of(one))),
    };
    let futures = futures(&start);
    let held_up = held_up(advice, &futures);
    let of = |one: &Applicable<'_>, race: fn(&Future) -> Option<i32>| {
        let arrivals: Vec<Option<i32>> = futures.iter().map(race).collect();
        forecast(one, advice, setting.policy.min_hold_mean, &arrivals, &held_up, on)
    };
    let target = advice.target.as_ref().map(|one| of(one, |future| future.race));
    let next = advice.next_target.as_ref().map(|(_, one)| of(one, |future| future.next_race));
    let best = Belief::new(&start.moments, settings).best_hold();
    let holds = (best, setting.policy.min_hold_mean);
    let highest = target.iter().chain(&next).map(|one| one.height).max();
    let mut notes = highest.map_or_else(Vec::new, |height| notes::of(record, advice, height, holds, on));
    let far = target.iter().find(|one| one.status == Status::NotWithinHorizon);
    notes.extend(far.map(|one| Note::LongerAtThisRate { gap_m: one.gap.limit_m, rate_m: start.moments.mean[2] }));
    Outlook { notes, target, next, steps: (0..STEPS).map_while(|at| step(&futures, at, on)).collect(), held_up }
}

/// Since when the athlete is back, confirmed; for who rests, from today on, as if that were cleared today.
fn returns_from(record: &Record, today: i32) -> Option<Since> {
    let stands = record.standing(today);
    let rests = stands.rests().then_some(Since { since: today, confirmed: true });
    rests.or(stands.back.map(|back| Since { confirmed: true, ..back }))
}

/// The situation once everything is done that stands before every step and no training brings.
///
/// A return that is confirmed today still begins with its lane back and its sessions, and what was run before it is no evidence. A coach's
/// word stays as long as it stands. The surface of the day goes: every day to come is dry. A confirmation that was not needed stays not
/// needed.
fn passed(situation: Situation, record: &Record, needed: Rating) -> Situation {
    let today = situation.on;
    let rests = situation.report.is_some() || situation.restriction.is_some();
    Situation {
        status: Trains::Active,
        ratings: situation.ratings.passed(needed),
        restriction: None,
        report: None,
        back: returns_from(record, today).and_then(|back| way_back(record, back, today)),
        current: situation.current.filter(|_| !rests),
        surface: None,
        clearance: if situation.clearance == Clearance::NotNeeded { Clearance::NotNeeded } else { Clearance::Given },
        ..situation
    }
}

/// Walls first, then ratings and confirmations, then a barrier. A barrier counts only where no
/// future comes to a race.
fn held_up(advice: &Advice<'_>, futures: &[Future]) -> Vec<HeldUp> {
    let closed = advice.decision.region.closed().map(HeldUp::Closed);
    let gates =
        advice.decision.missing.iter().filter(|one| matches!(one, Missing::Rating { .. } | Missing::CoachConfirmation));
    // Somebody who races in no future and lacks a barrier in one lacks it in all.
    let races = futures.iter().any(|future| future.race.is_some());
    let barrier = futures.iter().find_map(|future| future.barrier.as_ref()).filter(|_| !races);
    closed.into_iter().chain(gates.chain(barrier).map(|one| HeldUp::Missing(*one))).collect()
}

/// `arrivals` has one entry for each future.
fn forecast(
    one: &Applicable<'_>,
    advice: &Advice<'_>,
    wanted: f64,
    arrivals: &[Option<i32>],
    held_up: &[HeldUp],
    on: Day,
) -> Forecast {
    let (height, spacing) = (one.spec.height, one.spec.between);
    let days = dates(arrivals, on);
    let share = |test: &dyn Fn(i32) -> bool| {
        let there = arrivals.iter().flatten().filter(|day| test(**day)).count();
        ratio(there, arrivals.len())
    };
    let (now, within) = (share(&|day| day <= on.days()), share(&|_| true));
    let status = match days[2] {
        _ if !held_up.is_empty() => Status::NotBeforeGate,
        Some(_) if now >= 0.5 => Status::Reached,
        Some(_) => Status::Expected,
        None => Status::NotWithinHorizon,
    };
    Forecast {
        height,
        spacing,
        hold_wanted: wanted,
        hold_now: advice.estimate.hold(height, spacing),
        gap: gap((height, spacing), advice, &advice.estimate),
        status,
        days,
        probability_now: now,
        probability_within: within,
    }
}

/// The days at which the middles of the shares of those futures in which something comes pass each of [`LEVELS`]. Training days
/// come in lumps: the 50 % range takes those inside, the 90 % range those outside, because few futures tell little of their ends.
/// None where it comes in less than half of the futures.
///
/// Whoever stands still never comes, however long one looks ahead: with them in it, half of all ranges had no end. So two things
/// are told apart, how likely it is to come within the look ahead, and when, if so.
///
/// All five are there, or none below half of the futures.
///
/// # Source
/// Mid-distribution quantiles: E. Parzen, "Quantile probability and statistical data modeling", Statistical Science 19,
/// 2004. Whether apart from when: V. T. Farewell, "The use of mixture models for the analysis of survival data with long-term
/// survivors", Biometrics 38, 1982 (both from memory).
fn dates(arrivals: &[Option<i32>], on: Day) -> Dates {
    let mut sorted: Vec<i32> = arrivals.iter().flatten().copied().collect();
    if sorted.is_empty() || 2 * sorted.len() < arrivals.len() {
        return Dates::default();
    }
    sorted.sort_unstable();
    let mut before = 0;
    // Each day with the share that arrived before it, and with it.
    let lumps: Vec<(i32, f64, f64)> = sorted
        .chunk_by(|a, b| a == b)
        .map(|lump| {
            let start = ratio(before, sorted.len());
            before += lump.len();
            (lump[0], start, ratio(before, sorted.len()))
        })
        .collect();
    let middle = |at: usize| f64::midpoint(lumps[at].1, lumps[at].2);
    let Some(median) = lumps.iter().position(|lump| lump.2 >= 0.5) else { return Dates::default() };
    let outer = [
        (0..=median).rev().find(|at| middle(*at) <= LEVELS[0]).unwrap_or(0),
        (median..lumps.len()).find(|at| middle(*at) >= LEVELS[4]).unwrap_or(lumps.len() - 1),
    ];
    let inner = [
        (0..median).find(|at| middle(*at) >= LEVELS[1]).unwrap_or(median),
        (median..lumps.len()).rev().find(|at| middle(*at) <= LEVELS[3]).unwrap_or(median),
    ];
    [outer[0], inner[0], median, inner[1], outer[1]].map(|at| Some(on.add_days(lumps[at].0 - on.days())))
}

/// A step on the way, told by what most futures take; none where most futures take none.
///
/// None at a place that less than half of the futures reach. Ties of frequency go to the earlier day.
fn step(futures: &[Future], at: usize, on: Day) -> Option<StepAhead> {
    let taken: Vec<Advised> = futures.iter().filter_map(|future| future.steps[at]).collect();
    let times = |one: &Advised| taken.iter().filter(|other| other.kind == one.kind && other.to == one.to).count();
    let likeliest = taken.iter().max_by_key(|one| (times(one), std::cmp::Reverse(one.day)))?;
    let arrivals: Vec<Option<i32>> = futures.iter().map(|future| future.steps[at].map(|one| one.day)).collect();
    let days = dates(&arrivals, on);
    days[2]?;
    Some(StepAhead {
        kind: likeliest.kind,
        to: likeliest.to,
        likely: ratio(times(likeliest), futures.len()),
        days,
        probability_within: ratio(taken.len(), futures.len()),
    })
}

/// Nought of nought is nought.
#[allow(clippy::cast_precision_loss)] // few
fn ratio(part: usize, whole: usize) -> f64 {
    part as f64 / whole.max(1) as f64
}

/// The limit's gap is there also for somebody without a current configuration.
fn gap((height, spacing): (Length, Length), advice: &Advice<'_>, estimate: &Estimate) -> Gap {
    let current = advice.decision.current;
    let short = |goal: Length, now: Length| goal.metres() - now.metres();
    Gap {
        spacing_m: current.map(|now| short(spacing, now.spacing)),
        height_m: current.map(|now| short(height, now.height)),
        limit_m: spacing.metres() - estimate.limit_at(height).mean,
    }
}
