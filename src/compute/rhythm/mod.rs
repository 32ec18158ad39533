//! Rhythm: what touchdown times say of a run, what they should be for a final time, and to which final time they point.
//!
//! Touchdown times come in seconds from the start, one for each barrier, `None` for a missing one. What is wrong with a
//! value is reported and left out; nothing is guessed. The error of the clock goes into every figure, with neighbouring
//! intervals correlated by the mark that they share.
//!
//! | question | function | answer |
//! | --- | --- | --- |
//! | What do these times say of the run? | [`analyse`] | time, speed, stride rate of each interval with their errors, findings, consistency, fade |
//! | What should they be for a final time? | [`Schedule::new`], [`courses`] | touchdown times of every barrier |
//! | How does this club differ from that? | [`Calibration::learn`] | four numbers ([`Shape`]) and how much they count |
//! | Which final time do the first times point to? | [`final_time`] | a distribution |
//! | Where does a run lose its time? | [`compare()`] | difference at each touchdown and interval |
//! | How fast is this athlete when the rhythm holds? | [`Tempo::of`] | median speed between barriers |
//! | Which beat goes with that? | [`cue()`], [`cue_of`], [`count_in`] | foot contacts as times |
//!
//! A touchdown is the first contact behind a barrier, so an interval runs from landing to landing and holds three
//! strides and the barrier stride: four steps.
//!
//! # Errors of the clock
//!
//! Each mark has an independent error of standard deviation σ / √2, an interval one of σ; σ follows from how the times
//! were taken ([`Timing::interval_sd_s`]). Neighbours share a mark, so their errors have covariance -σ² / 2: a mark
//! pressed late makes one interval longer and the next shorter by the same. Every figure that sums intervals uses
//! that; the mean of k neighbouring intervals has an error of σ / k, not of σ / √k.
//!
//! # Not done
//!
//! Nothing here looks at barrier height, wind or surface. Nothing is filled in: a forgotten tap stays forgotten.
//!
//! # Example
//!
//! ```
//! use lanewright_compute::rhythm::{Schedule, Shape, Timing, analyse, compare, courses};
//! use lanewright_compute::units::Length;
//!
//! let course = courses("75H").into_iter().find(|one| one.spacing() == Length::from_mm(7_500)).unwrap();
//! let goal = Schedule::new(&course, 12.0, &Shape::default()).unwrap();
//! let times: Vec<Option<f64>> = goal.touchdown_times_s[..5].iter().map(|time| Some(time + 0.05)).collect();
//! let found = analyse(course.spacing(), &times, Timing::Gate).unwrap();
//! let beside = compare(&times, &found, &goal);
//! assert!((beside[4].difference_s.unwrap() - 0.05).abs() < 1e-9);
//! assert!(beside[4].interval_difference_s.unwrap().abs() < 1e-9);
//! ```

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
///
/// Twice the ten of a championship race; design choice. It bounds every matrix here to 20 by 20.
pub const MAX_TOUCHDOWNS: usize = 20;

/// A small count as a number: at most a few hundred, exact in `f64`.
#[allow(clippy::cast_precision_loss)]
fn whole(n: usize) -> f64 {
    n as f64
}
