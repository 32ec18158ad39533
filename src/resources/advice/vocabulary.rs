//! The closed lists of words that the document spells out, where no `words!` makes them: those of the mathematics, and those
//! that only answers use. Their words are the mathematics' own; a variant that is not explained does not compile.

use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use crate::compute::board::{Cause as CauseOf, Measurement as MeasurementOf};
use crate::compute::decision::{Criterion as CriterionOf, DecisionKind as DecisionKindOf, Stage as StageOf, Surface};
use crate::compute::prior::Predictor;
use crate::compute::race::{Basis, LaneDraw as LaneDrawOf, Seeding as SeedingOf};
use crate::compute::session_plan::{DRILLS, Side as SideOf};
use crate::compute::specs::{AgeRule, Confidence as ConfidenceOf, Environment as EnvironmentOf, OnFile as OnFileOf};
use crate::compute::units::{BarrierKind as BarrierKindOf, Sex as SexOf};
use crate::compute::wellbeing::Report;
use crate::platform::words::{self, merged, spelt};

spelt! {
    /// Where a race is run.
    Environment of EnvironmentOf { Indoor: "Under a roof.", Outdoor: "In the open." }
    /// What the athlete runs over, softest first.
    BarrierKind of BarrierKindOf {
        Wicket: "A wicket: ankle to shin height, run over, not cleared.",
        Foam: "A foam barrier.",
        LowBarrier: "A low training barrier that tips.",
        Hurdle: "A competition hurdle.",
    }
    /// Sex category for competition rules and growth tables.
    Sex of SexOf { Female: "Female category.", Male: "Male category." }
    /// How well a row of the rules is supported.
    Confidence of ConfidenceOf {
        Page: "The figures were read on the pages named as sources.",
        Memory: "At least one figure was written from memory: check it against the rule book.",
        Club: "Given by the club.",
    }
    /// What a rule set offers an athlete whose age alone is known.
    OnFile of OnFileOf {
        ByAge: "A target for each age.",
        AgesMissing: "Specifications, but a grade or an unstated day decides: a club tells the ages of its groups.",
        NotInForce: "Specifications that some ages led to on other days: a newer edition may apply.",
        Nothing: "No sprint-hurdle specification.",
    }
    /// What is advised.
    DecisionKind of DecisionKindOf {
        StepUpSpacing: "A longer spacing.",
        StepUpHeight: "A greater height.",
        ChangeBarrierKind: "Other barriers.",
        Consolidate: "The same again.",
        StepIn: "A shorter spacing.",
        LowerHeight: "A lower height.",
        RestAndRefer: "No running over barriers.",
        RaceTest: "A timed run over the target specification.",
    }
    /// Where an athlete stands on the progression, first to last.
    Stage of StageOf {
        Mobility: "Mobility drills: no technique seen yet.",
        LeadLeg: "Lead-leg drills.",
        TrailLeg: "Trail-leg drills.",
        Walkover: "Walkovers.",
        WicketRun: "First runs over wickets.",
        RhythmWickets: "Three-stride rhythm over wickets.",
        LowBarriers: "The lowest barriers.",
        HeightBuild: "Height rises towards the target.",
        SpacingBuild: "Spacing opens towards the target.",
        CompetitionSpec: "At the target specification.",
        RaceTest: "Tested under race conditions.",
    }
    /// Over which side of the barriers a drill goes.
    DrillSide of SideOf {
        Lead: "The lead leg at the side of the barrier.",
        Trail: "The trail leg at the side of the barrier.",
        Each: "Each leg in turn, all of it twice.",
        Over: "Over the middle.",
    }
    /// A measurement that is due.
    DueMeasurement of MeasurementOf {
        Stature: "The stature: every twelve weeks below the age of 18.",
        Sprint: "A sprint over 30 m or 50 m: every half year.",
    }
    /// Why the specification to train towards changes.
    ChangeCause of CauseOf {
        Birthday: "It is the athlete's birthday.",
        Season: "A season or an edition of the rule set begins.",
    }
    /// A technique criterion that a coach rates.
    Criterion of CriterionOf {
        LeadLeg: "Lead-leg mechanics.",
        TrailLeg: "Trail-leg mechanics.",
        Walkover: "Walkover: posture and clearance path at walking pace.",
        TakeOff: "Take-off.",
        Landing: "Landing.",
        Posture: "Posture between barriers.",
        Rhythm: "Three-stride rhythm.",
        Arms: "Arm action.",
    }
    /// How heats are made up.
    Seeding of SeedingOf {
        Balanced: "Each heat has the same mix of fast and slow.",
        LikeTimes: "Athletes of similar expected time run together; the fastest heat comes last.",
    }
    /// How lanes are given.
    LaneDraw of LaneDrawOf {
        Ranked: "The faster half draws the middle lanes, then each next pair the next lanes outward.",
        Lots: "Everybody draws from all lanes in use.",
    }
    /// The day on which ages count for a group; a birthday on 29 February counts as 1 March in other years.
    AgeCounted of AgeRule {
        EndOfYear: "31 December of the competition year, which is the age by year of birth.",
        AugustInYear: "31 August within the competition year.",
        AugustThenDecember: "Lower limit on 31 August within the competition year, upper limit on 31 December of the calendar year.",
        SchoolYear: "School year, told by the age on the 31 August before it; athletes move on 1 October.",
        SchoolYearThenDecember: "Lower limit by school year, upper limit on 31 December of the calendar year.",
        EndOfSchoolYear: "31 August at the end of the school year, which begins on 1 September.",
        MidYear: "1 July of the competition year.",
        StartOfYear: "1 January of the competition year.",
        BeforeSchoolYear: "1 January before the start of the school year, which begins on 1 September.",
        SeasonDecember: "31 December of the season's first year; a season runs from 1 July to 30 June.",
        SeasonSeptember: "30 September of the season's first year; a season runs from 1 July to 30 June.",
        DayOfCompetition: "The day of competition: the group changes on the birthday.",
        SchoolGrade: "The school grade decides; no age is computed.",
        NotStated: "The sources read do not state the day; no age is computed. Of published groups alone.",
    }
    /// What an estimate started from.
    PriorBasis of Predictor {
        LegLength: "The athlete's leg length.",
        Stature: "The athlete's stature.",
        Sprint50m: "The athlete's 50 m time.",
        Sprint30m: "The athlete's 30 m time.",
        AgeAndSex: "The mean stature of that age and sex.",
        Group: "The limits of the athlete's group.",
    }
    /// What was reported of an athlete's health.
    AdviceReport of Report { Pain: "Pain.", Illness: "An illness.", Injury: "An injury." }
    /// What keeps a surface from being dry and even.
    AdviceSurface of Surface { Wet: "It is wet.", Uneven: "It is uneven." }
    /// What an expected time rests on, best first.
    ExpectedBasis of Basis {
        RecentTests: "The median of recent races over the same course.",
        Rhythm: "Touchdown times of recent runs.",
        Speed: "Sprint times and the estimate of the rhythm.",
        Limit: "The estimate of the rhythm alone, from the weeks of runs.",
    }
}

