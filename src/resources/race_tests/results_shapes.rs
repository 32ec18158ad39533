//! The JSON of race results and personal bests.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::draw_shapes::seconds;
use super::model::{Method, RaceTest};
use super::outcome::{Outcome, RawOutcome};
use super::results_store::StoredOutcome;
use super::shapes::SpecificationView;
use crate::compute::race::Against;
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, RaceResultId, RaceTestId};
use crate::resources::advice::CautionView;
use crate::resources::advice::vocabulary;

/// A result as sent by a client.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RaceResultFields, example = json!({"id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57", "athlete_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e58", "heat": 1, "lane": 4, "status": "finished", "final_time_s": 12.84, "hits": 1, "fell": false}))]
pub struct Fields {
    /// Client-made UUID (version 7); makes sending it again harmless.
    pub id: RaceResultId,
    /// Who ran.
    pub athlete_id: AthleteId,
    /// The heat, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 60, example = 1)]
    pub heat: Option<i16>,
    /// The lane.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 12, example = 4)]
    pub lane: Option<i16>,
    /// `finished`, `did_not_start`, `did_not_finish` or `disqualified`.
    #[schema(value_type = super::outcome::Status)]
    pub status: String,
    /// Final time from the athlete's own start, seconds; also in a handicap.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.001, maximum = 120, example = 12.84)]
    pub final_time_s: Option<f64>,
    /// Touchdown times from the athlete's own start, seconds, one for each barrier; null where one is missing, and those missing
    /// at the end may be left away. One that is out of order is stored as it was taken and flagged in `splits`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_items = 20)]
    pub touchdown_times_s: Option<Vec<Option<f64>>>,
    /// `hand`, `tap`, `video` or `gate`; that of the race test when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<super::model::Method>)]
    pub timing_method: Option<String>,
    /// Frames per second, with `video`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 10, maximum = 1000, example = 120)]
    pub video_fps: Option<i16>,
    /// Barriers hit.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 20, example = 1)]
    pub hits: i16,
    /// Whether the athlete went down.
    #[serde(default)]
    pub fell: bool,
    /// Remark.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 500, example = "Headwind")]
    pub note: Option<String>,
    /// The result that this one corrects; each can be corrected once.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supersedes: Option<RaceResultId>,
    /// Whether this only withdraws the superseded result.
    #[serde(default)]
    pub void: bool,
}

impl Fields {
    /// Parses a result of a race test.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self, id: RaceTestId, test: &RaceTest) -> Result<Outcome, Vec<Fault>> {
        let raw = RawOutcome {
            athlete: self.athlete_id,
            heat: self.heat,
            lane: self.lane,
            status: &self.status,
            final_time_s: self.final_time_s,
            touchdown_times_s: self.touchdown_times_s.as_deref(),
            timing_method: self.timing_method.as_deref(),
            video_fps: self.video_fps,
            hits: self.hits,
            fell: self.fell,
            note: self.note.as_deref(),
            supersedes: self.supersedes,
            void: self.void,
        };
        Outcome::parse(&raw, id, test)
    }
}

impl From<&StoredOutcome> for Fields {
    fn from(stored: &StoredOutcome) -> Self {
        let one = &stored.value.outcome;
        let times = |times: &Vec<Option<i32>>| times.iter().map(|ms| ms.map(seconds)).collect();
        Self {
            id: stored.id,
            athlete_id: one.athlete,
            heat: one.heat,
            lane: one.lane,
            status: one.status.as_str().to_owned(),
            final_time_s: one.final_time_ms.map(seconds),
            touchdown_times_s: one.touchdowns_ms.as_ref().map(times),
            timing_method: one.timing.map(|method| Method::as_str(method).to_owned()),
            video_fps: one.video_fps,
            hits: one.hits,
            fell: one.fell,
            note: one.note.clone(),
            supersedes: one.supersedes,
            void: one.void,
        }
    }
}

/// Results to record.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RaceResultBatch)]
pub struct Batch {
    /// The results, in any order.
    #[schema(min_items = 1, max_items = 500)]
    pub results: Vec<Fields>,
}

/// A time against the athlete's best before it, over the same specification and by the same class of timing.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = AgainstBest)]
pub struct AgainstView {
    /// `first`, `improved`, `equalled` or `behind`; the first two are personal bests.
    #[schema(value_type = vocabulary::AgainstBestKind)]
    pub kind: &'static str,
    /// Whether it is a personal best.
    pub personal_best: bool,
    /// Seconds to the best before, below zero when faster; absent for a first time.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -120, maximum = 120, example = -0.12)]
    pub difference_s: Option<f64>,
}

impl From<Against> for AgainstView {
    fn from(one: Against) -> Self {
        let difference_s = match one {
            Against::First => None,
            Against::Improved(ms) => Some(-seconds(ms)),
            Against::Equalled => Some(0.0),
            Against::Behind(ms) => Some(seconds(ms)),
        };
        Self { kind: one.as_str(), personal_best: matches!(one, Against::First | Against::Improved(_)), difference_s }
    }
}

