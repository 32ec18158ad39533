//! Forecasts made after eight weeks beside what then came true: half a year more of the same clubs in private lanes.

use lanewright_compute::advice::Setting;
use lanewright_compute::day::Day;
use lanewright_compute::decision::{Configuration, DecisionKind};
use lanewright_compute::estimate::Settings;
use lanewright_compute::progress::{Dates, Forecast, HORIZON_WEEKS, Outlook, Period, Status, progress};
use lanewright_compute::specs::{AgeGroup, AgeRule, Confidence, Environment, Spec};
use lanewright_compute::units::Length;

use super::athlete::Athlete;
use super::clubs::{DAYS, FIRST_DAY, Member, setting};
use super::coach::{Coach, Recommended, STEP_MM};
use super::season::{GOAL, runs, squad};

/// A forecast of one athlete, and what came true.
#[derive(Clone, Debug)]
pub struct Told {
    pub outlook: Outlook,
    /// Days until the race test was first advised; none beyond the look ahead.
    pub raced: Option<i32>,
    /// Days until a step up was first advised.
    pub stepped: Option<i32>,
}

/// How far the race is, at most, from what an athlete runs after eight weeks: spacing steps and heights.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Aim {
    pub steps: u32,
    pub heights: u32,
}

/// A race of the coming months, and one of the coming weeks.
pub const FAR: Aim = Aim { steps: 3, heights: 2 };
pub const NEAR: Aim = Aim { steps: 1, heights: 1 };

/// A club of athletes in private lanes, each as advised.
pub fn told(club: u64, athletes: u32, aim: Aim) -> Vec<Told> {
    squad(club, athletes).into_iter().filter_map(|athlete| of(Member::new(athlete), aim)).collect()
}

/// The club with a race of its own for everybody.
fn with_race(club: &Setting, height: Length, between: Length) -> Setting {
    let specs = vec![Spec {
        ruleset: "OWN".into(),
        event_code: "60H".into(),
        environment: Environment::Outdoor,
        sex: None,
        age_group: "ALL".into(),
        race_distance: Length::from_mm(22_000 + 5 * between.mm()),
        barriers: 6,
        height,
        to_first: Length::from_mm(12_000),
        between,
        run_in: Length::from_mm(10_000),
        sources: "".into(),
        confidence: Confidence::Club,
        note: "".into(),
        valid_from: None,
        valid_to: None,
    }];
    let age_groups = vec![AgeGroup {
        ruleset: "OWN".into(),
        code: "ALL".into(),
        sex: None,
        rule: AgeRule::DayOfCompetition,
        min_age: None,
        max_age: None,
        sources: "".into(),
        confidence: Confidence::Club,
        note: "".into(),
        valid_from: None,
        valid_to: None,
    }];
    Setting { ruleset: "OWN".to_owned(), specs, age_groups, ..club.clone() }
}

/// A race drawn by lot within an aim.
fn race(club: &Setting, athlete: &Athlete, current: Option<Configuration>, aim: Aim) -> Setting {
    let mut dice = athlete.dice(DAYS, GOAL);
    let (height, spacing) = current.map_or((300, 6_000), |at| (at.height.mm(), at.spacing.mm()));
    let heights: Vec<u32> = [400, 500, 600, 685, 762, 840].into_iter().filter(|one| *one >= height).collect();
    let height = heights[(dice.pick(aim.heights + 1) as usize).min(heights.len() - 1)];
    let spacing = spacing / STEP_MM * STEP_MM + dice.pick(aim.steps + 1) * STEP_MM;
    with_race(club, Length::from_mm(height), Length::from_mm(spacing))
}

/// The forecast after eight weeks, and half a year of what the advice says.
fn of(mut member: Member, aim: Aim) -> Option<Told> {
    let usual = setting();
    let sessions: Vec<i32> = member.athlete.calendar.sessions().collect();
    for day in sessions.iter().copied().take_while(|day| *day < DAYS) {
        member.wake(day);
        if let Some(at) = member.advice(&usual, day).decision.region.advised() {
            member.run(day, at);
        }
    }
    member.wake(DAYS);
    let current = member.advice(&usual, DAYS).decision.current;
    let setting = race(&usual, &member.athlete, current, aim);
    let to = Day::from_days(FIRST_DAY + DAYS)?;
    let outlook = progress(&member.record, &setting, Period::new(to.add_days(-DAYS), to)?).ok()?.outlook;
    let mut told = Told { outlook, raced: None, stepped: None };
    let last = DAYS + 7 * HORIZON_WEEKS.cast_signed();
    for day in std::iter::once(DAYS).chain(sessions.into_iter().filter(|day| (DAYS + 1..=last).contains(day))) {
        member.wake(day);
        let decision = member.advice(&setting, day).decision;
        let up = [DecisionKind::StepUpSpacing, DecisionKind::StepUpHeight, DecisionKind::ChangeBarrierKind];
        if decision.kind == DecisionKind::RaceTest {
            told.stepped.get_or_insert(day - DAYS);
            told.raced = Some(day - DAYS);
            break;
        }
        if up.contains(&decision.kind) {
            told.stepped.get_or_insert(day - DAYS);
        }
        // Sessions are on the first and fourth day of a week, so there is one on the day of the forecast.
        if let Some(at) = decision.region.advised() {
            member.run(day, at);
        }
    }
    Some(told)
}

