//! What an athlete loses in a lane: how far it is from the lane that the athlete is advised to run.
//!
//! A coach who could give everybody a private lane would set out what each is advised; the plan comes as near
//! to that as the lanes, barriers and metres allow. The distance is told in demand, the spacing over a wicket
//! that would be as demanding:
//!
//! ```text
//! e = s + g max(0, h - 0.30 m)                     demand of a lane, metres (m)
//! D = 1 - exp(-((e_advised - e) / (k w))^2 / 2)    on the easier side; on the harder side counted twice
//! C = 1 - exp(-((p_advised - p) / c)^2 / 2)        on the easier side, where the rhythm is less likely to hold than as advised
//! L = 1 - (1 - D)(1 - C)
//! loss = L + o (1 - L)                             o for another height or kind than advised
//! ```
//!
//! with the athlete's height cost g, the width w of their hold curve, k = 2 widths, c = 0.05 and o = 0.25. A
//! closer lane in which the rhythm is less likely to hold is no easier one: it crowds, and whoever is put there
//! week after week holds little. The loss is 0 at the advised configuration and at most 1; [`weight`] makes the
//! loss of somebody who was served badly lately count more, so that nobody pays for the others twice. Where an
//! athlete may run at all is not decided here but by [`Region`](crate::decision::Region).
//!
//! # Shape
//! Each part is a share of the worth that the parts before have left, so the whole never exceeds 1 and no part
//! hides another. Near the advice the loss grows with the square of the distance: half a step costs little, and
//! two athletes half a step away are better than one a whole step away. Far away it levels off: a lane that is
//! useless does not become more useless, so the plan does not sacrifice the others to bring one hopeless
//! distance down a little. That makes it neither convex nor concave, which the search does not need.
//!
//! # Worked example
//! Width 0.22 m, height cost 1, advised 6.50 m over 0.50 m with P(hold) 0.85:
//!
//! | lane | D | C | loss |
//! | --- | --- | --- | --- |
//! | 6.50 m over 0.50 m | 0 | 0 | 0 |
//! | 6.25 m over 0.50 m, holds 0.85 or more | 0.149 | 0 | 0.149 |
//! | 6.00 m over 0.50 m, the same | 0.476 | 0 | 0.476 |
//! | 6.25 m over 0.50 m, holds 0.83 | 0.149 | 0.077 | 0.214 |
//! | 6.25 m over 0.50 m, holds 0.80 | 0.149 | 0.393 | 0.484 |
//! | 6.75 m over 0.50 m, harder | 0.298 | 0 | 0.298 |
//! | 6.50 m over 0.25 m | 0.098 | 0 | 0.324 |
//!
//! In the last row the demand is 6.50 against 6.70 m, 0.20 m easier, and the other height takes a quarter of
//! what is left.
//!
//! # Source
//! Design choices. What matters is that a squad advances as if everybody had a private lane: `./dev simulate
//! squad` prints it, and the figures below were chosen there.

use super::model::Athlete;
use crate::decision::Configuration;

/// Widths of the hold curve after which a lane has lost two fifths of its worth (1 - exp(-1/2) = 0.393).
pub(super) const WIDTHS: f64 = 2.0;
/// Probability of holding below that of the advised lane at which a lane has lost two fifths of its worth. A
/// design choice, taken after looking at the simulated clubs 1 to 20; on clubs 21 to 40 three of 455 athletes
/// still held less than 0.70.
pub(super) const CROWDED: f64 = 0.05;
/// Lost over another height or kind than advised, of what is left: a step of the barrier waits a session.
/// Counted once where both differ.
pub(super) const OTHER_BARRIER: f64 = 0.25;
/// The most that a loss can count: twice that of somebody who lost nothing lately.
pub const WEIGHT_MOST: f64 = 2.0;
/// Mean loss of the last sessions at which a loss counts the most; about what two steps of 0.25 m lose at a
/// width of 0.25 m.
const WEIGHT_FULL: f64 = 0.4;
/// Sessions that make "lately" (design choice: two weeks of two).
pub const WEIGHT_SESSIONS: usize = 4;

