//! Tape marks of a lane: where the start, the barriers, the steps between them and the end of the run-out go.
//!
//! A coach lays a tape along the lane from the start line and marks what is read off here. Barriers stand at
//!
//! ```text
//! x_k = approach + (k - 1) spacing,        k = 1 .. n
//! ```
//!
//! and between barrier k and the next the feet are expected at x_k + f · spacing, with the shares f = 0.118,
//! 0.306, 0.541 and 0.765; the run-out ends at x_n + run_out. All are whole millimetres: the shares are
//! thousandths, so a mark is at most half a millimetre from its exact place, and errors do not add up along the
//! lane.
//!
//! Marks of feet are what the published proportions say of one event, scaled. They show a rhythm to aim at;
//! where an athlete's feet come down is theirs, and nobody is asked to hit them.
//!
//! # Used from
//! The set-out sheet of a lane plan (JSON, CSV, SVG, PDF), an athlete's card ([`crate::card::strides`]), and
//! the table of stride marks that goes with a cue. The course of a race takes its landing from the same figure
//! ([`crate::rhythm`]).
//!
//! # Worked example
//! The women's 100 m: approach 13.00 m, ten barriers 8.50 m apart, run-out 10.50 m.
//!
//! | mark | barrier | computed, m | on the tape, m |
//! | --- | --- | --- | --- |
//! | start | | 0 | 0.00 |
//! | barrier | 1 | 13.000 | 13.00 |
//! | landing | 1 | 13 + 8.5 · 0.118 = 14.003 | 14.00 |
//! | stride 1 | 1 | 13 + 8.5 · 0.306 = 15.601 | 15.60 |
//! | stride 2 | 1 | 13 + 8.5 · 0.541 = 17.5985 | 17.60 |
//! | stride 3, take-off | 1, 2 | 13 + 8.5 · 0.765 = 19.5025 | 19.50 |
//! | barrier | 2 | 21.500 | 21.50 |
//! | barrier | 10 | 89.500 | 89.50 |
//! | end of the run-out | | 100.000 | 100.00 |
//!
//! # Cost
//! 1 + n + 5 (n - 1) + 1 marks for n barriers: 57 for ten.

use thiserror::Error;

use super::units::Length;

/// Where the feet come down between two barriers, as thousandths of the spacing after the barrier just cleared:
/// landing, strides 1, 2 and 3.
///
/// The five parts landing, stride 1, 2, 3 and take-off distance are 0.118, 0.188, 0.235, 0.224 and 0.235 of the
/// spacing. Added up: 0.118, 0.306, 0.541, 0.765; what is left to the next barrier is 0.235.
///
/// # Source
/// Ukrainian university guide on hurdling, library item 4281, pp. 12-14, author and year not shown: model of
/// the women's 100 m, whose five parts sum to 8.50 m. That the shares hold for other spacings is a design
/// choice.
const CONTACTS: [(MarkKind, u32); 5] = [
    (MarkKind::Landing, LANDING_THOUSANDTHS),
    (MarkKind::Stride1, 306),
    (MarkKind::Stride2, 541),
    (MarkKind::Stride3, 765),
    (MarkKind::TakeOff, 765),
];

/// Where the landing comes down, thousandths of the spacing after the barrier: 1.00 of 8.50 m; source as above.
pub(super) const LANDING_THOUSANDTHS: u32 = 118;

/// What a tape mark stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum MarkKind {
    /// Start line.
    Start,
    /// A barrier.
    Barrier,
    /// Expected landing behind a barrier, of the lead leg.
    Landing,
    /// Expected contact of the first stride.
    Stride1,
    /// Expected contact of the second stride.
    Stride2,
    /// Expected contact of the third stride, which is the take-off for the next barrier.
    Stride3,
    /// Expected take-off for a barrier, at the contact of the third stride.
    TakeOff,
    /// End of the run-out: up to here the lane must be free of people and things.
    RunOutEnd,
}

impl MarkKind {
    /// The word used in JSON and CSV.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Barrier => "barrier",
            Self::Landing => "landing",
            Self::Stride1 => "stride_1",
            Self::Stride2 => "stride_2",
            Self::Stride3 => "stride_3",
            Self::TakeOff => "take_off",
            Self::RunOutEnd => "run_out_end",
        }
    }
}

