//! Charts and tables of progress.

use chrono::NaiveDate;

use super::ahead::ReachedBy;
use super::athlete::{Subject, by_day};
use super::figures::CountView;
use super::squad::View as SquadView;
use crate::compute::day::Day;
use crate::compute::progress::{Period, Progress, Status, StepAhead};
use crate::compute::units::Length;
use crate::paper::words;
use crate::render::chart::{AthleteChart, LimitPoint, RunPoint, SquadChart, SquadRow, TargetLine};
use crate::render::table::{csv, defused};
use crate::resources::advice::NotComputedView;

/// What limits are told over where there is no target.
const WICKET: Length = Length::from_mm(300);

/// The cautions as one paragraph, which saves the paper's lines.
fn paragraph<'a>(sentences: impl Iterator<Item = &'a str>) -> String {
    sentences.fold("!".to_owned(), |words, sentence| format!("{words} {sentence}"))
}

/// The chart of an athlete.
pub fn athlete_chart(subject: &Subject, progress: &Progress<'_>) -> AthleteChart {
    let day = |days: i32| Day::from_days(days);
    // The limits of the days are told over a wicket. Over the target's barriers they lie lower, by what the height costs as it is
    // estimated on the last day: the last limit is exact, earlier ones are moved by as much.
    let limit_height = progress.advice.target.as_ref().map_or(WICKET, |one| one.spec.height);
    let (over_wicket, over_target) =
        (progress.advice.estimate.limit_m, progress.advice.estimate.limit_at(limit_height));
    let limits = progress.believed.iter().filter_map(|one| {
        let limit = one.limit_m;
        Some(LimitPoint {
            on: day(one.day)?,
            mean_m: limit.mean + over_target.mean - over_wicket.mean,
            p05_m: limit.p05 + over_target.p05 - over_wicket.p05,
            p95_m: limit.p95 + over_target.p95 - over_wicket.p95,
        })
    });
    let runs = progress.days.iter().filter_map(|one| {
        let main = one.main;
        Some(RunPoint {
            on: day(one.day)?,
            barrier_kind: main.barrier_kind,
            height: main.height,
            spacing: main.spacing,
            held: one.load.held,
            intervals: one.load.intervals,
        })
    });
    let target = progress.advice.target.as_ref().map(|one| TargetLine {
        label: format!("{} {}", one.spec.event_code, one.spec.age_group),
        spacing: one.spec.between,
        height: one.spec.height,
        reached: progress
            .outlook
            .target
            .as_ref()
            .filter(|forecast| forecast.status != Status::NotBeforeGate)
            .map(|forecast| forecast.days),
    });
    let outlook = &progress.outlook;
    let held_up = outlook.held_up.iter().map(|one| format!("{} {}", one.text(), one.remedy()));
    let steps = outlook.steps.iter().map(StepAhead::text);
    let notes = held_up.chain(steps).chain(outlook.notes.iter().map(|note| note.text()));
    let cautions = paragraph(progress.advice.decision.cautions.iter().map(|caution| caution.text()));
    AthleteChart {
        name: subject.name.clone(),
        period: (progress.period.from(), progress.period.to()),
        limit_height,
        limits: limits.collect(),
        runs: runs.collect(),
        target,
        notes: notes.chain([cautions]).collect(),
    }
}

/// The chart of a squad.
pub fn squad_chart(view: &SquadView, period: Period) -> SquadChart {
    let counts = |of: &[CountView]| of.iter().map(|one| (words(one.what), one.athletes)).collect();
    let row = |one: &super::squad::RowView| SquadRow {
        name: one.display_name.clone(),
        of_target: one.spacing_of_target,
        decision: words(one.decision),
    };
    let left_out = view.not_computed.iter().map(|one| format!("{}: {}", one.display_name, one.unusable.words()));
    SquadChart {
        name: view.name.clone(),
        period: (period.from(), period.to()),
        stages: counts(&view.stages),
        decisions: counts(&view.decisions),
        rows: view.athletes.iter().map(row).collect(),
        notes: left_out.chain([paragraph(view.cautions.iter().map(|one| one.text.as_str()))]).collect(),
    }
}

fn number(value: Option<f64>) -> String {
    value.map(|value| format!("{value:.3}")).unwrap_or_default()
}

