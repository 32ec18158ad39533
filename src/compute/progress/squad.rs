//! How a squad came along: its athletes counted, ordered and summed.
//!
//! A squad is the list of its members' progress over one period: nothing is modelled for it. Athletes are named by
//! their place in the list, so that whoever shows it puts names there that the reader may see.
//!
//! | figure | of whom |
//! | --- | --- |
//! | stages, decisions | everybody, in the order of the progression |
//! | spacing over the target's | those with a current configuration and a target |
//! | change of the limit | those who trained in the period |
//! | load per athlete and week | the sum over all, by athletes times weeks, also of those who were absent |
//! | due, without data, ready, plateaus | those it is true of |
//!
//! Worked: two athletes over four weeks with 24 runs, 96 intervals, 120 barriers and 6 hits in all: eight
//! athlete-weeks, 3 runs, 12 intervals, 15 barriers and 0.75 hits each.

use std::cmp::Reverse;

use super::{Load, Period, Plateau, Progress};
use crate::advice::RATING_DAYS;
use crate::decision::{Criterion, Decision, DecisionKind, Stage};
use crate::robust::median;

/// One athlete of a squad.
///
/// Progress of all members must be of the same period.
#[derive(Clone, Debug)]
pub struct Member<'a> {
    /// How they came along.
    pub progress: Progress<'a>,
    /// The day of the latest rating of each criterion (days since 1970-01-01), in the order of [`Criterion::ALL`].
    pub last_rated: [Option<i32>; Criterion::ALL.len()],
}

/// Five figures of a distribution.
///
/// Ascending. With one value all five are that.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantiles {
    /// Smallest.
    pub min: f64,
    /// 25 % quantile.
    pub p25: f64,
    /// Median.
    pub p50: f64,
    /// 75 % quantile.
    pub p75: f64,
    /// Largest.
    pub max: f64,
}

/// A criterion whose rating is due.
///
/// Never rated, or rated more than 84 days ago.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Due {
    /// The criterion.
    pub criterion: Criterion,
    /// The first day on which the latest rating no longer counted, days since 1970-01-01; none if it was never rated.
    pub since: Option<i32>,
}

/// Load for each athlete and week.
///
/// Denominators count everybody on the list, so that a figure falls when athletes stay away.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AthleteWeeks {
    /// Athletes times weeks.
    pub athlete_weeks: f64,
    /// Runs per athlete and week.
    pub runs: f64,
    /// Intervals per athlete and week.
    pub intervals: f64,
    /// Barriers run over per athlete and week.
    pub barriers: f64,
    /// Barriers hit per athlete and week.
    pub hits: f64,
}

/// How a squad came along. Athletes are named by their place in the given list.
///
/// Places count from nought. Every list is ascending unless it says otherwise.
#[derive(Clone, Debug, PartialEq)]
pub struct Squad {
    /// Athletes at each stage, first stage to last.
    ///
    /// One entry for each stage, also an empty one.
    pub stages: Vec<(Stage, Vec<usize>)>,
    /// Athletes with each decision.
    ///
    /// One entry for each kind, also an empty one.
    pub decisions: Vec<(DecisionKind, Vec<usize>)>,
    /// Spacing over that of the target, among the athletes who have both.
    pub spacing_of_target: Option<Quantiles>,
    /// Change of the limit over the period, metres (m), among the athletes who trained in it.
    pub limit_change_m: Option<Quantiles>,
    /// Everything run in the period.
    pub load: Load,
    /// The same for each athlete and week; none for a squad without athletes.
    pub athlete_weeks: Option<AthleteWeeks>,
    /// Athletes with ratings that are due.
    pub due: Vec<(usize, Vec<Due>)>,
    /// Athletes without a run up to the last day.
    pub without_data: Vec<usize>,
    /// Athletes who are ready for more: race tests first, then the surest step up.
    ///
    /// The board's list of the day is made by the same function.
    pub ready: Vec<usize>,
    /// Athletes who stand still, longest first.
    pub plateaus: Vec<usize>,
}

