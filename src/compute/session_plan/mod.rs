//! What a squad does in a session: drills by stage with their dose, lanes, a race-like end, and who is where when.
//!
//! A squad of mixed ability is three groups: those before the technique gate, those over wickets, those over barriers. Each does the
//! drills that most of its athletes' stages ask for, at most [`DRILLS_MOST`], then its lanes of the lane plan, and near the race
//! something race-like. [`shortest`] puts that into the fewest minutes that coaches and set-ups allow.
//!
//! ```text
//! warm-up | technique:  wall drill | walkovers | wicket lanes                 | end
//!         | wickets:    marching walkover | cycle | wicket lanes              |
//!         | barriers:   skip-overs | one step | barrier lanes | race-like     |
//! ```
//!
//! | goes in | comes out |
//! | --- | --- |
//! | [`Ask`]: minutes, coaches, everybody's stage, | [`SessionPlan`]: [`Block`]s with minutes that add up, |
//! | lanes of each group, soft barriers to spare, surface | what was left out, barriers to carry and to move |
//!
//! Where the minutes do not reach, the fullest of these that fits is taken, in this order (a rule, not an optimum): everything;
//! two drills a group; without the race-like end; one drill; none; the fewest repeats in the lanes. What went is told. The order of what
//! is left is exact: no plan of the same tasks ends earlier.
//!
//! # What is assumed
//! Everybody of a group does the group's drills together, in the order of [`DRILLS`]; a block takes whole minutes and a coach all of them
//! where barriers are in it; the club has one set of barriers for drills, at one place. The lanes stand before the session, so that
//! they cost no minutes in it. A squad that is all of one stage is one group, and the schedule is then simply its sum.
//!
//! Barriers never decide whether a drill is done: where too few are soft enough [`SessionPlan::lacking`] says how many flat marks or
//! sticks stand in. On a wet or uneven surface nobody does what is race-like, and what the lanes are made of is the lane plan's business,
//! which asks the permitted region.
//!
//! # Where it is asked
//! By the proposal for a session, with the stages of the day's decisions, the lanes of its latest lane plan, and the barriers that the plan
//! leaves over. Nothing of it is stored: a coach changes the blocks and files them with the session, or does not.
//!
//! # Example
//! ```
//! use lanewright_compute::decision::Stage;
//! use lanewright_compute::session_plan::{Ask, propose};
//!
//! let stages = [Stage::Mobility, Stage::LeadLeg, Stage::RhythmWickets, Stage::HeightBuild];
//! let ask = Ask { minutes: 90, coaches: 2, stages: &stages, lanes: [1, 1, 2], lanes_shared: false, soft_barriers: 12, surface: None };
//! let plan = propose(&ask);
//! assert_eq!(plan.blocks.first().map(|one| (one.start, one.minutes)), Some((0, 15)));
//! assert!(plan.left_out.is_empty() && plan.ends <= 90);
//! ```
//!
//! Left out on purpose: who runs in which lane, which the lane plan says; and what an athlete should run over, which
//! [`crate::decision`] says.
//!
//! # Source
//! Each drill names its own, see [`DRILLS`]. Three to four drills, then lanes: A. Behm, "Coaching Philosophy for The Hurdles", clinic
//! notes. Watched throughout: Alberta physical-education safety pages "Hurdles", revised 2020. Warm-up first, and its length: common
//! practice, no source. All doses are common practice.

mod drills;
mod schedule;

use std::cmp::Reverse;

use crate::decision::{Stage, Surface};
use crate::units::Length;

pub use drills::{BANDS, DRILLS, Drill, FOOT_LENGTH, SetUp, Side, foot_lengths};
pub use schedule::{Task, shortest};