spelt! {
    /// How times are taken.
    TimingMethod { "hand": "A stopwatch.", "tap": "Taps on a phone.", "video": "Video frames.", "gate": "Timing gates." }
    /// Sex category of a competition specification.
    SpecSex { "F": "Female category.", "M": "Male category.", "X": "Both." }
    /// What a lane plan makes small.
    Objective { "total": "The sum of what the lanes lose.", "fair": "The largest loss of anybody first, then the sum." }
    /// Why an athlete who could run finds no place.
    Waiting {
        "nothing_permitted": "Nothing that the club can set out suits them today.",
        "no_place": "Lanes, barriers or metres do not reach for everybody."
    }
    /// Where a plan took its athletes from.
    PeopleFrom {
        "named": "The request named them.",
        "attendance": "Those who came to the session.",
        "groups": "Those who are expected of the session's groups."
    }
    /// Why there is no plan with so many lanes.
    NotPlanned {
        "infeasible": "None satisfies every limit.",
        "time": "The computing time ended first."
    }
    /// The limit that a relaxation loosens.
    RelaxedLimit {
        "capacity": "Athletes in a lane.",
        "barriers_min": "The least number of barriers.",
        "straight": "The usable straight.",
        "stock": "The barriers that the club owns.",
        "pins": "Lanes of the coach's choice.",
        "rounds": "How often lanes are set out.",
        "ratings": "What has been seen of the athletes' technique."
    }
    /// A place that is marked with tape.
    TapeMarkPlace {
        "start": "The start line.",
        "barrier": "A barrier.",
        "landing": "Where the landing is expected.",
        "stride_1": "The first stride after the landing.",
        "stride_2": "The second stride.",
        "stride_3": "The third stride.",
        "take_off": "Where the take-off is expected.",
        "run_out_end": "The end of the free run-out."
    }
    /// A place between two barriers.
    StrideMarkPlace {
        "landing": "The landing behind the barrier.",
        "stride_1": "The first stride.",
        "stride_2": "The second stride.",
        "stride_3": "The third stride, the take-off.",
        "barrier": "The next barrier."
    }
    /// A contact that a beat stands for.
    RhythmStep {
        "landing": "The landing behind the barrier.",
        "stride_1": "The first stride.",
        "stride_2": "The second stride.",
        "stride_3": "The third stride, the take-off."
    }
    /// Where the tempo of a beat is from.
    TempoFrom {
        "runs": "The athlete's latest timed runs in which the rhythm held.",
        "schedule": "The club's touchdown schedule for a final time."
    }
    /// What is said of a touchdown time or an interval.
    RhythmFlag {
        "missing": "It was not taken.",
        "not_monotonic": "It is out of order.",
        "too_short": "Shorter than anybody runs.",
        "too_long": "Longer than a run goes on.",
        "forgotten_tap": "As long as two intervals: a tap was forgotten.",
        "doubtful_mark": "A single mark does not fit its neighbours.",
        "broken": "The rhythm broke."
    }
    /// What is said of a split of a race.
    RaceSplitFlag {
        "missing": "It was not taken.",
        "not_monotonic": "It is out of order.",
        "too_short": "Shorter than anybody runs.",
        "too_long": "Longer than a run goes on.",
        "forgotten_tap": "As long as two intervals: a tap was forgotten.",
        "doubtful_mark": "A single mark does not fit its neighbours.",
        "after_finish": "It lies after the finish."
    }
    /// A time beside the best before it.
    AgainstBestKind {
        "first": "There was none before: a personal best.",
        "improved": "Faster: a personal best.",
        "equalled": "The same.",
        "behind": "Slower."
    }
    /// How a time compares: hand times never compare with electronic ones.
    TimingClass {
        "hand": "Stopwatch or taps.",
        "electronic": "Video or gates."
    }
    /// Whether an athlete stands still.
    PlateauState {
        "standing": "The interval of the slope contains zero.",
        "moving": "It does not.",
        "not_enough_data": "Too little was seen to say."
    }
    /// From the first rating to the latest.
    TrendDirection {
        "up": "Higher.",
        "same": "The same.",
        "down": "Lower.",
        "once": "Rated once only."
    }
    /// How sure a date is.
    ForecastStatus {
        "reached": "Advised today.",
        "expected": "Within 26 weeks more likely than not.",
        "not_within_26_weeks": "Not within 26 weeks.",
        "not_before_gate": "Not before what `held_up_by` lists is done, whatever is trained."
    }
    /// How a coach's word compares with the advice.
    OverrideWay {
        "harder": "More demanding than advised.",
        "easier": "Less demanding than advised.",
        "otherwise": "As demanding, or without a configuration."
    }
    /// How a coach's word compares with the advice, when it may follow it.
    WordWay {
        "accepted": "The advice.",
        "harder": "More demanding than advised.",
        "easier": "Less demanding than advised.",
        "otherwise": "As demanding, or without a configuration."
    }
    /// Why there is no target.
    NoTargetCode {
        "unknown_ruleset": "There is no such rule set.",
        "not_in_force": "No specification of the rule set is in force on the day.",
        "no_age_group": "No age group of the rule set holds the athlete.",
        "no_specification": "The age group has no specification.",
        "grade_decides": "A school grade decides, and no age leads to it.",
        "rule_not_stated": "The sources do not state the day on which the age counts.",
        "no_sprint_specification": "Only other events are on file."
    }
}

/// A stage of the progression, or what is advised.
#[derive(Debug)]
pub struct StageOrDecision;

impl PartialSchema for StageOrDecision {
    fn schema() -> RefOr<Schema> {
        merged("A stage of the progression, or what is advised.", &[Stage::schema(), DecisionKind::schema()])
    }
}

impl ToSchema for StageOrDecision {}

/// A drill of the proposals.
#[derive(Debug)]
pub struct DrillCode;

impl PartialSchema for DrillCode {
    fn schema() -> RefOr<Schema> {
        words::schema("A drill. A code never changes its meaning.", &DRILLS.map(|drill| (drill.code, drill.name)))
    }
}

impl ToSchema for DrillCode {}
