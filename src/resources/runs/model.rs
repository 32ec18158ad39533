//! A run and its rules.

use chrono::{DateTime, Datelike, NaiveDate, Utc};

use crate::compute::units::{BarrierKind, Length};
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{AthleteId, LanePlanId, RunId, SessionId};
use crate::platform::words::words;

/// Barriers of one lane, 1 to this.
pub const MAX_BARRIERS: i16 = 20;
/// Lowest and highest barrier: a wicket of 5 cm, and above the senior men's hurdle of 1.067 m.
const HEIGHT: (Length, Length) = (Length::from_mm(50), Length::from_mm(1_100));
/// Shortest and longest spacing: walkovers stand about 1 m apart, five-stride drills up to 20 m.
const SPACING: (Length, Length) = (Length::from_mm(1_000), Length::from_mm(20_000));
/// Longest approach.
const APPROACH_MAX: Length = Length::from_mm(50_000);
/// Latest touchdown (ms).
const TOUCHDOWN_MS: f64 = 120_000.0;

words! {
    /// A leg.
    Leg { /// Left.
        Left = "left", /// Right.
        Right = "right" }
}

words! {
    /// How times are taken.
    TimingMethod { /// A stopwatch.
        Hand = "hand", /// Taps on a phone.
        Tap = "tap", /// Video frames.
        Video = "video", /// Timing gates.
        Gate = "gate" }
}

/// Outcomes of the intervals of a run (counts).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Intervals {
    /// Rhythm kept.
    pub held: i16,
    /// Spacing too long.
    pub over_reached: i16,
    /// Spacing too short.
    pub crowded: i16,
    /// Rhythm lost, cause not recorded.
    pub broken: i16,
}

/// Touchdown times of a run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Touchdowns {
    /// Milliseconds (ms) since the start, one for each barrier; none where a tap was forgotten.
    pub times_ms: Vec<Option<i32>>,
    /// How they were taken.
    pub method: TimingMethod,
    /// Frames per second of the video.
    pub video_fps: Option<i16>,
}

/// Most lanes and rounds of a plan.
const LANES_MAX: (i16, i16) = (12, 4);

/// A lane of a plan, in a round.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct LaneOf {
    /// The plan.
    pub plan: LanePlanId,
    /// The lane, from 1.
    pub lane: i16,
    /// The round, from 1.
    pub round: i16,
}

/// What stands in a lane, as its plan says it.
#[derive(Clone, Debug, PartialEq)]
pub struct Stands {
    /// A word of [`BarrierKind`].
    pub barrier_kind: String,
    /// Metres (m).
    pub height_m: f64,
    /// Metres (m).
    pub spacing_m: f64,
    /// Metres (m); none where a run was filed without.
    pub approach_m: Option<f64>,
    /// Barriers.
    pub barriers: i16,
}

/// A run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Run {
    /// The session.
    pub session: SessionId,
    /// Who ran.
    pub athlete: AthleteId,
    /// When, as the phone claims.
    pub run_at: DateTime<Utc>,
    /// The lane of a plan, where it is said.
    pub lane: Option<LaneOf>,
    /// What stood in the lane.
    pub barrier_kind: BarrierKind,
    /// Height of the barriers.
    pub height: Length,
    /// Distance between barriers.
    pub spacing: Length,
    /// Start line to the first barrier.
    pub approach: Option<Length>,
    /// Barriers run.
    pub barriers: i16,
    /// What became of the intervals.
    pub intervals: Intervals,
    /// Barriers hit.
    pub hits: i16,
    /// Whether the athlete went down.
    pub fell: bool,
    /// The leg that led.
    pub lead_leg: Option<Leg>,
    /// Touchdown times, when taken.
    pub touchdowns: Option<Touchdowns>,
    /// Remark.
    pub note: Option<String>,
    /// The run that this one corrects.
    pub supersedes: Option<RunId>,
    /// Whether this only withdraws the superseded run.
    pub void: bool,
}

/// A run as it was filed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Filed {
    /// The run.
    pub run: Run,
    /// Whether a report or restriction of the athlete stood on the day, as far as it was known when the run was filed.
    pub while_restricted: bool,
}

