//! What a coach holds in the hand beside the lane: last time, today, what to watch and what usually corrects it.
//!
//! | question | answer |
//! | --- | --- |
//! | what did the athlete do last time | [`last_time`]: the day before the session on which the athlete ran last |
//! | what to watch today | [`watch`]: the weakest rated criterion, with its usual correction |
//! | where do the feet come down | [`strides`]: strides of the approach, and contacts between two barriers |
//!
//! Of several criteria rated alike the one taught first is watched, since the later ones build on it. A criterion that nobody
//! rated is not watched: it is to be rated, which is what [`crate::board`] says.
//!
//! ```text
//! watched     argmin over rated criteria of (rating, place in teaching), while that rating is below 3
//! feet (mm)   spacing x (0.118, 0.306, 0.541, 0.765): landing, strides 1 to 3, as sums of the shares of set-out
//! last time   the latest day t < today with a run
//! ```
//!
//! # Where it is asked
//! For the cards of a session and their sheet of paper; the feet also for the rhythm that a phone plays, where they say when each stride
//! comes down. Nothing here is computed anew that a decision has said: a card shows, it does not advise.
//!
//! # Example
//! ```
//! use lanewright_compute::card::watch;
//! use lanewright_compute::decision::{Criterion, Rating, Ratings};
//!
//! let ratings = Ratings {
//!     lead_leg: Some(Rating::Secure),
//!     trail_leg: Some(Rating::Emerging),
//!     rhythm: Some(Rating::Emerging),
//!     ..Ratings::default()
//! };
//! let seen = watch(&ratings, false).unwrap();
//! assert_eq!((seen.criterion, seen.rating), (Criterion::TrailLeg, Rating::Emerging));
//! assert!(seen.correction.correction.contains("lead drills"));
//! assert!(watch(&Ratings::default(), false).is_none());
//! ```
//!
//! Left out on purpose: what an athlete should run over, which [`crate::decision`] decides, and in which lane, which the lane plan
//! does.
//!
//! # Source
//! Each correction names its own. They are common practice: what coaches write that they do, not what a trial has shown.

use crate::advice::RunRecord;
use crate::decision::{Criterion, Rating, Ratings};
use crate::progress::{TrainingDay, training_days};
use crate::set_out::{LaneSetting, MarkKind, SetOutError, set_out};
use crate::units::Length;

/// What is usually behind a weak criterion, and what usually corrects it. Common practice: something to try first, not a diagnosis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Correction {
    /// What to look at first, as a clause without a full stop.
    pub look_first_at: &'static str,
    /// What to try, as a clause without a full stop.
    pub correction: &'static str,
    /// Where that is written, or that it is nowhere.
    pub source: &'static str,
}

/// After D. Mitchell's clinic, as told on a page of advice of which the beginning could be read. Cited for what to look at first and what to
/// try; how often either helps is said nowhere.
const MISTAKES: &str = "\"Fixing Common Hurdles Mistakes\", trackandfield.about.com, after D. Mitchell's 2014 clinic";
/// One coach's notes from clinics.
const CLINIC: &str = "one coach's public notes from clinics, author not shown";
/// No source: what many coaches do, and nobody was found to have written.
const PRACTICE: &str = "common practice, no source";

impl Correction {
    /// The usual correction of a criterion: one for each, whatever its rating.
    pub const fn of(criterion: Criterion) -> Self {
        let (look_first_at, correction, source) = match criterion {
            Criterion::LeadLeg => (
                "a take-off too close, or hips low at take-off",
                "mark the take-off, ask for a tall last step, and lower the barrier",
                MISTAKES,
            ),
            Criterion::TrailLeg => (
                "a foot that is not turned out or a low knee, often after a fault of the lead leg",
                "do twice as many lead drills as trail drills",
                MISTAKES,
            ),
            Criterion::Walkover => (
                "an athlete who crowds the barrier, or is too short for its height",
                "walk at the side of the barrier, lead and trail side apart, before going over its middle",
                CLINIC,
            ),
            Criterion::TakeOff => (
                "fear, or a take-off too close, when somebody jumps high",
                "use a soft top bar and a lower height, mark a farther take-off; walk it, then half speed, then run",
                MISTAKES,
            ),
            Criterion::Landing => (
                "a take-off too close, which makes the landing long and slow",
                "mark a farther take-off",
                "\"Intraindividual Effects of Take-Off Distance on Hurdling and Interval Running in Sprint Hurdles\", \
                 Biomechanics 5(1): 13, 2025",
            ),
            Criterion::Posture => (
                "eyes on the barrier and hips that sink between barriers",
                "run tall over wickets one step closer, eyes up",
                PRACTICE,
            ),
            Criterion::Rhythm => (
                "speed lost at the landing, or a spacing too long",
                "bring the spacing in one step, run three barriers only, and lower them",
                "one coach's public notes from clinics, author not shown, and a forum thread on going from four to three \
                 steps, letsrun.com",
            ),
            Criterion::Arms => (
                "arms that cross the midline; they are taught last",
                "walk over with the opposite arm forward, then skip, then run",
                CLINIC,
            ),
        };
        Self { look_first_at, correction, source }
    }
}

