//! Forecasts of the day on which a goal is reached, beside the day on which it truly is.

use lanewright::compute::estimate::{Goal, Passage, Posterior, Settings};
use lanewright::compute::progress::HORIZON_WEEKS;
use lanewright::compute::units::Length;

use super::athlete::Athlete;
use super::coach::{Coach, Recommended, STEP_MM};
use super::season::{GOAL, runs};

/// Days of the season on which forecasts are made: after four, eight and twelve weeks.
const DAYS: [i32; 3] = [28, 56, 84];
/// The probability of holding that the goal asks for.
const HOLD: f64 = 0.8;
/// The 90 % and the 50 % range, as probabilities of arrival.
pub const RANGE_90: (f64, f64) = (0.05, 0.95);
pub const RANGE_50: (f64, f64) = (0.25, 0.75);

/// A forecast and what came true.
#[derive(Clone, Debug)]
pub struct Forecast {
    passage: Passage,
    /// Days until the goal is truly reached first; none beyond the look ahead.
    pub reached: Option<u32>,
}

impl Forecast {
    /// Whether a range covers what came true.
    ///
    /// "Later than the look ahead" counts as one day after all others: a range without a last day covers it, and a range
    /// without a first day covers nothing else. So goals that are not reached in time are neither left out nor misses.
    pub fn covers(&self, (low, high): (f64, f64)) -> bool {
        let after = |day: Option<u32>| day.unwrap_or(u32::MAX);
        (after(self.passage.days_to(low))..=after(self.passage.days_to(high))).contains(&after(self.reached))
    }

    /// The probability that the forecast itself gives to a range: more than its name says where the range is cut off at
    /// today or at the end of the look ahead.
    pub fn claims(&self, (low, high): (f64, f64)) -> f64 {
        let before = match self.passage.days_to(low) {
            Some(0) => 0.0,
            Some(_) => low,
            None => self.passage.ever(),
        };
        let until = match self.passage.days_to(high) {
            Some(0) => self.passage.now(),
            Some(_) => high,
            None => 1.0,
        };
        until - before
    }

    /// Whether both ends of the 90 % range are days to come.
    pub fn dated(&self) -> bool {
        self.passage.days_to(RANGE_90.0) != Some(0) && self.passage.days_to(RANGE_90.1).is_some()
    }

    /// The probability that the goal is reached within the look ahead.
    pub fn within(&self) -> f64 {
        self.passage.ever()
    }
}

/// Forecasts of a season in recommended lanes, each for a goal up to three spacing steps beyond the lane of the day, over
/// barriers of 0.50 m; and the limit as it was estimated on the days of sessions, metres (m).
pub fn forecasts(athlete: &Athlete, settings: &Settings) -> (Vec<Forecast>, Vec<(i32, f64)>) {
    let mut coach = Recommended::new(athlete, HOLD, settings);
    let mut sessions = athlete.calendar.season().peekable();
    let (mut found, mut limits) = (Vec::new(), Vec::new());
    for day in DAYS {
        while let Some(session) = sessions.next_if(|session| *session < day) {
            let lane = coach.lane(session);
            coach.saw(&runs(athlete, session, lane.height, lane.spacing));
            limits.push((session, coach.posterior().limit_m().mean));
        }
        let lane = coach.lane(day);
        let steps = athlete.dice(day, GOAL).pick(4);
        let spacing = Length::from_mm(lane.spacing.mm() + steps * STEP_MM);
        let goal = Goal { height: Length::from_mm(500), spacing, hold: HOLD };
        found.push(forecast(athlete, coach.posterior(), &goal, day));
    }
    (found, limits)
}

fn forecast(athlete: &Athlete, posterior: &Posterior, goal: &Goal, day: i32) -> Forecast {
    let until = day + 7 * HORIZON_WEEKS.cast_signed();
    let reached = athlete.first_day(day, goal.height, goal.spacing, goal.hold).filter(|&reached| reached <= until);
    Forecast {
        passage: posterior.first_passage(goal, HORIZON_WEEKS),
        reached: reached.map(|reached| (reached - day).unsigned_abs()),
    }
}

/// What forecasts add up to.
#[derive(Clone, Copy, Debug)]
pub struct ForecastFigures {
    /// Share of 90 % ranges that cover what came true, and what the forecasts themselves claim.
    pub in_90: f64,
    pub claimed_90: f64,
    /// The same for 50 % ranges.
    pub in_50: f64,
    pub claimed_50: f64,
    /// Forecasts whose 90 % range is dated at both ends, and the share of them that cover.
    pub dated: usize,
    pub dated_in_90: f64,
    /// Share of goals reached within the look ahead, and what the forecasts expect.
    pub reached: f64,
    pub expected: f64,
}

/// How well forecasts cover what came true.
pub fn forecast_figures<'a>(forecasts: impl IntoIterator<Item = &'a Forecast>) -> ForecastFigures {
    let all: Vec<&Forecast> = forecasts.into_iter().collect();
    let mean = |of: &dyn Fn(&Forecast) -> f64| all.iter().map(|one| of(one)).sum::<f64>() / all.len() as f64;
    let share = |of: &dyn Fn(&Forecast) -> bool| mean(&|one| f64::from(u8::from(of(one))));
    let dated: Vec<&&Forecast> = all.iter().filter(|one| one.dated()).collect();
    let covered = dated.iter().filter(|one| one.covers(RANGE_90)).count();
    ForecastFigures {
        in_90: share(&|one| one.covers(RANGE_90)),
        claimed_90: mean(&|one| one.claims(RANGE_90)),
        in_50: share(&|one| one.covers(RANGE_50)),
        claimed_50: mean(&|one| one.claims(RANGE_50)),
        dated: dated.len(),
        dated_in_90: covered as f64 / dated.len() as f64,
        reached: share(&|one| one.reached.is_some()),
        expected: mean(&Forecast::within),
    }
}
