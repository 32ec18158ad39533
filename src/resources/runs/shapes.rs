//! The JSON of runs.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::{self, Raw, Run};
use super::store::StoredRun;
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, RunId, SessionId};
use crate::platform::page;
use crate::resources::advice::vocabulary;

/// Outcomes of the intervals of a run; they add up to barriers - 1.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"held": 3, "over_reached": 1, "crowded": 0, "broken": 0}))]
pub struct Intervals {
    /// Three-stride rhythm kept.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 19, example = 3)]
    pub held: i16,
    /// The spacing was too long: a fourth step, bounding, stretching.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 19, example = 1)]
    pub over_reached: i16,
    /// The spacing was too short: chopping, jamming.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 19, example = 0)]
    pub crowded: i16,
    /// Rhythm lost, cause not recorded.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 19, example = 0)]
    pub broken: i16,
}

/// One pass of one athlete down one lane.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RunFields, example = json!({"id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57", "session_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e58", "athlete_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e59", "run_at": "2026-11-24T17:35:00Z", "barrier_kind": "low_barrier", "height_m": 0.5, "spacing_m": 6.25, "barriers": 5, "intervals": {"held": 3, "over_reached": 1}, "hits": 0, "fell": false}))]
pub struct Fields {
    /// Client-made UUID (version 7); makes the record repeatable.
    pub id: RunId,
    /// The session.
    pub session_id: SessionId,
    /// Who ran.
    pub athlete_id: AthleteId,
    /// When, by the clock of the phone.
    #[schema(example = "2026-11-24T17:35:00Z")]
    #[serde(deserialize_with = "crate::platform::dates::read")]
    pub run_at: DateTime<Utc>,
    /// `wicket`, `foam`, `low_barrier` or `hurdle`.
    #[schema(value_type = vocabulary::BarrierKind)]
    pub barrier_kind: String,
    /// Height of the barriers, metres.
    #[schema(minimum = 0.05, maximum = 1.1, example = 0.5)]
    pub height_m: f64,
    /// Distance between barriers, metres.
    #[schema(minimum = 1, maximum = 20, example = 6.25)]
    pub spacing_m: f64,
    /// Start line to the first barrier, metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 50, example = 11.0)]
    pub approach_m: Option<f64>,
    /// Barriers run.
    #[schema(minimum = 1, maximum = 20, example = 5)]
    pub barriers: i16,
    /// What became of the intervals.
    pub intervals: Intervals,
    /// Barriers hit.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 20, example = 0)]
    pub hits: i16,
    /// Whether the athlete went down.
    #[serde(default)]
    pub fell: bool,
    /// `left` or `right`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<super::model::Leg>)]
    pub lead_leg: Option<String>,
    /// Touchdown time after each barrier since the start, seconds; null where one was missed.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_items = 20, example = json!([2.61, 3.78, 4.94, 6.11, 7.32]))]
    pub touchdown_times_s: Option<Vec<Option<f64>>>,
    /// How touchdown times were taken: `hand`, `tap`, `video` or `gate`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<super::model::TimingMethod>)]
    pub timing_method: Option<String>,
    /// Frames per second, with `video`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 10, maximum = 1000, example = 60)]
    pub video_fps: Option<i16>,
    /// Remark.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 500, example = "Looked down before the third")]
    pub note: Option<String>,
    /// The run that this one corrects; each can be corrected once.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supersedes: Option<RunId>,
    /// Whether this only withdraws the superseded run.
    #[serde(default)]
    pub void: bool,
}

impl Fields {
    /// Parses the run.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self, now: DateTime<Utc>) -> Result<Run, Vec<Fault>> {
        let Intervals { held, over_reached, crowded, broken } = self.intervals;
        let raw = Raw {
            session: self.session_id,
            athlete: self.athlete_id,
            run_at: self.run_at,
            barrier_kind: &self.barrier_kind,
            height_m: self.height_m,
            spacing_m: self.spacing_m,
            approach_m: self.approach_m,
            barriers: self.barriers,
            intervals: model::Intervals { held, over_reached, crowded, broken },
            hits: self.hits,
            fell: self.fell,
            lead_leg: self.lead_leg.as_deref(),
            touchdown_times_s: self.touchdown_times_s.as_deref(),
            timing_method: self.timing_method.as_deref(),
            video_fps: self.video_fps,
            note: self.note.as_deref(),
            supersedes: self.supersedes,
            void: self.void,
        };
        Run::parse(&raw, now)
    }
}

/// Runs to record.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RunBatch)]
pub struct Batch {
    /// The runs, in any order.
    #[schema(min_items = 1, max_items = 500)]
    pub runs: Vec<Fields>,
}

/// A recorded run.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Run)]
pub struct View {
    /// Number of the change that stored it; the `ETag` begins with it.
    #[schema(minimum = 1, example = 42)]
    pub rev: i64,
    /// The run.
    #[serde(flatten)]
    pub fields: Fields,
    /// That a report of pain, illness or injury, or a restriction, stood on the day, as far as it was known when the run was
    /// filed; absent otherwise. Such a run is kept, and counts for no step up.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    #[schema(required = false, example = true)]
    pub while_restricted: bool,
}

impl From<&StoredRun> for View {
    fn from(stored: &StoredRun) -> Self {
        let run = &stored.value.run;
        let model::Intervals { held, over_reached, crowded, broken } = run.intervals;
        let seconds = |ms: i32| f64::from(ms) / 1_000.0;
        let touchdowns = run.touchdowns.as_ref();
        let fields = Fields {
            id: stored.id,
            session_id: run.session,
            athlete_id: run.athlete,
            run_at: run.run_at,
            barrier_kind: run.barrier_kind.as_str().to_owned(),
            height_m: run.height.metres(),
            spacing_m: run.spacing.metres(),
            approach_m: run.approach.map(crate::compute::units::Length::metres),
            barriers: run.barriers,
            intervals: Intervals { held, over_reached, crowded, broken },
            hits: run.hits,
            fell: run.fell,
            lead_leg: run.lead_leg.map(|leg| leg.as_str().to_owned()),
            touchdown_times_s: touchdowns.map(|one| one.times_ms.iter().map(|ms| ms.map(seconds)).collect()),
            timing_method: touchdowns.map(|one| one.method.as_str().to_owned()),
            video_fps: touchdowns.and_then(|one| one.video_fps),
            note: run.note.clone(),
            supersedes: run.supersedes,
            void: run.void,
        };
        Self { rev: stored.rev, fields, while_restricted: stored.value.while_restricted }
    }
}

/// A page of runs.
pub type Page = page::Page<View>;
