//! The JSON of lane plans.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::alternatives::AlternativeView;
use super::problem::RelaxationView;
use super::request::Request;
use crate::compute::decision::Configuration;
use crate::compute::lane_plan::Candidate;
use crate::compute::units::{BarrierKind, Length};
use crate::platform::ids::{AthleteId, EquipmentId, LanePlanId, SessionId};
use crate::platform::page;
use crate::resources::advice::vocabulary;
use crate::resources::advice::{CautionView, NotComputedView, StandingView, WallView};

#[allow(clippy::trivially_copy_pass_by_ref)] // the shape serde asks for
pub(super) const fn nobody(count: &usize) -> bool {
    *count == 0
}

const fn first() -> u32 {
    1
}

#[allow(clippy::trivially_copy_pass_by_ref)] // the shape serde asks for
const fn is_no(said: &bool) -> bool {
    !*said
}

/// What an athlete is advised to run over.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = AdvisedConfiguration)]
pub struct AdvisedView {
    /// `wicket`, `foam`, `low_barrier` or `hurdle`.
    #[schema(value_type = vocabulary::BarrierKind)]
    pub barrier_kind: String,
    /// Height of the barriers, metres.
    #[schema(minimum = 0, maximum = 1.5, example = 0.5)]
    pub height_m: f64,
    /// Distance between barriers, metres.
    #[schema(minimum = 0, maximum = 20, example = 6.5)]
    pub spacing_m: f64,
    /// Probability that an interval is held there.
    #[schema(minimum = 0, maximum = 1, example = 0.78)]
    pub hold_probability: f64,
}

impl AdvisedView {
    /// The configuration, when what is kept reads.
    pub fn configuration(&self) -> Option<Configuration> {
        Some(Configuration {
            barrier_kind: BarrierKind::from_word(&self.barrier_kind)?,
            height: Length::from_metres(self.height_m).ok()?,
            spacing: Length::from_metres(self.spacing_m).ok()?,
        })
    }
}

/// An athlete in a lane.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = PlacedAthlete)]
pub struct PlacedView {
    /// The athlete.
    pub athlete_id: AthleteId,
    /// How the squad calls them today; what a client sends is ignored.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    #[schema(max_length = 80, example = "Mira Osei", required)]
    pub display_name: String,
    /// What running here instead of as advised loses: 0 as advised, up to 1, times `weight`.
    #[schema(minimum = 0, maximum = 2, example = 0.04)]
    pub regret: f64,
    /// How much the athlete's loss counts: 1, and up to 2 for somebody who was served badly in the last sessions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 2, example = 1.2)]
    pub weight: Option<f64>,
    /// What the athlete is advised to run over.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub advised: Option<AdvisedView>,
    /// How the lane differs from the advice, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 120, example = "one step closer than advised")]
    pub difference: Option<String>,
    /// Whether a coach has to confirm before the athlete runs.
    #[serde(default, skip_serializing_if = "is_no")]
    pub needs_confirmation: bool,
    /// Cautions of this athlete beside those that hold for everybody.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 30)]
    pub cautions: Vec<CautionView>,
    /// Probability that an interval is held here.
    #[schema(minimum = 0, maximum = 1, example = 0.81)]
    pub hold_probability: f64,
    /// Why the athlete may not run here: a hand-made change goes beyond what is permitted, a report, a restriction or the athlete's
    /// status keeps them from running on the day, or the surface forbids it by now. Absent in a lane that the athlete may run; what a
    /// client sends is ignored.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_permitted: Option<WallView>,
    /// Something came after the plan was made that this place does not heed: a report of pain, illness or injury, a restriction,
    /// another status, a fall that no coach has cleared, a coach's decision for another lane, or another surface than it was made for.
    /// The athlete rests, or belongs in another lane. Plan anew. Absent otherwise; what a client sends is ignored.
    #[serde(default, skip_serializing_if = "is_no")]
    #[schema(required = false)]
    pub overtaken: bool,
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
    /// The round in which it stands like this and its athletes run, from 1.
    #[serde(default = "first")]
    #[schema(minimum = 1, maximum = 4, example = 1, required)]
    pub round: u32,
    /// `wicket`, `foam`, `low_barrier` or `hurdle`.
    #[schema(value_type = vocabulary::BarrierKind)]
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
    /// Who runs here, of the athletes that you see.
    #[schema(max_items = 300)]
    pub athletes: Vec<PlacedView>,
    /// How many more run here, of groups that you do not see; absent when nobody does. What a client sends is ignored: an
    /// edit leaves them where they are.
    #[serde(default, skip_serializing_if = "nobody")]
    #[schema(minimum = 1, maximum = 300, example = 3)]
    pub others: usize,
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
    /// How the squad calls them today; what a client sends is ignored.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    #[schema(max_length = 80, example = "Mira Osei", required)]
    pub display_name: String,
    /// Why.
    #[schema(
        max_length = 3000,
        example = "A restriction stands until 2026-12-01. Do not run over barriers today, and refer the athlete."
    )]
    pub explanation: String,
    /// Absent for who rests. Who waits could run, but finds no place: `nothing_permitted` (nothing that the club can set out
    /// suits them today) or `no_place` (lanes, barriers or metres do not reach for everybody).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<vocabulary::Waiting>)]
    pub waiting: Option<String>,
    /// What keeps the athlete from running on the day, by what is on file now: a report, a restriction or the athlete's status. Absent
    /// for who may run; what a client sends is ignored.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_permitted: Option<WallView>,
    /// Something came after the plan was made: who rests in it may run by now, or rests for another reason, and who waits in it
    /// rests. Plan anew. Absent otherwise; what a client sends is ignored.
    #[serde(default, skip_serializing_if = "is_no")]
    #[schema(required = false)]
    pub overtaken: bool,
}