/// Sums a squad up over the period of its members' progress.
///
/// `arms_count` says whether ratings of the arms are asked for.
///
/// Linear in the members but for sorting. Anything about one athlete stands in their progress.
///
/// ```
/// use lanewright_compute::day::Day;
/// use lanewright_compute::progress::{Period, squad};
///
/// let day = Day::from_ymd(2026, 11, 25).unwrap();
/// let empty = squad(&[], Period::new(day, day).unwrap(), false);
/// assert!(empty.athlete_weeks.is_none() && empty.ready.is_empty());
/// ```
pub fn squad(members: &[Member<'_>], period: Period, arms_count: bool) -> Squad {
    let places = |test: &dyn Fn(&Progress<'_>) -> bool| -> Vec<usize> {
        members.iter().enumerate().filter(|(_, one)| test(&one.progress)).map(|(at, _)| at).collect()
    };
    let load: Load = members.iter().map(|one| one.progress.load).sum();
    let due = members.iter().map(|one| due_ratings(&one.last_rated, period.to().days(), arms_count)).enumerate();
    let of_target: Vec<f64> = members.iter().filter_map(|one| one.progress.spacing_of_target()).collect();
    let changes: Vec<f64> = members.iter().filter_map(|one| one.progress.limit_change_m()).collect();
    Squad {
        stages: Stage::ALL.map(|stage| (stage, places(&|one| one.advice.decision.stage == stage))).into(),
        decisions: DecisionKind::ALL.map(|kind| (kind, places(&|one| one.advice.decision.kind == kind))).into(),
        spacing_of_target: quantiles(of_target),
        limit_change_m: quantiles(changes),
        load,
        athlete_weeks: athlete_weeks(load, members.len(), period),
        due: due.filter(|(_, due)| !due.is_empty()).collect(),
        without_data: places(&|one| one.advice.estimate.evidence.runs == 0),
        ready: ready(members.iter().map(|one| &one.progress.advice.decision)),
        plateaus: plateaus(members),
    }
}

/// None without athletes; the period is never empty.
fn athlete_weeks(load: Load, athletes: usize, period: Period) -> Option<AthleteWeeks> {
    let athlete_weeks = f64::from(u32::try_from(athletes).ok().filter(|athletes| *athletes > 0)?) * period.weeks();
    let each = |count: u32| f64::from(count) / athlete_weeks;
    Some(AthleteWeeks {
        athlete_weeks,
        runs: each(load.runs),
        intervals: each(load.intervals),
        barriers: each(load.barriers),
        hits: each(load.hits),
    })
}

/// The criteria that were never rated or whose latest rating no longer counts on a day.
///
/// A rating of day d counts to d + 84 and is due from d + 85 on. In the order in which criteria are taught.
pub(crate) fn due_ratings(last_rated: &[Option<i32>], on: i32, arms_count: bool) -> Vec<Due> {
    Criterion::ALL
        .into_iter()
        .zip(last_rated)
        .filter(|(criterion, _)| arms_count || *criterion != Criterion::Arms)
        .map(|(criterion, last)| Due { criterion, since: last.map(|day| day + RATING_DAYS + 1) })
        .filter(|due| due.since.is_none_or(|since| since <= on))
        .collect()
}

/// Who is ready for more, by their places: race tests first, then the surest step up.
///
/// Surest by the mean P(hold) after the step; ties go by place. Whoever consolidates, steps in or rests is not in it.
pub(crate) fn ready<'a>(decisions: impl Iterator<Item = &'a Decision>) -> Vec<usize> {
    let mut ready: Vec<(bool, f64, usize)> = decisions
        .enumerate()
        .filter_map(|(at, decision)| {
            let races = decision.kind == DecisionKind::RaceTest;
            let steps = matches!(
                decision.kind,
                DecisionKind::StepUpSpacing | DecisionKind::StepUpHeight | DecisionKind::ChangeBarrierKind
            );
            (races || steps).then(|| (races, decision.hold_proposed.map_or(0.0, |hold| hold.mean), at))
        })
        .collect();
    ready.sort_by(|a, b| b.0.cmp(&a.0).then(b.1.total_cmp(&a.1)).then(a.2.cmp(&b.2)));
    ready.into_iter().map(|(.., at)| at).collect()
}

/// Ties by place.
fn plateaus(members: &[Member<'_>]) -> Vec<usize> {
    let mut standing: Vec<(i32, usize)> = members
        .iter()
        .enumerate()
        .filter_map(|(at, one)| match one.progress.plateau {
            Plateau::Standing { weeks, .. } => Some((weeks, at)),
            _ => None,
        })
        .collect();
    standing.sort_by_key(|(weeks, at)| (Reverse(*weeks), *at));
    standing.into_iter().map(|(_, at)| at).collect()
}

/// Smallest, quartiles and largest of some values: quartiles are the medians of the halves, the middle value in both.
///
/// None without values. Of 1, 2, 3, 4, 5 the quartiles are 2 and 4, of 1, 2, 3, 4 they are 1.5 and 3.5.
///
/// # Source
/// Hinges: J. W. Tukey, *Exploratory Data Analysis*, 1977.
fn quantiles(mut values: Vec<f64>) -> Option<Quantiles> {
    let p50 = median(&mut values)?;
    let half = values.len().div_ceil(2);
    let upper = values.len() - half;
    Some(Quantiles {
        min: *values.first()?,
        p25: median(&mut values[..half].to_vec())?,
        p50,
        p75: median(&mut values[upper..].to_vec())?,
        max: *values.last()?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quartiles_are_the_medians_of_the_halves() {
        let found = quantiles(vec![5.0, 1.0, 4.0, 2.0, 3.0]).unwrap();
        assert_eq!(found, Quantiles { min: 1.0, p25: 2.0, p50: 3.0, p75: 4.0, max: 5.0 });
        let found = quantiles(vec![4.0, 1.0, 2.0, 3.0]).unwrap();
        assert_eq!(found, Quantiles { min: 1.0, p25: 1.5, p50: 2.5, p75: 3.5, max: 4.0 });
        assert_eq!(quantiles(Vec::new()), None);
    }

    #[test]
    fn a_rating_is_due_once_it_no_longer_counts() {
        let mut last = [Some(20_000); 8];
        last[1] = None;
        let names =
            |on, arms| due_ratings(&last, on, arms).iter().map(|one| one.criterion.as_str()).collect::<Vec<_>>();
        assert_eq!(names(20_084, true), ["trail_leg"]);
        assert_eq!(names(20_085, false).len(), 7);
        assert_eq!(due_ratings(&last, 20_085, true)[7], Due { criterion: Criterion::Arms, since: Some(20_085) });
    }
}
