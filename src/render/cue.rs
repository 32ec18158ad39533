//! A rhythm to run to, as sound: WAV (PCM, 16 bit, one channel), which every phone and browser plays.
//!
//! Four tones tell the feet apart by ear: a low long one at each landing, a high short tick at strides 1 and 2, one between
//! them at stride 3, the take-off, and a deeper one to count in. Pitches and lengths: design choice, within what the
//! loudspeaker of a phone can play. The same notes give the same bytes on every machine.
//!
//! # Example
//! ```
//! use lanewright_render::cue::{Note, Tone, wav};
//!
//! let file = wav(&[Note { at_s: 0.25, tone: Tone::Landing }], 0.5).unwrap();
//! assert_eq!((file.get(..4), file.len()), (Some(&b"RIFF"[..]), 44 + 2 * 8_000));
//! ```
//!
//! Left out on purpose: when which foot comes down, which [`lanewright_compute::rhythm`] says.
//!
//! # Source
//! The layout: Microsoft and IBM, "Multimedia Programming Interface and Data Specifications 1.0", 1991 (RIFF WAVE).

use std::f64::consts::TAU;

use thiserror::Error;

/// Samples a second.
pub const RATE: u32 = 16_000;
/// The longest sound, seconds (s): 2.3 MB.
pub const LONGEST_S: f64 = 70.0;
/// How fast a tone rises, seconds (s): without a click.
const ATTACK_S: f64 = 0.002;
/// Bytes before the samples.
const HEAD: u32 = 44;

/// Which foot contact a note stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// A beat before the first landing.
    CountIn,
    /// The landing behind a barrier.
    Landing,
    /// Strides 1 and 2.
    Stride,
    /// Stride 3, the take-off.
    TakeOff,
}

impl Tone {
    /// Pitch (Hz), length (s) and loudness (share of full scale). Shorter than the closest two beats, 0.15 s.
    pub const fn sound(self) -> (f64, f64, f64) {
        match self {
            Self::CountIn => (660.0, 0.06, 0.5),
            Self::Landing => (880.0, 0.11, 0.9),
            Self::Stride => (1_760.0, 0.04, 0.5),
            Self::TakeOff => (1_320.0, 0.05, 0.6),
        }
    }
}

/// A tone and when it begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Note {
    /// Seconds (s) from the beginning of the sound.
    pub at_s: f64,
    /// What is heard.
    pub tone: Tone,
}

/// Why there is no sound.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum SoundError {
    /// Longer than [`LONGEST_S`], or no length at all.
    #[error("must be longer than nothing and at most {LONGEST_S} seconds")]
    Length,
    /// A note begins outside the sound.
    #[error("must have every note within its length")]
    Outside,
}

/// The sample nearest to a time, seconds (s) from 0 to [`LONGEST_S`].
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to 1,120,000
fn sample(at_s: f64) -> usize {
    (at_s * f64::from(RATE)).round() as usize
}

/// How far a tone has come to its full loudness, and back: from 0 to 1, seconds (s) after it began.
fn envelope(at_s: f64, length_s: f64) -> f64 {
    (at_s / ATTACK_S).min(1.0) * (1.0 - at_s / length_s)
}

/// The notes as a sound of this length, seconds (s). What would sound beyond the end is cut.
///
/// # Errors
/// [`SoundError`].
pub fn wav(notes: &[Note], length_s: f64) -> Result<Vec<u8>, SoundError> {
    if !(length_s > 0.0 && length_s <= LONGEST_S) {
        return Err(SoundError::Length);
    }
    let mut samples = vec![0.0_f64; sample(length_s)];
    for note in notes {
        if !(note.at_s >= 0.0 && note.at_s < length_s) {
            return Err(SoundError::Outside);
        }
        let (pitch, lasts, loud) = note.tone.sound();
        let span = samples.iter_mut().skip(sample(note.at_s)).take(sample(lasts));
        for (count, place) in (0_u32..).zip(span) {
            let after = f64::from(count) / f64::from(RATE);
            *place += loud * envelope(after, lasts) * libm::sin(TAU * pitch * after);
        }
    }
    Ok(file(&samples))
}

/// The samples, from -1 to 1, behind their head.
#[allow(clippy::cast_possible_truncation)] // within 16 bits after the clamp
fn file(samples: &[f64]) -> Vec<u8> {
    let size = u32::try_from(samples.len() * 2).unwrap_or(u32::MAX - HEAD);
    let mut bytes = Vec::with_capacity(samples.len() * 2 + 44);
    bytes.extend(b"RIFF");
    bytes.extend((HEAD - 8 + size).to_le_bytes());
    bytes.extend(b"WAVEfmt ");
    bytes.extend(16_u32.to_le_bytes());
    // PCM, one channel.
    bytes.extend([1_u16, 1].map(u16::to_le_bytes).as_flattened());
    bytes.extend([RATE, RATE * 2].map(u32::to_le_bytes).as_flattened());
    bytes.extend([2_u16, 16].map(u16::to_le_bytes).as_flattened());
    bytes.extend(b"data");
    bytes.extend(size.to_le_bytes());
    let whole = |value: &f64| (value.clamp(-1.0, 1.0) * f64::from(i16::MAX)).round() as i16;
    bytes.extend(samples.iter().flat_map(|value| whole(value).to_le_bytes()));
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tones_are_apart_and_none_runs_into_the_next_beat() {
        let all = [Tone::CountIn, Tone::Landing, Tone::Stride, Tone::TakeOff].map(Tone::sound);
        for (at, (pitch, lasts, loud)) in all.into_iter().enumerate() {
            assert!(lasts < 0.6 / 4.0 && loud < 1.0);
            for (other, ..) in &all[at + 1..] {
                assert!((pitch / other).ln().abs() > 0.25, "{pitch} and {other}");
            }
        }
    }

    #[test]
    fn what_is_no_sound_is_refused() {
        let note = |at_s| [Note { at_s, tone: Tone::Stride }];
        for length in [0.0, -1.0, 70.1, f64::NAN, f64::INFINITY] {
            assert_eq!(wav(&[], length), Err(SoundError::Length));
        }
        for at in [-0.1, 1.0, f64::NAN] {
            assert_eq!(wav(&note(at), 1.0), Err(SoundError::Outside));
        }
        assert_eq!(wav(&note(0.99), 1.0).unwrap().len(), 44 + 32_000);
    }
}