/// Minutes of the warm-up (common practice, no source).
pub const WARM_UP: u32 = 15;
/// Minutes at the end to come down and to carry the barriers back (design choice).
pub const COOL_DOWN: u32 = 5;
/// Minutes to explain a drill and to come to its place (design choice).
pub const CHANGE_OVER: u32 = 2;
/// Most drills of a group beside its lanes: three to four in a technical session, of which the lanes are one.
pub const DRILLS_MOST: usize = 3;
/// Athletes of one line of a drill, more than which wait for long (design choice). A second line is opened where barriers for it are there.
const LINE_OF: usize = 6;
/// Fewest repeats in the lanes: below three nobody sees whether a rhythm holds (design choice, after two of three repeats).
const REPEATS_LEAST: u16 = 3;

/// What is asked: one session of one squad, of those who run.
#[derive(Clone, Copy, Debug)]
pub struct Ask<'a> {
    /// Minutes of the session, warm-up included; 20 of them are the warm-up and the end.
    pub minutes: u32,
    /// Coaches who watch, one at least.
    pub coaches: usize,
    /// The stage of each athlete, by which they are grouped; who rests is not among them. Empty gives a warm-up and an end.
    pub stages: &'a [Stage],
    /// Lanes in which each of [`BANDS`] runs; at least one counts for each.
    pub lanes: [usize; 3],
    /// Whether athletes of two groups run in one lane; then only one group is in the lanes at a time.
    pub lanes_shared: bool,
    /// Soft barriers of the lowest height that the lanes leave over for drills; they decide how many lines a drill has, never whether it is
    /// done.
    pub soft_barriers: u32,
    /// What is wrong with the surface; then nobody does what is race-like, because nobody runs at full speed on it.
    pub surface: Option<Surface>,
}

/// What is done for some minutes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Block {
    /// The drill; none for the warm-up and the end.
    pub drill: Option<Drill>,
    /// The lowest stage among those who do it.
    pub stage: Stage,
    /// Who does it, by their places in [`Ask::stages`].
    pub athletes: Vec<usize>,
    /// The minute in which it begins, from the start of the session.
    pub start: u32,
    /// How long, minutes: the dose of everybody in it, rounded up, with the change of place.
    pub minutes: u32,
    /// Lines that go at once, 1 or more; at a wall everybody.
    pub lines: usize,
}

impl Block {
    /// The minute in which it is over, and another may begin.
    pub const fn end(&self) -> u32 {
        self.start + self.minutes
    }

    /// Barriers that it needs beside the lanes: those of a line, for each line. 0 at a wall, in lanes, and for the warm-up and the end.
    pub fn barriers(&self) -> u32 {
        match self.drill {
            Some(Drill { set_up: SetUp::Set(_), barriers, .. }) => {
                u32::from(barriers) * u32::try_from(self.lines).unwrap_or(u32::MAX)
            }
            _ => 0,
        }
    }
}

/// Barriers of the drill set that go somewhere else between two drills.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Move {
    /// The minute in which they are free.
    pub from_minute: u32,
    /// The minute in which they must stand; equal to `from_minute` where the next drill follows at once.
    pub to_minute: u32,
    /// How many stand afterwards.
    pub barriers: u32,
    /// How far apart they stand afterwards.
    pub spacing: Length,
}

/// A proposed session.
///
/// Invariants: the first block is the warm-up and the last to end is the end; every athlete is in the lanes once, and in one block at any
/// minute; no more is watched at once than there are coaches; `ends` is the end of the last block and `short_by` what it is beyond the
/// minutes asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SessionPlan {
    /// The blocks in the order in which they begin, of one minute those of the earlier stage first.
    pub blocks: Vec<Block>,
    /// The minute in which all is over; may lie beyond the minutes asked for.
    pub ends: u32,
    /// Drills that were left out for want of minutes, with the lowest stage of the group whose they are. Drills that a group's stages ask for
    /// beyond [`DRILLS_MOST`] are not among them: those would be too many with all the time there is. A lane whose repeats were cut is not
    /// left out.
    pub left_out: Vec<(Stage, Drill)>,
    /// Minutes that even the least takes beyond those asked for; 0 when it fits. A plan is given all the same, so that a coach sees what to cut.
    pub short_by: u32,
    /// The most soft barriers that drills need at once: what to carry out beside those of the lanes.
    pub carry: u32,
    /// How many of these are lacking: flat marks or sticks that give way stand in for them. What lacks at once is told, not what lacks in all,
    /// since the set is moved from drill to drill.
    pub lacking: u32,
    /// What is moved between drills, in the order in which it is; nothing where the next drill stands alike.
    pub moves: Vec<Move>,
}

