//! What is wrong with touchdown times, value by value, before any figure is made of them.
//!
//! Reading goes in five passes:
//!
//! 1. missing: a `None` leaves out the intervals on both sides;
//! 2. order: a time not later than the last one taken, also across gaps, puts both marks in doubt;
//! 3. impossible: an interval below 0.6 s, or above 3 s and no multiple of the usual, puts both marks in doubt;
//! 4. forgotten: an interval within 15 % of two or three times the usual spans a tap that was not made;
//! 5. broken: an interval further from the others than clock and their own spread explain.
//!
//! A mark in doubt also leaves out the interval on its other side, because nobody knows which of the two times is
//! wrong. The usual interval is the median of the others that can be run, with at least two of them.
//!
//! | flag | in the figures | why |
//! | --- | --- | --- |
//! | `missing`, `not_monotonic`, `too_short`, `too_long`, `doubtful_mark` | no | the time may be wrong |
//! | `forgotten_tap` | no | the time is right, and of two or three intervals |
//! | `broken` | yes | the run was like that |
//!
//! # Worked
//!
//! Gates, touchdowns at 2.60, 3.70, 4.80, 7.00, 8.10 s: intervals 1.10, 1.10, 2.20, 1.10. The third is twice the
//! median of the others and flagged as a forgotten tap; three intervals are left.
//!
//! Hand (0.10 s), intervals 1.05, 1.07, 1.06, 1.45: the usual of the last is 1.06 and its distance 0.39 s. The
//! explained distance is 3.5 times the largest of 0.10 (clock), 1.4826 · 0.01 (the others' spread) and 0.02 · 1.06, so
//! 0.35 s: broken. An interval of 1.40 would not be called so, by gates it would: there 3.5 · 0.0212 = 0.074 s are
//! explained.

use super::MAX_TOUCHDOWNS;
use crate::robust::median;
use thiserror::Error;

/// Shortest and longest possible interval time, seconds (s).
///
/// Both ends are possible. The mean interval of the 110 m in 12.8 s is 1.008 s ([`super::Schedule`]).
///
/// # Source
/// Design choice: 9.14 m in 0.6 s would be 15 m/s; a three-stride interval of more than 3 s is a walk.
pub const INTERVAL_S: (f64, f64) = (0.6, 3.0);

/// Latest touchdown, seconds (s); design choice, far behind the last of any sprint-hurdle race.
pub const LATEST_S: f64 = 120.0;

/// How far from two or three times the others an interval may lie to be a forgotten tap, as a share of that multiple;
/// design choice: the bands of two and three times nearly meet.
///
/// Of a usual 1.0 s: 1.70 to 2.30 s is one tap forgotten, 2.55 to 3.45 s two.
const MULTIPLE_SHARE: f64 = 0.15;

/// How many robust standard deviations an interval lies away from the others before it counts as broken.
///
/// # Source
/// B. Iglewicz, D. C. Hoaglin, "How to Detect and Handle Outliers", ASQC Quality Press, 1993: 3.5.
const BROKEN_AT: f64 = 3.5;

/// From median absolute deviation to standard deviation of a normal distribution.
///
/// 1 / Φ⁻¹(0.75).
///
/// # Source
/// F. R. Hampel, "The Influence Curve and its Role in Robust Estimation", Journal of the American Statistical Association
/// 69: 383-393, 1974.
const MAD_TO_SD: f64 = 1.4826;

/// Spread of even the most regular rhythm, as a share of an interval time; design choice: without it a gate would call a
/// difference of a hundredth broken.
///
/// 0.02 s of an interval of 1.0 s.
const LEAST_SHARE: f64 = 0.02;

/// What may be said of one touchdown time or of one interval.
///
/// Ordered as declared; so they are listed for an interval. Codes are stable once published.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Flag {
    /// A touchdown time is missing.
    Missing,
    /// A time is not later than the one before.
    NotMonotonic,
    /// An interval time is shorter than can be run.
    TooShort,
    /// An interval time is longer than a three-stride interval takes.
    TooLong,
    /// The interval takes two or three times as long as the others: a tap between its marks was forgotten.
    ForgottenTap,
    /// One of the marks of this interval is in doubt because of its neighbour.
    DoubtfulMark,
    /// The interval differs from the others by more than timing error and their own spread explain.
    Broken,
}

