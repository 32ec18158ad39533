//! One athlete: limit with its range, spacing run, target, forecast, and the heights below.

use std::fmt::Write;

use super::axis::{Scale, months};
use super::{AthleteChart, DATES, LINE, RunPoint, TEXT, TargetLine, below, open, titled, written};
use crate::measure::{Axis, Measure};
use crate::paper::{fitted, kind_words, line, text, wrap};
use lanewright_compute::day::Day;
use lanewright_compute::units::{BarrierKind, Length};

const RIGHT: f64 = 287.0;
const LEFT: f64 = 22.0;
/// Top and bottom of the picture of spacings.
const SPACINGS: (f64, f64) = (30.0, 138.0);
/// Top and bottom of the picture of heights.
const HEIGHTS: (f64, f64) = (152.0, 170.0);
/// Height of the page.
const PAGE: f64 = 210.0;
/// Least distance of two figures of the axis of spacings (design choice).
const APART: f64 = 10.0;

/// Draws the chart as one SVG document of 297 x 210 mm in the units of the club; higher where all the notes need it.
///
/// ```
/// use lanewright_compute::day::Day;
/// use lanewright_compute::units::Length;
/// use lanewright_render::chart::{AthleteChart, athlete};
/// use lanewright_render::measure::Measure;
///
/// let day = Day::from_ymd(2026, 11, 25).unwrap();
/// let chart = AthleteChart {
///     name: "Mira <Osei>".into(),
///     period: (day.add_days(-84), day),
///     limit_height: Length::from_mm(762),
///     limits: Vec::new(),
///     runs: Vec::new(),
///     target: None,
///     notes: Vec::new(),
/// };
/// assert!(athlete(&chart, Measure::Metric).contains("Mira &lt;Osei&gt;"));
/// ```
pub fn athlete(chart: &AthleteChart, measure: Measure) -> String {
    let (from, to) = chart.period;
    let title = format!("Progress \u{2013} {}", chart.name);
    let notes: Vec<String> = chart.notes.iter().flat_map(|note| wrap(&measure.told(note), 165)).collect();
    let mut out = open((297.0, below(HEIGHTS.1 + 6.0, notes.len(), PAGE)), &title, &description(chart, measure));
    titled(&mut out, 10.0, &title, RIGHT - DATES - 10.0);
    text(&mut out, RIGHT, 13.0, 4.5, false, "end", &format!("{from} to {to}"));
    legend(&mut out, chart, measure);
    let end = last_day(chart);
    let across = Scale::new((f64::from(from.days()), f64::from(end.days())), (LEFT, RIGHT));
    let up = Scale::new(range(chart), (SPACINGS.1, SPACINGS.0));
    frame(&mut out, chart, (across, up), end, measure);
    limits(&mut out, chart, across, up);
    if let Some(target) = &chart.target {
        draw_target(&mut out, target, (across, up), to, measure);
    }
    for run in &chart.runs {
        sign(&mut out, run.barrier_kind, across.day(run.on), up.at(run.spacing.metres()));
    }
    heights(&mut out, &chart.runs, across, measure);
    written(&mut out, 10.0, HEIGHTS.1 + 6.0, &notes);
    out.push_str("</svg>\n");
    out
}

/// The picture in words.
pub(super) fn description(chart: &AthleteChart, measure: Measure) -> String {
    let (from, to) = chart.period;
    let mut words = format!("{} training days from {from} to {to}.", chart.runs.len());
    // Writing to a String cannot fail.
    if let (Some(first), Some(last)) = (chart.limits.first(), chart.limits.last()) {
        let _ = write!(
            words,
            " Comfortable limit over barriers of {}: {} at first, {} at last, 90 % range {} to {}.",
            measure.length(chart.limit_height.metres()),
            measure.length(first.mean_m),
            measure.length(last.mean_m),
            measure.length(last.p05_m),
            measure.length(last.p95_m)
        );
    }
    if let Some(target) = &chart.target {
        let _ = write!(words, " {}.", told(target, measure));
        if let Some(days) = target.reached {
            let by = |day: Option<Day>| day.map_or("later than the look ahead".to_owned(), |day| day.to_string());
            let _ = write!(
                words,
                " Race test advised by {} with 5 %, {} with 50 %, {} with 95 %.",
                by(days[0]),
                by(days[2]),
                by(days[4])
            );
        }
    }
    words
}

