//! The beat of a rhythm: when each foot comes down for an interval time.

use super::INTERVAL_S;
use super::whole;
use crate::set_out::MarkKind;
use thiserror::Error;

/// The most intervals of a cue: those of 20 barriers.
pub const MAX_INTERVALS: usize = super::MAX_TOUCHDOWNS - 1;

/// One beat.
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
/// The beats are evenly spaced: no source tells how the time of an interval is shared among its steps, and an even beat is
/// one that can be clapped; design choice.
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
    if !(INTERVAL_S.0..=INTERVAL_S.1).contains(&interval_time_s) {
        return Err(CueError::IntervalTime);
    }
    if !(1..=MAX_INTERVALS).contains(&intervals) {
        return Err(CueError::Intervals);
    }
    let steps = [MarkKind::Landing, MarkKind::Stride1, MarkKind::Stride2, MarkKind::Stride3];
    let beats = (0..=intervals * steps.len()).map(|at| Beat {
        at_s: interval_time_s * whole(at) / super::STEPS,
        step: steps[at % steps.len()],
        interval: at / steps.len() + 1,
    });
    Ok(beats.collect())
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
    fn a_cue_that_nobody_runs_is_refused() {
        for wrong in [0.59, 3.01, f64::NAN] {
            assert_eq!(cue(wrong, 3), Err(CueError::IntervalTime));
        }
        assert_eq!(cue(1.1, 0), Err(CueError::Intervals));
        assert_eq!(cue(1.1, 20), Err(CueError::Intervals));
    }
}
