//! The time an athlete is expected to run over a course, how sure that is, and what it rests on.
//!
//! Four ways, best first; the first that has data is used alone, because mixing a race with a sprint would blur the
//! better one:
//!
//! | basis | time | standard error |
//! | --- | --- | --- |
//! | recent races | median of the latest five over the same course | from their own spread and 2 % beforehand |
//! | touchdown times | first touchdown + intervals carried to the course + run-in | 3 % and more |
//! | sprint | 1.0 s + distance at the sprint's pace + 0.25 s a barrier + 0.22 s for each interval not held | 5 or 7 % |
//! | limit | as from a sprint of 53 / limit seconds over 50 m | 9 % |
//!
//! # Formulas
//!
//! Races: with the median m of n times and their squares about it Q, the variance of one race is v = (4 (0.02 m)² + Q)
//! / (4 + n - 1). The next race misses by v and the median by v / n, for n > 2 by π v / 2 n; a time by the other class
//! of clock adds (0.2 s)².
//!
//! Touchdowns: the mean interval is scaled by √(spacing / spacing run), interval k by 1 + 0.015 (k - its mean place),
//! the run-in is 0.85 of the last interval's pace; the spread is √(0.03² + (ln of the ratio / 2)² + (0.03 · share of
//! intervals missing)² + 0.02² without an approach).
//!
//! # Worked
//!
//! The course of 75 m with eight barriers at 7.50 m, approach 11.50 m:
//!
//! - one race of 13.00 s by hand: 13.00 s with √(2 · 0.26²) = 0.368 s, for a gate 0.419 s. Races of 13.0, 12.8 and
//!   14.9 s: 13.00 s with 0.998 s;
//! - touchdowns every 1.10 s from 2.40 s on: 2.40 + 7.70 + 0.85 · 1.10 · 1.045 · 11.0 / 7.5 = 11.533 s with 0.346 s;
//! - 50 m in 7.5 s, every interval held: 1.0 + 75 · 0.13 + 2.0 = 12.75 s with 0.638 s; with half of the intervals held
//!   13.52 s;
//! - a limit of 7.07 m and no time: 12.75 s with 1.15 s.
//!
//! # Used from
//!
//! Heats and handicap starts of race tests; shown with its basis, because a coach reads 9 % otherwise than 2 %.

use super::{Course, TimingClass};
use crate::robust::median;
use crate::units::Length;

/// Days back to which races and timed runs count: eight weeks (design choice; the same as for a step of the progression).
pub const RECENT_DAYS: i32 = 56;
/// Most recent races, and most recent timed runs, that count (design choice).
///
/// Older ones say more of another season than of the next race.
const MOST: usize = 5;
/// Race-to-race spread before anything is known of the athlete, as a share of the time (design choice).
///
/// 0.26 s of 13 s.
const RACE_SPREAD: f64 = 0.02;
/// How many races that first opinion is worth (design choice).
///
/// Three identical times leave 2 % · √(4 / 6) = 1.6 % and not nought.
const RACE_SPREAD_WEIGHT: f64 = 4.0;
/// Spread of the difference between a hand and an electronic time, seconds (s): hand times read up to about 0.3 s fast.
///
/// # Source
/// "Comparison between hand and electronic timing of 40-yd dash performance in college football players", *J Strength Cond Res*
/// 24 (2): 447-451, 2010: 0.31 s. The figure is a design choice.
const CLASS_SPREAD_S: f64 = 0.2;
/// Interval time grows as this power of the spacing: halfway between an even step rate (0) and an even speed (1); design choice.
const SPACING_POWER: f64 = 0.5;
/// Share by which each interval is slower than the one before.
///
/// # Source
/// Common practice, no source: in target schedules of 110 m the last of nine intervals is about 14 % longer than the first.
const FADE: f64 = 0.015;
/// Time of the run-in over the time at interval speed: the touchdown lies past the barrier, and no barrier follows.
///
/// # Source
/// Derived from a target schedule of 12.8 s over 110 m, after B. McFarlane, *The Science of Hurdling*: 1.4 s for 14.02 m after an
/// interval of 1.07 s for 9.14 m. Common practice.
const RUN_IN: f64 = 0.85;
/// Spread of a time predicted from timed runs, as a share of the time (design choice).
///
/// Over the same spacing, with approach and all touchdowns.
const RHYTHM_SPREAD: f64 = 0.03;
/// Spread of a time predicted from a 50 m and from a 30 m sprint, as a share of the time (design choice).
const SPEED_SPREAD: (f64, f64) = (0.05, 0.07);
/// Spread of a time predicted from the limit alone, as a share of the time: the spread of the predictor, 0.50 m in about 6.5 m,
/// and that of a time from a 50 m sprint (design choice).
const LIMIT_SPREAD: f64 = 0.09;
/// Seconds that a standing start costs against the speed held over the sprint (from memory, no source).
const START_S: f64 = 1.0;
/// Seconds lost at each barrier.
///
/// # Source
/// 0.2 s for expert men, "Haies lycees" (course slides), 2013; 0.25 s in a school index, G. Hanula, "Course de haies, college,
/// cycle 4", 2016.
const BARRIER_S: f64 = 0.25;
/// Seconds that an interval without the three-stride rhythm costs: one more step (design choice).
const EXTRA_STEP_S: f64 = 0.22;