/// A target in words.
fn told(target: &TargetLine, measure: Measure) -> String {
    let long = |length: Length| measure.length(length.metres());
    format!("Target {}, {} high: {}", target.label, long(target.height), long(target.spacing))
}

/// The last day drawn: the end of the period, or of the forecast.
pub(super) fn last_day(chart: &AthleteChart) -> Day {
    let reached = chart.target.as_ref().and_then(|target| target.reached);
    match reached {
        Some(days) if days.iter().any(Option::is_none) => chart.period.1.add_days(182),
        Some(days) => days.iter().flatten().copied().max().unwrap_or(chart.period.1).max(chart.period.1).add_days(7),
        None => chart.period.1,
    }
}

/// The spacings drawn, metres: all there are, with a margin.
pub(super) fn range(chart: &AthleteChart) -> (f64, f64) {
    let limits = chart.limits.iter().flat_map(|one| [one.p05_m, one.p95_m]);
    let runs = chart.runs.iter().map(|one| one.spacing.metres());
    let target = chart.target.iter().map(|one| one.spacing.metres());
    let all: Vec<f64> = limits.chain(runs).chain(target).collect();
    if all.is_empty() {
        return (4.0, 9.0);
    }
    let low = all.iter().copied().fold(f64::INFINITY, f64::min);
    let high = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    (low - 0.25, high + 0.25)
}

fn legend(out: &mut String, chart: &AthleteChart, measure: Measure) {
    let y = 22.0;
    let mut x = 10.0;
    for kind in BarrierKind::ALL {
        sign(out, kind, x + 1.5, y - 1.0);
        text(out, x + 4.0, y, TEXT, false, "start", kind_words(kind));
        x += 27.0;
    }
    line(out, x, y - 1.0, x + 9.0, y - 1.0, 0.7);
    let over = format!("limit over {}", measure.length(chart.limit_height.metres()));
    text(out, x + 10.5, y, TEXT, false, "start", &over);
    dashed(out, (x + 54.0, y - 1.0), (x + 63.0, y - 1.0), "1 1", 0.3);
    text(out, x + 64.5, y, TEXT, false, "start", "its 90 % range");
    dashed(out, (x + 92.0, y - 1.0), (x + 101.0, y - 1.0), "5 1.5", 0.5);
    text(out, x + 102.5, y, TEXT, false, "start", "target");
    line(out, x + 118.0, y - 1.0, x + 130.0, y - 1.0, 0.3);
    line(out, x + 121.0, y - 1.0, x + 127.0, y - 1.0, 1.6);
    text(out, x + 132.0, y, TEXT, false, "start", "reached: 90 %, 50 %");
}

fn frame(out: &mut String, chart: &AthleteChart, (across, up): (Scale, Scale), end: Day, measure: Measure) {
    for metres in up.figures(measure.axis_steps(Axis::Spacings), APART) {
        let y = up.at(metres);
        line(out, LEFT, y, RIGHT, y, 0.05);
        text(out, LEFT - 1.5, y + 1.0, TEXT, false, "end", &measure.on_axis(Axis::Spacings, metres));
    }
    let title = format!("Spacing, {}", measure.axis_unit(Axis::Spacings));
    text(out, 10.0, SPACINGS.0 - 2.0, TEXT, true, "start", &title);
    for day in months(chart.period.0, end, 14) {
        let x = across.day(day);
        line(out, x, SPACINGS.0, x, HEIGHTS.1, 0.05);
        let (year, month, _) = day.ymd();
        text(out, x, SPACINGS.1 + 4.5, TEXT, false, "middle", &format!("{year}-{month:02}"));
    }
    line(out, LEFT, SPACINGS.0, LEFT, SPACINGS.1, 0.4);
    line(out, LEFT, SPACINGS.1, RIGHT, SPACINGS.1, 0.4);
    let now = across.day(chart.period.1);
    line(out, now, SPACINGS.0, now, SPACINGS.1, 0.3);
    text(out, now - 0.8, SPACINGS.0 + 3.0, TEXT, false, "end", &chart.period.1.to_string());
}

