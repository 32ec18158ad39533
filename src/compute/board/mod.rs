//! Where everybody stands, and what holds them up: the questions that a coach asks of a squad before a session.
//!
//! What somebody may run next is decided in [`crate::decision`] and nowhere else. The board asks those rules on the last day of
//! a period, and once more on each of the days on which the athlete came before it, with what was on file then: what is
//! missing today has stood since the first day of the unbroken row of days on which it was missing too.
//!
//! | question | answer |
//! | --- | --- |
//! | who stands on which rung | [`Board::ladder`], by the stage of each decision |
//! | who is ready for more | [`Board::ready`], race tests first, then the surest step |
//! | what holds somebody up, and since when | [`Obstacle`] |
//! | who stands behind something for too long | [`Board::behind`], from [`BEHIND_SESSIONS`] on |
//! | how much was run, against the weeks before | [`Weeks`] |
//! | what is due | [`Due`], [`MeasurementDue`], [`SpecificationChange`] |
//! | how that compares with last season | two [`Stretch`]es, 52 whole weeks apart |
//!
//! # Example
//! ```
//! use lanewright_compute::advice::{Record, Setting};
//! use lanewright_compute::board::{Measured, Seen, place};
//! use lanewright_compute::day::Day;
//! use lanewright_compute::decision::{Clearance, Criterion, Policy, Ratings, Status};
//! use lanewright_compute::prior::{Experience, PriorPolicy};
//! use lanewright_compute::progress::Period;
//! use lanewright_compute::specs::Birth;
//! use lanewright_compute::units::Sex;
//!
//! let to = Day::from_ymd(2026, 11, 25).unwrap();
//! let record = Record {
//!     sex: Sex::Female,
//!     birth: Birth::Year(2013),
//!     experience: Experience::Novice,
//!     stature_m: Some(1.52),
//!     leg_length_m: None,
//!     sprint_30m_s: None,
//!     sprint_50m_s: None,
//!     approach_strides: None,
//!     status: Status::Active,
//!     breaks: Vec::new(),
//!     surface: None,
//!     ratings: Ratings::default(),
//!     clearance: Clearance::NotNeeded,
//!     word: None,
//!     runs: Vec::new(),
//! };
//! let setting = Setting {
//!     ruleset: "UKA".to_owned(),
//!     specs: Vec::new(),
//!     age_groups: Vec::new(),
//!     stock: Vec::new(),
//!     policy: Policy::default(),
//!     start: PriorPolicy::default(),
//! };
//! // She came eight times, and nobody rated anything.
//! let came: Vec<i32> = (0..8).map(|week| to.days() - 7 * (7 - week)).collect();
//! let seen = Seen {
//!     record: &record,
//!     rated: &[],
//!     came: &came,
//!     last_rated: [None; Criterion::ALL.len()],
//!     measured: Measured { stature: Some(to.days() - 10), sprint: None },
//! };
//! let found = place(&seen, &setting, Period::new(to.add_days(-83), to).unwrap())?;
//! let gate = found.obstacles.iter().find(|one| one.what.code() == "rating").unwrap();
//! assert_eq!((gate.sessions, gate.since), (8, Some(came[0])));
//! # Ok::<(), lanewright_compute::advice::AdviceError>(())
//! ```
//!
//! Left out on purpose: forecasts, which [`crate::progress`] tells, and any order of athletes by merit.
//!
//! # Source
//! The rules are those of [`crate::decision`]; figures of the board itself say where they come from.

mod due;
mod obstacle;
mod weeks;

use crate::advice::{Advice, AdviceError, Record, Setting, advise_from, prior, rhythm_runs};
use crate::day::Day;
use crate::decision::{Configuration, Criterion, Decision, Governed, Rating, Ratings, Stage};
use crate::estimate::{Estimate, Kept, Settings, estimate_keeping};
use crate::progress::{Due, Load, Period, Rated, due_ratings, ready, training_days};

pub use due::{Cause, MEASURE_DAYS, Measured, Measurement, MeasurementDue, SPRINT_DAYS, SpecificationChange};
pub use obstacle::{BEHIND_SESSIONS, LOOK_BACK_SESSIONS, Obstacle};
pub use weeks::{RISE_LEAST, RISE_MOST, WEEKS_BEFORE, Weeks};

use crate::advice::RATING_DAYS;
use obstacle::Past;

/// Days between a stretch and that of last season: 52 whole weeks, so that the days of the week are the same.
pub const SEASON_DAYS: i32 = 364;

/// What the board reads of one athlete.
#[derive(Clone, Copy, Debug)]
pub struct Seen<'a> {
    /// What advice rests on, as on the last day of the period.
    pub record: &'a Record,
    /// Every assessment up to that day that may have counted on a day looked at, earliest first.
    pub rated: &'a [Rated],
    /// The days of the group's sessions to which the athlete came (days since 1970-01-01), ascending.
    pub came: &'a [i32],
    /// The day of the latest rating of each criterion (days since 1970-01-01), in the order of [`Criterion::ALL`].
    pub last_rated: [Option<i32>; Criterion::ALL.len()],
    /// When the athlete was measured last.
    pub measured: Measured,
}