/// A race that was run and timed.
///
/// Of one athlete. A day after the day asked for is not seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PastRace {
    /// Day, days since 1970-01-01.
    pub day: i32,
    /// Over what.
    pub course: Course,
    /// Final time, milliseconds (ms).
    pub time_ms: u32,
    /// How it was timed.
    pub class: TimingClass,
}

/// A run with touchdown times.
///
/// Touchdowns of a training lane; fewer barriers than the race and another spacing are allowed for, at the price of a
/// wider error.
#[derive(Clone, Debug, PartialEq)]
pub struct TimedRun {
    /// Day, days since 1970-01-01.
    pub day: i32,
    /// Start line to the first barrier, when recorded.
    pub approach: Option<Length>,
    /// Barrier to barrier.
    pub spacing: Length,
    /// Touchdown after each barrier, milliseconds (ms) from the start; none where it is missing.
    pub touchdowns_ms: Vec<Option<u32>>,
}

/// What is on file about an athlete's times.
///
/// All absent: no expected time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct History {
    /// Races, any order.
    pub races: Vec<PastRace>,
    /// Timed runs, any order.
    pub runs: Vec<TimedRun>,
    /// Latest 30 m sprint, seconds (s).
    ///
    /// Used only without the 50 m. Both count from 2 to 60 s.
    pub sprint_30m_s: Option<f64>,
    /// Latest 50 m sprint, seconds (s).
    pub sprint_50m_s: Option<f64>,
    /// Estimated probability that an interval of the course is held, 0 to 1.
    ///
    /// None counts as certain: nothing is added for lost steps.
    pub hold: Option<f64>,
    /// The 50 m time that the comfortable limit of the athlete's own runs stands for, seconds (s); none without runs.
    ///
    /// By the club's constants: [`PriorPolicy::sprint_50m_s`](crate::prior::PriorPolicy::sprint_50m_s).
    pub limit_50m_s: Option<f64>,
}

/// What an expected time rests on, best first.
///
/// Ordered best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Basis {
    /// The median of recent races over the same course.
    RecentTests,
    /// Touchdown times of recent runs.
    Rhythm,
    /// Sprint times and the estimate of the rhythm.
    Speed,
    /// The estimate of the rhythm alone, from the weeks of runs.
    Limit,
}

