//! How a club's races differ from the usual schedule: four numbers.
//!
//! One schedule cannot fit every club: starts, drills and surfaces make some reach the first barrier later or fade
//! less. A shape tells that in the units of one race, the 110 m in 13.65 s, and is scaled to every other: a touchdown
//! moves by
//!
//! ```text
//! (shape · effect of its barrier) · E / 13.65
//! ```
//!
//! Effects of the barriers of the 110 m, for one unit of each number:
//!
//! | touchdown | touchdown 1 | interval | acceleration | fade |
//! | --- | --- | --- | --- | --- |
//! | 1 | 1 | 0 | 0 | 0 |
//! | 2 | 1 | 1 | 0.874 | -0.380 |
//! | 3 | 1 | 2 | 1.106 | -0.743 |
//! | 6 | 1 | 5 | 0.780 | -1.397 |
//! | 10 | 1 | 9 | 0 | 0 |
//!
//! Acceleration and fade sum to nought over the nine intervals: they move time inside the race and not the last
//! touchdown. The finish never moves, so all four are paid for by the run-in.
//!
//! Worked: a fade of 0.03 in a race of 13.65 s lets touchdown 6 come 0.042 s sooner and leaves touchdown 10 where it
//! was.

use super::course::Course;
use super::schedule::{KNOTS, REFERENCE_S, curves, finish, reference_unit_s, spacing_share, touchdowns};
use super::whole;

/// How many numbers make a [`Shape`].
///
/// What ten touchdowns of one race can tell apart, at the errors of the clocks in use (design choice).
pub const NUMBERS: usize = 4;

/// Differences from the usual schedule, told for the 110 m hurdles in 13.65 s; at other times and spacings they grow and
/// shrink in proportion, so they are shares of the final time. All nought is the usual schedule.
///
/// In use a few hundredths: the races of one club differ by about 0.026 s, 0.0025 s, 0.01 and 0.015 (standard
/// deviations), clubs by twice that ([`super::RACE_SD`], [`super::CLUB_SDS`]).
///
/// ```
/// use lanewright_compute::rhythm::{Schedule, Shape, courses};
///
/// let course = courses("110H")[0];
/// let late = Shape { touchdown_1_s: 0.05, ..Shape::default() };
/// let (usual, ours) = (Schedule::new(&course, 13.65, &Shape::default())?, Schedule::new(&course, 13.65, &late)?);
/// assert!((ours.touchdown_times_s[0] - usual.touchdown_times_s[0] - 0.05).abs() < 1e-12);
/// assert_eq!(ours.finish_s, usual.finish_s);
/// # Ok::<(), lanewright_compute::rhythm::OutOfRange>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Shape {
    /// Later first touchdown, seconds (s).
    pub touchdown_1_s: f64,
    /// Longer mean interval time, seconds (s).
    pub unit_s: f64,
    /// More acceleration still to come in the first interval, a share of the mean interval time.
    pub acceleration: f64,
    /// More slowing towards the last interval, a share of the mean interval time.
    pub fade: f64,
}

/// The least that a touchdown 1, an interval or a run-in keeps of its usual time, and the most it grows to.
///
/// Design choice: far beyond what separates races, near enough to stay a race.
const KEPT: (f64, f64) = (0.6, 1.6);

impl Shape {
    /// How far each touchdown of a course moves for each of the numbers, in their order; one row for each barrier.
    ///
    /// Seconds for each second of the first two numbers and for each unit of the shares, at E = 13.65 s.
    pub(super) fn effects(course: &Course) -> Vec<[f64; NUMBERS]> {
        let share = spacing_share(course);
        let unit = share * reference_unit_s();
        let [mut accelerated, mut faded] = [0.0; 2];
        (0..usize::from(course.barriers()))
            .map(|before| {
                let row = [1.0, whole(before) * share, unit * accelerated, unit * faded];
                let [acceleration, fade] = curves(before, share);
                accelerated += acceleration;
                faded += fade;
                row
            })
            .collect()
    }

    /// The numbers as a row.
    pub(super) const fn row(&self) -> [f64; NUMBERS] {
        [self.touchdown_1_s, self.unit_s, self.acceleration, self.fade]
    }

    /// A shape from its row.
    pub(super) const fn of_row([touchdown_1_s, unit_s, acceleration, fade]: [f64; NUMBERS]) -> Self {
        Self { touchdown_1_s, unit_s, acceleration, fade }
    }

    /// Seconds at 13.65 s.
    pub(super) fn shift_s(&self, effect: &[f64; NUMBERS]) -> f64 {
        self.row().iter().zip(effect).map(|(much, effect)| much * effect).sum()
    }

    /// This shape, or the part of it nearest to it on the way from the usual one that is still a race on the course: times
    /// rise along the lane, every touchdown comes later in a slower race, nothing takes less than 0.6 or more than 1.6
    /// times as long as usual.
    ///
    /// Shrinks all four by one factor, so the kind of difference stays. A shape that passes is returned as it is. The
    /// limits are straight in the numbers and the usual shape is inside all of them, so the factor is the smallest
    /// room over its use.
    #[must_use]
    pub fn within(&self, course: &Course) -> Self {
        let part = limits(course)
            .iter()
            .map(|limit| {
                let moved: f64 = limit.moves.iter().zip(self.row()).map(|(by, much)| by * much).sum();
                if moved > limit.room { limit.room / moved } else { 1.0 }
            })
            .fold(1.0, f64::min);
        Self::of_row(self.row().map(|much| much * part))
    }
}

/// A limit: what the numbers add up to, weighted, must not be more than the room that there is.
///
/// `room` is above nought for the usual shape.
struct Limit {
    moves: [f64; NUMBERS],
    room: f64,
}

/// All limits of a course. Every time is straight between the knots, so what holds there holds in between.
///
/// Lower and upper bound for touchdown 1 and every interval, an upper one for what the run-in loses, at each of three
/// knots; half the usual rise of each touchdown between knots. 83 for ten barriers.
fn limits(course: &Course) -> Vec<Limit> {
    let effects = Shape::effects(course);
    let at_knots: Vec<(f64, Vec<f64>)> =
        KNOTS.iter().map(|knot| (*knot, touchdowns(course, *knot, &Shape::default()))).collect();
    let mut limits = Vec::new();
    for (knot, times) in &at_knots {
        let scale = knot / REFERENCE_S;
        let mut both = |usual: f64, effect: [f64; NUMBERS]| {
            let effect = effect.map(|by| by * scale);
            limits.push(Limit { moves: effect.map(|by| -by), room: (1.0 - KEPT.0) * usual });
            limits.push(Limit { moves: effect, room: (KEPT.1 - 1.0) * usual });
        };
        both(times[0], effects[0]);
        for (pair, effect) in times.windows(2).zip(effects.windows(2)) {
            both(pair[1] - pair[0], core::array::from_fn(|at| effect[1][at] - effect[0][at]));
        }
        if let (Some(time), Some(effect)) = (times.last(), effects.last()) {
            both(finish(course, *knot) - time, effect.map(|by| -by));
        }
    }
    for pieces in at_knots.windows(2) {
        let [(from, earlier), (to, later)] = pieces else { continue };
        for ((earlier, later), effect) in earlier.iter().zip(later).zip(&effects) {
            // The usual rise, of which half is kept.
            let moves = effect.map(|by| -by * (to - from) / REFERENCE_S);
            limits.push(Limit { moves, room: (later - earlier) / 2.0 });
        }
    }
    limits
}
