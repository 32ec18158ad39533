//! The JSON of sessions and attendance.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::{RawBlock, Session};
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, GroupId, SessionId, VenueId};
use crate::platform::page;
use crate::platform::shape::{Create, Kept};
use crate::resources::advice::BlockFields;

fn raw(fields: &BlockFields) -> RawBlock<'_> {
    RawBlock {
        stage: &fields.stage,
        drill: &fields.drill,
        sets: fields.sets,
        repeats: fields.repeats,
        barriers: fields.barriers,
        side: fields.side.as_deref(),
        spacing_m: fields.spacing_m,
        height_m: fields.height_m,
        rest_s: fields.rest_s,
        start_min: fields.start_min,
        minutes: fields.minutes,
        note: fields.note.as_deref(),
    }
}

/// A session.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = SessionFields, example = json!({"held_on": "2026-11-24", "state": "planned", "group_ids": ["01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57"]}))]
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
    /// What the next session should know of this one. Everybody who sees the session sees it, so nothing about a person: that
    /// belongs to an assessment of the athlete, which may be a note alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 1000, example = "Lane 3 is worn at 20 m")]
    pub note: Option<String>,
}

impl Fields {
    /// Parses the session.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self, today: NaiveDate) -> Result<Session, Vec<Fault>> {
        let blocks: Vec<RawBlock<'_>> = self.blocks.iter().map(raw).collect();
        let said = (self.weather_note.as_deref(), self.surface.as_deref(), self.note.as_deref());
        Session::parse(self.held_on, &self.state, &self.group_ids, self.venue_id, &blocks, said, today)
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
            note: session.note.clone(),
        }
    }
}

/// A new session.
pub type New = Create<SessionId, Fields>;

/// A session.
pub type View = Kept<SessionId, Fields>;

/// A page of sessions.
pub type Page = page::Page<View>;

/// Who is, or was, present.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"present": ["01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57"]}))]
pub struct Attendance {
    /// The athletes, each once.
    #[schema(max_items = 300)]
    pub present: Vec<AthleteId>,
}
