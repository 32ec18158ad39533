//! Ways to choose the lane of a session: the service's, and those that need no service.

use lanewright_compute::advice::{Record, RunRecord, Setting, advise};
use lanewright_compute::day::Day;
use lanewright_compute::decision::{Clearance, Hold, Policy, Rating, Ratings, Situation, Stock, decide};
use lanewright_compute::estimate::{Estimate, Posterior, RunCounts, Settings};
use lanewright_compute::prior::PriorPolicy;
use lanewright_compute::specs::Birth;
use lanewright_compute::units::{BarrierKind, Length};

use super::athlete::Athlete;
use super::calendar::height_on;

/// The lane of a session.
#[derive(Clone, Copy, Debug)]
pub struct Lane {
    pub height: Length,
    pub spacing: Length,
}

/// Chooses the lane of each session of one athlete, and learns from it.
pub trait Coach {
    /// The lane of a session on a day.
    fn lane(&mut self, day: i32) -> Lane;

    /// What the lane's runs showed.
    fn saw(&mut self, runs: &[RunCounts]);

    /// What is believed on the day it was last asked about, if anything is.
    fn believes(&self) -> Option<&Estimate> {
        None
    }
}

/// The lane that the service says fits an athlete over a given height: the rule by which it also chooses a first lane.
pub fn fitting(day: i32, hold: f64, chance: &dyn Fn(Length, Length) -> f64) -> Lane {
    let height = height_on(day);
    let policy = Policy { first_lane_hold: hold, ..Policy::default() };
    let wickets = Stock { kind: BarrierKind::Wicket, heights: vec![height] };
    let situation = Situation { stock: vec![wickets], ..Situation::unseen(day) };
    let of_mean = |height: Length, spacing: Length| {
        // The rule reads the mean alone.
        let mean = chance(height, spacing);
        Hold { mean, p05: mean, p95: mean }
    };
    let decision = decide(&situation, &policy, &of_mean);
    // Where nothing is permitted the calendar still wants a lane: the likeliest, which is the one proposed.
    let spacing = decision.fit.map_or_else(|| decision.proposed.expect("a lane").spacing, |fit| fit.spacing);
    Lane { height, spacing }
}

/// Asks the service for the lane that fits, every session.
pub struct Recommended {
    posterior: Posterior,
    estimate: Estimate,
    hold: f64,
}

impl Recommended {
    pub fn new(athlete: &Athlete, hold: f64, settings: &Settings) -> Self {
        let posterior = Posterior::new(&athlete.prior(), settings).expect("possible settings");
        Self { estimate: posterior.summary(), posterior, hold }
    }

    pub fn posterior(&self) -> &Posterior {
        &self.posterior
    }
}

impl Coach for Recommended {
    fn lane(&mut self, day: i32) -> Lane {
        self.posterior.advance(day).expect("days in order");
        self.estimate = self.posterior.summary();
        fitting(day, self.hold, &|height, spacing| self.estimate.hold_mean(height, spacing))
    }

    fn saw(&mut self, runs: &[RunCounts]) {
        self.posterior.learn(runs).expect("possible runs");
        self.estimate = self.posterior.summary();
    }

    fn believes(&self) -> Option<&Estimate> {
        Some(&self.estimate)
    }
}

/// Chooses by the same rule with the truth at hand: the best that its steps allow.
pub struct AllKnowing<'a> {
    pub athlete: &'a Athlete,
    pub hold: f64,
}

impl Coach for AllKnowing<'_> {
    fn lane(&mut self, day: i32) -> Lane {
        fitting(day, self.hold, &|height, spacing| self.athlete.hold(day, height, spacing))
    }

    fn saw(&mut self, _runs: &[RunCounts]) {}
}

/// Follows the service's advice to the letter: first lane, steps up, steps back.
pub struct Advised {
    record: Record,
    setting: Setting,
    kind: BarrierKind,
    estimate: Option<Estimate>,
}

/// The first day of the simulated calendar.
const FIRST_DAY: i32 = 20_700;

impl Advised {
    pub fn new(athlete: &Athlete, hold: f64) -> Self {
        let secure = Some(Rating::Secure);
        let measured = athlete.measured;
        #[allow(clippy::cast_possible_truncation)] // days of a youth
        let born = FIRST_DAY - (athlete.age_y * 365.25) as i32;
        let record = Record {
            sex: athlete.sex,
            birth: Birth::Date(Day::from_days(born).expect("a day")),
            experience: measured.experience,
            stature_m: measured.stature_m,
            leg_length_m: measured.leg_length_m,
            sprint_30m_s: measured.sprint_30m_s,
            sprint_50m_s: measured.sprint_50m_s,
            approach_strides: None,
            status: lanewright_compute::decision::Status::Active,
            breaks: Vec::new(),
            surface: None,
            ratings: Ratings { lead_leg: secure, trail_leg: secure, walkover: secure, ..Ratings::default() },
            clearance: Clearance::NotNeeded,
            word: None,
            runs: Vec::new(),
        };
        Self { record, setting: club(hold), kind: BarrierKind::Wicket, estimate: None }
    }
}

