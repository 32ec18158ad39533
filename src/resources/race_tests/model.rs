//! Race tests, their results and their rules.

use chrono::Datelike;

use crate::compute::advice::Setting;
use crate::compute::day::Day;
use crate::compute::race::{Course, TimingClass};
use crate::compute::rhythm::{LATEST_S, Timing, TimingError};
use crate::compute::specs::{Environment, Spec, published};
use crate::compute::units::{Length, Sex};
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{AthleteId, RaceResultId, RaceTestId, SessionId};
use crate::platform::words::words;

/// Most barriers of a race test.
pub const MAX_BARRIERS: u8 = 20;
/// Latest touchdown or finish (ms): that of the rhythm calculators.
const LATEST_MS: f64 = LATEST_S * 1_000.0;

words! {
    /// Whether a race test is still to come.
    State { /// To come.
        Planned = "planned", /// It was run.
        Held = "held" }
}

words! {
    /// How times are taken.
    Method { /// A stopwatch.
        Hand = "hand", /// Taps on a phone.
        Tap = "tap", /// Video frames.
        Video = "video", /// Timing gates.
        Gate = "gate" }
}

words! {
    /// What became of an athlete.
    Status { /// Crossed the line.
        Finished = "finished", /// Did not start.
        DidNotStart = "did_not_start", /// Started and did not finish.
        DidNotFinish = "did_not_finish", /// Disqualified.
        Disqualified = "disqualified" }
}

impl Method {
    /// How its times compare.
    pub const fn class(self) -> TimingClass {
        match self {
            Self::Hand | Self::Tap => TimingClass::Hand,
            Self::Video | Self::Gate => TimingClass::Electronic,
        }
    }
}

/// What a race test is run over, and which published or own specification it was taken from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Specification {
    /// Rule set with its edition.
    pub ruleset: Option<String>,
    /// Event.
    pub event_code: Option<String>,
    /// Indoor or outdoor.
    pub environment: Option<String>,
    /// `F`, `M` or `X` for both.
    pub sex: Option<String>,
    /// Code of the age group.
    pub age_group: Option<String>,
    /// The figures.
    pub course: Course,
    /// Whether the spacing is shorter than what will be raced over.
    pub discounted: bool,
}

/// A race test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RaceTest {
    /// The session it is part of.
    pub session: SessionId,
    /// Its name.
    pub name: String,
    /// Whether it is still to come.
    pub state: State,
    /// What it is run over.
    pub specification: Specification,
    /// How times are taken, unless a result says otherwise.
    pub timing: Method,
}

/// The parts of a race test that can change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Changeable {
    /// See [`RaceTest`].
    pub name: String,
    /// See [`RaceTest`].
    pub state: State,
    /// See [`RaceTest`].
    pub timing: Method,
}

impl Changeable {
    /// Parses the parts.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(name: &str, state: &str, timing: &str) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let name = faults.text("/name", name, 80);
        let state = faults.take("/state", "word", State::parse(state));
        let timing = faults.take("/timing_method", "word", Method::parse(timing));
        let value = name.zip(state).zip(timing).map(|((name, state), timing)| Self { name, state, timing });
        faults.finish(value)
    }
}

/// A specification by its names.
#[derive(Clone, Copy, Debug)]
pub struct Named<'a> {
    /// Rule set; the club's when absent.
    pub ruleset: Option<&'a str>,
    /// Event.
    pub event_code: &'a str,
    /// Code of the age group.
    pub age_group: &'a str,
    /// `F` or `M`.
    pub sex: Option<&'a str>,
    /// Indoor or outdoor.
    pub environment: Option<&'a str>,
}

/// Whether a rule set, named with or without its edition year, takes in this edition.
fn takes_in(ruleset: &str, edition: &str) -> bool {
    edition == ruleset || edition.strip_prefix(ruleset).is_some_and(|rest| rest.starts_with('-'))
}

