//! How an athlete and a squad came along over a period, and when the target will be reached.
//!
//! One pass of the filter gives the estimate of every training day; on the last day it goes on into the forecast. All of
//! it rests on runs and ratings whose days are kept, so that every figure can be traced to its rows.
//!
//! | question | answer | module |
//! | --- | --- | --- |
//! | What was run? | [`TrainingDay`], [`Load`] | days |
//! | How did the limit move? | [`Progress::believed`], [`Progress::limit_slope`] | the filter, trend |
//! | Does the athlete stand still? | [`Plateau`] | trend |
//! | When comes the next step, when the race test? | [`Outlook`] | forecast, ladder, belief, habits |
//! | What weakens that? | [`Note`] | notes |
//! | How did technique go? | [`technique()`] | technique |
//! | How did the coach's words turn out? | [`turned_out`], [`sums`] | words |
//! | And the whole squad? | [`squad()`] | squad |
//!
//! # How a progress is found
//!
//! 1. The filter runs once over all runs up to the last day and notes the limit after each training day
//!    ([`crate::estimate::series()`]).
//! 2. Its last belief gives the advice of the last day and, drawn 64 times, the futures of the forecast.
//! 3. Slopes are taken over the training days of the period; the plateau over up to twelve weeks before its end,
//!    whatever the period.
//!
//! So the last point of the series, the advice and the forecast rest on one belief and never contradict each other.
//!
//! # Cost
//!
//! The bulk of the work is the forecast: 64 futures of up to 26 weeks, each training day asking the rules.
//! `benches/progress_figures` demands 60 athletes with their forecasts in less than a second. [`Followed`] keeps what
//! was found until something it rests on changes.
//!
//! # Assumed
//!
//! That the record is complete: a week without runs on file is a week without training. That each run is one athlete's
//! own.
//!
//! # Source
//!
//! Slopes: P. K. Sen, 1968; the rest design choices, named where they stand.

mod belief;
mod days;
mod followed;
mod forecast;
mod habits;
mod ladder;
mod notes;
mod squad;
mod technique;
mod trend;
mod words;

use super::advice::{Advice, AdviceError, Record, Setting, advise_from, prior, rhythm_runs};
use super::day::Day;
use super::estimate::{Believed, Settings, series};

pub use days::{Load, TrainingDay, training_days};
pub use followed::Followed;
pub use forecast::{Dates, Forecast, Gap, HORIZON_WEEKS, HeldUp, LEVELS, Outlook, Status, StepAhead};
pub use notes::Note;
pub use squad::{AthleteWeeks, Due, Member, Quantiles, Squad, squad};
pub(crate) use squad::{due_ratings, ready};
pub use technique::{Direction, Rated, TechniqueTrend, technique};
pub use trend::{
    CONFIDENCE, PLATEAU_DAYS, PLATEAU_WEEKS, PLATEAU_WEEKS_MAX, Plateau, Slope, Week, plateau, slope_per_week,
};
pub use words::{Sum, Taken, TurnedOut, Way, sums, turned_out};

/// Days of a week.
///
/// Rates are told by week, as training is planned.
const WEEK: i32 = 7;

/// The longest period, days: two years (design choice).
///
/// Two years, one of them with a leap day.
pub const PERIOD_DAYS_MAX: i32 = 731;

/// From one day to another, both included; at most [`PERIOD_DAYS_MAX`] days.
///
/// Never empty. The forecast looks on from its last day, which need not be today.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Period {
    from: Day,
    to: Day,
}

impl Period {
    /// The period, if it does not end before it begins and is not too long.
    ///
    /// None also for a period of one day too many; a single day is a period.
    pub fn new(from: Day, to: Day) -> Option<Self> {
        let days = to.days() - from.days() + 1;
        (1..=PERIOD_DAYS_MAX).contains(&days).then_some(Self { from, to })
    }

    /// Its first day.
    pub const fn from(self) -> Day {
        self.from
    }

    /// Its last day.
    pub const fn to(self) -> Day {
        self.to
    }

    /// Its length in weeks, with fractions.
    ///
    /// From 1/7 to 104.4.
    pub fn weeks(self) -> f64 {
        f64::from(self.to.days() - self.from.days() + 1) / f64::from(WEEK)
    }

    /// Whether a day (days since 1970-01-01) lies in it.
    ///
    /// Both ends included.
    pub fn holds(self, day: i32) -> bool {
        (self.from.days()..=self.to.days()).contains(&day)
    }
}

/// How one athlete came along.
///
/// Lists and sums are of the period; advice, plateau and outlook are of its last day.
#[derive(Clone, Debug)]
pub struct Progress<'a> {
    /// The period.
    pub period: Period,
    /// The advice on the last day.
    pub advice: Advice<'a>,
    /// The days on which the athlete ran, earliest first.
    ///
    /// A day counts with any run, also one that says nothing about rhythm.
    pub days: Vec<TrainingDay>,
    /// The estimate after each of them that says something about the rhythm, weekly after the last one, and on the last
    /// day of the period; earliest first.
    pub believed: Vec<Believed>,
    /// Everything run in the period.
    ///
    /// The sum over `days`.
    pub load: Load,
    /// Slope of the estimated limit over the training days, metres per week (m/week).
    ///
    /// None below three training days on which the rhythm could be read.
    pub limit_slope: Option<Slope>,
    /// Slope of the spacing run over the training days, metres per week (m/week).
    ///
    /// Of the day's main configuration: what the athlete was given, not what they could.
    pub spacing_slope: Option<Slope>,
    /// Whether the athlete stands still, over the weeks up to the last day.
    pub plateau: Plateau,
    /// What is to be expected of the target and of the one after it.
    pub outlook: Outlook,
}

