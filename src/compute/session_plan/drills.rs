//! The drills: for whom, how much, how far apart, and what each teaches.
//!
//! Doses are common practice: what coaches write that they do, not what a trial has shown. What a source does not say, a rest, a
//! number of repeats, a spacing, is a design choice and says so in [`Drill::source`].
//!
//! A dose is `sets x repeats` of each athlete, on both sides where [`Side::Each`] says so. With `l` lines and `a` athletes one repeat of
//! everybody takes as long as the turns of a line, and no less than a repeat and its rest, because whoever waits for the others rests:
//!
//! ```text
//! cycle    = max(ceil(a / l) repeat, repeat + rest)                        seconds (s)
//! takes    = cycle x sets x repeats x sides
//! minutes  = ceil(takes / 60) + 2                                          with the change of place
//! ```
//!
//! For six athletes, one line where there is a set of barriers and two lanes, that comes to
//!
//! | drill | of each athlete | cycle, s | takes, s | minutes |
//! | --- | --- | --- | --- | --- |
//! | wall drills | 24 repeats | 7 | 168 | 5 |
//! | first walkovers | 6 | 120 | 720 | 14 |
//! | walkovers at the side | 3 | 90 | 270 | 7 |
//! | marching walkover, cycle drill | 3 | 150 | 450 | 10 |
//! | skip-overs | 6 | 90 | 540 | 11 |
//! | one-step drill | 3 | 90 | 270 | 7 |
//! | wicket lanes | 4 | 135 | 540 | 11 |
//! | barrier lanes | 5 | 165 | 825 | 16 |
//! | race-like | 2 | 225 | 450 | 10 |
//!
//! ```
//! use lanewright_compute::session_plan::{CHANGE_OVER, DRILLS};
//!
//! let minutes = |code: &str, lines| {
//!     let drill = DRILLS.iter().find(|one| one.code == code).unwrap();
//!     drill.takes_s(6, lines).div_ceil(60) + CHANGE_OVER
//! };
//! assert_eq!([minutes("wall_lead_leg", 6), minutes("cycle", 1), minutes("barrier_lane", 2)], [5, 10, 16]);
//! ```
//!
//! # What keeps a drill safe
//! Every set stands with the softest, lowest barriers that the club owns; a coach stands wherever there are barriers
//! ([`Drill::is_supervised`]); one athlete goes per line at a time, which is why a line's turns add up. Drills over barriers begin after a
//! warm-up, of which walkovers are no part.
//!
//! # Source
//! Named with each drill. Watched throughout, one runner at a time: Alberta physical-education safety pages "Hurdles", revised 2020, and
//! Missouri school track safety tips.

use crate::decision::Stage;
use crate::units::Length;

/// A foot-length, as drills are spaced by: about 0.30 m.
pub const FOOT_LENGTH: Length = Length::from_mm(300);

/// A spacing as a number of foot-lengths, to a tenth.
///
/// ```
/// use lanewright_compute::session_plan::foot_lengths;
/// use lanewright_compute::units::Length;
///
/// assert_eq!([3_300, 1_000].map(|mm| foot_lengths(Length::from_mm(mm))), [11.0, 3.3]);
/// ```
pub fn foot_lengths(spacing: Length) -> f64 {
    (spacing.metres() / FOOT_LENGTH.metres() * 10.0).round() / 10.0
}

/// Over which side of the barrier a drill goes. At the side the other leg passes beside the barrier, so that an athlete too short for its
/// height can do it too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The lead leg at the side of the barrier.
    Lead,
    /// The trail leg at the side of the barrier.
    Trail,
    /// Each leg in turn, all of it twice: the dose counts for each.
    Each,
    /// Over the middle, both legs.
    Over,
}

impl Side {
    /// Every side.
    pub const ALL: [Self; 4] = [Self::Lead, Self::Trail, Self::Each, Self::Over];