/// The criterion to watch. One, so that it can be watched in a run of a few seconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Watch {
    /// The weakest rated criterion.
    pub criterion: Criterion,
    /// Its rating: not yet, emerging or secure.
    pub rating: Rating,
    /// What usually corrects it.
    pub correction: Correction,
}

/// The weakest criterion that is rated and not yet secure under race conditions; of equals the one taught first. None when nothing
/// is. `arms_count` says whether the club asks for ratings of the arms: without it arms are neither watched nor corrected.
///
/// Criteria of the gate have no precedence over the others: an emerging rhythm is watched before a secure trail leg. Ratings are those
/// inside the assessment window; whoever was not rated for twelve weeks has nothing to watch, and is due to be rated.
pub fn watch(ratings: &Ratings, arms_count: bool) -> Option<Watch> {
    let counts = |one: &Criterion| arms_count || *one != Criterion::Arms;
    let rated = Criterion::ALL.into_iter().filter(counts).filter_map(|one| Some((one, ratings.of(one)?)));
    let (criterion, rating) = rated.min_by_key(|(_, rating)| *rating)?;
    (rating < Rating::SecureUnderRace).then(|| Watch { criterion, rating, correction: Correction::of(criterion) })
}

/// The latest day before a day (days since 1970-01-01) on which the athlete ran, with its load and main configuration; none when there is
/// none. Not the day itself, since a card is read before and during a session. Runs in any order, walkovers too; how long ago it was is for
/// the reader to judge.
pub fn last_time(runs: &[RunRecord], before: i32) -> Option<TrainingDay> {
    training_days(runs, i32::MIN, before.saturating_sub(1)).pop()
}

/// Where the feet come down behind a barrier of a lane: landing, then strides 1 to 3, from that barrier; see [`set_out`]. Strictly ascending
/// and short of the next barrier for spacings from 1 m. The third is the take-off mark.
///
/// They are proportions of the spacing, so the approach only bounds how long the lane is.
///
/// # Errors
/// [`SetOutError`] for a lane that cannot be set out: no spacing, or longer than a [`Length`] can tell.
///
/// ```
/// use lanewright_compute::card::strides;
/// use lanewright_compute::units::Length;
///
/// let found = strides(Length::from_mm(12_000), Length::from_mm(6_000))?;
/// assert_eq!(found.map(Length::mm), [708, 1_836, 3_246, 4_590]);
/// # Ok::<(), lanewright_compute::set_out::SetOutError>(())
/// ```
pub fn strides(approach: Length, spacing: Length) -> Result<[Length; 4], SetOutError> {
    let marks = set_out(&LaneSetting { approach, spacing, barriers: 2, run_out: Length::default() })?;
    let after = |kind: MarkKind| {
        let at = marks.iter().find(|mark| mark.kind == kind).map_or(approach, |mark| mark.at);
        Length::from_mm(at.mm().saturating_sub(approach.mm()))
    };
    Ok([MarkKind::Landing, MarkKind::Stride1, MarkKind::Stride2, MarkKind::Stride3].map(after))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ratings(levels: [Option<u8>; 8]) -> Ratings {
        let [lead_leg, trail_leg, walkover, take_off, landing, posture, rhythm, arms] =
            levels.map(|level| level.and_then(Rating::from_level));
        Ratings { lead_leg, trail_leg, walkover, take_off, landing, posture, rhythm, arms }
    }

    proptest! {
        #[test]
        fn nobody_is_weaker_than_what_is_watched_and_nothing_unrated_is(
            levels in prop::array::uniform8(prop::option::of(0..4_u8)), arms: bool,
        ) {
            let ratings = ratings(levels);
            let counted: Vec<(Criterion, Rating)> = Criterion::ALL
                .into_iter()
                .filter(|one| arms || *one != Criterion::Arms)
                .filter_map(|one| Some((one, ratings.of(one)?)))
                .collect();
            match watch(&ratings, arms) {
                Some(seen) => {
                    prop_assert_eq!(ratings.of(seen.criterion), Some(seen.rating));
                    prop_assert!(counted.iter().all(|(_, rating)| *rating >= seen.rating));
                    let first = counted.iter().find(|(_, rating)| *rating == seen.rating);
                    prop_assert_eq!(first.map(|(one, _)| *one), Some(seen.criterion));
                }
                None => prop_assert!(counted.iter().all(|(_, rating)| *rating == Rating::SecureUnderRace)),
            }
        }

        #[test]
        fn feet_come_down_in_order_between_two_barriers(approach in 0..20_000_u32, spacing in 1_000..10_000_u32) {
            let found = strides(Length::from_mm(approach), Length::from_mm(spacing)).unwrap();
            prop_assert!(found.windows(2).all(|pair| pair[0] < pair[1]));
            prop_assert!(found[3] < Length::from_mm(spacing));
        }
    }

    #[test]
    fn every_correction_says_where_to_look_what_to_try_and_who_says_so() {
        for one in Criterion::ALL.map(Correction::of) {
            assert!(
                !one.look_first_at.is_empty() && !one.correction.ends_with('.') && one.source.len() > 10,
                "{one:?}"
            );
        }
    }
}
