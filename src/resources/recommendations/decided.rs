//! The JSON of what coaches decided.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::{Choice, RawChoice};
use super::shapes::View;
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, RecommendationId};
use crate::platform::page;
use crate::resources::advice::vocabulary;

/// What the coach decided on a recommendation.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = NewCoachDecision, example = json!({"outcome": "overridden", "reason": "Tired after school sports day", "barrier_kind": "low_barrier", "height_m": 0.5, "spacing_m": 6.0}))]
pub struct DecisionFields {
    /// Client-made UUID (version 7); makes the record repeatable.
    pub id: Option<RecommendationId>,
    /// The day of the advice; today when absent.
    #[schema(example = "2026-11-24")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    pub on: Option<NaiveDate>,
    /// `accepted` or `overridden`.
    #[schema(value_type = super::model::Outcome)]
    pub outcome: String,
    /// Why it was overridden.
    #[schema(min_length = 1, max_length = 500, example = "Tired after school sports day")]
    pub reason: Option<String>,
    /// What is run instead: kind.
    #[schema(value_type = Option<vocabulary::BarrierKind>)]
    pub barrier_kind: Option<String>,
    /// What is run instead: height, metres.
    #[schema(minimum = 0.05, maximum = 1.1, example = 0.5)]
    pub height_m: Option<f64>,
    /// What is run instead: spacing, metres.
    #[schema(minimum = 1, maximum = 20, example = 6.0)]
    pub spacing_m: Option<f64>,
    /// Confirms that the athlete may run as advised again after a fall, or after a report or restriction that has ended by the day
    /// of the advice; a step up takes clean sessions first.
    #[serde(default)]
    pub clears_return: bool,
    /// The last day on which the word stands, at most eight weeks after `on`; `valid_until` of the advice when absent.
    #[schema(example = "2026-12-01")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    pub until: Option<NaiveDate>,
    /// The second confirmation: the coach has weighed the soft wall that a 422 named, and wants it all the same. Hard walls
    /// stay. Only goes with what is run instead.
    #[serde(default)]
    pub coach_accepts: bool,
}

impl DecisionFields {
    /// Parses what was decided.
    ///
    /// # Errors
    /// Every broken field.
    pub fn choice(&self) -> Result<Choice, Vec<Fault>> {
        Choice::parse(&RawChoice {
            outcome: &self.outcome,
            reason: self.reason.as_deref(),
            barrier_kind: self.barrier_kind.as_deref(),
            height_m: self.height_m,
            spacing_m: self.spacing_m,
            clears_return: self.clears_return,
            coach_accepts: self.coach_accepts,
            until: self.until,
        })
    }
}

/// A recommendation as it was given, with what the coach decided.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CoachDecision)]
pub struct DecidedView {
    /// The id.
    pub id: RecommendationId,
    /// Number of the change that stored it; the `ETag` begins with it.
    #[schema(minimum = 1, example = 42)]
    pub rev: i64,
    /// The athlete.
    pub athlete_id: AthleteId,
    /// The day of the advice.
    pub on: NaiveDate,
    /// `accepted` or `overridden`.
    #[schema(value_type = super::model::Outcome)]
    pub outcome: String,
    /// Why it was overridden.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 500, example = "Tired after school sports day")]
    pub reason: Option<String>,
    /// What was chosen: kind.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<vocabulary::BarrierKind>)]
    pub barrier_kind: Option<String>,
    /// What was chosen: height, metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1.5, example = 0.5)]
    pub height_m: Option<f64>,
    /// What was chosen: spacing, metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 20, example = 6.0)]
    pub spacing_m: Option<f64>,
    /// Whether it confirmed the return after a fall, report or restriction.
    pub clears_return: bool,
    /// The last day on which the word stands, when one was given; else it is `valid_until` of the advice.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "2026-12-01")]
    pub until: Option<NaiveDate>,
    /// Whether the coach confirmed a second time, against the soft walls.
    pub coach_accepts: bool,
    /// When it was decided.
    pub decided_at: chrono::DateTime<chrono::Utc>,
    /// The recommendation as it was given.
    pub advice: View,
}

/// A page of decided recommendations.
pub type DecidedPage = page::Page<DecidedView>;