impl Basis {
    /// The word used in JSON and the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::RecentTests => "recent_tests",
            Self::Rhythm => "rhythm",
            Self::Speed => "speed",
            Self::Limit => "limit",
        }
    }

    /// The basis that a word names, if any.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::RecentTests, Self::Rhythm, Self::Speed, Self::Limit].into_iter().find(|basis| basis.as_str() == word)
    }

    /// One plain English sentence.
    pub const fn text(self) -> &'static str {
        match self {
            Self::RecentTests => "Median of the races over the same course in the last eight weeks.",
            Self::Rhythm => "Predicted from touchdown times of the last eight weeks.",
            Self::Speed => "Predicted from sprint times and the chance of holding the rhythm: rough.",
            Self::Limit => {
                "Predicted from the spacings held in the weeks of runs, without any time on file: very rough."
            }
        }
    }
}

/// An expected time.
///
/// Both from 1 ms to 600 s.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Expected {
    /// Milliseconds (ms).
    pub time_ms: u32,
    /// Standard error of the next time about it, milliseconds (ms): the doubt about the athlete and the day's chance.
    pub sd_ms: u32,
    /// What it rests on.
    pub basis: Basis,
}

impl Expected {
    /// None outside 1 ms to 600 s, for the time or its error.
    fn new(time_s: f64, sd_s: f64, basis: Basis) -> Option<Self> {
        let ms = |s: f64| {
            let ms = (s * 1_000.0).round();
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 1 to 600 000, whole
            (1.0..=600_000.0).contains(&ms).then_some(ms as u32)
        };
        Some(Self { time_ms: ms(time_s)?, sd_ms: ms(sd_s)?, basis })
    }
}

/// The time that the athlete is expected to run over a course on a day, timed as `class`; none when nothing is on file.
///
/// Looks at the days from [`RECENT_DAYS`] before `on` to `on`. The best basis that has data is used alone.
///
/// None also for a course without a run-in. The height of the barriers enters only through `hold`.
///
/// # Source
/// Design choice; each constant names its own.
///
/// ```
/// use lanewright_compute::race::{Basis, Course, History, TimingClass, expected_time};
/// use lanewright_compute::units::Length;
///
/// let mm = Length::from_mm;
/// let course =
///     Course { race_distance: mm(60_000), barriers: 6, height: mm(600), approach: mm(11_500), spacing: mm(7_000) };
/// let history = History { sprint_50m_s: Some(7.6), ..History::default() };
/// let expected = expected_time(&history, &course, TimingClass::Hand, 20_000).unwrap();
/// assert_eq!(expected.basis, Basis::Speed);
/// assert!((10_000..12_000).contains(&expected.time_ms));
/// assert_eq!(expected_time(&History::default(), &course, TimingClass::Hand, 20_000), None);
/// ```
pub fn expected_time(history: &History, course: &Course, class: TimingClass, on: i32) -> Option<Expected> {
    course.run_in()?;
    from_races(history, course, class, on)
        .or_else(|| from_runs(history, course, on))
        .or_else(|| from_sprints(history, course))
        .or_else(|| from_limit(history, course))
}

/// Both ends included: 56 days back still count, 57 do not.
fn recent(day: i32, on: i32) -> bool {
    day <= on && on.saturating_sub(day) <= RECENT_DAYS
}

/// The other class of clock serves only where there is no race of the wanted one. Courses must be equal to the
/// millimetre.
fn from_races(history: &History, course: &Course, class: TimingClass, on: i32) -> Option<Expected> {
    let same = |wanted: TimingClass| -> Vec<(i32, u32)> {
        let mut found: Vec<_> = history
            .races
            .iter()
            .filter(|race| race.class == wanted && race.course == *course && recent(race.day, on))
            .map(|race| (race.day, race.time_ms))
            .collect();
        // The latest first; of one day the faster.
        found.sort_unstable_by_key(|(day, time)| (std::cmp::Reverse(*day), *time));
        found.truncate(MOST);
        found
    };
    let other = match class {
        TimingClass::Hand => TimingClass::Electronic,
        TimingClass::Electronic => TimingClass::Hand,
    };
    let (races, gap_s) = match same(class) {
        none if none.is_empty() => (same(other), CLASS_SPREAD_S),
        some => (some, 0.0),
    };
    let mut times: Vec<f64> = races.iter().map(|(_, ms)| f64::from(*ms) / 1_000.0).collect();
    let middle = median(&mut times)?;
    #[allow(clippy::cast_precision_loss)] // at most MOST
    let n = times.len() as f64;
    let first = RACE_SPREAD * middle;
    let squares: f64 = times.iter().map(|time| (time - middle) * (time - middle)).sum();
    let variance = (RACE_SPREAD_WEIGHT * first * first + squares) / (RACE_SPREAD_WEIGHT + n - 1.0);
    // A median of normal values has pi/2 times the variance of their mean; of one or two it is the mean.
    let of_median = if times.len() > 2 { std::f64::consts::FRAC_PI_2 / n } else { 1.0 / n };
    Expected::new(middle, (variance * (1.0 + of_median) + gap_s * gap_s).sqrt(), Basis::RecentTests)
}