impl Named<'_> {
    fn fits(&self, spec: &Spec, ruleset: &str, on: Day) -> bool {
        takes_in(ruleset, &spec.ruleset)
            && spec.event_code == self.event_code
            && spec.age_group == self.age_group
            && self.sex.is_none_or(|word| spec.sex.is_none_or(|sex| sex.as_str() == word))
            && self.environment.is_none_or(|word| spec.environment.as_str() == word)
            && spec.valid_from.is_none_or(|from| from <= on)
            && spec.valid_to.is_none_or(|to| on <= to)
    }

    /// The specification of these names on a day: the club's own before a published one.
    ///
    /// # Errors
    /// A fault when there is none, or more than one with different figures.
    pub fn find(&self, setting: &Setting, on: Day) -> Result<Specification, Vec<Fault>> {
        let mut faults = Faults::new();
        if self.sex.is_some_and(|word| Sex::from_word(word).is_none()) {
            faults.add("/spec/sex", "word", "must be F or M");
        }
        if self.environment.is_some_and(|word| Environment::from_word(word).is_none()) {
            faults.add("/spec/environment", "word", "must be indoor or outdoor");
        }
        if !faults.is_empty() {
            return faults.finish(None);
        }
        let ruleset = self.ruleset.unwrap_or(&setting.ruleset);
        let mut found: Vec<&Spec> = setting.specs.iter().filter(|spec| self.fits(spec, ruleset, on)).collect();
        if found.is_empty() {
            found = published().filter(|spec| self.fits(spec, ruleset, on)).collect();
        }
        let mut courses: Vec<Course> = found.iter().map(|spec| course_of(spec)).collect();
        courses.sort_unstable();
        courses.dedup();
        match (found.first(), courses.len()) {
            (Some(spec), 1) => Ok(Specification {
                ruleset: Some(spec.ruleset.to_string()),
                event_code: Some(spec.event_code.to_string()),
                environment: Some(spec.environment.as_str().to_owned()),
                sex: Some(self.sex.or(spec.sex.map(Sex::as_str)).unwrap_or("X").to_owned()),
                age_group: Some(spec.age_group.to_string()),
                course: course_of(spec),
                discounted: false,
            }),
            (Some(_), _) => {
                faults.add(
                    "/spec",
                    "ambiguous",
                    "fits several specifications; add sex, environment or the edition's year",
                );
                faults.finish(None)
            }
            (None, _) => {
                let detail = format!(
                    "no specification {} {} of {ruleset} is on file for that day; GET /v1/competition-specs lists those \
                     that are, or send `dimensions`",
                    self.event_code, self.age_group
                );
                faults.add("/spec", "unknown_spec", detail);
                faults.finish(None)
            }
        }
    }
}

fn course_of(spec: &Spec) -> Course {
    Course {
        race_distance: spec.race_distance,
        barriers: spec.barriers,
        height: spec.height,
        approach: spec.to_first,
        spacing: spec.between,
    }
}

/// Parses a course: race distance, height, approach and spacing in metres (m).
///
/// # Errors
/// Every broken field, with pointers below `/dimensions`.
pub fn dimensions(
    [distance, height, approach, spacing]: [f64; 4],
    barriers: u8,
    discounted: bool,
) -> Result<Specification, Vec<Fault>> {
    let mut faults = Faults::new();
    let mut metres = |name: &str, value: f64, low: u32, high: u32| {
        let length = Length::between(value, Length::from_mm(low), Length::from_mm(high));
        faults.take(&format!("/dimensions/{name}"), "out_of_range", length)
    };
    let race_distance = metres("race_distance_m", distance, 10_000, 400_000);
    let height = metres("height_m", height, 50, 1_100);
    let approach = metres("approach_m", approach, 1_000, 50_000);
    let spacing = metres("spacing_m", spacing, 1_000, 40_000);
    let counted = (1..=MAX_BARRIERS).contains(&barriers).then_some(barriers).ok_or("must be from 1 to 20");
    let barriers = faults.take("/dimensions/barriers", "out_of_range", counted);
    let course = race_distance.zip(height).zip(approach).zip(spacing).zip(barriers).map(
        |((((race_distance, height), approach), spacing), barriers)| Course {
            race_distance,
            barriers,
            height,
            approach,
            spacing,
        },
    );
    if course.is_some_and(|course| course.run_in().is_none()) {
        faults.add("/dimensions/race_distance_m", "sum", "must reach beyond the last barrier");
    }
    let value = course.map(|course| Specification {
        ruleset: None,
        event_code: None,
        environment: None,
        sex: None,
        age_group: None,
        course,
        discounted,
    });
    faults.finish(value)
}