/// What a client sends of a run, field by field.
#[derive(Clone, Debug)]
pub struct Raw<'a> {
    /// See [`Run`].
    pub session: SessionId,
    /// See [`Run`].
    pub athlete: AthleteId,
    /// See [`Run`].
    pub run_at: DateTime<Utc>,
    /// See [`Run`].
    pub lane: Option<LaneOf>,
    /// A word of [`BarrierKind`].
    pub barrier_kind: &'a str,
    /// Metres (m).
    pub height_m: f64,
    /// Metres (m).
    pub spacing_m: f64,
    /// Metres (m).
    pub approach_m: Option<f64>,
    /// See [`Run`].
    pub barriers: i16,
    /// See [`Run`].
    pub intervals: Intervals,
    /// See [`Run`].
    pub hits: i16,
    /// See [`Run`].
    pub fell: bool,
    /// A word of [`Leg`].
    pub lead_leg: Option<&'a str>,
    /// Seconds (s).
    pub touchdown_times_s: Option<&'a [Option<f64>]>,
    /// A word of [`TimingMethod`].
    pub timing_method: Option<&'a str>,
    /// Frames per second.
    pub video_fps: Option<i16>,
    /// See [`Run`].
    pub note: Option<&'a str>,
    /// See [`Run`].
    pub supersedes: Option<RunId>,
    /// See [`Run`].
    pub void: bool,
}

impl Run {
    /// Parses a run.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(raw: &Raw<'_>, now: DateTime<Utc>) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        if raw.run_at.year() < 2000 || (raw.run_at - now).num_hours() > 24 {
            faults.add("/run_at", "out_of_range", "must be from 2000 to at most a day ahead");
        }
        let (lane, round) = raw.lane.map(|one| (one.lane, one.round)).unzip();
        for (pointer, number, most) in [("/lane/lane", lane, LANES_MAX.0), ("/lane/round", round, LANES_MAX.1)] {
            if number.is_some_and(|number| !(1..=most).contains(&number)) {
                faults.add(pointer, "out_of_range", format!("must be from 1 to {most}"));
            }
        }
        let kind = BarrierKind::from_word(raw.barrier_kind).ok_or("must be wicket, foam, low_barrier or hurdle");
        let kind = faults.take("/barrier_kind", "word", kind);
        let height = Length::between(raw.height_m, HEIGHT.0, HEIGHT.1);
        let height = faults.take("/height_m", "out_of_range", height);
        let spacing = Length::between(raw.spacing_m, SPACING.0, SPACING.1);
        let spacing = faults.take("/spacing_m", "out_of_range", spacing);
        let approach = raw.approach_m.and_then(|m| {
            faults.take("/approach_m", "out_of_range", Length::between(m, Length::default(), APPROACH_MAX))
        });
        check_counts(&mut faults, raw);
        let lead_leg = raw.lead_leg.and_then(|word| faults.take("/lead_leg", "word", Leg::parse(word)));
        let touchdowns = parse_touchdowns(&mut faults, raw);
        let note = faults.opt_text("/note", raw.note, 500);
        if raw.void && raw.supersedes.is_none() {
            faults.add("/void", "void", "needs `supersedes`: the run that is withdrawn");
        }
        let value = kind.zip(height).zip(spacing).map(|((barrier_kind, height), spacing)| Self {
            session: raw.session,
            athlete: raw.athlete,
            // Stored and compared to the microsecond, as the database keeps it.
            run_at: chrono::DateTime::from_timestamp_micros(raw.run_at.timestamp_micros()).unwrap_or(raw.run_at),
            lane: raw.lane,
            barrier_kind,
            height,
            spacing,
            approach,
            barriers: raw.barriers,
            intervals: raw.intervals,
            hits: raw.hits,
            fell: raw.fell,
            lead_leg,
            touchdowns,
            note,
            supersedes: raw.supersedes,
            void: raw.void,
        });
        faults.finish(value)
    }

    /// What stood in the lane.
    pub fn stands(&self) -> Stands {
        Stands {
            barrier_kind: self.barrier_kind.as_str().to_owned(),
            height_m: self.height.metres(),
            spacing_m: self.spacing.metres(),
            approach_m: self.approach.map(Length::metres),
            barriers: self.barriers,
        }
    }

    /// Whether the claimed time fits the day of the session, two days of a wrong clock allowed.
    pub fn fits_day(&self, held_on: NaiveDate) -> bool {
        (self.run_at.date_naive() - held_on).num_days().abs() <= 2
    }
}