impl Seen<'_> {
    /// The record as it was on an earlier day. What nobody noted the day of, measurements and status, is as it is now; an
    /// earlier word of a coach and the surface of a past day are left out.
    fn as_of(&self, day: i32) -> Record {
        let mut past = self.record.clone();
        past.ratings = self.ratings(day);
        past.breaks.retain(|one| one.on <= day);
        past.surface = None;
        past.word = past.word.filter(|word| word.on <= day);
        past.clearance = obstacle::clearance(self.record, day);
        past
    }

    /// The ratings that counted on a day.
    fn ratings(&self, day: i32) -> Ratings {
        let counts = |one: &&Rated| (day - RATING_DAYS..=day).contains(&one.day);
        let latest = |criterion| -> Option<Rating> {
            self.rated.iter().filter(counts).rev().find_map(|one| one.ratings.of(criterion))
        };
        Ratings {
            lead_leg: latest(Criterion::LeadLeg),
            trail_leg: latest(Criterion::TrailLeg),
            walkover: latest(Criterion::Walkover),
            take_off: latest(Criterion::TakeOff),
            landing: latest(Criterion::Landing),
            posture: latest(Criterion::Posture),
            rhythm: latest(Criterion::Rhythm),
            arms: latest(Criterion::Arms),
        }
    }

    /// The days on which the athlete came or ran, between two days, both included; ascending, each once.
    fn days(&self, from: i32, to: i32) -> Vec<i32> {
        let ran = self.record.runs.iter().map(|run| run.day);
        let mut days: Vec<i32> = self.came.iter().copied().chain(ran).filter(|day| (from..=to).contains(day)).collect();
        days.sort_unstable();
        days.dedup();
        days
    }
}

/// What an athlete did over some weeks, and where that led.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// Its last day.
    pub to: Day,
    /// Everything run in it.
    pub load: Load,
    /// Days on which the athlete came or ran.
    pub days: u32,
    /// The stage on its last day.
    pub stage: Stage,
    /// What was run over on that day, by the rules' own reading; none before six intervals at one configuration.
    pub current: Option<Configuration>,
    /// Mean of the limit over a wicket of 0.30 m on that day, metres (m); with what was known that day, not with later runs.
    pub limit_m: f64,
}

/// Where one athlete stands.
#[derive(Clone, Debug)]
pub struct Place<'a> {
    /// The advice on the last day.
    pub advice: Advice<'a>,
    /// What stands before the next step, what closes every lane first; each with since when. Empty where nothing is missing.
    pub obstacles: Vec<Obstacle>,
    /// The last week beside the weeks before it.
    pub weeks: Weeks,
    /// The last day on which the athlete came or ran, days since 1970-01-01.
    pub last_seen: Option<i32>,
    /// Ratings that are due.
    pub ratings_due: Vec<Due>,
    /// Measurements that are due.
    pub measurements_due: Vec<MeasurementDue>,
    /// The next change of what the athlete races over.
    pub change: Option<SpecificationChange>,
    /// The period.
    pub now: Stretch,
    /// The same weeks of last season; none when nothing is on file up to then.
    pub last_season: Option<Stretch>,
}

impl Place<'_> {
    /// Whether a coach's word holds the athlete back from what the rules alone would advise.
    pub fn held_back(&self) -> bool {
        let back = |one: &Governed| one.proposed.is_some_and(|to| to.is_harder_than(one.word.at));
        self.advice.decision.governed.as_ref().is_some_and(back)
    }
}