/// The median over the runs that tell something, with the smallest of their errors, so that a rough run beside a good
/// one does not widen it.
fn from_runs(history: &History, course: &Course, on: i32) -> Option<Expected> {
    let mut runs: Vec<&TimedRun> = history.runs.iter().filter(|run| recent(run.day, on)).collect();
    // The latest day first; of one day those with more barriers, then whatever their times are.
    runs.sort_by(|a, b| {
        let key = |run: &TimedRun| (std::cmp::Reverse(run.day), std::cmp::Reverse(run.touchdowns_ms.len()));
        key(a).cmp(&key(b)).then_with(|| a.touchdowns_ms.cmp(&b.touchdowns_ms))
    });
    let found: Vec<(f64, f64)> = runs.iter().filter_map(|run| over(run, course)).take(MOST).collect();
    let mut times: Vec<f64> = found.iter().map(|(time, _)| *time).collect();
    let time = median(&mut times)?;
    let spread = found.iter().map(|(_, spread)| *spread).fold(f64::INFINITY, f64::min);
    Expected::new(time, spread * time, Basis::Rhythm)
}

/// The race time that a timed run promises, seconds (s), and its spread as a share; none with fewer than two intervals.
///
/// Intervals with a missing or falling touchdown are skipped; the first touchdown must be there. No interval is taken
/// below half of the mean one, however far the fade reaches.
fn over(run: &TimedRun, course: &Course) -> Option<(f64, f64)> {
    let seconds = |ms: u32| f64::from(ms) / 1_000.0;
    let first = seconds((*run.touchdowns_ms.first()?)?);
    let intervals: Vec<(f64, f64)> = (1_u32..)
        .zip(run.touchdowns_ms.windows(2))
        .filter_map(|(k, pair)| match pair {
            [Some(from), Some(to)] if to > from => Some((f64::from(k), seconds(to - from))),
            _ => None,
        })
        .collect();
    if intervals.len() < 2 || run.spacing.mm() == 0 {
        return None;
    }
    #[allow(clippy::cast_precision_loss)] // a lane has few barriers
    let n = intervals.len() as f64;
    let (at, of_interval) = intervals.iter().fold((0.0, 0.0), |(at, of), (k, time)| (at + k / n, of + time / n));
    let (spacing, run_spacing) = (course.spacing.metres(), run.spacing.metres());
    let stretch = libm::pow(spacing / run_spacing, SPACING_POWER);
    let interval = |k: u8| of_interval * stretch * (1.0 + FADE * (f64::from(k) - at)).max(0.5);
    let between: f64 = (1..course.barriers).map(interval).sum();
    let last = interval(course.barriers.max(2) - 1);
    let run_in = RUN_IN * last * course.run_in()?.metres() / spacing;
    // A run without a recorded approach is taken to have had the course's.
    let approach = run.approach.map_or(0.0, |run| course.approach.metres() - run.metres()) * of_interval / run_spacing;
    let gaps = f64::from(course.barriers.max(2) - 1);
    let missing = (1.0 - n / gaps).max(0.0);
    let moved = libm::log(spacing / run_spacing).abs() / 2.0;
    let unknown_approach = if run.approach.is_some() { 0.0 } else { 0.02 };
    let spread = RHYTHM_SPREAD * RHYTHM_SPREAD
        + moved * moved
        + (0.03 * missing) * (0.03 * missing)
        + unknown_approach * unknown_approach;
    Some((first + approach + between + run_in, spread.sqrt()))
}

