//! Results of race tests and their rules.

use super::model::{MAX_BARRIERS, Method, RaceTest};
use crate::compute::rhythm::{LATEST_S, Timing, TimingError};
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{AthleteId, RaceResultId, RaceTestId};
use crate::platform::words::words;

/// Latest touchdown or finish (ms): that of the rhythm calculators.
const LATEST_MS: f64 = LATEST_S * 1_000.0;

words! {
    /// What became of an athlete.
    Status as RaceResultStatus { /// Crossed the line.
        Finished = "finished", /// Did not start.
        DidNotStart = "did_not_start", /// Started and did not finish.
        DidNotFinish = "did_not_finish", /// Disqualified.
        Disqualified = "disqualified" }
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

/// A result as it was filed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Filed {
    /// The result.
    pub outcome: Outcome,
    /// Whether somebody started against a report or restriction that stood on the day, as far as it was known when the result was
    /// filed.
    pub while_restricted: bool,
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
        let final_time_ms = raw.final_time_s.and_then(|time| timed(&mut faults, "/final_time_s", time));
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

    /// Whether the athlete ran.
    pub fn started(&self) -> bool {
        self.status != Status::DidNotStart
    }

    /// The time that counts: of a finish.
    pub fn counting_ms(&self) -> Option<u32> {
        let finished = self.status == Status::Finished;
        self.final_time_ms.filter(|_| finished).and_then(|ms| u32::try_from(ms).ok())
    }
}

/// A time in whole milliseconds.
fn milliseconds(seconds: f64) -> Result<i32, (&'static str, String)> {
    let ms = (seconds * 1_000.0).round();
    if !(ms > 0.0 && ms <= LATEST_MS) {
        return Err(("out_of_range", format!("must be above 0 and at most {LATEST_S} seconds")));
    }
    if (seconds * 1_000.0 - ms).abs() > 1e-6 {
        return Err(("too_fine", "must not be finer than 0.001 seconds".to_owned()));
    }
    #[allow(clippy::cast_possible_truncation)] // at most LATEST_MS
    Ok(ms as i32)
}

/// Touchdown times as they were taken, none for those that are missing at the end: one that is missing or out of order is flagged
/// where it is read, and costs no final time.
fn touchdowns(faults: &mut Faults, times: &[Option<f64>], barriers: u8) -> Vec<Option<i32>> {
    if times.len() > usize::from(barriers) {
        let detail = format!("must have at most one entry for each of the {barriers} barriers; null for a missing one");
        faults.add("/touchdown_times_s", "length", detail);
    }
    let mut read = Vec::with_capacity(times.len().min(usize::from(MAX_BARRIERS)));
    for (at, time) in times.iter().take(usize::from(MAX_BARRIERS)).enumerate() {
        let ms = time.and_then(|time| timed(faults, &format!("/touchdown_times_s/{at}"), time));
        read.push(ms);
    }
    read.resize(usize::from(barriers), None);
    read
}

fn timed(faults: &mut Faults, pointer: &str, time: f64) -> Option<i32> {
    milliseconds(time).map_err(|(code, detail)| faults.add(pointer, code, detail)).ok()
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