/// How one athlete came along over a period, seen from its last day. Runs after that day are left out.
///
/// Nothing is written and no clock is read.
///
/// # Errors
/// [`AdviceError`] when a stored measurement is impossible or the runs reach back too far.
///
/// ```
/// use lanewright_compute::advice::{Record, RunRecord, Setting};
/// use lanewright_compute::day::Day;
/// use lanewright_compute::decision::{Clearance, Policy, Ratings};
/// use lanewright_compute::prior::{Experience, PriorPolicy};
/// use lanewright_compute::progress::{Period, progress};
/// use lanewright_compute::specs::Birth;
/// use lanewright_compute::units::{BarrierKind, Length, Sex};
///
/// let setting = Setting {
///     ruleset: "UKA-2024".to_owned(),
///     specs: Vec::new(),
///     age_groups: Vec::new(),
///     stock: Vec::new(),
///     policy: Policy::default(),
///     start: PriorPolicy::default(),
/// };
/// let (from, to) = (Day::from_ymd(2026, 9, 1).unwrap(), Day::from_ymd(2026, 11, 23).unwrap());
/// let run = RunRecord {
///     day: to.days() - 2,
///     barrier_kind: BarrierKind::Wicket,
///     height: Length::from_mm(300),
///     spacing: Length::from_mm(6_000),
///     barriers: 5,
///     held: 3,
///     over_reached: 1,
///     crowded: 0,
///     broken: 0,
///     hits: 0,
///     fell: false,
/// };
/// let record = Record {
///     sex: Sex::Female,
///     birth: Birth::Year(2013),
///     experience: Experience::Novice,
///     stature_m: Some(1.55),
///     leg_length_m: None,
///     sprint_30m_s: None,
///     sprint_50m_s: None,
///     approach_strides: None,
///     status: lanewright_compute::decision::Status::Active,
///     breaks: Vec::new(),
///     surface: None,
///     ratings: Ratings::default(),
///     clearance: Clearance::NotNeeded,
///     word: None,
///     runs: vec![run],
/// };
/// let found = progress(&record, &setting, Period::new(from, to).unwrap())?;
/// assert_eq!((found.days.len(), found.load.held, found.load.intervals), (1, 3, 4));
/// # Ok::<(), lanewright_compute::advice::AdviceError>(())
/// ```
pub fn progress<'a>(record: &Record, setting: &'a Setting, period: Period) -> Result<Progress<'a>, AdviceError> {
    progress_keeping(&mut None, record, setting, period)
}

/// The same, and nothing is computed when `kept` is what the last call for this athlete left there and nothing has changed
/// since; errors as [`progress`].
///
/// On a hit the setting is compared by value and the advice is put together anew around it, which costs no filter and
/// no forecast.
pub fn progress_keeping<'a>(
    kept: &mut Option<Followed>,
    record: &Record,
    setting: &'a Setting,
    period: Period,
) -> Result<Progress<'a>, AdviceError> {
    if let Some(again) = kept.as_ref().and_then(|kept| kept.again(record, setting, period)) {
        return Ok(again);
    }
    let found = follow(record, setting, period)?;
    *kept = Some(Followed::of(record, setting, &found));
    Ok(found)
}

/// `since` reaches back as far as the plateau may, so a short period has its plateau all the same; the points before
/// the period are dropped before the answer.
fn follow<'a>(record: &Record, setting: &'a Setting, period: Period) -> Result<Progress<'a>, AdviceError> {
    let (from, to) = (period.from, period.to);
    let weeks_back = to.days() - WEEK * PLATEAU_WEEKS_MAX;
    let since = from.days().min(weeks_back);
    let settings = Settings::default();
    let mut found = series(&prior(record, setting, to)?, &rhythm_runs(record), since, to.days(), &settings)?;
    let advice = advise_from(record, setting, to, found.posterior.summary());
    let outlook = forecast::outlook(record, setting, &advice, &found.posterior, &settings, to);
    let days = training_days(&record.runs, since, to.days());
    let trained: Vec<Believed> =
        found.believed.iter().filter(|one| days.iter().any(|day| day.day == one.day)).copied().collect();
    let limits = |from: i32| trained.iter().filter(move |one| one.day >= from).map(|one| (one.day, one.limit_m.mean));
    let limit_slope = slope_per_week(&limits(from.days()).collect::<Vec<_>>());
    let plateau = plateau(&limits(weeks_back).collect::<Vec<_>>(), to.days());
    found.believed.retain(|one| period.holds(one.day));
    let days: Vec<TrainingDay> = days.into_iter().filter(|day| period.holds(day.day)).collect();
    let spacings: Vec<(i32, f64)> = days.iter().map(|day| (day.day, day.main.spacing.metres())).collect();
    Ok(Progress {
        period,
        advice,
        load: days.iter().map(|day| day.load).sum(),
        limit_slope,
        spacing_slope: slope_per_week(&spacings),
        plateau,
        outlook,
        believed: found.believed,
        days,
    })
}

impl Progress<'_> {
    /// How far the estimated limit moved from the first entry of the period to the last, metres (m); none when the
    /// athlete did not train in it.
    ///
    /// The weekly entries after the last run count: a trend carried on shows in it.
    pub fn limit_change_m(&self) -> Option<f64> {
        if self.days.is_empty() {
            return None;
        }
        let (first, last) = (self.believed.first()?, self.believed.last()?);
        Some(last.limit_m.mean - first.limit_m.mean)
    }

    /// Spacing of the current configuration over that of the target.
    ///
    /// A share of the race's spacing, above 0; none without six intervals at one configuration or without a target.
    pub fn spacing_of_target(&self) -> Option<f64> {
        let (current, target) = (self.advice.decision.current?, self.advice.target.as_ref()?);
        Some(current.spacing.metres() / target.spec.between.metres())
    }
}
