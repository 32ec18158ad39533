//! Bounds of the trade: what no lane, no measurement of an athlete and no policy of a club may be, with the
//! reason, and what of the measurements is so rare that somebody is asked to look again.
//!
//! A form can be filled correctly and still ask for what would hurt somebody, or say what cannot be. Each bound
//! here is one function that every caller asks; the figures are generous, so that they stop slips of the pen
//! and not fast children.
//!
//! # Lanes
//! The run-out follows from an even braking at a = 3 m/s² from the speed of an interval of 1.1 s:
//!
//! ```text
//! run-out = v^2 / (2 a),   v = spacing / 1.1 s            rounded up to 0.1 m
//! ```
//!
//! | spacing | speed | run-out |
//! | --- | --- | --- |
//! | 6.00 m | 5.45 m/s | 5.0 m |
//! | 7.00 m | 6.36 m/s | 6.8 m |
//! | 8.50 m | 7.73 m/s | 10.0 m |
//! | 9.14 m | 8.31 m/s | 11.6 m |
//!
//! # Measurements
//! Each value has two ranges at an age: what can be, and what is usual. Between them it counts once somebody
//! confirms it; outside the first it never counts, whoever confirms. For a girl of 10 years (growth table:
//! 1.380 m, spread 0.0671 m):
//!
//! | measured | usual | can be |
//! | --- | --- | --- |
//! | stature | 1.145 to 1.615 m | 0.843 to 1.716 m |
//! | leg length | 0.458 to 0.904 m | 0.295 to 1.115 m |
//! | 30 m from standing | 4.96 s or more | 4.56 s or more |
//! | 50 m from standing | 7.50 s or more | 7.00 s or more |
//!
//! There is no slowest time: whoever stumbles is slow. The usual range lies inside the possible one at every
//! age and for both sexes, which a test holds.
//!
//! # Used from
//! Lane plans (run-out, approach, barriers), barrier configurations (approach), race entries (barriers),
//! measurements of athletes when they are filed, and [`crate::advice`], which leaves out what cannot be.

use std::ops::RangeInclusive;

use crate::day::Day;
use crate::prior::stature_at;
use crate::specs::Birth;
use crate::units::{Length, Sex};

/// The shortest approach to a lane that is run: four to five strides, below which nobody reaches the stride of
/// the first interval (common practice, no source; clinic notes ask eight strides of schools, so about 10 to 13
/// m).
pub const APPROACH_LEAST: Length = Length::from_mm(5_000);
/// Spacings from which a lane is run in strides; drills and walkovers stand closer (design choice: below the shortest
/// published school lanes of 4.57 m).
pub const RUN_SPACING_LEAST: Length = Length::from_mm(3_500);
/// Barriers that anybody may have in a lane, however short their race (design choice).
const BARRIERS_ALWAYS: u32 = 8;
/// Barriers that a training lane may have more than the race (design choice).
const BARRIERS_MORE: u32 = 2;
/// Barriers of the longest sprint hurdle races, for whom no race is on file.
const BARRIERS_RACE: u32 = 10;
/// Time of a quick interval, seconds (s): fast youths take 1.0 to 1.1 s (from memory). A slower athlete needs
/// less run-out.
const INTERVAL_S: f64 = 1.1;
/// How hard somebody brakes who runs out freely, metres per second squared (from memory; half of what a hard stop takes).
const BRAKING: f64 = 3.0;
/// Fastest time of grown-ups over 30 m and 50 m from standing, seconds (s), and how much slower each year below 18 is at least
/// (from memory: below what the fastest of all run).
const FASTEST_30_S: (f64, f64) = (3.6, 0.12);
const FASTEST_50_S: (f64, f64) = (5.4, 0.20);
/// The same for times that are asked about: few of a squad are ever faster (design choice, 0.4 s and 0.5 s slower).
const RARE_30_S: (f64, f64) = (4.0, 0.12);
const RARE_50_S: (f64, f64) = (5.9, 0.20);
/// Spreads around the mean of the growth tables that a stature may lie below and, while growing, above (design
/// choice: short stature has causes that no table of all children shows, so there is more room below).
const SPREADS: (f64, f64) = (8.0, 5.0);
/// Spreads on either side of the mean beyond which a stature is asked about: about 1 child in 2 000 (design choice).
const RARE_SPREADS: f64 = 3.5;
/// Age from which nobody is too tall but by the range of the measurement, years.
const GROWN: f64 = 18.0;
/// Shares of the stature that a leg length can be: see [`crate::prior`]. Applied to the range of statures, not
/// to the athlete's own.
const LEG_SHARES: (f64, f64) = (0.35, 0.65);
/// Shares beyond which a leg length is asked about: most lie from 0.44 to 0.52 (from memory).
const RARE_LEG_SHARES: (f64, f64) = (0.40, 0.56);

