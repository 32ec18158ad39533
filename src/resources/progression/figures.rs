//! The JSON of figures that athletes and squads share.

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use crate::compute::day::Day;
use crate::compute::decision::Configuration;
use crate::compute::english::metres;
use crate::compute::estimate::Hold;
use crate::compute::progress::{Load, Note, Plateau, Quantiles, Slope};
use crate::compute::specs::Applicable;
use crate::platform::ids::AthleteId;
use crate::resources::advice::{NoteCode, vocabulary};

/// A date of the mathematics.
pub fn date(day: Day) -> NaiveDate {
    on(day.days())
}

/// The date of a day number, days since 1970-01-01.
pub fn on(days: i32) -> NaiveDate {
    NaiveDate::from_epoch_days(days).unwrap_or_default()
}

/// To the thousandth.
pub fn rounded(value: f64) -> f64 {
    (value * 1_000.0).round() / 1_000.0
}

/// A stable code with its English sentence.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = ProgressNote)]
pub struct NoteView {
    /// Stable code, for programs and translations.
    #[schema(value_type = NoteCode)]
    pub code: &'static str,
    /// The sentence.
    #[schema(max_length = 500, example = "A coach watches every run and checks every barrier before the first.")]
    pub text: String,
}

impl From<&Note> for NoteView {
    fn from(note: &Note) -> Self {
        Self { code: note.code(), text: note.text() }
    }
}

/// How many athletes, and which.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = AthleteCount)]
pub struct CountView {
    /// The stage or the decision.
    #[schema(value_type = vocabulary::StageOrDecision)]
    pub what: &'static str,
    /// How many.
    #[schema(minimum = 0, example = 7)]
    pub athletes: usize,
    /// Which.
    #[schema(max_items = 300)]
    pub athlete_ids: Vec<AthleteId>,
}

/// How much was run, and what became of it.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = ProgressLoad)]
pub struct LoadView {
    /// Runs.
    #[schema(minimum = 0, example = 24)]
    pub runs: u32,
    /// Intervals.
    #[schema(minimum = 0, example = 96)]
    pub intervals: u32,
    /// Intervals in which the rhythm held.
    #[schema(minimum = 0, example = 80)]
    pub held: u32,
    /// Share of intervals held, 0 to 1; absent without an interval.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1, example = 0.833)]
    pub held_share: Option<f64>,
    /// Barriers run over.
    #[schema(minimum = 0, example = 120)]
    pub barriers: u32,
    /// Barriers hit.
    #[schema(minimum = 0, example = 6)]
    pub hits: u32,
    /// Number of barriers hit of a hundred run over; absent without a barrier.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 100, example = 5.0)]
    pub hits_per_100_barriers: Option<f64>,
    /// Runs in which the athlete went down.
    #[schema(minimum = 0, example = 0)]
    pub falls: u32,
}

impl From<Load> for LoadView {
    fn from(load: Load) -> Self {
        Self {
            runs: load.runs,
            intervals: load.intervals,
            held: load.held,
            held_share: load.held_share().map(rounded),
            barriers: load.barriers,
            hits: load.hits,
            hits_per_100_barriers: load.hits_per_100_barriers().map(rounded),
            falls: load.falls,
        }
    }
}

/// How fast something changes, metres per week, with its 90 % interval (Theil-Sen).
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
#[schema(as = ProgressSlope)]
pub struct SlopeView {
    /// Slope, metres per week.
    #[schema(minimum = -140, maximum = 140, example = 0.045)]
    pub per_week_m: f64,
    /// Lower end of the interval, metres per week.
    #[schema(minimum = -140, maximum = 140, example = 0.02)]
    pub low_m: f64,
    /// Upper end of the interval, metres per week.
    #[schema(minimum = -140, maximum = 140, example = 0.07)]
    pub high_m: f64,
    /// Training days that it rests on.
    #[schema(minimum = 3, example = 22)]
    pub days: usize,
}

impl From<Slope> for SlopeView {
    fn from(slope: Slope) -> Self {
        Self {
            per_week_m: rounded(slope.per_week),
            low_m: rounded(slope.low),
            high_m: rounded(slope.high),
            days: slope.days,
        }
    }
}

/// A week with too few training days.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
#[schema(as = ThinWeek)]
pub struct WeekView {
    /// Its first day.
    from: NaiveDate,
    /// Its last day.
    to: NaiveDate,
    /// Training days in it; two are needed.
    #[schema(minimum = 0, maximum = 1, example = 1)]
    training_days: u32,
}

/// Whether the estimated limit stands still, over four weeks or more with two training days or more each.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = Plateau)]
pub struct PlateauView {
    /// `standing` (the interval of the slope contains zero), `moving` or `not_enough_data`.
    #[schema(value_type = vocabulary::PlateauState)]
    pub state: &'static str,
    /// For how many weeks, up to twelve; when standing.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 4, maximum = 12, example = 5)]
    pub weeks: Option<i32>,
    /// The slope over these weeks, or over the latest four.
    #[serde(skip_serializing_if = "Option::is_none")]
    slope: Option<SlopeView>,
    /// The weeks that lack training days, latest first.
    #[schema(max_items = 4)]
    missing: Vec<WeekView>,
}