/// Share of the worth of the advised lane that an athlete loses by running over something else, where an
/// interval holds with a mean probability of `hold`; 0 to 1.
///
/// The harder side counts twice and is cut off at 1; it is reached only where the region permits more than
/// advised: a wider spacing over a lower barrier, or a height within the club's tolerance. `hold` matters on
/// the easier side alone, and only below [`Athlete::advised_hold`]: a lane that is likelier to hold than the
/// advised one is not better for it. Heights are compared exactly, not to the club's tolerance.
///
/// Not finite where the athlete's width is not; [`Problem::check`](super::Problem::check) sees to it that it
/// is.
///
/// ```
/// use lanewright_compute::decision::Configuration;
/// use lanewright_compute::lane_plan::{Athlete, loss};
/// use lanewright_compute::units::{BarrierKind, Length};
///
/// let at = |height, spacing| Configuration {
///     barrier_kind: BarrierKind::LowBarrier,
///     height: Length::from_mm(height),
///     spacing: Length::from_mm(spacing),
/// };
/// let athlete = Athlete {
///     id: 1,
///     width_m: 0.22,
///     height_cost: 1.0,
///     advised: at(500, 6_500),
///     advised_hold: 0.85,
///     hold: vec![],
///     permitted: vec![],
///     weight: 1.0,
///     target: 0,
/// };
/// let lost = |height, spacing, hold| (loss(&athlete, at(height, spacing), hold) * 1_000.0).round();
/// assert_eq!(lost(500, 6_500, 0.85), 0.0);
/// assert_eq!([lost(500, 6_250, 0.85), lost(500, 6_250, 0.83), lost(500, 6_250, 0.80)], [149.0, 214.0, 484.0]);
/// assert_eq!([lost(500, 6_000, 0.90), lost(500, 6_750, 0.80), lost(250, 6_500, 0.88)], [476.0, 298.0, 324.0]);
/// ```
pub fn loss(athlete: &Athlete, here: Configuration, hold: f64) -> f64 {
    let easier = athlete.advised.demand_m(athlete.height_cost) - here.demand_m(athlete.height_cost);
    let widths = easier / (WIDTHS * athlete.width_m);
    let side = if easier < 0.0 { 2.0 } else { 1.0 };
    let away = (side * (1.0 - libm::exp(-widths * widths / 2.0))).min(1.0);
    let less = if easier > 0.0 { (athlete.advised_hold - hold).max(0.0) / CROWDED } else { 0.0 };
    let crowded = 1.0 - libm::exp(-less * less / 2.0);
    let away = away + crowded * (1.0 - away);
    let other = here.height != athlete.advised.height || here.barrier_kind != athlete.advised.barrier_kind;
    if other { away + OTHER_BARRIER * (1.0 - away) } else { away }
}

/// How much a loss counts of somebody who lost so much (0 to 1, waiting counts as 1) in each of the last
/// sessions, of which the first [`WEIGHT_SESSIONS`] are read: 1 for nothing lost, rising in proportion to the
/// mean to [`WEIGHT_MOST`] at a mean of 0.4.
///
/// Fewer sessions than four count as they are, so one bad session alone counts fully; none at all is 1.
///
/// ```
/// use lanewright_compute::lane_plan::weight;
///
/// assert_eq!(weight(&[]), 1.0);
/// assert!((weight(&[0.2, 0.2]) - 1.5).abs() < 1e-12);
/// assert_eq!(weight(&[1.0]), 2.0);
/// // The fifth session back is forgotten.
/// assert_eq!(weight(&[0.0, 0.0, 0.0, 0.0, 1.0]), 1.0);
/// ```
pub fn weight(latest_first: &[f64]) -> f64 {
    let lately = &latest_first[..latest_first.len().min(WEIGHT_SESSIONS)];
    if lately.is_empty() {
        return 1.0;
    }
    #[allow(clippy::cast_precision_loss)] // a handful
    let mean = lately.iter().sum::<f64>() / lately.len() as f64;
    1.0 + (WEIGHT_MOST - 1.0) * (mean / WEIGHT_FULL).clamp(0.0, 1.0)
}
