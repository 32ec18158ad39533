//! How exact a clock is, and what its error does to intervals that share a mark.
//!
//! | way | error of an interval, standard deviation | source |
//! | --- | --- | --- |
//! | hand, tap | 0.10 s | derived from a published measurement |
//! | video, f frames a second | 1 / (f √6) s: 0.0163 at 25, 0.0068 at 60, 0.0017 at 240 | arithmetic |
//! | gate | 0.005 s | common practice, no source |
//!
//! Systematic errors (a late thumb, a gate set too high) shift all marks alike and cancel in differences; what does
//! not cancel is not modelled.
//!
//! Worked: the mean of nine neighbouring intervals by hand has an error of 0.10 / 9 = 0.011 s, for only the first and
//! the last press count; the difference of two intervals that do not touch has 0.10 √2 = 0.14 s, of two neighbours
//! 0.10 √3 = 0.17 s.

use thiserror::Error;

/// Standard deviation of an interval between two presses by one person, seconds (s).
///
/// 0.10 s for the difference of two presses, so 0.071 s for each.
///
/// # Source
/// Derived from "Manual timing in physics experiments: Error and ...", American Journal of Physics 87(2): 110, 2019 (4304
/// reaction times of swimming timekeepers): start and stop by one person scatter by 0.10 s; the delay of the two presses
/// cancels in their difference.
const PRESSED_S: f64 = 0.10;

/// Standard deviation of an interval between two timing gates, seconds (s).
///
/// Half a hundredth. That an arm may cut the beam before the trunk is not in it.
///
/// # Source
/// Common practice, no source.
const GATE_S: f64 = 0.005;

/// Slowest and fastest video, frames per second.
///
/// Design choice: wider than the cameras in use.
pub const VIDEO_FPS: (u16, u16) = (10, 1_000);

/// How touchdown times were taken.
///
/// Two times taken differently are never mixed in one run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Timing {
    /// A stopwatch.
    Hand,
    /// Taps on a phone.
    Tap,
    /// Frames of a video, this many a second.
    Video(u16),
    /// Timing gates.
    Gate,
}

/// Why words do not name a way of timing.
///
/// Worded to follow the name of the field that holds the method or the frame rate.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum TimingError {
    /// Not a way of timing.
    #[error("must be hand, tap, video or gate")]
    UnknownMethod,
    /// Video without its frame rate, or with one that no camera has.
    #[error("must be from {} to {} for video", VIDEO_FPS.0, VIDEO_FPS.1)]
    FrameRate,
    /// A frame rate without video.
    #[error("only goes with the timing method video")]
    NotVideo,
}

impl Timing {
    /// The way that a word and, with video, a frame rate (frames per second) name.
    ///
    /// Method first, then frame rate: an unknown method with a wrong rate is an unknown method. A rate that is
    /// negative or larger than 65 535 is [`TimingError::FrameRate`] and no overflow.
    ///
    /// # Errors
    /// [`TimingError`] for the first thing that is wrong.
    ///
    /// ```
    /// use lanewright_compute::rhythm::{Timing, TimingError};
    ///
    /// assert_eq!(Timing::parse("video", Some(60)), Ok(Timing::Video(60)));
    /// assert_eq!(Timing::parse("tap", Some(60)), Err(TimingError::NotVideo));
    /// ```
    pub fn parse(method: &str, video_fps: Option<i64>) -> Result<Self, TimingError> {
        let plain = match method {
            "hand" => Self::Hand,
            "tap" => Self::Tap,
            "gate" => Self::Gate,
            "video" => {
                let fps = video_fps.and_then(|fps| u16::try_from(fps).ok()).ok_or(TimingError::FrameRate)?;
                let known = (VIDEO_FPS.0..=VIDEO_FPS.1).contains(&fps);
                return if known { Ok(Self::Video(fps)) } else { Err(TimingError::FrameRate) };
            }
            _ => return Err(TimingError::UnknownMethod),
        };
        if video_fps.is_some() { Err(TimingError::NotVideo) } else { Ok(plain) }
    }

