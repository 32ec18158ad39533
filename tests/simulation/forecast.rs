//! Forecasts of the day on which a goal is reached, beside the day on which it truly is.

use lanewright::compute::estimate::{Goal, Posterior, Settings};
use lanewright::compute::units::Length;

use super::athlete::Athlete;
use super::coach::{Coach, Recommended, STEP_MM};
use super::season::{GOAL, runs};

/// How far a forecast looks ahead, weeks.
const WEEKS: u32 = 26;
/// Days of the season on which forecasts are made: after four, eight and twelve weeks.
const DAYS: [i32; 3] = [28, 56, 84];
/// The probability of holding that the goal asks for.
const HOLD: f64 = 0.8;

/// A forecast and what came true, in days from the forecast; none for later than the look ahead.
#[derive(Clone, Copy, Debug)]
pub struct Forecast {
    /// First day of the 90 % range.
    pub earliest: Option<u32>,
    /// Last day of the 90 % range.
    pub latest: Option<u32>,
    /// The median.
    pub median: Option<u32>,
    /// When the goal is truly reached first.
    pub reached: Option<u32>,
}

impl Forecast {
    /// Whether the 90 % range covers what came true.
    ///
    /// "Later than the look ahead" counts as one outcome: a range without a last day covers it, and a range without a
    /// first day covers nothing else. So goals that are not reached in time are neither left out nor called misses.
    pub fn covers(&self) -> bool {
        let after = |day: Option<u32>| day.unwrap_or(u32::MAX);
        (after(self.earliest)..=after(self.latest)).contains(&after(self.reached))
    }
}

/// Forecasts of a season in recommended lanes, each for a goal one or two spacing steps beyond the lane of the day, over
/// barriers of 0.50 m.
pub fn forecasts(athlete: &Athlete, settings: &Settings) -> Vec<Forecast> {
    let mut coach = Recommended::new(athlete, HOLD, settings);
    let mut sessions = athlete.calendar.season().peekable();
    let mut found = Vec::new();
    for day in DAYS {
        while let Some(session) = sessions.next_if(|session| *session < day) {
            let lane = coach.lane(session);
            coach.saw(&runs(athlete, session, lane.height, lane.spacing));
        }
        let lane = coach.lane(day);
        let steps = 1 + athlete.dice(day, GOAL).pick(2);
        let spacing = Length::from_mm(lane.spacing.mm() + steps * STEP_MM);
        let goal = Goal { height: Length::from_mm(500), spacing, hold: HOLD };
        found.push(forecast(athlete, coach.posterior(), &goal, day));
    }
    found
}

fn forecast(athlete: &Athlete, posterior: &Posterior, goal: &Goal, day: i32) -> Forecast {
    let passage = posterior.first_passage(goal, WEEKS);
    let until = day + 7 * WEEKS.cast_signed();
    let reached = athlete.first_day(day, goal.height, goal.spacing, goal.hold).filter(|&reached| reached <= until);
    Forecast {
        earliest: passage.days_to(0.05),
        latest: passage.days_to(0.95),
        median: passage.days_to(0.5),
        reached: reached.map(|reached| (reached - day).unsigned_abs()),
    }
}
