//! A squad: how many stand where, and each athlete's spacing beside that of the target.

use std::fmt::Write;

use super::axis::Scale;
use super::{DATES, LINE, SquadChart, SquadRow, TEXT, below, open, titled, written};
use crate::measure::Measure;
use crate::paper::{fitted, line, text, wide, wrap};

const LEFT: f64 = 10.0;
const RIGHT: f64 = 200.0;
/// Where the dots begin, right of the names.
const DOTS: f64 = 62.0;
/// Where the dots end, left of the decisions.
const DOTS_END: f64 = 158.0;
const BOTTOM: f64 = 262.0;
/// Height of the page.
const PAGE: f64 = 297.0;
/// The most that dots make room for names.
const NAMES_MOST: f64 = 40.0;
/// Least size of a name that stands on one line.
const LEAST: f64 = 2.4;
/// Most athletes of one page; the others are counted.
const ROWS_MAX: usize = 60;

/// Draws the chart as one SVG document of 210 x 297 mm, higher where all the notes need it: counts on top, below them one row for each
/// of at most 60 athletes, farthest along first. No name is cut: the longest make the picture narrower, then their letters smaller.
/// Lengths stand in the notes alone.
///
/// ```
/// use lanewright_compute::day::Day;
/// use lanewright_render::chart::{SquadChart, squad};
/// use lanewright_render::measure::Measure;
///
/// let day = Day::from_ymd(2026, 11, 25).unwrap();
/// let chart = SquadChart {
///     name: "U13".into(),
///     period: (day, day),
///     stages: vec![("height build".into(), 3)],
///     decisions: vec![("consolidate".into(), 3)],
///     rows: Vec::new(),
///     notes: Vec::new(),
/// };
/// assert!(squad(&chart, Measure::Metric).contains("height build: 3"));
/// ```
pub fn squad(chart: &SquadChart, measure: Measure) -> String {
    let (from, to) = chart.period;
    let title = format!("Progress \u{2013} {}", chart.name);
    let notes: Vec<String> = chart.notes.iter().flat_map(|note| wrap(&measure.told(note), 115)).collect();
    let mut out = open((210.0, below(BOTTOM + 6.0, notes.len(), PAGE)), &title, &description(chart));
    titled(&mut out, LEFT, &title, RIGHT - DATES - LEFT);
    text(&mut out, RIGHT, 13.0, 4.0, false, "end", &format!("{from} to {to}"));
    let y = stack(&mut out, "Athletes by stage", &chart.stages, 21.0);
    let y = stack(&mut out, "Athletes by what is next", &chart.decisions, y + 4.0);
    rows(&mut out, &chart.rows, y + 6.0);
    written(&mut out, LEFT, BOTTOM + 6.0, &notes);
    out.push_str("</svg>\n");
    out
}

/// The picture in words.
fn description(chart: &SquadChart) -> String {
    let told = |counts: &[(String, usize)]| {
        let parts: Vec<String> =
            counts.iter().filter(|(_, count)| *count > 0).map(|(what, count)| format!("{what} {count}")).collect();
        parts.join(", ")
    };
    format!("{} athletes. Stages: {}. Next: {}.", chart.rows.len(), told(&chart.stages), told(&chart.decisions))
}

/// One bar of parts as wide as their counts, numbered, with the numbers explained below. Answers where it ends.
fn stack(out: &mut String, title: &str, counts: &[(String, usize)], top: f64) -> f64 {
    let present: Vec<&(String, usize)> = counts.iter().filter(|(_, count)| *count > 0).collect();
    let total: usize = present.iter().map(|(_, count)| count).sum();
    text(out, LEFT, top, TEXT, true, "start", title);
    #[allow(clippy::cast_precision_loss)] // a squad
    let width = |count: usize| (RIGHT - LEFT) * count as f64 / total.max(1) as f64;
    let mut x = LEFT;
    for (_, count) in &present {
        let w = width(*count);
        let _ = write!(
            out,
            r#"<rect x="{x:.2}" y="{:.2}" width="{w:.2}" height="6" fill="white" stroke="black" stroke-width="0.4"/>"#,
            top + 1.5
        );
        text(out, x + w / 2.0, top + 5.7, TEXT, true, "middle", &count.to_string());
        x += w;
    }
    let words: Vec<String> = present.iter().map(|(what, count)| format!("{what}: {count}")).collect();
    let lines = wrap(&format!("From the left \u{2013} {}", words.join(", ")), 115);
    written(out, LEFT, top + 11.5, &lines);
    #[allow(clippy::cast_precision_loss)] // a handful of lines
    (top + 11.5 + LINE * lines.len() as f64)
}

