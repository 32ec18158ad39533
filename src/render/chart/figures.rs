//! An athlete's progress as three small pictures: spacing, height and held share, each with its own axis.

use std::fmt::Write;

use super::athlete::{dashed, description, last_day, range, sign};
use super::axis::{Scale, months};
use super::plot::{ACROSS, APART, Plot};
use super::{AthleteChart, LimitPoint};
use crate::measure::{Axis, Measure};
use crate::paper::{kind_words, line};
use crate::sheet::{Figure, Text};
use lanewright_compute::day::Day;
use lanewright_compute::units::BarrierKind;

fn across(chart: &AthleteChart) -> Scale {
    Scale::new((f64::from(chart.period.0.days()), f64::from(last_day(chart).days())), ACROSS)
}

/// The months below a plot: few enough that no two meet.
fn month_words(chart: &AthleteChart, across: Scale) -> Vec<(f64, String)> {
    let word = |day: Day| {
        let (year, month, _) = day.ymd();
        (across.day(day), format!("{year}-{month:02}"))
    };
    // A word at the very edge would leave the picture.
    let inside = |(x, _): &(f64, String)| (ACROSS.0 + 1.0..=ACROSS.1 - 6.0).contains(x);
    let found: Vec<(f64, String)> =
        months(chart.period.0, last_day(chart), 6).into_iter().map(word).filter(inside).collect();
    if found.is_empty() { vec![(f64::midpoint(ACROSS.0, ACROSS.1), chart.period.1.to_string())] } else { found }
}

/// Heights of the plots, millimetres (mm).
const SPACINGS: f64 = 62.0;
const LOW: f64 = 30.0;

/// What an entry of a legend explains.
enum Sign {
    Run(BarrierKind),
    Dot,
    Limit,
    Range,
    Target,
    Forecast,
}

