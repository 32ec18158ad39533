//! What the runs of a day say about every cell of a lane.
//!
//! For a lane (height cost g, width w) and a limit c, the runs of a day at configurations j add up to
//!
//! ```text
//! log L(c) = Σ_j  Σ_runs weight · (k log p_held + o log p_over + r log p_crowd + u log(1 - p_held))
//! weight = 1 / (1 + (n - 1) icc)                 n intervals of that run
//! ```
//!
//! with all chances taken at x_j = s_j - c + g max(0, h_j - 0.30). The sum is over logarithms, so neither the order of
//! the runs nor that of the configurations matters but for rounding, and the caller sorts them to remove even that.
//! The cost is one multiplication and addition for each cell kept, configuration and outcome that occurred; the
//! logarithms come from tables. Only broken intervals take two transcendental functions a cell.

use super::grid::{Lane, Lattice};
use super::outcome::{LogRow, LogTables, Weighted};
use super::window::Window;
use super::{RunCounts, Settings};

/// All runs of one day at one configuration, weighted.
///
/// Counts are real numbers: intervals times weight, so a run of four held ones stands here as 1.6.
pub(super) struct Trial {
    at: Lattice,
    counts: Weighted,
}

/// Sums the runs of a day, which must be in order, by configuration.
///
/// The intervals of a run are not independent: a run of n intervals weighs 1 / (1 + (n - 1) icc) each.
///
/// The weight goes by the run and not by the day: two runs of four count as 3.2 intervals, one run of eight as 1.78. A
/// pause between runs is a new start. An empty list gives no trial.
///
/// Worked (icc 0.5): runs of 4 held, and 3 held and 1 over-reached, at 6.00 m make one trial of 2.8 held and 0.4
/// over-reached.
///
/// # Source
/// The design effect of a cluster: L. Kish, *Survey Sampling*, 1965.
pub(super) fn trials(runs: &[RunCounts], settings: &Settings) -> Vec<Trial> {
    let at = |run: &RunCounts| Lattice::new(run.height, run.spacing);
    runs.chunk_by(|a, b| at(a) == at(b))
        .map(|alike| {
            let counts = alike.iter().fold(Weighted::default(), |sum, run| {
                let weight = 1.0 / (1.0 + (f64::from(run.intervals()) - 1.0) * settings.icc);
                Weighted {
                    held: sum.held + weight * f64::from(run.held),
                    over_reached: sum.over_reached + weight * f64::from(run.over_reached),
                    crowded: sum.crowded + weight * f64::from(run.crowded),
                    broken: sum.broken + weight * f64::from(run.broken),
                }
            });
            Trial { at: at(&alike[0]), counts }
        })
        .collect()
}

/// Writes the log-likelihood of every cell of a lane's window; answers the most it can be outside the window.
///
/// `logs` has one entry for each cell of the window and is overwritten. The answer bounds, from above, the
/// log-likelihood of any cell outside the window: minus infinity where there is none on either side. The posterior
/// multiplies the mass it left out by the exponential of it, so that a window never hides more than is accounted for.
pub(super) fn log_likelihood(
    trials: &[Trial],
    tables: &mut LogTables,
    lane: Lane,
    window: Window,
    settings: &Settings,
    logs: &mut [f64],
) -> f64 {
    logs.fill(0.0);
    let (mut below, mut above) = (0.0, 0.0);
    for trial in trials {
        let row = tables.row(trial.at, lane, window.from, window.to);
        for (count, of_outcome) in [
            (trial.counts.held, row.held),
            (trial.counts.over_reached, row.over_reached),
            (trial.counts.crowded, row.crowded),
        ] {
            if count > 0.0 {
                logs.iter_mut().zip(of_outcome).for_each(|(log, value)| *log += count * value);
            }
        }
        if trial.counts.broken > 0.0 {
            for (log, held) in logs.iter_mut().zip(row.held) {
                *log += trial.counts.broken * libm::log(1.0 - libm::exp(*held));
            }
        }
        let (most_below, most_above) = most_outside(&row, &trial.counts, settings);
        below += most_below;
        above += most_above;
    }
    let whole_below = if window.from == 0 { f64::NEG_INFINITY } else { below };
    let whole_above = if window.to == Window::WHOLE.to { f64::NEG_INFINITY } else { above };
    whole_below.max(whole_above)
}

/// The most that a trial's log-likelihood can be below and above a window.
///
/// Away from the window over-reaching and crowding change one way only, and holding falls beyond its peak, half a band
/// inside the limit.
///
/// Moving down in c (below the window) is moving up in x. There crowding and holding can only become less likely than
/// at the window's first cell, once the peak of holding lies behind; over-reaching can become as likely as one, whose
/// logarithm is nought, and broken intervals too. Above the window the mirror image. Bounds add over trials, which
/// overstates them: the best cell of one trial need not be that of another.
fn most_outside(row: &LogRow<'_>, counts: &Weighted, settings: &Settings) -> (f64, f64) {
    let peak = -settings.band_m / 2.0;
    let end = |of_outcome: &[f64], last: bool| {
        let value = if last { of_outcome.last() } else { of_outcome.first() };
        value.copied().unwrap_or(0.0)
    };
    let held_below = if row.ends_m.0 >= peak { end(row.held, false) } else { 0.0 };
    let held_above = if row.ends_m.1 <= peak { end(row.held, true) } else { 0.0 };
    (
        counts.held * held_below + counts.crowded * end(row.crowded, false),
        counts.held * held_above + counts.over_reached * end(row.over_reached, true),
    )
}
