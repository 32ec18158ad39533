//! The JSON of lane plans.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::compute::lane_plan::Candidate;
use crate::compute::units::{BarrierKind, Length};
use crate::platform::ids::{AthleteId, EquipmentId, LanePlanId, SessionId};
use crate::resources::advice::{CautionView, StandingView};

/// Barriers wanted in a lane.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = BarrierRange, example = json!({"min": 4, "max": 6}))]
pub struct Barriers {
    /// Fewest.
    #[schema(minimum = 1, maximum = 20, example = 4)]
    pub min: u32,
    /// Most; fewer are set out when stock or length demand it.
    #[schema(minimum = 1, maximum = 20, example = 6)]
    pub max: u32,
}

/// An athlete with a lane of the coach's choice.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = Pin)]
pub struct PinFields {
    /// The athlete.
    pub athlete_id: AthleteId,
    /// The lane.
    #[schema(minimum = 1, maximum = 12, example = 2)]
    pub lane: u32,
}

/// The usable length of one lane.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = LaneStraight)]
pub struct StraightFields {
    /// The lane.
    #[schema(minimum = 1, maximum = 12, example = 2)]
    pub lane: u32,
    /// Its usable straight, metres.
    #[schema(minimum = 10, maximum = 400, example = 45.0)]
    pub straight_m: f64,
}

/// An earlier plan whose lanes are to stay.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = LikeLanePlan)]
pub struct LikeFields {
    /// The earlier plan, of any session you see.
    pub lane_plan_id: LanePlanId,
    /// A lane changes only when that saves at least so much regret (default 0.1).
    #[serde(default = "a_tenth")]
    #[schema(minimum = 0, maximum = 300, example = 0.1)]
    pub unless_saves: f64,
}

const fn a_tenth() -> f64 {
    0.1
}

const fn yes() -> bool {
    true
}

#[allow(clippy::trivially_copy_pass_by_ref)] // the shape serde asks for
const fn is_yes(wanted: &bool) -> bool {
    *wanted
}

fn total() -> String {
    "total".to_owned()
}

/// What a coach asks for.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = LanePlanRequest, example = json!({"lanes": 4, "capacity": 8, "barriers": {"min": 4, "max": 6}, "objective": "total"}))]
pub struct Request {
    /// Client-made UUID (version 7); makes the create repeatable.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<LanePlanId>,
    /// Lanes that may be used.
    #[schema(minimum = 1, maximum = 12, example = 4)]
    pub lanes: u32,
    /// Numbers of lanes that stay free for others.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 12)]
    pub reserved_lanes: Vec<u32>,
    /// Lanes whose usable straight differs from `straight_m`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 12)]
    pub lane_straights: Vec<StraightFields>,
    /// Most athletes of one lane.
    #[schema(minimum = 1, maximum = 300, example = 8)]
    pub capacity: u32,
    /// Who runs; those who attend the session when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(min_items = 1, max_items = 300)]
    pub athlete_ids: Option<Vec<AthleteId>>,
    /// Barriers wanted in a lane.
    pub barriers: Barriers,
    /// Start line to the first barrier, metres (default 12).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 50, example = 12.0)]
    pub approach_m: Option<f64>,
    /// Free distance after the last barrier, metres (default 10).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 3, maximum = 50, example = 10.0)]
    pub run_out_m: Option<f64>,
    /// Usable straight, metres; that of the session's venue when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 10, maximum = 400, example = 60.0)]
    pub straight_m: Option<f64>,
    /// P(hold) at which training is worth most (default 0.8).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.5, maximum = 0.95, example = 0.8)]
    pub hold_target: Option<f64>,
    /// `total` (least regret together) or `fair` (least largest regret first).
    #[serde(default = "total")]
    #[schema(pattern = "^(total|fair)$", max_length = 5, example = "total")]
    pub objective: String,
    /// Athletes with a lane of the coach's choice.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 300)]
    pub pins: Vec<PinFields>,
    /// Pairs of athletes who must not share a lane.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 100)]
    pub apart: Vec<[AthleteId; 2]>,
    /// An earlier plan whose lanes stay unless a change pays.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub like: Option<LikeFields>,
    /// Longest computing time, seconds (default 10); then the best plan so far is answered with its proven gap.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.05, maximum = 10, example = 2.0)]
    pub time_limit_s: Option<f64>,
    /// Whether to plan with one lane fewer and one more too (default true).
    #[serde(default = "yes", skip_serializing_if = "is_yes")]
    pub alternatives: bool,
}

/// An athlete in a lane.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = PlacedAthlete)]
pub struct PlacedView {
    /// The athlete.
    pub athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// Share of the athlete's attainable training value lost by running here.
    #[schema(minimum = 0, maximum = 1, example = 0.04)]
    pub regret: f64,
    /// Probability that an interval is held here.
    #[schema(minimum = 0, maximum = 1, example = 0.81)]
    pub hold_probability: f64,
    /// Why the athlete stands here, beside the athlete's own best lane, and what that loses.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub standing: Option<StandingView>,
}

