//! When the athlete is likely to hold the rhythm over the target.

use super::notes::{self, Note};
use crate::advice::{Advice, Record, Setting};
use crate::day::Day;
use crate::estimate::{Estimate, Goal, Hold, Posterior};
use crate::specs::Applicable;
use crate::units::Length;

/// How far a forecast looks ahead, weeks (design choice).
pub const HORIZON_WEEKS: u32 = 26;
/// The probabilities of arrival whose dates are told: the middle, the 50 % range and the 90 % range.
pub const LEVELS: [f64; 5] = [0.05, 0.25, 0.50, 0.75, 0.95];

/// Where an athlete stands with a target.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// More likely than not the rhythm holds there already.
    Reached,
    /// More likely than not it will within the look ahead.
    Expected,
    /// More likely than not it will take longer.
    NotWithinHorizon,
}

impl Status {
    /// The word used in JSON and CSV.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Reached => "reached",
            Self::Expected => "expected",
            Self::NotWithinHorizon => "not_within_26_weeks",
        }
    }
}

/// How far an athlete is from a target; positive when the target asks for more.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// Spacing of the target less that of the current configuration, metres (m); none without one.
    pub spacing_m: Option<f64>,
    /// Height of the target less that of the current configuration, metres (m); none without one.
    pub height_m: Option<f64>,
    /// Spacing of the target less the comfortable limit over its height, metres (m).
    pub limit_m: f64,
}

/// When a target is likely to be reached.
#[derive(Clone, Debug, PartialEq)]
pub struct Forecast {
    /// What is to be reached.
    pub goal: Goal,
    /// The probability of holding an interval there now.
    pub hold_now: Hold,
    /// How far it is.
    pub gap: Gap,
    /// The day by which it has been reached with each of [`LEVELS`]; none where that lies beyond the look ahead.
    pub days: [Option<Day>; LEVELS.len()],
    /// The probability that it is reached already.
    pub probability_now: f64,
    /// The probability that it is reached within [`HORIZON_WEEKS`].
    pub probability_within: f64,
}

impl Forecast {
    /// Where the athlete stands with the target.
    pub fn status(&self, on: Day) -> Status {
        match self.days[2] {
            Some(day) if day <= on => Status::Reached,
            Some(_) => Status::Expected,
            None => Status::NotWithinHorizon,
        }
    }
}

/// What is to be expected of the target and of the one after it.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook {
    /// The target; none without one on file or without runs.
    pub target: Option<Forecast>,
    /// The one after it.
    pub next: Option<Forecast>,
    /// On what it rests and what weakens it; never empty when there is a forecast or when runs are missing.
    pub notes: Vec<Note>,
}

/// Looks ahead from a day.
pub(super) fn outlook(
    record: &Record,
    setting: &Setting,
    advice: &Advice<'_>,
    posterior: &Posterior,
    on: Day,
) -> Outlook {
    if advice.estimate.evidence.runs == 0 {
        return Outlook { target: None, next: None, notes: vec![Note::NoRuns] };
    }
    let hold = setting.policy.min_hold_mean;
    let of = |one: &Applicable<'_>| {
        let goal = Goal { height: one.spec.height, spacing: one.spec.between, hold };
        forecast(goal, advice, posterior, on)
    };
    let target = advice.target.as_ref().map(of);
    let next = advice.next_target.as_ref().map(|(_, one)| of(one));
    let highest = target.iter().chain(&next).map(|one| one.goal.height).max();
    Outlook { notes: highest.map_or_else(Vec::new, |height| notes::of(record, advice, height, on)), target, next }
}

fn forecast(goal: Goal, advice: &Advice<'_>, posterior: &Posterior, on: Day) -> Forecast {
    let passage = posterior.first_passage(&goal, HORIZON_WEEKS);
    let day = |level: f64| {
        let days = passage.days_to(level)?;
        Some(on.add_days(i32::try_from(days).ok()?))
    };
    Forecast {
        goal,
        hold_now: advice.estimate.hold(goal.height, goal.spacing),
        gap: gap(goal, advice, &advice.estimate),
        days: LEVELS.map(day),
        probability_now: passage.now(),
        probability_within: passage.ever(),
    }
}

fn gap(goal: Goal, advice: &Advice<'_>, estimate: &Estimate) -> Gap {
    let current = advice.decision.current;
    let short = |goal: Length, now: Length| goal.metres() - now.metres();
    Gap {
        spacing_m: current.map(|now| short(goal.spacing, now.spacing)),
        height_m: current.map(|now| short(goal.height, now.height)),
        limit_m: goal.spacing.metres() - estimate.limit_at(goal.height).mean,
    }
}