fn limits(out: &mut String, chart: &AthleteChart, across: Scale, up: Scale) {
    let path = |pick: fn(&super::LimitPoint) -> f64| {
        let mut path = String::new();
        for (at, one) in chart.limits.iter().enumerate() {
            let step = if at == 0 { 'M' } else { 'L' };
            let _ = write!(path, "{step}{:.2} {:.2}", across.day(one.on), up.at(pick(one)));
        }
        path
    };
    let mean = path(|one| one.mean_m);
    let _ = write!(out, r#"<path d="{mean}" fill="none" stroke="black" stroke-width="0.7"/>"#);
    for edge in [path(|one| one.p05_m), path(|one| one.p95_m)] {
        let _ =
            write!(out, r#"<path d="{edge}" fill="none" stroke="black" stroke-width="0.3" stroke-dasharray="1 1"/>"#);
    }
}

fn draw_target(out: &mut String, target: &TargetLine, (across, up): (Scale, Scale), to: Day, measure: Measure) {
    let y = up.at(target.spacing.metres());
    dashed(out, (LEFT, y), (RIGHT, y), "5 1.5", 0.5);
    let (size, label) = fitted(&told(target, measure), RIGHT - LEFT - 2.0, TEXT, 2.4);
    for (lines, words) in (1_u8..).zip(label.iter().rev()) {
        text(out, LEFT + 2.0, y - 1.5 - LINE * f64::from(lines - 1), size, true, "start", words);
    }
    let Some(days) = target.reached else { return };
    let place = |day: Option<Day>| day.map_or(RIGHT, |day| across.day(day.max(to)));
    let bar = y + 4.0;
    if days[0].is_none() {
        return text(out, RIGHT, bar + 1.0, TEXT, true, "end", "not within 26 weeks");
    }
    line(out, place(days[0]), bar, place(days[4]), bar, 0.3);
    line(out, place(days[1]), bar, place(days[3]), bar, 1.6);
    if let Some(middle) = days[2] {
        let x = place(Some(middle));
        line(out, x, bar - 1.8, x, bar + 1.8, 0.5);
        text(out, x, bar + 5.0, TEXT, true, "middle", &middle.to_string());
    }
    if days[4].is_none() {
        let _ = write!(out, r#"<path d="M{RIGHT:.2} {bar:.2}l-3 -1.4v2.8z"/>"#);
    }
}

/// The heights run as steps.
fn heights(out: &mut String, runs: &[RunPoint], across: Scale, measure: Measure) {
    let title = format!("Height, {}", measure.axis_unit(Axis::Heights));
    text(out, 10.0, HEIGHTS.0 - 3.0, TEXT, true, "start", &title);
    let highest = runs.iter().map(|run| run.height.metres()).fold(0.3, f64::max);
    let up = Scale::new((0.0, highest), (HEIGHTS.1, HEIGHTS.0));
    line(out, LEFT, HEIGHTS.1, RIGHT, HEIGHTS.1, 0.3);
    let mut path = String::new();
    let mut before = None;
    for run in runs {
        let (x, y) = (across.day(run.on), up.at(run.height.metres()));
        let _ = if path.is_empty() { write!(path, "M{x:.2} {y:.2}") } else { write!(path, "H{x:.2}V{y:.2}") };
        if before != Some(run.height) {
            let words = measure.on_axis(Axis::Heights, run.height.metres());
            text(out, x, y - 0.8, TEXT, false, "middle", &words);
        }
        before = Some(run.height);
    }
    let _ = write!(out, r#"<path d="{path}" fill="none" stroke="black" stroke-width="0.5"/>"#);
}

pub(super) fn dashed(out: &mut String, from: (f64, f64), to: (f64, f64), dashes: &str, width: f64) {
    let _ = write!(
        out,
        r#"<path d="M{:.2} {:.2}L{:.2} {:.2}" stroke="black" stroke-width="{width}" stroke-dasharray="{dashes}"/>"#,
        from.0, from.1, to.0, to.1
    );
}

/// A kind of barrier as a shape around a place.
pub(super) fn sign(out: &mut String, kind: BarrierKind, x: f64, y: f64) {
    const EDGE: &str = r#"fill="white" stroke="black" stroke-width="0.35""#;
    let _ = match kind {
        BarrierKind::Wicket => write!(out, r#"<circle cx="{x:.2}" cy="{y:.2}" r="1" {EDGE}/>"#),
        BarrierKind::Foam => {
            write!(out, r#"<rect x="{:.2}" y="{:.2}" width="2" height="2" {EDGE}/>"#, x - 1.0, y - 1.0)
        }
        BarrierKind::LowBarrier => write!(out, r#"<path d="M{:.2} {:.2}h2.4l-1.2 -2.1z"/>"#, x - 1.2, y + 1.0),
        BarrierKind::Hurdle => write!(out, r#"<rect x="{:.2}" y="{:.2}" width="2" height="2"/>"#, x - 1.0, y - 1.0),
    };
}
