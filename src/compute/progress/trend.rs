//! Slopes over weeks, and whether an athlete stands still.
//!
//! Estimates wobble from day to day and a few days are outliers, so trends are medians of pairwise slopes with Sen's
//! interval ([`crate::robust`]). Standing still is told from noise by asking whether that interval contains zero over
//! weeks with enough training to show a change; too little training is an answer of its own, never "no progress".
//!
//! # Worked
//!
//! Days 0, 7, 14, 21 with 6.00, 6.15, 6.10, 6.30 m: pairwise slopes of -0.05, 0.05, 0.075, 0.10, 0.15, 0.20 m a week,
//! median 0.0875. With four points the interval at 90 % takes all of them, -0.05 to 0.20, so nothing may have changed.

use super::WEEK;
use crate::robust::theil_sen;

/// Confidence of the interval of a slope: that of the other intervals shown (design choice).
///
/// Two-sided.
pub const CONFIDENCE: f64 = 0.90;
/// Weeks that a plateau takes at least (design choice).
///
/// Two training days each make eight points at least.
pub const PLATEAU_WEEKS: i32 = 4;
/// Weeks over which a plateau is followed back (design choice).
///
/// A longer one reads "12 weeks at least".
pub const PLATEAU_WEEKS_MAX: i32 = 12;
/// Training days that each of its weeks takes at least (design choice).
///
/// One day a week shows too little to call a change absent.
pub const PLATEAU_DAYS: u32 = 2;
/// Points below which an interval of a slope says nothing.
///
/// With two points the interval has no width.
const POINTS_MIN: usize = 3;

/// How fast a quantity changes, in its unit per week.
///
/// `low <= per_week <= high`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// Median of the slopes of all pairs of days.
    pub per_week: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
    /// Days it rests on.
    pub days: usize,
}

impl Slope {
    /// Whether the interval leaves open that nothing changes.
    ///
    /// Not that it is zero: an interval can be wide.
    pub fn may_be_zero(&self) -> bool {
        self.low <= 0.0 && self.high >= 0.0
    }
}

/// A week and how often the athlete trained in it.
///
/// Seven days, `to` = `from` + 6; not calendar weeks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Week {
    /// Its first day, days since 1970-01-01.
    pub from: i32,
    /// Its last day, days since 1970-01-01.
    pub to: i32,
    /// Training days in it.
    pub training_days: u32,
}

/// Whether an athlete stands still.
///
/// Told beside the slope, because "moving" is also said of falling.
#[derive(Clone, Debug, PartialEq)]
pub enum Plateau {
    /// Some of the latest [`PLATEAU_WEEKS`] weeks have fewer than [`PLATEAU_DAYS`] training days: these, latest first.
    NotEnoughData(Vec<Week>),
    /// The slope of the latest weeks leaves open that nothing changes.
    ///
    /// `slope` is that over all these weeks, near zero or wide.
    Standing {
        /// For how many weeks at least, up to [`PLATEAU_WEEKS_MAX`].
        weeks: i32,
        /// The slope over them.
        slope: Slope,
    },
    /// The slope of the latest [`PLATEAU_WEEKS`] weeks is surely not zero.
    Moving(Slope),
}

/// The slope of (day, value) points, in units of the value per week; none below three days or where all values are equal
/// in number too often to tell an interval.
///
/// Weeks count from the first point given. At most 1 000 points. Equal days have no slope between them; the caller
/// gives one point a day.
///
/// # Source
/// P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", Journal of the American Statistical
/// Association 63, 1968. The interval takes the days as independent; estimates of successive days share their runs, so it
/// is rather too narrow than too wide for them.
///
/// ```
/// use lanewright_compute::progress::slope_per_week;
///
/// let slope = slope_per_week(&[(0, 6.0), (7, 6.1), (14, 6.2), (21, 6.3)]).unwrap();
/// assert!((slope.per_week - 0.1).abs() < 1e-12);
/// ```
pub fn slope_per_week(points: &[(i32, f64)]) -> Option<Slope> {
    if points.len() < POINTS_MIN {
        return None;
    }
    let first = points[0].0;
    let (weeks, values): (Vec<f64>, Vec<f64>) =
        points.iter().map(|(day, value)| (f64::from(day - first) / f64::from(WEEK), *value)).unzip();
    let line = theil_sen(&weeks, &values, CONFIDENCE).ok()?;
    let interval = line.interval?;
    Some(Slope { per_week: line.slope, low: interval.low, high: interval.high, days: points.len() })
}

/// Whether an athlete stands still on a day: over the latest four weeks or more, each with two training days or more, the
/// interval of the slope contains zero. Points are (day, value), one a training day, earliest first.
///
/// Weeks are counted back from the latest training day when it lies within a week of `on_day`, else from `on_day`. Longer plateaus are followed back as long as the weeks have their days and the
/// interval contains zero.
///
/// Followed back week by week: it ends before the first week that is thin or that makes the slope over all weeks
/// differ from zero. Points after `on_day` would be counted and are the caller's to leave out. n² log n in the points
/// of twelve weeks, up to nine times.
///
/// ```
/// use lanewright_compute::progress::{Plateau, plateau};
///
/// let still: Vec<(i32, f64)> = (0..8).map(|k| (100 + k / 2 * 7 + k % 2 * 3, 6.5 + f64::from(k % 3) * 0.01)).collect();
/// assert!(matches!(plateau(&still, 127), Plateau::Standing { weeks: 4, .. }));
/// assert!(matches!(plateau(&still[..6], 127), Plateau::NotEnoughData(_)));
/// ```
pub fn plateau(points: &[(i32, f64)], on_day: i32) -> Plateau {
    let last = points.last().map(|(day, _)| *day).filter(|day| (0..WEEK).contains(&(on_day - day)));
    let end = last.unwrap_or(on_day);
    let week = |back: i32| {
        let to = end - WEEK * back;
        let from = to - WEEK + 1;
        let days = points.iter().filter(|(day, _)| (from..=to).contains(day)).count();
        Week { from, to, training_days: u32::try_from(days).unwrap_or(u32::MAX) }
    };
    let thin: Vec<Week> = (0..PLATEAU_WEEKS).map(week).filter(|week| week.training_days < PLATEAU_DAYS).collect();
    if !thin.is_empty() {
        return Plateau::NotEnoughData(thin);
    }
    let over = |weeks: i32| {
        let from = end - WEEK * weeks + 1;
        let latest: Vec<(i32, f64)> = points.iter().filter(|(day, _)| (from..=end).contains(day)).copied().collect();
        // Eight days or more without a slope are all alike: standing still is what that is.
        slope_per_week(&latest).unwrap_or(Slope { per_week: 0.0, low: 0.0, high: 0.0, days: latest.len() })
    };
    let latest = over(PLATEAU_WEEKS);
    if !latest.may_be_zero() {
        return Plateau::Moving(latest);
    }
    let longer = (PLATEAU_WEEKS + 1..=PLATEAU_WEEKS_MAX)
        .take_while(|weeks| week(weeks - 1).training_days >= PLATEAU_DAYS)
        .map(|weeks| (weeks, over(weeks)))
        .take_while(|(_, slope)| slope.may_be_zero());
    let (weeks, slope) = longer.last().unwrap_or((PLATEAU_WEEKS, latest));
    Plateau::Standing { weeks, slope }
}