fn rows(out: &mut String, rows: &[SquadRow], top: f64) {
    text(out, LEFT, top, TEXT, true, "start", "Spacing run, % of the target's");
    text(out, DOTS_END + 4.0, top, TEXT, true, "start", "Next");
    let mut sorted: Vec<&SquadRow> = rows.iter().collect();
    let share = |row: &SquadRow| row.of_target.unwrap_or(-1.0);
    sorted.sort_by(|a, b| share(b).total_cmp(&share(a)).then_with(|| a.name.cmp(&b.name)));
    let (drawn, left) = (sorted.len().min(ROWS_MAX), sorted.len().saturating_sub(ROWS_MAX));
    let low = rows.iter().filter_map(|row| row.of_target).fold(0.8, f64::min);
    let high = rows.iter().filter_map(|row| row.of_target).fold(1.0, f64::max);
    // Long names take room from the dots.
    let longest = rows.iter().map(|row| wide(&row.name) * TEXT).fold(0.0, f64::max);
    let dots = DOTS + (LEFT + longest + 2.0 - DOTS).clamp(0.0, NAMES_MOST);
    let across = Scale::new(((low * 20.0).floor() / 20.0, (high * 20.0).ceil() / 20.0), (dots, DOTS_END));
    #[allow(clippy::cast_precision_loss)] // at most 60
    let pitch = ((BOTTOM - top - 8.0) / drawn.max(1) as f64).min(5.0);
    #[allow(clippy::cast_precision_loss)] // at most 60
    let bottom = top + 6.0 + pitch * drawn as f64;
    for tick in across.ticks(0.05) {
        let x = across.at(tick);
        let is_target = (tick - 1.0).abs() < 1e-6;
        line(out, x, top + 5.0, x, bottom, if is_target { 0.7 } else { 0.05 });
        text(out, x, top + 4.0, TEXT - 0.4, is_target, "middle", &format!("{:.0}", tick * 100.0));
    }
    let size = TEXT.min(pitch * 0.9);
    let mut y = top + 6.0;
    for row in sorted.iter().take(ROWS_MAX) {
        y += pitch;
        name(out, &row.name, (y, pitch), dots - LEFT - 2.0);
        line(out, LEFT, y, RIGHT, y, 0.05);
        match row.of_target {
            Some(share) => {
                let (x, y) = (across.at(share), y - pitch / 2.0);
                line(out, dots, y, x, y, 0.25);
                let _ = write!(out, r#"<circle cx="{x:.2}" cy="{y:.2}" r="1"/>"#);
            }
            None => text(out, dots + 1.0, y - pitch * 0.25, size, false, "start", "no spacing or no target yet"),
        }
        let (size, words) = fitted(&row.decision, RIGHT - DOTS_END - 4.0, size, 0.1);
        text(out, DOTS_END + 4.0, y - pitch * 0.25, size, false, "start", &words.concat());
    }
    if left > 0 {
        text(out, LEFT, bottom + 4.0, TEXT, true, "start", &format!("and {left} more, who are in the table"));
    }
}

/// A name in its row, which ends at `y` and is `pitch` high: on a line, and the longest on as many as the row has room for.
fn name(out: &mut String, name: &str, (y, pitch): (f64, f64), room: f64) {
    let usual = TEXT.min(pitch * 0.9);
    let (size, lines) = fitted(name, room, usual, LEAST.min(usual));
    #[allow(clippy::cast_precision_loss)] // two or three
    let size = if lines.len() > 1 { size.min(pitch / lines.len() as f64) } else { size };
    for (above, words) in (0_u8..).zip(lines.iter().rev()) {
        text(out, LEFT, y - pitch * 0.25 - size * f64::from(above), size, false, "start", words);
    }
}