    /// The word used in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Lead => "lead",
            Self::Trail => "trail",
            Self::Each => "each",
            Self::Over => "over",
        }
    }

    /// How often its dose is done: 2 for [`Side::Each`], else 1.
    const fn times(self) -> u32 {
        match self {
            Self::Each => 2,
            Self::Lead | Self::Trail | Self::Over => 1,
        }
    }
}

/// What a drill is done over, and so who can be in whose way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SetUp {
    /// A wall or fence; everybody at once, out of everybody's way, and with no barrier for a coach to watch.
    Wall,
    /// A set of the softest, lowest barriers, so far apart; there is one set, for one group at a time, and it is moved between drills.
    Set(Length),
    /// The lanes of the lane plan, as it set them out.
    Lanes,
    /// The first barriers of the lanes, from a start, at full speed: only for who is near the race, and only on a dry, even surface.
    LaneStarts,
}

impl SetUp {
    /// How far apart the barriers of a set stand; none where there are no barriers of its own.
    pub const fn spacing(self) -> Option<Length> {
        match self {
            Self::Set(spacing) => Some(spacing),
            Self::Wall | Self::Lanes | Self::LaneStarts => None,
        }
    }
}

/// A drill. What it is, for whom, and how much; who does it when is for [`propose`](super::propose).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Drill {
    /// Stable code: once published it never changes.
    pub code: &'static str,
    /// What a coach calls it.
    pub name: &'static str,
    /// For whom: the stages whose athletes ask for it. A group does what most of its athletes ask for.
    pub stages: &'static [Stage],
    /// Sets, 1 or more.
    pub sets: u16,
    /// Repeats of each set, 1 or more; in the lanes it may be cut to three where the minutes do not reach.
    pub repeats: u16,
    /// Barriers of each repeat; 0 at a wall, and in lanes, which have their own.
    pub barriers: u16,
    /// Over which side.
    pub side: Side,
    /// Over what.
    pub set_up: SetUp,
    /// How long one repeat takes, with the way back, seconds (s); a design choice throughout.
    pub repeat_s: u32,
    /// Rest between two repeats of one athlete, seconds (s); a design choice throughout, longer the faster the repeat.
    pub rest_s: u32,
    /// What it teaches.
    pub teaches: &'static str,
    /// Where the dose is written, and what of it is a design choice.
    pub source: &'static str,
}

impl Drill {
    /// Repeats of one athlete, all sets and sides together.
    pub fn all_repeats(&self) -> u32 {
        u32::from(self.sets) * u32::from(self.repeats) * self.side.times()
    }

    /// How long a group of so many takes, seconds (s), when so many can go at once; without the change of place.
    ///
    /// One repeat of everybody takes as long as all of them one after another on the lines there are, and no less than a repeat and
    /// its rest: whoever waits for the others rests. 0 for nobody; no line counts as one.
    ///
    /// ```
    /// use lanewright_compute::session_plan::DRILLS;
    ///
    /// let wall = DRILLS.iter().find(|one| one.code == "wall_lead_leg").unwrap();
    /// assert_eq!((wall.takes_s(12, 12), wall.takes_s(12, 3)), (168, 288));
    /// assert_eq!(wall.takes_s(0, 1), 0);
    /// ```
    pub fn takes_s(&self, athletes: usize, lines: usize) -> u32 {
        let athletes = u32::try_from(athletes).unwrap_or(u32::MAX);
        let turns = athletes.div_ceil(u32::try_from(lines.max(1)).unwrap_or(u32::MAX));
        let cycle = (turns.saturating_mul(self.repeat_s)).max(self.repeat_s + self.rest_s);
        if athletes == 0 { 0 } else { cycle.saturating_mul(self.all_repeats()) }
    }

    /// Whether a coach stands at it: barriers are in it. So many such blocks run at once as there are coaches, and no more.
    pub const fn is_supervised(&self) -> bool {
        !matches!(self.set_up, SetUp::Wall)
    }
}