fn check_counts(faults: &mut Faults, raw: &Raw<'_>) {
    let known = (1..=MAX_BARRIERS).contains(&raw.barriers);
    if !known {
        faults.add("/barriers", "out_of_range", format!("must be from 1 to {MAX_BARRIERS}"));
    }
    let Intervals { held, over_reached, crowded, broken } = raw.intervals;
    let counts = [("held", held), ("over_reached", over_reached), ("crowded", crowded), ("broken", broken)];
    let outside = counts.iter().filter(|(_, count)| !(0..MAX_BARRIERS).contains(count));
    let mut any = false;
    for (name, _) in outside {
        faults.add(format!("/intervals/{name}"), "out_of_range", format!("must be from 0 to {}", MAX_BARRIERS - 1));
        any = true;
    }
    let sum: i32 = counts.iter().map(|(_, count)| i32::from(*count)).sum();
    let wanted = i32::from(raw.barriers) - 1;
    if known && !any && sum != wanted {
        let detail = format!("add up to {sum}; {} barriers make {wanted} intervals", raw.barriers);
        faults.add("/intervals", "sum", detail);
    }
    let most = if known { raw.barriers } else { MAX_BARRIERS };
    if !(0..=most).contains(&raw.hits) {
        faults.add("/hits", "out_of_range", format!("must be from 0 to the {most} barriers"));
    }
}

fn parse_touchdowns(faults: &mut Faults, raw: &Raw<'_>) -> Option<Touchdowns> {
    let Some(times) = raw.touchdown_times_s else {
        if raw.timing_method.is_some() || raw.video_fps.is_some() {
            faults.add("/touchdown_times_s", "missing", "is needed with timing_method or video_fps");
        }
        return None;
    };
    if times.len() != usize::try_from(raw.barriers).unwrap_or(0) {
        faults.add(
            "/touchdown_times_s",
            "length",
            format!("must have one entry for each of the {} barriers; null for a missing one", raw.barriers),
        );
    }
    let mut last = 0.0;
    let mut times_ms = Vec::with_capacity(times.len());
    for (at, time) in times.iter().enumerate() {
        let Some(time) = time else {
            times_ms.push(None);
            continue;
        };
        let ms = (time * 1_000.0).round();
        if !(ms > last && ms <= TOUCHDOWN_MS) {
            faults.add(
                format!("/touchdown_times_s/{at}"),
                "order",
                "must be later than the one before, above 0 and at most 120 seconds",
            );
        } else if (time * 1_000.0 - ms).abs() > 1e-6 {
            faults.add(format!("/touchdown_times_s/{at}"), "too_fine", "must not be finer than 0.001 seconds");
        }
        last = ms;
        #[allow(clippy::cast_possible_truncation)] // at most 120 000, or refused above
        times_ms.push(Some(ms as i32));
    }
    let method = raw.timing_method.ok_or_else(|| "is needed with touchdown times: hand, tap, video or gate".to_owned());
    let method = faults.take("/timing_method", "word", method.and_then(TimingMethod::parse))?;
    match (method, raw.video_fps) {
        (TimingMethod::Video, Some(fps)) if (10..=1_000).contains(&fps) => {}
        (TimingMethod::Video, _) => faults.add("/video_fps", "out_of_range", "must be from 10 to 1000 for video"),
        (_, Some(_)) => faults.add("/video_fps", "not_video", "only goes with the timing method video"),
        _ => {}
    }
    Some(Touchdowns { times_ms, method, video_fps: raw.video_fps })
}