impl Flag {
    /// The stable code.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Missing => "missing",
            Self::NotMonotonic => "not_monotonic",
            Self::TooShort => "too_short",
            Self::TooLong => "too_long",
            Self::ForgottenTap => "forgotten_tap",
            Self::DoubtfulMark => "doubtful_mark",
            Self::Broken => "broken",
        }
    }

    /// Whether an interval with this flag stays out of the figures.
    ///
    /// `Broken` alone does not: leaving out what went wrong would flatter the run.
    pub const fn leaves_out(self) -> bool {
        !matches!(self, Self::Broken)
    }
}

/// What is wrong with one value.
///
/// Counted from 1, as coaches count barriers. The text carries the times it is about to a thousandth of a second.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// The touchdown, from 1, whose time is reported.
    pub touchdown: usize,
    /// The interval, from 1, that it is about; none when the value stands alone.
    pub interval: Option<usize>,
    /// The earlier touchdown, from 1, that may be the wrong one instead; none when there is no such doubt.
    ///
    /// Its presence is what makes a finding a doubt about marks.
    pub earlier: Option<usize>,
    /// The stable code.
    pub flag: Flag,
    /// One plain English sentence.
    pub text: String,
}

impl Finding {
    /// Whether it says that the time of this touchdown, from 1, may be wrong.
    ///
    /// A missing time and a broken interval doubt no mark.
    pub fn doubts(&self, touchdown: usize) -> bool {
        self.earlier.is_some_and(|earlier| earlier == touchdown || self.touchdown == touchdown)
    }
}

/// One interval as it was read: from touchdown `interval` to the next.
///
/// The time may be nought or negative where the order is wrong; `used` then gives nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Difference of its two touchdown times, seconds (s), right or wrong; none when one is missing.
    pub time_s: Option<f64>,
    /// What is said of it, in the order of [`Flag`].
    pub flags: Vec<Flag>,
}

impl Reading {
    /// The time when it goes into the figures.
    ///
    /// Seconds, from 0.6 to 3 always: whatever else carries a flag that leaves it out. A broken interval is used.
    pub fn used(&self) -> Option<f64> {
        self.time_s.filter(|_| !self.flags.iter().any(|flag| flag.leaves_out()))
    }

    /// Each flag once, sorted.
    fn flag(&mut self, flag: Flag) {
        if !self.flags.contains(&flag) {
            self.flags.push(flag);
            self.flags.sort_unstable();
        }
    }
}

/// Why touchdown times cannot be read at all.
///
/// Counts are checked before values; the index of the first impossible value, from nought, is told.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum ReadingError {
    /// Fewer than two or more than [`MAX_TOUCHDOWNS`] entries.
    #[error("must have 2 to {MAX_TOUCHDOWNS} entries, null for a missing one")]
    Length,
    /// The time at this index is not a number above zero and at most [`LATEST_S`].
    #[error("must be above 0 and at most {LATEST_S} seconds")]
    OutOfRange(usize),
}

/// Reads touchdown times, seconds (s) from the start, in running order.
///
/// Nothing is corrected, filled in or moved: what is wrong is reported and left out.
///
/// Answers one reading for each pair of neighbouring touchdowns and all findings by touchdown, then flag. n² for n
/// intervals, because each has its own median of the others.
///
/// # Errors
/// [`ReadingError`] for values that are no times at all.
pub(super) fn read(times: &[Option<f64>], interval_sd_s: f64) -> Result<(Vec<Reading>, Vec<Finding>), ReadingError> {
    if !(2..=MAX_TOUCHDOWNS).contains(&times.len()) {
        return Err(ReadingError::Length);
    }
    if let Some(at) = times.iter().position(|time| time.is_some_and(|time| !(time > 0.0 && time <= LATEST_S))) {
        return Err(ReadingError::OutOfRange(at));
    }
    let mut readings: Vec<Reading> = times
        .windows(2)
        .map(|pair| Reading { time_s: pair[0].zip(pair[1]).map(|(from, to)| to - from), flags: Vec::new() })
        .collect();
    let mut findings = Vec::new();
    note_missing(times, &mut readings, &mut findings);
    note_order(times, &mut readings, &mut findings);
    let raw: Vec<Option<f64>> = readings.iter().map(|reading| reading.time_s.filter(|time| *time > 0.0)).collect();
    note_impossible(&raw, &mut readings, &mut findings);
    note_forgotten(&raw, &mut readings, &mut findings);
    note_broken(&mut readings, interval_sd_s, &mut findings);
    findings.sort_by_key(|finding| (finding.touchdown, finding.flag));
    Ok((readings, findings))
}

