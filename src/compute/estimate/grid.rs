//! The fixed grid of latent states.
//!
//! Why fixed: no sampling, so equal runs give equal answers on every machine, and two athletes can share tables. Why
//! these steps: halving all of them moves the mean limit by less than 0.01 m, below what a tape can set.
//!
//! # The lattice
//!
//! A likelihood needs the distance beyond the limit, x = s - c + g max(0, h - 0.30), at every cell. With s and h in
//! whole millimetres, c = 3.5 + 0.05 i and g = 0.2 + 0.4 k, x is always a whole number of fifths of a millimetre, so
//! it can be looked up instead of computed:
//!
//! ```text
//! units = 5 s + (1 + 2 k) (h - 300)         s and h in mm, one unit is 0.2 mm
//! offset = units mod 250                     place of the first cell = 362 - units / 250
//! x = 0.0002 m (offset + 250 (292 - place))
//! ```
//!
//! One cell further is one place further, since 0.05 m are 250 units. Two configurations with the same offset share
//! one table of logarithms, whatever their spacing: club grids of 0.10 or 0.25 m over wickets all have offset nought.
//!
//! Worked: 7.013 m over 0.762 m with k = 0 (g = 0.2): units = 35 065 + 462 = 35 527, offset 27, first place 362 - 142
//! = 220. The cell of 6.70 m is number 64, its place 284, x = 0.0002 (27 + 250 · 8) = 0.4054 m = 7.013 - (6.70 - 0.2 ·
//! 0.462).

use crate::units::Length;

/// Cells of the limit.
///
/// 131 = (10.00 - 3.50) / 0.05 + 1. The ends take in every published lane: children's 5.5 m and the 9.14 m of the 110
/// m hurdles.
pub(super) const CELLS: usize = 131;
/// The limit of the first cell, metres (m).
pub(super) const FIRST_LIMIT_M: f64 = 3.5;
/// Distance between two cells, metres (m).
///
/// A quarter of the median width, so that the curve of one state is smooth over several cells.
pub(super) const STEP_M: f64 = 0.05;
/// Height costs, metres of spacing per metre of height.
///
/// Equally spaced by 0.4, which the lattice needs. Prior mass at the defaults: 0.091, 0.236, 0.326, 0.236, 0.091,
/// 0.018, 0.002.
pub(super) const HEIGHT_COSTS: [f64; 7] = [0.2, 0.6, 1.0, 1.4, 1.8, 2.2, 2.6];
/// Widths, metres (m).
///
/// Each about 1.6 times the one before: even steps in the logarithm. Prior mass at the defaults: 0.019, 0.345, 0.553,
/// 0.083.
pub(super) const WIDTHS_M: [f64; 4] = [0.10, 0.16, 0.25, 0.40];
/// Trends, metres per week (m/week).
///
/// One falls, one stands, three rise: athletes in training grow. Prior mass at the defaults: 0.091, 0.187, 0.268,
/// 0.268, 0.187.
pub(super) const TRENDS_M: [f64; 5] = [-0.03, 0.0, 0.03, 0.06, 0.09];
/// Pairs of a height cost and a width.
///
/// 28. A lane here is a row of the grid, not one on the track: within it only the limit and the trend vary.
pub(super) const LANES: usize = HEIGHT_COSTS.len() * WIDTHS_M.len();

/// The height at which the limit is stated: a wicket.
///
/// Design choice: the usual wicket. Lower ones cost nothing, so a flat mark and a wicket have one limit.
const REFERENCE_HEIGHT_MM: u32 = 300;

/// The limit of a cell, metres (m).
///
/// 3.50 m for cell 0, 10.00 m for cell 130; the middle of the cell's 0.05 m.
#[allow(clippy::cast_precision_loss)] // at most 130
pub(super) fn limit_m(cell: usize) -> f64 {
    FIRST_LIMIT_M + STEP_M * cell as f64
}

/// How far a barrier stands above the reference height, metres (m); none below it.
pub(super) fn excess_height_m(height: Length) -> f64 {
    f64::from(height.mm().saturating_sub(REFERENCE_HEIGHT_MM)) / 1_000.0
}

/// A pair of a height cost and a width, by their places in the grid.
///
/// `height_cost` counts [`HEIGHT_COSTS`], `width` counts [`WIDTHS_M`], both from nought.
#[derive(Clone, Copy)]
pub(super) struct Lane {
    pub height_cost: usize,
    pub width: usize,
}

impl Lane {
    /// Every pair, in the order in which a posterior keeps them.
    ///
    /// Height costs outermost, widths innermost; the place in this order is the index of a posterior's rows and
    /// windows.
    pub fn all() -> impl Iterator<Item = Self> {
        (0..HEIGHT_COSTS.len())
            .flat_map(|height_cost| (0..WIDTHS_M.len()).map(move |width| Self { height_cost, width }))
    }
}

/// Exact whole-number distances from the limit, in units of 0.2 mm.
///
/// With spacings and heights in whole millimetres, height costs of 0.2 + 0.4 k and limits 50 mm apart, the distance
/// beyond the limit is a whole number of these units.
///
/// Equal for two configurations exactly when their spacing and the part of their height above 0.30 m are equal;
/// ordering has no meaning beyond grouping equal ones.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Lattice {
    spacing_mm: usize,
    excess_mm: usize,
}

impl Lattice {
    /// Units in a cell.
    ///
    /// 0.05 m / 0.2 mm; the number of tables that can ever be needed for one width.
    pub const OFFSETS: usize = 250;
    /// Places that a permitted spacing and height can reach: see the test below.
    ///
    /// 453 = 362 - 40 + 131, so a table of one outcome takes 3.6 KB.
    pub const PLACES: usize = Self::LAST_BASE - Self::FIRST_BASE + CELLS;
    /// Whole cells in the units of the easiest permitted configuration: 2 m over a wicket has 10 000 units, and so the
    /// first place 322.
    const FIRST_BASE: usize = 40;
    /// The same of the hardest one: 15 m over 1.5 m with k = 6 has 90 600 units, and so the first place 0.
    const LAST_BASE: usize = 362;
    /// Cells below the first limit.
    const LIMIT_CELLS: usize = 70;
    const UNIT_M: f64 = 0.000_2;

    /// Heights at or below 0.30 m have no excess. Nothing is checked: places stay inside the tables for spacings from
    /// 2 to 15 m and heights to 1.5 m, which a run's check makes sure of.
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
