//! The cells of the limit that a posterior keeps.
//!
//! Windows are per pair of height cost and width, common to the five trends. They only ever grow by drift, one cell a
//! step on each side, and shrink after runs. Everything outside is exactly zero in the posterior, which lets both
//! drift and update skip it. A limit known to 0.2 m (standard deviation) needs about 64 of the 131 cells: 1e-15 of a
//! normal distribution lies 7.9 standard deviations out.

use super::grid::CELLS;

/// Cells `from..to` of the limit, never empty.
///
/// `from < to <= 131`. Half open, like a slice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Window {
    pub from: usize,
    pub to: usize,
}

impl Window {
    /// Every cell.
    pub const WHOLE: Self = Self { from: 0, to: CELLS };

    /// One cell more on both sides, inside the grid.
    ///
    /// What a step of drift can reach: mass moves at most one cell.
    pub fn widened(self) -> Self {
        Self { from: self.from.saturating_sub(1), to: (self.to + 1).min(CELLS) }
    }

    /// Leaves out the outermost cells while the mass left out on each side is at most `tail`; `mass` has one value per
    /// cell of the window. Answers the new window and the mass left out.
    ///
    /// Never empties a window: where every cell would go, as in a lane whose masses are all nought, the window stays
    /// and nothing counts as left out.
    ///
    /// Worked: masses 1e-16, 2e-16, 0.4, 0.6, 5e-16 and a tail of 1e-15 leave the cells of 0.4 and 0.6, and 8e-16 left
    /// out.
    pub fn trimmed(self, mass: &[f64], tail: f64) -> (Self, f64) {
        let below = leading(mass.iter(), tail);
        let above = leading(mass[below.0..].iter().rev(), tail);
        let window = Self { from: self.from + below.0, to: self.to - above.0 };
        if window.from < window.to { (window, below.1 + above.1) } else { (self, 0.0) }
    }
}

/// How many leading values sum to at most `tail`, and their sum.
fn leading<'a>(mass: impl Iterator<Item = &'a f64>, tail: f64) -> (usize, f64) {
    let mut sum = 0.0;
    let mut count = 0;
    for value in mass {
        if sum + value > tail {
            break;
        }
        sum += value;
        count += 1;
    }
    (count, sum)
}