/// A missing first or last touchdown touches one interval only.
fn note_missing(times: &[Option<f64>], readings: &mut [Reading], findings: &mut Vec<Finding>) {
    for (at, _) in times.iter().enumerate().filter(|(_, time)| time.is_none()) {
        let text = format!("Touchdown {} is missing; the intervals before and after it are left out.", at + 1);
        findings.push(Finding { touchdown: at + 1, interval: None, earlier: None, flag: Flag::Missing, text });
        for touching in [at.checked_sub(1), Some(at)].into_iter().flatten() {
            if let Some(reading) = readings.get_mut(touching) {
                reading.flag(Flag::Missing);
            }
        }
    }
}

/// Times that do not rise, also across missing ones.
///
/// Only each time and the last one taken before it are compared: after one time that is much too late only the next
/// one is reported. Equal times count as not rising.
fn note_order(times: &[Option<f64>], readings: &mut [Reading], findings: &mut Vec<Finding>) {
    let taken: Vec<(usize, f64)> = times.iter().enumerate().filter_map(|(at, time)| time.map(|t| (at, t))).collect();
    for pair in taken.windows(2) {
        let ((before, earlier), (at, later)) = (pair[0], pair[1]);
        if later <= earlier {
            let text = format!(
                "Touchdown {} at {later:.3} s is not later than touchdown {} at {earlier:.3} s; one of the two is wrong, so \
                 the intervals that touch either are left out.",
                at + 1,
                before + 1
            );
            let interval = (at == before + 1).then_some(before + 1);
            findings.push(Finding {
                touchdown: at + 1,
                interval,
                earlier: Some(before + 1),
                flag: Flag::NotMonotonic,
                text,
            });
            doubt(readings, before, at, Flag::NotMonotonic);
        }
    }
}

/// Flags the interval between two marks (indices) and puts the intervals on their other sides in doubt.
///
/// `from` and `to` need not be neighbours: where times are missing between them, only the intervals that touch either
/// are doubted.
fn doubt(readings: &mut [Reading], from: usize, to: usize, flag: Flag) {
    for (at, reading) in readings.iter_mut().enumerate() {
        if at == from && to == from + 1 {
            reading.flag(flag);
        } else if [from, to].iter().any(|mark| at == *mark || at + 1 == *mark) {
            reading.flag(Flag::DoubtfulMark);
        }
    }
}

/// Interval times that nobody runs: both marks are in doubt.
///
/// Reads the raw differences and not those that earlier passes left, so one mark can be told twice, as out of order
/// with the time before and as impossible with the time behind.
fn note_impossible(raw: &[Option<f64>], readings: &mut [Reading], findings: &mut Vec<Finding>) {
    let usual = usual_of(raw);
    for (at, time) in raw.iter().enumerate() {
        let Some(time) = *time else { continue };
        let (flag, words) = if time < INTERVAL_S.0 {
            (Flag::TooShort, format!("shorter than the {:.1} s that can be run", INTERVAL_S.0))
        } else if time > INTERVAL_S.1 && multiple(time, usual(at)).is_none() {
            (Flag::TooLong, format!("longer than the {:.1} s of a three-stride interval", INTERVAL_S.1))
        } else {
            continue;
        };
        let text = format!(
            "Interval {0} from touchdown {0} to {1} takes {time:.3} s, {words}; one of the two is wrong, so the intervals \
             that touch either are left out.",
            at + 1,
            at + 2
        );
        findings.push(Finding { touchdown: at + 2, interval: Some(at + 1), earlier: Some(at + 1), flag, text });
        doubt(readings, at, at + 1, flag);
    }
}

