//! From days and metres to places on the paper.

use lanewright_compute::day::Day;

/// A scale from values to millimetres of paper.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    values: (f64, f64),
    paper: (f64, f64),
}

impl Scale {
    /// From a range of values onto a range of the paper; a range without width is widened.
    pub fn new(values: (f64, f64), paper: (f64, f64)) -> Self {
        let values = if values.1 - values.0 < 1e-9 { (values.0 - 0.5, values.0 + 0.5) } else { values };
        Self { values, paper }
    }

    /// The place of a value, kept on the paper.
    pub fn at(self, value: f64) -> f64 {
        let share = (value - self.values.0) / (self.values.1 - self.values.0);
        self.paper.0 + share.clamp(0.0, 1.0) * (self.paper.1 - self.paper.0)
    }

    /// The place of a day.
    pub fn day(self, day: Day) -> f64 {
        self.at(f64::from(day.days()))
    }

    /// Values at a round distance, the first of some steps at which their words stand so far apart (mm); with none of them at a
    /// multiple of the last.
    pub fn figures(self, steps: &[f64], apart: f64) -> Vec<f64> {
        let (values, paper) = ((self.values.1 - self.values.0).abs(), (self.paper.1 - self.paper.0).abs());
        let least = values * apart / paper;
        let last = steps.last().copied().unwrap_or(1.0);
        self.ticks(steps.iter().copied().find(|step| *step >= least).unwrap_or_else(|| (least / last).ceil() * last))
    }

    /// Multiples of a step within the range of values.
    #[allow(clippy::cast_possible_truncation)] // a few hundred
    pub fn ticks(self, step: f64) -> Vec<f64> {
        let (from, to) = ((self.values.0 / step).ceil() as i64, (self.values.1 / step).floor() as i64);
        #[allow(clippy::cast_precision_loss)] // small
        (from..=to).map(|k| k as f64 * step).collect()
    }
}

/// The first days of months within a range, at most `most`: every month, or every second, third, sixth.
pub(super) fn months(from: Day, to: Day, most: usize) -> Vec<Day> {
    let (year, month, _) = from.ymd();
    let first = year * 12 + i32::from(month) - 1;
    let all = (first..first + 60).filter_map(|count| {
        let month = u8::try_from(count.rem_euclid(12) + 1).ok()?;
        Some((count, Day::from_ymd(count.div_euclid(12), month, 1)?))
    });
    let all: Vec<(i32, Day)> = all.filter(|(_, day)| (from..=to).contains(day)).collect();
    let fits = |(_, step): &(i32, usize)| all.len().div_ceil(*step) <= most;
    let every = [(1, 1), (2, 2), (3, 3), (6, 6), (12, 12)].into_iter().find(fits).map_or(12, |(step, _)| step);
    all.into_iter().filter(|(count, _)| count % every == 0).map(|(_, day)| day).collect()
}
