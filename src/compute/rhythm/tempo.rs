//! An athlete's own tempo: how fast they run between barriers when the rhythm holds, and what that makes of another spacing.
//!
//! Between barriers the speed is what an athlete brings along: when the spacing grows by a step of 0.25 m the interval
//! grows in proportion, so a beat for the next spacing can be told from the last session.
//!
//! Worked: intervals of 1.00 s over 6.00 m are 6.0 m/s; 6.25 m then takes 1.042 s, a beat of 0.26 s.

use super::readings::{ReadingError, read};
use super::timing::Timing;
use crate::robust::median;
use crate::units::Length;

/// How many of an athlete's latest runs tell their tempo; design choice: about one session, so that it is today's.
///
/// The caller takes the latest that qualify; [`Tempo::of`] uses all it is given.
pub const TEMPO_RUNS: usize = 5;
/// How far back those may lie, days; design choice: eight weeks, before a tempo is of another season.
pub const TEMPO_DAYS: i64 = 56;

/// The touchdown times of a run.
///
/// Runs may differ in spacing: speeds are compared, not times.
#[derive(Clone, Debug, PartialEq)]
pub struct Timed {
    /// Barrier to barrier.
    pub spacing: Length,
    /// Seconds (s) from the start, one for each barrier; none for a missing one.
    pub times_s: Vec<Option<f64>>,
    /// How they were taken.
    pub timing: Timing,
}

/// How fast an athlete runs between barriers.
///
/// All three above nought.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tempo {
    /// Median over the intervals, metres per second (m/s).
    pub speed_mps: f64,
    /// Runs with an interval that counts.
    pub runs: usize,
    /// Intervals that count.
    pub intervals: usize,
}

impl Tempo {
    /// The tempo of runs in which the rhythm held; none without an interval that counts.
    ///
    /// The median, so that one broken interval or one wrong tap does not set the beat.
    ///
    /// A broken interval counts as one of many, a doubtful one not at all. Runs are not weighted: one with more
    /// intervals says more. The error of the clock does not enter: it only decides what is called broken.
    ///
    /// # Errors
    /// [`ReadingError`] for values that are no times at all.
    ///
    /// ```
    /// use lanewright_compute::rhythm::{Tempo, Timed, Timing};
    /// use lanewright_compute::units::Length;
    ///
    /// let times_s = vec![Some(2.6), Some(3.6), Some(4.6), None, Some(6.7)];
    /// let run = Timed { spacing: Length::from_mm(6_000), times_s, timing: Timing::Gate };
    /// let tempo = Tempo::of(&[run]).unwrap().unwrap();
    /// assert!((tempo.speed_mps - 6.0).abs() < 1e-9);
    /// assert!((tempo.interval_time_s(Length::from_mm(6_600)) - 1.1).abs() < 1e-9);
    /// ```
    pub fn of(runs: &[Timed]) -> Result<Option<Self>, ReadingError> {
        let (mut speeds, mut used) = (Vec::new(), 0);
        for run in runs {
            let (readings, _) = read(&run.times_s, run.timing.interval_sd_s())?;
            let before = speeds.len();
            speeds.extend(readings.iter().filter_map(|one| Some(run.spacing.metres() / one.used()?)));
            used += usize::from(speeds.len() > before);
        }
        let intervals = speeds.len();
        Ok(median(&mut speeds).map(|speed_mps| Self { speed_mps, runs: used, intervals }))
    }

    /// The time of an interval of a spacing at this speed, seconds (s).
    ///
    /// Not limited to what a cue accepts: a very wide spacing may come out above 3 s.
    ///
    /// # Source
    /// That a nearby spacing is run at the same speed: design choice, as in schedules.
    pub fn interval_time_s(&self, spacing: Length) -> f64 {
        spacing.metres() / self.speed_mps
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(spacing_mm: u32, times: &[f64]) -> Timed {
        let times_s = times.iter().copied().map(Some).collect();
        Timed { spacing: Length::from_mm(spacing_mm), times_s, timing: Timing::Gate }
    }

    #[test]
    fn a_forgotten_tap_and_a_broken_interval_do_not_set_the_beat() {
        let even = run(6_000, &[2.6, 3.6, 4.6, 5.6, 6.6]);
        let broken = run(6_000, &[2.6, 3.6, 4.6, 6.1, 7.1]);
        let forgotten = run(6_000, &[2.6, 3.6, 4.6, 6.6, 7.6]);
        let tempo = Tempo::of(&[even, broken, forgotten]).unwrap().unwrap();
        assert!((tempo.speed_mps - 6.0).abs() < 1e-6, "{tempo:?}");
        assert_eq!((tempo.runs, tempo.intervals), (3, 11));
    }

    #[test]
    fn runs_without_an_interval_tell_nothing() {
        assert_eq!(Tempo::of(&[]), Ok(None));
        let gaps = Timed { times_s: vec![Some(2.6), None, Some(4.6)], ..run(6_000, &[]) };
        assert_eq!(Tempo::of(&[gaps]), Ok(None));
        assert!(Tempo::of(&[run(6_000, &[2.6])]).is_err());
    }
}