/// Intervals that span two or three: their marks are right, a tap between them is not there.
///
/// The later touchdowns belong to later barriers than their place says; comparing with a schedule stops there
/// ([`super::compare()`]).
fn note_forgotten(raw: &[Option<f64>], readings: &mut [Reading], findings: &mut Vec<Finding>) {
    let usual = usual_of(raw);
    for (at, reading) in readings.iter_mut().enumerate() {
        let found = reading.used().and_then(|time| multiple(time, usual(at)).map(|m| (time, m)));
        let Some((time, times_as_long)) = found else { continue };
        let text = format!(
            "Interval {} takes {time:.3} s, about {times_as_long} times as long as the others: {} between its marks was \
             probably forgotten, and every later touchdown then belongs to a later barrier. It is left out, nothing is \
             filled in; send null for a forgotten tap.",
            at + 1,
            if times_as_long == 2 { "a tap" } else { "two taps" }
        );
        findings.push(Finding {
            touchdown: at + 2,
            interval: Some(at + 1),
            earlier: None,
            flag: Flag::ForgottenTap,
            text,
        });
        reading.flag(Flag::ForgottenTap);
    }
}

/// For each interval the median of the others that can be run, when there are two of them.
///
/// Quadratic over all intervals of a run, at most 19.
fn usual_of(times: &[Option<f64>]) -> impl Fn(usize) -> Option<f64> + '_ {
    move |at| {
        let mut others: Vec<f64> = times
            .iter()
            .enumerate()
            .filter_map(|(other, time)| {
                time.filter(|time| other != at && *time >= INTERVAL_S.0 && *time <= INTERVAL_S.1)
            })
            .collect();
        if others.len() < 2 { None } else { median(&mut others) }
    }
}

/// Whether an interval is two or three times as long as usual; without a usual one, when it is too long and its half is not.
///
/// Between 2.30 and 2.55 times neither is met. Without a usual one only the factor two is tried, for 3 to 6 s.
fn multiple(time: f64, usual: Option<f64>) -> Option<u8> {
    match usual {
        Some(usual) => [2_u8, 3].into_iter().find(|m| {
            let wanted = f64::from(*m) * usual;
            (time - wanted).abs() <= MULTIPLE_SHARE * wanted
        }),
        None => (time > INTERVAL_S.1 && time / 2.0 <= INTERVAL_S.1).then_some(2),
    }
}

/// Intervals away from the median of the others by more than 3.5 times the largest of three standard deviations: timing
/// error, the others' own robust spread, and the least spread of a rhythm.
///
/// The interval itself is left out of both median and spread, so one wild value cannot hide itself; two wild ones of
/// four can.
fn note_broken(readings: &mut [Reading], interval_sd_s: f64, findings: &mut Vec<Finding>) {
    let times: Vec<Option<f64>> = readings.iter().map(Reading::used).collect();
    let usual = usual_of(&times);
    for (at, time) in times.iter().enumerate() {
        let Some((time, usual)) = time.zip(usual(at)) else { continue };
        let others = times.iter().enumerate().filter(|(other, _)| *other != at);
        let mut away: Vec<f64> = others.filter_map(|(_, other)| other.map(|other| (other - usual).abs())).collect();
        let own = MAD_TO_SD * median(&mut away).unwrap_or(0.0);
        let explained = BROKEN_AT * interval_sd_s.max(own).max(LEAST_SHARE * usual);
        if (time - usual).abs() > explained {
            let text = format!(
                "Interval {} takes {time:.3} s against {usual:.3} s of the others, {:.3} s {}; timing error and their own \
                 spread explain {explained:.3} s.",
                at + 1,
                (time - usual).abs(),
                if time > usual { "longer" } else { "shorter" },
            );
            findings.push(Finding {
                touchdown: at + 2,
                interval: Some(at + 1),
                earlier: None,
                flag: Flag::Broken,
                text,
            });
            readings[at].flag(Flag::Broken);
        }
    }
}
