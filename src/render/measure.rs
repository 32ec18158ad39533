//! Lengths as people read them, in the units that a club prints.

use lanewright_compute::english::metres as told;
use lanewright_compute::units::Length;

/// The units of printed lengths.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Measure {
    /// Metres, as sentences tell them: to the centimetre, or to the millimetre where there are some.
    #[default]
    Metric,
    /// Feet and inches, to the quarter inch (1 in = 25.4 mm exactly): at most 3.2 mm from what is kept.
    Imperial,
}

impl Measure {
    /// A length with its unit.
    ///
    /// ```
    /// use lanewright_render::measure::Measure;
    ///
    /// assert_eq!([8.5, 0.762].map(|m| Measure::Metric.length(m)), ["8.50 m", "0.762 m"]);
    /// assert_eq!(Measure::Imperial.length(9.144), "30 ft 0 in");
    /// assert_eq!(Measure::Imperial.length(0.762), "30 in");
    /// ```
    pub fn length(self, metres: f64) -> String {
        match self {
            // What lies between two millimetres was computed, and is no length that somebody sets.
            Self::Metric => Length::from_metres(metres).map_or_else(|_| format!("{metres:.2} m"), told),
            Self::Imperial => {
                let (feet, inches) = feet(metres);
                // Heights of barriers are told in inches.
                if metres < 1.1 { inch(metres) } else { format!("{feet} ft {inches} in") }
            }
        }
    }

    /// A length as a tape is read, without its unit.
    ///
    /// ```
    /// use lanewright_render::measure::Measure;
    ///
    /// assert_eq!(Measure::Imperial.tape(13.0), "42\u{2032} 7\u{be}\u{2033}");
    /// ```
    pub fn tape(self, metres: f64) -> String {
        match self {
            Self::Metric => format!("{metres:.2}"),
            Self::Imperial => {
                let (feet, inches) = feet(metres);
                format!("{feet}\u{2032} {inches}\u{2033}")
            }
        }
    }

    /// The unit of an axis of spacings, metres (m), with its name.
    pub const fn of_spacings(self) -> (f64, &'static str) {
        match self {
            Self::Metric => (1.0, "metres"),
            Self::Imperial => (0.3048, "feet"),
        }
    }

    /// The unit of an axis of heights, metres (m), with its name.
    pub const fn of_heights(self) -> (f64, &'static str) {
        match self {
            Self::Metric => (1.0, "metres"),
            Self::Imperial => (0.0254, "inches"),
        }
    }

    /// The unit of [`Measure::tape`].
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Metric => "metres, to the centimetre",
            Self::Imperial => "feet and inches, to the quarter inch",
        }
    }
}

/// Whole quarters of an inch.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most a kilometre
fn quarters(metres: f64) -> u32 {
    (metres.max(0.0) / 0.0254 * 4.0).round() as u32
}

/// Whole inches and the quarters left, in words.
fn words(quarters: u32) -> String {
    let part = ["", "\u{bc}", "\u{bd}", "\u{be}"][(quarters % 4) as usize];
    match quarters / 4 {
        0 if !part.is_empty() => part.to_owned(),
        whole => format!("{whole}{part}"),
    }
}

fn feet(metres: f64) -> (u32, String) {
    let quarters = quarters(metres);
    (quarters / 48, words(quarters % 48))
}

fn inch(metres: f64) -> String {
    format!("{} in", words(quarters(metres)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inches_are_rounded_once_so_that_twelve_of_them_never_stand_beside_feet() {
        for (metres, words) in
            [(0.3047, "1\u{2032} 0\u{2033}"), (0.0, "0\u{2032} 0\u{2033}"), (8.5, "27\u{2032} 10\u{be}\u{2033}")]
        {
            assert_eq!(Measure::Imperial.tape(metres), words);
        }
        assert_eq!(Measure::Imperial.length(0.84), "33 in");
        assert_eq!(Measure::Imperial.length(0.005), "\u{bc} in");
        assert_eq!(Measure::Imperial.length(1.1), "3 ft 7\u{bc} in");
    }
}
