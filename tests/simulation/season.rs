//! A season of one athlete or of a squad under a coach.

use lanewright_compute::estimate::{RunCounts, Spread};
use lanewright_compute::units::Length;

use super::athlete::{Athlete, recorded_as_held};
use super::calendar::{SEASON_DAYS, height_on};
use super::coach::{Coach, Lane, STEP_MM, grid};

/// The drifts of a squad, metres per week (m/week), in turn.
pub const DRIFTS_M: [f64; 5] = [0.0, 0.02, 0.04, 0.06, 0.08];

/// Purposes of dice.
const RUNS: u64 = 3;
const PROBE: u64 = 4;
pub const GOAL: u64 = 5;

/// A squad of athletes whose drifts take turns.
pub fn squad(seed: u64, athletes: u32) -> Vec<Athlete> {
    (0..athletes).map(|n| Athlete::draw(seed * 1_000 + u64::from(n), DRIFTS_M[n as usize % DRIFTS_M.len()])).collect()
}

/// Intervals that were predicted, and how many of them held.
#[derive(Clone, Copy, Debug)]
pub struct Tried {
    /// Predicted probability that an interval is recorded as held.
    pub predicted: f64,
    /// The same, if the truth were known.
    pub at_best: f64,
    pub intervals: u32,
    pub held: u32,
}

/// A session as it went.
#[derive(Clone, Debug)]
pub struct Session {
    /// The athlete's own count, from 0.
    pub number: usize,
    pub day: i32,
    pub lane: Lane,
    /// True probability of holding an interval of the lane.
    pub hold: f64,
    /// True limit over a wicket, metres (m).
    pub limit_m: f64,
    /// What is believed of it after the session, metres (m).
    pub believed: Option<Spread>,
    /// The lane's intervals as they were predicted.
    pub tried: Option<Tried>,
    /// One run at a lane up to two steps shorter or three longer, from which nobody learns.
    pub probe: Option<Tried>,
}

/// Runs a season: four to six runs of four to six intervals a session.
pub fn season(athlete: &Athlete, coach: &mut dyn Coach) -> Vec<Session> {
    athlete.calendar.season().enumerate().map(|(number, day)| session(athlete, coach, number, day)).collect()
}

/// The runs of one session.
pub fn runs(athlete: &Athlete, day: i32, height: Length, spacing: Length) -> Vec<RunCounts> {
    let mut dice = athlete.dice(day, RUNS);
    let intervals = [4, 5, 6][dice.pick(3) as usize];
    (0..4 + dice.pick(3)).map(|_| athlete.run(day, height, spacing, intervals, &mut dice)).collect()
}

fn session(athlete: &Athlete, coach: &mut dyn Coach, number: usize, day: i32) -> Session {
    let lane = coach.lane(day);
    let runs = runs(athlete, day, lane.height, lane.spacing);
    let predicted = coach.believes().map(|estimate| estimate.hold_mean(lane.height, lane.spacing));
    let tried = predicted.map(|predicted| Tried {
        predicted,
        at_best: recorded_as_held(athlete.hold(day, lane.height, lane.spacing)),
        intervals: runs.iter().map(RunCounts::intervals).sum(),
        held: runs.iter().map(|run| u32::from(run.held)).sum(),
    });
    let probe = probe(athlete, coach, lane, day);
    coach.saw(&runs);
    Session {
        number,
        day,
        lane,
        hold: athlete.hold(day, lane.height, lane.spacing),
        limit_m: athlete.limit_m(day),
        believed: coach.believes().map(|estimate| estimate.limit_m),
        tried,
        probe,
    }
}

fn probe(athlete: &Athlete, coach: &dyn Coach, lane: Lane, day: i32) -> Option<Tried> {
    let estimate = coach.believes()?;
    let mut dice = athlete.dice(day, PROBE);
    let spacing = Length::from_mm((lane.spacing.mm() + dice.pick(6) * STEP_MM).saturating_sub(2 * STEP_MM));
    let run = athlete.run(day, lane.height, spacing, 5, &mut dice);
    Some(Tried {
        predicted: estimate.hold_mean(lane.height, spacing),
        at_best: recorded_as_held(athlete.hold(day, lane.height, spacing)),
        intervals: run.intervals(),
        held: u32::from(run.held),
    })
}

/// True probabilities of holding when the whole squad runs the one lane that suits it best each session.
///
/// The lane is chosen with the truth at hand: the grid spacing whose true probabilities are nearest to `aim` in squares.
pub fn same_lane(squad: &[Athlete], aim: f64) -> Vec<f64> {
    let mut holds = Vec::new();
    for day in 0..SEASON_DAYS {
        let here: Vec<_> = squad.iter().filter(|one| one.calendar.season().any(|own| own == day)).collect();
        let at = |spacing| here.iter().map(|one| one.hold(day, height_on(day), spacing)).collect::<Vec<f64>>();
        let miss = |holds: &[f64]| holds.iter().map(|hold| (hold - aim) * (hold - aim)).sum::<f64>();
        let best = grid().map(at).min_by(|a, b| miss(a).total_cmp(&miss(b)));
        holds.extend(best.unwrap_or_default());
    }
    holds
}