/// A club with wickets, low barriers and hurdles whose first lane should hold with a probability.
fn club(hold: f64) -> Setting {
    let stock = |kind, heights: &[u32]| Stock { kind, heights: heights.iter().copied().map(Length::from_mm).collect() };
    Setting {
        ruleset: "WA".to_owned(),
        specs: Vec::new(),
        age_groups: Vec::new(),
        stock: vec![
            stock(BarrierKind::Wicket, &[300]),
            stock(BarrierKind::LowBarrier, &[400, 500, 600]),
            stock(BarrierKind::Hurdle, &[600, 680, 762]),
        ],
        policy: Policy { first_lane_hold: hold, ..Policy::default() },
        start: PriorPolicy::default(),
    }
}

impl Coach for Advised {
    fn lane(&mut self, day: i32) -> Lane {
        let on = Day::from_days(FIRST_DAY + day).expect("a day");
        let advice = advise(&self.record, &self.setting, on).expect("possible records");
        let proposed = advice.decision.proposed.expect("nobody rests");
        self.kind = proposed.barrier_kind;
        self.estimate = Some(advice.estimate);
        Lane { height: proposed.height, spacing: proposed.spacing }
    }

    fn saw(&mut self, runs: &[RunCounts]) {
        let kind = self.kind;
        self.record.runs.extend(runs.iter().map(|run| RunRecord {
            day: FIRST_DAY + run.day,
            barrier_kind: kind,
            height: run.height,
            spacing: run.spacing,
            barriers: u16::try_from(run.intervals()).expect("a run") + 1,
            held: run.held,
            over_reached: run.over_reached,
            crowded: run.crowded,
            broken: run.broken,
            hits: 0,
            fell: false,
        }));
    }

    fn believes(&self) -> Option<&Estimate> {
        self.estimate.as_ref()
    }
}

/// One spacing step out after a session that holds as wanted or crowds more than it over-reaches, one step in otherwise,
/// from the service's first lane.
pub struct Staircase {
    spacing_mm: u32,
    hold: f64,
}

impl Staircase {
    pub fn new(athlete: &Athlete, hold: f64, settings: &Settings) -> Self {
        let first = Recommended::new(athlete, hold, settings).lane(0);
        Self { spacing_mm: first.spacing.mm(), hold }
    }
}

impl Coach for Staircase {
    fn lane(&mut self, day: i32) -> Lane {
        Lane { height: height_on(day), spacing: Length::from_mm(self.spacing_mm) }
    }

    fn saw(&mut self, runs: &[RunCounts]) {
        let held: u32 = runs.iter().map(|run| u32::from(run.held)).sum();
        let all: u32 = runs.iter().map(RunCounts::intervals).sum();
        let crowded: u32 = runs.iter().map(|run| u32::from(run.crowded)).sum();
        let over_reached: u32 = runs.iter().map(|run| u32::from(run.over_reached)).sum();
        let out = f64::from(held) >= self.hold * f64::from(all) || crowded > over_reached;
        self.spacing_mm = if out { self.spacing_mm + STEP_MM } else { (self.spacing_mm - STEP_MM).max(SHORTEST_MM) };
    }
}

/// One spacing for the whole season.
pub struct Unchanging {
    pub spacing: Length,
}

impl Unchanging {
    /// 4.4 times the stature, the middle of what school lanes come to (3.9 to 5.0), on the club's grid.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 4 to 10 m
    pub fn by_stature(athlete: &Athlete) -> Self {
        let steps = libm::round(4.4 * athlete.stature_m * 1_000.0 / f64::from(STEP_MM)) as u32;
        Self { spacing: Length::from_mm(steps * STEP_MM) }
    }
}

impl Coach for Unchanging {
    fn lane(&mut self, day: i32) -> Lane {
        Lane { height: height_on(day), spacing: self.spacing }
    }

    fn saw(&mut self, _runs: &[RunCounts]) {}
}

/// The step of the club's spacing grid, millimetres (mm).
pub const STEP_MM: u32 = 250;
/// The shortest spacing that is set out, millimetres (mm).
const SHORTEST_MM: u32 = 4_000;

/// The club's spacing grid.
pub fn grid() -> impl Iterator<Item = Length> {
    (SHORTEST_MM / STEP_MM..=9_000 / STEP_MM).map(|steps| Length::from_mm(steps * STEP_MM))
}
