//! The JSON of runs.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::{self, LaneOf, Raw, Run, Stands};
use super::store::StoredRun;
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{AthleteId, LanePlanId, RunId, SessionId};
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

const fn first() -> i16 {
    1
}

/// A lane of a plan of the session, in a round.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RunLane, example = json!({"lane_plan_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e60", "lane": 2}))]
pub struct LaneFields {
    /// The plan.
    pub lane_plan_id: LanePlanId,
    /// The lane.
    #[schema(minimum = 1, maximum = 12, example = 2)]
    pub lane: i16,
    /// The round (default 1).
    #[serde(default = "first")]
    #[schema(minimum = 1, maximum = 4, example = 1)]
    pub round: i16,
}

impl From<LaneFields> for LaneOf {
    fn from(one: LaneFields) -> Self {
        Self { plan: one.lane_plan_id, lane: one.lane, round: one.round }
    }
}

impl From<LaneOf> for LaneFields {
    fn from(one: LaneOf) -> Self {
        Self { lane_plan_id: one.plan, lane: one.lane, round: one.round }
    }
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
    /// The lane of a plan of the session. What is not said of the lane, kind, height, spacing, approach and barriers, is taken from
    /// there; what is said stands. A lane that is not there any more needs all of it said, but the approach.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lane: Option<LaneFields>,
    /// `wicket`, `foam`, `low_barrier` or `hurdle`; needed without `lane`, and always there when read.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<vocabulary::BarrierKind>)]
    pub barrier_kind: Option<String>,
    /// Height of the barriers, metres; needed without `lane`, and always there when read.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.05, maximum = 1.1, example = 0.5)]
    pub height_m: Option<f64>,
    /// Distance between barriers, metres; needed without `lane`, and always there when read.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 20, example = 6.25)]
    pub spacing_m: Option<f64>,
    /// Start line to the first barrier, metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 50, example = 11.0)]
    pub approach_m: Option<f64>,
    /// Barriers run; needed without `lane`, and always there when read.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 20, example = 5)]
    pub barriers: Option<i16>,
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
    /// What stands in the lane: what is said, and what the lane says of the rest.
    ///
    /// # Errors
    /// Every field that neither says.
    fn standing(&self, lane: Option<&Stands>) -> Result<Stands, Vec<Fault>> {
        let kind = self.barrier_kind.clone().or_else(|| lane.map(|one| one.barrier_kind.clone()));
        let height = self.height_m.or_else(|| lane.map(|one| one.height_m));
        let spacing = self.spacing_m.or_else(|| lane.map(|one| one.spacing_m));
        let barriers = self.barriers.or_else(|| lane.map(|one| one.barriers));
        let approach_m = self.approach_m.or_else(|| lane.and_then(|one| one.approach_m));
        let mut faults = Faults::new();
        let said = [
            ("/barrier_kind", kind.is_some()),
            ("/height_m", height.is_some()),
            ("/spacing_m", spacing.is_some()),
            ("/barriers", barriers.is_some()),
        ];
        if self.lane.is_some() && said.iter().any(|(_, said)| !said) {
            let detail = "is no lane of a plan of the session: say what stood there (barrier_kind, height_m, spacing_m, barriers)";
            faults.add("/lane", "unknown_id", detail);
        } else {
            for (pointer, _) in said.iter().filter(|(_, said)| !said) {
                faults.add(*pointer, "missing", "is needed, or `lane`: the lane of a plan of the session");
            }
        }
        let all = kind.zip(height).zip(spacing.zip(barriers));
        faults.finish(all.map(|((barrier_kind, height_m), (spacing_m, barriers))| Stands {
            barrier_kind,
            height_m,
            spacing_m,
            approach_m,
            barriers,
        }))
    }

    /// Parses the run; `lane` is what stands in the lane that it names.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self, now: DateTime<Utc>, lane: Option<&Stands>) -> Result<Run, Vec<Fault>> {
        let stands = self.standing(lane)?;
        let Intervals { held, over_reached, crowded, broken } = self.intervals;
        let raw = Raw {
            session: self.session_id,
            athlete: self.athlete_id,
            run_at: self.run_at,
            lane: self.lane.map(Into::into),
            barrier_kind: &stands.barrier_kind,
            height_m: stands.height_m,
            spacing_m: stands.spacing_m,
            approach_m: stands.approach_m,
            barriers: stands.barriers,
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
            lane: run.lane.map(Into::into),
            barrier_kind: Some(run.barrier_kind.as_str().to_owned()),
            height_m: Some(run.height.metres()),
            spacing_m: Some(run.spacing.metres()),
            approach_m: run.approach.map(crate::compute::units::Length::metres),
            barriers: Some(run.barriers),
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
