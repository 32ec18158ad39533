//! Lengths as people read them, in the units that a club prints: in tables, sentences, drawings and on axes. No other place converts.

use lanewright_compute::english::metres as told;
use lanewright_compute::units::Length;

/// An inch, metres (m).
const INCH: f64 = 0.0254;
/// Steps of an axis in metres (m), in feet by quarters, and in inches (design choice).
const METRES: &[f64] = &[0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0];
const FEET: &[f64] = &[3.0 * INCH, 6.0 * INCH, 12.0 * INCH, 24.0 * INCH, 60.0 * INCH, 120.0 * INCH];
const INCHES: &[f64] = &[INCH, 2.0 * INCH, 3.0 * INCH, 6.0 * INCH, 12.0 * INCH, 24.0 * INCH];

/// What an axis of lengths shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Axis {
    /// Spacings, as a tape is laid for them.
    Spacings,
    /// Heights of barriers, as they are set.
    Heights,
}

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

    /// A length with its unit where there is little room: feet and inches by their marks.
    pub fn brief(self, metres: f64) -> String {
        match self {
            Self::Metric => self.length(metres),
            Self::Imperial => self.tape(metres),
        }
    }

    /// The unit of an axis.
    pub const fn axis_unit(self, axis: Axis) -> &'static str {
        match (self, axis) {
            (Self::Metric, _) => "metres",
            (Self::Imperial, Axis::Spacings) => "feet and inches",
            (Self::Imperial, Axis::Heights) => "inches",
        }
    }

    /// Steps at which an axis may have its figures, metres (m), shortest first: those that are round in its unit.
    pub const fn axis_steps(self, axis: Axis) -> &'static [f64] {
        match (self, axis) {
            (Self::Metric, _) => METRES,
            (Self::Imperial, Axis::Spacings) => FEET,
            (Self::Imperial, Axis::Heights) => INCHES,
        }
    }

    /// A figure of an axis, without its unit.
    ///
    /// ```
    /// use lanewright_render::measure::{Axis, Measure};
    ///
    /// assert_eq!(Measure::Metric.on_axis(Axis::Heights, 0.6), "0.60");
    /// assert_eq!(Measure::Imperial.on_axis(Axis::Heights, 0.762), "30");
    /// assert_eq!(Measure::Imperial.on_axis(Axis::Spacings, 6.5532), "21\u{2032} 6\u{2033}");
    /// ```
    pub fn on_axis(self, axis: Axis, metres: f64) -> String {
        match (self, axis) {
            (Self::Imperial, Axis::Heights) => words(quarters(metres)),
            _ => self.tape(metres),
        }
    }

    /// A bar that shows the scale of a drawing: the longest round length of at most `most` metres (m) with its words, else the shortest.
    ///
    /// ```
    /// use lanewright_render::measure::Measure;
    ///
    /// assert_eq!(Measure::Metric.bar(13.0), (10.0, "10 m"));
    /// assert_eq!(Measure::Imperial.bar(9.0), (4.572, "15 ft"));
    /// ```
    pub fn bar(self, most: f64) -> (f64, &'static str) {
        let (bars, least) = match self {
            Self::Metric => ([(10.0, "10 m"), (5.0, "5 m"), (2.0, "2 m")], (1.0, "1 m")),
            Self::Imperial => ([(9.144, "30 ft"), (4.572, "15 ft"), (1.524, "5 ft")], (0.9144, "3 ft")),
        };
        bars.into_iter().find(|(long, _)| *long <= most).unwrap_or(least)
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
    (metres.max(0.0) / INCH * 4.0).round() as u32
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
        assert_eq!([Measure::Metric, Measure::Imperial].map(|one| one.brief(6.5)), ["6.50 m", "21\u{2032} 4\u{2033}"]);
        assert_eq!(Measure::Imperial.length(0.005), "\u{bc} in");
        assert_eq!(Measure::Imperial.length(1.1), "3 ft 7\u{bc} in");
    }
    #[test]
    fn every_step_of_an_axis_has_a_figure_that_is_exactly_its_place() {
        let back = |words: &str| {
            let parts: Vec<f64> =
                words.split([' ', '\u{2032}', '\u{2033}']).filter_map(|one| one.parse().ok()).collect();
            match parts[..] {
                [feet, inches] => feet * 12.0 + inches,
                [inches] => inches,
                _ => panic!("{words}"),
            }
        };
        for axis in [Axis::Spacings, Axis::Heights] {
            assert!(Measure::Imperial.axis_steps(axis).is_sorted() && Measure::Metric.axis_steps(axis).is_sorted());
            for step in Measure::Imperial.axis_steps(axis) {
                for k in 1..30 {
                    let at = f64::from(k) * step;
                    let words = Measure::Imperial.on_axis(axis, at);
                    assert!((back(&words) * INCH - at).abs() < 1e-9, "{words} {at}");
                }
            }
            for step in Measure::Metric.axis_steps(axis) {
                let words = Measure::Metric.on_axis(axis, *step);
                assert!((words.parse::<f64>().unwrap() - step).abs() < 1e-9, "{words}");
            }
        }
        assert_eq!(Measure::Imperial.on_axis(Axis::Heights, 0.0), "0");
    }

    #[test]
    fn the_bar_of_a_scale_has_the_length_that_it_names() {
        for most in [0.5, 1.0, 2.5, 7.0, 20.0] {
            for (measure, unit) in [(Measure::Metric, 1.0), (Measure::Imperial, 0.3048)] {
                let (long, words) = measure.bar(most);
                let told: f64 = words.split(' ').next().unwrap().parse().unwrap();
                assert!((told * unit - long).abs() < 1e-9 && (long <= most || most < 1.0), "{words} {most}");
            }
        }
    }
}