/// A result.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// The race test.
    pub test: RaceTestId,
    /// Who ran.
    pub athlete: AthleteId,
    /// The heat, from 1.
    pub heat: Option<i16>,
    /// The lane.
    pub lane: Option<i16>,
    /// What became of the athlete.
    pub status: Status,
    /// Final time from the athlete's own start, milliseconds (ms).
    pub final_time_ms: Option<i32>,
    /// Touchdown times from the athlete's own start, milliseconds (ms), one for each barrier.
    pub touchdowns_ms: Option<Vec<Option<i32>>>,
    /// How the times were taken.
    pub timing: Option<Method>,
    /// Frames per second of the video.
    pub video_fps: Option<i16>,
    /// Barriers hit.
    pub hits: i16,
    /// Whether the athlete went down.
    pub fell: bool,
    /// Remark.
    pub note: Option<String>,
    /// The result that this one corrects.
    pub supersedes: Option<RaceResultId>,
    /// Whether this only withdraws the superseded result.
    pub void: bool,
}

/// What a client sends of a result, field by field.
#[derive(Clone, Copy, Debug)]
pub struct RawOutcome<'a> {
    /// See [`Outcome`].
    pub athlete: AthleteId,
    /// See [`Outcome`].
    pub heat: Option<i16>,
    /// See [`Outcome`].
    pub lane: Option<i16>,
    /// A word of [`Status`].
    pub status: &'a str,
    /// Seconds (s).
    pub final_time_s: Option<f64>,
    /// Seconds (s).
    pub touchdown_times_s: Option<&'a [Option<f64>]>,
    /// A word of [`Method`]; that of the race test when absent.
    pub timing_method: Option<&'a str>,
    /// Frames per second.
    pub video_fps: Option<i16>,
    /// See [`Outcome`].
    pub hits: i16,
    /// See [`Outcome`].
    pub fell: bool,
    /// See [`Outcome`].
    pub note: Option<&'a str>,
    /// See [`Outcome`].
    pub supersedes: Option<RaceResultId>,
    /// See [`Outcome`].
    pub void: bool,
}

impl Outcome {
    /// Parses a result of a race test.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(raw: &RawOutcome<'_>, id: RaceTestId, test: &RaceTest) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let status = faults.take("/status", "word", Status::parse(raw.status));
        for (pointer, value, most) in [("/heat", raw.heat, 60), ("/lane", raw.lane, 12)] {
            if value.is_some_and(|value| !(1..=most).contains(&value)) {
                faults.add(pointer, "out_of_range", format!("must be from 1 to {most}"));
            }
        }
        let barriers = test.specification.course.barriers;
        if !(0..=i16::from(barriers)).contains(&raw.hits) {
            faults.add("/hits", "out_of_range", format!("must be from 0 to the {barriers} barriers"));
        }
        let touchdowns_ms = raw.touchdown_times_s.map(|times| touchdowns(&mut faults, times, barriers));
        let final_time_ms = raw.final_time_s.and_then(|time| final_time(&mut faults, time, touchdowns_ms.as_deref()));
        check_status(&mut faults, raw, status);
        let timed = raw.final_time_s.is_some() || raw.touchdown_times_s.is_some();
        let timing = timing(&mut faults, raw, test.timing, timed);
        let note = faults.opt_text("/note", raw.note, 500);
        if raw.void && raw.supersedes.is_none() {
            faults.add("/void", "void", "needs `supersedes`: the result that is withdrawn");
        }
        let value = status.map(|status| Self {
            test: id,
            athlete: raw.athlete,
            heat: raw.heat,
            lane: raw.lane,
            status,
            final_time_ms,
            touchdowns_ms,
            timing,
            video_fps: raw.video_fps,
            hits: raw.hits,
            fell: raw.fell,
            note,
            supersedes: raw.supersedes,
            void: raw.void,
        });
        faults.finish(value)
    }

    /// The time that counts: of a finish.
    pub fn counting_ms(&self) -> Option<u32> {
        let finished = self.status == Status::Finished;
        self.final_time_ms.filter(|_| finished).and_then(|ms| u32::try_from(ms).ok())
    }
}

/// A time in whole milliseconds, above `after`.
fn milliseconds(seconds: f64, after: f64) -> Result<i32, (&'static str, String)> {
    let ms = (seconds * 1_000.0).round();
    if !(ms > after && ms <= LATEST_MS) {
        return Err(("order", format!("must be later than the one before, above 0 and at most {LATEST_S} seconds")));
    }
    if (seconds * 1_000.0 - ms).abs() > 1e-6 {
        return Err(("too_fine", "must not be finer than 0.001 seconds".to_owned()));
    }
    #[allow(clippy::cast_possible_truncation)] // at most LATEST_MS
    Ok(ms as i32)
}