/// How much is kept when the minutes do not reach.
#[derive(Clone, Copy)]
struct Level {
    /// Most drills of a group beside its lanes.
    drills: usize,
    /// Whether the race-like end is kept.
    race_like: bool,
    /// Whether the lanes are cut to [`REPEATS_LEAST`].
    repeats_least: bool,
}

/// From everything to the least, in the order in which they are tried. Drills go before the lanes, which are what a session is for; the
/// race-like end goes after the third drill and before the second (design choices).
const LEVELS: [Level; 6] = [
    Level { drills: DRILLS_MOST, race_like: true, repeats_least: false },
    Level { drills: 2, race_like: true, repeats_least: false },
    Level { drills: 2, race_like: false, repeats_least: false },
    Level { drills: 1, race_like: false, repeats_least: false },
    Level { drills: 0, race_like: false, repeats_least: false },
    Level { drills: 0, race_like: false, repeats_least: true },
];

/// A group, and what it would do with time for everything.
struct Group {
    /// Its place in [`BANDS`].
    band: usize,
    /// Who is in it, by their places in [`Ask::stages`]; never empty.
    athletes: Vec<usize>,
    /// The lowest stage among them.
    stage: Stage,
    /// Drills in the order in which they are done, then the lanes.
    wanted: Vec<Drill>,
}

/// Proposes a session: the fullest that fits into the minutes, else the least there is.
///
/// The same question always gets the same plan, and more minutes or one more coach never leave more out. Groups that are empty are left
/// out; whoever is alone in a group has a plan all the same.
///
/// ```
/// use lanewright_compute::decision::{Stage, Surface};
/// use lanewright_compute::session_plan::{Ask, propose};
///
/// let stages = [Stage::SpacingBuild; 6];
/// let ask = Ask { minutes: 64, coaches: 1, stages: &stages, lanes: [1, 1, 2], lanes_shared: false, soft_barriers: 10, surface: None };
/// let codes = |ask: &Ask<'_>| propose(ask).blocks.iter().filter_map(|one| one.drill).map(|one| one.code).collect::<Vec<_>>();
/// assert_eq!(codes(&ask), ["skip_over", "one_step", "barrier_lane", "race_like_end"], "15 + 11 + 7 + 16 + 10 + 5 minutes");
/// assert_eq!(codes(&Ask { minutes: 63, ..ask }), ["skip_over", "one_step", "barrier_lane"]);
/// assert_eq!(codes(&Ask { surface: Some(Surface::Wet), ..ask }), ["skip_over", "one_step", "barrier_lane"]);
/// let short = propose(&Ask { minutes: 30, ..ask });
/// assert_eq!((short.ends, short.short_by), (31, 1), "three repeats in the lanes are the least");
/// ```
pub fn propose(ask: &Ask<'_>) -> SessionPlan {
    let groups = groups(ask);
    let around = WARM_UP + COOL_DOWN;
    let mut last = None;
    for level in LEVELS {
        let kept: Vec<Vec<Drill>> = groups.iter().map(|group| kept(group, level)).collect();
        let tasks: Vec<Vec<Task>> = groups
            .iter()
            .zip(&kept)
            .map(|(group, drills)| drills.iter().map(|one| task(ask, group, one)).collect())
            .collect();
        let (starts, end) = shortest(&tasks, ask.coaches);
        let fits = around + end <= ask.minutes;
        last = Some((kept, tasks, starts, end));
        if fits {
            break;
        }
    }
    let (kept, tasks, starts, end) = last.unwrap_or_default();
    let mut blocks = vec![whole(ask, 0, WARM_UP)];
    for (((group, drills), tasks), starts) in groups.iter().zip(&kept).zip(&tasks).zip(&starts) {
        for ((drill, task), start) in drills.iter().zip(tasks).zip(starts) {
            blocks.push(Block {
                drill: Some(*drill),
                stage: group.stage,
                athletes: doers(ask, group, drill),
                start: WARM_UP + start,
                minutes: task.minutes,
                lines: lines(ask, group, drill),
            });
        }
    }
    blocks.push(whole(ask, WARM_UP + end, COOL_DOWN));
    blocks.sort_by_key(|one| (one.start, one.stage));
    let left_out = groups.iter().zip(&kept).flat_map(|(group, kept)| {
        let gone = |one: &&Drill| kept.iter().all(|other| other.code != one.code);
        group.wanted.iter().filter(gone).map(|one| (group.stage, *one)).collect::<Vec<_>>()
    });
    let carry = blocks.iter().map(Block::barriers).max().unwrap_or(0);
    SessionPlan {
        left_out: left_out.collect(),
        ends: around + end,
        short_by: (around + end).saturating_sub(ask.minutes),
        lacking: carry.saturating_sub(ask.soft_barriers),
        carry,
        moves: moves(&blocks),
        blocks,
    }
}

