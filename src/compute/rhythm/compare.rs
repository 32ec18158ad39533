//! A run beside the schedule of a target time.
//!
//! Answers where a run loses time against the goal: the touchdown differences add up along the lane, the interval
//! differences say in which interval they arose. Nothing is estimated; the clock's error of each difference is that of
//! a mark or an interval ([`super::Timing`]), the schedule is taken as exact.
//!
//! Worked: touchdowns of 2.60, 3.72 and 4.80 s beside a schedule of 2.55, 3.62 and 4.67 s are 0.05, 0.10 and 0.13 s
//! late; the intervals of 1.12 and 1.08 s beside 1.07 and 1.05 s lose 0.05 and 0.03 s.

use super::analysis::Analysis;
use super::readings::Flag;
use super::schedule::Schedule;

/// One touchdown and the interval that ends there beside the schedule; later or longer than scheduled is above zero.
///
/// Either difference may be absent alone: a broken chain of marks takes the interval's, a mark in doubt the
/// touchdown's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AgainstSchedule {
    /// The barrier, from 1.
    pub touchdown: usize,
    /// The scheduled touchdown time, seconds (s).
    pub scheduled_s: f64,
    /// Touchdown time less schedule, seconds (s); none where the time is missing or in doubt.
    pub difference_s: Option<f64>,
    /// The scheduled time of the interval that ends here, seconds (s); none for the first touchdown.
    pub interval_scheduled_s: Option<f64>,
    /// Time of the interval that ends here less schedule, seconds (s); none where it is left out.
    pub interval_difference_s: Option<f64>,
}

/// A run's touchdown times, seconds (s), beside a schedule, for as many barriers as both have.
///
/// A time in doubt is not compared, nor any behind a forgotten tap: from there on it is not known which barrier it is of.
///
/// As long as the shorter of both. `analysis` must be that of `times`. A broken interval is compared, since its time
/// is right.
pub fn compare(times: &[Option<f64>], analysis: &Analysis, schedule: &Schedule) -> Vec<AgainstSchedule> {
    let forgotten = analysis.intervals.iter().position(|one| one.reading.flags.contains(&Flag::ForgottenTap));
    let counted = forgotten.map_or(times.len(), |interval| interval + 1);
    let scheduled_intervals = schedule.interval_times_s();
    let rows = times.iter().zip(&schedule.touchdown_times_s).enumerate();
    rows.map(|(at, (time, scheduled))| {
        let before = at.checked_sub(1);
        let doubtful = at >= counted || analysis.findings.iter().any(|found| found.doubts(at + 1));
        let interval = before.filter(|_| at < counted).and_then(|before| analysis.intervals.get(before));
        let interval_scheduled_s = before.and_then(|before| scheduled_intervals.get(before).copied());
        AgainstSchedule {
            touchdown: at + 1,
            scheduled_s: *scheduled,
            difference_s: time.filter(|_| !doubtful).map(|time| time - scheduled),
            interval_scheduled_s,
            interval_difference_s: interval
                .and_then(|one| one.pace)
                .zip(interval_scheduled_s)
                .map(|(pace, scheduled)| pace.time_s.value - scheduled),
        }
    })
    .collect()
}
