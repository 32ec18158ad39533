//! How likely an interval is held, over-reached or crowded.
//!
//! One interval at a distance x beyond the limit (spacing less limit, metres) has three ordered outcomes. With width
//! w, band B and lapse l:
//!
//! ```text
//! over  = logistic(x / w)
//! crowd = logistic((-B - x) / w)
//! held  = max(1 - over - crowd, 1e-9)
//! p     = (1 - l) p + l / 3        for each
//! ```
//!
//! So at x = 0 it is about as likely held as over-reached, at x = -B about as likely held as crowded, and in the
//! middle, x = -B / 2, holding is likeliest. At the defaults and the median width of 0.22 m:
//!
//! | x (m) | held | over-reached | crowded |
//! | --- | --- | --- | --- |
//! | -0.80 | 0.936 | 0.032 | 0.032 |
//! | -0.50 | 0.889 | 0.098 | 0.013 |
//! | -0.25 | 0.746 | 0.245 | 0.009 |
//! | 0.00 | 0.496 | 0.497 | 0.007 |
//! | 0.25 | 0.245 | 0.749 | 0.007 |
//! | 0.50 | 0.098 | 0.895 | 0.007 |
//!
//! The lapse keeps every outcome possible everywhere, so one odd interval (a slip, a wrong tick on the sheet) cannot
//! rule a limit out. The tables below exist for speed alone: they hold log p by whole fifths of a millimetre, see
//! [`super::grid`].

use super::Settings;
use super::grid::{Lane, Lattice, WIDTHS_M};

/// The smallest probability of a held rhythm before lapses.
///
/// Steps in some 21 widths beyond the limit; it keeps what is there before lapses above nought. Design choice.
const LEAST_HELD: f64 = 1e-9;

/// The probabilities of the three outcomes of an interval; they sum to one.
///
/// Each from l / 3 to 1 - 2 l / 3. When `LEAST_HELD` steps in, the sum exceeds one by less than 1e-9.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chances {
    /// The rhythm is kept.
    pub held: f64,
    /// The spacing is too long.
    pub over_reached: f64,
    /// The spacing is too short.
    pub crowded: f64,
}

/// The outcome probabilities at a distance `x_m` beyond the limit, metres (m), negative when the spacing is shorter,
/// for a width in metres (m).
///
/// Any finite `x_m`; `width_m` above nought. Holding is symmetric about half a band inside the limit, over-reaching
/// only rises and crowding only falls with x. Settings are not checked here.
///
/// # Source
/// P. McCullagh, "Regression Models for Ordinal Data", J. R. Statist. Soc. B 42, 1980 (proportional odds); lapses:
/// F. A. Wichmann, N. J. Hill, "The psychometric function: I", Perception & Psychophysics 63, 2001.
///
/// # Example
/// ```
/// use lanewright_compute::estimate::{Settings, chances};
///
/// let at_the_limit = chances(0.0, 0.2, &Settings::default());
/// assert!((at_the_limit.held - at_the_limit.over_reached).abs() < 0.001);
/// ```
pub fn chances(x_m: f64, width_m: f64, settings: &Settings) -> Chances {
    let over = logistic(x_m / width_m);
    let crowd = logistic((-settings.band_m - x_m) / width_m);
    let held = (1.0 - over - crowd).max(LEAST_HELD);
    let with_lapses = |p: f64| (1.0 - settings.lapse) * p + settings.lapse / 3.0;
    Chances { held: with_lapses(held), over_reached: with_lapses(over), crowded: with_lapses(crowd) }
}

fn logistic(x: f64) -> f64 {
    1.0 / (1.0 + libm::exp(-x))
}

/// Weighted numbers of intervals by outcome.
///
/// Sums of intervals times the weight of their run: not whole numbers.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Weighted {
    pub held: f64,
    pub over_reached: f64,
    pub crowded: f64,
    pub broken: f64,
}

/// Logarithms of the outcome probabilities, computed once for every distance from the limit that occurs.
///
/// Spacings and heights are whole millimetres, so few distances occur: all cells of a lane share one offset below the
/// cell width, and lanes of other spacings and heights often share it too.
///
/// Lives for one call of a filter: the settings are baked in. Only offsets, widths and places that are asked for are
/// computed, each once; a squad's season over one club grid fills a handful of the 250 offsets.
pub(super) struct LogTables {
    settings: Settings,
    by_offset: Vec<Option<Box<[LogTable; WIDTHS_M.len()]>>>,
}

/// Logarithms for one offset and width, by [`Lattice`] place; only `from..to` are computed.
///
/// Vectors are made whole at the first use (3 x 453 numbers); `from..to` is one stretch without holes.
#[derive(Default)]
struct LogTable {
    from: usize,
    to: usize,
    held: Vec<f64>,
    over_reached: Vec<f64>,
    crowded: Vec<f64>,
}

/// The logarithms of a lane's window at one configuration; one value per cell, all slices equally long.
///
/// `ends_m.0` is the larger of the two: higher cells are higher limits, so the distance beyond them is smaller.
pub(super) struct LogRow<'a> {
    pub held: &'a [f64],
    pub over_reached: &'a [f64],
    pub crowded: &'a [f64],
    /// Distances beyond the limit (m) at the first and the last cell.
    pub ends_m: (f64, f64),
}

impl LogTables {
    /// Allocates the list of offsets and nothing else.
    pub fn new(settings: &Settings) -> Self {
        let mut by_offset = Vec::new();
        by_offset.resize_with(Lattice::OFFSETS, || None);
        Self { settings: *settings, by_offset }
    }

    /// The logarithms for cells `from..to` of a lane.
    ///
    /// `from..to` not empty and inside the grid. Costs three logarithms and two exponentials for each place not yet
    /// known.
    pub fn row(&mut self, lattice: Lattice, lane: Lane, from: usize, to: usize) -> LogRow<'_> {
        let (offset, first) = lattice.place(lane);
        let tables = self.by_offset[offset].get_or_insert_with(Box::default);
        let table = &mut tables[lane.width];
        let (from, to) = (first + from, first + to);
        table.fill(from, to, |place| chances(Lattice::distance_m(offset, place), WIDTHS_M[lane.width], &self.settings));
        LogRow {
            held: &table.held[from..to],
            over_reached: &table.over_reached[from..to],
            crowded: &table.crowded[from..to],
            ends_m: (Lattice::distance_m(offset, from), Lattice::distance_m(offset, to - 1)),
        }
    }
}

impl LogTable {
    /// Widens the known stretch to take `from..to` in, with everything between: windows move slowly, so little is
    /// computed in vain.
    fn fill(&mut self, from: usize, to: usize, chances_at: impl Fn(usize) -> Chances) {
        if self.from == self.to {
            (self.from, self.to) = (from, from);
            for logs in [&mut self.held, &mut self.over_reached, &mut self.crowded] {
                logs.resize(Lattice::PLACES, 0.0);
            }
        }
        let (below, above) = (from.min(self.from)..self.from, self.to..to.max(self.to));
        (self.from, self.to) = (below.start, above.end);
        for place in below.chain(above) {
            let chances = chances_at(place);
            self.held[place] = libm::log(chances.held);
            self.over_reached[place] = libm::log(chances.over_reached);
            self.crowded[place] = libm::log(chances.crowded);
        }
    }
}
