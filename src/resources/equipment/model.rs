//! A stock of barriers and its rules.

use crate::compute::units::{BarrierKind, Length};
use crate::platform::fault::{Fault, Faults};

/// Lowest and highest barrier: a wicket of 5 cm, and above the senior men's hurdle of 1.067 m.
const HEIGHT: (Length, Length) = (Length::from_mm(50), Length::from_mm(1_100));
/// Highest wicket; what stands higher is a barrier (common practice, no source).
const WICKET_MAX: Length = Length::from_mm(400);
/// Most heights of one stock.
const MAX_HEIGHTS: usize = 12;
/// Most barriers of one stock.
const MAX_COUNT: i16 = 500;

/// Barriers of one kind, each settable to every listed height.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Equipment {
    /// The kind.
    pub kind: BarrierKind,
    /// Heights, ascending, all different.
    pub heights: Vec<Length>,
    /// How many.
    pub count: i16,
    /// Remark.
    pub note: Option<String>,
}

impl Equipment {
    /// Parses a stock.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(kind: &str, heights_m: &[f64], count: i16, note: Option<&str>) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let kind = BarrierKind::from_word(kind).ok_or("must be wicket, foam, low_barrier or hurdle");
        let kind = faults.take("/barrier_kind", "word", kind);
        let highest = if kind == Some(BarrierKind::Wicket) { WICKET_MAX } else { HEIGHT.1 };
        if !(1..=MAX_HEIGHTS).contains(&heights_m.len()) {
            faults.add("/heights_m", "length", format!("must have 1 to {MAX_HEIGHTS} heights"));
        }
        let mut heights: Vec<Length> = Vec::with_capacity(heights_m.len());
        for (at, metres) in heights_m.iter().enumerate() {
            let pointer = format!("/heights_m/{at}");
            let Some(height) = faults.take(&pointer, "out_of_range", Length::between(*metres, HEIGHT.0, highest))
            else {
                continue;
            };
            if heights.contains(&height) {
                faults.add(pointer, "twice", "stands twice in the list");
            }
            heights.push(height);
        }
        heights.sort_unstable();
        if !(1..=MAX_COUNT).contains(&count) {
            faults.add("/count", "out_of_range", format!("must be from 1 to {MAX_COUNT}"));
        }
        let note = faults.opt_text("/note", note, 200);
        faults.finish(kind.map(|kind| Self { kind, heights, count, note }))
    }
}
