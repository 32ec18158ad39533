//! A barrier configuration and its rules.

use crate::compute::bounds::{APPROACH_LEAST, RUN_SPACING_LEAST, short_approach};
use crate::compute::units::{BarrierKind, Length};
use crate::platform::fault::{Fault, Faults};

/// Lowest and highest barrier: a wicket of 5 cm, and above the senior men's hurdle of 1.067 m.
const HEIGHT: (Length, Length) = (Length::from_mm(50), Length::from_mm(1_100));
/// Shortest and longest spacing: walkovers stand about 1 m apart, five-stride drills up to 20 m.
const SPACING: (Length, Length) = (Length::from_mm(1_000), Length::from_mm(20_000));
/// Longest approach.
const APPROACH_MAX: Length = Length::from_mm(50_000);
/// Most barriers of one lane.
const MAX_BARRIERS: i16 = 20;

/// A reusable lane recipe.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Configuration {
    /// The name, unique in the club.
    pub name: String,
    /// What stands in the lane.
    pub kind: BarrierKind,
    /// Height of the barriers.
    pub height: Length,
    /// Distance between barriers.
    pub spacing: Length,
    /// Start line to the first barrier.
    pub approach: Length,
    /// How many.
    pub barriers: i16,
}

impl Configuration {
    /// Parses a recipe; height, spacing and approach in metres (m).
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(
        name: &str,
        kind: &str,
        [height_m, spacing_m, approach_m]: [f64; 3],
        barriers: i16,
    ) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let name = faults.text("/name", name, 80);
        let kind = BarrierKind::from_word(kind).ok_or("must be wicket, foam, low_barrier or hurdle");
        let kind = faults.take("/barrier_kind", "word", kind);
        let height = Length::between(height_m, HEIGHT.0, HEIGHT.1);
        let height = faults.take("/height_m", "out_of_range", height);
        let spacing = Length::between(spacing_m, SPACING.0, SPACING.1);
        let spacing = faults.take("/spacing_m", "out_of_range", spacing);
        let approach = Length::between(approach_m, Length::default(), APPROACH_MAX);
        let approach = faults.take("/approach_m", "out_of_range", approach);
        if let (Some(spacing), Some(near)) = (spacing, approach)
            && short_approach(spacing, near)
        {
            let detail = format!(
                "must be {:.1} m or more where barriers stand {:.1} m apart or wider: nobody reaches their stride from less",
                APPROACH_LEAST.metres(),
                RUN_SPACING_LEAST.metres()
            );
            faults.add("/approach_m", "unsafe", detail);
        }
        if !(1..=MAX_BARRIERS).contains(&barriers) {
            faults.add("/barriers", "out_of_range", format!("must be from 1 to {MAX_BARRIERS}"));
        }
        let value = (|| {
            Some(Self { name: name?, kind: kind?, height: height?, spacing: spacing?, approach: approach?, barriers })
        })();
        faults.finish(value)
    }
}