/// Whether a lane is run and its approach too short for that. Lanes of drills and walkovers, closer than
/// [`RUN_SPACING_LEAST`], never are.
pub fn short_approach(spacing: Length, approach: Length) -> bool {
    spacing >= RUN_SPACING_LEAST && approach < APPROACH_LEAST
}

/// The free distance after the last barrier that stopping needs at the speed of a spacing: the way of an even
/// braking, v² / 2a, from the speed of a quick interval; whole tenths of a metre, rounded up. Grows with the
/// square of the spacing; 0 for a spacing of 0.
///
/// ```
/// use lanewright_compute::bounds::run_out_least;
/// use lanewright_compute::units::Length;
///
/// let tenths = |spacing| run_out_least(Length::from_mm(spacing)).mm() / 100;
/// assert_eq!([6_000, 7_000, 8_500, 9_140].map(tenths), [50, 68, 100, 116]);
/// ```
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // spacings are at most 20 m: below 60 m
pub fn run_out_least(spacing: Length) -> Length {
    let speed = spacing.metres() / INTERVAL_S;
    let tenths = (speed * speed / (2.0 * BRAKING) * 10.0).ceil() as u32;
    Length::from_mm(tenths * 100)
}

/// The most barriers of a training lane for somebody whose race has so many: two more than the race, and 8 in
/// any case; 10, as in the longest race, where none is on file.
///
/// ```
/// use lanewright_compute::bounds::barriers_most;
///
/// assert_eq!([Some(5), Some(8), Some(10), None].map(barriers_most), [8, 10, 12, 10]);
/// ```
pub fn barriers_most(race: Option<u32>) -> u32 {
    race.map_or(BARRIERS_RACE, |race| (race + BARRIERS_MORE).max(BARRIERS_ALWAYS))
}

/// Something that is measured of an athlete and that the prior reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measured {
    /// Standing height, metres (m).
    Stature,
    /// Stature minus sitting height, metres (m).
    LegLength,
    /// 30 m from a standing start, seconds (s).
    Sprint30,
    /// 50 m from a standing start, seconds (s).
    Sprint50,
}

/// What a value is at an age. The ranges are told to whoever sent it; an end without limit is infinite.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// Is as others of that age are.
    Usual,
    /// Can be, but hardly ever is: usual is this range (m or s). It counts once somebody confirms it.
    Unusual(RangeInclusive<f64>),
    /// Cannot be: what can is this range (m or s). It never counts.
    Impossible(RangeInclusive<f64>),
}

impl Verdict {
    /// Whether advice may rest on the value: usual ones always, rare ones once somebody confirmed them,
    /// impossible ones never.
    pub const fn counts(&self, confirmed: bool) -> bool {
        match self {
            Self::Usual => true,
            Self::Unusual(_) => confirmed,
            Self::Impossible(_) => false,
        }
    }
}

/// What a value (m or s) is that was measured of somebody born so on a day.
///
/// With a birth year alone the range is that of all ages it leaves open, so the verdict is the mildest of them.
/// Below 6 years, where the growth tables begin, no stature is too short; from 18 on none is too tall, though
/// some are rare. NaN cannot be.
pub fn judge(what: Measured, sex: Sex, birth: Birth, on: Day, value: f64) -> Verdict {
    let can = possible(what, sex, birth, on);
    if !can.contains(&value) {
        return Verdict::Impossible(can);
    }
    let often = usual(what, sex, birth, on);
    if often.contains(&value) { Verdict::Usual } else { Verdict::Unusual(often) }
}

/// The values (m or s) that can be of somebody born so, measured on a day; with a birth year alone, at any age
/// it leaves open.
///
/// Stature from 8 spreads below the mean of the youngest age to 5 above that of the oldest; leg length from
/// 0.35 of the least to 0.65 of the greatest of these; times from the fastest of the oldest age on.
fn possible(what: Measured, sex: Sex, birth: Birth, on: Day) -> RangeInclusive<f64> {
    let (youngest, oldest) = birth.ages_y(on);
    let (shortest, tallest) = (stature_at(sex, youngest), stature_at(sex, oldest));
    let low = if youngest < 6.0 { 0.0 } else { shortest.0 - SPREADS.0 * shortest.1 };
    let high = if oldest < GROWN { tallest.0 + SPREADS.1 * tallest.1 } else { f64::INFINITY };
    match what {
        Measured::Stature => low..=high,
        Measured::LegLength => LEG_SHARES.0 * low..=LEG_SHARES.1 * high,
        Measured::Sprint30 => fastest(FASTEST_30_S, oldest),
        Measured::Sprint50 => fastest(FASTEST_50_S, oldest),
    }
}

