//! The units in which a club prints.

use super::words::words;

words! {
    /// The units of lengths in documents for people and in drawings (SVG); everything else is metric.
    PrintUnits { /// Metres, to the centimetre.
        Metric = "metric", /// Feet and inches, to the quarter inch: at most 3.2 mm from what is kept.
        Imperial = "imperial" }
}
