//! What may be asked about rhythm, and its rules.

use crate::compute::rhythm::{
    Course, LATEST_S, MAX_TOUCHDOWNS, Schedule, Shape, Timing, TimingError, courses, event_codes,
};
use crate::compute::units::Length;
use crate::platform::fault::{Fault, Faults};

/// Shortest and longest spacing: as of runs, walkovers to five-stride drills.
pub const SPACING: (Length, Length) = (Length::from_mm(1_000), Length::from_mm(20_000));
/// Shortest and longest approach of a comparison: as of a course.
const APPROACH: (Length, Length) = (Length::from_mm(5_000), Length::from_mm(30_000));

/// Which of an event's courses is meant; what is left out does not matter.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wanted {
    /// Metres (m).
    pub spacing_m: Option<f64>,
    /// Metres (m).
    pub approach_m: Option<f64>,
    /// Barriers.
    pub barriers: Option<u8>,
}

/// The course of an event that is meant: the usual one when nothing more is said.
///
/// # Errors
/// The field, its code and a sentence with what there is.
pub fn course(event_code: &str, wanted: &Wanted) -> Result<Course, (&'static str, &'static str, String)> {
    let on_file = courses(event_code);
    if on_file.is_empty() {
        return Err(("event_code", "unknown_event", format!("must be one of {}", event_codes().join(", "))));
    }
    let same = |length: Length, m: Option<f64>| m.is_none_or(|m| (length.metres() - m).abs() < 1e-6);
    let fits = |course: &&Course| {
        same(course.spacing(), wanted.spacing_m)
            && same(course.approach(), wanted.approach_m)
            && wanted.barriers.is_none_or(|barriers| barriers == course.barriers())
    };
    on_file.iter().find(fits).copied().ok_or_else(|| {
        let field = match wanted {
            Wanted { spacing_m: Some(_), .. } => "spacing_m",
            Wanted { approach_m: Some(_), .. } => "approach_m",
            _ => "barriers",
        };
        let known = on_file.iter().map(|course| {
            let (approach, spacing) = (course.approach().metres(), course.spacing().metres());
            format!("{} barriers, approach {approach} m, spacing {spacing} m", course.barriers())
        });
        let known: Vec<String> = known.collect();
        (field, "unknown_course", format!("{event_code} is run over: {}", known.join("; ")))
    })
}

/// Touchdown times, as they came.
#[derive(Clone, Copy, Debug)]
pub struct RawTimes<'a> {
    /// Seconds (s) since the start.
    pub times_s: &'a [Option<f64>],
    /// A word of [`Timing`].
    pub method: &'a str,
    /// Frames per second.
    pub video_fps: Option<i64>,
}

/// Touchdown times and their clock; every broken value is noted.
fn times(faults: &mut Faults, raw: &RawTimes<'_>, least: usize) -> Option<(Vec<Option<f64>>, Timing)> {
    if !(least..=MAX_TOUCHDOWNS).contains(&raw.times_s.len()) {
        let detail = format!("must have {least} to {MAX_TOUCHDOWNS} entries, null for a missing one");
        faults.add("/touchdown_times_s", "length", detail);
    }
    // No more faults than a list may have entries.
    for (at, time) in raw.times_s.iter().take(MAX_TOUCHDOWNS).enumerate() {
        if time.is_some_and(|time| !(time > 0.0 && time <= LATEST_S)) {
            let detail = format!("must be above 0 and at most {LATEST_S} seconds");
            faults.add(format!("/touchdown_times_s/{at}"), "out_of_range", detail);
        }
    }
    let timing = Timing::parse(raw.method, raw.video_fps);
    let (pointer, code) = match timing {
        Err(TimingError::FrameRate) => ("/video_fps", "out_of_range"),
        Err(TimingError::NotVideo) => ("/video_fps", "not_video"),
        _ => ("/timing_method", "word"),
    };
    faults.take(pointer, code, timing).map(|timing| (raw.times_s.to_vec(), timing))
}

/// A schedule to compare a run with.
#[derive(Clone, Debug)]
pub struct Target {
    /// The event.
    pub event_code: String,
    /// The final time over its full course, seconds (s).
    pub final_time_s: f64,
    /// Whether the run's spacing or approach is not the event's.
    pub discounted: bool,
    /// The schedule over the run's barriers.
    pub schedule: Schedule,
}