/// A tape mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Mark {
    /// Distance from the start line, whole millimetres; marks of a lane never go back.
    pub at: Length,
    /// What it stands for.
    pub kind: MarkKind,
    /// The barrier, from 1, that stands here (barrier), was just cleared (landing, strides) or comes next
    /// (take-off); none for start and end.
    pub barrier: Option<u8>,
}

impl Mark {
    /// The distance from the start line in metres (m), rounded half up to 0.01 m, as a tape is read: 14.003 m
    /// is 14.00, 17.599 m is 17.60.
    pub fn at_tape(self) -> f64 {
        f64::from((self.at.mm() + 5) / 10) / 100.0
    }
}

/// How a lane is set out. What stands in it (kind, height) moves no mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct LaneSetting {
    /// Start line to first barrier, 0 and up. Whether it is long enough to run is asked of
    /// [`short_approach`](crate::bounds::short_approach).
    pub approach: Length,
    /// Barrier to barrier, above 0 when there is more than one.
    pub spacing: Length,
    /// Number of barriers, at least 1.
    pub barriers: u8,
    /// Free distance after the last barrier, 0 and up; see [`run_out_least`](crate::bounds::run_out_least).
    pub run_out: Length,
}

/// Why a lane has no tape marks. The texts go to clients, behind what they are about.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum SetOutError {
    /// No barrier at all.
    #[error("must have at least one barrier")]
    NoBarrier,
    /// Barriers that would stand on one spot.
    #[error("must have a spacing above zero")]
    NoSpacing,
    /// The lane would be longer than a [`Length`] can tell.
    #[error("must not be longer than 1000 metres in all")]
    TooLong,
}

