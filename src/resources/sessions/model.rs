//! A session and its rules.

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{GroupId, VenueId};
use crate::platform::words::words;

/// Most blocks of one session.
const MAX_BLOCKS: usize = 40;
/// Most groups of one session.
const MAX_GROUPS: usize = 20;

words! {
    /// Whether the session lies ahead or took place.
    State as SessionState { /// Ahead.
        Planned = "planned", /// Took place.
        Held = "held", /// Does not take place, or does not count any more; what was recorded in it stays.
        Cancelled = "cancelled" }
}

words! {
    /// What is wrong with the surface.
    Surface { /// It is wet.
        Wet = "wet", /// It is uneven.
        Uneven = "uneven" }
}

/// The stages of the progression, first to last.
const STAGES: [&str; 11] = [
    "mobility",
    "lead_leg",
    "trail_leg",
    "walkover",
    "wicket_run",
    "rhythm_wickets",
    "low_barriers",
    "height_build",
    "spacing_build",
    "competition_spec",
    "race_test",
];

/// One part of a session: a drill with its dose.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Block {
    /// A stage of the progression.
    pub stage: String,
    /// The drill in the coach's words.
    pub drill: String,
    /// Sets.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sets: Option<u16>,
    /// Repeats of each set.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub repeats: Option<u16>,
    /// Barriers of each repeat.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub barriers: Option<u16>,
    /// Remark.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A session.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Session {
    /// The day.
    pub held_on: NaiveDate,
    /// Ahead, held or cancelled.
    pub state: State,
    /// Its groups, sorted, at least one.
    pub groups: Vec<GroupId>,
    /// Where.
    pub venue: Option<VenueId>,
    /// What is done.
    pub blocks: Vec<Block>,
    /// Weather.
    pub weather_note: Option<String>,
    /// What is wrong with the surface; none when it is dry and even, or nobody said.
    pub surface: Option<Surface>,
}

impl Session {
    /// Parses a session.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(
        held_on: NaiveDate,
        state: &str,
        groups: &[GroupId],
        venue: Option<VenueId>,
        blocks: Vec<Block>,
        (weather_note, surface): (Option<&str>, Option<&str>),
        today: NaiveDate,
    ) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let state = faults.take("/state", "word", State::parse(state));
        let ahead = (held_on - today).num_days();
        if held_on.year() < 2000 || ahead > 731 || (state == Some(State::Held) && ahead > 1) {
            let detail = "must be from 2000 on and at most two years ahead; of a held session at most tomorrow";
            faults.add("/held_on", "out_of_range", detail);
        }
        let mut groups = groups.to_vec();
        groups.sort_unstable();
        groups.dedup();
        if !(1..=MAX_GROUPS).contains(&groups.len()) {
            faults.add("/group_ids", "length", format!("must name 1 to {MAX_GROUPS} groups"));
        }
        if blocks.len() > MAX_BLOCKS {
            faults.add("/blocks", "length", format!("must be at most {MAX_BLOCKS}"));
        }
        for (at, block) in blocks.iter().enumerate() {
            check_block(&mut faults, at, block);
        }
        let weather_note = faults.opt_text("/weather_note", weather_note, 200);
        let surface = surface.and_then(|word| faults.take("/surface", "word", Surface::parse(word)));
        faults.finish(state.map(|state| Self { held_on, state, groups, venue, blocks, weather_note, surface }))
    }
}

fn check_block(faults: &mut Faults, at: usize, block: &Block) {
    if !STAGES.contains(&block.stage.as_str()) {
        faults.add(format!("/blocks/{at}/stage"), "word", format!("must be one of {}", STAGES.join(", ")));
    }
    faults.text(&format!("/blocks/{at}/drill"), &block.drill, 120);
    faults.opt_text(&format!("/blocks/{at}/note"), block.note.as_deref(), 400);
    for (name, value) in [("sets", block.sets), ("repeats", block.repeats), ("barriers", block.barriers)] {
        if value.is_some_and(|value| !(1..=200).contains(&value)) {
            faults.add(format!("/blocks/{at}/{name}"), "out_of_range", "must be from 1 to 200");
        }
    }
}
