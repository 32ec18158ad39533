//! Whether an athlete is ready for a race test over a course, and what to heed when a coach enters them all the same.
//!
//! The permitted region of the day decides, as for every lane: the course is asked as one more configuration. A race says
//! nothing of what its barriers are made of, so the softest kind that the club owns at that height is asked, and hurdles where
//! it owns none.
//!
//! | | |
//! | --- | --- |
//! | ready | the region permits the course |
//! | not ready | a soft wall is in the way: the athlete runs on a coach's word only, with [`Caution::NotReady`] |
//! | barred | rest, a restriction, or a course beyond the athlete's target: nobody enters the athlete |
//!
//! The prediction goes along whatever the answer: P(hold) for one interval of the course, and for all of them in a
//! row, which is what a race asks. For an athlete of P(hold) 0.90 at each of seven intervals the latter is about one
//! half.
//!
//! Used by the entries of a race test: a barred athlete is refused, one who is not ready is taken once a coach accepts
//! them, with the caution.

use super::Course;
use crate::advice::Advice;
use crate::decision::{Caution, Configuration, Hold, Missing, Region, Stage, Wall};
use crate::units::BarrierKind;

/// How ready an athlete is for a race test.
///
/// Of one athlete, one course and the day of the advice.
#[derive(Clone, Debug, PartialEq)]
pub struct Readiness {
    /// What is in the way; none when ready.
    ///
    /// The first of the softest kind that is owned.
    pub wall: Option<Wall>,
    /// Stage of the progression.
    pub stage: Stage,
    /// What a step up, or the race test as a step, still needs: the gates.
    pub missing: Vec<Missing>,
    /// The prediction for each interval of the course.
    ///
    /// At the height and spacing of the course, whatever its approach.
    pub hold: Hold,
    /// Probability that every interval of the course is held.
    ///
    /// 0 to 1; barriers less one intervals. Rather low, since intervals of one run fail together.
    pub hold_all: f64,
    /// What was run last, if six intervals were run at one configuration.
    ///
    /// None before that.
    pub last: Option<Configuration>,
    /// The athlete's own cautions.
    pub cautions: Vec<Caution>,
}

impl Readiness {
    /// How ready an athlete with this advice is for a course on the day of the advice.
    ///
    /// The cautions are the advice's own, that of a fall where nothing else says why soft walls stand, and
    /// [`Caution::NotReady`] behind a soft wall.
    pub fn of(advice: &Advice<'_>, course: &Course) -> Self {
        let decision = &advice.decision;
        let hold = advice.estimate.hold(course.height, course.spacing);
        let wall = in_the_way(&decision.region, course, hold.mean);
        let mut cautions: Vec<Caution> = decision.own_cautions().copied().collect();
        // A fall in a race is no run of the latest session, and waits for a coach's clearance all the same.
        let said = [Caution::AfterFall, Caution::AfterReport, Caution::WetSurface, Caution::UnevenSurface];
        let said = said.iter().any(|one| cautions.contains(one));
        if !decision.region.opens(false) && !said {
            cautions.push(Caution::AfterFall);
        }
        cautions.extend(wall.filter(|wall| !wall.is_hard()).map(|_| Caution::NotReady));
        Self {
            wall,
            stage: decision.stage,
            missing: decision.missing.clone(),
            hold,
            hold_all: advice.estimate.hold_all(course.height, course.spacing, course.barriers.saturating_sub(1)),
            last: decision.current,
            cautions,
        }
    }

    /// The wall that no coach's word opens, if that is what is in the way.
    ///
    /// None for somebody who is ready or behind a soft wall only.
    pub fn barred(&self) -> Option<Wall> {
        self.wall.filter(Wall::is_hard)
    }
}

/// Permitted over any kind that is owned is permitted: the race says nothing of what its barriers are made of.
fn in_the_way(region: &Region, course: &Course, hold: f64) -> Option<Wall> {
    let at = |barrier_kind| Configuration { barrier_kind, height: course.height, spacing: course.spacing };
    let owned: Vec<Configuration> = BarrierKind::ALL.into_iter().filter_map(|kind| region.settled(at(kind))).collect();
    if owned.is_empty() {
        return without_equipment(region, at(BarrierKind::Hurdle), hold);
    }
    let answers: Vec<Option<Wall>> = owned.into_iter().map(|at| region.check(at, hold).err()).collect();
    // The softest kind comes first: what is in its way is the least that is in the way.
    if answers.contains(&None) { None } else { answers.into_iter().flatten().next() }
}

/// What is in the way of a course that is run elsewhere, over barriers that the club does not own.
///
/// Not owning the barriers is no wall for a race run elsewhere; then the advised spacing and the floor of P(hold)
/// decide.
fn without_equipment(region: &Region, at: Configuration, hold: f64) -> Option<Wall> {
    let longest = region.advised().map(|advised| advised.spacing);
    match region.check(at, hold) {
        Err(Wall::NotOwned) => match longest {
            Some(longest) if at.spacing > longest => Some(Wall::SpacingAboveAdvice { longest }),
            _ if hold < region.floor() => Some(Wall::HoldFloor { needed: region.floor() }),
            _ => None,
        },
        answer => answer.err(),
    }
}
