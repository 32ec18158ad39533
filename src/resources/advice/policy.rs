//! A club's own numbers for the progression rules and for where an estimate starts.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::compute::decision::{Policy, PolicyFault, Rating};
use crate::compute::prior::PriorPolicy;
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
    /// Share of the latest session's intervals held below which the spacing comes in, and below which runs speak against a
    /// coach's word (default 0.50).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.3, maximum = 1, example = 0.5)]
    pub step_in_held_share: Option<f64>,
    /// Intervals, or barriers for hits, that a session needs to be a reason for a step back (default 8).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 24, example = 8)]
    pub step_back_intervals: Option<u32>,
    /// Whether the arms, too, are rated and must reach `min_rating` (default no: they are taught last).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = false)]
    pub arms_count: Option<bool>,
    /// Days after which a decision is computed anew (default 7).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 28, example = 7)]
    pub recompute_after_days: Option<u16>,
    /// Where the estimate of an athlete without runs starts.
    #[serde(default, skip_serializing_if = "StartFields::is_usual")]
    #[schema(required = false)]
    pub start: StartFields,
}

/// The club's own constants of where the estimate of an athlete without runs starts; what is absent has its default. They are design
/// choices from published lanes, growth tables and race rules, not validated on athletes, and an athlete's own runs soon outweigh
/// them. Advice, plans, forecasts, boards, sheets and expected times all start from the same.
#[derive(Clone, Debug, Default, Deserialize, PartialEq, Serialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
#[schema(as = StartingPoint, example = json!({"stature_novice": 4.5, "stature_sd_m": 0.5}))]
pub struct StartFields {
    /// Comfortable limit over stature of who has hurdled less than a year (default 4.65). An age stands for the stature where that
    /// was not measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 4, maximum = 5.15, example = 4.65)]
    pub stature_novice: Option<f64>,
    /// Comfortable limit over stature of who has hurdled longer (default 4.85).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 4, maximum = 5.15, example = 4.85)]
    pub stature_trained: Option<f64>,
    /// By how much the limit from the stature misses, as a standard deviation, metres (default 0.45).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.4, maximum = 1, example = 0.45)]
    pub stature_sd_m: Option<f64>,
    /// Comfortable limit over leg length of who has hurdled less than a year (default 9.6). Where the leg length is known, the
    /// stature is not used.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 8.3, maximum = 10.7, example = 9.6)]
    pub leg_novice: Option<f64>,
    /// Comfortable limit over leg length of who has hurdled longer (default 10.3).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 8.3, maximum = 10.7, example = 10.3)]
    pub leg_trained: Option<f64>,
    /// By how much the limit from the leg length misses, as a standard deviation, metres (default 0.45).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.4, maximum = 1, example = 0.45)]
    pub leg_sd_m: Option<f64>,
    /// Comfortable limit times the 50 m time, metre seconds (default 53). Expected times of a race test without any time on file
    /// read it backwards.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 47, maximum = 57, example = 53)]
    pub sprint_m_s: Option<f64>,
    /// By how much the limit from a 50 m time misses, as a standard deviation, metres (default 0.50).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.4, maximum = 1, example = 0.5)]
    pub sprint_50m_sd_m: Option<f64>,
    /// The same from a 30 m time (default 0.60).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.4, maximum = 1, example = 0.6)]
    pub sprint_30m_sd_m: Option<f64>,
    /// Correlation between the errors of body and sprint, from 0 to 0.9 (default 0.3).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 0.9, example = 0.3)]
    pub error_correlation: Option<f64>,
}

impl StartFields {
    fn is_usual(&self) -> bool {
        *self == Self::default()
    }

    /// The constants, those that are absent at their defaults; whether they can be used is what
    /// [`PriorPolicy::check_safe`] says.
    pub fn constants(&self) -> PriorPolicy {
        let given = PriorPolicy::default();
        PriorPolicy {
            stature_novice: self.stature_novice.unwrap_or(given.stature_novice),
            stature_trained: self.stature_trained.unwrap_or(given.stature_trained),
            stature_sd_m: self.stature_sd_m.unwrap_or(given.stature_sd_m),
            leg_novice: self.leg_novice.unwrap_or(given.leg_novice),
            leg_trained: self.leg_trained.unwrap_or(given.leg_trained),
            leg_sd_m: self.leg_sd_m.unwrap_or(given.leg_sd_m),
            sprint_m_s: self.sprint_m_s.unwrap_or(given.sprint_m_s),
            sprint_50m_sd_m: self.sprint_50m_sd_m.unwrap_or(given.sprint_50m_sd_m),
            sprint_30m_sd_m: self.sprint_30m_sd_m.unwrap_or(given.sprint_30m_sd_m),
            error_correlation: self.error_correlation.unwrap_or(given.error_correlation),
            ..given
        }
    }
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
        step_in_held_share: fields.step_in_held_share.unwrap_or(given.step_in_held_share),
        step_back_intervals: fields.step_back_intervals.unwrap_or(given.step_back_intervals),
        arms_count: fields.arms_count.unwrap_or(given.arms_count),
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
