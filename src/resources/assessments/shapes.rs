//! The JSON of assessments.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::Assessment;
use super::store::StoredAssessment;
use crate::platform::ids::{AssessmentId, AthleteId, SessionId};
use crate::platform::page;
use crate::platform::shape::Recorded;

/// Ratings: 0 not yet, 1 emerging, 2 secure, 3 secure under race conditions; absent means not seen.
#[derive(Clone, Copy, Debug, Default, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"lead_leg": 2, "trail_leg": 1}))]
pub struct Ratings {
    /// Lead leg.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 3, example = 2)]
    pub lead_leg: Option<i16>,
    /// Trail leg.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 3, example = 1)]
    pub trail_leg: Option<i16>,
    /// Walkover.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 3, example = 2)]
    pub walkover: Option<i16>,
    /// Take-off.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 3, example = 2)]
    pub take_off: Option<i16>,
    /// Landing.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 3, example = 2)]
    pub landing: Option<i16>,
    /// Posture between the barriers.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 3, example = 2)]
    pub posture: Option<i16>,
    /// Rhythm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 3, example = 2)]
    pub rhythm: Option<i16>,
    /// Arms.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 3, example = 1)]
    pub arms: Option<i16>,
}

/// A coach's rating of one athlete at one moment, or a note alone.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = AssessmentFields, example = json!({"id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57", "athlete_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e59", "assessed_at": "2026-11-24T17:40:00Z", "ratings": {"lead_leg": 2, "trail_leg": 1, "walkover": 2}}))]
pub struct Fields {
    /// Client-made UUID (version 7); makes the record repeatable.
    pub id: AssessmentId,
    /// Who was rated.
    pub athlete_id: AthleteId,
    /// In which session, if in one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub session_id: Option<SessionId>,
    /// When, by the clock of the phone.
    #[schema(example = "2026-11-24T17:40:00Z")]
    #[serde(deserialize_with = "crate::platform::dates::read")]
    pub assessed_at: DateTime<Utc>,
    /// What was seen; may be left out beside a note.
    #[serde(default)]
    #[schema(required = false)]
    pub ratings: Ratings,
    /// Remark; alone it is the coach's note on the athlete.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 500, example = "Trail knee drops when tired")]
    pub note: Option<String>,
    /// The assessment that this one corrects; each can be corrected once.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supersedes: Option<AssessmentId>,
    /// Whether this only withdraws the superseded one.
    #[serde(default)]
    pub void: bool,
}

impl From<&Fields> for Assessment {
    fn from(fields: &Fields) -> Self {
        let Ratings { lead_leg, trail_leg, walkover, take_off, landing, posture, rhythm, arms } = fields.ratings;
        Self {
            athlete: fields.athlete_id,
            session: fields.session_id,
            assessed_at: fields.assessed_at,
            ratings: [lead_leg, trail_leg, walkover, take_off, landing, posture, rhythm, arms],
            note: fields.note.clone(),
            supersedes: fields.supersedes,
            void: fields.void,
        }
    }
}

/// Assessments to record.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = AssessmentBatch)]
pub struct Batch {
    /// The assessments, in any order.
    #[schema(min_items = 1, max_items = 500)]
    pub assessments: Vec<Fields>,
}

/// A recorded assessment.
pub type View = Recorded<Fields>;

impl From<&StoredAssessment> for Fields {
    fn from(stored: &StoredAssessment) -> Self {
        let one = &stored.value;
        let [lead_leg, trail_leg, walkover, take_off, landing, posture, rhythm, arms] = one.ratings;
        Self {
            id: stored.id,
            athlete_id: one.athlete,
            session_id: one.session,
            assessed_at: one.assessed_at,
            ratings: Ratings { lead_leg, trail_leg, walkover, take_off, landing, posture, rhythm, arms },
            note: one.note.clone(),
            supersedes: one.supersedes,
            void: one.void,
        }
    }
}

/// A page of assessments.
pub type Page = page::Page<View>;