/// A question about the touchdown times of one run.
#[derive(Clone, Debug)]
pub struct Question {
    /// Barrier to barrier.
    pub spacing: Length,
    /// Seconds (s) since the start; none for a missing one.
    pub times_s: Vec<Option<f64>>,
    /// The clock.
    pub timing: Timing,
    /// What to compare with.
    pub target: Option<Target>,
}

/// What a client sends of a [`Question`].
#[derive(Clone, Copy, Debug)]
pub struct RawQuestion<'a> {
    /// Metres (m).
    pub spacing_m: f64,
    /// Metres (m).
    pub approach_m: Option<f64>,
    /// The times.
    pub times: RawTimes<'a>,
    /// The event.
    pub event_code: Option<&'a str>,
    /// Seconds (s).
    pub target_time_s: Option<f64>,
}

impl Question {
    /// Parses a question.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(raw: &RawQuestion<'_>) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let spacing = Length::between(raw.spacing_m, SPACING.0, SPACING.1);
        let spacing = faults.take("/spacing_m", "out_of_range", spacing);
        let approach = raw
            .approach_m
            .and_then(|m| faults.take("/approach_m", "out_of_range", Length::between(m, APPROACH.0, APPROACH.1)));
        let read = times(&mut faults, &raw.times, 2);
        let target = match (raw.event_code, raw.target_time_s) {
            (Some(event_code), Some(time)) => spacing.and_then(|spacing| {
                target(&mut faults, event_code, time, (spacing, approach), raw.times.times_s.len())
            }),
            (Some(_), None) => {
                faults.add("/target_time_s", "missing", "is needed with event_code");
                None
            }
            (None, Some(_)) => {
                faults.add("/event_code", "missing", "is needed with target_time_s");
                None
            }
            (None, None) => {
                if approach.is_some() {
                    faults.add("/approach_m", "not_used", "only goes with event_code and target_time_s");
                }
                None
            }
        };
        let value = spacing.zip(read).map(|(spacing, (times_s, timing))| Self { spacing, times_s, timing, target });
        faults.finish(value)
    }
}

/// The schedule to compare with: of the event's course with this spacing and approach, or of its usual one discounted.
fn target(
    faults: &mut Faults,
    event_code: &str,
    final_time_s: f64,
    (spacing, approach): (Length, Option<Length>),
    touchdowns: usize,
) -> Option<Target> {
    let wanted = Wanted { spacing_m: Some(spacing.metres()), approach_m: approach.map(Length::metres), barriers: None };
    let own = course(event_code, &wanted);
    let full = match &own {
        Ok(course) => Ok(*course),
        Err(_) => course(event_code, &Wanted::default()),
    };
    let full = full.map_err(|(field, code, detail)| faults.add(format!("/{field}"), code, detail)).ok()?;
    if touchdowns > usize::from(full.barriers()) {
        let detail = format!("has more entries than the {} barriers of {event_code}", full.barriers());
        faults.add("/touchdown_times_s", "length", detail);
    }
    let run = Course::new(approach.unwrap_or(full.approach()), spacing, full.barriers(), full.run_in());
    let run = faults.take("/spacing_m", "no_schedule", run)?;
    let schedule = Schedule::discounted(&full, final_time_s, &run, &Shape::default());
    let schedule = faults.take("/target_time_s", "out_of_range", schedule)?;
    Some(Target { event_code: event_code.to_owned(), final_time_s, discounted: own.is_err(), schedule })
}

/// A question about the final time that touchdown times point to.
#[derive(Clone, Debug)]
pub struct Outlook {
    /// The course.
    pub course: Course,
    /// Seconds (s) since the start; none for a missing one.
    pub times_s: Vec<Option<f64>>,
    /// The clock.
    pub timing: Timing,
}

impl Outlook {
    /// Parses a question.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(event_code: &str, wanted: &Wanted, raw: &RawTimes<'_>) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let course = course(event_code, wanted)
            .map_err(|(field, code, detail)| faults.add(format!("/{field}"), code, detail))
            .ok();
        let read = times(&mut faults, raw, 1);
        faults.finish(course.zip(read).map(|(course, (times_s, timing))| Self { course, times_s, timing }))
    }
}