/// The warm-up or the end, with everybody; its stage is the lowest of the squad.
fn whole(ask: &Ask<'_>, start: u32, minutes: u32) -> Block {
    let stage = ask.stages.iter().copied().min().unwrap_or(Stage::Mobility);
    Block { drill: None, stage, athletes: (0..ask.stages.len()).collect(), start, minutes, lines: 1 }
}

/// The groups of a squad, one for each of [`BANDS`] in which somebody is, in their order.
fn groups(ask: &Ask<'_>) -> Vec<Group> {
    let of = |(band, stages): (usize, &&[Stage])| {
        let at = |(at, stage): (usize, &Stage)| stages.contains(stage).then_some(at);
        let athletes: Vec<usize> = ask.stages.iter().enumerate().filter_map(at).collect();
        let stage = athletes.iter().filter_map(|at| ask.stages.get(*at)).min().copied()?;
        let wanted = wanted(ask, &athletes);
        Some(Group { band, athletes, stage, wanted })
    };
    BANDS.iter().enumerate().filter_map(of).collect()
}

/// The drills that a group would do: those that most of its athletes' stages ask for, of equals the earlier, then its lanes. In the order of
/// [`DRILLS`]; nothing race-like on a wet or uneven surface.
fn wanted(ask: &Ask<'_>, athletes: &[usize]) -> Vec<Drill> {
    let asked = |drill: &Drill| {
        let stage = |at: &&usize| ask.stages.get(**at).is_some_and(|stage| drill.stages.contains(stage));
        athletes.iter().filter(stage).count()
    };
    let is_lane = |drill: &Drill| matches!(drill.set_up, SetUp::Lanes | SetUp::LaneStarts);
    let mut places: Vec<usize> =
        (0..DRILLS.len()).filter(|at| !is_lane(&DRILLS[*at]) && asked(&DRILLS[*at]) > 0).collect();
    places.sort_by_key(|at| (Reverse(asked(&DRILLS[*at])), *at));
    places.truncate(DRILLS_MOST);
    places.sort_unstable();
    let safe = |drill: &Drill| ask.surface.is_none() || drill.set_up != SetUp::LaneStarts;
    let lane = |drill: &Drill| is_lane(drill) && safe(drill) && asked(drill) > 0;
    let lanes = (0..DRILLS.len()).filter(|at| lane(&DRILLS[*at]));
    places.iter().copied().chain(lanes).map(|at| DRILLS[at]).collect()
}

