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
/// Least distance of two words of an axis: fonts of browsers are up to 1.4 times as high as their size says.
pub(super) const APART: f64 = 6.0;
/// Height of a line of the legend.
const LINE: f64 = 5.2;

/// Where the legend begins.
const BEGIN: (f64, f64) = (2.0, 4.5);

/// How wide an entry of the legend is.
fn entry_wide(words: &str) -> f64 {
    #[allow(clippy::cast_precision_loss)] // a few words
    let letters = words.chars().count() as f64;
    12.5 + 1.95 * letters
}

/// Where an entry stands that would begin at a place: there, or on a new line where it does not fit.
fn placed(at: (f64, f64), words: &str) -> (f64, f64) {
    if at.0 > BEGIN.0 && at.0 + entry_wide(words) > WIDTH { (BEGIN.0, at.1 + LINE) } else { at }
}

/// Where the next one would begin.
fn after(at: (f64, f64), words: &str) -> (f64, f64) {
    (at.0 + entry_wide(words) + 2.0, at.1)
}

/// A picture in the making: its legend above, the plot below.
pub(super) struct Plot {
    pub out: String,
    top: f64,
    bottom: f64,
    at: (f64, f64),
}

impl Plot {
    /// A picture with a legend of some entries, whose words are given, and a plot of a height (mm).
    pub fn new<'a>(legend: impl Iterator<Item = &'a str>, height: f64) -> Self {
        let end = legend.fold(BEGIN, |at, words| after(placed(at, words), words));
        let top = if end.0 > BEGIN.0 { end.1 + 4.0 } else { 4.0 };
        let bottom = top + height;
        let all = bottom + 8.0;
        let mut out = format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {all:.1}" font-family="Arial, Helvetica, sans-serif" fill="black" stroke="none">"#
        );
        let _ = write!(out, r#"<rect width="{WIDTH}" height="{all:.1}" fill="white"/>"#);
        Self { out, top, bottom, at: BEGIN }
    }

    /// Top and bottom of the plot.
    pub const fn up(&self) -> (f64, f64) {
        (self.bottom, self.top)
    }

    /// An entry of the legend: a drawing of at most 10 mm at a place, then words. It goes on a new line where it does not fit.
    pub fn entry(&mut self, words: &str, draw: impl FnOnce(&mut String, f64, f64)) {
        let (x, y) = placed(self.at, words);
        draw(&mut self.out, x, y - 1.2);
        text(&mut self.out, x + 11.0, y, TEXT, false, "start", words);
        self.at = after((x, y), words);
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
