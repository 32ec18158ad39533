//! The JSON of a coach's word that stands.

use super::model::Outcome;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::estimate::date;
use crate::compute::decision::Governed;
use crate::resources::advice::vocabulary;

/// A coach's word that governs, and what the rules say without it. The next override is measured against the rules.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = StandingWord)]
pub struct WordView {
    /// `accepted` or `overridden`.
    #[schema(value_type = super::model::Outcome)]
    outcome: String,
    /// Its last day, unless another decision or runs that speak against it end it before.
    #[serde(deserialize_with = "crate::platform::dates::read")]
    until: NaiveDate,
    /// What the rules alone would do: a word as in `kind` of the decision.
    #[schema(value_type = vocabulary::DecisionKind)]
    rules_kind: String,
    /// What they would have the athlete run over: kind.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<vocabulary::BarrierKind>)]
    rules_barrier_kind: Option<String>,
    /// The height, metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1.5, example = 0.5)]
    rules_height_m: Option<f64>,
    /// The spacing, metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 20, example = 6.25)]
    rules_spacing_m: Option<f64>,
}

impl From<&Governed> for WordView {
    fn from(one: &Governed) -> Self {
        let outcome = if one.word.overridden { Outcome::Overridden } else { Outcome::Accepted };
        Self {
            outcome: outcome.as_str().to_owned(),
            until: date(one.word.until),
            rules_kind: one.kind.as_str().to_owned(),
            rules_barrier_kind: one.proposed.map(|to| to.barrier_kind.as_str().to_owned()),
            rules_height_m: one.proposed.map(|to| to.height.metres()),
            rules_spacing_m: one.proposed.map(|to| to.spacing.metres()),
        }
    }
}
