//! Progress as pictures on A4, black on white: shapes, dashes and words carry the meaning, never a colour.

mod athlete;
mod axis;
mod figures;
mod plot;
mod squad;
mod touchdowns;

use lanewright_compute::day::Day;
use lanewright_compute::units::{BarrierKind, Length};

use crate::paper::{escaped, fitted, text};
pub use athlete::athlete;
pub use figures::{heights, held_share, spacings};
pub use squad::squad;
pub use touchdowns::{Touchdown, touchdowns};

/// Size of usual words, their line pitch, and room for the dates of a period in the head, millimetres (mm).
const TEXT: f64 = 3.1;
const LINE: f64 = 3.8;
const DATES: f64 = 66.0;

/// An estimate of the limit on a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimitPoint {
    /// The day.
    pub on: Day,
    /// Mean, metres (m).
    pub mean_m: f64,
    /// 5 % quantile, metres (m).
    pub p05_m: f64,
    /// 95 % quantile, metres (m).
    pub p95_m: f64,
}

/// What was run on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RunPoint {
    /// The day.
    pub on: Day,
    /// What stood in the lane.
    pub barrier_kind: BarrierKind,
    /// Height of the barriers.
    pub height: Length,
    /// Spacing of the barriers.
    pub spacing: Length,
    /// Intervals of the day in which the rhythm held.
    pub held: u32,
    /// Intervals of the day.
    pub intervals: u32,
}

/// A target and when the race test over it is likely to be advised.
#[derive(Clone, Debug, PartialEq)]
pub struct TargetLine {
    /// Event and age group, in words.
    pub label: String,
    /// Its spacing.
    pub spacing: Length,
    /// Its height.
    pub height: Length,
    /// The days by which it is advised with 5, 25, 50, 75 and 95 %; none beyond the look ahead, absent without a forecast.
    pub reached: Option<[Option<Day>; 5]>,
}

/// One athlete's chart.
#[derive(Clone, Debug, PartialEq)]
pub struct AthleteChart {
    /// Whom it shows.
    pub name: String,
    /// First and last day of the period.
    pub period: (Day, Day),
    /// The height of barriers over which the limits hold: that of the target, so that the two can be compared.
    pub limit_height: Length,
    /// The estimate over that height, earliest first.
    pub limits: Vec<LimitPoint>,
    /// What was run, earliest first.
    pub runs: Vec<RunPoint>,
    /// The target, when there is one.
    pub target: Option<TargetLine>,
    /// Sentences of ours below the picture, lengths in metres.
    pub notes: Vec<String>,
}

/// One athlete of a squad's chart.
#[derive(Clone, Debug, PartialEq)]
pub struct SquadRow {
    /// Whom it shows.
    pub name: String,
    /// Spacing run over that of the target; none without one of them.
    pub of_target: Option<f64>,
    /// What is next, in words.
    pub decision: String,
}

/// A squad's chart.
#[derive(Clone, Debug, PartialEq)]
pub struct SquadChart {
    /// Name of the group.
    pub name: String,
    /// First and last day of the period.
    pub period: (Day, Day),
    /// Athletes at each stage, in words, first stage to last.
    pub stages: Vec<(String, usize)>,
    /// Athletes with each decision, in words.
    pub decisions: Vec<(String, usize)>,
    /// The athletes.
    pub rows: Vec<SquadRow>,
    /// Sentences of ours below the picture, lengths in metres.
    pub notes: Vec<String>,
}

/// The head of a document of a size (mm) with its title and description for those who cannot see it.
fn open(size: (f64, f64), title: &str, description: &str) -> String {
    let (width, height) = size;
    format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}" role="img" aria-labelledby="title desc" font-family="Arial, Helvetica, sans-serif" fill="black" stroke="none"><title id="title">{}</title><desc id="desc">{}</desc><rect width="{width}" height="{height}" fill="white"/>"#,
        escaped(title),
        escaped(description)
    )
}

/// The title at the head of a page, in smaller letters where it is long, and in several lines before it would be cut.
fn titled(out: &mut String, left: f64, title: &str, room: f64) {
    let (size, lines) = fitted(title, room, 6.0, 3.4);
    let mut y = 13.0;
    for words in &lines {
        text(out, left, y, size, true, "start", words);
        y += size;
    }
}

/// Lines of notes from a place downwards.
fn written(out: &mut String, left: f64, top: f64, lines: &[String]) {
    let mut y = top;
    for words in lines {
        text(out, left, y, TEXT, false, "start", words);
        y += LINE;
    }
}

/// The height of a page whose notes begin at a place: that of the paper, or more.
fn below(top: f64, lines: usize, paper: f64) -> f64 {
    #[allow(clippy::cast_precision_loss)] // a handful of lines
    (top + LINE * lines as f64 + 4.0).max(paper).ceil()
}

#[cfg(test)]
mod tests;