/// Before the technique gate is passed.
const TECHNIQUE: &[Stage] = &[Stage::Mobility, Stage::LeadLeg, Stage::TrailLeg, Stage::Walkover];
/// Three strides over wickets.
const WICKETS: &[Stage] = &[Stage::WicketRun, Stage::RhythmWickets];
/// Over barriers.
const BARRIERS: &[Stage] =
    &[Stage::LowBarriers, Stage::HeightBuild, Stage::SpacingBuild, Stage::CompetitionSpec, Stage::RaceTest];
/// Those of them who do something race-like at the end.
const NEAR_THE_RACE: &[Stage] = &[Stage::SpacingBuild, Stage::CompetitionSpec, Stage::RaceTest];

/// A set so many foot-lengths apart, as clinic notes give drills.
const fn feet(count: u32) -> SetUp {
    SetUp::Set(Length::from_mm(FOOT_LENGTH.mm() * count))
}

/// Every drill, in the order in which they are done.
///
/// # Source
/// "Notes" are one coach's public notes from clinics, author not shown: a complete hurdle practice; rhythm drills; sprint-based
/// hurdling; A. Behm, "Coaching Philosophy for The Hurdles". Rests, and how long a repeat takes, are design choices throughout.
pub const DRILLS: [Drill; 12] = [
    Drill {
        code: "wall_lead_leg",
        name: "Wall drill, lead leg",
        stages: &[Stage::Mobility, Stage::LeadLeg],
        sets: 3,
        repeats: 8,
        barriers: 0,
        side: Side::Lead,
        set_up: SetUp::Wall,
        repeat_s: 3,
        rest_s: 4,
        teaches: "a short quick last step under the hip, and the bent lead knee that drives up",
        source: "Notes, a complete hurdle practice: 3 x 8, or 2 sets a leg",
    },
    Drill {
        code: "wall_trail_leg",
        name: "Wall drill, trail leg, slow",
        stages: &[Stage::Mobility, Stage::TrailLeg],
        sets: 3,
        repeats: 8,
        barriers: 0,
        side: Side::Trail,
        set_up: SetUp::Wall,
        repeat_s: 3,
        rest_s: 4,
        teaches: "the path of the trail leg: knee above the foot, toe up and out, pulled past the bar",
        source: "Notes, a complete hurdle practice: 3 x 8-10, or 2 sets a leg",
    },
    Drill {
        code: "first_walkover",
        name: "First walkovers",
        stages: &[Stage::Mobility],
        sets: 1,
        repeats: 3,
        barriers: 6,
        side: Side::Each,
        set_up: SetUp::Set(Length::from_mm(1_000)),
        repeat_s: 20,
        rest_s: 20,
        teaches: "posture and the way over the barrier",
        source: "\"Hurdles\", a children's teaching sheet: 6 barriers 1 m apart, 2-4 repeats a side",
    },
    Drill {
        code: "walkover_lead",
        name: "Walkovers, lead leg at the side",
        stages: &[Stage::LeadLeg, Stage::Walkover],
        sets: 3,
        repeats: 1,
        barriers: 4,
        side: Side::Lead,
        set_up: SetUp::Set(Length::from_mm(1_000)),
        repeat_s: 15,
        rest_s: 30,
        teaches: "posture and the lead leg's path; nobody crowds the barrier",
        source: "Notes, a complete hurdle practice: 3 x 4 barriers; 1 m apart as for first walkovers",
    },
    Drill {
        code: "walkover_trail",
        name: "Walkovers, trail leg at the side",
        stages: &[Stage::TrailLeg, Stage::Walkover],
        sets: 3,
        repeats: 1,
        barriers: 4,
        side: Side::Trail,
        set_up: SetUp::Set(Length::from_mm(1_000)),
        repeat_s: 15,
        rest_s: 30,
        teaches: "posture and the trail leg's path",
        source: "Notes, a complete hurdle practice: 3 x 4 barriers; 1 m apart as for first walkovers",
    },
    Drill {
        code: "marching_walkover",
        name: "Marching walkover, three steps between",
        stages: WICKETS,
        sets: 1,
        repeats: 3,
        barriers: 4,
        side: Side::Over,
        set_up: SetUp::Set(Length::from_mm(3_660)),
        repeat_s: 25,
        rest_s: 30,
        teaches: "the three-step count, before it is run",
        source: "S. McGill, \"Ingraining the 3-Step Rhythm\", The Hurdle Magazine, 2014 (author from memory): about 3.66 m, adapted \
                 to each; how often is a design choice",
    },
    Drill {
        code: "cycle",
        name: "Cycle drill, three quick steps between",
        stages: WICKETS,
        sets: 1,
        repeats: 3,
        barriers: 5,
        side: Side::Over,
        set_up: feet(15),
        repeat_s: 25,
        rest_s: 60,
        teaches: "cadence while the gap opens",
        source: "Notes, rhythm drills: 15 foot-lengths; how often is a design choice",
    },
    Drill {
        code: "skip_over",
        name: "Skip-overs, lead then trail side",
        stages: BARRIERS,
        sets: 3,
        repeats: 1,
        barriers: 4,
        side: Side::Each,
        set_up: feet(11),
        repeat_s: 15,
        rest_s: 30,
        teaches: "distance to the barrier: it shows at once who crowds it",
        source: "Notes, a complete hurdle practice: 3 x 4 barriers; 11 foot-lengths is a design choice",
    },
    Drill {
        code: "one_step",
        name: "One-step drill",
        stages: BARRIERS,
        sets: 1,
        repeats: 3,
        barriers: 5,
        side: Side::Over,
        set_up: feet(6),
        repeat_s: 15,
        rest_s: 60,
        teaches: "carrying momentum from barrier to barrier",
        source: "Notes, rhythm drills: 5-6, at most 7, foot-lengths; how often is a design choice",
    },
    Drill {
        code: "wicket_lane",
        name: "Wicket lanes of the plan",
        stages: &[
            Stage::Mobility,
            Stage::LeadLeg,
            Stage::TrailLeg,
            Stage::Walkover,
            Stage::WicketRun,
            Stage::RhythmWickets,
        ],
        sets: 1,
        repeats: 4,
        barriers: 0,
        side: Side::Over,
        set_up: SetUp::Lanes,
        repeat_s: 45,
        rest_s: 90,
        teaches: "the three-stride rhythm at speed",
        source: "C. Parno, \"Running through wickets\": 3-4 repeats, at the end of the warm-up",
    },
    Drill {
        code: "barrier_lane",
        name: "Barrier lanes of the plan",
        stages: BARRIERS,
        sets: 1,
        repeats: 5,
        barriers: 0,
        side: Side::Over,
        set_up: SetUp::Lanes,
        repeat_s: 45,
        rest_s: 120,
        teaches: "the rhythm over the barriers that are advised",
        source: "Notes, A. Behm: 4-6 repeats of 6-12 barriers after 3-4 drills",
    },
    Drill {
        code: "race_like_end",
        name: "Race-like: from a start over two barriers",
        stages: NEAR_THE_RACE,
        sets: 1,
        repeats: 2,
        barriers: 2,
        side: Side::Over,
        set_up: SetUp::LaneStarts,
        repeat_s: 45,
        rest_s: 180,
        teaches: "the approach at full speed",
        source: "Notes, sprint-based hurdling: full-speed repeats over 1-2 barriers; how often is a design choice",
    },
];

/// The stages of the technique gate, of wickets, and of barriers: the three groups of a session. Every stage is in exactly one.
pub const BANDS: [&[Stage]; 3] = [TECHNIQUE, WICKETS, BARRIERS];
