//! From the advice of everybody present to the candidates and athletes of a [`Problem`](super::Problem).
//!
//! A lane may carry what somebody may run today: each kind and height of the stock, on the club's spacing grid
//! and at a target's own spacing and at those that coaches chose, wherever the region of at least one athlete
//! permits it. Nothing else decides who may run where.
//!
//! The grid is the multiples of the club's step (0.25 m as a rule). A target's spacing is added where it ends
//! somebody's permitted spacings, because a race is run over 8.50 m and not over the nearest mark; a coach's
//! choice, over its own barrier, because the coach's word is the advice.
//!
//! # Worked example
//! An athlete is permitted 5.10 to 6.60 m over wickets at 0.30 m, the target's spacing being 6.60 m; the step
//! is 0.25 m. The candidates are 5.25, 5.50, ... 6.50 and 6.60 m: seven, as far as P(hold) reaches the floor
//! there.
//!
//! # Assumptions
//! The estimate gives P(hold) for every athlete at every configuration; who has no advice (rests, is
//! restricted, has left) is no part of a plan. A candidate's approach is the longest of those who may run it; a
//! shorter one is chosen after planning, and then the lane has metres to spare.
//!
//! # Complexity
//! One evaluation of the hold curve for each athlete and each configuration inside the bounds of their region,
//! once for the candidates and once for the rows.

use std::collections::BTreeSet;

use super::model::{Athlete, Candidate, MAX_CANDIDATES, StockItem};
use crate::approach::Approach;
use crate::decision::{Configuration, Region};
use crate::estimate::Estimate;
use crate::units::{BarrierKind, Length};

/// Somebody who is present and does not rest.
#[derive(Clone, Debug)]
pub struct Runner<'a> {
    /// Identity.
    pub id: u128,
    /// What is believed of the athlete: the hold curve, its width and the height cost are read.
    pub estimate: &'a Estimate,
    /// Where the athlete may run; not closed. Wanting more than the club's floor is said here, with
    /// [`Region::wanting`].
    pub region: Region,
    /// How much the athlete's losses count, 1 to 2; see [`weight`](super::weight).
    pub weight: f64,
    /// Number of the specification that the athlete trains towards; equal for those who share one.
    pub target: u32,
    /// Where the athlete's first barrier stands, as a function of the spacing.
    pub approach: Approach,
}

/// The candidates that somebody may run, at most [`MAX_CANDIDATES`], and everybody as the plan sees them.
/// Whoever is closed out (no advice) is left out.
///
/// `step` is the club's spacing step, at least 1 mm. Each candidate has the longest approach of those who may
/// run it, so that a lane fits its straight whoever of them is put there; `approach` instead where the coach
/// wants one for all. Stock items with a count of 0 give no candidates.
///
/// No candidates at all means that nothing which the club can set out lies in anybody's region: such a problem
/// does not pass [`Problem::check`](super::Problem::check), and the plan of that day is
/// [`Plan::without_lanes`](super::Plan::without_lanes).
///
/// Candidates are all different and in the order of kind, height and spacing; athletes in the order of the
/// runners.
pub fn group(
    runners: &[Runner<'_>],
    stock: &[StockItem],
    step: Length,
    approach: Option<Length>,
) -> (Vec<Candidate>, Vec<Athlete>) {
    let candidates = thinned(candidates(runners, stock, step.mm().max(1), approach));
    let athletes = runners.iter().filter_map(|runner| athlete(runner, &candidates)).collect();
    (candidates, athletes)
}

/// The athlete's row: P(hold) and permission at every candidate; none without advice. Width and height cost are
/// cut to the ranges that a problem may have.
fn athlete(runner: &Runner<'_>, candidates: &[Candidate]) -> Option<Athlete> {
    let advised = runner.region.advised()?;
    let (mut hold, mut permitted) = (Vec::new(), Vec::new());
    for candidate in candidates {
        let (mean, may) = chance(runner, candidate.configuration());
        hold.push(mean);
        permitted.push(may);
    }
    Some(Athlete {
        id: runner.id,
        width_m: runner.estimate.curve_width_m().clamp(0.01, 10.0),
        height_cost: runner.estimate.height_cost.clamp(0.0, 10.0),
        advised,
        advised_hold: runner.estimate.hold_mean(advised.height, advised.spacing).clamp(0.0, 1.0),
        hold,
        permitted,
        weight: runner.weight,
        target: runner.target,
    })
}

/// The mean P(hold) at a configuration and whether it is permitted; 0 where bounds alone forbid it.
///
/// The region is asked with certainty first: what it refuses even then needs no evaluation of the curve.
fn chance(runner: &Runner<'_>, at: Configuration) -> (f64, bool) {
    if runner.region.check(at, 1.0).is_err() {
        return (0.0, false);
    }
    let mean = runner.estimate.hold_mean(at.height, at.spacing).clamp(0.0, 1.0);
    (mean, runner.region.check(at, mean).is_ok())
}

/// Every kind and height of the stock at every spacing of [`spacings`] that some region permits, each with its
/// approach.
fn candidates(runners: &[Runner<'_>], stock: &[StockItem], step: u32, asked: Option<Length>) -> Vec<Candidate> {
    let barriers: BTreeSet<(BarrierKind, Length)> = stock
        .iter()
        .filter(|item| item.count > 0)
        .flat_map(|item| item.heights.iter().map(|height| (item.kind, *height)))
        .collect();
    let mut found = Vec::new();
    for (kind, height) in barriers {
        for spacing in spacings(runners, kind, height, step) {
            let at = Configuration { barrier_kind: kind, height, spacing };
            let may = runners.iter().filter(|runner| chance(runner, at).1);
            found.extend(may.map(|runner| runner.approach.at(spacing)).max().map(|longest| Candidate {
                kind,
                height,
                spacing,
                approach: asked.unwrap_or(longest),
            }));
        }
    }
    found
}

/// The club's grid between the shortest and the longest spacing that somebody may run over a barrier, the
/// targets' own and those that coaches chose.
///
/// The longest is that of the wider bound where a wanted P(hold) opens it. The grid's ends are rounded inwards:
/// 5.10 m begins at 5.25 m.
fn spacings(runners: &[Runner<'_>], kind: BarrierKind, height: Length, step: u32) -> BTreeSet<Length> {
    let mut found = BTreeSet::new();
    for runner in runners {
        let here = runner.region.bounds().iter().filter(|bound| bound.barrier_kind == kind && bound.height == height);
        for bound in here {
            let longest = bound.beyond.map_or(bound.longest.spacing, |beyond| beyond.spacing);
            let grid = bound.shortest.spacing.mm().div_ceil(step)..=longest.mm() / step;
            found.extend(grid.map(|k| Length::from_mm(k * step)));
            let target = runner.region.target().map(|(_, spacing)| spacing);
            found.extend(target.filter(|target| *target == bound.longest.spacing));
            let chosen = runner.region.chosen().filter(|at| (at.barrier_kind, at.height) == (kind, height));
            found.extend(chosen.map(|at| at.spacing));
        }
    }
    found
}

/// At most [`MAX_CANDIDATES`]: with a very fine grid every second candidate is left out until the rest fits.
/// The first is kept; target spacings and coaches' choices may be among those that go. With the usual step of
/// 0.25 m and a dozen barriers a club has fewer.
fn thinned(mut found: Vec<Candidate>) -> Vec<Candidate> {
    while found.len() > MAX_CANDIDATES {
        let mut keep = false;
        found.retain(|_| {
            keep = !keep;
            keep
        });
    }
    found
}
