//! A small plot for a phone's width: its frame, its two axes and its legend, which stand apart so that no words meet.

use std::fmt::Write;

use super::axis::Scale;
use crate::paper::{line, text};

/// Width of a picture, millimetres (mm); the places below as well.
pub(super) const WIDTH: f64 = 120.0;
/// Where the plot begins and ends.
pub(super) const ACROSS: (f64, f64) = (14.0, 118.0);
/// Size of all words.
pub(super) const TEXT: f64 = 3.6;
/// Height of a line of the legend.
const LINE: f64 = 5.2;

/// A picture in the making: its legend above, the plot below.
pub(super) struct Plot {
    pub out: String,
    top: f64,
    bottom: f64,
    at: (f64, f64),
}

impl Plot {
    /// A picture with a legend of some lines and a plot of a height (mm).
    pub fn new(legend_lines: u8, height: f64) -> Self {
        let top = 4.0 + LINE * f64::from(legend_lines);
        let bottom = top + height;
        let all = bottom + 8.0;
        let mut out = format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {all:.1}" font-family="Arial, Helvetica, sans-serif" fill="black" stroke="none">"#
        );
        let _ = write!(out, r#"<rect width="{WIDTH}" height="{all:.1}" fill="white"/>"#);
        Self { out, top, bottom, at: (2.0, 4.5) }
    }

    /// Top and bottom of the plot.
    pub const fn up(&self) -> (f64, f64) {
        (self.bottom, self.top)
    }

    /// An entry of the legend: a drawing of at most 10 mm at a place, then words. It goes on a new line where it does not fit.
    pub fn entry(&mut self, words: &str, draw: impl FnOnce(&mut String, f64, f64)) {
        #[allow(clippy::cast_precision_loss)] // a few words
        let wide = 12.5 + 1.95 * words.chars().count() as f64;
        if self.at.0 > 2.0 && self.at.0 + wide > WIDTH {
            self.at = (2.0, self.at.1 + LINE);
        }
        let (x, y) = self.at;
        draw(&mut self.out, x, y - 1.2);
        text(&mut self.out, x + 11.0, y, TEXT, false, "start", words);
        self.at.0 += wide + 2.0;
    }

    /// The frame, with horizontal lines at values and their words left of it.
    pub fn values(&mut self, up: Scale, ticks: &[f64], words: impl Fn(f64) -> String) {
        for tick in ticks {
            let y = up.at(*tick);
            line(&mut self.out, ACROSS.0, y, ACROSS.1, y, 0.08);
            text(&mut self.out, ACROSS.0 - 1.2, y + 1.2, TEXT, false, "end", &words(*tick));
        }
        line(&mut self.out, ACROSS.0, self.top, ACROSS.0, self.bottom, 0.4);
        line(&mut self.out, ACROSS.0, self.bottom, ACROSS.1, self.bottom, 0.4);
    }

    /// Vertical lines at places and their words below.
    pub fn places(&mut self, places: impl IntoIterator<Item = (f64, String)>) {
        for (x, words) in places {
            line(&mut self.out, x, self.top, x, self.bottom + 1.0, 0.08);
            text(&mut self.out, x, self.bottom + 5.5, TEXT, false, "middle", &words);
        }
    }

    /// The finished picture.
    pub fn finish(mut self) -> String {
        self.out.push_str("</svg>");
        self.out
    }
}

/// Values at a round distance within a range, at most nine.
pub(super) fn round_ticks(up: Scale, range: (f64, f64)) -> Vec<f64> {
    let steps = [0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0];
    let step = steps.into_iter().find(|step| (range.1 - range.0) / step <= 8.0).unwrap_or(20.0);
    up.ticks(step)
}
