//! How the estimate of one athlete came about: what was believed after each training day.
//!
//! Charts and slopes need the estimate as it was on each day, with the runs known by then. Filtering forward gives all
//! of them in one pass: the belief after day k is the belief after day k - 1, moved and multiplied. No smoothing: a
//! later run never changes what is told of an earlier day, so a chart of the past stays as the coach saw it, unless a
//! run is entered late.
//!
//! Cost: that of one estimate, plus one sum over the cells for each entry, plus at most 52 kernel runs on a copy for
//! the weeks after the last run.

use super::posterior::LEFT_OUT_MAX;
use super::{EstimateError, Posterior, RunCounts, Settings, Spread};
use crate::prior::Prior;

/// Weeks count from the last training day and not from Monday.
const DAYS_PER_WEEK: i32 = 7;

/// What was believed about the comfortable limit on a day.
///
/// After the day's runs, if there were any.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Believed {
    /// The day, days since 1970-01-01.
    pub day: i32,
    /// Comfortable limit over a wicket of 0.30 m, metres (m).
    pub limit_m: Spread,
}

/// What was believed day by day, and the belief in which it ends.
///
/// The posterior stands on the last day asked for: forecasts draw from it.
#[derive(Clone, Debug)]
pub struct Series {
    /// One entry for each training day, then one a week, then the last day; earliest first, each day once.
    ///
    /// Never empty: the last day asked for is always told, even where it lies before `from_day`.
    pub believed: Vec<Believed>,
    /// What is believed on the last day.
    pub posterior: Posterior,
}

/// Follows an athlete through their runs, in any order, up to a day: one pass of the filter.
///
/// The entries are those from `from_day` on. After the last training day comes one a week, for as many weeks as a trend
/// is carried on ([`Settings::trend_weeks`]), and in any case `on_day`. Runs after `on_day` are left out. The last entry
/// and the posterior are those of [`super::estimate`] for the same runs and day.
///
/// With no run there is one entry: the prior on `on_day`. Weekly entries stop once `trend_weeks` weeks have passed,
/// because from then on the mean stands and only the interval widens.
///
/// # Errors
/// [`EstimateError`] when the prior, a setting or a run is impossible, or there are too many.
///
/// ```
/// use lanewright_compute::estimate::{RunCounts, Settings, series};
/// use lanewright_compute::prior::{Basis, Prior};
/// use lanewright_compute::units::Length;
///
/// let prior = Prior { mean_m: 6.0, sd_m: 0.5, basis: Basis::default() };
/// let run = |day, spacing_mm| RunCounts {
///     day,
///     height: Length::from_mm(300),
///     spacing: Length::from_mm(spacing_mm),
///     held: 4,
///     over_reached: 0,
///     crowded: 0,
///     broken: 0,
/// };
/// let found = series(&prior, &[run(20_000, 6_000), run(20_003, 6_250)], 20_000, 20_012, &Settings::default())?;
/// let days: Vec<i32> = found.believed.iter().map(|one| one.day).collect();
/// assert_eq!(days, [20_000, 20_003, 20_010, 20_012]);
/// # Ok::<(), lanewright_compute::estimate::EstimateError>(())
/// ```
pub fn series(
    prior: &Prior,
    runs: &[RunCounts],
    from_day: i32,
    on_day: i32,
    settings: &Settings,
) -> Result<Series, EstimateError> {
    let mut known: Vec<RunCounts> = runs.iter().filter(|run| run.day <= on_day).copied().collect();
    known.sort_unstable();
    let windowed = follow(Posterior::new(prior, settings)?, &known, from_day, on_day)?;
    if windowed.posterior.left_out() <= LEFT_OUT_MAX {
        return Ok(windowed);
    }
    follow(Posterior::whole(prior, settings)?, &known, from_day, on_day)
}

