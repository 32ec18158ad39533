//! Quantities: the type is named for what it measures, its functions for the unit.

use thiserror::Error;

/// A distance: whole millimetres (mm), 0 to 1 000 m.
///
/// Whole numbers keep equality and the exact lane plan free of rounding.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Length(u32);

/// Why a number is not a [`Length`].
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum LengthError {
    /// Not a number, negative, or more than 1 000 m.
    #[error("must be a number from 0 to 1000 metres")]
    OutOfRange,
    /// Outside the range that the quantity can have.
    #[error("must be from {} to {} metres", .0.metres(), .1.metres())]
    Outside(Length, Length),
    /// Has a part smaller than one millimetre.
    #[error("must not be finer than 0.001 metres")]
    TooFine,
}

impl Length {
    /// The longest distance, millimetres (mm).
    pub const MAX_MM: u32 = 1_000_000;

    /// Parses a distance in metres (m).
    ///
    /// # Errors
    /// [`LengthError::OutOfRange`] outside 0 to 1 000 m or not a number; [`LengthError::TooFine`] below 1 mm.
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

    /// Parses a distance in metres (m) that must lie from `low` to `high`.
    ///
    /// # Errors
    /// [`LengthError::Outside`] outside that range or not a number; [`LengthError::TooFine`] below 1 mm.
    pub fn between(m: f64, low: Self, high: Self) -> Result<Self, LengthError> {
        match Self::from_metres(m) {
            Ok(length) if (low..=high).contains(&length) => Ok(length),
            Err(LengthError::TooFine) => Err(LengthError::TooFine),
            _ => Err(LengthError::Outside(low, high)),
        }
    }

    /// A distance of whole millimetres (mm), cut off at 1 000 m.
    pub const fn from_mm(mm: u32) -> Self {
        Self(if mm > Self::MAX_MM { Self::MAX_MM } else { mm })
    }

    /// Whole millimetres (mm).
    pub const fn mm(self) -> u32 {
        self.0
    }

    /// Metres (m).
    pub fn metres(self) -> f64 {
        f64::from(self.0) / 1_000.0
    }
}

/// What the athlete runs over.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum BarrierKind {
    /// A wicket: ankle to shin height, run over, not cleared.
    Wicket,
    /// A foam barrier.
    Foam,
    /// A low training barrier that tips.
    LowBarrier,
    /// A competition hurdle.
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

    /// The kind that a word names, if any.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == word)
    }
}

/// Sex category for competition rules and growth tables.
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

    /// The category that a letter names, if any.
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
