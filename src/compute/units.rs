//! Quantities: the type is named for what it measures, its functions for the unit.
//!
//! Lengths are whole millimetres, because a lane is a matter of equality: "the same spacing as last time" must
//! not depend on how a sum was rounded, and the lane plan compares and adds thousands of lengths exactly. A
//! millimetre is finer than any tape on a track. Kinds of barriers and sex categories are closed lists, whose
//! words are what JSON, CSV and the database hold.
//!
//! ```
//! use lanewright_compute::units::{BarrierKind, Length, Sex};
//!
//! let spacing = Length::from_metres(8.5).unwrap();
//! assert_eq!((spacing.mm(), spacing.metres()), (8_500, 8.5));
//! assert_eq!(BarrierKind::from_word("low_barrier"), Some(BarrierKind::LowBarrier));
//! assert_eq!(Sex::from_word("f"), None);
//! ```

use thiserror::Error;

/// A distance: whole millimetres (mm), 0 to 1 000 m.
///
/// Whole numbers keep equality and the exact lane plan free of rounding. There is no arithmetic on the type:
/// sums are made in millimetres, by whoever knows that they stay within range, and come back through
/// [`Length::from_mm`]. The default is 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Length(u32);

/// Why a number is not a [`Length`]. The texts go to clients, behind the name of the field.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum LengthError {
    /// Not a number, negative, or more than 1 000 m.
    #[error("must be a number from 0 to 1000 metres")]
    OutOfRange,
    /// Outside the range that the quantity can have, both ends of which are permitted.
    #[error("must be from {} to {} metres", .0.metres(), .1.metres())]
    Outside(Length, Length),
    /// Has a part smaller than one millimetre.
    #[error("must not be finer than 0.001 metres")]
    TooFine,
}

impl Length {
    /// The longest distance, millimetres (mm): 1 000 m, beyond every straight.
    pub const MAX_MM: u32 = 1_000_000;

    /// Parses a distance in metres (m).
    ///
    /// A decimal fraction has no exact binary form, so a number counts as whole millimetres when it is within
    /// 1e-6 mm of one: 9.14 m is 9 140 mm although 9.14 · 1000 need not be. Within the range the error of the
    /// product is below 1e-9 mm, and what is finer than a millimetre is refused, not rounded: the sender learns
    /// what was not kept.
    ///
    /// # Errors
    /// [`LengthError::OutOfRange`] outside 0 to 1 000 m or not a number; [`LengthError::TooFine`] below 1 mm.
    ///
    /// ```
    /// use lanewright_compute::units::{Length, LengthError};
    ///
    /// assert_eq!(Length::from_metres(9.14).map(Length::mm), Ok(9_140));
    /// assert_eq!(Length::from_metres(9.1405), Err(LengthError::TooFine));
    /// assert_eq!(Length::from_metres(f64::INFINITY), Err(LengthError::OutOfRange));
    /// ```
    pub fn from_metres(m: f64) -> Result<Self, LengthError> {
        if !(0.0..=1_000.0).contains(&m) {
            return Err(LengthError::OutOfRange);
        }
        let mm = (m * 1_000.0).round();
        if (m * 1_000.0 - mm).abs() > 1e-6 {
            return Err(LengthError::TooFine);
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to 1 000 000, whole
        Ok(Self(mm as u32))
    }

    /// Parses a distance in metres (m) that must lie from `low` to `high`, both included.
    ///
    /// # Errors
    /// [`LengthError::Outside`] outside that range or not a number; [`LengthError::TooFine`] below 1 mm, also
    /// outside the range as long as it is a length at all.
    pub fn between(m: f64, low: Self, high: Self) -> Result<Self, LengthError> {
        match Self::from_metres(m) {
            Ok(length) if (low..=high).contains(&length) => Ok(length),
            Err(LengthError::TooFine) => Err(LengthError::TooFine),
            _ => Err(LengthError::Outside(low, high)),
        }
    }

    /// A distance of whole millimetres (mm), cut off at 1 000 m: for sums of lengths, which must not fail.
    pub const fn from_mm(mm: u32) -> Self {
        Self(if mm > Self::MAX_MM { Self::MAX_MM } else { mm })
    }

    /// Whole millimetres (mm).
    pub const fn mm(self) -> u32 {
        self.0
    }

    /// Metres (m), as near as an `f64` comes: printed to three decimals it is exact.
    pub fn metres(self) -> f64 {
        f64::from(self.0) / 1_000.0
    }
}

/// What the athlete runs over, softest first; the order is that of [`Ord`]. Which kinds count as equally hard
/// is said by [`rung`](crate::decision::rung), not by this order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum BarrierKind {
    /// A wicket: ankle to shin height, run over, not cleared.
    Wicket,
    /// A foam barrier.
    Foam,
    /// A low training barrier that tips.
    LowBarrier,
    /// A competition hurdle, run only in the direction in which it tips.
    Hurdle,
}

impl BarrierKind {
    /// Every kind, softest first.
    pub const ALL: [Self; 4] = [Self::Wicket, Self::Foam, Self::LowBarrier, Self::Hurdle];

    /// The word used in JSON, CSV and the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Wicket => "wicket",
            Self::Foam => "foam",
            Self::LowBarrier => "low_barrier",
            Self::Hurdle => "hurdle",
        }
    }

    /// The kind that a word names, if any; the word exactly, in lower case.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == word)
    }
}

/// Sex category for competition rules and growth tables, as the club has it on file; nothing else depends on
/// it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sex {
    /// Female category.
    Female,
    /// Male category.
    Male,
}

impl Sex {
    /// The letter used in JSON, CSV and the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Female => "F",
            Self::Male => "M",
        }
    }

    /// The category that a letter names, if any; the capital letter.
    pub fn from_word(word: &str) -> Option<Self> {
        match word {
            "F" => Some(Self::Female),
            "M" => Some(Self::Male),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_is_whole_millimetres() {
        assert_eq!(Length::from_metres(9.14).map(Length::mm), Ok(9_140));
        assert_eq!(Length::from_metres(7.000_4), Err(LengthError::TooFine));
        assert_eq!(Length::from_metres(f64::NAN), Err(LengthError::OutOfRange));
        assert_eq!(Length::from_metres(-0.5), Err(LengthError::OutOfRange));
    }
}