/// Takes runs in ascending order. A posterior before any run has no day, so nothing is told of days before the first
/// run.
fn follow(mut posterior: Posterior, runs: &[RunCounts], from_day: i32, on_day: i32) -> Result<Series, EstimateError> {
    let mut believed = Vec::new();
    posterior.learn_showing(runs, |posterior| {
        if let Some(day) = posterior.day().filter(|day| *day >= from_day) {
            believed.push(Believed { day, limit_m: posterior.limit_m() });
        }
    })?;
    if let Some(last) = posterior.day().filter(|last| on_day - last > DAYS_PER_WEEK) {
        // Beside the posterior itself: time that passes in one go and week by week differ by a rounding of the grid.
        let mut ahead = posterior.clone();
        #[allow(clippy::cast_possible_truncation)] // at most 52
        let weeks = posterior.settings().trend_weeks as i32;
        for day in (1..=weeks).map(|week| last + DAYS_PER_WEEK * week).take_while(|day| *day < on_day) {
            ahead.advance(day)?;
            if day >= from_day {
                believed.push(Believed { day, limit_m: ahead.limit_m() });
            }
        }
    }
    posterior.advance(on_day)?;
    if believed.last().is_none_or(|last| last.day < on_day) {
        believed.push(Believed { day: on_day, limit_m: posterior.limit_m() });
    }
    Ok(Series { believed, posterior })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::estimate;
    use crate::prior::Basis;
    use crate::units::Length;

    fn run(day: i32, spacing_mm: u32, held: u16) -> RunCounts {
        RunCounts {
            day,
            height: Length::from_mm(500),
            spacing: Length::from_mm(spacing_mm),
            held,
            over_reached: 4 - held,
            crowded: 0,
            broken: 0,
        }
    }

    fn same(a: Spread, b: Spread) {
        for (a, b) in [(a.mean, b.mean), (a.p05, b.p05), (a.p50, b.p50), (a.p95, b.p95)] {
            assert!((a - b).abs() < 1e-9, "{a} {b}");
        }
    }

    #[test]
    fn each_day_is_what_an_estimate_of_the_runs_so_far_says() {
        let prior = Prior { mean_m: 6.2, sd_m: 0.5, basis: Basis::default() };
        let runs = [run(20_000, 5_750, 4), run(20_003, 6_000, 3), run(20_003, 6_000, 4), run(20_010, 6_250, 2)];
        let found = series(&prior, &runs, 20_001, 20_060, &Settings::default()).unwrap();
        let days: Vec<i32> = found.believed.iter().map(|one| one.day).collect();
        assert_eq!(days[..4], [20_003, 20_010, 20_017, 20_024]);
        assert_eq!(days.last(), Some(&20_060));
        for one in found.believed.iter().filter(|one| [20_003, 20_010, 20_060].contains(&one.day)) {
            same(one.limit_m, estimate(&prior, &runs, one.day, &Settings::default()).unwrap().limit_m);
        }
        let width = |at: usize| found.believed[at].limit_m.p95 - found.believed[at].limit_m.p05;
        assert!(width(5) > width(4), "without runs the limit is less sure every week");
    }

    #[test]
    fn without_runs_only_the_prior_speaks() {
        let prior = Prior { mean_m: 6.2, sd_m: 0.5, basis: Basis::default() };
        let found = series(&prior, &[], 20_000, 20_100, &Settings::default()).unwrap();
        assert_eq!(found.believed.len(), 1);
        assert!((found.believed[0].limit_m.mean - 6.2).abs() < 1e-3);
    }

    #[test]
    fn the_weeks_after_the_last_run_end_where_a_trend_does() {
        let prior = Prior { mean_m: 6.2, sd_m: 0.5, basis: Basis::default() };
        let found = series(&prior, &[run(20_000, 6_000, 4)], 20_000, 20_600, &Settings::default()).unwrap();
        assert_eq!(found.believed.len(), 1 + 26 + 1);
        let late = series(&prior, &[run(20_000, 6_000, 4)], 20_100, 20_150, &Settings::default()).unwrap();
        assert_eq!(late.believed[0].day, 20_105);
    }
}
