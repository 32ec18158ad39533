//! A session and its rules.

use chrono::{Datelike, NaiveDate};

use crate::compute::decision::Stage;
use crate::compute::session_plan::Side;
use crate::compute::units::Length;
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{GroupId, VenueId};
use crate::platform::words::words;
use crate::resources::advice::Block;

/// Most blocks of one session.
const MAX_BLOCKS: usize = 40;
/// Most groups of one session.
const MAX_GROUPS: usize = 20;

words! {
    /// Whether the session lies ahead or took place. It marks the session and not what was recorded in it: that counts in every state.
    State as SessionState { /// Ahead, or nobody has marked yet that it took place.
        Planned = "planned", /// Took place.
        Held = "held", /// Does not take place, or broke off: nobody missed it. What was recorded in it stays and counts everywhere, and
        /// whoever is on its list or has a run in it came: a run that should not count is withdrawn.
        Cancelled = "cancelled" }
}

words! {
    /// What is wrong with the surface.
    Surface { /// It is wet.
        Wet = "wet", /// It is uneven.
        Uneven = "uneven" }
}

/// Closest and farthest that the barriers of a drill stand: a foot-length, and as far as barriers of runs do.
const SPACING: (Length, Length) = (Length::from_mm(300), Length::from_mm(20_000));
/// Lowest and highest barrier, as of runs.
const HEIGHT: (Length, Length) = (Length::from_mm(50), Length::from_mm(1_100));

/// What a client sends of a block, field by field; see [`Block`].
#[derive(Clone, Copy, Debug)]
pub struct RawBlock<'a> {
    /// A word of the stages.
    pub stage: &'a str,
    /// See [`Block`].
    pub drill: &'a str,
    /// See [`Block`].
    pub sets: Option<u16>,
    /// See [`Block`].
    pub repeats: Option<u16>,
    /// See [`Block`].
    pub barriers: Option<u16>,
    /// A word of [`Side`].
    pub side: Option<&'a str>,
    /// Metres (m).
    pub spacing_m: Option<f64>,
    /// Metres (m).
    pub height_m: Option<f64>,
    /// See [`Block`].
    pub rest_s: Option<u16>,
    /// See [`Block`].
    pub start_min: Option<u16>,
    /// See [`Block`].
    pub minutes: Option<u16>,
    /// See [`Block`].
    pub note: Option<&'a str>,
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
    /// What the next session should know of this one.
    pub note: Option<String>,
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
        blocks: &[RawBlock<'_>],
        (weather_note, surface, note): (Option<&str>, Option<&str>, Option<&str>),
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
        let blocks = blocks.iter().enumerate().filter_map(|(at, block)| parse_block(&mut faults, at, block)).collect();
        let weather_note = faults.opt_text("/weather_note", weather_note, 200);
        let note = faults.opt_text("/note", note, 1_000);
        let surface = surface.and_then(|word| faults.take("/surface", "word", Surface::parse(word)));
        faults.finish(state.map(|state| Self { held_on, state, groups, venue, blocks, weather_note, surface, note }))
    }
}

fn parse_block(faults: &mut Faults, at: usize, raw: &RawBlock<'_>) -> Option<Block> {
    let pointer = |name: &str| format!("/blocks/{at}/{name}");
    let known = Stage::ALL.iter().any(|stage| stage.as_str() == raw.stage);
    if !known {
        let words = Stage::ALL.map(Stage::as_str).join(", ");
        faults.add(pointer("stage"), "word", format!("must be one of {words}"));
    }
    let drill = faults.text(&pointer("drill"), raw.drill, 120);
    let note = faults.opt_text(&pointer("note"), raw.note, 400);
    let counts = [
        ("sets", raw.sets, 1, 200),
        ("repeats", raw.repeats, 1, 200),
        ("barriers", raw.barriers, 1, 200),
        ("rest_s", raw.rest_s, 0, 1_800),
        ("start_min", raw.start_min, 0, 600),
        ("minutes", raw.minutes, 1, 240),
    ];
    for (name, value, least, most) in counts {
        if value.is_some_and(|value| !(least..=most).contains(&value)) {
            faults.add(pointer(name), "out_of_range", format!("must be from {least} to {most}"));
        }
    }
    let side = raw.side.and_then(|word| {
        let known = Side::ALL.iter().any(|side| side.as_str() == word);
        let words = || format!("must be one of {}", Side::ALL.map(Side::as_str).join(", "));
        faults.take(&pointer("side"), "word", if known { Ok(word.to_owned()) } else { Err(words()) })
    });
    let mut metres = |name: &str, m: Option<f64>, (low, high): (Length, Length)| {
        m.and_then(|m| faults.take(&pointer(name), "out_of_range", Length::between(m, low, high))).map(Length::mm)
    };
    let spacing_mm = metres("spacing_m", raw.spacing_m, SPACING);
    let height_mm = metres("height_m", raw.height_m, HEIGHT);
    Some(Block {
        stage: raw.stage.to_owned(),
        drill: drill?,
        sets: raw.sets,
        repeats: raw.repeats,
        barriers: raw.barriers,
        side,
        spacing_mm,
        height_mm,
        rest_s: raw.rest_s,
        start_min: raw.start_min,
        minutes: raw.minutes,
        note,
    })
}
