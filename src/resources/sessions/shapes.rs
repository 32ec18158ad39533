//! The JSON of sessions and attendance.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::{Block, Session};
use super::store::StoredSession;
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, GroupId, SessionId, VenueId};

/// One part of a session: a drill with its dose.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = SessionBlock, example = json!({"stage": "walkover", "drill": "Trail-leg walkover beside the barrier", "sets": 2, "repeats": 4, "barriers": 5}))]
pub struct BlockFields {
    /// Stage of the progression.
    #[schema(value_type = crate::resources::advice::vocabulary::Stage)]
    pub stage: String,
    /// The drill in the coach's words.
    #[schema(min_length = 1, max_length = 120, example = "Trail-leg walkover beside the barrier")]
    pub drill: String,
    /// Sets.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 200, example = 2)]
    pub sets: Option<u16>,
    /// Repeats of each set.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 200, example = 4)]
    pub repeats: Option<u16>,
    /// Barriers of each repeat.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 200, example = 5)]
    pub barriers: Option<u16>,
    /// Remark.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 400, example = "Hold the hands at chest height")]
    pub note: Option<String>,
}

impl From<&Block> for BlockFields {
    fn from(block: &Block) -> Self {
        Self {
            stage: block.stage.clone(),
            drill: block.drill.clone(),
            sets: block.sets,
            repeats: block.repeats,
            barriers: block.barriers,
            note: block.note.clone(),
        }
    }
}

impl From<&BlockFields> for Block {
    fn from(fields: &BlockFields) -> Self {
        Self {
            stage: fields.stage.clone(),
            drill: fields.drill.trim().to_owned(),
            sets: fields.sets,
            repeats: fields.repeats,
            barriers: fields.barriers,
            note: fields.note.clone(),
        }
    }
}

/// A session as sent by a client.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = SessionFields, example = json!({"state": "held"}))]
pub struct Fields {
    /// The day.
    #[schema(example = "2026-11-24")]
    #[serde(deserialize_with = "crate::platform::dates::read")]
    pub held_on: NaiveDate,
    /// `planned`, `held` or `cancelled`.
    #[schema(value_type = super::model::State)]
    pub state: String,
    /// The groups it is for: all of them, also those that you do not see. A group's id tells nothing of its people.
    #[schema(min_items = 1, max_items = 20)]
    pub group_ids: Vec<GroupId>,
    /// Where.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub venue_id: Option<VenueId>,
    /// What is done, in order.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub blocks: Vec<BlockFields>,
    /// Weather.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 200, example = "Dry, light headwind")]
    pub weather_note: Option<String>,
    /// What is wrong with the surface: `wet` or `uneven`; absent while it is dry and even. Then advice and lane plans of the day
    /// keep to wickets and soft barriers, one step closer, and nobody steps up.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<super::model::Surface>)]
    pub surface: Option<String>,
}

impl Fields {
    /// Parses the session.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self, today: NaiveDate) -> Result<Session, Vec<Fault>> {
        let blocks = self.blocks.iter().map(Block::from).collect();
        let said = (self.weather_note.as_deref(), self.surface.as_deref());
        Session::parse(self.held_on, &self.state, &self.group_ids, self.venue_id, blocks, said, today)
    }
}

impl From<&Session> for Fields {
    fn from(session: &Session) -> Self {
        Self {
            held_on: session.held_on,
            state: session.state.as_str().to_owned(),
            group_ids: session.groups.clone(),
            venue_id: session.venue,
            blocks: session.blocks.iter().map(BlockFields::from).collect(),
            weather_note: session.weather_note.clone(),
            surface: session.surface.map(|surface| surface.as_str().to_owned()),
        }
    }
}

/// A new session.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = NewSession, example = json!({"held_on": "2026-11-24", "state": "planned", "group_ids": ["01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57"]}))]
pub struct New {
    /// Client-made UUID (version 7); makes the create repeatable.
    pub id: Option<SessionId>,
    /// The day.
    #[schema(example = "2026-11-24")]
    #[serde(deserialize_with = "crate::platform::dates::read")]
    pub held_on: NaiveDate,
    /// `planned`, `held` or `cancelled`.
    #[schema(value_type = super::model::State)]
    pub state: String,
    /// The groups it is for.
    #[schema(min_items = 1, max_items = 20)]
    pub group_ids: Vec<GroupId>,
    /// Where.
    pub venue_id: Option<VenueId>,
    /// What is done, in order.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub blocks: Vec<BlockFields>,
    /// Weather.
    #[schema(min_length = 1, max_length = 200, example = "Dry, light headwind")]
    pub weather_note: Option<String>,
    /// What is wrong with the surface: `wet` or `uneven`; absent while it is dry and even.
    #[schema(value_type = Option<super::model::Surface>)]
    pub surface: Option<String>,
}

impl New {
    /// The id, and the fields without it.
    pub fn split(self) -> (SessionId, Fields) {
        let fields = Fields {
            held_on: self.held_on,
            state: self.state,
            group_ids: self.group_ids,
            venue_id: self.venue_id,
            blocks: self.blocks,
            weather_note: self.weather_note,
            surface: self.surface,
        };
        (self.id.unwrap_or_else(SessionId::new), fields)
    }
}

/// A session.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Session)]
pub struct View {
    /// The id.
    pub id: SessionId,
    /// Number of the last change; the `ETag` begins with it, and `If-Match` takes it alone too.
    #[schema(minimum = 1, example = 42)]
    pub rev: i64,
    /// The session.
    #[serde(flatten)]
    pub fields: Fields,
}

impl From<&StoredSession> for View {
    fn from(stored: &StoredSession) -> Self {
        Self { id: stored.id, rev: stored.rev, fields: (&stored.value).into() }
    }
}

/// A page of sessions.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = SessionPage)]
pub struct Page {
    /// The sessions, latest day first.
    #[schema(max_items = 200)]
    pub items: Vec<View>,
    /// Where the next page begins; absent on the last.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 500)]
    pub next_cursor: Option<String>,
}

/// Who is, or was, present.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"present": ["01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57"]}))]
pub struct Attendance {
    /// The athletes, each once.
    #[schema(max_items = 300)]
    pub present: Vec<AthleteId>,
}