fn touchdowns(faults: &mut Faults, times: &[Option<f64>], barriers: u8) -> Vec<Option<i32>> {
    if times.len() != usize::from(barriers) {
        let detail = format!("must have one entry for each of the {barriers} barriers; null for a missing one");
        faults.add("/touchdown_times_s", "length", detail);
    }
    let mut last = 0;
    let mut read = Vec::with_capacity(times.len().min(usize::from(MAX_BARRIERS)));
    for (at, time) in times.iter().take(usize::from(MAX_BARRIERS)).enumerate() {
        let ms = time.and_then(|time| {
            milliseconds(time, f64::from(last))
                .map_err(|(code, detail)| faults.add(format!("/touchdown_times_s/{at}"), code, detail))
                .ok()
        });
        last = ms.unwrap_or(last);
        read.push(ms);
    }
    read
}

fn final_time(faults: &mut Faults, time: f64, touchdowns: Option<&[Option<i32>]>) -> Option<i32> {
    let last = touchdowns.and_then(|times| times.iter().flatten().max()).copied().unwrap_or(0);
    milliseconds(time, f64::from(last)).map_err(|(code, detail)| faults.add("/final_time_s", code, detail)).ok()
}

fn check_status(faults: &mut Faults, raw: &RawOutcome<'_>, status: Option<Status>) {
    match status {
        Some(Status::DidNotStart) if raw.final_time_s.is_some() || raw.touchdown_times_s.is_some() => {
            faults.add("/status", "timed", "who did not start has no times");
        }
        Some(Status::DidNotStart) if raw.fell || raw.hits > 0 => {
            faults.add("/status", "ran", "who did not start has no hits and no fall");
        }
        Some(Status::DidNotFinish) if raw.final_time_s.is_some() => {
            faults.add("/final_time_s", "timed", "who did not finish has no final time");
        }
        _ => {}
    }
}

fn timing(faults: &mut Faults, raw: &RawOutcome<'_>, usual: Method, timed: bool) -> Option<Method> {
    if !timed {
        if raw.timing_method.is_some() || raw.video_fps.is_some() {
            faults.add("/timing_method", "untimed", "only goes with a final time or touchdown times");
        }
        return None;
    }
    let word = raw.timing_method.unwrap_or(usual.as_str());
    match Timing::parse(word, raw.video_fps.map(i64::from)) {
        Ok(_) => Method::parse(word).ok(),
        Err(error) => {
            let pointer = if error == TimingError::UnknownMethod { "/timing_method" } else { "/video_fps" };
            faults.add(pointer, "timing", error.to_string());
            None
        }
    }
}

/// A date as the mathematics counts it.
pub fn day(date: chrono::NaiveDate) -> Option<Day> {
    Day::from_ymd(date.year(), u8::try_from(date.month()).ok()?, u8::try_from(date.day()).ok()?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compute::decision::Policy;

    fn setting() -> Setting {
        Setting {
            ruleset: "WA".to_owned(),
            specs: vec![],
            age_groups: vec![],
            stock: vec![],
            policy: Policy::default(),
        }
    }

    #[test]
    fn a_specification_is_found_by_its_names_or_the_fault_says_why_not() {
        let on = Day::from_ymd(2026, 6, 1).unwrap();
        let named = Named { ruleset: None, event_code: "100H", age_group: "U18", sex: Some("F"), environment: None };
        let found = named.find(&setting(), on).unwrap();
        // World Athletics: 100 m hurdles, U18 women: 76.2 cm, 13.00 m, 8.50 m.
        let mm = Length::from_mm;
        assert_eq!(found.course.height, mm(762));
        assert_eq!(
            (found.course.approach, found.course.spacing, found.course.run_in()),
            (mm(13_000), mm(8_500), Some(mm(10_500)))
        );
        let code = |named: Named<'_>| named.find(&setting(), on).unwrap_err()[0].code.clone();
        assert_eq!(code(Named { age_group: "U99", ..named }), "unknown_spec");
        assert_eq!(code(Named { sex: Some("Q"), ..named }), "word");
        assert_eq!(code(Named { event_code: "60H", age_group: "SEN", sex: None, ..named }), "ambiguous");
    }
}
