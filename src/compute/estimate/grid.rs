//! The fixed grid of latent states.

use crate::units::Length;

/// Cells of the limit.
pub(super) const CELLS: usize = 131;
/// The limit of the first cell, metres (m).
pub(super) const FIRST_LIMIT_M: f64 = 3.5;
/// Distance between two cells, metres (m).
pub(super) const STEP_M: f64 = 0.05;
/// Height costs, metres of spacing per metre of height.
pub(super) const HEIGHT_COSTS: [f64; 7] = [0.2, 0.6, 1.0, 1.4, 1.8, 2.2, 2.6];
/// Widths, metres (m).
pub(super) const WIDTHS_M: [f64; 4] = [0.10, 0.16, 0.25, 0.40];
/// Trends, metres per week (m/week).
pub(super) const TRENDS_M: [f64; 5] = [-0.03, 0.0, 0.03, 0.06, 0.09];
/// Pairs of a height cost and a width.
pub(super) const LANES: usize = HEIGHT_COSTS.len() * WIDTHS_M.len();

/// The height at which the limit is stated: a wicket.
const REFERENCE_HEIGHT_MM: u32 = 300;

/// The limit of a cell, metres (m).
#[allow(clippy::cast_precision_loss)] // at most 130
pub(super) fn limit_m(cell: usize) -> f64 {
    FIRST_LIMIT_M + STEP_M * cell as f64
}

/// How far a barrier stands above the reference height, metres (m); none below it.
pub(super) fn excess_height_m(height: Length) -> f64 {
    f64::from(height.mm().saturating_sub(REFERENCE_HEIGHT_MM)) / 1_000.0
}

/// A pair of a height cost and a width, by their places in the grid.
#[derive(Clone, Copy)]
pub(super) struct Lane {
    pub height_cost: usize,
    pub width: usize,
}

impl Lane {
    /// Every pair, in the order in which a posterior keeps them.
    pub fn all() -> impl Iterator<Item = Self> {
        (0..HEIGHT_COSTS.len())
            .flat_map(|height_cost| (0..WIDTHS_M.len()).map(move |width| Self { height_cost, width }))
    }
}

/// Exact whole-number distances from the limit, in units of 0.2 mm.
///
/// With spacings and heights in whole millimetres, height costs of 0.2 + 0.4 k and limits 50 mm apart, the distance
/// beyond the limit is a whole number of these units.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Lattice {
    spacing_mm: usize,
    excess_mm: usize,
}

impl Lattice {
    /// Units in a cell.
    pub const OFFSETS: usize = 250;
    /// Places that a permitted spacing and height can reach: see the test below.
    pub const PLACES: usize = Self::LAST_BASE - Self::FIRST_BASE + CELLS;
    const FIRST_BASE: usize = 40;
    const LAST_BASE: usize = 362;
    /// Cells below the first limit.
    const LIMIT_CELLS: usize = 70;
    const UNIT_M: f64 = 0.000_2;

    pub fn new(height: Length, spacing: Length) -> Self {
        let excess = height.mm().saturating_sub(REFERENCE_HEIGHT_MM);
        Self { spacing_mm: spacing.mm() as usize, excess_mm: excess as usize }
    }

    /// The offset below a cell width, and the place of the lane's first cell; the next cell is the next place.
    pub fn place(self, lane: Lane) -> (usize, usize) {
        let units = 5 * self.spacing_mm + (1 + 2 * lane.height_cost) * self.excess_mm;
        (units % Self::OFFSETS, Self::LAST_BASE - units / Self::OFFSETS)
    }

    /// The distance beyond the limit at a place, metres (m).
    #[allow(clippy::cast_precision_loss)] // below 100 000
    pub fn distance_m(offset: usize, place: usize) -> f64 {
        let reach = Self::LAST_BASE - Self::LIMIT_CELLS;
        let units = (offset + Self::OFFSETS * reach) as f64 - (Self::OFFSETS * place) as f64;
        units * Self::UNIT_M
    }
}

#[cfg(test)]
mod tests {
    use super::super::{HEIGHT_MAX, SPACING_MAX, SPACING_MIN};
    use super::*;

    #[test]
    fn a_place_says_the_distance_from_the_limit() {
        let (height, spacing) = (Length::from_mm(762), Length::from_mm(7_013));
        for lane in Lane::all() {
            let (offset, first) = Lattice::new(height, spacing).place(lane);
            for cell in [0, 64, CELLS - 1] {
                let limit_here = limit_m(cell) - HEIGHT_COSTS[lane.height_cost] * 0.462;
                let distance = Lattice::distance_m(offset, first + cell);
                assert!((distance - (7.013 - limit_here)).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn every_permitted_configuration_has_its_places() {
        for (height, spacing) in [(Length::default(), SPACING_MIN), (HEIGHT_MAX, SPACING_MAX)] {
            for lane in Lane::all() {
                let (offset, first) = Lattice::new(height, spacing).place(lane);
                assert!(offset < Lattice::OFFSETS && first + CELLS <= Lattice::PLACES);
            }
        }
    }
}
