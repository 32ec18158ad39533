//! Lanes drawn to scale from above, below each other: where approach, barriers and run-out lie.

use std::fmt::Write;

use super::measure::Measure;
use super::paper::{line, text};
use super::sheet::Figure;
use lanewright_compute::units::Length;

/// Width of the picture, millimetres (mm); the places below as well.
const WIDTH: f64 = 120.0;
/// Where lanes begin and end.
const TRACK: (f64, f64) = (17.0, 117.0);
const TEXT: f64 = 3.4;
const HEAD: f64 = 9.0;
const BAND: f64 = 16.5;

/// A lane of the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StripLane {
    /// Its number.
    pub lane: u8,
    /// Start line to the first barrier.
    pub approach: Length,
    /// Barrier to barrier.
    pub spacing: Length,
    /// Barriers, 1 or more.
    pub barriers: u8,
    /// Free distance after the last barrier.
    pub run_out: Length,
}

impl StripLane {
    fn last(&self) -> u32 {
        self.approach.mm() + self.spacing.mm() * u32::from(self.barriers.saturating_sub(1))
    }

    fn end(&self) -> u32 {
        self.last() + self.run_out.mm()
    }

    fn ends(&self, measure: Measure) -> String {
        let long = |length: Length| measure.length(length.metres());
        format!("approach {}, run-out {}", long(self.approach), long(self.run_out))
    }

    fn barriers(&self, measure: Measure) -> String {
        match self.barriers {
            1 => "1 barrier".to_owned(),
            count => format!("{count} barriers every {}", measure.length(self.spacing.metres())),
        }
    }
}

/// So many lanes are drawn in one picture: two such pictures go beside each other on a page that lies (design choice).
const MOST: usize = 6;

/// Pictures of some lanes, all to one scale, in the order given; six lanes to a picture.
///
/// ```
/// use lanewright_compute::units::Length;
/// use lanewright_render::measure::Measure;
/// use lanewright_render::strip::{StripLane, strips};
///
/// let mm = Length::from_mm;
/// let lane = StripLane { lane: 3, approach: mm(12_000), spacing: mm(6_250), barriers: 6, run_out: mm(10_000) };
/// let drawn = strips(&[lane], Measure::Metric);
/// assert!(drawn[0].alt.contains("Lane 3: approach 12.00 m, run-out 10.00 m, 6 barriers every 6.25 m."));
/// ```
pub fn strips(lanes: &[StripLane], measure: Measure) -> Vec<Figure> {
    let longest = lanes.iter().map(StripLane::end).max().unwrap_or(0).max(1);
    let each = lanes.len().div_ceil(lanes.len().div_ceil(MOST).max(1)).max(1);
    lanes.chunks(each).map(|lanes| strip(lanes, longest, measure)).collect()
}

/// One picture, to the scale in which a lane of the longest length is as wide as the paper.
fn strip(lanes: &[StripLane], longest: u32, measure: Measure) -> Figure {
    let scale = (TRACK.1 - TRACK.0) / f64::from(longest);
    #[allow(clippy::cast_precision_loss)] // at most 6
    let height = HEAD + BAND * lanes.len() as f64;
    let mut out = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" font-family="Arial, Helvetica, sans-serif" fill="black" stroke="none">"#
    );
    let _ = write!(out, r#"<rect width="{WIDTH}" height="{height}" fill="white"/>"#);
    text(&mut out, TRACK.0, 4.5, TEXT, true, "start", "Start");
    text(&mut out, f64::midpoint(TRACK.0, TRACK.1), 4.5, TEXT, true, "middle", "Running direction");
    arrow(&mut out, f64::midpoint(TRACK.0, TRACK.1) + 21.0, 3.4);
    for (at, lane) in (0_u32..).zip(lanes) {
        let ground = HEAD + BAND * f64::from(at) + 4.0;
        let x = |mm: u32| TRACK.0 + f64::from(mm) * scale;
        text(&mut out, 0.0, ground, TEXT, true, "start", &format!("Lane {}", lane.lane));
        line(&mut out, x(0), ground - 3.0, x(0), ground + 0.6, 0.4);
        line(&mut out, x(0), ground, x(lane.end()), ground, 0.3);
        // The barriers' own part of the lane is the thick one.
        line(&mut out, x(lane.approach.mm()), ground, x(lane.last()), ground, 1.0);
        for barrier in 0..u32::from(lane.barriers) {
            let at = x(lane.approach.mm() + lane.spacing.mm() * barrier);
            line(&mut out, at, ground - 3.2, at, ground + 0.5, 0.9);
        }
        arrow(&mut out, x(lane.end()), ground);
        for (below, words) in [(4.6, lane.ends(measure)), (8.6, lane.barriers(measure))] {
            text(&mut out, TRACK.0, ground + below, 3.2, false, "start", &words);
        }
    }
    out.push_str("</svg>");
    let told = |lane: &StripLane| format!("Lane {}: {}, {}.", lane.lane, lane.ends(measure), lane.barriers(measure));
    let told: Vec<String> = lanes.iter().map(told).collect();
    Figure {
        svg: out,
        alt: format!("Lanes from above, to scale, running from left to right. {}", told.join(" ")),
        caption: "Lanes from above, to scale: start line, thin line of the approach, thick line with the barriers, run-out to the arrow.".into(),
    }
}

/// A tip of an arrow that points right.
fn arrow(out: &mut String, x: f64, y: f64) {
    let _ = write!(out, r#"<path d="M{x:.2} {y:.2}l-2.6 -1.3v2.6z"/>"#);
}