/// The table of an athlete: a row for each point.
pub fn athlete_table(subject: &Subject, progress: &Progress<'_>) -> Result<Vec<u8>, csv::Error> {
    let header = [
        "display_name",
        "on",
        "limit_mean_m",
        "limit_p05_m",
        "limit_p95_m",
        "barrier_kind",
        "height_m",
        "spacing_m",
        "widest_spacing_m",
        "runs",
        "intervals",
        "held",
        "barriers",
        "hits",
        "falls",
    ];
    let name = defused(&subject.name);
    let rows = by_day(progress).into_iter().filter_map(|(day, (trained, believed))| {
        let limit = believed.map(|one| one.limit_m);
        let mut row = vec![name.clone(), Day::from_days(day)?.to_string()];
        row.extend([number(limit.map(|l| l.mean)), number(limit.map(|l| l.p05)), number(limit.map(|l| l.p95))]);
        let main = trained.map(|one| one.main);
        row.push(main.map(|one| one.barrier_kind.as_str().to_owned()).unwrap_or_default());
        row.push(number(main.map(|one| one.height.metres())));
        row.push(number(main.map(|one| one.spacing.metres())));
        row.push(number(trained.map(|one| one.widest.metres())));
        let load = trained.map(|one| one.load).unwrap_or_default();
        row.extend([load.runs, load.intervals, load.held, load.barriers, load.hits, load.falls].map(|n| n.to_string()));
        Some(row)
    });
    csv(&header, &rows.collect::<Vec<_>>())
}

/// The table of a squad: a row for each athlete; of those whose progress is not computed, the code of why stands in `held_up_by`.
pub fn squad_table(view: &SquadView) -> Result<Vec<u8>, csv::Error> {
    let header = [
        "display_name",
        "athlete_id",
        "stage",
        "decision",
        "barrier_kind",
        "height_m",
        "spacing_m",
        "spacing_of_target",
        "limit_m",
        "limit_change_m",
        "forecast",
        "race_test_p05",
        "race_test_p50",
        "race_test_p95",
        "held_up_by",
        "probability_within_26_weeks",
        "runs",
        "intervals",
        "held",
        "barriers",
        "hits",
        "falls",
        "sessions_present",
    ];
    let rows = view.athletes.iter().map(|one| {
        let (current, load) = (one.current.as_ref(), &one.load);
        let counts = [load.runs, load.intervals, load.held, load.barriers, load.hits, load.falls];
        let mut row = vec![defused(&one.display_name), one.athlete_id.to_string()];
        row.extend([one.stage.to_owned(), one.decision.to_owned()]);
        row.push(current.map(|now| now.barrier_kind.to_owned()).unwrap_or_default());
        row.push(number(current.map(|now| now.height_m)));
        row.push(number(current.map(|now| now.spacing_m)));
        row.push(number(one.spacing_of_target));
        row.push(number(Some(one.comfortable_limit_m)));
        row.push(number(one.limit_change_m));
        row.push(one.forecast.map(|forecast| forecast.status.to_owned()).unwrap_or_default());
        let dates = one.forecast.map(|forecast| forecast.reached_by);
        let day = |of: fn(&ReachedBy) -> Option<NaiveDate>| {
            dates.as_ref().and_then(of).map(|day| day.to_string()).unwrap_or_default()
        };
        row.extend([day(|dates| dates.p05), day(|dates| dates.p50), day(|dates| dates.p95)]);
        row.push(one.held_up_by.iter().map(|one| one.code).collect::<Vec<_>>().join("+"));
        row.push(number(one.forecast.map(|forecast| forecast.probability_within_26_weeks)));
        row.extend(counts.map(|n| n.to_string()));
        row.push(one.sessions_present.to_string());
        row
    });
    let left_out = view.not_computed.iter().map(|one| left_out(one, &header));
    csv(&header, &rows.chain(left_out).collect::<Vec<_>>())
}

fn left_out(one: &NotComputedView, header: &[&str]) -> Vec<String> {
    let cell = |column: &&str| match *column {
        "display_name" => defused(&one.display_name),
        "athlete_id" => one.athlete_id.to_string(),
        "held_up_by" => one.unusable.code.as_str().to_owned(),
        _ => String::new(),
    };
    header.iter().map(cell).collect()
}