/// Where one athlete stands on the last day of a period. Runs after that day are left out.
///
/// Cost: one estimate of all runs, and one decision for each of at most [`LOOK_BACK_SESSIONS`] days.
///
/// # Errors
/// [`AdviceError`] when a stored measurement is impossible or the runs reach back too far.
pub fn place<'a>(seen: &Seen<'_>, setting: &'a Setting, period: Period) -> Result<Place<'a>, AdviceError> {
    let on = period.to();
    let prior = prior(seen.record, setting, on)?;
    let runs = rhythm_runs(seen.record);
    let mut kept: Option<Kept> = None;
    // Days are asked for in order, so that every run is learned once.
    let mut estimate = |day: Day| -> Result<Estimate, AdviceError> {
        Ok(estimate_keeping(&mut kept, &prior, &runs, day.days(), &Settings::default())?)
    };
    let then = Day::from_days(on.days() - SEASON_DAYS).filter(|day| on_file(seen, *day));
    let last_season = then.map(|day| {
        let advice = advise_from(&seen.as_of(day.days()), setting, day, estimate(day)?);
        Ok::<_, AdviceError>(stretch(seen, &advice, day, period))
    });
    let last_season = last_season.transpose()?;
    let first = then.map_or(i32::MIN, |day| day.days() + 1);
    let days = seen.days(first, on.days());
    let looked_at = &days[days.len().saturating_sub(LOOK_BACK_SESSIONS)..];
    let target = crate::advice::target(setting, seen.record, on);
    let mut past = Vec::with_capacity(looked_at.len());
    for day in looked_at.iter().copied().filter(|day| *day < on.days()).filter_map(Day::from_days) {
        past.push(Past::of(&seen.as_of(day.days()), setting, day, target.as_ref(), &estimate(day)?));
    }
    let advice = advise_from(seen.record, setting, on, estimate(on)?);
    let here_today = days.last() == Some(&on.days());
    Ok(Place {
        obstacles: obstacle::of(&advice.decision, &past, here_today.then_some(on.days()), seen.record, on.days()),
        weeks: Weeks::of(&seen.record.runs, on.days()),
        last_seen: days.last().copied().or_else(|| seen.days(i32::MIN, on.days()).last().copied()),
        ratings_due: due_ratings(&seen.last_rated, on.days(), setting.policy.arms_count),
        measurements_due: due::measurements(seen, on),
        change: due::change(&advice, seen.record.birth, on),
        now: stretch(seen, &advice, on, period),
        last_season,
        advice,
    })
}

/// Whether anything of the athlete is on file up to a day: a session, a run or an assessment.
fn on_file(seen: &Seen<'_>, day: Day) -> bool {
    !seen.days(i32::MIN, day.days()).is_empty() || seen.rated.first().is_some_and(|one| one.day <= day.days())
}

/// A stretch as long as the period, up to a day.
fn stretch(seen: &Seen<'_>, advice: &Advice<'_>, to: Day, period: Period) -> Stretch {
    let from = to.days() - (period.to().days() - period.from().days());
    let decision: &Decision = &advice.decision;
    Stretch {
        to,
        load: training_days(&seen.record.runs, from, to.days()).iter().map(|day| day.load).sum(),
        days: u32::try_from(seen.days(from, to.days()).len()).unwrap_or(u32::MAX),
        stage: decision.stage,
        current: decision.current,
        limit_m: advice.estimate.limit_m.mean,
    }
}

/// A squad's board. Athletes are named by their place in the given list, so that who is shown to whom is decided outside.
#[derive(Clone, Debug, PartialEq)]
pub struct Board {
    /// Athletes at each stage, first stage to last, and those who stood there in the same weeks of last season.
    pub ladder: Vec<(Stage, Vec<usize>, Vec<usize>)>,
    /// Athletes who are ready for more: race tests first, then the surest step up.
    pub ready: Vec<usize>,
    /// Athletes whom something has held up for [`BEHIND_SESSIONS`] sessions or more, longest first, with its place in
    /// [`Place::obstacles`].
    pub behind: Vec<(usize, usize)>,
    /// Athletes whose load rose too fast.
    pub jumps: Vec<usize>,
    /// Everything run in the period, and in the same weeks of last season by those on file then.
    pub load: (Load, Load),
}

/// Puts everybody on the board.
///
/// ```
/// use lanewright_compute::board::board;
///
/// let empty = board(&[]);
/// assert!(empty.ladder.len() == 11 && empty.behind.is_empty());
/// ```
pub fn board(places: &[Place<'_>]) -> Board {
    let which = |test: &dyn Fn(&Place<'_>) -> bool| -> Vec<usize> {
        places.iter().enumerate().filter(|(_, one)| test(one)).map(|(at, _)| at).collect()
    };
    let rung = |stage: Stage| {
        let then = |one: &Place<'_>| one.last_season.as_ref().is_some_and(|last| last.stage == stage);
        (stage, which(&|one| one.now.stage == stage), which(&then))
    };
    let mut behind: Vec<(u32, usize, usize)> = places
        .iter()
        .enumerate()
        .flat_map(|(at, one)| one.obstacles.iter().enumerate().map(move |(which, held)| (held.sessions, at, which)))
        .filter(|(sessions, ..)| *sessions >= BEHIND_SESSIONS)
        .collect();
    behind.sort_by_key(|(sessions, at, which)| (std::cmp::Reverse(*sessions), *at, *which));
    Board {
        ladder: Stage::ALL.map(rung).into(),
        ready: ready(places.iter().map(|one| &one.advice.decision)),
        behind: behind.into_iter().map(|(_, at, which)| (at, which)).collect(),
        jumps: which(&|one| one.weeks.jumps()),
        load: (
            places.iter().map(|one| one.now.load).sum(),
            places.iter().filter_map(|one| one.last_season.as_ref()).map(|last| last.load).sum(),
        ),
    }
}