/// A lane to set out.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = PlannedLane)]
pub struct LaneView {
    /// Its number.
    #[schema(minimum = 1, maximum = 12, example = 2)]
    pub lane: u32,
    /// `wicket`, `foam`, `low_barrier` or `hurdle`.
    #[schema(max_length = 11, example = "low_barrier")]
    pub barrier_kind: String,
    /// Height of the barriers, metres.
    #[schema(minimum = 0, maximum = 1.5, example = 0.5)]
    pub height_m: f64,
    /// Distance between barriers, metres.
    #[schema(minimum = 0, maximum = 20, example = 6.25)]
    pub spacing_m: f64,
    /// Start line to the first barrier, metres.
    #[schema(minimum = 0, maximum = 50, example = 12.0)]
    pub approach_m: f64,
    /// Barriers.
    #[schema(minimum = 1, maximum = 20, example = 6)]
    pub barriers: u32,
    /// Who runs here.
    #[schema(max_items = 300)]
    pub athletes: Vec<PlacedView>,
}

impl LaneView {
    /// Its number and what it carries.
    pub(super) fn configuration(&self) -> Option<(u32, Candidate)> {
        let candidate = Candidate {
            kind: BarrierKind::from_word(&self.barrier_kind)?,
            height: Length::from_metres(self.height_m).ok()?,
            spacing: Length::from_metres(self.spacing_m).ok()?,
            approach: Length::from_metres(self.approach_m).ok()?,
        };
        Some((self.lane, candidate))
    }
}

/// Barriers taken from a stock.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = StockUse)]
pub struct StockView {
    /// The stock.
    pub equipment_id: EquipmentId,
    /// The height they are set to, metres.
    #[schema(minimum = 0, maximum = 1.5, example = 0.5)]
    pub height_m: f64,
    /// How many.
    #[schema(minimum = 1, maximum = 500, example = 12)]
    pub count: u32,
}

/// An athlete who does not run.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = RestingAthlete)]
pub struct RestingView {
    /// The athlete.
    pub athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// Why.
    #[schema(
        max_length = 3000,
        example = "A restriction stands until 2026-12-01. Do not run over barriers today, and refer the athlete."
    )]
    pub explanation: String,
}

/// A lane of an alternative.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = AlternativeLane)]
pub struct AlternativeLaneView {
    /// Its number.
    #[schema(minimum = 1, maximum = 12, example = 2)]
    pub lane: u32,
    /// `wicket`, `foam`, `low_barrier` or `hurdle`.
    #[schema(max_length = 11, example = "low_barrier")]
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
    #[schema(minimum = 0, example = 1.42)]
    pub total_regret: Option<f64>,
    /// The largest regret.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1, example = 0.2)]
    pub largest_regret: Option<f64>,
    /// How much more regret than the plan; below 0 when it is better.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = 0.81)]
    pub costs_regret: Option<f64>,
    /// Whether no better plan with so many lanes exists.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub proven_optimal: Option<bool>,
    /// Why there is none: `infeasible` (no plan with so many lanes satisfies every limit) or `time`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 10, example = "infeasible")]
    pub not_planned: Option<String>,
    /// Its lanes.
    #[serde(default)]
    #[schema(max_items = 12)]
    pub set_out: Vec<AlternativeLaneView>,
}

/// The plan as it is kept.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = LanePlanContent)]
pub struct Content {
    /// The lanes in use.
    #[schema(max_items = 12)]
    pub lanes: Vec<LaneView>,
    /// Athletes who do not run over barriers today.
    #[schema(max_items = 300)]
    pub resting: Vec<RestingView>,
    /// Sum of regrets.
    #[schema(minimum = 0, example = 0.61)]
    pub total_regret: f64,
    /// The largest regret.
    #[schema(minimum = 0, maximum = 1, example = 0.12)]
    pub largest_regret: f64,
    /// Whether no better plan exists.
    pub proven_optimal: bool,
    /// What the total cannot fall below; with `like`, the total and `unless_saves` for each changed lane.
    #[schema(minimum = 0, example = 0.61)]
    pub lower_bound: f64,
    /// With `like`: lanes that were not there last time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(maximum = 12, example = 1)]
    pub changed_lanes: Option<usize>,
    /// The best plans with one lane fewer and one lane more.
    #[serde(default)]
    #[schema(max_items = 2)]
    pub alternatives: Vec<AlternativeView>,
    /// Barriers taken from the stock.
    #[schema(max_items = 1_000)]
    pub stock_used: Vec<StockView>,
    /// Free distance after the last barrier, metres.
    #[schema(minimum = 0, maximum = 50, example = 10.0)]
    pub run_out_m: f64,
    /// Cautions; show them wherever the plan is shown.
    #[schema(max_items = 30)]
    pub cautions: Vec<CautionView>,
}

/// A lane plan.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = LanePlan)]
pub struct View {
    /// The id.
    pub id: LanePlanId,
    /// Number of the last change; also the `ETag`.
    #[schema(minimum = 1, example = 42)]
    pub rev: i64,
    /// The session.
    pub session_id: SessionId,
    /// What was asked for.
    pub request: Request,
    /// The plan.
    #[serde(flatten)]
    pub content: Content,
}

/// The lane plans of a session.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = LanePlanPage)]
pub struct Page {
    /// The plans, oldest first.
    #[schema(max_items = 200)]
    pub items: Vec<View>,
    /// Where the next page begins; absent on the last.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 500)]
    pub next_cursor: Option<String>,
}