/// What forecasts add up to, of athletes behind no gate.
#[derive(Clone, Copy, Debug)]
pub struct ForecastFigures {
    pub athletes: usize,
    /// Those who are told a range; the others are told that it will take longer, and the share of these for whom it did.
    pub ranges: usize,
    pub later: f64,
    /// Share of the 90 % ranges without an end.
    pub open: f64,
    /// Of those told a range, the share with a race test in time, and what they were told of it.
    pub came: f64,
    pub told: f64,
    /// Shares of 90 % and 50 % ranges that cover the day of those for whom it came.
    pub in_90: f64,
    pub in_50: f64,
    /// Median of |p50 - truth| where both are days, in days.
    pub error_days: i32,
    /// Share of athletes with a race test in time, and what the forecasts expect.
    pub raced: f64,
    pub expected: f64,
    /// The same as `in_90` of the next step.
    pub step_in_90: f64,
}

/// Days from the forecast.
fn from_then(day: Option<Day>) -> Option<i32> {
    Some(day?.days() - FIRST_DAY - DAYS)
}

fn covers(dates: &Dates, low: usize, high: usize, came: i32) -> bool {
    let (low, high) = (from_then(dates[low]), from_then(dates[high]));
    low.is_some_and(|low| low <= came) && high.is_none_or(|high| came <= high)
}

/// How well forecasts tell what came true.
pub fn forecast_figures(told: &[Told]) -> ForecastFigures {
    let ahead: Vec<(&Told, &Forecast)> = told
        .iter()
        .filter_map(|one| Some((one, one.outlook.target.as_ref()?)))
        .filter(|(_, forecast)| forecast.status != Status::NotBeforeGate)
        .collect();
    let (ranged, later): (Vec<_>, Vec<_>) = ahead.iter().partition(|(_, of)| of.days[0].is_some());
    let share = |of: &[(&Told, &Forecast)], test: &dyn Fn(&Told, &Forecast) -> bool| {
        of.iter().filter(|(one, of)| test(one, of)).count() as f64 / of.len().max(1) as f64
    };
    let mut errors: Vec<i32> =
        ahead.iter().filter_map(|(one, of)| Some((from_then(of.days[2])? - one.raced?).abs())).collect();
    errors.sort_unstable();
    let steps: Vec<bool> = ahead
        .iter()
        .filter_map(|(one, _)| Some(covers(&one.outlook.steps.first()?.days, 0, 4, one.stepped?)))
        .collect();
    let came: Vec<_> = ranged.iter().copied().filter(|(one, _)| one.raced.is_some()).collect();
    let in_range = |low: usize, high: usize| {
        share(&came, &|one, of| one.raced.is_some_and(|day| covers(&of.days, low, high, day)))
    };
    let mean = |of: &[(&Told, &Forecast)]| {
        of.iter().map(|(_, of)| of.probability_within).sum::<f64>() / of.len().max(1) as f64
    };
    ForecastFigures {
        athletes: ahead.len(),
        ranges: ranged.len(),
        later: share(&later, &|one, _| one.raced.is_none()),
        open: share(&ranged, &|_, of| of.days[4].is_none()),
        came: share(&ranged, &|one, _| one.raced.is_some()),
        told: mean(&ranged),
        in_90: in_range(0, 4),
        in_50: in_range(1, 3),
        error_days: errors[errors.len() / 2],
        raced: share(&ahead, &|one, _| one.raced.is_some()),
        expected: mean(&ahead),
        step_in_90: steps.iter().filter(|covered| **covered).count() as f64 / steps.len() as f64,
    }
}

/// The limit as it is estimated on the days of a season's sessions in recommended lanes, metres (m).
pub fn limits(athlete: &Athlete) -> Vec<(i32, f64)> {
    let mut coach = Recommended::new(athlete, 0.8, &Settings::default());
    let session = |day: i32| {
        let lane = coach.lane(day);
        coach.saw(&runs(athlete, day, lane.height, lane.spacing));
        (day, coach.posterior().limit_m().mean)
    };
    athlete.calendar.season().map(session).collect()
}