/// The same for the values that nobody needs to ask about: 3.5 spreads either way, 0.40 to 0.56 of these for
/// the legs, slower fastest times.
fn usual(what: Measured, sex: Sex, birth: Birth, on: Day) -> RangeInclusive<f64> {
    let (youngest, oldest) = birth.ages_y(on);
    let (shortest, tallest) = (stature_at(sex, youngest), stature_at(sex, oldest));
    let low = if youngest < 6.0 { 0.0 } else { shortest.0 - RARE_SPREADS * shortest.1 };
    let high = tallest.0 + RARE_SPREADS * tallest.1;
    match what {
        Measured::Stature => low..=high,
        Measured::LegLength => RARE_LEG_SHARES.0 * low..=RARE_LEG_SHARES.1 * high,
        Measured::Sprint30 => fastest(RARE_30_S, oldest),
        Measured::Sprint50 => fastest(RARE_50_S, oldest),
    }
}

/// The times from the fastest of grown-ups, and how much slower each year below 18 is, on: at 10 years 3.6 + 8
/// · 0.12 = 4.56 s over 30 m.
fn fastest((grown, year): (f64, f64), oldest: f64) -> RangeInclusive<f64> {
    (grown + year * (GROWN - oldest).max(0.0))..=f64::INFINITY
}

#[cfg(test)]
mod tests {
    use super::*;

    fn on() -> Day {
        Day::from_ymd(2026, 5, 1).unwrap()
    }

    fn aged(years: i32) -> Birth {
        Birth::Date(Day::from_ymd(2026 - years, 5, 1).unwrap())
    }

    #[test]
    fn a_sprint_that_no_child_of_that_age_runs_is_implausible() {
        let can = |what, years, value| possible(what, Sex::Male, aged(years), on()).contains(&value);
        assert!(
            !can(Measured::Sprint30, 4, 3.0) && !can(Measured::Sprint30, 4, 5.0) && can(Measured::Sprint30, 4, 7.0)
        );
        assert!(!can(Measured::Sprint30, 10, 4.0) && can(Measured::Sprint30, 10, 4.9));
        assert!(can(Measured::Sprint30, 25, 3.8) && !can(Measured::Sprint30, 25, 3.5));
        assert!(can(Measured::Sprint50, 10, 7.6) && !can(Measured::Sprint50, 10, 6.5));
    }

    #[test]
    fn a_stature_far_from_the_growth_table_is_implausible() {
        let can = |what, years, value| possible(what, Sex::Female, aged(years), on()).contains(&value);
        assert!(can(Measured::Stature, 10, 1.38) && can(Measured::Stature, 10, 1.65));
        assert!(!can(Measured::Stature, 10, 1.90) && !can(Measured::Stature, 16, 1.05));
        assert!(can(Measured::Stature, 4, 1.02), "younger than the table");
        assert!(!can(Measured::LegLength, 10, 1.2) && can(Measured::LegLength, 10, 0.66));
    }

    #[test]
    fn a_birth_year_leaves_both_ages_open() {
        let of_year = possible(Measured::Sprint30, Sex::Male, Birth::Year(2016), on());
        assert!(of_year.start() <= possible(Measured::Sprint30, Sex::Male, aged(10), on()).start());
    }

    #[test]
    fn what_is_rare_but_can_be_lies_between_the_usual_and_the_impossible() {
        for (what, years, value) in [
            (Measured::Sprint30, 10, 4.7),
            (Measured::Sprint50, 10, 7.2),
            (Measured::Stature, 10, 1.65),
            (Measured::Stature, 10, 1.10),
            (Measured::Stature, 30, 1.95),
            (Measured::LegLength, 10, 0.95),
        ] {
            let verdict = judge(what, Sex::Female, aged(years), on(), value);
            assert!(matches!(verdict, Verdict::Unusual(_)), "{what:?} {value}: {verdict:?}");
            assert!(verdict.counts(true) && !verdict.counts(false));
        }
        for what in [Measured::Stature, Measured::LegLength, Measured::Sprint30, Measured::Sprint50] {
            for sex in [Sex::Female, Sex::Male] {
                for years in 4..30 {
                    let (often, can) = (usual(what, sex, aged(years), on()), possible(what, sex, aged(years), on()));
                    assert!(often.start() >= can.start() && often.end() <= can.end(), "{what:?} at {years}");
                }
            }
        }
    }

    #[test]
    fn a_longer_spacing_needs_more_run_out_and_a_short_race_fewer_barriers() {
        assert!(run_out_least(Length::from_mm(9_140)) > run_out_least(Length::from_mm(7_000)));
        assert_eq!([Some(5), Some(8), Some(10), None].map(barriers_most), [8, 10, 12, 10]);
    }
}