impl From<&Plateau> for PlateauView {
    fn from(plateau: &Plateau) -> Self {
        let of = |state, weeks, slope: Option<Slope>| Self {
            state,
            weeks,
            slope: slope.map(Into::into),
            missing: Vec::new(),
        };
        match plateau {
            Plateau::Standing { weeks, slope } => of("standing", Some(*weeks), Some(*slope)),
            Plateau::Moving(slope) => of("moving", None, Some(*slope)),
            Plateau::NotEnoughData(weeks) => {
                let missing = weeks.iter().map(|week| WeekView {
                    from: on(week.from),
                    to: on(week.to),
                    training_days: week.training_days,
                });
                Self { missing: missing.collect(), ..of("not_enough_data", None, None) }
            }
        }
    }
}

/// A probability that an interval is held, with its 90 % interval.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
#[schema(as = ProgressHold)]
pub struct HoldView {
    /// Mean.
    #[schema(minimum = 0, maximum = 1, example = 0.42)]
    pub mean: f64,
    /// 5 % quantile.
    #[schema(minimum = 0, maximum = 1, example = 0.2)]
    pub p05: f64,
    /// 95 % quantile.
    #[schema(minimum = 0, maximum = 1, example = 0.66)]
    pub p95: f64,
}

impl From<Hold> for HoldView {
    fn from(hold: Hold) -> Self {
        Self { mean: rounded(hold.mean), p05: rounded(hold.p05), p95: rounded(hold.p95) }
    }
}

/// A specification to train towards.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = ProgressTarget)]
pub struct TargetView {
    /// Rule set.
    #[schema(max_length = 40, example = "UKA-2024")]
    ruleset: String,
    /// Event.
    #[schema(max_length = 20, example = "75H")]
    pub event_code: String,
    /// Age group.
    #[schema(max_length = 40, example = "U15")]
    pub age_group: String,
    /// Height of the barriers, metres.
    #[schema(minimum = 0, maximum = 1.5, example = 0.762)]
    pub height_m: f64,
    /// Distance between barriers, metres.
    #[schema(minimum = 0, maximum = 20, example = 7.5)]
    pub spacing_m: f64,
    /// Barriers.
    #[schema(minimum = 1, maximum = 20, example = 8)]
    barriers: u8,
    /// Whether it applies for sure; with only a birth year on file it may not.
    certain: bool,
    /// Whether the athlete is younger than every age group on file and this is what the youngest races over: for
    /// orientation, not to race over.
    provisional: bool,
    /// The first day on which it applies, for a coming target.
    #[serde(skip_serializing_if = "Option::is_none")]
    applies_from: Option<NaiveDate>,
    /// The same as a sentence.
    #[schema(max_length = 300, example = "From 2026-10-01 the target is 75H U15: 0.762 m high, 7.50 m apart.")]
    pub text: String,
}

impl TargetView {
    /// The view of a target; `from` for one that does not apply yet.
    pub fn new(one: &Applicable<'_>, from: Option<Day>) -> Self {
        let spec = one.spec;
        let today = if one.provisional { "For orientation, being younger than every group:" } else { "The target is" };
        let when = from.map_or_else(|| today.to_owned(), |day| format!("From {day} the target is"));
        Self {
            ruleset: spec.ruleset.to_string(),
            event_code: spec.event_code.to_string(),
            age_group: spec.age_group.to_string(),
            height_m: spec.height.metres(),
            spacing_m: spec.between.metres(),
            barriers: spec.barriers,
            certain: one.certain,
            provisional: one.provisional,
            applies_from: from.map(date),
            text: format!(
                "{when} {} {}: {} high, {} apart.",
                spec.event_code,
                spec.age_group,
                metres(spec.height),
                metres(spec.between)
            ),
        }
    }
}

/// What is run over now.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = ProgressConfiguration)]
pub struct ConfigurationView {
    /// `wicket`, `foam`, `low_barrier` or `hurdle`.
    #[schema(value_type = vocabulary::BarrierKind)]
    pub barrier_kind: &'static str,
    /// Height of the barriers, metres.
    #[schema(minimum = 0, maximum = 1.5, example = 0.5)]
    pub height_m: f64,
    /// Spacing, metres.
    #[schema(minimum = 0, maximum = 20, example = 6.25)]
    pub spacing_m: f64,
}

impl From<Configuration> for ConfigurationView {
    fn from(one: Configuration) -> Self {
        Self { barrier_kind: one.barrier_kind.as_str(), height_m: one.height.metres(), spacing_m: one.spacing.metres() }
    }
}

/// Five figures of a distribution over athletes, in the unit of what is spread: metres, or a share. Whose they are stands with
/// each athlete.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
#[schema(as = Distribution)]
pub struct DistributionView {
    /// Smallest.
    #[schema(minimum = -10, maximum = 20, example = 0.71)]
    pub min: f64,
    /// 25 % quantile.
    #[schema(minimum = -10, maximum = 20, example = 0.8)]
    pub p25: f64,
    /// Median.
    #[schema(minimum = -10, maximum = 20, example = 0.86)]
    pub p50: f64,
    /// 75 % quantile.
    #[schema(minimum = -10, maximum = 20, example = 0.93)]
    pub p75: f64,
    /// Largest.
    #[schema(minimum = -10, maximum = 20, example = 1.0)]
    pub max: f64,
}

impl From<Quantiles> for DistributionView {
    fn from(of: Quantiles) -> Self {
        Self {
            min: rounded(of.min),
            p25: rounded(of.p25),
            p50: rounded(of.p50),
            p75: rounded(of.p75),
            max: rounded(of.max),
        }
    }
}