/// What is set out anew between a round and the one before.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = LanePlanRound)]
pub struct RoundView {
    /// The round, from 2.
    #[schema(minimum = 2, maximum = 4, example = 2)]
    pub round: u32,
    /// Lanes that carry something else than in the round before.
    #[schema(maximum = 12, example = 1)]
    pub changed_lanes: usize,
    /// Barriers to put somewhere else or to add.
    #[schema(maximum = 240, example = 6)]
    pub barriers_moved: u32,
}

/// A member of the groups that are planned for who is not expected.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = NotExpectedAthlete)]
pub struct NotExpectedView {
    /// The athlete.
    pub athlete_id: AthleteId,
    /// How the squad calls them today; what a client sends is ignored.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    #[schema(max_length = 80, example = "Mira Osei", required)]
    pub display_name: String,
    /// The last session they attended.
    #[serde(deserialize_with = "crate::platform::dates::read")]
    pub last_seen_on: NaiveDate,
}

/// The plan as it is kept.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = LanePlanContent)]
pub struct Content {
    /// The lanes in use, round by round.
    #[schema(max_items = 48)]
    pub lanes: Vec<LaneView>,
    /// The rounds after the first, when there is more than one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 3)]
    pub rounds: Vec<RoundView>,
    /// Where the plan took its athletes from: `named` (by the request), `attendance` (of the session) or `groups` (who is
    /// expected of them).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<vocabulary::PeopleFrom>)]
    pub people_from: Option<String>,
    /// With `groups`: members who are not planned for, because they missed each of the last three sessions; of those that you see.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 300)]
    pub not_expected: Vec<NotExpectedView>,
    /// Athletes for whom the plan has no lane, because something on file about them cannot be used: what, and the remedy; of those that you
    /// see. Whom somebody put into a lane by hand all the same stands here too. What a client sends is ignored.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 300)]
    pub not_computed: Vec<NotComputedView>,
    /// Athletes who do not run over barriers today, of those that you see: who rests, and with `waiting` who finds no place.
    #[schema(max_items = 300)]
    pub resting: Vec<RestingView>,
    /// What would give those who wait a place; each alone would do.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 20)]
    pub would_help: Vec<RelaxationView>,
    /// Sum of regrets of everybody in the plan.
    #[schema(minimum = 0, maximum = 600, example = 0.61)]
    pub total_regret: f64,
    /// The largest regret.
    #[schema(minimum = 0, maximum = 2, example = 0.12)]
    pub largest_regret: f64,
    /// Whether no better plan exists.
    pub proven_optimal: bool,
    /// What the total of regrets cannot fall below, later rounds as they are; with `like`, the total and `unless_saves` for each changed
    /// lane of the first round.
    #[schema(minimum = 0, maximum = 600, example = 0.61)]
    pub lower_bound: f64,
    /// With `like`: lanes that were not there last time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(maximum = 12, example = 1)]
    pub changed_lanes: Option<usize>,
    /// The best plans with one lane fewer and one lane more.
    #[serde(default)]
    #[schema(max_items = 2)]
    pub alternatives: Vec<AlternativeView>,
    /// Barriers taken from the stock: the most of any round.
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
    /// Number of the last change; the `ETag` begins with it, and `If-Match` takes it alone too.
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
pub type Page = page::Page<View>;
