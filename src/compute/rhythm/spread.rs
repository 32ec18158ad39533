//! How far the touchdown times of one race lie from the schedule of its final time.
//!
//! Three layers, each normal and independent:
//!
//! | layer | size at 13.65 s | grows with |
//! | --- | --- | --- |
//! | what is unknown of the club's shape | twice a race's, less what its races have told | E |
//! | the shape of this race | [`RACE_SD`] | E² |
//! | each interval's own | 0.005 s | E² and the spacing |
//! | each mark's clock | from [`Timing`] | - |
//!
//! A touchdown's covariance with a later one is all that came before it: shape by their effects, and one own error for
//! each interval up to the earlier of the two.
//!
//! Worked: without clock and with a known club, touchdowns 1 to 10 of a race of 13.65 s have standard deviations of
//! 0.026, 0.029, 0.032, 0.034, 0.037, 0.038, 0.039, 0.038, 0.037 and 0.038 s; a mean miss is 0.8 of that, 0.021 to
//! 0.031 s, beside the published 0.019 to 0.033 s.

use super::course::Course;
use super::schedule::{REFERENCE_S, spacing_share};
use super::shape::{NUMBERS, Shape};
use super::timing::Timing;

/// Standard deviations of the shape of one race, as a [`Shape`] in 13.65 s is told: touchdown 1 (s), mean interval time (s),
/// acceleration and fade (shares).
///
/// 0.026 s of touchdown 1, 0.0025 s of the mean interval, 0.01 and 0.015 of the mean interval's time.
///
/// # Source
/// Design choice, set so that touchdown times of races of 13.65 s miss the schedule by a mean of 0.019 to 0.033 s, the
/// errors of R. Iwasaki, H. Nunome, K. Nozawa, "New predictive model of the touchdown times in a high level 110 m hurdles",
/// PLoS ONE 17(12): e0278651, 2022 (151 elite races).
pub const RACE_SD: [f64; NUMBERS] = [0.026, 0.002_5, 0.01, 0.015];

/// Standard deviation that each interval adds of its own, seconds (s), in 13.65 s; source as above.
///
/// It keeps two races of equal shape from being equal, and the forecast from being surer than any race is.
pub const INTERVAL_OWN_SD_S: f64 = 0.005;

/// How far a club's usual shape may lie from the default, in standard deviations of one race.
///
/// Design choice: the default is common practice and carried over to other courses, so it is trusted less than one race
/// that was timed without error.
///
/// k = 1 / 4 in the credibility of one race, see [`super::Calibration::learn`].
pub const CLUB_SDS: f64 = 2.0;

/// How much more the races of slower athletes spread, as a factor on the shares: in proportion to the final time once
/// more. Design choice.
///
/// A race of 18 s spreads 1.32 times as much in its shares, and so 1.74 times in seconds.
pub(super) fn widening(equivalent: f64) -> f64 {
    equivalent / REFERENCE_S
}

/// Variances of a club's shape before any race of its own is known.
///
/// In the squares of the numbers' own units.
pub(super) fn club_variances() -> [f64; NUMBERS] {
    RACE_SD.map(|sd| (CLUB_SDS * sd) * (CLUB_SDS * sd))
}

/// Covariance (s²) of the touchdown times at these barriers (indices) of one race in a known time: the shape of the race with
/// what is unknown of the club's shape (`club`, 4 by 4), each interval's own error, and the error of each mark.
///
/// Symmetric and positive definite, since shape, intervals and clock all add variance. `club` nought means that the
/// club's shape is taken as known.
pub(super) fn covariance(
    course: &Course,
    equivalent: f64,
    at: &[usize],
    club: &[[f64; NUMBERS]; NUMBERS],
    timing: Timing,
) -> Vec<Vec<f64>> {
    let effects = Shape::effects(course);
    let (scale, wider) = (equivalent / REFERENCE_S, widening(equivalent));
    let mut shape = *club;
    for (index, sd) in RACE_SD.iter().enumerate() {
        shape[index][index] += sd * sd * wider * wider;
    }
    let own = INTERVAL_OWN_SD_S * spacing_share(course) * scale * wider;
    let mark = timing.mark_sd_s();
    let entry = |a: usize, b: usize| {
        let (left, right) = (&effects[a], &effects[b]);
        let of_shape: f64 = (0..NUMBERS)
            .flat_map(|i| (0..NUMBERS).map(move |j| (i, j)))
            .map(|(i, j)| left[i] * shape[i][j] * right[j])
            .sum();
        let of_mark = if a == b { mark * mark } else { 0.0 };
        of_shape * scale * scale + own * own * super::whole(a.min(b)) + of_mark
    };
    at.iter().map(|a| at.iter().map(|b| entry(*a, *b)).collect()).collect()
}