/// What a group does at a level: the first drills of those it would do, the lanes always. A lane's dose is cut and never its rest: fewer
/// repeats are a smaller session, shorter rests are a harder one.
fn kept(group: &Group, level: Level) -> Vec<Drill> {
    let mut drills = 0;
    let mut keep = |one: &Drill| match one.set_up {
        SetUp::Lanes => true,
        SetUp::LaneStarts => level.race_like,
        SetUp::Wall | SetUp::Set(_) => {
            drills += 1;
            drills <= level.drills
        }
    };
    let fewer = |one: &Drill| {
        let fewest = level.repeats_least && one.set_up == SetUp::Lanes;
        Drill { repeats: if fewest { REPEATS_LEAST } else { one.repeats }, ..*one }
    };
    group.wanted.iter().filter(|one| keep(one)).map(fewer).collect()
}

/// Who of a group does a drill: all of them, but what is race-like only those who are near the race. The others
/// of the group rest meanwhile.
fn doers(ask: &Ask<'_>, group: &Group, drill: &Drill) -> Vec<usize> {
    let near = |at: &usize| ask.stages.get(*at).is_some_and(|stage| drill.stages.contains(stage));
    group.athletes.iter().copied().filter(|at| drill.set_up != SetUp::LaneStarts || near(at)).collect()
}

/// Lines of a drill, 1 or more: everybody at a wall, the group's lanes, or as many lines of the set as barriers reach for and athletes fill by
/// [`LINE_OF`].
fn lines(ask: &Ask<'_>, group: &Group, drill: &Drill) -> usize {
    let athletes = doers(ask, group, drill).len();
    match drill.set_up {
        SetUp::Wall => athletes.max(1),
        SetUp::Lanes | SetUp::LaneStarts => ask.lanes[group.band].max(1),
        SetUp::Set(_) => {
            let stock = ask.soft_barriers / u32::from(drill.barriers.max(1));
            usize::try_from(stock).unwrap_or(usize::MAX).clamp(1, athletes.div_ceil(LINE_OF).max(1))
        }
    }
}

/// The place where the drill set stands, and the lanes where two groups share them: each holds one group at a time.
const THE_SET: usize = 0;
const THE_LANES: usize = 1;

/// A drill as the schedule sees it: whole minutes with the change of place, what it needs for itself, and whether a coach watches.
fn task(ask: &Ask<'_>, group: &Group, drill: &Drill) -> Task {
    let seconds = drill.takes_s(doers(ask, group, drill).len(), lines(ask, group, drill));
    let set_up = match drill.set_up {
        SetUp::Wall => None,
        SetUp::Set(_) => Some(THE_SET),
        SetUp::Lanes | SetUp::LaneStarts => ask.lanes_shared.then_some(THE_LANES),
    };
    Task { minutes: seconds.div_ceil(60) + CHANGE_OVER, set_up, watched: drill.is_supervised() }
}

/// What is moved when the set is used again otherwise; blocks in the order in which they begin. The first set of a session is carried out, and
/// no move.
fn moves(blocks: &[Block]) -> Vec<Move> {
    let set = |one: &Block| match one.drill.map(|drill| drill.set_up) {
        Some(SetUp::Set(spacing)) => Some((spacing, one.barriers(), one.start, one.end())),
        _ => None,
    };
    let sets: Vec<_> = blocks.iter().filter_map(set).collect();
    let moved = |pair: &[(Length, u32, u32, u32)]| {
        let [(before, stood, _, from_minute), (spacing, barriers, to_minute, _)] = *pair else { return None };
        let differs = before != spacing || stood != barriers;
        differs.then_some(Move { from_minute, to_minute, barriers, spacing })
    };
    sets.windows(2).filter_map(moved).collect()
}
