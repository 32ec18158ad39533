//! Rhythm: what touchdown times say of a run, what they should be for a final time, and to which final time they point.
//!
//! Touchdown times come in seconds from the start, one for each barrier, `None` for a missing one. What is wrong with a
//! value is reported and left out; nothing is guessed. The error of the clock goes into every figure, with neighbouring
//! intervals correlated by the mark that they share.

mod analysis;
mod calibration;
mod compare;
mod consistency;
mod course;
mod cue;
mod finish;
mod linear;
mod readings;
mod schedule;
mod shape;
mod spread;
mod tempo;
mod timing;

pub use analysis::{Analysis, Fade, Interval, Measured, Pace, STEPS, analyse};
pub use calibration::{Calibration, MAX_SERIES, Series, SeriesError};
pub use compare::{AgainstSchedule, compare};
pub use consistency::Consistency;
pub use course::{Course, CourseError, courses, event_codes};
pub use cue::{Beat, CueError, MAX_COUNT_IN, MAX_INTERVALS, count_in, cue, cue_of};
pub use finish::{FinalTime, FinalTimeError, final_time};
pub use readings::{Finding, Flag, INTERVAL_S, LATEST_S, Reading, ReadingError};
pub use schedule::{OutOfRange, SOURCE, Schedule, valid_range_s};
pub use shape::Shape;
pub use spread::{CLUB_SDS, INTERVAL_OWN_SD_S, RACE_SD};
pub use tempo::{TEMPO_DAYS, TEMPO_RUNS, Tempo, Timed};
pub use timing::{Timing, TimingError, VIDEO_FPS};

/// The most touchdown times of one run, and the most barriers of a course.
pub const MAX_TOUCHDOWNS: usize = 20;

/// A small count as a number: at most a few hundred, exact in `f64`.
#[allow(clippy::cast_precision_loss)]
fn whole(n: usize) -> f64 {
    n as f64
}
