//! Tape marks of a lane: where the start, the barriers, the steps between them and the end of the run-out go.

use thiserror::Error;

use super::units::Length;

/// Where the feet come down between two barriers, as thousandths of the spacing after the barrier just cleared: landing,
/// strides 1, 2 and 3.
///
/// The five parts landing, stride 1, 2, 3 and take-off distance are 0.118, 0.188, 0.235, 0.224 and 0.235 of the spacing.
///
/// # Source
/// Ukrainian university guide on hurdling, library item 4281, pp. 12-14, author and year not shown: model of the women's
/// 100 m, whose five parts sum to 8.50 m. That the shares hold for other spacings is a design choice.
const CONTACTS: [(MarkKind, u32); 5] = [
    (MarkKind::Landing, LANDING_THOUSANDTHS),
    (MarkKind::Stride1, 306),
    (MarkKind::Stride2, 541),
    (MarkKind::Stride3, 765),
    (MarkKind::TakeOff, 765),
];

/// Where the landing comes down, thousandths of the spacing after the barrier; source as above.
pub(super) const LANDING_THOUSANDTHS: u32 = 118;

/// What a tape mark stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum MarkKind {
    /// Start line.
    Start,
    /// A barrier.
    Barrier,
    /// Expected landing behind a barrier.
    Landing,
    /// Expected contact of the first stride.
    Stride1,
    /// Expected contact of the second stride.
    Stride2,
    /// Expected contact of the third stride, which is the take-off for the next barrier.
    Stride3,
    /// Expected take-off for a barrier, at the contact of the third stride.
    TakeOff,
    /// End of the run-out.
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
    /// Distance from the start line.
    pub at: Length,
    /// What it stands for.
    pub kind: MarkKind,
    /// The barrier, from 1, that stands here (barrier), was just cleared (landing, strides) or comes next (take-off).
    pub barrier: Option<u8>,
}

impl Mark {
    /// The distance from the start line in metres (m), rounded half up to 0.01 m, as a tape is read.
    pub fn at_tape(self) -> f64 {
        f64::from((self.at.mm() + 5) / 10) / 100.0
    }
}

/// How a lane is set out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct LaneSetting {
    /// Start line to first barrier.
    pub approach: Length,
    /// Barrier to barrier.
    pub spacing: Length,
    /// Number of barriers.
    pub barriers: u8,
    /// Free distance after the last barrier.
    pub run_out: Length,
}

/// Why a lane has no tape marks.
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
/// The start, every barrier, the landing, three strides and take-off between two barriers, and the end of the run-out. The
/// third stride ends at the take-off, so both marks lie on the same spot. The approach and the run-out carry no step marks:
/// the source has none.
///
/// # Errors
/// [`SetOutError`] for a lane that cannot be set out.
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
