//! The JSON of well-being records.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::{Raw, WellbeingRecord};
use super::store::StoredWellbeing;
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, WellbeingRecordId};
use crate::platform::page;
use crate::platform::shape::Recorded;

/// A report of pain, illness or injury, a restriction, or a coach's clearance of one of them. No medical details: there is
/// no field for them on purpose.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = WellbeingRecordFields, example = json!({"id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57", "athlete_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e59", "kind": "pain", "reported_on": "2026-11-24", "reported_by": "athlete"}))]
pub struct Fields {
    /// Client-made UUID (version 7); makes the record repeatable.
    pub id: WellbeingRecordId,
    /// About whom.
    pub athlete_id: AthleteId,
    /// `pain`, `illness` or `injury` was reported; `restriction`: no running over barriers for now; `clearance`: a coach
    /// lets the athlete come back.
    #[schema(value_type = super::model::RecordKind)]
    pub kind: String,
    /// The day: of the report, the first of a restriction, or from which a clearance counts. A restriction may lie
    /// ahead, up to two years, and a report by a day, as the session at which something hurt.
    #[schema(example = "2026-11-24")]
    #[serde(deserialize_with = "crate::platform::dates::read")]
    pub reported_on: NaiveDate,
    /// Who told the club: `athlete`, `guardian`, `coach` or `medical`. Needed with a report, never with a clearance.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<super::model::Reporter>)]
    pub reported_by: Option<String>,
    /// The last day of a restriction; absent while it is open-ended.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "2026-12-01")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    pub until: Option<NaiveDate>,
    /// The report or restriction that a clearance ends. A report that is corrected after it was cleared needs a new one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clears: Option<WellbeingRecordId>,
    /// The record that this one corrects; each can be corrected once.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supersedes: Option<WellbeingRecordId>,
    /// Whether this only withdraws the superseded one.
    #[serde(default)]
    pub void: bool,
}

impl Fields {
    /// Parses the record.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self, today: NaiveDate) -> Result<WellbeingRecord, Vec<Fault>> {
        let raw = Raw {
            athlete: self.athlete_id,
            kind: &self.kind,
            reported_on: self.reported_on,
            reported_by: self.reported_by.as_deref(),
            until: self.until,
            clears: self.clears,
            supersedes: self.supersedes,
            void: self.void,
        };
        WellbeingRecord::parse(raw, today)
    }
}

/// Well-being records to store.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = WellbeingRecordBatch)]
pub struct Batch {
    /// The records, in any order; what one clears or corrects may come before it.
    #[schema(min_items = 1, max_items = 500)]
    pub wellbeing_records: Vec<Fields>,
}

/// A stored well-being record.
pub type View = Recorded<Fields>;

impl From<&StoredWellbeing> for Fields {
    fn from(stored: &StoredWellbeing) -> Self {
        let one = &stored.value;
        Self {
            id: stored.id,
            athlete_id: one.athlete,
            kind: one.kind.as_str().to_owned(),
            reported_on: one.reported_on,
            reported_by: one.reported_by.map(|by| by.as_str().to_owned()),
            until: one.until,
            clears: one.clears,
            supersedes: one.supersedes,
            void: one.void,
        }
    }
}

/// A page of well-being records.
pub type Page = page::Page<View>;
