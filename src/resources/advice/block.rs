//! A part of a session: as it is kept, and as JSON, which a lane plan's neighbour proposes and cards show too.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::vocabulary;
use crate::compute::units::Length;

/// One part of a session: a drill with its dose.
#[derive(Clone, Debug, Default, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = SessionBlock, example = json!({"stage": "walkover", "drill": "Trail-leg walkover beside the barrier", "sets": 2, "repeats": 4, "barriers": 5, "spacing_m": 1.0, "start_min": 15, "minutes": 8}))]
pub struct BlockFields {
    /// Stage of the progression.
    #[schema(value_type = vocabulary::Stage)]
    pub stage: String,
    /// The drill in the coach's words.
    #[schema(min_length = 1, max_length = 120, example = "Trail-leg walkover beside the barrier")]
    pub drill: String,
    /// Sets.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 200, example = 2)]
    pub sets: Option<u16>,
    /// Repeats of each set.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 200, example = 4)]
    pub repeats: Option<u16>,
    /// Barriers of each repeat.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 200, example = 5)]
    pub barriers: Option<u16>,
    /// Over which side of the barriers.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<vocabulary::DrillSide>)]
    pub side: Option<String>,
    /// Distance between the barriers, metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.3, maximum = 20, example = 1.0)]
    pub spacing_m: Option<f64>,
    /// Height of the barriers, metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.05, maximum = 1.1, example = 0.4)]
    pub height_m: Option<f64>,
    /// Rest of an athlete between two repeats, seconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1800, example = 30)]
    pub rest_s: Option<u16>,
    /// The minute of the session in which it begins; blocks that begin together are done by different athletes.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 600, example = 15)]
    pub start_min: Option<u16>,
    /// How long, minutes.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 240, example = 8)]
    pub minutes: Option<u16>,
    /// Remark.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 400, example = "Hold the hands at chest height")]
    pub note: Option<String>,
}

/// One part of a session as it is kept: a drill with its dose, checked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Block {
    /// A stage of the progression.
    pub stage: String,
    /// The drill in the coach's words.
    pub drill: String,
    /// Sets.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sets: Option<u16>,
    /// Repeats of each set.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub repeats: Option<u16>,
    /// Barriers of each repeat.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub barriers: Option<u16>,
    /// Over which side of the barriers.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub side: Option<String>,
    /// Distance between the barriers, millimetres (mm).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spacing_mm: Option<u32>,
    /// Height of the barriers, millimetres (mm).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height_mm: Option<u32>,
    /// Rest of an athlete between two repeats, seconds (s).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rest_s: Option<u16>,
    /// The minute of the session in which it begins.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start_min: Option<u16>,
    /// How long, minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minutes: Option<u16>,
    /// Remark.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

impl From<&Block> for BlockFields {
    fn from(block: &Block) -> Self {
        Self {
            stage: block.stage.clone(),
            drill: block.drill.clone(),
            sets: block.sets,
            repeats: block.repeats,
            barriers: block.barriers,
            side: block.side.clone(),
            spacing_m: block.spacing_mm.map(|mm| Length::from_mm(mm).metres()),
            height_m: block.height_mm.map(|mm| Length::from_mm(mm).metres()),
            rest_s: block.rest_s,
            start_min: block.start_min,
            minutes: block.minutes,
            note: block.note.clone(),
        }
    }
}