impl Plot {
    /// A picture with its legend and a plot of a height (mm).
    fn of(legend: &[(String, Sign)], height: f64) -> Self {
        let mut plot = Self::new(legend.iter().map(|(words, _)| words.as_str()), height);
        for (words, what) in legend {
            plot.entry(words, |out, x, y| match what {
                Sign::Run(kind) => sign(out, *kind, x + 5.0, y),
                Sign::Dot => {
                    let _ = write!(out, r#"<circle cx="{:.2}" cy="{y:.2}" r="0.9"/>"#, x + 5.0);
                }
                Sign::Limit => line(out, x, y, x + 9.0, y, 0.7),
                Sign::Range => dashed(out, (x, y), (x + 9.0, y), "1 1", 0.4),
                Sign::Target => dashed(out, (x, y), (x + 9.0, y), "5 1.5", 0.6),
                Sign::Forecast => {
                    line(out, x, y, x + 9.0, y, 0.3);
                    line(out, x + 2.5, y, x + 6.5, y, 1.6);
                }
            });
        }
        plot
    }
}

/// An axis of lengths.
fn lengths(plot: &mut Plot, up: Scale, measure: Measure, axis: Axis) {
    plot.values(up, &up.figures(measure.axis_steps(axis), APART), |metres| measure.on_axis(axis, metres));
}

/// Spacings run, the limit with its range over the height of the target, the target and when it is likely to be reached.
///
/// None without a run and without an estimate.
pub fn spacings(chart: &AthleteChart, measure: Measure) -> Option<Figure> {
    if chart.limits.is_empty() && chart.runs.is_empty() {
        return None;
    }
    let height = measure.length(chart.limit_height.metres());
    let run_over = BarrierKind::ALL.into_iter().filter(|kind| chart.runs.iter().any(|run| run.barrier_kind == *kind));
    let mut legend: Vec<(String, Sign)> =
        run_over.map(|kind| (format!("run over {}s", kind_words(kind)), Sign::Run(kind))).collect();
    legend.push((format!("limit over {height}"), Sign::Limit));
    legend.push(("its 90 % range".to_owned(), Sign::Range));
    if let Some(target) = &chart.target {
        legend.push((format!("target {}", measure.length(target.spacing.metres())), Sign::Target));
        if target.reached.is_some() {
            legend.push(("race test advised: 90 %, thick 50 %".to_owned(), Sign::Forecast));
        }
    }
    let mut plot = Plot::of(&legend, SPACINGS);
    let across = across(chart);
    let up = Scale::new(range(chart), plot.up());
    lengths(&mut plot, up, measure, Axis::Spacings);
    plot.places(month_words(chart, across));
    limits(&mut plot.out, &chart.limits, across, up);
    if let Some(target) = &chart.target {
        let y = up.at(target.spacing.metres());
        dashed(&mut plot.out, (ACROSS.0, y), (ACROSS.1, y), "5 1.5", 0.6);
        if let Some(days) = target.reached.filter(|days| days[0].is_some()) {
            let place = |day: Option<Day>| day.map_or(ACROSS.1, |day| across.day(day.max(chart.period.1)));
            line(&mut plot.out, place(days[0]), y + 3.0, place(days[4]), y + 3.0, 0.3);
            line(&mut plot.out, place(days[1]), y + 3.0, place(days[3]), y + 3.0, 1.6);
        }
    }
    for run in &chart.runs {
        sign(&mut plot.out, run.barrier_kind, across.day(run.on), up.at(run.spacing.metres()));
    }
    let caption = format!(
        "Spacing in {}. The limit is the spacing at which an interval over barriers {height} high is as likely held as over-reached; \
         earlier days are told with what height costs the athlete by the last day.",
        measure.axis_unit(Axis::Spacings)
    );
    Some(Figure { svg: plot.finish(), alt: description(chart, measure), caption: Text::own(caption) })
}

/// The limit and its range; one estimate alone is a point with a bar.
fn limits(out: &mut String, limits: &[LimitPoint], across: Scale, up: Scale) {
    if let [one] = limits {
        let x = across.day(one.on);
        dashed(out, (x, up.at(one.p05_m)), (x, up.at(one.p95_m)), "1 1", 0.6);
        return line(out, x - 2.0, up.at(one.mean_m), x + 2.0, up.at(one.mean_m), 0.7);
    }
    let path = |of: fn(&LimitPoint) -> f64| {
        let points: Vec<String> =
            limits.iter().map(|one| format!("{:.2} {:.2}", across.day(one.on), up.at(of(one)))).collect();
        points.join("L")
    };
    for (path, style) in [
        (path(|one| one.mean_m), r#"stroke-width="0.7""#),
        (path(|one| one.p05_m), r#"stroke-width="0.4" stroke-dasharray="1 1""#),
        (path(|one| one.p95_m), r#"stroke-width="0.4" stroke-dasharray="1 1""#),
    ] {
        if !path.is_empty() {
            let _ = write!(out, r#"<path d="M{path}" fill="none" stroke="black" {style}/>"#);
        }
    }
}

/// The heights run on an axis of their own, with that of the target. None without a run.
pub fn heights(chart: &AthleteChart, measure: Measure) -> Option<Figure> {
    let (first, last) = (chart.runs.first()?, chart.runs.last()?);
    let target = chart.target.as_ref().map(|target| target.height.metres());
    let highest = chart.runs.iter().map(|run| run.height.metres()).chain(target).fold(0.3, f64::max);
    let wanted = target.map(|height| (format!("height of the target, {}", measure.length(height)), Sign::Target));
    let legend: Vec<(String, Sign)> =
        [("height run over most".to_owned(), Sign::Dot)].into_iter().chain(wanted).collect();
    let mut plot = Plot::of(&legend, LOW);
    let across = across(chart);
    let up = Scale::new((0.0, highest + 0.1), plot.up());
    lengths(&mut plot, up, measure, Axis::Heights);
    plot.places(month_words(chart, across));
    if let Some(height) = target {
        dashed(&mut plot.out, (ACROSS.0, up.at(height)), (ACROSS.1, up.at(height)), "5 1.5", 0.6);
    }
    for run in &chart.runs {
        let (x, y) = (across.day(run.on), up.at(run.height.metres()));
        let _ = write!(plot.out, r#"<circle cx="{x:.2}" cy="{y:.2}" r="0.9"/>"#);
    }
    let told = |height: f64| measure.length(height);
    let wanted = target.map(|height| format!(" The target is {} high.", told(height))).unwrap_or_default();
    let alt = format!(
        "Heights run over most on {} days: {} on {}, {} on {}.{wanted}",
        chart.runs.len(),
        told(first.height.metres()),
        first.on,
        told(last.height.metres()),
        last.on
    );
    let caption = format!("Height in {}.", measure.axis_unit(Axis::Heights));
    Some(Figure { svg: plot.finish(), alt, caption: Text::own(caption) })
}

/// The share of intervals held on each day. None without an interval.
pub fn held_share(chart: &AthleteChart) -> Option<Figure> {
    let days: Vec<(Day, f64)> = chart
        .runs
        .iter()
        .filter(|run| run.intervals > 0)
        .map(|run| (run.on, f64::from(run.held) / f64::from(run.intervals)))
        .collect();
    let ((first, from), (last, to)) = (*days.first()?, *days.last()?);
    let mut plot = Plot::of(&[], LOW);
    let across = across(chart);
    let up = Scale::new((0.0, 1.0), plot.up());
    plot.values(up, &[0.0, 0.25, 0.5, 0.75, 1.0], |value| format!("{:.0} %", value * 100.0));
    plot.places(month_words(chart, across));
    for (on, share) in &days {
        let x = across.day(*on);
        line(&mut plot.out, x, up.at(0.0), x, up.at(*share), 0.3);
        let _ = write!(plot.out, r#"<circle cx="{x:.2}" cy="{:.2}" r="0.9"/>"#, up.at(*share));
    }
    let percent = |share: f64| format!("{:.0} %", share * 100.0);
    let alt = format!(
        "Share of intervals held on {} days: {} on {first}, {} on {last}.",
        days.len(),
        percent(from),
        percent(to)
    );
    Some(Figure {
        svg: plot.finish(),
        alt,
        caption: Text::own("Share of the day's intervals in which the rhythm held."),
    })
}