/// The tape marks of a lane in running order.
///
/// The start, every barrier, the landing, three strides and take-off between two barriers, and the end of the
/// run-out. The third stride ends at the take-off, so both marks lie on the same spot. The approach and the
/// run-out carry no step marks: the source has none. With one barrier there is nothing between: three marks.
///
/// # Errors
/// [`SetOutError`] for a lane that cannot be set out: none at all, two on one spot, or longer than 1 000 m.
///
/// ```
/// use lanewright_compute::set_out::{LaneSetting, MarkKind, set_out};
/// use lanewright_compute::units::Length;
///
/// let lane = LaneSetting {
///     approach: Length::from_mm(13_000),
///     spacing: Length::from_mm(8_500),
///     barriers: 10,
///     run_out: Length::from_mm(10_500),
/// };
/// let marks = set_out(&lane).unwrap();
/// let landing = marks.iter().find(|mark| mark.kind == MarkKind::Landing).unwrap();
/// assert_eq!((landing.at.mm(), landing.barrier), (14_003, Some(1)));
/// assert_eq!(marks.len(), 57);
/// ```
pub fn set_out(lane: &LaneSetting) -> Result<Vec<Mark>, SetOutError> {
    if lane.barriers == 0 {
        return Err(SetOutError::NoBarrier);
    }
    let spacing = lane.spacing.mm();
    if spacing == 0 && lane.barriers > 1 {
        return Err(SetOutError::NoSpacing);
    }
    // At most 256 lengths of 1 000 m: within u32.
    let last = lane.approach.mm() + u32::from(lane.barriers - 1) * spacing;
    if last + lane.run_out.mm() > Length::MAX_MM {
        return Err(SetOutError::TooLong);
    }
    let mark = |mm, kind, barrier| Mark { at: Length::from_mm(mm), kind, barrier };
    let mut marks = vec![mark(0, MarkKind::Start, None)];
    for k in 1..=lane.barriers {
        let at = lane.approach.mm() + u32::from(k - 1) * spacing;
        marks.push(mark(at, MarkKind::Barrier, Some(k)));
        if k < lane.barriers {
            marks.extend(CONTACTS.map(|(kind, thousandths)| {
                let after = (spacing * thousandths + 500) / 1_000;
                let barrier = if kind == MarkKind::TakeOff { k + 1 } else { k };
                mark(at + after, kind, Some(barrier))
            }));
        }
    }
    marks.push(mark(last + lane.run_out.mm(), MarkKind::RunOutEnd, None));
    Ok(marks)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lane(approach: u32, spacing: u32, barriers: u8, run_out: u32) -> LaneSetting {
        LaneSetting {
            approach: Length::from_mm(approach),
            spacing: Length::from_mm(spacing),
            barriers,
            run_out: Length::from_mm(run_out),
        }
    }

    #[test]
    fn the_womens_100_m_race_has_the_marks_worked_by_hand() {
        let marks = set_out(&lane(13_000, 8_500, 10, 10_500)).unwrap();
        assert_eq!(marks.len(), 2 + 10 + 9 * 5);
        let first: Vec<(f64, MarkKind, Option<u8>)> =
            marks[..8].iter().map(|mark| (mark.at_tape(), mark.kind, mark.barrier)).collect();
        // 13.00 + 8.50 x 0.118 = 14.003; + 0.306 = 15.601; + 0.541 = 17.5985; 21.50 - 8.50 x 0.235 = 19.5025.
        let by_hand = [
            (0.0, MarkKind::Start, None),
            (13.0, MarkKind::Barrier, Some(1)),
            (14.0, MarkKind::Landing, Some(1)),
            (15.6, MarkKind::Stride1, Some(1)),
            (17.6, MarkKind::Stride2, Some(1)),
            (19.5, MarkKind::Stride3, Some(1)),
            (19.5, MarkKind::TakeOff, Some(2)),
            (21.5, MarkKind::Barrier, Some(2)),
        ];
        for (found, expected) in first.iter().zip(by_hand) {
            assert!((found.0 - expected.0).abs() < 1e-9, "{found:?} {expected:?}");
            assert_eq!((found.1, found.2), (expected.1, expected.2));
        }
        let last = &marks[marks.len() - 2..];
        assert_eq!((last[0].at.mm(), last[0].barrier), (89_500, Some(10)));
        assert_eq!((last[1].at.mm(), last[1].kind), (100_000, MarkKind::RunOutEnd));
    }

    #[test]
    fn the_five_parts_of_an_interval_are_the_published_ones() {
        // Women's 100 m model: 1.00, 1.60, 2.00, 1.90 and 2.00 m.
        let marks = set_out(&lane(0, 8_500, 2, 0)).unwrap();
        let on = |kind| marks.iter().find(|m| m.kind == kind).unwrap().at.mm();
        let parts = [
            on(MarkKind::Landing),
            on(MarkKind::Stride1) - on(MarkKind::Landing),
            on(MarkKind::Stride2) - on(MarkKind::Stride1),
            on(MarkKind::Stride3) - on(MarkKind::Stride2),
            8_500 - on(MarkKind::TakeOff),
        ];
        for (part, published) in parts.iter().zip([1_000, 1_600, 2_000, 1_900, 2_000]) {
            assert!(part.abs_diff(published) <= 5, "{part} {published}");
        }
    }

    #[test]
    fn a_lane_that_cannot_be_set_out_is_refused() {
        assert_eq!(set_out(&lane(12_000, 7_000, 0, 5_000)), Err(SetOutError::NoBarrier));
        assert_eq!(set_out(&lane(12_000, 0, 2, 5_000)), Err(SetOutError::NoSpacing));
        assert_eq!(set_out(&lane(12_000, 1_000_000, 255, 0)), Err(SetOutError::TooLong));
        assert_eq!(set_out(&lane(12_000, 0, 1, 5_000)).unwrap().len(), 3);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(128))]

        #[test]
        fn marks_never_go_back_and_barriers_stand_one_spacing_apart(
            approach in 0_u32..50_000, spacing in 1_u32..36_000, barriers in 1_u8..=20, run_out in 0_u32..50_000,
        ) {
            let marks = set_out(&lane(approach, spacing, barriers, run_out)).unwrap();
            prop_assert!(marks.windows(2).all(|pair| pair[0].at <= pair[1].at));
            let stands: Vec<u32> =
                marks.iter().filter(|m| m.kind == MarkKind::Barrier).map(|m| m.at.mm()).collect();
            prop_assert_eq!(stands.len(), usize::from(barriers));
            prop_assert_eq!(stands[0], approach);
            prop_assert!(stands.windows(2).all(|pair| pair[1] - pair[0] == spacing));
        }
    }
}
