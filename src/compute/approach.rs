//! Where the first barrier of an athlete's lane stands.
//!
//! Whoever trains towards a race keeps its approach, also where the barriers behind the first stand closer. An athlete for
//! whom a coach counts strides (`n`) starts where `n` strides of somebody who holds the lane's spacing `s` end at the first
//! barrier, the target's approach `A_t` and spacing `s_t` being run in eight:
//!
//! ```text
//! A = A_t                                    no strides counted
//! A = s A_t / s_t + (n - 8) 0.235 s          n strides
//! ```
//!
//! to 0.10 m, never below [`APPROACH_LEAST`]. A stride more or fewer is a long one, as between barriers.
//!
//! Left out on purpose: who runs the race's own approach in seven strides. They need no other approach, so nobody counts for them.
//!
//! # Source
//! Discounted spacings begin behind the first barrier: S. McGill, "Discounting the Hurdles", The Hurdle Magazine, April 2014.
//! Eight strides: clinic notes, "sprint-based hurdling"; D. Hegland, interview "Timing Hurdle Splits", 2012-2014. The longest
//! stride between barriers is 0.235 of the spacing: see [`crate::set_out`]. That the approach grows with the spacing in one
//! proportion is a design choice.

use crate::bounds::APPROACH_LEAST;
use crate::units::Length;

/// Fewest and most strides to the first barrier that a coach counts: four to eight lead into a
/// wicket drill (M. Gomez, "How to Improve Front-Side Mechanics and Force Production with the Wicket Drill"); twelve is a design
/// choice.
pub const STRIDES: (u8, u8) = (4, 12);

/// Strides in which the approach of a specification is run.
const STRIDES_OF_A_RACE: u8 = 8;
/// The shortest approach that these fit: children need about 10 to 13 m (common practice, no source).
const RACE_STRIDES_LEAST: Length = Length::from_mm(10_000);
/// A stride more or fewer, thousandths of the spacing.
const STRIDE_THOUSANDTHS: i64 = 235;
/// Approach of an athlete without a target: that of the youngest published groups (Little Athletics Australia, 2019: 12 m).
const USUAL: Length = Length::from_mm(12_000);
/// Approach and spacing in one proportion without a target: the women's 100 m, as the shares of a stride.
const USUAL_PROPORTION: (Length, Length) = (Length::from_mm(13_000), Length::from_mm(8_500));
/// How exactly a first barrier is set, millimetres (mm).
const MARK_MM: i64 = 100;

/// The approach of one athlete; see the module's page. Made by [`crate::advice`] from the target of the day and the strides on record, and
/// asked by the lane plan for each spacing that it considers. The default is an athlete without a target of whom nobody counts strides.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Approach {
    /// Approach and spacing of the target; none where no specification is on file.
    target: Option<(Length, Length)>,
    /// Strides to the first barrier that a coach counts, 4 to 12; none where nobody counts.
    strides: Option<u8>,
}

impl Approach {
    /// The approach of an athlete with a target (approach and spacing), and the strides to the first barrier that a coach
    /// counts, [`STRIDES`].
    pub const fn new(target: Option<(Length, Length)>, strides: Option<u8>) -> Self {
        Self { target, strides }
    }

    /// The approach to a lane of a spacing, millimetres (mm) rounded half up to whole 100 mm where strides are counted; never below
    /// [`APPROACH_LEAST`].
    ///
    /// Without strides it does not depend on the spacing: the race's own, or 12 m without a target. With them it grows with the spacing, for
    /// a target of 12.00 and 8.00 m by 1.5 m a metre in eight strides.
    ///
    /// ```
    /// use lanewright_compute::approach::Approach;
    /// use lanewright_compute::units::Length;
    ///
    /// let mm = Length::from_mm;
    /// let target = Some((mm(12_000), mm(8_000)));
    /// assert_eq!(Approach::new(target, None).at(mm(6_000)), mm(12_000));
    /// assert_eq!(Approach::new(target, Some(8)).at(mm(8_000)), mm(12_000));
    /// assert_eq!(Approach::new(target, Some(8)).at(mm(6_000)), mm(9_000));
    /// assert_eq!(Approach::new(target, Some(6)).at(mm(6_000)), mm(6_200));
    /// ```
    pub fn at(&self, spacing: Length) -> Length {
        let Some(strides) = self.strides else {
            return self.target.map_or(USUAL, |(approach, _)| approach).max(APPROACH_LEAST);
        };
        let (approach, between) = self.target.unwrap_or(USUAL_PROPORTION);
        let mm = |length: Length| i64::from(length.mm());
        let race = mm(spacing) * mm(approach) / mm(between).max(1);
        let more = (i64::from(strides) - i64::from(STRIDES_OF_A_RACE)) * STRIDE_THOUSANDTHS * mm(spacing) / 1_000;
        let marks = (race + more + MARK_MM / 2) / MARK_MM * MARK_MM;
        u32::try_from(marks).map_or(APPROACH_LEAST, Length::from_mm).max(APPROACH_LEAST)
    }

    /// The strides to the first barrier of a lane: those counted where the lane has this athlete's approach, else nobody
    /// knows; those of a race for whom none were counted, where they fit.
    ///
    /// ```
    /// use lanewright_compute::approach::Approach;
    /// use lanewright_compute::units::Length;
    ///
    /// let mm = Length::from_mm;
    /// let (counted, usual) = (Approach::new(Some((mm(12_000), mm(8_000))), Some(6)), Approach::default());
    /// assert_eq!((counted.strides(mm(6_200), mm(6_000)), counted.strides(mm(12_000), mm(6_000))), (Some(6), None));
    /// assert_eq!((usual.strides(mm(12_000), mm(6_000)), usual.strides(mm(9_900), mm(6_000))), (Some(8), None));
    /// ```
    pub fn strides(&self, approach: Length, spacing: Length) -> Option<u8> {
        match self.strides {
            Some(counted) => (self.at(spacing) == approach).then_some(counted),
            None => (approach >= RACE_STRIDES_LEAST).then_some(STRIDES_OF_A_RACE),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_a_target_strides_are_those_of_the_published_proportion() {
        let mm = Length::from_mm;
        assert_eq!(Approach::default().at(mm(5_000)), mm(12_000));
        assert_eq!(Approach::new(None, Some(8)).at(mm(8_500)), mm(13_000));
        assert_eq!(Approach::new(None, Some(9)).at(mm(5_000)), mm(8_800));
        assert_eq!(Approach::new(None, Some(4)).at(mm(4_500)), APPROACH_LEAST, "nobody reaches their stride from less");
    }
}
