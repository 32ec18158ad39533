//! The beat of a rhythm: when each foot comes down for an interval time.
//!
//! A cue is a list of moments for a phone to click or a coach to clap: landing, two strides, take-off, landing. Four
//! beats share an interval evenly, and the beats of a slower interval lie further apart.
//!
//! Worked: 1.20 s and two intervals: 0, 0.3, 0.6, 0.9, 1.2, 1.5, 1.8, 2.1, 2.4 s, nine contacts. 0.30 s a beat are 200
//! a minute.

use super::INTERVAL_S;
use super::whole;
use crate::set_out::MarkKind;
use thiserror::Error;

/// The most intervals of a cue: those of 20 barriers.
pub const MAX_INTERVALS: usize = super::MAX_TOUCHDOWNS - 1;
/// The most beats of a count-in: two intervals.
///
/// Design choice: long enough to fall in, short enough to run up.
pub const MAX_COUNT_IN: usize = 8;

/// One beat.
///
/// In running order, strictly later each; `at_s` begins at nought.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beat {
    /// When, seconds (s) after the first landing.
    pub at_s: f64,
    /// Which foot contact: landing, stride 1, stride 2, or stride 3, the take-off.
    pub step: MarkKind,
    /// The interval, from 1; the last landing belongs to the one behind the last barrier.
    pub interval: usize,
}

/// Why there is no cue.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum CueError {
    /// An interval time that nobody runs.
    #[error("must be from {} to {} seconds", INTERVAL_S.0, INTERVAL_S.1)]
    IntervalTime,
    /// No interval, or more than a lane of 20 barriers has.
    #[error("must be from 1 to {MAX_INTERVALS}")]
    Intervals,
}

/// Beats for some intervals of the same time, seconds (s): four steps an interval and the landing that ends the last.
///
/// `4 n + 1` beats for n intervals.
///
/// # Errors
/// [`CueError`] for an interval time or number outside the range.
///
/// ```
/// use lanewright_compute::rhythm::cue;
///
/// let beats = cue(1.2, 2).unwrap();
/// assert_eq!(beats.len(), 9);
/// assert!((beats[4].at_s - 1.2).abs() < 1e-12);
/// ```
pub fn cue(interval_time_s: f64, intervals: usize) -> Result<Vec<Beat>, CueError> {
    cue_of(&vec![interval_time_s; intervals.min(MAX_INTERVALS + 1)])
}

/// Beats for intervals of these times, seconds (s), in running order, such as those of a schedule.
///
/// The beats of an interval are evenly spaced: no source tells how its time is shared among its steps, and an even beat is
/// one that can be clapped; design choice.
///
/// The first interval time outside 0.6 to 3 s ends it, whatever comes after; not a number is outside.
///
/// # Errors
/// [`CueError`] for an interval time or number outside the range.
pub fn cue_of(interval_times_s: &[f64]) -> Result<Vec<Beat>, CueError> {
    if !(1..=MAX_INTERVALS).contains(&interval_times_s.len()) {
        return Err(CueError::Intervals);
    }
    let steps = [MarkKind::Landing, MarkKind::Stride1, MarkKind::Stride2, MarkKind::Stride3];
    let (mut beats, mut from) = (Vec::new(), 0.0);
    for (before, time) in interval_times_s.iter().enumerate() {
        if !(INTERVAL_S.0..=INTERVAL_S.1).contains(time) {
            return Err(CueError::IntervalTime);
        }
        beats.extend(steps.iter().enumerate().map(|(at, step)| Beat {
            at_s: from + time * whole(at) / super::STEPS,
            step: *step,
            interval: before + 1,
        }));
        from += time;
    }
    beats.push(Beat { at_s: from, step: MarkKind::Landing, interval: interval_times_s.len() + 1 });
    Ok(beats)
}

/// When to count in before the first landing, seconds (s) before it as numbers below nought: so many beats as far apart as
/// those of the first interval; at most [`MAX_COUNT_IN`], more count as that.
///
/// Nothing for no beats. The last beat lies one quarter interval before the landing. The interval time is not checked
/// here.
///
/// ```
/// use lanewright_compute::rhythm::count_in;
///
/// assert_eq!(count_in(1.2, 2), [-0.6, -0.3]);
/// ```
pub fn count_in(first_interval_s: f64, beats: usize) -> Vec<f64> {
    (1..=beats.min(MAX_COUNT_IN)).rev().map(|before| -first_interval_s * whole(before) / super::STEPS).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_interval_begins_with_a_landing_on_its_time() {
        let beats = cue(1.08, 9).unwrap();
        let landings: Vec<&Beat> = beats.iter().filter(|beat| beat.step == MarkKind::Landing).collect();
        assert_eq!((beats.len(), landings.len()), (37, 10));
        for (at, beat) in landings.iter().enumerate() {
            assert!((beat.at_s - 1.08 * whole(at)).abs() < 1e-12);
            assert_eq!(beat.interval, at + 1);
        }
        assert_eq!((beats[3].step, beats[7].step), (MarkKind::Stride3, MarkKind::Stride3));
    }

    #[test]
    fn intervals_of_their_own_times_follow_each_other() {
        let beats = cue_of(&[1.0, 1.2]).unwrap();
        let at: Vec<f64> = beats.iter().map(|beat| beat.at_s).collect();
        for (at, expected) in at.iter().zip([0.0, 0.25, 0.5, 0.75, 1.0, 1.3, 1.6, 1.9, 2.2]) {
            assert!((at - expected).abs() < 1e-12);
        }
        assert_eq!((beats.len(), beats[8].interval, beats[8].step), (9, 3, MarkKind::Landing));
    }

    #[test]
    fn the_count_in_leads_to_the_first_landing_at_its_beat() {
        assert_eq!(count_in(1.0, 4), [-1.0, -0.75, -0.5, -0.25]);
        assert!(count_in(1.0, 0).is_empty());
        assert_eq!(count_in(1.0, 99).len(), MAX_COUNT_IN);
    }

    #[test]
    fn a_cue_that_nobody_runs_is_refused() {
        for wrong in [0.59, 3.01, f64::NAN] {
            assert_eq!(cue(wrong, 3), Err(CueError::IntervalTime));
        }
        assert_eq!(cue(1.1, 0), Err(CueError::Intervals));
        assert_eq!(cue(1.1, 20), Err(CueError::Intervals));
        assert_eq!(cue(1.1, usize::MAX), Err(CueError::Intervals));
        assert_eq!(cue_of(&[1.1, 3.5]), Err(CueError::IntervalTime));
    }
}