    /// Standard deviation of one interval from two marks, seconds (s).
    ///
    /// Rounding to frames makes each mark uniform over 1 / f, whose variance is 1 / (12 f²); two of them give 1 / (6
    /// f²).
    ///
    /// # Source
    /// Hand and tap: derived from American Journal of Physics 87(2): 110, 2019. Video: arithmetic, 1 / (f √6) for the difference of two times that are each
    /// rounded to the nearest of f frames a second. Gate: common practice, no source.
    ///
    /// ```
    /// use lanewright_compute::rhythm::Timing;
    ///
    /// assert!((Timing::Video(60).interval_sd_s() - 0.0068).abs() < 1e-4);
    /// ```
    pub fn interval_sd_s(self) -> f64 {
        match self {
            Self::Hand | Self::Tap => PRESSED_S,
            Self::Video(fps) => 1.0 / (f64::from(fps.max(1)) * libm::sqrt(6.0)),
            Self::Gate => GATE_S,
        }
    }

    /// Standard deviation of one mark, seconds (s): two of them, independent, make the error of an interval.
    ///
    /// 0.0707 s by hand, 0.0048 s at 60 frames, 0.0035 s by gates.
    pub fn mark_sd_s(self) -> f64 {
        self.interval_sd_s() / core::f64::consts::SQRT_2
    }

    /// Where the figure comes from, in one plain English sentence.
    ///
    /// Shown beside the figures; states itself what is derived or without a source.
    pub const fn source(self) -> &'static str {
        match self {
            Self::Hand | Self::Tap => {
                "Hand timing: 0.10 s for an interval of two presses, derived from American Journal of Physics 87(2): 110, \
                 2019."
            }
            Self::Video(_) => "Video: 1 / (frames per second x square root of 6) for an interval, arithmetic.",
            Self::Gate => "Timing gates: 0.005 s for an interval, common practice, no source.",
        }
    }
}

/// Covariance of the timing errors of two intervals, squared seconds (s²), for intervals numbered in running order.
///
/// Neighbours share a mark that ends the one and begins the other, so their errors correlate by -0.5; others not at all.
///
/// Intervals are counted with those left out, so that a gap between two used ones is seen: numbers 0 and 2 are
/// independent.
pub(super) fn covariance(a: usize, b: usize, interval_sd_s: f64) -> f64 {
    match a.abs_diff(b) {
        0 => interval_sd_s * interval_sd_s,
        1 => -0.5 * interval_sd_s * interval_sd_s,
        _ => 0.0,
    }
}

/// Standard deviation, from the timing error alone, of a weighted sum of intervals (number in running order, weight),
/// seconds (s) when the weights have no unit.
///
/// Quadratic in the number of intervals (at most 19). Rounding below zero is cut off.
pub(super) fn sum_sd(weighted: &[(usize, f64)], interval_sd_s: f64) -> f64 {
    let variance: f64 = weighted
        .iter()
        .flat_map(|(a, wa)| weighted.iter().map(move |(b, wb)| wa * wb * covariance(*a, *b, interval_sd_s)))
        .sum();
    libm::sqrt(variance.max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_of_errors_is_the_published_one() {
        for (timing, sd) in [
            (Timing::Hand, 0.10),
            (Timing::Tap, 0.10),
            (Timing::Gate, 0.005),
            (Timing::Video(25), 0.0163),
            (Timing::Video(30), 0.0136),
            (Timing::Video(120), 0.0034),
            (Timing::Video(240), 0.0017),
        ] {
            assert!((timing.interval_sd_s() - sd).abs() < 5e-5, "{timing:?}");
            let back = timing.mark_sd_s() * libm::sqrt(2.0);
            assert!((back - timing.interval_sd_s()).abs() < 1e-15);
        }
    }

    #[test]
    fn the_sum_of_neighbours_has_the_error_of_their_outer_marks_only() {
        let whole: Vec<(usize, f64)> = (0..9).map(|k| (k, 1.0)).collect();
        assert!((sum_sd(&whole, 0.10) - 0.10).abs() < 1e-12);
        let apart = [(0, 1.0), (2, 1.0)];
        assert!((sum_sd(&apart, 0.10) - libm::sqrt(0.02)).abs() < 1e-12);
    }

    #[test]
    fn a_frame_rate_goes_with_video_and_only_with_it() {
        assert_eq!(Timing::parse("video", None), Err(TimingError::FrameRate));
        assert_eq!(Timing::parse("video", Some(9)), Err(TimingError::FrameRate));
        assert_eq!(Timing::parse("video", Some(70_000)), Err(TimingError::FrameRate));
        assert_eq!(Timing::parse("gate", Some(50)), Err(TimingError::NotVideo));
        assert_eq!(Timing::parse("eye", None), Err(TimingError::UnknownMethod));
    }
}