/// The pace is (t - 1.0 s) over the distance: 7.5 s over 50 m are 0.13 s a metre.
fn from_sprints(history: &History, course: &Course) -> Option<Expected> {
    let good = |time: &f64| (2.0..60.0).contains(time);
    let (pace, spread) = match (history.sprint_30m_s.filter(good), history.sprint_50m_s.filter(good)) {
        (_, Some(t50)) => ((t50 - START_S) / 50.0, SPEED_SPREAD.0),
        (Some(t30), None) => ((t30 - START_S) / 30.0, SPEED_SPREAD.1),
        (None, None) => return None,
    };
    let time = hurdled(pace, history, course);
    Expected::new(time, spread * time, Basis::Speed)
}

/// As from a sprint, with the time that the limit stands for.
fn from_limit(history: &History, course: &Course) -> Option<Expected> {
    let t50 = history.limit_50m_s?;
    let time = hurdled((t50 - START_S) / 50.0, history, course);
    Expected::new(time, LIMIT_SPREAD * time, Basis::Limit)
}

/// The race time of a flat pace, seconds per metre (s/m), once started.
fn hurdled(pace: f64, history: &History, course: &Course) -> f64 {
    let lost = history.hold.map_or(0.0, |hold| f64::from(course.barriers.max(1) - 1) * (1.0 - hold) * EXTRA_STEP_S);
    START_S + course.race_distance.metres() * pace + f64::from(course.barriers) * BARRIER_S + lost
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::prior::PriorPolicy;

    const fn mm(mm: u32) -> Length {
        Length::from_mm(mm)
    }

    const COURSE: Course =
        Course { race_distance: mm(75_000), barriers: 8, height: mm(762), approach: mm(11_500), spacing: mm(7_500) };

    fn race(day: i32, time_ms: u32) -> PastRace {
        PastRace { day, course: COURSE, time_ms, class: TimingClass::Hand }
    }

    #[test]
    fn the_median_of_recent_races_over_the_same_course_comes_first() {
        let longer = Course { spacing: mm(7_600), ..COURSE };
        let races = vec![
            race(90, 13_000),
            race(95, 12_800),
            race(97, 14_900),
            race(101, 11_000),
            race(40, 16_000),
            PastRace { course: longer, ..race(98, 10_000) },
            PastRace { class: TimingClass::Electronic, ..race(98, 10_500) },
        ];
        let history = History { races, sprint_50m_s: Some(7.5), ..History::default() };
        let found = expected_time(&history, &COURSE, TimingClass::Hand, 100).unwrap();
        assert_eq!((found.time_ms, found.basis), (13_000, Basis::RecentTests), "day 101 and day 40 are outside");
        assert!(found.sd_ms > 260, "the outlier is seen: {}", found.sd_ms);
        let electronic = expected_time(&history, &COURSE, TimingClass::Electronic, 100).unwrap();
        assert_eq!(electronic.time_ms, 10_500);
        let none = History { races: vec![race(43, 13_000)], ..history };
        assert_eq!(expected_time(&none, &COURSE, TimingClass::Hand, 100).unwrap().basis, Basis::Speed);
    }

    #[test]
    fn times_of_the_other_class_serve_with_a_wider_error() {
        let of = |class| {
            expected_time(&History { races: vec![race(99, 13_000)], ..History::default() }, &COURSE, class, 100)
        };
        let (hand, electronic) = (of(TimingClass::Hand).unwrap(), of(TimingClass::Electronic).unwrap());
        assert_eq!(hand.time_ms, electronic.time_ms);
        assert!(electronic.sd_ms > hand.sd_ms);
    }

    #[test]
    fn a_whole_run_over_the_course_promises_nearly_its_own_time() {
        // Even intervals of 1.10 s, 2.40 s to the first touchdown: 2.40 + 7 x 1.10 and a run-in of 11 m.
        let touchdowns_ms = (0..8).map(|k| Some(2_400 + 1_100 * k)).collect();
        let run = TimedRun { day: 99, approach: Some(mm(11_500)), spacing: mm(7_500), touchdowns_ms };
        let history = History { runs: vec![run], ..History::default() };
        let found = expected_time(&history, &COURSE, TimingClass::Hand, 100).unwrap();
        let run_in = 0.85 * 1.1 * (1.0 + FADE * 3.0) * 11.0 / 7.5;
        assert!((f64::from(found.time_ms) - 1_000.0 * (10.1 + run_in)).abs() < 1.0, "{found:?}");
        assert_eq!(found.basis, Basis::Rhythm);
    }

    #[test]
    fn a_shorter_spacing_and_missing_touchdowns_widen_the_error() {
        let run = |spacing, touchdowns_ms: Vec<Option<u32>>| {
            let run = TimedRun { day: 99, approach: Some(mm(11_500)), spacing: mm(spacing), touchdowns_ms };
            expected_time(&History { runs: vec![run], ..History::default() }, &COURSE, TimingClass::Hand, 100)
        };
        let whole: Vec<Option<u32>> = (0..8).map(|k| Some(2_400 + 1_100 * k)).collect();
        let share = |one: Option<Expected>| one.map(|one| f64::from(one.sd_ms) / f64::from(one.time_ms)).unwrap();
        assert!(share(run(6_500, whole.clone())) > share(run(7_500, whole.clone())));
        assert!(share(run(7_500, whole[..4].to_vec())) > share(run(7_500, whole.clone())));
        let two = vec![Some(2_400), None, Some(4_600), Some(5_700)];
        assert_eq!(run(7_500, two), None, "one interval is too little");
        assert_eq!(run(7_500, [vec![None], whole].concat()), None, "without the first touchdown nothing is known");
    }

    #[test]
    fn the_weeks_of_runs_serve_when_no_time_is_on_file() {
        let of = |limit_m: Option<f64>| {
            let limit_50m_s = limit_m.and_then(|limit| PriorPolicy::default().sprint_50m_s(limit));
            expected_time(&History { limit_50m_s, ..History::default() }, &COURSE, TimingClass::Hand, 100)
        };
        let found = of(Some(53.0 / 7.5)).unwrap();
        // The same as a 50 m time of 7.5 s, and less sure.
        assert_eq!((found.time_ms, found.basis), (12_750, Basis::Limit));
        let sprint = History { sprint_50m_s: Some(7.5), limit_50m_s: Some(53.0 / 6.0), ..History::default() };
        let sprint = expected_time(&sprint, &COURSE, TimingClass::Hand, 100).unwrap();
        assert_eq!(sprint.basis, Basis::Speed);
        assert!(found.sd_ms > sprint.sd_ms && of(Some(7.5)).unwrap().time_ms < of(Some(6.5)).unwrap().time_ms);
        assert_eq!((of(None), of(Some(0.0))), (None, None));
    }

    #[test]
    fn sprints_serve_when_nothing_else_is_on_file() {
        let of = |hold, t30, t50| {
            let history = History { hold, sprint_30m_s: t30, sprint_50m_s: t50, ..History::default() };
            expected_time(&history, &COURSE, TimingClass::Hand, 100).unwrap()
        };
        let (sure, unsure) = (of(Some(1.0), None, Some(7.5)), of(Some(0.5), None, Some(7.5)));
        assert_eq!(sure.time_ms, 12_750, "1.0 + 75 x 6.5 / 50 + 8 x 0.25");
        assert_eq!(unsure.time_ms - sure.time_ms, 770, "half of seven intervals cost a step");
        assert!(of(None, Some(4.9), None).sd_ms > sure.sd_ms);
    }
}