/// A split beside the schedule for the same final time.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceSplit)]
pub struct SplitView {
    /// The barrier, from 1.
    #[schema(minimum = 1, maximum = 20, example = 3)]
    pub barrier: usize,
    /// Touchdown time, seconds; absent where it is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 120, example = 4.71)]
    pub time_s: Option<f64>,
    /// Scheduled touchdown time, seconds; absent without a final time that counts, or where no schedule is valid for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 120, example = 4.66)]
    pub scheduled_s: Option<f64>,
    /// Time less schedule, seconds; above zero is late.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -120, maximum = 120, example = 0.05)]
    pub difference_s: Option<f64>,
    /// What is wrong with this time; the final time stands all the same.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 10)]
    pub findings: Vec<SplitFinding>,
}

/// What is wrong with a split.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceSplitFinding)]
pub struct SplitFinding {
    /// `missing`, `not_monotonic` (out of order), `too_short`, `too_long`, `forgotten_tap`, `doubtful_mark` or `after_finish`.
    #[schema(value_type = vocabulary::RaceSplitFlag)]
    pub code: &'static str,
    /// The sentence.
    #[schema(max_length = 300, example = "Touchdown 4 is missing; the intervals before and after it are left out.")]
    pub text: String,
}

/// A result with what it means.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceResult)]
pub struct ResultView {
    /// Number of the change that stored it.
    #[schema(minimum = 1, example = 42)]
    pub rev: i64,
    /// How the squad calls the athlete.
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// The result.
    #[serde(flatten)]
    pub fields: Fields,
    /// That the athlete started although a report of pain, illness or injury, or a restriction, stood on the day, as far as it was
    /// known when the result was filed; absent otherwise. Such a result is kept.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    #[schema(required = false, example = true)]
    pub while_restricted: bool,
    /// Whether it is the one of its athlete that counts: the fastest finish, else the latest.
    pub counts: bool,
    /// Place over all heats by final time; timing classes are not told apart.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 500, example = 1)]
    pub place: Option<usize>,
    /// Place in the heat by final time.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 500, example = 1)]
    pub heat_place: Option<usize>,
    /// Place across the line in the heat, with the start offsets.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 500, example = 1)]
    pub handicap_place: Option<usize>,
    /// Against the personal best before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub against_best: Option<AgainstView>,
    /// Time less the time expected at the draw, seconds; below zero is faster.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -120, maximum = 600, example = -0.21)]
    pub gap_to_expected_s: Option<f64>,
    /// The splits beside the schedule for the final time, each with what is wrong with it; empty without touchdown times.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 20)]
    pub splits: Vec<SplitView>,
}

/// The results of a race test.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceResultList)]
pub struct ResultList {
    /// The race test.
    pub race_test_id: RaceTestId,
    /// What was run over.
    pub specification: SpecificationView,
    /// The results that stand, of athletes that you see: by place, then those without one.
    #[schema(max_items = 5000)]
    pub results: Vec<ResultView>,
    /// Where the schedule of the splits comes from; absent without splits.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 1000, example = "Common practice, no source.")]
    pub schedule_source: Option<&'static str>,
    /// Cautions.
    #[schema(max_items = 20)]
    pub cautions: Vec<CautionView>,
}

/// A personal best.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PersonalBest)]
pub struct BestView {
    /// What was run over: distance, barriers, height, approach and spacing make the list; names play no part.
    pub course: CourseView,
    /// `hand` or `electronic`; the two never compare.
    #[schema(value_type = vocabulary::TimingClass)]
    pub timing_class: &'static str,
    /// Final time, seconds.
    #[schema(minimum = 0, maximum = 120, example = 12.84)]
    pub final_time_s: f64,
    /// The day.
    #[schema(example = "2026-11-24")]
    pub held_on: NaiveDate,
    /// The result.
    pub result_id: RaceResultId,
    /// The race test.
    pub race_test_id: RaceTestId,
    /// Finishes over this course and by this class so far.
    #[schema(minimum = 1, maximum = 10_000, example = 3)]
    pub finishes: usize,
    /// A report or restriction of the athlete stood on the day, as far as it was known when the result was filed: the time was
    /// run and counts, here and in expected times alike, but it should not have been run. Absent otherwise.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    #[schema(required = false, example = true)]
    pub while_restricted: bool,
}

/// A course.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceCourse)]
pub struct CourseView {
    /// Start to finish, metres.
    #[schema(minimum = 10, maximum = 1000, example = 75)]
    pub race_distance_m: f64,
    /// Barriers.
    #[schema(minimum = 1, maximum = 20, example = 8)]
    pub barriers: u8,
    /// Height of the barriers, metres.
    #[schema(minimum = 0.05, maximum = 1.1, example = 0.762)]
    pub height_m: f64,
    /// Start line to the first barrier, metres.
    #[schema(minimum = 1, maximum = 100, example = 11.5)]
    pub approach_m: f64,
    /// Distance between barriers, metres.
    #[schema(minimum = 1, maximum = 100, example = 7.5)]
    pub spacing_m: f64,
}

/// The personal bests of an athlete.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PersonalBestList)]
pub struct BestList {
    /// The athlete.
    pub athlete_id: AthleteId,
    /// One for each course and class of timing, shortest race first.
    #[schema(max_items = 1000)]
    pub items: Vec<BestView>,
}
