//! The JSON of plans with another number of lanes.

use crate::resources::advice::vocabulary;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A lane of an alternative.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = AlternativeLane)]
pub struct AlternativeLaneView {
    /// Its number.
    #[schema(minimum = 1, maximum = 12, example = 2)]
    pub lane: u32,
    /// `wicket`, `foam`, `low_barrier` or `hurdle`.
    #[schema(value_type = vocabulary::BarrierKind)]
    pub barrier_kind: String,
    /// Height of the barriers, metres.
    #[schema(minimum = 0, maximum = 1.5, example = 0.5)]
    pub height_m: f64,
    /// Distance between barriers, metres.
    #[schema(minimum = 0, maximum = 20, example = 6.25)]
    pub spacing_m: f64,
    /// Barriers.
    #[schema(minimum = 1, maximum = 20, example = 6)]
    pub barriers: u32,
    /// How many run here.
    #[schema(minimum = 1, maximum = 300, example = 7)]
    pub athletes: usize,
}

/// The best plan with another number of lanes, and what it costs.
#[derive(Clone, Debug, Default, Deserialize, Serialize, ToSchema)]
#[schema(as = LanePlanAlternative)]
pub struct AlternativeView {
    /// Lanes that may be used: one fewer than the plan uses, or one more than were asked for.
    #[schema(minimum = 1, maximum = 12, example = 3)]
    pub lanes: usize,
    /// Sum of regrets.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 600, example = 1.42)]
    pub total_regret: Option<f64>,
    /// The largest regret.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 2, example = 0.2)]
    pub largest_regret: Option<f64>,
    /// How much more regret than the plan; below 0 when it is better. Absent when others find no place.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -600, maximum = 600, example = 0.81)]
    pub costs_regret: Option<f64>,
    /// How many find no place, beside those who rest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 300, example = 0)]
    pub waiting: Option<usize>,
    /// Whether no better plan with so many lanes exists.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub proven_optimal: Option<bool>,
    /// Why there is none: `infeasible` (no plan with so many lanes satisfies every limit) or `time`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<vocabulary::NotPlanned>)]
    pub not_planned: Option<String>,
    /// Its lanes.
    #[serde(default)]
    #[schema(max_items = 12)]
    pub set_out: Vec<AlternativeLaneView>,
}
