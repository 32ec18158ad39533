//! When an athlete trains.

use lanewright_compute::units::Length;

use super::dice::Dice;

/// Days of a season: twelve weeks.
pub const SEASON_DAYS: i32 = 84;
/// Days for which the truth is known: a season and half a year after it.
pub const PATH_DAYS: i32 = SEASON_DAYS + 7 * 30;
/// Share of weeks missed altogether.
const WEEKS_MISSED: f64 = 0.08;
/// Share of athletes away for two weeks in a row.
const AWAY: f64 = 0.3;
/// Share of single sessions missed in a week with training.
const SESSIONS_MISSED: f64 = 0.05;

/// When an athlete trains: twice a week, but for missed weeks and sessions.
#[derive(Clone, Debug)]
pub struct Calendar {
    weeks: Vec<bool>,
    sessions: Vec<i32>,
}

impl Calendar {
    /// Draws a calendar.
    pub fn draw(dice: &mut Dice) -> Self {
        let mut weeks: Vec<bool> =
            (0..PATH_DAYS.unsigned_abs().div_ceil(7)).map(|_| !dice.chance(WEEKS_MISSED)).collect();
        if dice.chance(AWAY) {
            let first = 2 + dice.pick(8) as usize;
            weeks[first..first + 2].fill(false);
        }
        let week = |day: i32| day.unsigned_abs() as usize / 7;
        let sessions = (0..PATH_DAYS)
            .filter(|&day| matches!(day % 7, 0 | 3) && !dice.chance(SESSIONS_MISSED) && weeks[week(day)])
            .collect();
        Self { weeks, sessions }
    }

    /// Whether there is training in the week of a day.
    pub fn trains_in_week_of(&self, day: i32) -> bool {
        self.weeks[day.unsigned_abs() as usize / 7]
    }

    /// The days of a season's sessions.
    pub fn season(&self) -> impl Iterator<Item = i32> {
        self.sessions().take_while(|&day| day < SEASON_DAYS)
    }

    /// The days of all sessions.
    pub fn sessions(&self) -> impl Iterator<Item = i32> {
        self.sessions.iter().copied()
    }
}

/// The height of a squad's barriers on a day of the season: wickets, then two low barriers.
pub const fn height_on(day: i32) -> Length {
    Length::from_mm(match day / 7 {
        0..=5 => 300,
        6..=8 => 500,
        _ => 600,
    })
}
