//! What a coach asks of a lane plan, as JSON.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::platform::ids::{AthleteId, GroupId, LanePlanId};
use crate::resources::advice::vocabulary;

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
    /// Set-outs one after another, at most (default 2): where not everybody finds a place, the others run in a later round, with as
    /// few lanes as possible set out anew.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 4, example = 2)]
    pub rounds: Option<u32>,
    /// Who runs. When absent, those of your groups who attend the session; before anybody was noted, who is expected of
    /// `group_ids`. When read, those that you see.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(min_items = 1, max_items = 300)]
    pub athlete_ids: Option<Vec<AthleteId>>,
    /// Plan for whoever is expected of these groups (the evening before, say); without it and before anybody was noted, of those
    /// groups of the session that you see. Not together with `athlete_ids`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_items = 1, max_items = 50)]
    pub group_ids: Option<Vec<GroupId>>,
    /// Barriers wanted in a lane.
    pub barriers: Barriers,
    /// Start line to the first barrier of every lane, metres. When absent, each lane has its own: the one that suits most of its
    /// athletes (see `approach_strides` of an athlete), of a lane that stays from `like` the one that it had.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 5, maximum = 50, example = 12.0)]
    pub approach_m: Option<f64>,
    /// Free distance after the last barrier, metres; at least what stopping takes at the speed of the widest spacing that
    /// somebody may run (7 m apart: 6.8 m). When absent, 10, or more where stopping takes it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 3, maximum = 50, example = 10.0)]
    pub run_out_m: Option<f64>,
    /// Usable straight, metres; that of the session's venue when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 10, maximum = 400, example = 60.0)]
    pub straight_m: Option<f64>,
    /// The least P(hold) of anybody today, where you want more than the club's `hold_floor` (0.65 unless the club raised it).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.5, maximum = 0.95, example = 0.8)]
    pub hold_target: Option<f64>,
    /// `total` (least regret together) or `fair` (least largest regret first).
    #[serde(default = "total")]
    #[schema(value_type = vocabulary::Objective)]
    pub objective: String,
    /// Athletes with a lane of the coach's choice; when read, those that you see.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 300)]
    pub pins: Vec<PinFields>,
    /// Pairs of athletes who must not share a lane; when read, those of whom you see both.
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

impl Request {
    /// Everybody whom it names, each with where.
    pub fn named(&self) -> impl Iterator<Item = (String, AthleteId)> {
        let run = self.athlete_ids.iter().flatten().enumerate().map(|(at, id)| (format!("/athlete_ids/{at}"), *id));
        let pins = self.pins.iter().enumerate().map(|(at, pin)| (format!("/pins/{at}/athlete_id"), pin.athlete_id));
        let apart =
            self.apart.iter().enumerate().flat_map(|(at, pair)| {
                pair.iter().enumerate().map(move |(side, id)| (format!("/apart/{at}/{side}"), *id))
            });
        run.chain(pins).chain(apart)
    }
}
