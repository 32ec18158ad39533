//! A club's own numbers for the progression rules.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::compute::decision::{Policy, PolicyFault, Rating};
use crate::compute::units::Length;

/// The club's own numbers for the progression rules; what is absent has its default.
#[derive(Clone, Debug, Default, Deserialize, PartialEq, Serialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
#[schema(as = ProgressionPolicy, example = json!({"min_intervals": 16, "min_hold_mean": 0.85}))]
pub struct PolicyFields {
    /// Intervals needed at the current configuration before a step up (default 12).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 6, maximum = 1000, example = 12)]
    pub min_intervals: Option<u32>,
    /// Days needed at the current configuration before a step up (default 2).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 60, example = 2)]
    pub min_days: Option<u32>,
    /// Mean P(hold) needed before a step up (default 0.80).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.65, maximum = 1, example = 0.8)]
    pub min_hold_mean: Option<f64>,
    /// 5 % quantile of P(hold) needed before a step up (default 0.60).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.3, maximum = 1, example = 0.6)]
    pub min_hold_p05: Option<f64>,
    /// Largest share of barriers hit at which a step up is open (default 0.10).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 0.25, example = 0.1)]
    pub max_hit_share: Option<f64>,
    /// Lowest technique rating for barriers and steps up, 1 to 3 (default 2, secure).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 3, example = 2)]
    pub min_rating: Option<u8>,
    /// Mean P(hold) that must remain after a step up (default 0.65).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.6, maximum = 1, example = 0.65)]
    pub min_hold_after_step: Option<f64>,
    /// Mean P(hold) below which the spacing comes in (default 0.50). What no lane permits is not kept up either, so where
    /// `hold_floor` is higher, that counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.3, maximum = 1, example = 0.5)]
    pub step_in_hold_mean: Option<f64>,
    /// Share of barriers hit above which the height comes down (default 0.20).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 0.4, example = 0.2)]
    pub lower_height_hit_share: Option<f64>,
    /// P(hold) that a first lane, and the lane that fits one athlete, should have at least (default 0.80).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.65, maximum = 1, example = 0.8)]
    pub first_lane_hold: Option<f64>,
    /// Least mean P(hold) of any lane (default 0.65; never below 0.60).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.6, maximum = 0.95, example = 0.65)]
    pub hold_floor: Option<f64>,
    /// Days after which a decision is computed anew (default 7).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 28, example = 7)]
    pub recompute_after_days: Option<u16>,
}

/// The policy of a club with these numbers and spacing step.
///
/// # Errors
/// Every number that cannot be used.
pub fn policy_of(fields: &PolicyFields, spacing_step: Length) -> Result<Policy, Vec<PolicyFault>> {
    let given = Policy::default();
    let rating = fields.min_rating.map_or(Some(given.min_rating), Rating::from_level);
    let policy = Policy {
        min_intervals: fields.min_intervals.unwrap_or(given.min_intervals),
        min_days: fields.min_days.unwrap_or(given.min_days),
        min_hold_mean: fields.min_hold_mean.unwrap_or(given.min_hold_mean),
        min_hold_p05: fields.min_hold_p05.unwrap_or(given.min_hold_p05),
        max_hit_share: fields.max_hit_share.unwrap_or(given.max_hit_share),
        // A level beyond the list is refused by the check below like "not yet".
        min_rating: rating.unwrap_or(Rating::NotYet),
        min_hold_after_step: fields.min_hold_after_step.unwrap_or(given.min_hold_after_step),
        step_in_hold_mean: fields.step_in_hold_mean.unwrap_or(given.step_in_hold_mean),
        lower_height_hit_share: fields.lower_height_hit_share.unwrap_or(given.lower_height_hit_share),
        first_lane_hold: fields.first_lane_hold.unwrap_or(given.first_lane_hold),
        hold_floor: fields.hold_floor.unwrap_or(given.hold_floor),
        recompute_after_days: fields.recompute_after_days.unwrap_or(given.recompute_after_days),
        spacing_step,
        fit_step: given.fit_step.min(spacing_step),
        spacing_tolerance: given.spacing_tolerance.min(Length::from_mm(spacing_step.mm().saturating_sub(1) / 2)),
        ..given
    };
    let faults = policy.check();
    if faults.is_empty() { Ok(policy) } else { Err(faults) }
}
